package profile

import (
	"slices"

	"fumarium/profile/chilling"
	"fumarium/profile/fish"
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
	raw := p.Process == ColdSmoked || p.Process == FermentedAndDried
	return p.AimsAtCore() || !raw && p.Species != Dairy &&
		slices.ContainsFunc(p.Stages, func(s Stage) bool { return s.Heat && s.Until.Has(CoreAtLeast) })
}

// AimsAtCore reports whether the product names a core or a lethality to reach. Batches of
// before there were editions of the rules go by that alone.
func (p *Product) AimsAtCore() bool {
	return p.Species != Dairy && (p.Targets.HasCore || p.Targets.HasLethality || p.waitsForLethality())
}

// SmokedHot reports whether raw product hangs in the warm on its way to be eaten or cooked,
// and goes by no rules of its own there, as what is fermented or smoked cold does.
func (p *Product) SmokedHot() bool {
	return p.Species != Dairy && p.Process != ColdSmoked && p.Process != FermentedAndDried
}

// ProtectPPM is the nitrite, as sodium nitrite of the green weight, that has at least some
// effect: FSIS Directive 7620.3, rev. 1995, p. 12.
const ProtectPPM = 40

// Protected reports whether there is so much nitrite in the meat.
func (f Formula) Protected() bool {
	return float64(f.NitriteMass())*1e6 >= ProtectPPM*float64(f.MeatMass())*(1-1e-9) && f.NitriteMass() > 0
}

// Uncured reports whether nothing protects the raw product in the warm: there is too
// little nitrite in it, and fish has too little salt in its water for that. What is fermented, smoked cold
// or cheese goes by rules of its own.
func (p *Product) Uncured() bool {
	if !p.SmokedHot() || p.Formula.Protected() {
		return false
	}
	return p.Species != Fish || p.Formula.WaterSalt() < fish.InAirPercent/100.
}

// ChillRule is the published way of chilling that the product is held to in a place, or nil.
// A place of which none is known for such a product goes by those of the United States, as
// does one of which nobody said anything.
func (p *Product) ChillRule(where Jurisdiction) *chilling.Rule {
	meat := p.Species != Fish // the texts of other places are for meat
	scarm := meat && (where == AustraliaNewZealand || where == UnitedKingdom)
	switch p.Targets.Chill {
	case ChillCured:
		switch {
		case scarm:
			return chilling.ScarmCured()
		case meat && where == Canada:
			return chilling.CanadaCured()
		}
		return chilling.Cured()
	case ChillUncured:
		switch {
		case scarm:
			return chilling.ScarmUncured()
		case where == Canada && p.Intact():
			return chilling.CanadaIntact()
		}
		return chilling.Uncured()
	case ChillRetail:
		return chilling.Retail()
	}
	return nil
}

// ChillRuleOwn reports whether such a rule is the place's own.
func (p *Product) ChillRuleOwn(where Jurisdiction) bool {
	rule := p.ChillRule(where)
	return where == UnitedStates || rule != p.ChillRule(UnitedStates)
}

// Intact reports whether the product is one muscle as it grew: nothing in the file says that
// it was ground, pumped, tumbled, netted or stuffed.
func (p *Product) Intact() bool {
	meat := p.Species == RedMeat || p.Species == Poultry || p.Species == Game
	minced := p.Class >= CookedSausage
	return meat && !minced && p.Shape.Casing == NoCasing && len(p.Formula.Cut) == 1 &&
		!p.Formula.CuredBy(Comminuted) && !p.Formula.CuredBy(Pumped) && p.Formula.Pickle.Pump == 0
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
