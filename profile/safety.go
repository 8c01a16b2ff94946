package profile

import (
	"slices"

	"fumarium/profile/chilling"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// ChamberMargin is how far every setpoint must stay below the cabinet's absolute limit, so
// that ordinary overshoot does not trip it; the controller refuses a batch that comes
// nearer. Common practice, no source.
const ChamberMargin quantity.Kelvin = 5

// Cooked reports whether the product is meant to be eaten without further cooking:
// its file names a core or a lethality to reach, and no other process.
func (p *Product) Cooked() bool {
	return p.Process == FullyCooked && (p.Targets.HasCore || p.Targets.HasLethality || p.waitsForLethality())
}

func (p *Product) waitsForLethality() bool {
	return slices.ContainsFunc(p.Stages, func(s Stage) bool { return s.Until.Has(LethalityAtLeast) })
}

// Criterion is what the product must meet to count as cooked; nil where nothing is
// cooked or no criterion is known. With any poultry in it, it is that of poultry.
func (p *Product) Criterion() *lethality.Criterion {
	switch {
	case !p.Cooked():
		return nil
	case p.PoultryInIt() && p.Species != Dairy && p.Species != Fish:
		return lethality.PoultryCriterion(p.Bird(), p.Formula.lean())
	}
	return p.Species.Criterion()
}

// Criterion is what cooked food of this species must meet, or nil.
func (s Species) Criterion() *lethality.Criterion {
	switch s {
	case RedMeat:
		return lethality.RedMeatCriterion()
	case Game:
		return lethality.GameCriterion()
	case Poultry:
		return lethality.PoultryCriterion(lethality.AnyBird, false)
	case Fish:
		return lethality.FishCriterion()
	}
	return nil
}

// ComeUpApplies reports whether the come-up time is limited: that of all that is heated
// towards a core or a lethality, whether it gets through the band or not.
func (p *Product) ComeUpApplies() bool {
	return p.Species != Dairy && (p.Targets.HasCore || p.Targets.HasLethality || p.waitsForLethality())
}

// ChillRule is the published way of chilling that the product is held to, or nil.
func (p *Product) ChillRule() *chilling.Rule {
	switch p.Targets.Chill {
	case ChillCured:
		return chilling.Cured()
	case ChillUncured:
		return chilling.Uncured()
	case ChillRetail:
		return chilling.Retail()
	}
	return nil
}

// Chilling reports whether stage i comes after the last one that heats, so that
// the product only cools from here.
func (p *Product) Chilling(i int) bool {
	for j := i; j < len(p.Stages); j++ {
		if p.Stages[j].Heat {
			return false
		}
	}
	return i > 0
}
