package proof

import (
	"fmt"

	"fumarium/profile/chilling"
	"fumarium/profile/formula"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// Late says whether more than a share of a limit on cooling is used up, and whether one is
// broken already.
func (r *Rules) Late(c *Claim, share float64) (long, over bool) {
	switch {
	case r.ServedHot:
		return float64(c.Cooled) > share*float64(chilling.Hot.Limit), c.Cooled > chilling.Hot.Limit
	case r.Chill == nil:
		return false, false
	}
	return r.Chill.Nearly(c.Chill, share), r.Chill.Failed(c.Chill)
}

func chilled(r *Rules, c *Claim, over bool) Judgement {
	switch {
	case r.ServedHot:
		return eaten(r, c, over)
	case r.Chill == nil && r.ComesUp: // heated towards a core: spores live through that, and grow while it cools
		return Judgement{NotShown, "the file names no way of chilling, so nothing was followed; name one with chill: under targets"}
	case r.Chill == nil:
		return Judgement{DoesNotApply, "nothing is heated towards a core, so nothing has to be chilled"}
	}
	name := r.Chill.Name
	if r.Edition >= ByPlace && !r.Product.ChillRuleOwn(r.Where) {
		name += fmt.Sprintf(" of the US, as no figure of %s for such a product is known here", r.Where)
	}
	switch rule := r.Chilling(); {
	case rule.Pass(c.Chill) && c.Most >= 1 && !c.cooked(r):
		return Judgement{NotShown, name + ": nothing shows since when it was cooked"}
	case rule.Pass(c.Chill):
		return formulaAllows(r, name)
	case rule.Failed(c.Chill):
		return Judgement{NotMet, name + ": a leg took too long"}
	case over:
		return Judgement{NotShown, name + ": not seen to its end"}
	}
	return Judgement{NotShown, name + ": not yet"}
}

// formulaAllows says whether a chill that was kept may be one that asks for a cure, and for
// salt.
func formulaAllows(r *Rules, name string) Judgement {
	rule := r.Chill
	if rule.NitritePPM == 0 {
		return Judgement{Met, name}
	}
	f := r.Product.Formula
	nitrite := formula.NitritePPM(f, formula.GreenWeight)
	switch reason, ok := rule.AllowsNitrite(nitrite+formula.SlackPPM, true); {
	case !ok && nitrite == 0:
		return Judgement{NotMet, name + " is for cured product, and it has no cure"}
	case !ok:
		return Judgement{NotMet, reason}
	case rule.ErythorbatePPM > 0 && formula.AcceleratorPPM(f) == 0:
		return Judgement{NotShown, name + ": kept, but it asks for erythorbate or ascorbate besides the nitrite, and there is none"}
	case !rule.AllowsSalt(100 * float64(f.WaterSalt())):
		return Judgement{NotShown, fmt.Sprintf("%s: kept, but it asks for %g %% salt in the water of the product, and the recipe makes %s %%; an analysis of the finished product would show it",
			name, rule.SaltPercent, quantity.Fixed(100*float64(f.WaterSalt()), 2))}
	}
	return Judgement{Met, name}
}

// eaten is what is served hot: it was kept hot, or not for long below that, until a person
// said that it was eaten.
func eaten(r *Rules, c *Claim, over bool) Judgement {
	cooled := fmt.Sprintf("%s of %s below %v since it was cooked (%s)", quantity.FormatDuration(c.Cooled), quantity.FormatDuration(chilling.Hot.Limit), chilling.Hot.From, chilling.Hot.Source)
	switch {
	case c.Cooled > chilling.Hot.Limit:
		return Judgement{NotMet, "served hot: " + cooled}
	case !c.cooked(r):
		return Judgement{NotShown, "served hot: it is not cooked"}
	case c.Eaten:
		return Judgement{Met, "served hot: " + cooled + ", until a person said that it was eaten"}
	case over:
		return Judgement{NotShown, "served hot: nobody said that it was eaten; " + cooled}
	}
	return Judgement{NotShown, "served hot: not eaten yet; " + cooled}
}

// warm is what is uncured and hung in the warm without being cooked.
func warm(r *Rules, c *Claim, over bool) Judgement {
	b := lethality.RawUncured
	sum := fmt.Sprintf("without nitrite, and for %s of %s between %v and %v in a chamber that was no hotter (%s)",
		quantity.FormatDuration(c.Warm), quantity.FormatDuration(b.Limit), b.From, b.To, b.Source)
	switch {
	case c.Warm > b.Limit:
		return Judgement{NotMet, sum}
	case over || r.Criterion != nil && c.cooked(r):
		return Judgement{Met, sum}
	}
	return Judgement{NotShown, sum + " so far"}
}
