package profile

import (
	"fmt"
	"slices"
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
	cures := parseCures(m, &f, name)
	pickled := parsePickle(m, &f, name)
	if f.CuredBy(DryRubbed) && (f.CuredBy(Pumped) || f.CuredBy(Immersed)) && !m.Has("pickle") {
		m.FaultAt("cure", "one cure is rubbed on and another is not, and nothing says what is in the pickle", "add pickle: with its items and what the meat takes up")
	}
	items := m.Take("other").List(MaxIngredients)
	for _, item := range items {
		f.Other = append(f.Other, parseIngredient(item.Map(), name))
	}
	total := len(cuts) + len(items) + pickled + cures
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
	sound, wet := true, false
	for _, c := range f.AllCures() {
		sound = sound && c.Mass > 0
	}
	for _, item := range list {
		i := parseIngredient(item.Map(), name)
		f.Pickle.Items = append(f.Pickle.Items, i)
		sound, wet = sound && i.Mass > 0, wet || i.As == Water
	}
	if len(list) > 0 && !wet {
		m.FaultAt("items", "there is no water among them", "list the water with as: water; the pickle is the water and everything dissolved in it")
	}

	pump, pickUp := m.Take("pump"), m.Take("pick-up")
	f.Pickle.Uptake, _ = source.ReadIn(pump, quantity.ParseRatio, uptakeRange)
	if pickUp.Present() {
		f.Pickle.Pump = f.Pickle.Uptake // first pumped, then laid in
		var lying quantity.Ratio
		lying, f.Pickle.LongCure = parsePickUp(pickUp)
		f.Pickle.Uptake += lying
	}
	switch {
	case f.Cure.Method != NoCure && !f.CuredBy(Pumped) && !f.CuredBy(Immersed):
		formula.FaultAt("pickle", "the cure is not in a pickle by its method", "write method: pumped or method: immersed, or remove the pickle")
	case !pump.Present() && !pickUp.Present():
		m.Fault("the pickle does not say how much of it the meat takes up", "add pump: and a percentage of the meat's weight, or pick-up: with the measured gain or long cure")
	case !fitsMethod(m, f) || !sound || f.MeatMass() <= 0:
	default:
		enoughPickle(m, f)
	}
	m.Done()
	return len(list)
}

// fitsMethod holds pump and pick-up of a pickle against how its cure gets in.
func fitsMethod(m *source.Map, f *Formula) bool {
	pump, pickUp := m.Has("pump"), m.Has("pick-up")
	pumped, immersed := f.CuredBy(Pumped), f.CuredBy(Immersed)
	switch {
	case pump && pickUp && immersed && !pumped:
		m.FaultAt("pump", "the meat is immersed, and pick-up stands beside it", "write method: pumped for meat that is pumped and then laid into the pickle, or remove pump")
	case pumped && !pump:
		m.FaultAt("pick-up", "the meat is pumped", "write pump: and a percentage of the meat's weight")
	case immersed && !pickUp:
		m.FaultAt("pump", "the meat is immersed", "write pick-up: with the measured gain in percent of the meat's weight, or pick-up: long cure")
	default:
		return true
	}
	return false
}

// enoughPickle refuses meat that takes up more pickle than there is.
func enoughPickle(m *source.Map, f *Formula) {
	key, taken := "pump", f.Pickle.Uptake
	if m.Has("pick-up") {
		key = "pick-up"
	}
	if f.Pickle.LongCure {
		key, taken = "pump", f.Pickle.Pump // it lies in what is left
	}
	need, have := f.MeatMass()*quantity.Kilograms(taken), f.PickleMass()
	// Decimal fractions leave a hair; the whole pickle may well go in.
	if need > have*(1+1e-9) {
		m.FaultAt(key, fmt.Sprintf("%v of the meat is %v of pickle, and only %v is made up", taken, need, have), "make up more pickle in the same proportions")
	}
}

// longCure stands for a percentage that nobody has measured.
const longCure = "long cure"

// parsePickUp reads a percentage, or the words for a cure that runs until meat and
// pickle are equally salty.
func parsePickUp(v source.Value) (quantity.Ratio, bool) {
	long := false
	v.Takes(longCure)
	r, _ := source.ReadIn(v, func(text string) (quantity.Ratio, error) {
		if long = text == longCure; long {
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

// parseCures reads one cure or a list of them and returns how many there are.
func parseCures(m *source.Map, f *Formula, name func(*source.Map) string) int {
	list := m.Take("cure").OneOrMore(MaxCures)
	var methods []CureMethod
	for i, item := range list {
		c := parseCure(item.Named("cure").Map(), name)
		if i == 0 {
			f.Cure = c
		} else {
			f.Cures = append(f.Cures, c)
		}
		if c.Method != NoCure {
			methods = append(methods, c.Method)
		}
	}
	pieces := slices.ContainsFunc(methods, func(c CureMethod) bool { return c != Comminuted })
	if pieces && slices.Contains(methods, Comminuted) {
		m.FaultAt("cure", "one cure is comminuted and another is not", "meat is cured minced or in the piece; write the same for all of them")
	}
	if slices.Contains(methods, Pumped) && slices.Contains(methods, Immersed) {
		m.FaultAt("cure", "one cure is pumped and another immersed, and there is one pickle",
			"write method: pumped for all of it; a pickle with pump and pick-up is pumped first and lain in after")
	}
	return len(list)
}

func parseCure(m *source.Map, name func(*source.Map) string) Cure {
	c := Cure{Name: name(m), Mass: parseMass(m, quantity.ParseMass)} // never by the spoon
	sum, whole := quantity.Ratio(0), true
	any := false
	for _, part := range []struct {
		key string
		to  *quantity.Ratio
	}{{"nitrite", &c.Nitrite}, {"potassium nitrite", &c.PotassiumNitrite}, {"nitrate", &c.Nitrate}, {"potassium nitrate", &c.PotassiumNitrate}} {
		if any = any || m.Has(part.key); !m.Has(part.key) {
			m.Take(part.key)
			continue
		}
		var ok bool
		*part.to, ok = source.ReadIn(m.Take(part.key), quantity.ParseRatio, nitriteRange)
		sum, whole = sum+*part.to, whole && ok
	}
	if !any {
		m.Need("nitrite")
	}
	if whole && sum > 1+1e-9 {
		m.Fault(fmt.Sprintf("nitrite and nitrate add up to %v of the cure, the limit is 100 %%", sum), "correct them; what they leave is reckoned as salt")
	}
	if meantNitrate(c.Name) && whole && any && c.Nitrate+c.PotassiumNitrate == 0 && !m.Recorded() {
		m.FaultAt("name", fmt.Sprintf("%q says that there is nitrate in it, and none is stated", c.Name),
			"add nitrate: (of sodium) or potassium nitrate: with its percentage from the label, or name it for what it is")
	}
	c.Method, _ = source.Choice(m.Need("method"), methods)
	c.Rest, _ = source.ReadIn(m.Take("rest"), quantity.ParseDuration, restRange)
	m.Done()
	return c
}

func parseIngredient(m *source.Map, name func(*source.Map) string) Ingredient {
	i := Ingredient{Name: name(m), Mass: parseMass(m, quantity.ParseMassOrSpoons)}
	i.As, _ = source.Choice(m.Take("as"), ingredientKinds) // Spice is the zero
	meant, ok := meantAs(i.Name)
	if !m.Recorded() && birdMeat(i) {
		m.FaultAt("name", fmt.Sprintf("%q is poultry, and would not be held to its standard here", i.Name), "list it under cut with what it is made of, so that the standard for poultry counts")
	}
	switch {
	case !ok || m.Recorded():
	case meant.cure: // no as: makes a cure anything else
		m.FaultAt("name", fmt.Sprintf("%q means a cure, and would count as no nitrite or nitrate in the sums", i.Name),
			"write it as cure: with its mass, nitrite and nitrate; if there is neither in it, give it a name that says what it is")
		i.As = meant.kind // so that nothing else is blamed
	case !m.Has("as"):
		m.FaultAt("name", fmt.Sprintf("%q would count as no %s in the sums", i.Name, meant.as), "add as: "+meant.as+", or as: spice if it shall count as none")
		i.As = meant.kind
	}
	m.Done()
	return i
}
