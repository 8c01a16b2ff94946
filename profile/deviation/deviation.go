// Package deviation works out what the published guidance allows for a batch of which a
// rule was not met, or not shown: another row of its table, an integral that an authority
// may go by, another way to chill, a model of growth, a test, a second cook, or the bin. It
// does the sums with the batch's own course and names the source of each step. It prints
// nothing and decides nothing: it ends with who does.
package deviation

import (
	"fmt"
	"strings"
	"time"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/formula"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// A Sample is what the cores were at one moment. Known says that all of them were seen, and
// Watched that nothing was missed since the sample before.
type Sample struct {
	At               time.Duration
	Coldest, Hottest quantity.Celsius
	Known, Watched   bool
}

// A Course is a batch's samples, oldest first.
type Course []Sample

// A Batch is what is known of it.
type Batch struct {
	Verdict   proof.Verdict
	Course    Course
	CoreError quantity.Kelvin
	Criterion *lethality.Criterion // nil where nothing is cooked
	ServedHot bool
	Uncured   bool // raw, nothing protects it in the warm
	// Grown is the growth of bacteria that somebody's model predicts, in log10; not known
	// unless HasGrown is set.
	HasGrown bool
	Grown    float64
	Poultry  bool
	Fish     bool
	// Of the formula; not known unless Has is set.
	HasCure                    bool
	NitritePPM, ErythorbatePPM float64
	SaltPercent                float64 // in its water
	Intact                     bool    // muscle in one piece, not pumped and not tenderized
	// Chills are the ways to chill that its kind may use.
	Chills []*chilling.Rule
}

// Of is a batch that was held to such rules.
func Of(r *proof.Rules, v proof.Verdict, c Course) Batch {
	p := r.Product
	b := Batch{Verdict: v, Course: c, CoreError: r.CoreError, ServedHot: r.ServedHot, Uncured: r.Uncured}
	if p == nil {
		return b
	}
	if b.Criterion, b.Fish = r.Criterion, p.Species == profile.Fish; r.Other != nil {
		b.Criterion = r.Other
	}
	b.Poultry = b.Criterion != nil && b.Criterion.Required >= lethality.PoultryLog10
	b.HasCure, b.NitritePPM, b.ErythorbatePPM = true, formula.NitritePPM(p.Formula, formula.GreenWeight)+formula.SlackPPM, formula.AcceleratorPPM(p.Formula)
	b.SaltPercent, b.Intact = 100*float64(p.Formula.WaterSalt()), p.Intact()
	b.Chills = r.Where.Ways(p.Species)
	return b
}

// A Step is one thing that the guidance allows, what this batch's figures say of it, and
// where it stands.
type Step struct {
	Do     string   `json:"do"`
	Found  []string `json:"found"`
	Source string   `json:"source"`
}

// A Case is a rule that was not met or not shown.
type Case struct {
	Rule   string `json:"rule"`
	Answer string `json:"answer"`
	Why    string `json:"why"`
	Steps  []Step `json:"steps"`
}

// A Sheet is all of them; it is empty for a batch that met everything.
type Sheet []Case

// Sources. The pages are those of the guideline's edition of 2021; its deviations stand on
// pages 66 to 80.
const (
	guide     = lethality.Guide2021
	deviates1 = guide + ", pp. 66-80: deviation 1, a missed endpoint"
	deviates2 = guide + ", p. 69: deviation 2, a dry surface"
	deviates3 = guide + ", pp. 66-80: deviation 3, a long come-up"
	stable    = "target of 9 CFR 318.17; the text on deviations of Appendix B 2021 could not be read"
	own       = "own rule of this program"
)

// Work makes the sheet. The rules stand in the order of the verdict.
func Work(b Batch) Sheet {
	sheet := Sheet{}
	w := newWork(&b)
	for rule, j := range b.Verdict {
		if j.Answer == proof.Met || j.Answer == proof.DoesNotApply {
			continue
		}
		c := Case{Rule: proof.Rule(rule).String(), Answer: j.Answer.String(), Why: j.Why}
		switch proof.Rule(rule) {
		case proof.Cooked:
			c.Steps = w.cooked()
		case proof.CameUp:
			c.Steps = w.cameUp()
		case proof.Surface:
			c.Steps = surface()
		case proof.Chilled:
			c.Steps = w.chilled()
		case proof.Formula:
			c.Steps = ofFormula()
		case proof.Process:
			c.Steps = process(&b)
		case proof.Killed:
			c.Steps = killed()
		case proof.RawFish:
			c.Steps = rawFish()
		case proof.Keeping:
			c.Steps = keeping(&b)
		case proof.Recorded:
			c.Steps = recorded()
		default: // a rule that has no text of its own here
			c.Steps = []Step{{"show it by a measurement or an analysis of this batch; only a process authority may take anything else for it", []string{}, own}, destroy("it is not shown")}
		}
		sheet = append(sheet, c)
	}
	return sheet
}

// Who says who decides. It ends every sheet.
const Who = "Until somebody has decided, hold all of it at 4 °C or below, apart and marked. This sheet decides nothing: for food for " +
	"others a process authority does, in writing, and the inspector must agree. At home nobody can model or test it: what " +
	"is not shown to be safe is thrown out."

// Text writes the sheet for people.
func (s Sheet) Text() string {
	if len(s) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString("WORKSHEET of what the guidance allows where a rule was not met or not shown\n")
	for _, c := range s {
		fmt.Fprintf(&b, "  %s: %s, %s\n", c.Rule, c.Answer, c.Why)
		for i, step := range c.Steps {
			fmt.Fprintf(&b, "    %d. %s\n", i+1, step.Do)
			for _, found := range step.Found {
				fmt.Fprintf(&b, "       - %s\n", found)
			}
			fmt.Fprintf(&b, "       source: %s\n", step.Source)
		}
	}
	fmt.Fprintf(&b, "  who decides: %s\n", Who)
	return b.String()
}

// surface is a bare surface that was dry, or of which nobody knows.
func surface() []Step {
	return []Step{
		{"show it: another record of the wet bulb or the humidity of this cook, from loading to lethality", []string{
			"it is dropped for product in a casing, in a sealed bag or in water, and in under 1 h of dry heat above 100 °C (212 °F), gap 1",
		}, guide + ", pp. 25-33 and 43"},
		{"prove by a validated higher row, with proof that the surface was wet again", []string{"the wet bulb above the surface's temperature, or its water activity risen"}, deviates2},
		{"do not cook it again for this: humidity options 1 to 4 do not mend a surface that was dry once", []string{}, deviates2},
		test(), destroy("neither is shown"),
	}
}

func ofFormula() []Step {
	return []Step{
		{"look into the make sheet for what is over, under or not known, and weigh and sum again from the notes of that day", []string{}, own},
		{"have the finished product analysed for nitrite and nitrate", []string{"a limit on what is left cannot be shown by a recipe"}, "9 CFR 424.21(c); 21 CFR 172.175"},
		{"with too little nitrite: judge it as uncured, by its chilling as well", []string{}, chilling.Source + ", options 1 and 3"},
		destroy("it is over a limit, or nobody can show that it is not"),
	}
}

func recorded() []Step {
	return []Step{
		{"show the batch by another record: of a logger that was in the product, with `fumarium assess`", []string{"what a record that is not whole says counts for nothing, met or not met"}, own},
		destroy("there is none"),
	}
}

func test() Step {
	return Step{"test 10 to 15 pieces for Salmonella and Listeria monocytogenes, and with beef for E. coli O157:H7", []string{"a laboratory's business; only with a plan that was written before"}, deviates1}
}

func destroy(unless string) Step {
	return Step{"destroy it if " + unless, []string{}, guide + ", pp. 66-80, for meat and poultry; for the rest own rule of this program"}
}

func span(d time.Duration) string { return quantity.FormatDuration(d.Round(time.Second)) }

// Both is a temperature in both units.
func Both(t quantity.Celsius) string {
	return fmt.Sprintf("%s °C (%s °F)", quantity.Fixed(float64(t), 1), quantity.Fixed(t.Fahrenheit(), 0))
}
