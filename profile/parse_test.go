package profile

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

var update = flag.Bool("update", false, "rewrite the expected texts; read the difference before keeping it")

const badProducts = "../testdata/products/bad"

// sticks shows every key of the format at least once.
const sticks = `product: Juniper venison sticks
source: common practice, no source
shape: {form: cylinder, diameter: 21 mm, length: 250 mm, casing: collagen}
species: red meat
formula:
  cut:
    - {name: venison trim, mass: 3.5 kg, water: 74 %, protein: 22 %, fat: 3 %, carbohydrate: 0 %}
    - {name: pork back fat, mass: 1.5 kg, water: 8 %, protein: 3 %, fat: 88 %}
  cure: {name: cure no. 1, mass: 12.5 g, nitrite: 6.25 %, method: comminuted, rest: 12 h}
  other: [{name: salt, mass: 85 g, as: salt}, {name: juniper, mass: 10 g}]
targets: {core: 71 °C, lethality: 6.5, chill: cured}
stages:
  - {name: dry, chamber: 45 °C, fan: full, smoke: off, until: {after: 45 min}}
  - name: smoke
    chamber: 60 °C
    ramp: 30 °C/h
    humidity: 60 %
    smoke: on
    damper: 25 %
    ask: Light the smoke generator and open the damper a quarter
    until: {any: [{after: 2 h}, {core: 50 °C}]}
  - {name: cook, chamber: 82 °C, smoke: off, until: {core: 71 °C, lethality: 6.5}, within: 5 h}
  - {name: chill, heater: off, place: ice water, ask: Move the sticks into ice water, until: {core: 4 °C}}
  - {name: bloom, heater: off, fan: 40 %, damper: shut, until: {after: 1 h, confirm: "Are they dry?"}}
`

func ExampleParse() {
	_, err := Parse("sticks.yaml", []byte(strings.Replace(sticks, "chamber: 82 °C", "chamber: 820 °C", 1)))
	fmt.Println(err)
	// Output:
	// sticks.yaml:22:27: chamber: 820 °C is above 130 °C; write a value from 0 °C to 130 °C (a smokehouse works below that; above it dripping fat can catch fire)
	//   20 |     ask: Light the smoke generator and open the damper a quarter
	//   21 |     until: {any: [{after: 2 h}, {core: 50 °C}]}
	//   22 |   - {name: cook, chamber: 820 °C, smoke: off, until: {core: 71 °C, lethality: 6.5}, within: 5 h}
	//      |                           ^
	//   23 |   - {name: chill, heater: off, place: ice water, ask: Move the sticks into ice water, until: {core: 4 °C}}
	//   24 |   - {name: bloom, heater: off, fan: 40 %, damper: shut, until: {after: 1 h, confirm: "Are they dry?"}}
}

func TestParse(t *testing.T) {
	want := &Product{
		Name:    "Juniper venison sticks",
		Source:  "common practice, no source",
		Shape:   Shape{Form: Cylinder, Diameter: 0.021, Length: 0.25, Casing: CollagenCasing},
		Species: RedMeat,
		Formula: Formula{
			Cut: []Meat{
				{Name: "venison trim", Mass: 3.5, Water: 0.74, Protein: 0.22, Fat: 0.03},
				{Name: "pork back fat", Mass: 1.5, Water: 0.08, Protein: 0.03, Fat: 0.88},
			},
			Cure:  Cure{Name: "cure no. 1", Mass: 0.0125, Nitrite: 0.0625, Method: Comminuted, Rest: 12 * time.Hour},
			Other: []Ingredient{{Name: "salt", Mass: 0.085, As: Salt}, {Name: "juniper", Mass: 0.01, As: Spice}},
		},
		Targets: Targets{HasCore: true, Core: 71, HasLethality: true, Lethality: 6.5, Chill: ChillCured},
		Stages: []Stage{
			{Name: "dry", Heat: true, ChamberSetpoint: 45, Fan: 1, Place: Chamber, Line: 13,
				Until: Until{Conditions: []Condition{{Kind: After, After: 45 * time.Minute}}}},
			{Name: "smoke", Heat: true, ChamberSetpoint: 60, Ramp: 30. / 3600, HasHumidity: true, Humidity: 0.6, Smoke: true,
				HasDamper: true, Damper: 0.25, Place: Chamber, Ask: "Light the smoke generator and open the damper a quarter", Line: 14,
				Until: Until{Any: true, Conditions: []Condition{{Kind: After, After: 2 * time.Hour}, {Kind: CoreAtLeast, Core: 50}}}},
			{Name: "cook", Heat: true, ChamberSetpoint: 82, Place: Chamber, Within: 5 * time.Hour, Line: 22,
				Until: Until{Conditions: []Condition{{Kind: CoreAtLeast, Core: 71}, {Kind: LethalityAtLeast, Lethality: 6.5}}}},
			{Name: "chill", Place: IceWater, Ask: "Move the sticks into ice water", Line: 23,
				Until: Until{Conditions: []Condition{{Kind: CoreAtMost, Core: 4}}}},
			{Name: "bloom", Fan: 0.4, HasDamper: true, Place: Room, Line: 24,
				Until: Until{Conditions: []Condition{{Kind: After, After: time.Hour}, {Kind: Confirmed, Confirm: "Are they dry?"}}}},
		},
	}
	got, err := Parse("sticks.yaml", []byte(sticks))
	require.NoError(t, err)
	assert.Equal(t, want, got)

	again, err := Parse("another name.yaml", []byte(sticks))
	require.NoError(t, err)
	assert.Equal(t, got, again, "equal files give equal products")
}

// pickled is a product with a pickle, a class and a spoonful.
const pickled = `product: Cider loin
shape: {form: cylinder, diameter: 70 mm, length: 300 mm, casing: net}
species: red meat
class: whole muscle
formula:
  cut: [{name: pork loin, mass: 1.2 kg, water: 72 %, protein: 22 %, fat: 5 %}]
  cure: {name: cure, mass: 32 g, nitrite: 5.88 %, method: pumped, rest: 36 h}
  pickle:
    pump: 10 %
    items:
      - {name: water, mass: 1 kg, as: water}
      - {name: salt, mass: 110 g, as: salt}
      - {name: sugar, mass: 124 g, as: sugar}
  other: [{name: sage, mass: 2 tsp at 0.3 g/mL}, {name: ascorbic acid, mass: 0.4 g, as: ascorbic acid}, {name: soy, mass: 5 g, as: isolated soy protein}]
stages:
  - {name: cook, chamber: 77 °C, until: {core: 66 °C}, within: 9 h}
`

func TestParsePickle(t *testing.T) {
	p, err := Parse("loin.yaml", []byte(pickled))
	require.NoError(t, err)
	assert.Equal(t, WholeMuscle, p.Class)
	f := p.Formula
	assert.Equal(t, Pickle{Uptake: 0.1, Items: []Ingredient{
		{Name: "water", Mass: 1, As: Water}, {Name: "salt", Mass: 0.11, As: Salt}, {Name: "sugar", Mass: 0.124, As: Sugar}}}, f.Pickle)
	assert.InDelta(t, 2*4.92892159375*0.3e-3, float64(f.Other[0].Mass), 1e-15)
	assert.Equal(t, []IngredientKind{AscorbicAcid, SoyIsolate}, []IngredientKind{f.Other[1].As, f.Other[2].As})
	assert.InDelta(t, 1.2*1.1+2*4.92892159375*0.3e-3+0.4e-3+5e-3, float64(f.Mass()), 1e-12, "a tenth of the meat is taken up")
	assert.InDelta(t, 1.266, float64(f.PickleMass()), 1e-12)
	assert.InDelta(t, 0.12/1.266, float64(f.PickleShare()), 1e-12)

	for name, c := range map[string]struct{ old, to string }{
		"measured pick-up":        {"method: pumped, rest: 36 h}\n  pickle:\n    pump: 10 %", "method: immersed}\n  pickle:\n    pick-up: 8 %"},
		"long cure":               {"method: pumped, rest: 36 h}\n  pickle:\n    pump: 10 %", "method: immersed}\n  pickle:\n    pick-up: long cure"},
		"a brine without nitrite": {"  cure: {name: cure, mass: 32 g, nitrite: 5.88 %, method: pumped, rest: 36 h}\n", ""},
		"all of the pickle":       {"pump: 10 %", "pump: 100 %"},
	} {
		require.Contains(t, pickled, c.old, name)
		p, err := Parse("loin.yaml", []byte(strings.Replace(pickled, c.old, c.to, 1)))
		if assert.NoError(t, err, name) {
			assert.Equal(t, name == "long cure", p.Formula.Pickle.LongCure, name)
			promised(t, p)
		}
	}
	// Two faults of one key are told once, and a pickle whose cure cannot be read is
	// not judged for its mass.
	for old, want := range map[string]string{
		"pump: 10 %":  "pump: 110 % is above 100 %",
		"mass: 32 g,": "32 gr",
		"mass: 1 kg,": "kilo",
	} {
		to := map[string]string{"pump: 10 %": "pump: 110 %", "mass: 32 g,": "mass: 32 gr,", "mass: 1 kg,": "mass: 1 kilo,"}[old]
		_, err := Parse("loin.yaml", []byte(strings.Replace(pickled, old, to, 1)))
		if assert.ErrorContains(t, err, want) {
			assert.Len(t, err, 1, old)
		}
	}
}

func TestRest(t *testing.T) {
	rest := func(c Cure, other ...Ingredient) time.Duration {
		p := &Product{Formula: Formula{Cut: []Meat{{Mass: 5}}, Cure: c, Other: other}}
		d, why := p.Rest()
		assert.NotEmpty(t, why)
		return d
	}
	cure := func(m CureMethod, named time.Duration) Cure {
		return Cure{Mass: 0.0125, Nitrite: 0.0625, Method: m, Rest: named}
	}
	erythorbate := Ingredient{Name: "sodium erythorbate", Mass: 0.0025, As: Accelerator}
	acid := Ingredient{Name: "ascorbic acid", Mass: 0.002, As: AscorbicAcid}
	assert.Zero(t, rest(Cure{}))
	assert.Equal(t, 10*time.Hour, rest(cure(Comminuted, 10*time.Hour)), "the file's word counts")
	assert.Equal(t, 10*time.Hour, rest(cure(DryRubbed, 10*time.Hour), erythorbate))
	// Overnight without an accelerator: common practice, no source.
	assert.Equal(t, 12*time.Hour, rest(cure(Comminuted, 0)))
	// Settling of cooked sausage, 2 to 3 h at 2 to 8 °C: Vinnikova, Technology of Meat
	// Products, chapter on heat treatment.
	assert.Equal(t, 2*time.Hour, rest(cure(Comminuted, 0), erythorbate))
	assert.Equal(t, 2*time.Hour, rest(cure(Comminuted, 0), acid))
	assert.Equal(t, 12*time.Hour, rest(cure(Pumped, 0), erythorbate))
	assert.Equal(t, 48*time.Hour, rest(cure(Immersed, 0)))
	assert.Equal(t, 48*time.Hour, rest(cure(DryRubbed, 0), erythorbate))
	// What lint advises is what a start waits for where the file names nothing.
	for _, m := range []CureMethod{Comminuted, Pumped, Immersed, DryRubbed} {
		for _, other := range [][]Ingredient{nil, {erythorbate}, {acid}} {
			p := &Product{Formula: Formula{Cut: []Meat{{Mass: 5}}, Cure: cure(m, 0), Other: other}}
			d, why := p.Rest()
			least, wanted := p.LeastRest()
			assert.Equal(t, least, d, m)
			assert.Equal(t, wanted, why, m)
		}
	}
}

// One cure is written as it always was; several are a list.
func TestParseCures(t *testing.T) {
	const one = "cure: {name: cure, mass: 32 g, nitrite: 5.88 %, method: pumped, rest: 36 h}"
	parse := func(cure string) Formula {
		p, err := Parse("loin.yaml", []byte(strings.Replace(pickled, one, cure, 1)))
		require.NoError(t, err, cure)
		promised(t, p)
		return p.Formula
	}
	want := parse(one)
	assert.Equal(t, want, parse("cure: [{name: cure, mass: 32 g, nitrite: 5.88 %, method: pumped, rest: 36 h}]"))
	assert.Empty(t, want.Cures)
	f := parse("cure: [{name: cure, mass: 32 g, nitrite: 5.88 %, method: pumped}, {name: rub, mass: 8 g, potassium nitrite: 1 %, nitrate: 2 %, potassium nitrate: 3 %, method: dry rubbed, rest: 48 h}]")
	assert.Equal(t, []Cure{{Name: "rub", Mass: 0.008, PotassiumNitrite: 0.01, Nitrate: 0.02, PotassiumNitrate: 0.03, Method: DryRubbed, Rest: 48 * time.Hour}}, f.Cures)
	assert.InDelta(t, 1.266, float64(f.PickleMass()), 1e-12, "what is rubbed on is not in the pickle")
	assert.InDelta(t, 0.120/1.266*0.032*0.0588, float64(f.Curing().SodiumNitrite), 1e-15, "a tenth of the meat is taken up")
	assert.InDelta(t, 0.008*0.03, float64(f.Curing().PotassiumNitrate), 1e-15, "and of the rub all of it")
	assert.InDelta(t, 0.120/1.266*(0.11+0.032*0.9412)+0.008*0.94, float64(f.SaltMass()), 1e-12)
	assert.Equal(t, 48*time.Hour, f.NamedRest())
	// Pumped first, and then laid into what is left.
	f = parse(one)
	text := strings.Replace(pickled, "pump: 10 %", "pump: 8 %\n    pick-up: 4 %", 1)
	p, err := Parse("loin.yaml", []byte(text))
	require.NoError(t, err)
	assert.InDelta(t, 0.12, float64(p.Formula.Pickle.Uptake), 1e-12)
	assert.InDelta(t, 0.08, float64(p.Formula.Pickle.Pump), 1e-12)
	// A batch has gone by a file that would be refused today.
	old := strings.Replace(pickled, "{name: sage,", "{name: saltpetre,", 1)
	_, err = Parse("loin.yaml", []byte(old))
	require.ErrorContains(t, err, "means a cure")
	_, err = ParseRecorded("loin.yaml", []byte(old))
	assert.NoError(t, err)
}

// TestParseLayout holds that what an editor does to a file does not change it.
func TestParseLayout(t *testing.T) {
	want, err := Parse("sticks.yaml", []byte(sticks))
	require.NoError(t, err)
	for name, text := range map[string]string{
		"byte order mark":       "\ufeff" + sticks,
		"carriage returns":      strings.ReplaceAll(sticks, "\n", "\r\n"),
		"no last line end":      strings.TrimSuffix(sticks, "\n"),
		"quoted":                strings.ReplaceAll(sticks, "45 °C", `"45 °C"`),
		"no blanks":             strings.ReplaceAll(strings.ReplaceAll(sticks, " °C", "°C"), " %", "%"),
		"no-break blanks":       strings.ReplaceAll(sticks, " °C", "\u00a0°C"),
		"comments":              strings.ReplaceAll(sticks, "species: red meat", "species: red meat # or game"),
		"end of document marks": sticks + "...\n",
	} {
		got, err := Parse("sticks.yaml", []byte(text))
		if assert.NoError(t, err, name) {
			assert.Equal(t, want, got, name)
		}
	}
}

func TestPlace(t *testing.T) {
	const head = "product: p\nshape: {form: sphere, diameter: 60 mm}\nspecies: dairy\nformula: {cut: [{name: cheese, mass: 1 kg, water: 40 %, protein: 25 %, fat: 30 %}]}\nstages:\n"
	for _, c := range []struct {
		name   string
		stages []string
		want   []Place
	}{
		{"rest before anything", []string{"heater: off, until: {after: 1 h}", "chamber: 30 °C, until: {after: 1 h}"}, []Place{Chamber, Chamber}},
		{"cold smoke stays in the chamber", []string{"heater: off, smoke: on, until: {after: 4 h}", "heater: off, until: {after: 1 h}"}, []Place{Chamber, Chamber}},
		{"a falling core is chilled, then stands in the room", []string{"chamber: 30 °C, until: {after: 1 h}", "heater: off, until: {core: 4 °C}", "heater: off, until: {after: 1 h}"}, []Place{Chamber, IceWater, Room}},
		{"a falling core under any is chilled as well", []string{"chamber: 30 °C, until: {after: 1 h}", "heater: off, until: {any: [{core: 4 °C}, {after: 1 h}]}"}, []Place{Chamber, IceWater}},
		{"what the file says holds", []string{"chamber: 30 °C, until: {after: 1 h}", "heater: off, place: chamber, fan: full, until: {core: 20 °C}", "heater: off, place: cold room, until: {after: 1 h}", "heater: off, until: {after: 1 h}"}, []Place{Chamber, Chamber, ColdRoom, Room}},
		{"back to the chamber", []string{"heater: off, place: cold room, until: {after: 1 h}", "chamber: 30 °C, until: {after: 1 h}", "heater: off, until: {after: 1 h}"}, []Place{ColdRoom, Chamber, Chamber}},
	} {
		text := head
		for i, s := range c.stages {
			text += fmt.Sprintf("  - {name: s%d, %s}\n", i, s)
		}
		p, err := Parse("p.yaml", []byte(text))
		if !assert.NoError(t, err, c.name) {
			continue
		}
		var got []Place
		for _, s := range p.Stages {
			got = append(got, s.Place)
		}
		assert.Equal(t, c.want, got, c.name)
	}
}

// TestBad holds the whole text that each bad file gets. To add a case, add a
// folder with a product.yaml and run the test with -update.
func TestBad(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(badProducts, "*", "product.yaml"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 30, "the case folders are not where they belong")
	for _, file := range files {
		t.Run(filepath.Base(filepath.Dir(file)), func(t *testing.T) {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			p, err := Parse("product.yaml", data)
			require.Error(t, err)
			assert.Nil(t, p)
			var faults source.Findings
			require.ErrorAs(t, err, &faults)
			for i, f := range faults {
				assert.NotEmpty(t, f.Remedy, f.Message)
				if i > 0 {
					before := faults[i-1]
					assert.False(t, f.Line < before.Line || f.Line == before.Line && f.Column < before.Column, "not in the order of the file: %v", f)
				}
			}
			expected := filepath.Join(filepath.Dir(file), "expected.txt")
			if *update {
				require.NoError(t, os.WriteFile(expected, []byte(err.Error()+"\n"), 0o644))
			}
			want, readErr := os.ReadFile(expected)
			require.NoError(t, readErr)
			assert.Equal(t, string(want), err.Error()+"\n")
		})
	}
}

func TestCounts(t *testing.T) {
	spices := func(n int) string {
		text := ""
		for i := range n {
			text += fmt.Sprintf(", {name: spice %d, mass: 1 g}", i)
		}
		return strings.Replace(sticks, ", {name: juniper, mass: 10 g}", text, 1)
	}
	_, err := Parse("sticks.yaml", []byte(spices(36))) // with two cuts, a cure and salt: 40
	assert.NoError(t, err)
	_, err = Parse("sticks.yaml", []byte(spices(37)))
	assert.ErrorContains(t, err, "the formula has 41 ingredients, the limit is 40")
	_, err = Parse("sticks.yaml", []byte(spices(41)))
	assert.ErrorContains(t, err, "other: 42 items, the limit is 40")

	any := strings.Repeat("{after: 1 h}, ", MaxConditions) + "{after: 1 h}"
	_, err = Parse("sticks.yaml", []byte(strings.Replace(sticks, "{after: 2 h}, {core: 50 °C}", any, 1)))
	assert.ErrorContains(t, err, "any: 9 items, the limit is 8")
}

// TestUntilNeedsACondition holds that no layout of an empty until slips through.
func TestUntilNeedsACondition(t *testing.T) {
	for _, until := range []string{"{}", "{any: []}", "{any: [{}]}", "{any: [{}, {after: 1 h}]}", "~", "[]", "{any: {after: 1 h}}", "{any: ~}"} {
		_, err := Parse("sticks.yaml", []byte(strings.Replace(sticks, "until: {after: 45 min}", "until: "+until, 1)))
		if assert.Error(t, err, until) {
			assert.Len(t, err, 1, until)
		}
	}
}

func TestHugeFile(t *testing.T) {
	data := bytes.Repeat([]byte("# a line of a log that was named by mistake\n"), 10_000_000/44)
	_, err := Parse("product.yaml", data)
	assert.EqualError(t, err, "product.yaml:1:1: the file is larger than the limit of 1048576 bytes; check that this is the right file")
}

// TestLimits walks every limit: the last value that goes and the first that does
// not.
func TestLimits(t *testing.T) {
	for _, c := range []struct{ old, good, bad, want string }{
		{"chamber: 82 °C", "chamber: 130 °C", "chamber: 130.1 °C", "is above 130 °C"},
		{"chamber: 45 °C", "chamber: 0 °C", "chamber: -1 °C", "is below 0 °C"},
		{"diameter: 21 mm", "diameter: 5 mm", "diameter: 4.9 mm", "is below 5 mm"},
		{"diameter: 21 mm", "diameter: 300 mm", "diameter: 301 mm", "is above 300 mm"},
		{"length: 250 mm", "length: 3 m", "length: 3.1 m", "is above 3000 mm"},
		{"mass: 10 g", "mass: 0.1 g", "mass: 0.09 g", "is below 0.1 g"},
		{"mass: 3.5 kg", "mass: 500 kg", "mass: 501 kg", "is above 500 kg"},
		{"water: 74 %", "water: 75 %", "water: 76 %", "add up to 101 %"},
		{"nitrite: 6.25 %", "nitrite: 100 %", "nitrite: 0 %", "is not above 0 %"},
		{"rest: 12 h", "rest: 400 d", "rest: 401 d", "is above 400 d"},
		{"targets: {core: 71 °C", "targets: {core: 100 °C", "targets: {core: 101 °C", "is above 100 °C"},
		{"lethality: 6.5, chill", "lethality: 12, chill", "lethality: 0, chill", "is not above 0"},
		{"ramp: 30 °C/h", "ramp: 600 °C/h", "ramp: 0 °C/h", "is not above 0 °C/h"},
		{"ramp: 30 °C/h", "ramp: 10 K/min", "ramp: 11 K/min", "is above 600 °C/h"},
		{"humidity: 60 %", "humidity: 100 %", "humidity: 101 %", "is above 100 %"},
		{"damper: 25 %", "damper: open", "damper: 125 %", "is above 100 %"},
		{"fan: 40 %", "fan: 0 %", "fan: -1 %", "is negative"},
		{"after: 45 min", "after: 7 d", "after: 7 d 1 s", "is above 7 d"},
		{"after: 45 min", "after: 1 s", "after: 0 s", "is not above 0 s"},
		{"chamber: 82 °C", "chamber: 71.1 °C", "chamber: 71 °C", "71 °C cannot be reached in a chamber at 71 °C"},
		{"name: bloom", "name: " + strings.Repeat("é", 200), "name: " + strings.Repeat("é", 201), "the text has 201 characters, the limit is 200"},
	} {
		require.Equal(t, 1, strings.Count(sticks, c.old), c.old)
		_, err := Parse("sticks.yaml", []byte(strings.Replace(sticks, c.old, c.good, 1)))
		assert.NoError(t, err, c.good)
		_, err = Parse("sticks.yaml", []byte(strings.Replace(sticks, c.old, c.bad, 1)))
		if assert.Error(t, err, c.bad) {
			assert.Contains(t, err.Error(), c.want)
			assert.Len(t, err, 1, c.bad)
		}
	}
}

func TestMix(t *testing.T) {
	p, err := Parse("sticks.yaml", []byte(sticks))
	require.NoError(t, err)
	// Reckoned by hand: 3.5 + 1.5 + 0.0125 + 0.085 + 0.01 kg.
	assert.InDelta(t, 5.1075, float64(p.Formula.Mass()), 1e-12)
	mix := p.Formula.Composition()
	for name, part := range map[string]struct{ want, got float64 }{
		"water":        {3.5*0.74 + 1.5*0.08, float64(mix.Water)},
		"protein":      {3.5*0.22 + 1.5*0.03, float64(mix.Protein)},
		"fat":          {3.5*0.03 + 1.5*0.88, float64(mix.Fat)},
		"carbohydrate": {0.01, float64(mix.Carbohydrate)},                        // juniper
		"ash":          {3.5*0.01 + 1.5*0.01 + 0.0125 + 0.085, float64(mix.Ash)}, // what the cuts leave, cure, salt
	} {
		assert.InDelta(t, part.want/5.1075, part.got, 1e-12, name)
	}
	assert.Zero(t, mix.Fibre)

	f := Formula{Cut: []Meat{{Mass: 1, Water: 1}}, Other: []Ingredient{
		{Mass: 1, As: Water}, {Mass: 1, As: Fat}, {Mass: 1, As: Sugar}, {Mass: 1, As: Binder}, {Mass: 1, As: Accelerator}, {Mass: 1, As: Spice}, {Mass: 1, As: Salt}}}
	mix = f.Composition()
	assert.InDelta(t, 2./8, float64(mix.Water), 1e-15)
	assert.InDelta(t, 1./8, float64(mix.Fat), 1e-15)
	assert.InDelta(t, 4./8, float64(mix.Carbohydrate), 1e-15)
	assert.InDelta(t, 1./8, float64(mix.Ash), 1e-15)

	assert.Zero(t, Formula{}.Composition(), "no mass, no composition")
	assert.Zero(t, Formula{}.Mass())
}

// TestSwappedValues puts values of the file, and some nasty ones, where others
// stood. Whatever comes of it is a product that keeps its promises or faults.
func TestSwappedValues(t *testing.T) {
	value := regexp.MustCompile(`[a-z][a-z ]*: ?[^,:{}\[\]\n]+`)
	places := value.FindAllStringIndex(sticks, -1)
	require.Greater(t, len(places), 50)
	nasty := []string{"x: ~", "core: 55,5", "after: 010 s", "until: {}", "any: []", "chamber: .nan", "heater: off", "core: -273.15 °C", "fan: 100 %", "place: room", "form: slab", "a: *b", "a: &b 1", "lethality: 1e999"}
	rapid.Check(t, func(t *rapid.T) {
		text, end := "", 0
		chosen := rapid.SliceOfNDistinct(rapid.IntRange(0, len(places)-1), 1, 3, rapid.ID[int]).Draw(t, "places")
		slices.Sort(chosen)
		for _, i := range chosen {
			with := rapid.SampledFrom(nasty).Draw(t, "nasty")
			if rapid.Bool().Draw(t, "from the file") {
				from := rapid.SampledFrom(places).Draw(t, "from")
				with = sticks[from[0]:from[1]]
			}
			key, old, _ := strings.Cut(sticks[places[i][0]:places[i][1]], ":")
			if rapid.Bool().Draw(t, "value only") {
				_, v, _ := strings.Cut(with, ":")
				with = key + ":" + v
			} else if rapid.Bool().Draw(t, "key only") {
				k, _, _ := strings.Cut(with, ":")
				with = k + ":" + old
			}
			text += sticks[end:places[i][0]] + with
			end = places[i][1]
		}
		text += sticks[end:]
		p, err := Parse("f.yaml", []byte(text))
		if (p == nil) == (err == nil) {
			t.Fatalf("product %v, error %v", p, err)
		}
		if p != nil {
			promised(t, p)
		}
	})
}

// FuzzParse holds for any bytes: no panic, and either a product that keeps its
// promises or faults that name a place and a remedy.
func FuzzParse(f *testing.F) {
	f.Add([]byte(sticks))
	f.Add([]byte(pickled))
	f.Add([]byte(strings.Replace(pickled, "cure: {name: cure, mass: 32 g, nitrite: 5.88 %, method: pumped, rest: 36 h}",
		"cure: [{name: cure, mass: 32 g, nitrite: 5.88 %, method: pumped}, {name: cure no. 2, mass: 8 g, nitrite: 1 %, potassium nitrate: 3 %, method: dry rubbed}]", 1)))
	files, err := filepath.Glob(filepath.Join(badProducts, "*", "product.yaml"))
	require.NoError(f, err)
	good, err := filepath.Glob(filepath.Join("catalog", "*.yaml"))
	require.NoError(f, err)
	require.NotEmpty(f, good)
	for _, file := range append(files, good...) {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse("f.yaml", data)
		if (p == nil) == (err == nil) {
			t.Fatalf("product %v, error %v", p, err)
		}
		if err != nil {
			faults, ok := err.(source.Findings)
			if !ok || len(faults) == 0 {
				t.Fatalf("not faults: %T %v", err, err)
			}
			for _, fault := range faults {
				if fault.Line < 1 || fault.Column < 1 || fault.Message == "" || fault.Remedy == "" || fault.Severity != source.Error {
					t.Fatalf("incomplete fault %+v", fault)
				}
			}
			if text := err.Error(); strings.ContainsAny(text, "\x1b\x00\r") || len(text) > 100_000 {
				t.Fatalf("a file can write to the terminal: %.200q", text)
			}
			return
		}
		promised(t, p)
	})
}

// promised fails if p breaks what readers of a Product rely on.
func promised(t rapid.TB, p *Product) {
	t.Helper()
	if p.Name == "" || p.Shape.Form == 0 || p.Shape.HalfThickness() <= 0 || p.Species == 0 || len(p.Formula.Cut) == 0 {
		t.Fatalf("incomplete product %+v", p)
	}
	mix := p.Formula.Composition()
	sum := mix.Water + mix.Protein + mix.Fat + mix.Carbohydrate + mix.Fibre + mix.Ash
	if math.Abs(float64(sum-1)) > 1e-9 || p.Formula.Mass() <= 0 {
		t.Fatalf("composition %+v adds up to %v", mix, sum)
	}
	f := p.Formula
	for _, c := range f.AllCures() {
		if c.Mass <= 0 || c.Nitrite+c.PotassiumNitrite+c.Nitrate+c.PotassiumNitrate <= 0 || c.Salt() < 0 {
			t.Fatalf("a cure without cure: %+v", c)
		}
	}
	if share := f.PickleShare(); len(f.Pickle.Items) > 0 && !(share > 0 && share <= 1+1e-8) || len(f.Pickle.Items) == 0 && share != 0 {
		t.Fatalf("the meat takes up %v of the pickle %+v", share, f.Pickle)
	}
	if taken := f.TakenUp(); taken.PickleMass() != 0 || math.Abs(float64(taken.Mass()-f.Mass())) > 1e-9 {
		t.Fatalf("%v taken up, %v in the batch", taken.Mass(), f.Mass())
	}
	if len(p.Stages) == 0 || len(p.Stages) > MaxStages {
		t.Fatalf("%d stages", len(p.Stages))
	}
	for _, s := range p.Stages {
		if s.Name == "" || s.Line < 1 || s.Place == 0 || len(s.Until.Conditions) == 0 || len(s.Until.Conditions) > MaxConditions {
			t.Fatalf("incomplete stage %+v", s)
		}
		for _, v := range []quantity.Ratio{s.Fan, s.Damper, s.Humidity} {
			if !(v >= 0 && v <= 1) {
				t.Fatalf("%+v has a ratio of %v", s, float64(v))
			}
		}
		if s.Heat && !(s.ChamberSetpoint >= 0 && s.ChamberSetpoint <= 130) {
			t.Fatalf("setpoint %v", s.ChamberSetpoint)
		}
		for _, c := range s.Until.Conditions {
			if c.Kind == After && c.After <= 0 || c.Kind == Confirmed && c.Confirm == "" || c.Kind == LethalityAtLeast && !(c.Lethality > 0) {
				t.Fatalf("empty condition %+v", c)
			}
		}
	}
}

// A batch may have gone by a file that is refused today. To replay it, the file is read as
// it was then: salt by name alone counted as none, and what came after a number sign was
// a comment.
func TestRecordedFilesAreReadAsTheyWere(t *testing.T) {
	old := []byte(`product: Ring #2
shape: {form: cylinder, diameter: 21 mm, length: 250 mm, casing: collagen}
species: red meat
formula:
  cut: [{name: pork trim, mass: 4 kg, water: 60 %, protein: 17 %, fat: 22 %}]
  other: [{name: salt, mass: 80 g}]
stages:
  - {name: dry, chamber: 45 °C, until: {after: 40 min}}
`)
	_, err := Parse("old.yaml", old)
	require.ErrorContains(t, err, "would count as no salt")
	require.ErrorContains(t, err, "because # begins a comment")
	p, err := ParseRecorded("old.yaml", old)
	require.NoError(t, err)
	assert.Equal(t, "Ring", p.Name)
	assert.Equal(t, Spice, p.Formula.Other[0].As)
	_, err = ParseRecorded("old.yaml", []byte("product: nothing else"))
	require.Error(t, err, "what was never good is not good now")
}
