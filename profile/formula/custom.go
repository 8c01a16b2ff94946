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

const (
	scarm    = "SCARM report 80, also quoted in a book on meat refrigeration, table 16.2"
	canadian = "CFIA, cooking and cooling of ready-to-eat meat"
)

// Customs are what is known of each place.
func Customs() []Custom {
	var all []Custom
	add := func(where profile.Jurisdiction, of, product, says, text, date string, mark Mark, judged bool) {
		all = append(all, Custom{where, of, product, says, text, date, mark, judged})
	}
	for _, s := range []profile.Species{profile.RedMeat, profile.Poultry} {
		c := s.Criterion()
		add(us, "cooking", s.String(), fmt.Sprintf("%g log10 by the guideline's table", c.Required), "FSIS Cooking Guideline (revised Appendix A)", "December 2021", Read, true)
	}
	for _, r := range chilling.Rules() {
		product, says := "any cooked product", legs(r)
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
		switch r {
		case chilling.Cured():
			product = fmt.Sprintf("with %g ppm of ingoing nitrite", r.NitritePPM)
		case chilling.Retail():
			product = "retail"
		}
		add(us, "cooling", product, says, r.Source, "as the text says", Read, true)
	}
	add(eu, "cooking", "meat", "no figure: by the operator's own hazard analysis", "Regulation (EC) 852/2004", "2004", FromMemory, false)
	add(eu, "cooling", "meat", "no figure: as quickly as possible", "Regulation (EC) 852/2004", "2004", FromMemory, false)
	add(uk, "cooking", "meat", "70 °C for 2 min or its equal", "Food Standards Agency, advice", "no date", FromMemory, false)
	add(uk, "cooling", "cooked meat", "no single rate: hot at 63 °C or more, cold at 8 °C or less, between them as quickly as possible", "hygiene rules of England", "no date", FromMemory, false)
	add(uk, "cooling", "packed in vacuum or gas and kept at 3 to 8 °C", "to be eaten within 10 days, unless heated to 90 °C for 10 min or its equal", "Food Standards Agency, vacuum and modified atmosphere packed food", "2020", Read, false)
	add(uk, "cooling", "cured: 2.5 % salt in its water, 100 ppm nitrite", scarmCured, scarm, "no date", Read, false)
	add(ca, "cooking", "with any poultry", "7 log10 by its table, such as 57.8 °C for 81.4 min at 12 % fat", canadian, "no date", Read, false)
	add(ca, "cooling", "with 100 ppm of ingoing nitrite", legs(chilling.Cured()), canadian, "no date", Read, true)
	add(ca, "cooling", "intact muscle", "50 to 20 °C in 2 h, and 4 °C within 7 h 30 min of the begin of cooling", canadaManual, "no date", Quoted, false)
	add(au, "cooling", "cured: 2.5 % salt in its water, 100 ppm nitrite", scarmCured, scarm, "no date", Read, false)
	add(au, "cooling", "uncured", "to 50 °C in 2 h 30 min, to 12 °C in 6 h more, to 5 °C in 1 h 36 min more", scarm, "no date", Read, false)
	return all
}

const scarmCured = "to 50 °C in 3 h 15 min, to 12 °C in 7 h 30 min more, to 5 °C in 1 h 45 min more"

// legs says a rule of chilling in words.
func legs(r *chilling.Rule) string {
	all := make([]string, len(r.Limits))
	for i, l := range r.Limits {
		all[i] = fmt.Sprintf("%.1f to %v in %s", float64(l.From), l.To, quantity.FormatDuration(l.Within))
	}
	return strings.Join(all, ", ")
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
