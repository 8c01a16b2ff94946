package sheet

import (
	"fmt"
	"strings"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// Temperatures to keep while the meat is worked; common practice, no source.
const (
	coldMeat quantity.Celsius = 4
	coldMix  quantity.Celsius = 12
)

// fineScale is the mass of cure below which a scale that shows 0.1 g is too coarse:
// half of its last digit is then more than 0.5 % of the cure.
const fineScale quantity.Kilograms = 0.010

func (s Sheet) byHand(w *wall) {
	w.heading("BY HAND")
	for i, step := range s.steps() {
		w.par(fmt.Sprintf("   %d) ", i+1), step)
	}
	w.par("   ", "Temperatures and steps here: common practice, no source, unless one is named.")
}

func (s Sheet) steps() []string {
	f := s.product.Formula
	if s.product.Species == profile.Dairy {
		return []string{"Weigh the pieces.", "Keep them cold until the chamber and the room are cool enough to begin."}
	}
	steps := []string{s.weighing()}
	switch {
	case s.minced():
		steps = append(steps, s.mincing()...)
	case f.CuredBy(profile.Pumped), f.CuredBy(profile.Immersed), f.PickleMass() > 0:
		steps = append(steps, s.pickling()...)
		switch {
		case f.CuredBy(profile.DryRubbed):
			steps = append(steps, s.rubbing()...)
		case f.PickleMass() > 0 && len(f.Other) > 0:
			steps = append(steps, "Put on what is listed for the outside of the meat.")
		}
	case f.CuredBy(profile.DryRubbed):
		steps = append(steps, s.rubbing()...)
	default:
		steps = append(steps, fmt.Sprintf("Keep the pieces at or below %v. Spread the seasoning evenly over all sides: to 1 kg belong %s. If the pieces lie in a brine instead, this is what they have to take up from it.", coldMeat, s.perKilogram()))
	}
	return append(steps, fmt.Sprintf("Keep everything at or below %v until it is hung, and wipe the surface dry.", coldMeat))
}

func (s Sheet) rubbing() []string {
	return []string{
		fmt.Sprintf("Weigh every piece and give each its own share. To 1 kg of meat belong %s.", s.perKilogram()),
		fmt.Sprintf("Rub it in on all sides until nothing is left over, put each piece into a bag or a tub of its own with all that falls off, and lay it at or below %v. Turn it every day; what runs out stays with it.", coldMeat),
	}
}

// minced reports whether the meat is ground and stuffed.
func (s Sheet) minced() bool {
	return s.product.Formula.Cure.Method == profile.Comminuted || s.verdict.Class >= profile.CookedSausage
}

func (s Sheet) weighing() string {
	text := "Weigh everything before you begin, and tick it off above."
	f := s.product.Formula
	if !s.verdict.Cured {
		return text
	}
	scale := "0.1 g"
	for _, c := range f.AllCures() {
		if c.Mass < fineScale {
			scale = "0.01 g"
		}
	}
	return text + fmt.Sprintf(" Weigh the cure on a scale that shows %s, and have it read twice. If the meat weighs anything but %s, make a new sheet for what it weighs.",
		scale, metric(f.MeatMass(), false))
}

func (s Sheet) mincing() []string {
	f := s.product.Formula
	steps := []string{
		fmt.Sprintf("Chill meat and fat to %v or less, and the parts of the grinder with them.", coldMeat),
		fmt.Sprintf("Grind cold: meat at or below %v all the time. If it smears, stop and chill it again.", coldMeat),
	}
	spread := "salt"
	if s.verdict.Cured {
		spread = "salt and cure, the cure stirred into some of the cold water or well mixed with the salt,"
		if f.MassOf(profile.Water) <= 0 {
			spread = "salt and cure, well mixed with each other,"
		}
	}
	mix := fmt.Sprintf("Spread %s over all of the meat. Add the rest and work it until it sticks together; the mass stays at or below %v.", spread, coldMix)
	if s.verdict.Accelerated {
		mix += " The erythorbate or ascorbate goes in last and by itself: with the cure in one bag or one concentrate it reacts (from memory)."
	}
	casing := "Shape it without hollows"
	if s.product.Shape.Casing != profile.NoCasing {
		casing = fmt.Sprintf("Stuff it without air into %s casing, %s, and prick what air is left", s.product.Shape.Casing, size(s.product.Shape))
	}
	return append(steps, mix, casing+".")
}

func (s Sheet) pickling() []string {
	f := s.product.Formula
	immersed := f.CuredBy(profile.Immersed) || f.Pickle.LongCure || f.Pickle.Pump > 0
	meat, total := f.MeatMass(), f.TakenUp()
	var taken quantity.Kilograms
	order := "Dissolve everything in the cold water"
	if s.verdict.Accelerated && s.verdict.Cured {
		order += ", the cure first and the erythorbate or ascorbate last, just before use: in one concentrate they react (from memory)"
	}
	if f.PickleMass() <= 0 {
		taken = total.Mass() - meat
		return []string{
			fmt.Sprintf("%s. Keep it at or below %v.", order, coldMeat),
			fmt.Sprintf("Everything on the list goes into the meat: work all of it in, and %s of meat weighs %s when you are done. What runs out again is missing from the sums: put it back until the weight is right.",
				metric(meat, false), metric(meat+taken, false)),
		}
	}
	pickle := f.PickleMass()
	steps := []string{fmt.Sprintf("Make the pickle: %s. It comes to %s. Keep it at or below %v.", lower(order), metric(pickle, false), coldMeat)}
	taken = pickle * quantity.Kilograms(f.PickleShare())
	if pump := f.Pickle.Pump; pump > 0 {
		first := meat * quantity.Kilograms(pump)
		steps = append(steps, fmt.Sprintf("Pump the meat from many sides first and weigh it as you go: %s of meat gets %s of pickle, %v, and then weighs %s.",
			metric(meat, false), metric(first, false), pump, metric(meat+first, false)))
	}
	switch {
	case f.Pickle.LongCure:
		return append(steps, fmt.Sprintf("Lay %s of meat into all of the pickle and weigh it down, so that nothing looks out. Keep it at or below %v and turn it every few days until meat and pickle are equally salty.",
			metric(meat, false), coldMeat))
	case immersed:
		return append(steps, fmt.Sprintf("Lay the meat into the pickle and weigh it down, so that nothing looks out, at or below %v. It has what it needs when %s of meat weighs %s. Weigh it: the sums stand on that gain of %v.",
			coldMeat, metric(meat, false), metric(meat+taken, false), f.Pickle.Uptake))
	}
	return append(steps,
		fmt.Sprintf("Pump the meat from many sides and weigh it as you go: %s of meat gets %s of pickle, %v, and then weighs %s. Stop there; throw the rest of the pickle away.",
			metric(meat, false), metric(taken, false), f.Pickle.Uptake, metric(meat+taken, false)),
		"What runs out again is missing from the sums: weigh the meat once more and make it up.")
}

func lower(text string) string { return strings.ToLower(text[:1]) + text[1:] }

// perKilogram lists what belongs to a kilogram of meat.
func (s Sheet) perKilogram() string {
	f := s.product.Formula
	kilogram := f.MeatMass()
	var all []string
	for _, c := range f.AllCures() {
		if f.PickleMass() > 0 && c.Wet() {
			continue // it is in the pickle
		}
		all = append(all, fmt.Sprintf("%.2f g of %s", float64(c.Mass/kilogram)*1000, c.Name))
	}
	for _, i := range f.Other {
		all = append(all, fmt.Sprintf("%.2f g of %s", float64(i.Mass/kilogram)*1000, i.Name))
	}
	if len(all) == 0 {
		return "nothing else"
	}
	return strings.Join(all, ", ")
}

func size(s profile.Shape) string {
	switch s.Form {
	case profile.Slab:
		return fmt.Sprintf("%v thick", s.Thickness)
	case profile.Sphere:
		return fmt.Sprintf("%v across", s.Diameter)
	}
	return fmt.Sprintf("%v across and about %v long", s.Diameter, s.Length)
}
