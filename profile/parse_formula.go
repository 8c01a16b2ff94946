package profile

import (
	"fmt"
	"strings"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

func parseFormula(m *source.Map) Formula {
	var f Formula
	names := map[string]bool{}
	name := func(m *source.Map) string {
		v := m.Need("name")
		text := v.Text()
		if text != "" && names[text] {
			v.Fault(fmt.Sprintf("%q is in the formula already", text), "add the masses up, or tell the two apart by name")
		}
		names[text] = true
		return text
	}
	cuts := m.Need("cut").List(MaxIngredients)
	for _, item := range cuts {
		f.Cut = append(f.Cut, parseMeat(item.Map(), name))
	}
	if m.Has("cure") {
		f.Cure = parseCure(m.Take("cure").Map(), name)
	}
	m.Take("cure")
	pickled := parsePickle(m, &f, name)
	items := m.Take("other").List(MaxIngredients)
	for _, item := range items {
		f.Other = append(f.Other, parseIngredient(item.Map(), name))
	}
	total := len(cuts) + len(items) + pickled
	if m.Has("cure") {
		total++
	}
	if total > MaxIngredients {
		m.Fault(fmt.Sprintf("the formula has %d ingredients, the limit is %d", total, MaxIngredients), "join some, such as the spices, into one")
	}
	m.Done()
	return f
}

// parsePickle reads the pickle, whose rules hang on the cure and the meat, and
// returns how many items it lists.
func parsePickle(formula *source.Map, f *Formula, name func(*source.Map) string) int {
	m := formula.Take("pickle").Map()
	if m == nil {
		return 0
	}
	list := m.Need("items").List(MaxIngredients)
	sound, wet := f.Cure.Method == NoCure || f.Cure.Mass > 0, false
	for _, item := range list {
		i := parseIngredient(item.Map(), name)
		f.Pickle.Items = append(f.Pickle.Items, i)
		sound, wet = sound && i.Mass > 0, wet || i.As == Water
	}
	if len(list) > 0 && !wet {
		m.FaultAt("items", "there is no water among them", "list the water with as: water; the pickle is the water and everything dissolved in it")
	}

	key := "pump"
	pump, pickUp := m.Take("pump"), m.Take("pick-up")
	if pickUp.Present() {
		key = "pick-up"
	}
	f.Pickle.Uptake, _ = source.ReadIn(pump, quantity.ParseRatio, uptakeRange)
	if pickUp.Present() {
		f.Pickle.Uptake, f.Pickle.LongCure = parsePickUp(pickUp)
	}
	switch method := f.Cure.Method; {
	case method == Comminuted || method == DryRubbed:
		formula.FaultAt("pickle", "the cure is not in a pickle by its method", "write method: pumped or method: immersed, or remove the pickle")
	case pump.Present() && pickUp.Present():
		m.FaultAt("pick-up", "pump stands beside it", "keep pump: for pumped meat, pick-up: for meat that lies in the pickle")
	case !pump.Present() && !pickUp.Present():
		m.Fault("the pickle does not say how much of it the meat takes up", "add pump: and a percentage of the meat's weight, or pick-up: with the measured gain or long cure")
	case method == Pumped && !pump.Present():
		m.FaultAt("pick-up", "the meat is pumped", "write pump: and a percentage of the meat's weight")
	case method == Immersed && !pickUp.Present():
		m.FaultAt("pump", "the meat is immersed", "write pick-up: with the measured gain in percent of the meat's weight, or pick-up: long cure")
	case sound && f.MeatMass() > 0:
		need := f.MeatMass() * quantity.Kilograms(f.Pickle.Uptake)
		// Decimal fractions leave a hair; the whole pickle may well go in.
		if have := f.PickleMass(); need > have*(1+1e-9) {
			m.FaultAt(key, fmt.Sprintf("%v of the meat is %v of pickle, and only %v is made up", f.Pickle.Uptake, need, have),
				"make up more pickle in the same proportions")
		}
	}
	m.Done()
	return len(list)
}

// parsePickUp reads a percentage, or the words for a cure that runs until meat and
// pickle are equally salty.
func parsePickUp(v source.Value) (quantity.Ratio, bool) {
	long := false
	r, _ := source.ReadIn(v, func(text string) (quantity.Ratio, error) {
		if long = text == "long cure"; long {
			return 1, nil // any ratio in range: it is not used
		}
		got, err := quantity.ParseRatio(text)
		if err != nil && !strings.ContainsAny(text[:1], "0123456789.+-") {
			err = &quantity.ParseError{Message: fmt.Sprintf("%q is not known", text), Remedy: "use long cure or a percentage such as 8 %"}
		}
		return got, err
	}, uptakeRange)
	if long {
		return 0, true
	}
	return r, false
}

func parseMass(m *source.Map, parse func(string) (quantity.Kilograms, error)) quantity.Kilograms {
	mass, _ := source.ReadIn(m.Need("mass"), parse, massRange)
	return mass
}

func parseMeat(m *source.Map, name func(*source.Map) string) Meat {
	meat := Meat{Name: name(m), Mass: parseMass(m, quantity.ParseMass)}
	sum, whole := quantity.Ratio(0), true
	for _, part := range []struct {
		key string
		to  *quantity.Ratio
	}{{"water", &meat.Water}, {"protein", &meat.Protein}, {"fat", &meat.Fat}, {"carbohydrate", &meat.Carbohydrate}} {
		v := m.Take(part.key)
		if part.key == "carbohydrate" && !v.Present() {
			continue
		}
		var ok bool
		*part.to, ok = source.ReadIn(m.Need(part.key), quantity.ParseRatio, fractionRange)
		sum, whole = sum+*part.to, whole && ok
	}
	// Decimal fractions such as 0.7 + 0.2 + 0.1 add up to a hair more than one.
	if whole && sum > 1+1e-9 {
		m.Fault(fmt.Sprintf("water, protein, fat and carbohydrate add up to %v, the limit is 100 %%", sum), "correct them; what they leave is reckoned as ash")
	}
	m.Done()
	return meat
}

func parseCure(m *source.Map, name func(*source.Map) string) Cure {
	c := Cure{Name: name(m), Mass: parseMass(m, quantity.ParseMass)} // never by the spoon
	c.Nitrite, _ = source.ReadIn(m.Need("nitrite"), quantity.ParseRatio, nitriteRange)
	c.Method, _ = source.Choice(m.Need("method"), methods)
	c.Rest, _ = source.ReadIn(m.Take("rest"), quantity.ParseDuration, restRange)
	m.Done()
	return c
}

func parseIngredient(m *source.Map, name func(*source.Map) string) Ingredient {
	i := Ingredient{Name: name(m), Mass: parseMass(m, quantity.ParseMassOrSpoons)}
	i.As, _ = source.Choice(m.Take("as"), ingredientKinds) // Spice is the zero
	if meant, ok := meantAs(i.Name); ok && !m.Has("as") && !m.Recorded() {
		what, remedy := meant.as, "add as: "+meant.as+", or as: spice if it shall count as none"
		if meant.as == "" {
			what, remedy = "nitrite", "write it as cure: with its nitrite, or add as: spice if there is no nitrite or nitrate in it"
		}
		m.FaultAt("name", fmt.Sprintf("%q would count as no %s in the sums", i.Name, what), remedy)
		i.As = meant.kind // so that nothing else is blamed
	}
	m.Done()
	return i
}
