package thermistor

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

// Worked example: coefficients from memory of a well-known laboratory thermistor
// calculator, solved again with numpy 1.24.
func TestFitWorkedExample(t *testing.T) {
	c, err := Fit(Point{5, 25000}, Point{25, 10000}, Point{45, 4000})
	require.NoError(t, err)
	assert.InEpsilon(t, 2.108508173e-03, c.A, 1e-9)
	assert.InEpsilon(t, 7.979204727e-05, c.B, 1e-8)
	assert.InEpsilon(t, 6.535076315e-07, c.C, 1e-8)
	for ohms, want := range map[float64]float64{7000: 32.8003, 15000: 16.1336, 25000: 5, 10000: 25, 4000: 45} {
		got, ok := c.Temperature(ohms)
		require.True(t, ok)
		assert.InDelta(t, want, float64(got), 0.00006, "%v Ω", ohms)
	}
	// The beta between the first two points of that example.
	b, err := FromBeta(Point{25, 10000}, 3799.42)
	require.NoError(t, err)
	got, _ := b.Temperature(25000)
	assert.InDelta(t, 5, float64(got), 0.0001)
}

// Constants of three laboratory thermistors, Keithley 2700 manual, table F-9. The
// nominal resistance stands for 25 °C.
func TestPublishedConstants(t *testing.T) {
	for _, row := range []struct {
		c    Curve
		ohms float64
	}{
		{Curve{0.0014733, 0.0002372, 1.074e-7}, 2252},
		{Curve{0.001288, 0.0002356, 9.557e-8}, 5000},
		{Curve{0.0010295, 0.0002391, 1.568e-7}, 10000},
	} {
		got, ok := row.c.Temperature(row.ohms)
		require.True(t, ok)
		// The constants have four figures: a unit of the last one of B is 0.06 K.
		assert.InDelta(t, 25, float64(got), 0.1, "%v Ω", row.ohms)
	}
}

// Rows of a 10 kΩ part, ILX LDC-3900 manual, table A.1 (its 40 °C row is a
// misprint and left out): the residual of a fit is 0.003 K at most there.
func TestFitIsAsGoodAsPublished(t *testing.T) {
	c, err := Fit(Point{0, 32128}, Point{25, 9814}, Point{50, 3542})
	require.NoError(t, err)
	for celsius, ohms := range map[float64]float64{0: 32128, 10: 19549, 20: 12262, 25: 9814, 30: 7908, 50: 3542} {
		got, ok := c.Temperature(ohms)
		require.True(t, ok)
		assert.InDelta(t, celsius, float64(got), 0.006, "%v Ω", ohms)
	}
}

// R-T rows of a 10 kΩ glass bead with B25/50 = 3950 K, from its maker's page
// (AMWEI AMF58B-103F3950); the two temperatures computed independently in Python.
func TestMakersTable(t *testing.T) {
	fit, err := Fit(Point{0, 32580.7}, Point{25, 10000}, Point{100, 673})
	require.NoError(t, err)
	assert.InEpsilon(t, 1.147128335e-03, fit.A, 1e-7)
	assert.InEpsilon(t, 2.311601539e-04, fit.B, 1e-7)
	assert.InEpsilon(t, 9.960674560e-08, fit.C, 1e-6)
	beta, err := FromBeta(Point{25, 10000}, 3950)
	require.NoError(t, err)
	for _, row := range [][4]float64{ // °C, kΩ, by the fit, by beta
		{-40, 283.3811, -37.65, -35.09}, {-35, 209.0590, -32.88, -30.65}, {-25, 118.9527, -23.62, -21.95},
		{-20, 90.9311, -19.00, -17.58}, {-10, 53.9812, -9.63, -8.66}, {-5, 41.8540, -4.85, -4.08},
		{0, 32.5807, 0.00, 0.59}, {10, 20.0003, 9.88, 10.18}, {15, 15.7850, 14.89, 15.07}, {25, 10.0000, 25.00, 25.00},
		{30, 8.0338, 30.06, 30.01}, {80, 1.2429, 80.18, 80.69}, {90, 0.9069, 90.12, 90.97}, {100, 0.6730, 100.00, 101.27},
		{105, 0.5831, 104.93, 106.42}, {115, 0.4425, 114.75, 116.76}, {120, 0.3874, 119.65, 121.95}, {130, 0.2996, 129.46, 132.37},
	} {
		got, ok := fit.Temperature(row[1] * 1000)
		require.True(t, ok)
		assert.InDelta(t, row[2], float64(got), 0.0051, "fit at %v °C", row[0])
		got, ok = beta.Temperature(row[1] * 1000)
		require.True(t, ok)
		assert.InDelta(t, row[3], float64(got), 0.0051, "beta at %v °C", row[0])
		if row[0] >= 0 {
			fitted, _ := fit.Temperature(row[1] * 1000)
			assert.InDelta(t, row[0], float64(fitted), 0.55, "the fit against the maker's row")
		}
	}
}

// Ohm's law, by hand: 10 kΩ to a 3.3 V supply, thermistor to ground.
func TestDivider(t *testing.T) {
	d := Divider{Ohms: 10000}
	r, ok := d.Resistance(1.65 / 3.3)
	require.True(t, ok)
	assert.InDelta(t, 10000, r, 1e-9)
	assert.InDelta(t, 0.20809, 3.3*d.Share(673), 0.000005)
	top := Divider{Ohms: 10000, OnTop: true}
	assert.InDelta(t, 1, d.Share(673)+top.Share(673), 1e-12)
	r, ok = top.Resistance(top.Share(673))
	require.True(t, ok)
	assert.InDelta(t, 673, r, 1e-9)
	for _, share := range []float64{0, 1, -0.1, 1.1, math.NaN(), math.Inf(1)} {
		_, ok := d.Resistance(share)
		assert.False(t, ok, "%v", share)
	}
	_, ok = Divider{}.Resistance(0.5)
	assert.False(t, ok)
}

func TestNoNumberFromNonsense(t *testing.T) {
	c, err := FromBeta(Point{25, 10000}, 3950)
	require.NoError(t, err)
	for _, ohms := range []float64{0, -1, math.NaN(), math.Inf(1), 1e-300} {
		_, ok := c.Temperature(ohms)
		assert.False(t, ok, "%v Ω", ohms)
	}
	_, ok := Curve{}.Temperature(10000)
	assert.False(t, ok)
	assert.True(t, math.IsNaN(c.Resistance(-300)))
	assert.True(t, math.IsNaN(Curve{}.Resistance(20)))
	for _, bad := range [][3]Point{
		{{0, 10000}, {25, 10000}, {100, 700}},
		{{0, 30000}, {0, 10000}, {100, 700}},
		{{0, 700}, {25, 10000}, {100, 30000}},
		{{0, 0}, {25, 10000}, {100, 700}},
		{{quantity.Celsius(math.NaN()), 30000}, {25, 10000}, {100, 700}},
		{{0, math.Inf(1)}, {25, 10000}, {100, 700}},
		{{0, 30000}, {25, 10000}, {26, 100}},
	} {
		_, err := Fit(bad[0], bad[1], bad[2])
		assert.Error(t, err, "%v", bad)
	}
	for _, bad := range []Point{{25, 0}, {-300, 10000}, {25, math.NaN()}} {
		_, err := FromBeta(bad, 3950)
		assert.Error(t, err)
	}
	_, err = FromBeta(Point{25, 10000}, 0)
	assert.ErrorContains(t, err, "data sheet")
}

func TestPropertyRoundTrip(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := Curve{
			A: rapid.Float64Range(0.8e-3, 2.2e-3).Draw(r, "A"),
			B: rapid.Float64Range(0.7e-4, 3e-4).Draw(r, "B"),
			C: rapid.Float64Range(0, 7e-7).Draw(r, "C"),
		}
		x := rapid.Float64Range(-40, 200).Draw(r, "celsius")
		ohms := c.Resistance(quantity.Celsius(x))
		if ohms < 1e-6 || ohms > 1e12 {
			r.Skip("no thermistor has that")
		}
		got, ok := c.Temperature(ohms)
		if !ok || math.Abs(float64(got)-x) > 1e-6 {
			r.Fatalf("%v °C is %v Ω, which is %v °C", x, ohms, float64(got))
		}
	})
}

func TestPropertyFitPassesThroughItsPoints(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		true3 := Curve{
			A: rapid.Float64Range(0.9e-3, 1.6e-3).Draw(r, "A"),
			B: rapid.Float64Range(2.2e-4, 2.9e-4).Draw(r, "B"),
			C: rapid.Float64Range(1e-8, 2e-7).Draw(r, "C"),
		}
		at := func(t quantity.Celsius) Point { return Point{t, true3.Resistance(t)} }
		low := quantity.Celsius(rapid.Float64Range(-20, 10).Draw(r, "low"))
		mid := quantity.Celsius(rapid.Float64Range(25, 50).Draw(r, "mid"))
		high := quantity.Celsius(rapid.Float64Range(70, 120).Draw(r, "high"))
		got, err := Fit(at(high), at(low), at(mid)) // any order
		if err != nil {
			r.Fatal(err)
		}
		for _, x := range []quantity.Celsius{-20, 25, 71, 110} {
			back, ok := got.Temperature(true3.Resistance(x))
			if !ok || math.Abs(float64(back-x)) > 1e-6 {
				r.Fatalf("%v came back as %v", float64(x), float64(back))
			}
		}
	})
}

func FuzzTemperature(f *testing.F) {
	f.Add(1e-3, 2e-4, 1e-7, 10000.0)
	f.Add(0.0, 0.0, 0.0, -1.0)
	f.Fuzz(func(t *testing.T, a, b, c, ohms float64) {
		x, ok := Curve{a, b, c}.Temperature(ohms)
		if ok && (!quantity.Finite(float64(x)) || x <= quantity.AbsoluteZero) {
			t.Fatalf("%v Ω gave %v °C", ohms, float64(x))
		}
	})
}

func BenchmarkTemperature(b *testing.B) {
	c := Curve{1.147128335e-03, 2.311601539e-04, 9.960674560e-08}
	b.ReportAllocs()
	for b.Loop() {
		c.Temperature(1242.9)
	}
}

func ExampleFit() {
	// Ice water, a warm room and boiling water at sea level, each with its ohms.
	curve, err := Fit(Point{0, 32580.7}, Point{25, 10000}, Point{100, 673})
	if err != nil {
		fmt.Println(err)
		return
	}
	t, ok := curve.Temperature(1242.9)
	fmt.Printf("%.1f °C %v\n", float64(t), ok)
	// Output: 80.2 °C true
}

// Parts of one name differ: 10 kΩ, 3950 K of two other lists (from memory) against the
// AMWEI one, about 0.3 K at 80 °C and 0.9 K at 100 °C.
func TestPartsOfOneNameDiffer(t *testing.T) {
	amwei, err := Fit(Point{0, 32580.7}, Point{25, 10000}, Point{100, 673})
	require.NoError(t, err)
	for _, row := range []struct{ own, other, kelvin float64 }{{1242.9, 1230, 0.3}, {673.0, 656, 0.9}} {
		a, ok := amwei.Temperature(row.own)
		require.True(t, ok)
		b, ok := amwei.Temperature(row.other)
		require.True(t, ok)
		assert.InDelta(t, row.kelvin, float64(b-a), 0.06)
	}
	// The rows of an mfh103-3950 lie within the same kelvin.
	for celsius, ohms := range map[float64]float64{61: 2382.0, 65: 2064.4, 70: 1733.4} {
		got, ok := amwei.Temperature(ohms)
		require.True(t, ok)
		assert.InDelta(t, celsius, float64(got), 1, "%v Ω", ohms)
	}
}

// Ohm's law, by hand: a quarter of the supply is 3333 Ω below 10 kΩ and 30 kΩ above
// it.
func TestDividerSides(t *testing.T) {
	below, ok := Divider{Ohms: 10000}.Resistance(0.25)
	require.True(t, ok)
	assert.InDelta(t, 10000.0/3, below, 1e-9)
	above, ok := Divider{Ohms: 10000, OnTop: true}.Resistance(0.25)
	require.True(t, ok)
	assert.InDelta(t, 30000, above, 1e-9)
}

// A curve that bends the wrong way, with a negative C, is no thermistor's.
func TestFitRefusesANegativeBend(t *testing.T) {
	point := func(ohms float64) Point {
		l := math.Log(ohms)
		return Point{quantity.Celsius(1/(1.1e-3+2.4e-4*l-1e-8*l*l*l) - 273.15), ohms}
	}
	_, err := Fit(point(30000), point(10000), point(700))
	assert.ErrorContains(t, err, "would not fall all the way")
}
