package sheet

import (
	"fmt"
	"strings"

	"fumarium/profile"
	"fumarium/profile/ferment"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// fermented says how long the warmth may last until the pH is measured, what the sausage
// weighs when it is dry, and leaves room for what is measured.
func (s Sheet) fermented(w *wall) {
	p := s.product
	if p.Process != profile.FermentedAndDried {
		return
	}
	w.heading("FERMENTING AND DRYING")
	at, sour, _ := p.MeasuredBy(profile.SourTo)
	table := s.verdict.Where.SourTable()
	hottest := quantity.AbsoluteZero
	for _, st := range p.Stages[:min(at+1, len(p.Stages))] {
		if st.Heat {
			hottest = max(hottest, st.ChamberSetpoint)
		}
	}
	if longest, ends := table.Longest(hottest); ends {
		w.par("   ", fmt.Sprintf("In a chamber of %v the pH has to be %g or less within %s of hanging: %.0f %s above %v (%s). Warmer is shorter; the chamber is counted while the batch runs.",
			hottest, sour, quantity.FormatDuration(longest), table.Limit(hottest), table.Unit, table.Base, table.Source))
	}
	mix := s.verdict.Composition
	w.par("   ", fmt.Sprintf("Dry sausage, moisture over protein %g, is at %s of what the raw batch weighed, if nothing but water goes: 100 - %s of moisture + %g × %s of protein. That is a name and not safety; the water activity is.",
		ferment.DryRatio, percent(ferment.WeightAt(ferment.DryRatio, mix.Water, mix.Protein)), percent(mix.Water), ferment.DryRatio, percent(mix.Protein)))
	rules := proof.RulesOf(p, s.verdict.Where, 0)
	v := proof.Judge(&rules, &proof.Claim{}, false)
	for _, r := range []proof.Rule{proof.Killed, proof.Keeping} {
		w.par("   "+pad(r.String(), 11), v[r].Answer.String()+": "+v[r].Why)
	}
	w.line("")
	line := strings.Repeat("_", 8)
	w.line("   pH " + line + " at " + line + "   pH " + line + " at " + line)
	w.line("   weight hung " + line + " now " + line + "   water activity " + line)
}
