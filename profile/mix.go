package profile

import (
	"slices"

	"fumarium/profile/composition"
	"fumarium/profile/quantity"
)

// MeatMass is the green weight of the meat block: the cuts, and nothing else.
func (f Formula) MeatMass() quantity.Kilograms {
	var sum quantity.Kilograms
	for _, m := range f.Cut {
		sum += m.Mass
	}
	return sum
}

// PickleMass is the mass of the pickle as it is made up: the water and everything
// dissolved in it. It is zero without a pickle.
func (f Formula) PickleMass() quantity.Kilograms {
	if len(f.Pickle.Items) == 0 {
		return 0
	}
	var sum quantity.Kilograms
	for _, c := range f.AllCures() {
		if c.Wet() {
			sum += c.Mass
		}
	}
	for _, i := range f.Pickle.Items {
		sum += i.Mass
	}
	return sum
}

// PickleShare is the part of the pickle, and so of everything in it, that the meat
// takes up. In a long cure meat and pickle share what is dissolved by their masses.
func (f Formula) PickleShare() quantity.Ratio {
	meat, pickle := f.MeatMass(), f.PickleMass()
	switch {
	case pickle <= 0:
		return 0
	case f.Pickle.LongCure:
		return quantity.Ratio(meat / (meat + pickle))
	}
	return f.Pickle.Uptake * quantity.Ratio(meat/pickle)
}

// TakenUp is the formula without its pickle: cure and pickle items are replaced by
// what of them ends up in the meat. Of a long cure, whose gain in weight nobody has
// measured, it counts what is dissolved and none of the water.
func (f Formula) TakenUp() Formula {
	if len(f.Pickle.Items) == 0 {
		return f
	}
	share := quantity.Kilograms(f.PickleShare())
	t := Formula{Cut: f.Cut, Cure: f.Cure, Cures: slices.Clone(f.Cures), Other: slices.Clone(f.Other)}
	if t.Cure.Wet() {
		t.Cure.Mass *= share
	}
	for i := range t.Cures {
		if t.Cures[i].Wet() {
			t.Cures[i].Mass *= share
		}
	}
	for _, i := range f.Pickle.Items {
		if f.Pickle.LongCure && i.As == Water {
			continue
		}
		i.Mass *= share
		t.Other = append(t.Other, i)
	}
	return t
}

// MassOf is the mass of every ingredient of one kind that ends up in the batch.
// The salt of the cure is not in it.
func (f Formula) MassOf(kind IngredientKind) quantity.Kilograms {
	var sum quantity.Kilograms
	for _, i := range f.TakenUp().Other {
		if i.As == kind {
			sum += i.Mass
		}
	}
	return sum
}

// SaltMass is all salt in the batch, that of the cures with it.
func (f Formula) SaltMass() quantity.Kilograms {
	sum := f.MassOf(Salt)
	for _, c := range f.TakenUp().AllCures() {
		sum += c.Mass * quantity.Kilograms(c.Salt())
	}
	return sum
}

// WaterSalt is salt as a part of salt and water together: the salt in the water phase, by
// the recipe.
func (f Formula) WaterSalt() quantity.Ratio {
	salt := f.SaltMass()
	if wet := salt + f.Mass()*quantity.Kilograms(f.Composition().Water); wet > 0 {
		return quantity.Ratio(salt / wet)
	}
	return 0
}

// Mass is the mass of the whole batch before anything is dried off it.
func (f Formula) Mass() quantity.Kilograms {
	f = f.TakenUp()
	var total quantity.Kilograms
	for _, c := range f.AllCures() {
		total += c.Mass
	}
	for _, m := range f.Cut {
		total += m.Mass
	}
	for _, i := range f.Other {
		total += i.Mass
	}
	return total
}

// Composition is what the batch is made of by mass. What the named parts of a cut
// leave counts as ash, and so do salt and cure. Spice, sugar, binder and
// accelerator count as carbohydrate: they are mostly that, and there is little of
// them (common practice, no source). A formula without mass has the zero Mix.
func (f Formula) Composition() composition.Mix {
	f = f.TakenUp()
	var water, protein, fat, carbohydrate, ash float64
	for _, m := range f.Cut {
		kg := float64(m.Mass)
		water += kg * float64(m.Water)
		protein += kg * float64(m.Protein)
		fat += kg * float64(m.Fat)
		carbohydrate += kg * float64(m.Carbohydrate)
		// The parts may add up to one plus a rounding error.
		ash += kg * max(0, float64(1-m.Water-m.Protein-m.Fat-m.Carbohydrate))
	}
	for _, c := range f.AllCures() {
		ash += float64(c.Mass)
	}
	for _, i := range f.Other {
		kg := float64(i.Mass)
		switch i.As {
		case Salt:
			ash += kg
		case Water:
			water += kg
		case Fat:
			fat += kg
		case SoyIsolate:
			protein += kg
		default:
			carbohydrate += kg
		}
	}
	total := water + protein + fat + carbohydrate + ash
	if total <= 0 {
		return composition.Mix{}
	}
	part := func(kg float64) quantity.Ratio { return quantity.Ratio(kg / total) }
	return composition.Mix{Water: part(water), Protein: part(protein), Fat: part(fat), Carbohydrate: part(carbohydrate), Ash: part(ash)}
}
