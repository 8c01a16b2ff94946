package catalog

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/lint"
	"fumarium/profile/quantity"
)

func TestEveryProductParsesAndLintsClean(t *testing.T) {
	all, err := All()
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(all), 8)
	names := map[string]bool{}
	for _, e := range all {
		assert.False(t, names[e.Value.Name], "%s: the name %q is taken", e.Key, e.Value.Name)
		names[e.Value.Name] = true
		assert.Contains(t, e.Value.Source, "an invented farm", e.Key)
		assert.NotEmpty(t, e.Data, e.Key)
		assert.Empty(t, lint.Product(e.Value, e.File, lint.Cabinet{}), e.Key)
	}
}

func TestProductsDifferInKind(t *testing.T) {
	all, err := All()
	require.NoError(t, err)
	species, forms := map[profile.Species]bool{}, map[profile.Form]bool{}
	casings, methods := map[profile.Casing]bool{}, map[profile.CureMethod]bool{}
	thinnest, thickest := quantity.Meters(1), quantity.Meters(0)
	for _, e := range all {
		p := e.Value
		species[p.Species], forms[p.Shape.Form] = true, true
		casings[p.Shape.Casing], methods[p.Formula.Cure.Method] = true, true
		thinnest, thickest = min(thinnest, p.Shape.HalfThickness()), max(thickest, p.Shape.HalfThickness())
		assert.GreaterOrEqual(t, float64(p.Formula.Mass()), 3.0, e.Key)
		assert.LessOrEqual(t, float64(p.Formula.Mass()), 12.0, e.Key)
	}
	assert.Len(t, species, 5, "red meat, poultry, fish, game, dairy")
	assert.GreaterOrEqual(t, len(forms), 2)
	assert.GreaterOrEqual(t, len(casings), 5)
	assert.GreaterOrEqual(t, len(methods), 4)
	assert.LessOrEqual(t, float64(thinnest), 0.011)
	assert.GreaterOrEqual(t, float64(thickest), 0.045)
}

// ppm of something in the green weight of the meat block: FSIS Processing
// Inspectors' Calculations Handbook (Directive 7620.3, rev. 1995), chapter 3.
// Water, salt and binder do not count. What is pumped or rubbed in stands in the
// files as what the meat takes up.
func ppm(mass, meat float64) float64 { return mass / meat * 1e6 }

func meat(f profile.Formula) (kilograms float64) {
	for _, m := range f.Cut {
		kilograms += float64(m.Mass)
	}
	return kilograms
}

func sum(f profile.Formula, kind profile.IngredientKind) (kilograms float64) {
	for _, i := range f.Other {
		if i.As == kind {
			kilograms += float64(i.Mass)
		}
	}
	return kilograms
}

func TestFormulasMeetTheLimits(t *testing.T) {
	all, err := All()
	require.NoError(t, err)
	// Handbook chapter 3: 156 ppm comminuted, 200 ppm pumped; the belly is bacon,
	// dry cured, 200 ppm instead of the 625 ppm of other dry-cured meat.
	limits := map[profile.CureMethod]float64{profile.Comminuted: 156, profile.Pumped: 200, profile.DryRubbed: 200}
	for _, e := range all {
		f := e.Value.Formula
		green, total := meat(f), float64(f.Mass())
		if len(f.Pickle.Items) > 0 { // what is pumped is a share of all that the pickle holds, by hand
			pickle := float64(f.Cure.Mass)
			for _, i := range f.Pickle.Items {
				pickle += float64(i.Mass)
			}
			share := quantity.Kilograms(float64(f.Pickle.Uptake) * green / pickle)
			f.Cure.Mass *= share
			f.Other = slices.Clone(f.Other)
			for _, i := range f.Pickle.Items {
				i.Mass *= share
				f.Other = append(f.Other, i)
			}
		}
		cureSalt := float64(f.Cure.Mass) * (1 - float64(f.Cure.Nitrite))
		salt := sum(f, profile.Salt) + cureSalt
		if f.Cure.Method != profile.NoCure {
			limit, known := limits[f.Cure.Method]
			require.True(t, known, e.Key)
			got := ppm(float64(f.Cure.Mass)*float64(f.Cure.Nitrite), green)
			assert.LessOrEqual(t, got, limit+0.5, "%s: nitrite", e.Key)
			assert.GreaterOrEqual(t, got, 120.0, "%s: the floor of anything cured that is kept cold, handbook page 12", e.Key)
			// 547 ppm: 7/8 oz per 100 lb. 250 ppm: FSIS Appendix B (2021) for slow
			// cooling of cured product; both recalled from memory.
			accelerator := ppm(sum(f, profile.Accelerator), green)
			assert.LessOrEqual(t, accelerator, 547.0, "%s: accelerator", e.Key)
			assert.GreaterOrEqual(t, accelerator, 250.0, "%s: accelerator", e.Key)
		}
		switch e.Value.Species {
		case profile.Dairy:
		case profile.Fish:
			// 3.5 % salt in the water phase, Maine ch. 359, for packed smoked fish; the
			// finished side has less water still.
			water := sum(f, profile.Water)
			for _, m := range f.Cut {
				water += float64(m.Mass) * float64(m.Water)
			}
			assert.GreaterOrEqual(t, salt/(salt+water), 0.035, "%s: salt in its water", e.Key)
		default:
			// Common practice, no source.
			least, most := 0.015, 0.022
			if e.Value.Process == profile.FermentedAndDried {
				least, most = 0.025*total/green, 0.035 // 2.5 % of all of it: CFIA, as quoted
			}
			assert.GreaterOrEqual(t, salt/green, least, "%s: salt", e.Key)
			assert.LessOrEqual(t, salt/green, most, "%s: salt", e.Key)
		}
		// Cooked sausage: at most 3.5 % binder (9 CFR 319.140, 319.180), 10 % added
		// water; fat at most 30 %, fat and added water 40 % (319.180). Of the raw
		// batch here: drying takes water and leaves more of the rest.
		mix := f.Composition()
		const yield = 0.85
		assert.LessOrEqual(t, sum(f, profile.Binder)/total/yield, 0.035, "%s: binder", e.Key)
		assert.LessOrEqual(t, sum(f, profile.Water)/total, 0.10, "%s: added water", e.Key)
		switch e.Value.Shape.Casing {
		case profile.NaturalCasing, profile.CollagenCasing, profile.FibrousCasing:
			assert.LessOrEqual(t, float64(mix.Fat), 0.30, "%s: fat", e.Key)
			assert.LessOrEqual(t, float64(mix.Fat)+sum(f, profile.Water)/total, 0.40, "%s: fat and added water", e.Key)
		}
		for _, m := range f.Cut {
			parts := float64(m.Water + m.Protein + m.Fat + m.Carbohydrate)
			assert.InDelta(t, 0.98, parts, 0.021, "%s: %s: what is left over is ash", e.Key, m.Name)
		}
	}
}

// Every schedule leads the person by the hand and never smokes, heats or cools
// without a limit on the time.
func TestSchedules(t *testing.T) {
	all, err := All()
	require.NoError(t, err)
	for _, e := range all {
		p := e.Value
		smoked, confirmed := 0, 0
		for _, s := range p.Stages {
			if s.Smoke {
				smoked++
				assert.NotEmpty(t, s.Ask, "%s: %s: nobody is asked to light the generator", e.Key, s.Name)
				assert.True(t, s.HasDamper && s.Damper > 0, "%s: %s: smoke wants an open damper", e.Key, s.Name)
			}
			for _, c := range s.Until.Conditions {
				switch c.Kind {
				case profile.Confirmed:
					confirmed++
				case profile.CoreAtLeast, profile.CoreAtMost, profile.LethalityAtLeast:
					assert.NotZero(t, s.Within, "%s: %s", e.Key, s.Name)
				}
			}
		}
		assert.Equal(t, 1, smoked, e.Key)
		assert.NotEmpty(t, p.Stages[0].Ask, e.Key)
		if p.Formula.Cure.Method != profile.NoCure { // how long, its clean lint holds
			assert.Positive(t, p.Formula.Cure.Rest, e.Key)
		}
		if p.Species != profile.Dairy && p.Process == profile.FullyCooked {
			assert.NotEqual(t, profile.NoChillRule, p.Targets.Chill, e.Key)
			assert.True(t, p.Targets.HasCore, e.Key)
		}
		last := p.Stages[len(p.Stages)-1]
		assert.Equal(t, profile.ColdRoom, last.Place, "%s ends in the cold", e.Key)
	}
}

func TestFind(t *testing.T) {
	for wanted, key := range map[string]string{
		"caraway-sticks": "caraway-sticks", "CARAWAY Barn Sticks": "caraway-sticks", "must": "mustard-slicer",
		"marjoram ring": "marjoram-ring", " hay ": "hayloft-chicken", "Lovage-Turkey-Roll": "lovage-turkey-roll",
	} {
		e, err := Find(wanted)
		require.NoError(t, err, wanted)
		assert.Equal(t, key, e.Key, wanted)
		assert.Equal(t, key+".yaml", e.File)
	}
	for _, wanted := range []string{"", "  ", "trout tartare"} {
		_, err := Find(wanted)
		require.Error(t, err, wanted)
		for _, key := range Names() {
			assert.ErrorContains(t, err, key)
		}
	}
	_, err := Find("b")
	require.Error(t, err)
	assert.ErrorContains(t, err, "barn-loft-cheese")
	assert.ErrorContains(t, err, "bramble-deer-links")
	assert.NotContains(t, err.Error(), "caraway")
}

func ExampleFind() {
	e, err := Find("heather")
	if err != nil {
		fmt.Println(err)
		return
	}
	var stages []string
	for _, s := range e.Value.Stages {
		stages = append(stages, s.Name)
	}
	fmt.Println(e.Value.Name, "of", e.Value.Formula.Mass())
	fmt.Println(strings.Join(stages, ", "))
	// Output:
	// Heather-honey loin of 4.95 kg
	// dry, smoke, warm through, cook, chill, rest
}
