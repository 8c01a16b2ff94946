package profile

import (
	"fmt"
	"strings"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Limits on what a product file may say. All are common practice, no source:
// they are far outside what is smoked, and catch a slip of the pen.
const (
	MaxStages      = 24
	MaxConditions  = 8
	MaxIngredients = 40
)

var (
	chamberRange = source.Range[quantity.Celsius]{Low: 0, High: 130, Text: quantity.Celsius.String,
		Why: "a smokehouse works below that; above it dripping fat can catch fire"}
	coreRange     = source.Range[quantity.Celsius]{Low: 0, High: 100, Text: quantity.Celsius.String}
	crossRange    = source.Range[quantity.Meters]{Low: 0.005, High: 0.3, Text: quantity.Meters.String}
	lengthRange   = source.Range[quantity.Meters]{Low: 0.005, High: 3, Text: quantity.Meters.String}
	massRange     = source.Range[quantity.Kilograms]{Low: 0.0001, High: 500, Text: quantity.Kilograms.String}
	fractionRange = source.Range[quantity.Ratio]{Low: 0, High: 1, Text: quantity.Ratio.String}
	nitriteRange  = source.Range[quantity.Ratio]{Low: 0, High: 1, Above: true, Text: quantity.Ratio.String}
	uptakeRange   = source.Range[quantity.Ratio]{Low: 0, High: 1, Above: true, Text: quantity.Ratio.String}
	rampRange     = source.Range[quantity.KelvinPerSecond]{Low: 0, High: 600. / 3600, Above: true, Text: quantity.KelvinPerSecond.String}
	stageRange    = source.Range[time.Duration]{Low: 0, High: 7 * 24 * time.Hour, Above: true, Text: inDays}
	restRange     = source.Range[time.Duration]{Low: 0, High: 60 * 24 * time.Hour, Above: true, Text: inDays}
	logRange      = source.Range[float64]{Low: 0, High: 12, Above: true}
)

var (
	forms   = []source.Word[Form]{{Text: "cylinder", Meaning: Cylinder}, {Text: "slab", Meaning: Slab}, {Text: "sphere", Meaning: Sphere}}
	casings = []source.Word[Casing]{
		{Text: "none", Meaning: NoCasing}, {Text: "natural", Meaning: NaturalCasing}, {Text: "collagen", Meaning: CollagenCasing},
		{Text: "cellulose", Meaning: CelluloseCasing}, {Text: "fibrous", Meaning: FibrousCasing},
		{Text: "plastic", Meaning: PlasticCasing}, {Text: "net", Meaning: NetCasing},
	}
	species = []source.Word[Species]{
		{Text: "red meat", Meaning: RedMeat}, {Text: "poultry", Meaning: Poultry}, {Text: "fish", Meaning: Fish},
		{Text: "game", Meaning: Game}, {Text: "dairy", Meaning: Dairy},
	}
	methods = []source.Word[CureMethod]{
		{Text: "comminuted", Meaning: Comminuted}, {Text: "pumped", Meaning: Pumped},
		{Text: "immersed", Meaning: Immersed}, {Text: "dry rubbed", Meaning: DryRubbed},
	}
	ingredientKinds = []source.Word[IngredientKind]{
		{Text: "salt", Meaning: Salt}, {Text: "water", Meaning: Water}, {Text: "sugar", Meaning: Sugar}, {Text: "binder", Meaning: Binder},
		{Text: "accelerator", Meaning: Accelerator}, {Text: "fat", Meaning: Fat}, {Text: "spice", Meaning: Spice},
		{Text: "ascorbic acid", Meaning: AscorbicAcid}, {Text: "isolated soy protein", Meaning: SoyIsolate},
	}
	chillRules = []source.Word[ChillRule]{
		{Text: "cured", Meaning: ChillCured}, {Text: "uncured", Meaning: ChillUncured}, {Text: "retail", Meaning: ChillRetail},
	}
	classes = []source.Word[Class]{
		{Text: "bacon", Meaning: Bacon}, {Text: "rind-on bacon", Meaning: RindOnBacon}, {Text: "whole muscle", Meaning: WholeMuscle},
		{Text: "cooked sausage", Meaning: CookedSausage}, {Text: "frankfurter", Meaning: Frankfurter},
		{Text: "uncooked sausage", Meaning: UncookedSausage}, {Text: "fresh pork sausage", Meaning: FreshPorkSausage},
		{Text: "fresh beef sausage", Meaning: FreshBeefSausage}, {Text: "Italian sausage", Meaning: ItalianSausage},
	}
	places = []source.Word[Place]{
		{Text: "chamber", Meaning: Chamber}, {Text: "ice water", Meaning: IceWater}, {Text: "room", Meaning: Room}, {Text: "cold room", Meaning: ColdRoom},
	}
	onOff       = []source.Word[bool]{{Text: "on", Meaning: true}, {Text: "off", Meaning: false}}
	offOnly     = []source.Word[bool]{{Text: "off", Meaning: true}}
	fanWords    = []source.Word[quantity.Ratio]{{Text: "off", Meaning: 0}, {Text: "full", Meaning: 1}}
	damperWords = []source.Word[quantity.Ratio]{{Text: "shut", Meaning: 0}, {Text: "open", Meaning: 1}}
)

// Parse reads a product file and checks all of it. The error is a source.Findings
// with everything wrong with the file, in the order of the file. file is only for
// messages.
func Parse(file string, data []byte) (*Product, error) {
	doc, err := source.Open(file, data)
	if err != nil {
		return nil, err
	}
	root := doc.Root().Named("a product")
	p := &Product{
		Name:   root.Need("product").Text(),
		Source: root.Take("source").Text(),
		Shape:  parseShape(root.Need("shape").Map()),
	}
	p.Species, _ = source.Choice(root.Need("species"), species)
	class := root.Take("class")
	p.Formula = parseFormula(root.Need("formula").Map())
	p.Class = parseClass(class, p.Formula.Cure.Method)
	p.Targets = parseTargets(root.Take("targets").Map(), p.Species)
	p.Stages = parseStages(root.Need("stages"), p.Species)
	root.Done()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

func parseShape(m *source.Map) Shape {
	var s Shape
	var known bool
	s.Form, known = source.Choice(m.Need("form"), forms)
	s.Casing, _ = source.Choice(m.Take("casing"), casings)
	var needs []string
	switch s.Form {
	case Cylinder:
		needs = []string{"diameter", "length"}
	case Slab:
		needs = []string{"thickness", "length", "width"}
	case Sphere:
		needs = []string{"diameter"}
	}
	needed := func(key string) bool {
		for _, n := range needs {
			if n == key {
				return true
			}
		}
		return false
	}
	read := func(key string, r source.Range[quantity.Meters]) quantity.Meters {
		v := m.Take(key)
		if needed(key) {
			v = m.Need(key)
		} else if known {
			m.FaultAt(key, "this form has none", "remove it, or choose another form")
		}
		l, _ := source.ReadIn(v, quantity.ParseLength, r)
		return l
	}
	s.Diameter = read("diameter", crossRange)
	s.Thickness = read("thickness", crossRange)
	s.Length = read("length", lengthRange)
	s.Width = read("width", lengthRange)
	if s.Form == Slab && s.Thickness > 0 {
		if least := min(s.Length, s.Width); least > 0 && s.Thickness > least {
			m.FaultAt("thickness", fmt.Sprintf("%v is more than the slab's length or width, %v", s.Thickness, least), "the thickness is the smallest of the three; swap them")
		}
	}
	m.Done()
	return s
}

// parseClass refuses a class that the cure does not fit.
func parseClass(v source.Value, method CureMethod) Class {
	c, ok := source.Choice(v, classes)
	minced := c >= CookedSausage
	switch {
	case !ok || method == NoCure:
	case minced && method != Comminuted:
		v.Fault("sausage is made of minced meat, and the cure is not comminuted", "write method: comminuted, or class: whole muscle")
	case !minced && method == Comminuted:
		v.Fault("this class is cured in the piece, and the cure is comminuted", "name a kind of sausage, or another method of curing")
	}
	return c
}

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
	if meant, ok := meantAs(i.Name); ok && !m.Has("as") {
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

func parseTargets(m *source.Map, s Species) Targets {
	var t Targets
	t.Core, t.HasCore = source.ReadIn(m.Take("core"), quantity.ParseTemperature, coreRange)
	t.Lethality, t.HasLethality = parseLethality(m.Take("lethality"), s)
	t.Chill, _ = source.Choice(m.Take("chill"), chillRules)
	m.Done()
	return t
}

// parseLethality refuses a log reduction for species whose criterion is none: fish
// is held for half an hour, cheese is not cooked.
func parseLethality(v source.Value, s Species) (float64, bool) {
	for _, w := range species {
		if w.Meaning == s && (s == Fish || s == Dairy) {
			v.Fault(w.Text+" has no criterion that is a log reduction", "use core, and for fish a stage that holds it for 30 min")
		}
	}
	return source.ReadIn(v, quantity.ParseNumber, logRange)
}

func parseStages(v source.Value, s Species) []Stage {
	var stages []Stage
	r := stageReader{species: s, names: map[string]int{}}
	for i, item := range v.List(MaxStages) {
		m := item.Named(fmt.Sprintf("stage %d", i+1)).Map()
		stages = append(stages, r.stage(m))
	}
	return stages
}

// stageReader carries from stage to stage what later ones are held against.
type stageReader struct {
	species Species
	names   map[string]int // line of the stage of that name
	warmed  bool           // an earlier stage heated or smoked
	left    bool           // the product is out of the chamber

	setpointRead bool // this stage's chamber temperature is one
}

func (r *stageReader) stage(m *source.Map) Stage {
	st := Stage{Line: m.Line()}
	v := m.Need("name")
	if st.Name = v.Text(); st.Name != "" {
		if at := r.names[st.Name]; at != 0 {
			v.Fault(fmt.Sprintf("%q is the name of the stage in line %d", st.Name, at), "give every stage a name of its own")
		} else {
			r.names[st.Name] = st.Line
		}
	}

	chamber, heater := m.Take("chamber"), m.Take("heater")
	st.ChamberSetpoint, r.setpointRead = source.ReadIn(chamber, quantity.ParseTemperature, chamberRange)
	source.Choice(heater, offOnly)
	st.Heat = chamber.Present()
	switch {
	case chamber.Present() && heater.Present():
		m.FaultAt("heater", "the stage has a chamber temperature as well", "keep chamber: for a stage with heat, or heater: off for one without")
	case !chamber.Present() && !heater.Present():
		m.Fault("the stage says nothing about heat", "add chamber: and a temperature, or heater: off")
	}

	st.Ramp, _ = source.ReadIn(m.Take("ramp"), quantity.ParseRate, rampRange)
	if heater.Present() {
		m.FaultAt("ramp", "a stage without heat has no ramp", "remove it")
	}
	st.Humidity, st.HasHumidity = source.ReadIn(m.Take("humidity"), quantity.ParseRatio, fractionRange)
	st.Fan, _ = readSetting(m.Take("fan"), fanWords)
	st.Smoke, _ = source.Choice(m.Take("smoke"), onOff)
	st.Damper, st.HasDamper = readSetting(m.Take("damper"), damperWords)
	st.Ask = m.Take("ask").Text()
	st.Until = r.until(m.Need("until"), st)
	st.Within, _ = source.ReadIn(m.Take("within"), quantity.ParseDuration, stageRange)
	for _, c := range st.Until.Conditions {
		if c.Kind == After && !st.Until.Any && st.Within > 0 && st.Within <= c.After {
			m.FaultAt("within", fmt.Sprintf("the stage lasts %s at least, so the alarm would always sound", quantity.FormatDuration(c.After)), "write a longer time")
		}
	}
	r.place(m, &st)
	r.warmed = r.warmed || st.Heat || st.Smoke
	r.left = st.Place != Chamber
	m.Done()
	return st
}

// place reads where the product is during the stage, or works it out.
func (r *stageReader) place(m *source.Map, st *Stage) {
	v := m.Take("place")
	said, known := source.Choice(v, places)
	waitsForCore := false
	for _, c := range st.Until.Conditions {
		waitsForCore = waitsForCore || c.Kind == CoreAtMost
	}
	switch {
	case known:
		st.Place = said
		if said != Chamber && (st.Heat || st.Smoke) {
			v.Fault("the stage heats or smokes the chamber", "remove place:, or end the heat and the smoke in an earlier stage")
		}
	case st.Heat || st.Smoke:
		st.Place = Chamber
	case waitsForCore:
		st.Place = IceWater
	case r.left:
		st.Place = Room
	default:
		st.Place = Chamber
	}
	if st.HasHumidity && st.Place != Chamber {
		m.FaultAt("humidity", "the product is not in the chamber during this stage", "remove it, or add place: chamber")
	}
}

func (r *stageReader) until(v source.Value, st Stage) Until {
	m := v.Map()
	if !m.Has("any") {
		u := Until{Conditions: r.conditions(m, st)}
		m.Take("any")
		if m.Empty() {
			m.Fault("until: there is no condition", "add after, core, lethality, confirm or any")
		}
		m.Done()
		return u
	}
	u := Until{Any: true}
	seen := map[ConditionKind]bool{}
	for _, item := range m.Take("any").List(MaxConditions) {
		one := item.Map()
		got := r.conditions(one, st)
		one.Done()
		switch {
		case one.Empty():
			one.Fault("any: there is no condition in this item", "add after, core, lethality or confirm")
		case len(got) > 1:
			one.Fault("any: several conditions in one item", "give each an item of its own; conditions that must hold together cannot stand under any")
		case len(got) == 1 && seen[got[0].Kind]:
			one.Fault("any: this kind of condition is there already", "keep the one that comes first")
		case len(got) == 1:
			seen[got[0].Kind] = true
		}
		u.Conditions = append(u.Conditions, got...)
	}
	for _, key := range []string{"after", "core", "lethality", "confirm"} {
		m.Take(key)
		m.FaultAt(key, "any stands beside it", "move it into the list of any, or remove any")
	}
	m.Done()
	return u
}

// conditions reads the conditions of one mapping, in an order of their own.
func (r *stageReader) conditions(m *source.Map, st Stage) []Condition {
	var got []Condition
	if after, ok := source.ReadIn(m.Take("after"), quantity.ParseDuration, stageRange); ok {
		got = append(got, Condition{Kind: After, After: after})
	}
	v := m.Take("core")
	if core, ok := source.ReadIn(v, quantity.ParseTemperature, coreRange); ok {
		c := Condition{Kind: CoreAtLeast, Core: core}
		if !st.Heat {
			c.Kind = CoreAtMost
		}
		switch {
		case r.setpointRead && core >= st.ChamberSetpoint:
			v.Fault(fmt.Sprintf("%v cannot be reached in a chamber at %v", core, st.ChamberSetpoint), "set the chamber higher or the core lower")
		case !st.Heat && !st.Smoke && !r.warmed:
			v.Fault("a stage without heat waits for the core to fall, and nothing has warmed it yet", "heat in an earlier stage, or end this one with after")
		}
		got = append(got, c)
	}
	if l, ok := parseLethality(m.Take("lethality"), r.species); ok {
		got = append(got, Condition{Kind: LethalityAtLeast, Lethality: l})
	}
	if text := m.Take("confirm").Text(); text != "" {
		got = append(got, Condition{Kind: Confirmed, Confirm: text})
	}
	return got
}

// inDays writes a limit the way the file would: 7 d rather than 168 h.
func inDays(d time.Duration) string {
	const day = 24 * time.Hour
	if d > 0 && d%day == 0 {
		return fmt.Sprintf("%d d", d/day)
	}
	return quantity.FormatDuration(d)
}

// readSetting reads one of the words, or a percentage.
func readSetting(v source.Value, words []source.Word[quantity.Ratio]) (quantity.Ratio, bool) {
	return source.ReadIn(v, func(text string) (quantity.Ratio, error) {
		for _, w := range words {
			if w.Text == text {
				return w.Meaning, nil
			}
		}
		got, err := quantity.ParseRatio(text)
		if err != nil && !strings.ContainsAny(text[:1], "0123456789.+-") {
			err = &quantity.ParseError{Message: fmt.Sprintf("%q is not known", text),
				Remedy: fmt.Sprintf("use %s, %s or a percentage such as 25 %%", words[0].Text, words[1].Text)}
		}
		return got, err
	}, fractionRange)
}
