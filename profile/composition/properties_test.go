package composition_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/composition"
	"fumarium/profile/quantity"
)

// Values of the Choi and Okos (1986) polynomials as printed in the ASHRAE
// Handbook Refrigeration, "Thermal Properties of Foods", evaluated with separate
// software and rounded to the digits given.
func TestComponentsAgreeWithEvaluatedHandbookPolynomials(t *testing.T) {
	pure := map[string]composition.Mix{
		"water":        {Water: 1},
		"protein":      {Protein: 1},
		"fat":          {Fat: 1},
		"carbohydrate": {Carbohydrate: 1},
		"fibre":        {Fibre: 1},
		"ash":          {Ash: 1},
	}
	for _, row := range []struct {
		celsius                    quantity.Celsius
		name                       string
		k, density, heat, diffusiv float64 // W/(m·K), kg/m³, kJ/(kg·K), m²/s
	}{
		{20, "water", 0.60366, 995.74, 4.1766, 1.4515e-07},
		{20, "protein", 0.20164, 1319.53, 2.0319, 7.5208e-08},
		{20, "fat", 0.17512, 917.24, 2.0117, 9.4902e-08},
		{20, "carbohydrate", 0.22743, 1592.89, 1.5857, 9.0041e-08},
		{20, "fibre", 0.20704, 1304.18, 1.8807, 8.4411e-08},
		{20, "ash", 0.35648, 2418.19, 1.1289, 1.3058e-07},
		{60, "water", 0.65271, 983.84, 4.1905, 1.5832e-07},
		{60, "protein", 0.24077, 1298.80, 2.0760, 8.9298e-08},
		{60, "fat", 0.16351, 900.54, 2.0553, 8.8341e-08},
		{60, "ash", 0.40322, 2406.96, 1.1927, 1.4045e-07},
		{80, "water", 0.66919, 973.38, 4.2040, 1.6353e-07},
		{80, "protein", 0.25708, 1288.43, 2.0965, 9.5172e-08},
	} {
		t.Run(fmt.Sprintf("%s at %v", row.name, row.celsius), func(t *testing.T) {
			m := pure[row.name]
			assert.InDelta(t, row.k, m.Conductivity(row.celsius), 0.6e-5)
			assert.InDelta(t, row.k, m.ConductivityAcross(row.celsius), 0.6e-5)
			assert.InDelta(t, row.density, m.Density(row.celsius), 0.6e-2)
			assert.InDelta(t, row.heat*1000, m.SpecificHeat(row.celsius), 0.06)
			assert.InEpsilon(t, row.diffusiv, m.Diffusivity(row.celsius), 1e-4)
		})
	}
}

var (
	lamb        = composition.Mix{Water: .7342, Protein: .2029, Fat: .0525, Ash: .0106}
	frankfurter = composition.Mix{Water: .5387, Protein: .1128, Fat: .2915, Carbohydrate: .0255, Ash: .0315}
)

// Mixtures by the ASHRAE mixing rules, evaluated with separate software from the
// same component table. The frankfurter row is that of the ASHRAE composition
// table, recalled from memory; loin and fish are made-up test compositions.
func TestMixturesAgreeWithHandbookRules(t *testing.T) {
	loin := composition.Mix{Water: .72, Protein: .21, Fat: .06, Ash: .01}
	fish := composition.Mix{Water: .80, Protein: .18, Fat: .01, Ash: .01}
	for _, row := range []struct {
		name                           string
		mix                            composition.Mix
		celsius                        quantity.Celsius
		heat, density, k, kAcross, dif float64
	}{
		{"lamb", lamb, 5, 3.5908, 1052.16, 0.4911, 0.3915, 1.2999e-07},
		{"frankfurter", frankfurter, 20, 3.1415, 1027.40, 0.4189, 0.3002, 1.2980e-07},
		{"frankfurter", frankfurter, 60, 3.1702, 1012.85, 0.4465, 0.3018, 1.3906e-07},
		{"lean loin", loin, 20, 3.5658, 1050.67, 0.5059, 0.4012, 1.3504e-07},
		{"lean loin", loin, 72, 3.5972, 1031.06, 0.5583, 0.4435, 1.5054e-07},
		{"white fish", fish, 5, 3.7342, 1049.43, 0.5179, 0.4350, 1.3216e-07},
	} {
		t.Run(fmt.Sprintf("%s at %v", row.name, row.celsius), func(t *testing.T) {
			require.NoError(t, row.mix.Check())
			assert.InDelta(t, row.heat*1000, row.mix.SpecificHeat(row.celsius), 0.06)
			assert.InDelta(t, row.density, row.mix.Density(row.celsius), 0.6e-2)
			assert.InDelta(t, row.k, row.mix.Conductivity(row.celsius), 0.6e-4)
			assert.InDelta(t, row.kAcross, row.mix.ConductivityAcross(row.celsius), 0.6e-4)
			assert.InEpsilon(t, row.dif, row.mix.Diffusivity(row.celsius), 1e-4)
		})
	}
}

// Two sausage meats at two temperatures, worked with a third evaluation of the
// component table (printed to fewer digits).
func TestSausageMeats(t *testing.T) {
	rich := composition.Mix{Water: .56, Protein: .13, Fat: .27, Carbohydrate: .01, Ash: .03}
	lean := composition.Mix{Water: .73, Protein: .19, Fat: .04, Carbohydrate: .01, Ash: .03}
	for _, row := range []struct {
		mix                   composition.Mix
		celsius               quantity.Celsius
		k, heat, density, dif float64
	}{
		{rich, 20, 0.428, 3.196, 1027, 1.304e-7},
		{rich, 60, 0.457, 3.224, 1012, 1.400e-7},
		{lean, 20, 0.516, 3.565, 1065, 1.361e-7},
		{lean, 60, 0.561, 3.588, 1051, 1.487e-7},
	} {
		assert.InDelta(t, row.k, row.mix.Conductivity(row.celsius), 0.0006)
		assert.InDelta(t, row.heat*1000, row.mix.SpecificHeat(row.celsius), 0.6)
		assert.InDelta(t, row.density, row.mix.Density(row.celsius), 0.6)
		assert.InEpsilon(t, row.dif, row.mix.Diffusivity(row.celsius), 1e-3)
	}
}

// Measured figures. Component models should land inside the spread of what has
// been measured, not on one figure: for 60 % water the handbooks differ by a
// quarter.
func TestMeasuredRanges(t *testing.T) {
	// Marcotte, Taherian, Karimi, J. Food Eng. 88 (2008) 315-322: cooked meat and
	// poultry emulsions, 20-80 °C: k 0.26..0.48 W/(m·K); density at most 1070,
	// 970 kg/m³ at 80 °C; specific heat 2850 at 30 °C to 3380 J/(kg·K) at 80 °C.
	for c := quantity.Celsius(20); c <= 80; c += 20 {
		k := frankfurter.Conductivity(c)
		assert.True(t, k > 0.26 && k < 0.48, "k %v at %v", k, c)
		density := frankfurter.Density(c)
		assert.True(t, density > 970 && density < 1070, "density %v at %v", density, c)
	}
	assert.InDelta(t, (2850+3380)/2, frankfurter.SpecificHeat(55), 0.1*3115)
	// Engineering ToolBox, "Foodstuff - Thermal Diffusivity" (2020), figures of
	// ASHRAE origin: smoked ham 64 % water 1.18e-7, beef chuck 66 % 1.23e-7, beef
	// tongue 68 % 1.32e-7, halibut 76 % 1.47e-7 m²/s. Parallel mixing is the upper
	// bound of k, hence up to 25 % above the low ones is allowed.
	chuck := composition.Mix{Water: .66, Protein: .17, Fat: .16, Ash: .01}
	assert.InDelta(t, 1.23e-7, chuck.Diffusivity(52), 0.25*1.23e-7)
	halibut := composition.Mix{Water: .76, Protein: .21, Fat: .02, Ash: .01}
	assert.InDelta(t, 1.47e-7, halibut.Diffusivity(52), 0.1*1.47e-7)
	// NZIFST Unit Operations, appendix 7: c = 0.84 + 3.35·w above freezing, a rule
	// of thumb.
	for _, m := range []composition.Mix{lamb, frankfurter, halibut} {
		assert.InEpsilon(t, 840+3350*float64(m.Water), m.SpecificHeat(20), 0.25)
	}
}

func TestCheckNamesTheFault(t *testing.T) {
	assert.EqualError(t, composition.Mix{Water: 1.2}.Check(),
		"composition: water is 1.2 of the mass; give a fraction from 0 to 1")
	assert.EqualError(t, composition.Mix{Water: .5, Fat: .3}.Check(),
		"composition: the fractions add up to 0.8000 of the mass; make them add up to 1")
	assert.Error(t, composition.Mix{Water: quantity.Ratio(math.NaN()), Fat: 1}.Check())
	assert.Error(t, composition.Mix{}.Check())
}

// Whatever the mix, its properties lie between those of its components, the
// perpendicular conductivity below the parallel one, and the enthalpy is the
// integral of the specific heat.
func TestMixturesStayBetweenTheirComponents(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var x [6]float64
		sum := 0.0
		for i := range x {
			x[i] = rapid.Float64Range(0.001, 1).Draw(t, "share")
			sum += x[i]
		}
		r := func(i int) quantity.Ratio { return quantity.Ratio(x[i] / sum) }
		m := composition.Mix{Water: r(0), Protein: r(1), Fat: r(2), Carbohydrate: r(3), Fibre: r(4), Ash: r(5)}
		c := quantity.Celsius(rapid.Float64Range(0, 150).Draw(t, "celsius"))
		if err := m.Check(); err != nil {
			t.Fatal(err)
		}
		between := func(f func(composition.Mix) float64, what string) {
			low, high := math.Inf(1), math.Inf(-1)
			for _, p := range []composition.Mix{{Water: 1}, {Protein: 1}, {Fat: 1}, {Carbohydrate: 1}, {Fibre: 1}, {Ash: 1}} {
				low, high = min(low, f(p)), max(high, f(p))
			}
			if v := f(m); v < low || v > high {
				t.Fatalf("%s %v outside %v..%v", what, v, low, high)
			}
		}
		between(func(m composition.Mix) float64 { return m.Density(c) }, "density")
		between(func(m composition.Mix) float64 { return m.SpecificHeat(c) }, "specific heat")
		between(func(m composition.Mix) float64 { return m.Conductivity(c) }, "conductivity")
		if m.ConductivityAcross(c) > m.Conductivity(c)*(1+1e-12) {
			t.Fatal("series above parallel")
		}
		slope := (m.Enthalpy(c+0.01) - m.Enthalpy(c-0.01)) / 0.02
		if math.Abs(slope-m.SpecificHeat(c)) > 0.01 {
			t.Fatalf("slope of enthalpy %v, specific heat %v", slope, m.SpecificHeat(c))
		}
	})
}

// ASHRAE Handbook Refrigeration, "Thermal Properties of Foods", cooling example:
// 150 kg of lamb from 10 to 0 °C with properties at 5 °C. The printed answer,
// 3.59 kJ/(kg·K) and 5390 kJ, is recalled from memory.
func ExampleMix_SpecificHeat() {
	lamb := composition.Mix{Water: .7342, Protein: .2029, Fat: .0525, Ash: .0106}
	heat := lamb.SpecificHeat(5)
	fmt.Printf("%.2f kJ/(kg·K), %.0f kJ to take out\n", heat/1000, 150*heat*10/1000)
	// Output: 3.59 kJ/(kg·K), 5386 kJ to take out
}

func ExampleMix_Diffusivity() {
	sausage := composition.Mix{Water: .56, Protein: .13, Fat: .27, Carbohydrate: .01, Ash: .03}
	fmt.Printf("k %.3f W/(m·K), diffusivity %.2e m²/s\n", sausage.Conductivity(60), sausage.Diffusivity(60))
	// Output: k 0.457 W/(m·K), diffusivity 1.40e-07 m²/s
}
