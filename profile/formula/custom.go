package formula

import (
	"fmt"
	"strings"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/quantity"
)

// A Custom is how one place wants meat cooked or cooled, in words: what a batch is judged
// by stands in the rooms of lethality and chilling.
type Custom struct {
	Where   profile.Jurisdiction
	Of      string // "cooling" or "cooking"
	Product string
	Says    string
	Text    string
	Date    string
	Mark    Mark
	// Judged is whether a batch can be held against it here.
	Judged bool
}

// Customs are what is known of each place. What a batch is cooled by comes from the rules
// themselves.
func Customs() []Custom {
	var all []Custom
	add := func(where profile.Jurisdiction, of, product, says, text, date string, mark Mark, judged bool) {
		all = append(all, Custom{where, of, product, says, text, date, mark, judged})
	}
	cooling := func(where profile.Jurisdiction) {
		for _, r := range where.ChillRules() {
			mark := Read
			if r.Source == chilling.CanadianManual {
				mark = Quoted
			}
			add(where, "cooling", chilledProduct(r), chills(r), r.Source, "as the text says", mark, true)
		}
	}
	for _, s := range []profile.Species{profile.RedMeat, profile.Poultry} {
		c := s.Criterion()
		add(us, "cooking", s.String(), fmt.Sprintf("%g log10 by the guideline's table", c.Required), "FSIS Cooking Guideline (revised Appendix A)", "December 2021", Read, true)
	}
	smoked := profile.Fish.Criterion()
	hold := smoked.Rows()[0]
	add(us, "cooking", profile.Fish.String(), fmt.Sprintf("%v for %s without a break", hold.At, quantity.FormatDuration(hold.Hold)), smoked.Source, "as the text says", Read, true)
	cooling(us)
	add(us, "served hot", "eaten before it is cold", fmt.Sprintf("%v or more until it is eaten, or eaten within %s below", chilling.Hot.From, quantity.FormatDuration(chilling.Hot.Limit)), chilling.Hot.Source, "no date", Read, true)
	add(eu, "cooking", "meat", "no figure: by the operator's own hazard analysis", "Regulation (EC) 852/2004", "2004", FromMemory, false)
	add(eu, "cooling", "meat", "no figure: as quickly as possible", "Regulation (EC) 852/2004", "2004", FromMemory, false)
	add(uk, "cooking", "meat", "70 °C for 2 min or its equal", "Food Standards Agency, advice", "no date", FromMemory, false)
	cooling(uk)
	add(uk, "cooling", "cooked meat", "no single rate: hot at 63 °C or more, cold at 8 °C or less, between them as quickly as possible", "hygiene rules of England", "no date", FromMemory, false)
	add(uk, "cooling", "packed in vacuum or gas and kept at 3 to 8 °C", "to be eaten within 10 days, unless heated to 90 °C for 10 min or its equal", "Food Standards Agency, vacuum and modified atmosphere packed food", "2020", Read, false)
	add(ca, "cooking", "with any poultry", "7 log10 by its table, such as 57.8 °C for 81.4 min at 12 % fat", "CFIA, preventive control recommendations for manufacturing cooked ready-to-eat meat products", "no date", Read, false)
	cooling(ca)
	cooling(au)
	return all
}

// chilledProduct is what a way to chill is for.
func chilledProduct(r *chilling.Rule) string {
	switch {
	case r == chilling.Retail():
		return "retail"
	case r.Intact:
		return "muscle in one piece, not pumped and not tenderized"
	case r.SaltPercent > 0:
		return fmt.Sprintf("with %g ppm of ingoing nitrite and %g %% salt in its water", r.NitritePPM, r.SaltPercent)
	case r.NitritePPM > 0:
		return fmt.Sprintf("with %g ppm of ingoing nitrite", r.NitritePPM)
	}
	return "any cooked product"
}

// chills says a way to chill in words.
func chills(r *chilling.Rule) string {
	all := make([]string, len(r.Limits))
	for i, l := range r.Limits {
		if l.FromEnd {
			all[i] = "from "
		}
		all[i] += fmt.Sprintf("%s to %v in %s", l.Begins(func(t quantity.Celsius) string { return fmt.Sprintf("%.1f", float64(t)) }), l.To, quantity.FormatDuration(l.Within))
	}
	says := strings.Join(all, ", ")
	if r.StartWithin > 0 {
		says += ", begun within " + quantity.FormatDuration(r.StartWithin) + " of the end of the cook"
	}
	if r.OnTo != 0 {
		says += fmt.Sprintf(", and on to %v", r.OnTo)
	}
	for _, remark := range r.Remarks {
		says += "; " + remark
	}
	if r.ErythorbatePPM > 0 {
		says += fmt.Sprintf("; with %g ppm erythorbate or ascorbate (the figure %s)", r.ErythorbatePPM, memory)
	}
	return says
}

// CustomsOf are those of one place.
func CustomsOf(where profile.Jurisdiction) []Custom {
	var all []Custom
	for _, c := range Customs() {
		if c.Where == where {
			all = append(all, c)
		}
	}
	return all
}
