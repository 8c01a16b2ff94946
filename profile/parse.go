package profile

import (
	"fmt"
	"time"

	"fumarium/profile/fish"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Limits on what a product file may say. All are common practice, no source:
// they are far outside what is smoked, and catch a slip of the pen.
const (
	MaxStages      = 24
	MaxConditions  = 8
	MaxIngredients = 40
	MaxCures       = 8
)

var (
	chamberRange = source.Range[quantity.Celsius]{Low: 0, High: 130, Text: quantity.Celsius.String,
		Why: "a smokehouse works below that; above it dripping fat can catch fire"}
	coreRange     = source.Range[quantity.Celsius]{Low: 0, High: 100, Text: quantity.Celsius.String}
	crossRange    = source.Range[quantity.Meters]{Low: 0.005, High: 0.3, Text: quantity.Meters.String}
	lengthRange   = source.Range[quantity.Meters]{Low: 0.005, High: 3, Text: quantity.Meters.String}
	massRange     = source.Range[quantity.Kilograms]{Low: 0.0001, High: 500, Text: quantity.Kilograms.String}
	fractionRange = source.Range[quantity.Ratio]{Low: 0, High: 1, Text: quantity.Ratio.String}
	apartRange    = source.Range[quantity.Kelvin]{Low: 0.5, High: 60, Text: quantity.Kelvin.String}
	coldRange     = source.Range[quantity.Celsius]{Low: 0, High: 60, Text: quantity.Celsius.String, Why: "what is warmer is not smoked cold"}
	nitriteRange  = source.Range[quantity.Ratio]{Low: 0, High: 1, Above: true, Text: quantity.Ratio.String}
	uptakeRange   = source.Range[quantity.Ratio]{Low: 0, High: 1, Above: true, Text: quantity.Ratio.String}
	rampRange     = source.Range[quantity.KelvinPerSecond]{Low: 0, High: 600. / 3600, Above: true, Text: quantity.KelvinPerSecond.String}
	stageRange    = source.Range[time.Duration]{Low: 0, High: 7 * 24 * time.Hour, Above: true, Text: inDays}
	restRange     = source.Range[time.Duration]{Low: 0, High: 400 * 24 * time.Hour, Above: true, Text: inDays} // a ham of 300 mm, rubbed, takes 285 days
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
		{Text: "served hot", Meaning: ServedHot},
	}
	processes = []source.Word[Process]{{Text: "cooked", Meaning: FullyCooked}, {Text: "not ready to eat", Meaning: NotReadyToEat}, {Text: "cold smoked", Meaning: ColdSmoked},
		{Text: "fermented and dried", Meaning: FermentedAndDried}}
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
	return parse(doc)
}

// ParseRecorded reads a product file as a batch has gone by it. It was good then, so it
// refuses nothing that later versions ask of a new one; it reads as it did.
func ParseRecorded(file string, data []byte) (*Product, error) {
	doc, err := source.Open(file, data)
	if err != nil {
		return nil, err
	}
	doc.Recorded = true
	return parse(doc)
}

// Ask reads a product file like Parse and notes what is asked of it.
func Ask(file string, data []byte, notes *source.Asked) error {
	doc, err := source.Open(file, data)
	if err != nil {
		return err
	}
	doc.Ask(notes)
	_, err = parse(doc)
	return err
}

// steps bring a product file from each format to the next, from 1 on. What changes what an
// older file means, or what it calls something, is a step; a key more is none.
var steps []source.Step

func parse(doc *source.Document) (*Product, error) {
	root := doc.Root().Named("a product")
	if !root.Format(steps...) {
		return nil, doc.Err()
	}
	p := &Product{
		Name:   root.Need("product").Text(),
		Source: root.Take("source").Text(),
		Shape:  parseShape(root.Need("shape").Map()),
	}
	kind := root.Need("species")
	p.Species, _ = source.Choice(kind, species)
	class := root.Take("class")
	process := root.Take("process")
	p.Process, _ = source.Choice(process, processes)
	p.Formula = parseFormula(root.Need("formula").Map())
	p.Class = parseClass(class, p.Formula.Cure.Method)
	p.Jurisdiction, _ = source.Choice(root.Take("jurisdiction"), jurisdictions)
	p.Fish = parseFish(root.Take("fish"), p.Species)
	pack := root.Take("pack")
	packed, _ := source.Choice(pack, packings)
	p.Vacuum = packed == fish.InVacuum
	targets := root.Take("targets").Map()
	p.Targets = parseTargets(targets, p.Species)
	stages := root.Need("stages")
	p.Stages = parseStages(stages, p.Species)
	if !doc.Recorded {
		p.refuseLess(kind, process, targets)
		p.refuseWarm(process, targets, stages)
		p.refuseUnsour(process, pack, targets, stages)
		p.refuseUneaten(targets, stages)
	}
	root.Done()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

// refuseLess refuses a file that would hold its product to less than its species is held
// to: a file may ask for more, or name another process.
func (p *Product) refuseLess(kind, process source.Value, targets *source.Map) {
	if cut, of, found := p.contradicted(); found {
		kind.Fault(fmt.Sprintf("the cut %q is %s", cut, of), "write the species of the meat, or name the cut for what it is")
	}
	criterion := p.Criterion()
	switch {
	case p.Process == NotReadyToEat && p.Targets.HasLethality:
		targets.FaultAt("lethality", "a product that is not ready to eat claims no lethality", "remove it, or write process: cooked")
	case criterion != nil && p.Targets.HasLethality && p.Targets.Lethality < criterion.Required:
		what := p.Species.String()
		if p.PoultryInIt() {
			what = "a product with poultry in it"
		}
		targets.FaultAt("lethality", fmt.Sprintf("%s must reach %g log10, and %g is less", what, criterion.Required, p.Targets.Lethality),
			fmt.Sprintf("write %g or more, leave it out, or name another process, such as process: not ready to eat", criterion.Required))
	}
	if p.Process == NotReadyToEat && p.waitsForLethality() {
		process.Fault("a stage waits for lethality, and a product that is not ready to eat claims none", "wait for a core instead, or write process: cooked")
	}
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
