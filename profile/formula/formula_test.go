package formula_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

const (
	pound = 0.45359237
	ounce = pound / 16
)

// meat is a formula of lean meat alone.
func meat(kilograms float64) profile.Formula {
	return profile.Formula{Cut: []profile.Meat{{Name: "meat", Mass: quantity.Kilograms(kilograms), Water: 0.72, Protein: 0.21, Fat: 0.06}}}
}

func cured(f profile.Formula, method profile.CureMethod, kilograms, nitrite float64) profile.Formula {
	f.Cure = profile.Cure{Name: "cure", Mass: quantity.Kilograms(kilograms), Nitrite: quantity.Ratio(nitrite), Method: method}
	return f
}

func with(f profile.Formula, items ...profile.Ingredient) profile.Formula {
	f.Other = append(f.Other[:len(f.Other):len(f.Other)], items...)
	return f
}

func item(as profile.IngredientKind, kilograms float64) profile.Ingredient {
	return profile.Ingredient{Name: fmt.Sprintf("ingredient %d", as), Mass: quantity.Kilograms(kilograms), As: as}
}

func pickled(f profile.Formula, uptake float64, items ...profile.Ingredient) profile.Formula {
	f.Pickle = profile.Pickle{Items: items, Uptake: quantity.Ratio(uptake)}
	return f
}

func longCure(f profile.Formula, items ...profile.Ingredient) profile.Formula {
	f.Pickle = profile.Pickle{Items: items, LongCure: true}
	return f
}

// brine is one of our own: water 1000 g, salt 95 g, sugar 75 g and 30 g of a 5.88 %
// cure, 1200 g together.
func brine(meatKilograms float64) profile.Formula {
	return pickled(cured(meat(meatKilograms), profile.Pumped, 0.030, 0.0588), 0.10,
		item(profile.Water, 1), item(profile.Salt, 0.095), item(profile.Sugar, 0.075))
}

// An inspector works a comminuted product on the green weight of the meat (FSIS
// Directive 7620.3, revised 1995, chapter 3).
func ExampleJudge() {
	sticks := &profile.Product{Name: "Juniper sticks", Species: profile.RedMeat, Class: profile.CookedSausage}
	sticks.Formula = with(cured(meat(5), profile.Comminuted, 0.015, 0.0625), item(profile.Salt, 0.080))
	v := formula.Judge(sticks, profile.UnitedStates)
	for _, line := range v.Nitrite.Arithmetic {
		fmt.Println(line)
	}
	fmt.Println("limit", v.Nitrite.Limit.PPM, "for", v.Nitrite.Basis, "pass", v.Nitrite.Pass)
	fmt.Println(v.Findings[0].Message)
	fmt.Println(v.Findings[0].Remedy)
	// Output:
	// 15 g × 6.25 % = 0.9375 g nitrite
	// 0.9375 g / 5 kg = 187.5 ppm
	// limit 156 for comminuted cure, on the green weight of the meat (FSIS Directive 7620.3, rev. 1995, ch. 3) pass false
	// the meat gets 187.5 ppm nitrite, 31.5 ppm over the limit of 156 ppm; nitrite is poison in quantity
	// weigh 12.4 g of cure instead of 15 g
}

// A pumped product goes by the pickle and the part of it that the meat takes up.
func ExampleJudge_pumped() {
	loin := &profile.Product{Name: "Loin", Species: profile.RedMeat, Formula: brine(1.2)}
	for _, line := range formula.Judge(loin, profile.UnitedStates).Nitrite.Arithmetic {
		fmt.Println(line)
	}
	// Output:
	// 30 g × 5.88 % = 1.764 g nitrite in 1.2 kg of pickle
	// 1.764 g × 10 % taken up / 1.2 kg = 147 ppm
}

// Meat that lies in its pickle until both are equally salty: method 2 for immersed
// products of FSIS Directive 7620.3 (rev. 1995), chapter 3.
func ExampleJudge_longCure() {
	ham := &profile.Product{Name: "Ham", Species: profile.RedMeat}
	ham.Formula = longCure(cured(meat(6), profile.Immersed, 0.024, 0.0625), item(profile.Water, 3), item(profile.Salt, 0.3))
	for _, line := range formula.Judge(ham, profile.UnitedStates).Nitrite.Arithmetic {
		fmt.Println(line)
	}
	// Output:
	// 24 g × 6.25 % = 1.5 g nitrite in 3.324 kg of pickle
	// 1.5 g / (6 kg of meat + 3.324 kg of pickle) = 160.9 ppm
}

// Canada counts in everything that goes into the batch.
func ExampleJudge_totalFormulation() {
	sticks := &profile.Product{Name: "Juniper sticks", Species: profile.RedMeat}
	sticks.Formula = with(cured(meat(5), profile.Comminuted, 0.0125, 0.0625), item(profile.Salt, 0.0875), item(profile.Water, 0.4))
	v := formula.Judge(sticks, profile.Canada)
	fmt.Println(v.Nitrite.Arithmetic[1])
	fmt.Println("from", v.Nitrite.Floor.PPM, "to", v.Nitrite.Limit.PPM, "ppm, pass", v.Nitrite.Pass)
	// Output:
	// 0.78125 g / 5.5 kg = 142 ppm
	// from 100 to 200 ppm, pass true
}

func ExampleScale() {
	f := formula.Scale(brine(1.2), 3)
	fmt.Printf("%v of cure in %v of pickle: %.1f ppm\n", f.Cure.Mass, f.PickleMass(), formula.NitritePPM(f, formula.GreenWeight))
	// Output: 75 g of cure in 3 kg of pickle: 147.0 ppm
}

// The sums are those of FSIS Directive 7620.3, Processing Inspectors' Calculations
// Handbook (rev. 1995), chapter 3; the figures put into them and what comes out are own
// arithmetic.
func TestWorkedExamples(t *testing.T) {
	for _, c := range []struct {
		name string
		f    profile.Formula
		want float64
	}{
		{"1 g nitrite, 5000 g meat", cured(meat(5), profile.Comminuted, 0.001, 1), 200},
		{"0.750 g nitrite, 5000 g meat", cured(meat(5), profile.Comminuted, 0.00075, 1), 150},
		{"cure no. 1 at 0.25 % of 5 lb", cured(meat(2.268), profile.Comminuted, 0.0025*2.268, 0.0625), 156.25},
		{"brine of 1200 g with 30 g of 5.88 % cure, pump 10 %", brine(1.2), 147},
		{"5 lb of 0.40 % cure on 100 lb of bellies", cured(meat(100*pound), profile.DryRubbed, 5*pound, 0.004), 200},
		{"0.06 lb nitrite in 100 lb of pickle, pump 20 %", pickled(cured(meat(100*pound), profile.Pumped, 0.06*pound, 1), 0.20,
			item(profile.Water, 99.94*pound)), 120},
		{"3.5 oz cure no. 1 in 9 lb of pickle, pump 10 %", pickled(cured(meat(1), profile.Pumped, 3.5*ounce, 0.0625), 0.10, item(profile.Water, 9*pound-3.5*ounce)), 151.91},
		{"3.2 g cure no. 1 on 1 kg of dry cured bacon", cured(meat(1), profile.DryRubbed, 0.0032, 0.0625), 200},
		{"1.92 g cure no. 1 to 1 kg", cured(meat(1), profile.Pumped, 0.00192, 0.0625), 120},
		// 1/4 oz of nitrite on 100 lb.
		{"1 oz cure no. 1 on 25 lb", cured(meat(25*pound), profile.Comminuted, ounce, 0.0625), 156.25},
		{"1 oz nitrite on 100 lb", cured(meat(100*pound), profile.DryRubbed, ounce, 1), 625},
		// Method 1 for immersed products, with the measured pick-up, as pumped:
		// 1.764 g · 0.08 / 1200 g.
		{"immersed, 8 % picked up", func() profile.Formula {
			f := brine(1.2)
			f.Cure.Method, f.Pickle.Uptake = profile.Immersed, 0.08
			return f
		}(), 117.60},
		// Method 2: 1.764 g / (1200 g + 1200 g).
		{"immersed, long cure", func() profile.Formula {
			f := brine(1.2)
			f.Cure.Method, f.Pickle.Uptake, f.Pickle.LongCure = profile.Immersed, 0, true
			return f
		}(), 735},
	} {
		assert.InDelta(t, c.want, formula.NitritePPM(c.f, formula.GreenWeight), 0.006, c.name)
	}
}

// The same, for the salt. Own arithmetic.
func TestSaltOfTheWorkedExamples(t *testing.T) {
	f := cured(meat(2.268), profile.Comminuted, 0.0025*2.268, 0.0625)
	assert.InDelta(t, 5.67, float64(f.Cure.Mass)*1000, 1e-9)
	assert.InDelta(t, 5.32, float64(f.SaltMass())*1000, 0.005, "salt from the cure")

	f = brine(1.2)
	assert.InDelta(t, 1.2, float64(f.PickleMass()), 1e-12)
	assert.InDelta(t, 0.120, float64(f.PickleShare())*float64(f.PickleMass()), 1e-12, "brine taken up by 1200 g")
	assert.InDelta(t, 12.324, float64(f.SaltMass())*1000, 0.0005, "salt into the meat")
	assert.InDelta(t, 10.27, float64(f.SaltMass())/0.120*100, 0.005, "salt of the brine in percent")
	assert.InDelta(t, 1.320, float64(f.Mass()), 1e-12, "meat and brine taken up")
	assert.InDelta(t, 12.324/1200, float64(formula.ShareOf(f).Salt), 1e-6)
}

// limitRow is one limit on ingoing nitrite.
type limitRow struct {
	name         string
	species      profile.Species
	class        profile.Class
	method       profile.CureMethod
	where        profile.Jurisdiction
	limit, floor float64 // 0: none
}

// FSIS Directive 7620.3 (rev. 1995), limits of chapter 3 and the floor of page 12;
// bacon 9 CFR 424.22(b), rind-on less 10 %; Canada: CFIA Meat
// Hygiene Manual of Procedures, chapter 4, as quoted in copies of its text.
var limitRows = []limitRow{
	{"comminuted", profile.RedMeat, profile.CookedSausage, profile.Comminuted, profile.UnitedStates, 156, 120},
	{"pumped", profile.RedMeat, profile.WholeMuscle, profile.Pumped, profile.UnitedStates, 200, 120},
	{"immersed", profile.Game, profile.WholeMuscle, profile.Immersed, profile.UnitedStates, 200, 120},
	{"pumped poultry", profile.Poultry, profile.NoClass, profile.Pumped, profile.UnitedStates, 200, 120},
	{"dry cured", profile.RedMeat, profile.WholeMuscle, profile.DryRubbed, profile.UnitedStates, 625, 120},
	{"bacon, pumped", profile.RedMeat, profile.Bacon, profile.Pumped, profile.UnitedStates, 120, 120},
	{"bacon, immersed", profile.RedMeat, profile.Bacon, profile.Immersed, profile.UnitedStates, 120, 40},
	{"bacon, dry cured", profile.RedMeat, profile.Bacon, profile.DryRubbed, profile.UnitedStates, 200, 120},
	{"bacon with rind, pumped", profile.RedMeat, profile.RindOnBacon, profile.Pumped, profile.UnitedStates, 108, 108},
	{"bacon with rind, dry cured", profile.RedMeat, profile.RindOnBacon, profile.DryRubbed, profile.UnitedStates, 180, 108},
	{"Canada", profile.RedMeat, profile.CookedSausage, profile.Comminuted, profile.Canada, 200, 100},
	{"Canada, dry", profile.RedMeat, profile.WholeMuscle, profile.DryRubbed, profile.Canada, 200, 100},
	{"Canada, bacon", profile.RedMeat, profile.Bacon, profile.DryRubbed, profile.Canada, 120, 100},
}

// product makes one of that row with so much nitrite.
func (r limitRow) product(ppm float64) *profile.Product {
	f := cured(meat(10), r.method, 0, 0.0625)
	f.Cure.Mass = quantity.Kilograms(ppm * 1e-6 * 10 / 0.0625)
	if r.where == profile.Canada {
		// c·n / (10 + c) = ppm, solved for c
		f.Cure.Mass = quantity.Kilograms(10 * ppm * 1e-6 / (0.0625 - ppm*1e-6))
	}
	return &profile.Product{Name: "p", Species: r.species, Class: r.class, Formula: f}
}

func TestNitriteLimits(t *testing.T) {
	for _, r := range limitRows {
		at := func(ppm float64) formula.Check {
			v := formula.Judge(r.product(ppm), r.where)
			require.InDelta(t, ppm, v.Nitrite.PPM, 1e-6, r.name)
			codes := ""
			for _, f := range v.Findings {
				codes += f.Code + " "
			}
			assert.Equal(t, !v.Nitrite.Pass, strings.Contains(codes, "nitrite-"), "%s: a failed check has its finding: %s", r.name, codes)
			return v.Nitrite
		}
		assert.True(t, at(r.limit).Pass, r.name)
		assert.True(t, at(r.limit+0.49).Pass, "%s: slack of rounding", r.name)
		assert.False(t, at(r.limit+0.51).Pass, r.name)
		assert.Equal(t, formula.Bound{Set: true, PPM: r.limit}, at(r.limit).Limit, r.name)
		assert.Equal(t, formula.Bound{Set: r.floor > 0, PPM: r.floor}, at(r.limit).Floor, r.name)
		if r.floor > 0 {
			assert.True(t, at(r.floor-0.49).Pass, "%s: slack at the floor", r.name)
			assert.False(t, at(r.floor-0.51).Pass, r.name)
		} else {
			assert.True(t, at(10).Pass, r.name)
		}
	}
}

// What a guess may not do is loosen a limit.
func TestClassIsGuessedTowardsTheStricterLimit(t *testing.T) {
	for _, c := range []struct {
		product, cut string
		class        profile.Class
		method       profile.CureMethod
		limit        float64
		noted        bool
	}{
		{"Orchard bacon", "meat", profile.NoClass, profile.DryRubbed, 200, true},
		{"Breakfast slices", "pork belly without rind", profile.NoClass, profile.Pumped, 120, true},
		{"Smoked bellies", "meat", profile.NoClass, profile.Immersed, 120, true},
		{"Smoked bellies", "meat", profile.WholeMuscle, profile.Immersed, 200, false},
		{"Loin", "pork loin", profile.NoClass, profile.DryRubbed, 625, false},
		// What it is, and not three words of its name.
		{"Breakfast slices", "pork side, boned", profile.NoClass, profile.Pumped, 120, true},
		{"Larder slab", "Schweinebauch", profile.NoClass, profile.DryRubbed, 200, true},
		{"Larder slab", "fat pork, cut A", profile.NoClass, profile.DryRubbed, 200, true}, // 35 % fat
		{"Larder slab", "fat pork, cut A", profile.WholeMuscle, profile.DryRubbed, 625, false},
		{"Larder slab", "pork belly", profile.WholeMuscle, profile.DryRubbed, 200, false}, // denied, and not believed
		{"Back bacon", "pork loin", profile.NoClass, profile.Pumped, 200, false},
		{"Cured lamb", "lamb belly", profile.NoClass, profile.Pumped, 200, false},
		{"Sticks", "pork belly trim", profile.NoClass, profile.Comminuted, 156, false},
		{"Baconer's loin", "meat", profile.NoClass, profile.Pumped, 200, false},
	} {
		f := cured(meat(5), c.method, 0.0096, 0.0625) // 120 ppm
		f.Cut[0].Name = c.cut
		if strings.HasPrefix(c.cut, "fat pork") {
			f.Cut[0].Water, f.Cut[0].Protein, f.Cut[0].Fat = 0.5, 0.14, 0.35
		}
		v := formula.Judge(&profile.Product{Name: c.product, Species: profile.RedMeat, Class: c.class, Formula: f}, profile.UnitedStates)
		assert.Equal(t, c.limit, v.Nitrite.Limit.PPM, c.product+" of "+c.cut)
		_, noted := finding(v, "class-guessed")
		assert.Equal(t, c.noted, noted, c.product+" of "+c.cut)
		_, denied := finding(v, "class-denied")
		assert.Equal(t, c.class == profile.WholeMuscle && c.cut == "pork belly", denied, c.product+" of "+c.cut)
	}
}

// What is heated to a core and not cooked through is no cooked sausage, with three times
// the water: 9 CFR 319.140 has 10 % for that and 3 % for the other. That it was heated still
// rules out nitrate in the UK (SI 2007/1778: only in what is not heated).
func TestHeatedIsNotCooked(t *testing.T) {
	p := &profile.Product{Name: "Larder ring", Species: profile.RedMeat, Formula: cured(meat(5), profile.Comminuted, 0.0096, 0.0625),
		Targets: profile.Targets{HasCore: true, Core: 55}}
	p.Formula.Cure.Nitrate = 0.04
	for process, want := range map[profile.Process]profile.Class{profile.FullyCooked: profile.CookedSausage, profile.NotReadyToEat: profile.UncookedSausage} {
		p.Process = process
		assert.Equal(t, want, formula.Judge(p, profile.UnitedStates).Class, process.String())
		assert.False(t, formula.Judge(p, profile.UnitedKingdom).Pass(), process.String())
	}
}

func finding(v formula.Verdict, code string) (source.Finding, bool) {
	for _, f := range v.Findings {
		if f.Code == code {
			return f, true
		}
	}
	return source.Finding{}, false
}

// 7/8 oz erythorbate or ascorbate on 100 lb is 546.9 ppm and 3/4 oz ascorbic acid
// 468.75 ppm (the ounces recalled from memory, the parts per million own
// arithmetic); 550 ppm is required with pumped bacon: 9 CFR 424.22(b).
func TestAccelerator(t *testing.T) {
	judge := func(class profile.Class, method profile.CureMethod, cure float64, items ...profile.Ingredient) formula.Verdict {
		f := with(cured(meat(100*pound), method, cure*100*pound*1e-6/0.0625, 0.0625), items...)
		return formula.Judge(&profile.Product{Name: "p", Species: profile.RedMeat, Class: class, Formula: f}, profile.UnitedStates)
	}
	v := judge(profile.CookedSausage, profile.Comminuted, 150, item(profile.Accelerator, 7./8*ounce))
	assert.InDelta(t, 546.9, v.Accelerator.PPM, 0.05)
	assert.True(t, v.Accelerator.Pass)
	v = judge(profile.CookedSausage, profile.Comminuted, 150, item(profile.AscorbicAcid, 3./4*ounce))
	assert.InDelta(t, 546.9, v.Accelerator.PPM, 0.05, "the allowed acid counts like the allowed salt")
	assert.InDelta(t, 468.75, 0.75*ounce/(100*pound)*1e6, 0.001)
	assert.True(t, v.Accelerator.Pass)

	v = judge(profile.CookedSausage, profile.Comminuted, 150, item(profile.Accelerator, 0.0275))
	got, ok := finding(v, "erythorbate-high")
	require.True(t, ok)
	assert.False(t, v.Accelerator.Pass)
	assert.Equal(t, source.Error, got.Severity)
	assert.Equal(t, "the meat gets 606.3 ppm erythorbate or ascorbate, 59.3 ppm over the limit of 547 ppm", got.Message)
	assert.Equal(t, "weigh 24.8 g of ingredient 5 instead of 27.5 g", got.Remedy)

	v = judge(profile.Bacon, profile.Pumped, 120)
	got, ok = finding(v, "erythorbate-low")
	require.True(t, ok, "required with pumped bacon")
	assert.Equal(t, source.Error, got.Severity)
	assert.Equal(t, "add 24.94 g of sodium erythorbate", got.Remedy) // 550 ppm are 24.948 g; 24.9 g are 549.0 ppm
	assert.True(t, judge(profile.Bacon, profile.Pumped, 120, item(profile.Accelerator, 550e-6*100*pound)).Accelerator.Pass)
	assert.False(t, judge(profile.Bacon, profile.Pumped, 120, item(profile.Accelerator, 545e-6*100*pound)).Accelerator.Pass)
	assert.True(t, judge(profile.RindOnBacon, profile.Pumped, 108, item(profile.Accelerator, 495e-6*100*pound)).Accelerator.Pass)
	assert.True(t, judge(profile.Bacon, profile.DryRubbed, 150).Accelerator.Pass, "not required with dry cured bacon")

	// FSIS Appendix B (2021): 250 ppm besides nitrite for slow cooling; from memory.
	f := cured(meat(5), profile.Comminuted, 0.012, 0.0625)
	p := &profile.Product{Name: "p", Species: profile.RedMeat, Formula: f, Targets: profile.Targets{HasCore: true, Core: 70, Chill: profile.ChillCured}}
	got, ok = finding(formula.Judge(p, profile.UnitedStates), "erythorbate-chill")
	require.True(t, ok)
	assert.Equal(t, source.Warning, got.Severity)
	assert.Contains(t, got.Remedy, "add 1.25 g of sodium erythorbate")
	p.Formula = with(f, item(profile.Accelerator, 0.00125))
	_, ok = finding(formula.Judge(p, profile.UnitedStates), "erythorbate-chill")
	assert.False(t, ok)
}

// Composition of sausage: 9 CFR 319.140, 319.141, 319.180; 30 % fat in fresh beef and
// 35 % in Italian sausage by the FSIS fact sheet "Sausages and Food Safety" (title from
// memory). Shares are of the raw batch.
func TestSausageRules(t *testing.T) {
	// A batch of 100 kg: fat, water put in, binder, soy in percent; the rest is lean
	// with four times as much water as protein, so that added water is what is put in.
	judge := func(class profile.Class, fat, water, binder, soy float64) formula.Verdict {
		lean := 100 - fat - water - binder - soy - 1.8
		f := profile.Formula{Cut: []profile.Meat{
			{Name: "lean", Mass: quantity.Kilograms(lean), Water: 0.8, Protein: 0.2},
			{Name: "fat", Mass: quantity.Kilograms(fat + 1e-9), Fat: 1}},
			Other: []profile.Ingredient{item(profile.Salt, 1.8)}}
		for kind, kilograms := range map[profile.IngredientKind]float64{profile.Water: water, profile.Binder: binder, profile.SoyIsolate: soy} {
			if kilograms > 0 {
				f = with(f, item(kind, kilograms))
			}
		}
		p := &profile.Product{Name: "p", Species: profile.RedMeat, Class: class, Formula: f}
		return formula.Judge(p, profile.UnitedStates)
	}
	for _, c := range []struct {
		name                    string
		class                   profile.Class
		fat, water, binder, soy float64
		code                    string // "" for none
		severity                source.Severity
		message, remedy         string
	}{
		{"cooked sausage, 10 % added water", profile.CookedSausage, 20, 10, 0, 0, "", 0, "", ""},
		{"cooked sausage, 10.5 %", profile.CookedSausage, 20, 10.5, 0, 0, "added-water", source.Warning, "is 10.5 % of the raw batch", "put in 555.6 g less water"},
		{"binder 2.9 %", profile.CookedSausage, 20, 5, 2.9, 0, "", 0, "", ""},
		{"binder 3.4 %, too much once dry", profile.CookedSausage, 20, 5, 3.4, 0, "binder", source.Warning, "when more than 2.9 % of the batch dries off", "weigh at most"},
		{"binder 3.5 %", profile.CookedSausage, 20, 5, 3.5, 0, "binder", source.Warning, "", ""},
		{"binder 4 %", profile.CookedSausage, 20, 5, 4, 0, "binder", source.Error, "binder is 4 % of the raw batch", "weigh at most 3.4818 kg of binder in all instead of 4 kg"},
		{"soy 2 % counts as 3.5 %", profile.CookedSausage, 20, 0, 0, 2, "binder", source.Warning, "binder is 3.5 % of the raw batch", ""},
		{"soy 2.1 %", profile.CookedSausage, 20, 0, 0, 2.1, "binder", source.Error, "", ""},
		{"frankfurter, 25 % fat", profile.Frankfurter, 25, 10, 0, 0, "", 0, "", ""},
		{"frankfurter, 28 % fat, too much once dry", profile.Frankfurter, 28, 5, 0, 0, "fat", source.Warning, "when more than 6.7 % of the batch dries off", "take 2.5 kg of lean in place of as much fat"},
		{"frankfurter, 31 % fat", profile.Frankfurter, 31, 5, 0, 0, "fat", source.Error, "the limit is 30 %", "take 1 kg of lean in place of as much fat"},
		{"frankfurter, fat and water 41 %", profile.Frankfurter, 25, 16, 0, 0, "fat-and-water", source.Warning, "together are 41 %", "put in 1.6667 kg less water"},
		{"not cooked, 3 % water", profile.UncookedSausage, 20, 3, 0, 0, "", 0, "", ""},
		{"not cooked, 3.1 %", profile.UncookedSausage, 20, 3.1, 0, 0, "put-water", source.Error, "3.1 % of the ingredients are water", "put in at most 2.9969 kg of water"},
		{"fresh pork, 42 % fat", profile.FreshPorkSausage, 42, 3, 0, 0, "", 0, "", ""},
		{"fresh pork, 50.1 %", profile.FreshPorkSausage, 50.1, 3, 0, 0, "fat", source.Error, "the limit is 50 %", ""},
		{"fresh beef, 25 %", profile.FreshBeefSausage, 25, 3, 0, 0, "", 0, "", ""},
		{"fresh beef, 30.1 %", profile.FreshBeefSausage, 30.1, 3, 0, 0, "fat", source.Error, "the limit is 30 %", ""},
		{"Italian, 29 %", profile.ItalianSausage, 29, 3, 0, 0, "", 0, "", ""},
		{"Italian, 35.1 %", profile.ItalianSausage, 35.1, 3, 0, 0, "fat", source.Error, "the limit is 35 %", ""},
		{"whole muscle has no rule", profile.WholeMuscle, 60, 20, 10, 0, "", 0, "", ""},
	} {
		v := judge(c.class, c.fat, c.water, c.binder, c.soy)
		if c.code == "" {
			assert.Empty(t, v.Findings, c.name)
			continue
		}
		got, ok := finding(v, c.code)
		if assert.True(t, ok, "%s: %v", c.name, v.Findings) {
			assert.Equal(t, c.severity, got.Severity, c.name)
			assert.Contains(t, got.Message, c.message, c.name)
			assert.Contains(t, got.Remedy, c.remedy, c.name)
			assert.Equal(t, c.severity != source.Error, v.Pass(), c.name)
		}
	}
	// At least 85 % meat in Italian sausage.
	f := with(meat(84), item(profile.Spice, 16))
	got, ok := finding(formula.Judge(&profile.Product{Name: "p", Species: profile.RedMeat, Class: profile.ItalianSausage, Formula: f}, profile.UnitedStates), "meat-share")
	require.True(t, ok)
	assert.Contains(t, got.Message, "84 % of the ingredients are meat")
	assert.Contains(t, got.Remedy, "at most 14.8235 kg") // 84 · 15/85
}

// Added water is all moisture less four times the protein, of meat and not of
// poultry (Michigan Compiled Laws 289.7113; the federal rule from memory).
func TestAddedWaterByDefinition(t *testing.T) {
	f := with(profile.Formula{Cut: []profile.Meat{{Name: "lean", Mass: 9, Water: 0.76, Protein: 0.19}}}, item(profile.Water, 1))
	assert.InDelta(t, 0.1, float64(formula.ShareOf(f).AddedWater), 1e-12)
	assert.InDelta(t, 0.1, float64(formula.ShareOf(f).PutWater), 1e-12)
	f.Cut[0].Water = 0.66 // drier meat takes up water before any counts as added
	assert.InDelta(t, 0.01, float64(formula.ShareOf(f).AddedWater), 1e-12)
	f.Cut[0].Water = 0.40
	assert.Zero(t, formula.ShareOf(f).AddedWater, "never below none")

	for species, added := range map[profile.Species]bool{profile.RedMeat: false, profile.Game: false, profile.Poultry: true} {
		f := with(profile.Formula{Cut: []profile.Meat{{Name: "lean", Mass: 8, Water: 0.60, Protein: 0.20}}}, item(profile.Water, 2), item(profile.Salt, 0.15))
		_, ok := finding(formula.Judge(&profile.Product{Name: "p", Species: species, Class: profile.CookedSausage, Formula: f}, profile.UnitedStates), "added-water")
		assert.Equal(t, added, ok, "species %d", species)
	}
}

// Salt in cooked or smoked sausage 1.5 to 2.2 % of the meat: common practice, no
// source. The salt of the cure counts.
func TestSalt(t *testing.T) {
	for salt, good := range map[float64]bool{0.0125: false, 0.0129: true, 0.0196: true, 0.0200: false} {
		f := with(cured(meat(1), profile.Comminuted, 0.0024, 0.0625), item(profile.Salt, salt))
		_, found := finding(formula.Judge(&profile.Product{Name: "p", Species: profile.RedMeat, Formula: f}, profile.UnitedStates), "salt")
		assert.Equal(t, !good, found, "%v kg", salt)
		assert.InDelta(t, salt+0.0024*0.9375, float64(formula.ShareOf(f).Salt), 1e-12)
	}
}

// Smoked fish: salt in its water at least 2.5 % in air and 3.5 % vacuum packed (Maine ch.
// 359). Salt in the water is salt / (salt + water), from memory, standard. A recipe warns;
// nitrite that is put in says nothing of what is in the loin.
func TestFishSalt(t *testing.T) {
	judge := func(waterSalt, nitrite float64) formula.Verdict {
		f := profile.Formula{Cut: []profile.Meat{{Name: "sides", Mass: 10, Water: 0.7, Protein: 0.2, Fat: 0.08}}}
		if nitrite > 0 {
			f = cured(f, profile.DryRubbed, nitrite*1e-5, 1) // pure, so that it brings no salt
		}
		f = with(f, item(profile.Salt, 7*waterSalt/(1-waterSalt)))
		v := formula.Judge(&profile.Product{Name: "p", Species: profile.Fish, Formula: f}, profile.UnitedStates)
		require.InDelta(t, waterSalt, float64(v.Shares.WaterSalt), 1e-9)
		return v
	}
	const none source.Severity = 9
	for _, c := range []struct {
		waterSalt, nitrite float64
		severity           source.Severity
	}{{0.024, 0, source.Warning}, {0.026, 0, source.Note}, {0.034, 0, source.Note}, {0.036, 0, none},
		{0.031, 110, source.Note}} {
		got, ok := finding(judge(c.waterSalt, c.nitrite), "water-salt")
		assert.Equal(t, c.severity != none, ok, "%+v", c)
		if ok {
			assert.Equal(t, c.severity, got.Severity, "%+v", c)
		}
	}
	got, _ := finding(judge(0.02, 0), "water-salt")
	// 7 kg · 2.5/97.5 - 7 kg · 2/98 = 36.6 g
	assert.Contains(t, got.Remedy, "36.6 g more salt")
}

func TestCompositionCountsWhatIsTakenUp(t *testing.T) {
	f := brine(1.2)
	mix := f.Composition()
	assert.InDelta(t, (1.2*0.72+0.12*1000/1200)/1.32, float64(mix.Water), 1e-12)
	assert.InDelta(t, 1.2*0.21/1.32, float64(mix.Protein), 1e-12)
	assert.InDelta(t, 0.12*75/1200/1.32, float64(mix.Carbohydrate), 1e-12)

	// A long cure: what is dissolved by the masses, no water.
	f.Cure.Method, f.Pickle.Uptake, f.Pickle.LongCure = profile.Immersed, 0, true
	share := 1.2 / (1.2 + 1.2)
	assert.InDelta(t, 1.2+share*0.2, float64(f.Mass()), 1e-12)
	assert.InDelta(t, share*(0.095+0.030*0.9412), float64(f.SaltMass()), 1e-12)
	_, ok := finding(formula.Judge(&profile.Product{Name: "p", Species: profile.RedMeat, Formula: f}, profile.UnitedStates), "long-cure")
	assert.True(t, ok)

	soy := with(meat(1), item(profile.SoyIsolate, 1))
	assert.InDelta(t, (0.21+1)/2, float64(soy.Composition().Protein), 1e-12, "isolated soy protein is protein")
}

func TestWithoutCure(t *testing.T) {
	v := formula.Judge(&profile.Product{Name: "Thighs", Species: profile.Poultry, Formula: with(meat(4), item(profile.Salt, 0.068))}, profile.UnitedStates)
	assert.False(t, v.Cured)
	assert.False(t, v.Accelerated)
	assert.Empty(t, v.Findings)
	assert.Zero(t, formula.NitritePPM(profile.Formula{}, formula.GreenWeight))
	assert.Zero(t, formula.NitritePPM(profile.Formula{}, formula.TotalFormulation))
	assert.Zero(t, formula.ShareOf(profile.Formula{}))
}

func TestScaleRefusesNonsense(t *testing.T) {
	for _, m := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		assert.Panics(t, func() { formula.Scale(meat(1), quantity.Kilograms(m)) }, "%v kg", m)
	}
	assert.Panics(t, func() { formula.Scale(profile.Formula{}, 1) })
}

// A cure too weak to reach the floor is said to be too weak.
func TestHopelessCure(t *testing.T) {
	f := longCure(cured(meat(1), profile.Immersed, 0.010, 0.0001), item(profile.Water, 2))
	got, ok := finding(formula.Judge(&profile.Product{Name: "p", Species: profile.RedMeat, Formula: f}, profile.UnitedStates), "nitrite-low")
	require.True(t, ok)
	assert.Equal(t, "take a stronger cure", got.Remedy)
}

// anyFormula draws a cured formula of any method.
func anyFormula(t *rapid.T) profile.Formula {
	kilograms := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	f := meat(kilograms("meat", 0.3, 60))
	if rapid.Bool().Draw(t, "second cut") {
		f.Cut = append(f.Cut, profile.Meat{Name: "fat", Mass: quantity.Kilograms(kilograms("fat", 0.1, 20)), Water: 0.08, Protein: 0.03, Fat: 0.88})
	}
	green := float64(f.MeatMass())
	method := rapid.SampledFrom([]profile.CureMethod{profile.Comminuted, profile.Pumped, profile.Immersed, profile.DryRubbed}).Draw(t, "method")
	f = cured(f, method, green*kilograms("cure", 1e-4, 0.02), kilograms("strength", 0.005, 0.2))
	f = with(f, item(profile.Salt, green*kilograms("salt", 0.001, 0.03)), item(profile.Water, green*kilograms("water", 0.001, 0.2)))
	if rapid.Bool().Draw(t, "second cure") {
		second := profile.Cure{Name: "second", Mass: quantity.Kilograms(green * kilograms("second mass", 1e-4, 0.01)), Nitrite: 0.0625, Nitrate: 0.04, Method: method}
		if method == profile.Pumped && rapid.Bool().Draw(t, "rubbed on") {
			second.Method, second.PotassiumNitrate = profile.DryRubbed, 0.1
		}
		f.Cures = append(f.Cures, second)
	}
	if rapid.Bool().Draw(t, "accelerated") {
		f = with(f, item(profile.Accelerator, green*kilograms("erythorbate", 1e-5, 2e-3)))
	}
	if method == profile.Pumped || method == profile.Immersed {
		items := []profile.Ingredient{item(profile.Water, green*kilograms("pickle water", 0.5, 3)), item(profile.Salt, green*kilograms("pickle salt", 0.01, 0.3))}
		switch rapid.IntRange(0, 2).Draw(t, "pickle") {
		case 1:
			f = pickled(f, kilograms("uptake", 0.02, 0.4), items...)
		case 2:
			if method == profile.Immersed {
				f = longCure(f, items...)
			}
		}
	}
	return f
}

func TestScalingKeepsEveryShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFormula(t)
		to := quantity.Kilograms(rapid.Float64Range(0.01, 400).Draw(t, "to"))
		s := formula.Scale(f, to)
		near := func(what string, want, got float64) {
			if math.Abs(want-got) > 1e-9*math.Max(1, math.Abs(want)) {
				t.Fatalf("%s was %v and is %v", what, want, got)
			}
		}
		near("meat", float64(to), float64(s.MeatMass()))
		for _, b := range []formula.Basis{formula.GreenWeight, formula.TotalFormulation} {
			near("nitrite", formula.NitritePPM(f, b), formula.NitritePPM(s, b))
		}
		near("accelerator", formula.AcceleratorPPM(f), formula.AcceleratorPPM(s))
		was, is := formula.ShareOf(f), formula.ShareOf(s)
		near("salt", float64(was.Salt), float64(is.Salt))
		near("fat", float64(was.Fat), float64(is.Fat))
		near("added water", float64(was.AddedWater), float64(is.AddedWater))
		near("mass", float64(f.Mass()/f.MeatMass()), float64(s.Mass()/s.MeatMass()))
		if again := formula.Scale(s, f.MeatMass()); math.Abs(float64(again.Cure.Mass/f.Cure.Mass)-1) > 1e-12 {
			t.Fatalf("there and back: %v, was %v", again.Cure.Mass, f.Cure.Mass)
		}
	})
}

func TestMoreCureNeverLowersTheNitrite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFormula(t)
		more := f
		more.Cure.Mass += quantity.Kilograms(rapid.Float64Range(0, 0.2).Draw(t, "more"))
		for _, b := range []formula.Basis{formula.GreenWeight, formula.TotalFormulation} {
			if was, is := formula.NitritePPM(f, b), formula.NitritePPM(more, b); is < was*(1-1e-12) {
				t.Fatalf("%v: %v ppm, with more cure %v ppm", b, was, is)
			}
		}
		if whole, green := formula.NitritePPM(f, formula.TotalFormulation), formula.NitritePPM(f, formula.GreenWeight); whole > green*(1+1e-12) {
			t.Fatalf("%v ppm of everything, %v ppm of the meat", whole, green)
		}
	})
}

var (
	weighed = regexp.MustCompile(`weigh (?:at least )?([0-9.]+ k?g) of cure instead`)
	spared  = regexp.MustCompile(`weigh ([0-9.]+ k?g) of ingredient 5 instead`)
)

// Whoever does what a finding on cure or accelerator says passes.
func TestRemediesMend(t *testing.T) {
	mended := 0
	rapid.Check(t, func(t *rapid.T) {
		p := &profile.Product{Name: "p", Species: profile.RedMeat, Formula: anyFormula(t)}
		if p.Formula.Cure.Method != profile.Comminuted {
			p.Class = rapid.SampledFrom([]profile.Class{profile.Bacon, profile.RindOnBacon, profile.WholeMuscle}).Draw(t, "class")
		}
		b := rapid.SampledFrom(profile.Jurisdictions()).Draw(t, "place")
		v := formula.Judge(p, b)
		for _, f := range v.Findings {
			if m := weighed.FindStringSubmatch(f.Remedy); m != nil && strings.HasPrefix(f.Code, "nitrite-") {
				changed := *p
				changed.Formula.Cure.Mass, _ = quantity.ParseMass(m[1])
				if now := formula.Judge(&changed, b); !now.Nitrite.Pass {
					t.Fatalf("%s: %s: still %v ppm", f.Message, f.Remedy, now.Nitrite.PPM)
				}
				mended++
			}
			if m := spared.FindStringSubmatch(f.Remedy); m != nil {
				changed := *p
				changed.Formula = with(p.Formula)
				for i := range changed.Formula.Other {
					if changed.Formula.Other[i].As == profile.Accelerator {
						changed.Formula.Other[i].Mass, _ = quantity.ParseMass(m[1])
					}
				}
				if now := formula.Judge(&changed, b); !now.Accelerator.Pass {
					t.Fatalf("%s: %s: still %v ppm", f.Message, f.Remedy, now.Accelerator.PPM)
				}
				mended++
			}
		}
	})
	assert.Positive(t, mended, "the drawn formulas had nothing to mend")
}

// The printed sums come out right on a pocket calculator: every printed operand,
// multiplied out as it stands, gives the printed result.
func TestArithmeticComesOutByHand(t *testing.T) {
	worked, drawn := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		drawn++
		p := &profile.Product{Name: "p", Species: profile.RedMeat, Formula: anyFormula(t)}
		b := rapid.SampledFrom(profile.Jurisdictions()).Draw(t, "place")
		v := formula.Judge(p, b)
		lines := append(append([]string{}, v.Nitrite.Arithmetic...), v.Accelerator.Arithmetic...)
		for _, s := range v.Sums {
			lines = append(lines, s.Arithmetic)
		}
		for _, line := range lines {
			for _, sum := range strings.Split(line, ";") {
				lhs, rhs, ok := strings.Cut(sum, "=")
				if !ok || strings.Contains(sum, "that") {
					continue
				}
				got, want := calculate(t, lhs), calculate(t, rhs)
				slack := 2e-5 * math.Abs(want)
				switch {
				case strings.Contains(rhs, "ppm"):
					slack += 0.05e-6
				case strings.Contains(rhs, "%"):
					slack += 0.005e-2 + 2e-5 // a difference of two large numbers
				}
				if math.Abs(got-want) > slack {
					t.Fatalf("%q: by hand %v, printed %v", sum, got, want)
				}
				worked++
			}
		}
	})
	assert.Greater(t, worked, 5*drawn)
}

var token = regexp.MustCompile(`([0-9.]+)( (?:kg|g|%|ppm))?|[×/()+-]`)

// calculate works out a printed sum: × and / from the left, then + and -, and
// brackets. Words are read over. Grams are brought to kilograms.
func calculate(t rapid.TB, text string) float64 {
	tokens := token.FindAllStringSubmatch(text, -1)
	at := 0
	peek := func() string {
		if at < len(tokens) {
			return tokens[at][0]
		}
		return ""
	}
	var sum func() float64
	factor := func() float64 {
		if at >= len(tokens) {
			t.Fatalf("%q ends too soon", text)
		}
		now := tokens[at]
		at++
		if now[0] == "(" {
			v := sum()
			at++
			return v
		}
		v, err := strconv.ParseFloat(now[1], 64)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		return v * map[string]float64{"": 1, " kg": 1, " g": 1e-3, " %": 1e-2, " ppm": 1e-6}[now[2]]
	}
	product := func() float64 {
		v := factor()
		for peek() == "×" || peek() == "/" {
			divide := peek() == "/"
			at++
			if next := factor(); divide {
				v /= next
			} else {
				v *= next
			}
		}
		return v
	}
	sum = func() float64 {
		v := product()
		for peek() == "+" || peek() == "-" {
			minus := peek() == "-"
			at++
			if next := product(); minus {
				v -= next
			} else {
				v += next
			}
		}
		return v
	}
	return sum()
}
