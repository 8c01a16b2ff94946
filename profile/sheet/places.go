package sheet

import (
	"fmt"

	"fumarium/profile"
	"fumarium/profile/formula"
)

// elsewhere says what other places would, and how they want it cooked and cooled.
func (s Sheet) elsewhere(w *wall) {
	abroad := s.verdict.Where != profile.UnitedStates
	if !s.verdict.Cured && !(abroad && s.product.ComeUpApplies()) {
		return
	}
	w.heading("BY THE RULES OF OTHER PLACES")
	if s.verdict.Cured {
		w.par("   ", fmt.Sprintf("Section 2 goes by the rules of %s. Elsewhere, for information:", s.verdict.Where))
	}
	for _, p := range s.verdict.Elsewhere {
		w.line("   " + p.Where.String())
		for _, c := range p.Checks {
			text := c.Line()
			if !c.Shown {
				text += "; " + c.Why
			}
			w.par("      "+pad(c.Word(), 13), text)
		}
		if p.Where != profile.UnitedStates {
			customs(w, p.Where)
		}
	}
	if abroad {
		by := "by the way that the product names, and it names none"
		if rule := s.product.ChillRule(s.verdict.Where); rule != nil {
			by = fmt.Sprintf("by %s (%s)", rule.Name, rule.Source)
		}
		w.par("   ", fmt.Sprintf("Cooking is judged by the tables of the US, cooling %s. %s has:", by, s.verdict.Where))
		customs(w, s.verdict.Where)
	}
}

// customs are how a place wants it cooked and cooled.
func customs(w *wall, where profile.Jurisdiction) {
	for _, c := range formula.CustomsOf(where) {
		text := fmt.Sprintf("%s: %s (%s", c.Product, c.Says, c.Text)
		if c.Mark == formula.FromMemory {
			text += ", " + c.Mark.String()
		}
		w.par("      "+pad(c.Of, 13), text+")")
	}
}
