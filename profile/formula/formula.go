// Package formula reckons what a formula holds and judges it: ingoing nitrite and
// accelerator in parts per million, salt, fat, added water and binder, each with
// its arithmetic written out so that it can be followed by hand. It scales a
// formula to the meat in hand. It judges the formula alone: whether a product is
// cooked or cooled well is for other rooms, and whether it may be sold for an
// inspector.
//
// The sums are those of the FSIS Processing Inspectors' Calculations Handbook
// (Directive 7620.3, revised 1995), chapter 3; the limits stand beside their
// sources in this room.
package formula

import (
	"fmt"
	"slices"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// A Basis is the weight that parts per million are counted in.
type Basis uint8

// GreenWeight is the meat block alone, as in the United States: water, salt, spice
// and binder do not count. TotalFormulation is everything that goes into the
// batch, as in Canada; its limits are others.
const (
	GreenWeight Basis = iota
	TotalFormulation
)

func (b Basis) String() string {
	if b == TotalFormulation {
		return "total formulation"
	}
	return "green weight of the meat"
}

// Scale is the formula for another mass of meat, everything in proportion, so that
// parts per million and percentages stay what they were. A mass that is not above
// zero is a mistake of the caller and panics.
func Scale(f profile.Formula, meat quantity.Kilograms) profile.Formula {
	green := f.MeatMass()
	if !(meat > 0) || !quantity.Finite(float64(meat)) || !(green > 0) {
		panic(fmt.Sprintf("formula: cannot scale %v of meat to %v; both must be above 0 kg", green, meat))
	}
	if meat == green {
		return f
	}
	by := meat / green
	s := f
	s.Cut = make([]profile.Meat, len(f.Cut))
	for i, m := range f.Cut {
		m.Mass *= by
		s.Cut[i] = m
	}
	s.Cure.Mass *= by
	s.Cures = slices.Clone(f.Cures)
	for i := range s.Cures {
		s.Cures[i].Mass *= by
	}
	s.Other = scaled(f.Other, by)
	s.Pickle.Items = scaled(f.Pickle.Items, by)
	return s
}

func scaled(items []profile.Ingredient, by quantity.Kilograms) []profile.Ingredient {
	if items == nil {
		return nil
	}
	s := make([]profile.Ingredient, len(items))
	for i, item := range items {
		item.Mass *= by
		s[i] = item
	}
	return s
}

// base is the weight that parts per million are counted in.
func base(f profile.Formula, b Basis) quantity.Kilograms {
	if b == TotalFormulation {
		return f.Mass()
	}
	return f.MeatMass()
}

// NitritePPM is the ingoing sodium nitrite. A formula without meat or cure has 0.
//
// With n the nitrite in the cure or pickle and M the meat, it is n/M for minced and
// dry rubbed meat; n·u/P for pumped and for immersed meat with the measured uptake
// u from a pickle of mass P; and n/(M+P) for a long cure. profile.Formula.TakenUp
// makes the three one.
func NitritePPM(f profile.Formula, b Basis) float64 {
	return perMillion(f.NitriteMass(), base(f, b))
}

// AcceleratorPPM is the ingoing accelerator as sodium erythorbate or ascorbate, on
// the green weight. Ascorbic and erythorbic acid count 7/6 of their mass: 3/4 oz of
// the acid is allowed where 7/8 oz of the salt is (see acceleratorLimit).
func AcceleratorPPM(f profile.Formula) float64 {
	return perMillion(accelerator(f), f.MeatMass())
}

const acidCounts = 7. / 6

func accelerator(f profile.Formula) quantity.Kilograms {
	return f.MassOf(profile.Accelerator) + acidCounts*f.MassOf(profile.AscorbicAcid)
}

func perMillion(part, whole quantity.Kilograms) float64 {
	if whole <= 0 {
		return 0
	}
	return float64(part) / float64(whole) * 1e6
}

// Shares are the fractions that people and rules speak of. Salt is of the meat, as
// sausage is counted in the trade; the others are of the raw batch.
type Shares struct {
	Salt       quantity.Ratio // of the green weight, that of the cure included
	WaterSalt  quantity.Ratio // salt in salt and water together: the water-phase salt
	Meat       quantity.Ratio
	Fat        quantity.Ratio
	PutWater   quantity.Ratio // water weighed in as an ingredient
	AddedWater quantity.Ratio // by definition: all water less four times the protein, not below 0
	Binder     quantity.Ratio // with isolated soy protein at 1.75 times its mass
}

// soyCounts makes 2 % isolated soy protein stand for 3.5 % of binder (9 CFR 319.140
// and 319.180).
const soyCounts = 3.5 / 2

// ShareOf reckons the shares of a formula. Without meat they are all 0.
func ShareOf(f profile.Formula) Shares {
	meat, total := f.MeatMass(), f.Mass()
	if meat <= 0 {
		return Shares{}
	}
	mix := f.Composition()
	return Shares{
		Salt:       quantity.Ratio(f.SaltMass() / meat),
		Meat:       quantity.Ratio(meat / total),
		Fat:        mix.Fat,
		PutWater:   quantity.Ratio(f.MassOf(profile.Water) / total),
		AddedWater: max(0, mix.Water-4*mix.Protein),
		Binder:     quantity.Ratio((f.MassOf(profile.Binder) + soyCounts*f.MassOf(profile.SoyIsolate)) / total),
		WaterSalt:  f.WaterSalt(),
	}
}
