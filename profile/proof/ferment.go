package proof

import (
	"fmt"
	"time"

	"fumarium/profile"
	"fumarium/profile/ferment"
	"fumarium/profile/quantity"
)

// dry counts the warmth of the chamber until the sausage was measured to be sour, and
// which stages are over.
func (c *Claim) dry(r *Rules, a Air, dt time.Duration) {
	if r.Product == nil || r.Product.Process != profile.FermentedAndDried {
		return
	}
	c.Passed, c.Skipped = max(c.Passed, a.Passed), c.Skipped|a.Skipped
	if at, _, ok := r.Product.MeasuredBy(profile.SourTo); ok && c.over(at) {
		c.Ferment.Sour = true
	}
	if a.Loaded {
		c.Ferment = c.Ferment.Add(a.Chamber, a.Seen, dt)
	}
}

// over reports whether a stage is over, with all that it waited for.
func (c *Claim) over(stage int) bool { return c.Passed > stage && c.Skipped>>stage&1 == 0 }

// fermented holds the warmth until the pH was measured against the table.
func fermented(r *Rules, c *Claim, over bool) Judgement {
	table := r.Where.SourTable()
	got, limit := c.Ferment.Of(table)
	sum := fmt.Sprintf("%s of %s %s in %s, at most %v (%s)", quantity.Fixed(got, 0), quantity.Fixed(limit, 0), table.Unit,
		quantity.FormatDuration(c.Ferment.Time), c.Ferment.Hottest, table.Source)
	_, sour, _ := r.Product.MeasuredBy(profile.SourTo)
	switch {
	case c.Ferment.Over(table):
		return Judgement{NotMet, sum + " before a pH of " + quantity.Fixed(ferment.SourAt, 1) + " was measured"}
	case !c.Ferment.Sour && over:
		return Judgement{NotShown, fmt.Sprintf("a pH of %s was never measured, so the degree-hours are held against nothing", quantity.Fixed(ferment.SourAt, 1))}
	case !c.Ferment.Sour:
		return Judgement{NotShown, sum + " so far, and the pH is not measured yet"}
	case !c.Ferment.Seen():
		return Judgement{NotShown, fmt.Sprintf("the chamber could not be read for %s of %s", quantity.FormatDuration(c.Ferment.Unseen), quantity.FormatDuration(c.Ferment.Time))}
	}
	if f := r.Product.Formula; !f.Protected() {
		return Judgement{NotShown, fmt.Sprintf("%s; but nothing holds back Clostridium botulinum meanwhile: there are less than %d ppm of nitrite in it, and %d ppm are asked (%s)", sum, profile.ProtectPPM, ferment.LeastCurePPM, ferment.LeastSaltSource)}
	}
	return Judgement{Met, fmt.Sprintf("%s until a person measured a pH of %g or less; it shows Staphylococcus aureus only", sum, sour)}
}

// killed says that warmth and sourness do not show what must be killed.
func killed(p *profile.Product) Judgement {
	if p == nil || p.Process != profile.FermentedAndDried {
		return Judgement{DoesNotApply, "it names no process that kills other than by its table"}
	}
	return Judgement{NotShown, fmt.Sprintf("%s (%s): degree-hours and drying do not show it, nor that trichinae in pork are dead; a study of just this recipe and process would, or meat and a heat step that do",
		ferment.KillTargets, ferment.KillSource)}
}

// dried says whether the sausage keeps without cold.
func dried(p *profile.Product, c *Claim) Judgement {
	at, most, ok := p.MeasuredBy(profile.WaterActivity)
	limit, how := ferment.StableInAir, "in air"
	if p.Vacuum {
		limit, how = ferment.StableInVacuum, "without air"
	}
	asked := fmt.Sprintf("packed %s it keeps without cold at a water activity of %g (%s)", how, limit, ferment.StableSource)
	switch {
	case !ok:
		return Judgement{NotShown, asked + ", and no stage waits for one; what it weighs does not show it. Keep it cold"}
	case !c.over(at):
		return Judgement{NotShown, asked + ", and it was not measured"}
	case !ferment.Stable(most, p.Vacuum):
		return Judgement{NotShown, fmt.Sprintf("%s, and %g was measured. Keep it cold", asked, most)}
	}
	return Judgement{Met, fmt.Sprintf("%s, and a person measured %g or less", asked, most)}
}
