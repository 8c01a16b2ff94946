package psychrometer_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
	"fumarium/sensors/psychrometer/moistair"
)

// Columns: Hyland-Wexler and IAPWS-IF97 evaluated with separate software (Pa),
// the Ohio University steam table (IAPWS, MPa), and a pre-1995 table of the Van
// Wylen type (kPa), known to be 0.04..0.07 % lower at 80..100 °C.
func TestSaturationPressureAgainstTables(t *testing.T) {
	for _, row := range []struct {
		celsius                quantity.Celsius
		wexler, if97           float64
		steamMPa, olderTableKP float64 // zero: the table has no such row
	}{
		{20, 2338.8, 2339.2, 0.00234, 2.339},
		{40, 7383.5, 7384.4, 0.00739, 7.384},
		{50, 12349.9, 12351.3, 0.01235, 12.349},
		{60, 19943.8, 19945.8, 0.01995, 19.94},
		{80, 47411.6, 47414.7, 0.04741, 47.39},
		{90, 70180.0, 70182.4, 0.07018, 70.14},
		{100, 101418.7, 101418.0, 0, 101.35},
		{110, 143383.6, 143376.0, 0, 0},
	} {
		p := psychrometer.SaturationPressure(row.celsius)
		assert.InDelta(t, row.wexler, p, 0.06, "Hyland-Wexler at %v", row.celsius)
		assert.InEpsilon(t, row.if97, p, 3e-4, "IF97 at %v", row.celsius)
		if row.steamMPa != 0 {
			assert.InDelta(t, row.steamMPa*1e6, p, 10, "steam table at %v", row.celsius)
		}
		if row.olderTableKP != 0 {
			assert.InEpsilon(t, row.olderTableKP*1e3, p, 1e-3, "older table at %v", row.celsius)
		}
	}
	// ASHRAE Fundamentals 2017 chapter 1, Table 3, as in the tests of PsychroLib.
	for celsius, pascal := range map[quantity.Celsius]float64{
		5: 872.6, 25: 3169.7, 50: 12351.3, 100: 101418.0, 150: 476101.4,
	} {
		assert.InEpsilon(t, pascal, psychrometer.SaturationPressure(celsius), 3e-4, "ASHRAE Table 3 at %v", celsius)
	}
}

// The IAPWS-IF97 saturation equation (region 4, equation 30), coefficients from
// memory; held to the published check values of its Table 35 first, then used as
// a second opinion all over the range.
func if97(t quantity.Celsius) float64 {
	n := [...]float64{0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5,
		-0.32325550322333e7, 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3}
	k := float64(t) + 273.15
	s := k + n[8]/(k-n[9])
	a, b, c := s*s+n[0]*s+n[1], n[2]*s*s+n[3]*s+n[4], n[5]*s*s+n[6]*s+n[7]
	return math.Pow(2*c/(-b+math.Sqrt(b*b-4*a*c)), 4) * 1e6
}

func TestSaturationPressureAgainstIF97(t *testing.T) {
	// IF97 Table 35: 300, 500 and 600 K, in MPa.
	assert.InEpsilon(t, 0.353658941e-2, if97(300-273.15)/1e6, 1e-8)
	assert.InEpsilon(t, 0.263889776e1, if97(500-273.15)/1e6, 1e-8)
	assert.InEpsilon(t, 0.123443146e2, if97(600-273.15)/1e6, 1e-8)
	for c := quantity.Celsius(0.01); c <= 200; c += 0.5 {
		require.InEpsilon(t, if97(c), psychrometer.SaturationPressure(c), 7e-4, "at %v", c)
	}
}

// PsychroLib 2.5.0 (JavaScript port 1.1.1), p = 101325 Pa.
func TestMoistAirAgainstPsychroLib(t *testing.T) {
	for _, row := range [][5]float64{
		// dry °C, RH %, wet bulb °C, dew point °C, W kg/kg
		{55, 10, 26.373, 13.780, 0.009826},
		{55, 30, 36.006, 31.886, 0.030441},
		{55, 40, 39.729, 37.067, 0.041261},
		{55, 60, 45.863, 44.720, 0.064015},
		{60, 20, 34.920, 28.916, 0.025487},
		{60, 30, 39.723, 36.111, 0.039030},
		{60, 50, 47.258, 45.755, 0.067890},
		{60, 60, 50.338, 49.366, 0.083286},
		{65, 10, 31.634, 21.106, 0.015758},
		{65, 20, 38.240, 32.906, 0.032336},
		{65, 40, 47.830, 45.840, 0.068219},
		{65, 50, 51.559, 50.275, 0.087679},
		{70, 10, 34.312, 24.737, 0.019758},
		{70, 30, 47.270, 44.521, 0.063296},
		{70, 40, 51.922, 50.210, 0.087357},
		{70, 60, 59.331, 58.637, 0.140934},
		{75, 20, 45.007, 40.835, 0.051283},
		{75, 30, 51.093, 48.705, 0.080233},
		{75, 50, 60.213, 59.289, 0.146304},
		{75, 60, 63.843, 63.262, 0.184233},
		{80, 10, 39.783, 31.935, 0.030530},
		{80, 20, 48.449, 44.774, 0.064213},
		{80, 40, 60.168, 58.916, 0.143212},
		{80, 50, 64.560, 63.782, 0.189949},
		{85, 10, 42.581, 35.504, 0.037669},
		{85, 30, 58.815, 57.032, 0.128583},
		{85, 40, 64.313, 63.253, 0.184134},
		{85, 60, 72.885, 72.493, 0.324191},
		{90, 20, 55.430, 52.603, 0.100008},
		{90, 30, 62.704, 61.175, 0.163128},
		{90, 50, 73.274, 72.743, 0.329494},
		{90, 60, 77.411, 77.098, 0.442253},
	} {
		t.Run(fmt.Sprintf("%v °C %v %%", row[0], row[1]), func(t *testing.T) {
			dry, p := quantity.Celsius(row[0]), psychrometer.StandardPressure
			e := row[1] / 100 * psychrometer.SaturationPressure(dry)
			w := moistair.HumidityRatio(e, p)
			assert.InDelta(t, row[4], w, 0.6e-6)
			assert.InDelta(t, e, moistair.VapourPressure(w, p), 1e-6)
			wet := moistair.WetBulb(dry, w, p)
			assert.InDelta(t, row[2], float64(wet), 0.0015) // PsychroLib stops at 0.001
			assert.InDelta(t, w, moistair.HumidityRatioAt(dry, wet, p), 1e-9)
			assert.InDelta(t, row[3], float64(psychrometer.DewPoint(e)), 0.0015)
			assert.InDelta(t, row[1]/100, float64(moistair.RelativeHumidity(dry, e)), 1e-12)
		})
	}
}

// ASHRAE Fundamentals 2017 chapter 1, Table 2 (real moist air, 101325 Pa): the
// perfect gas is up to 1.2 % low, so the table is not held tighter than 2 %.
func TestSaturatedHumidityRatioAgainstRealAir(t *testing.T) {
	for celsius, w := range map[quantity.Celsius]float64{5: 0.005425, 25: 0.020173, 50: 0.086863, 85: 0.838105} {
		perfect := moistair.HumidityRatio(psychrometer.SaturationPressure(celsius), psychrometer.StandardPressure)
		assert.InEpsilon(t, w, perfect, 0.02, "at %v", celsius)
		assert.Less(t, perfect, w)
	}
}

// Comparison of the thermodynamic wet bulb with the psychrometer equation,
// 101325 Pa, evaluated with PsychroLib 2.5.0 (JavaScript port 1.1.1): RH in %.
func TestPsychrometerEquationAgainstThermodynamicWetBulb(t *testing.T) {
	p := psychrometer.StandardPressure
	for _, row := range [][7]float64{
		// dry, wet, thermodynamic, WMO coefficient, 6.62e-4, 8.0e-4, 1.2e-3
		{20, 15, 58.92, 58.57, 58.58, 55.59, 46.93},
		{30, 20, 39.68, 39.21, 39.28, 35.99, 26.45},
		{55, 35, 27.54, 27.04, 27.20, 25.42, 20.28},
		{60, 45, 43.38, 42.91, 43.06, 42.00, 38.96},
		{65, 40, 23.13, 22.63, 22.79, 21.39, 17.35},
		{75, 55, 37.75, 37.23, 37.36, 36.64, 34.54},
		{80, 45, 15.61, 15.14, 15.28, 14.25, 11.26},
		{80, 60, 39.65, 39.12, 39.24, 38.65, 36.94},
		{85, 70, 52.60, 52.09, 52.18, 51.81, 50.76},
		{90, 50, 14.11, 13.65, 13.77, 12.98, 10.67},
		{95, 60, 21.20, 20.68, 20.80, 20.22, 18.54},
	} {
		dry, wet := quantity.Celsius(row[0]), quantity.Celsius(row[1])
		w := moistair.HumidityRatioAt(dry, wet, p)
		thermodynamic := moistair.RelativeHumidity(dry, moistair.VapourPressure(w, p))
		assert.InDelta(t, row[2], 100*float64(thermodynamic), 0.006, "%v/%v", dry, wet)
		for i, a := range []float64{
			psychrometer.Ventilated(wet), psychrometer.Aspirated,
			psychrometer.NaturallyVentilated, psychrometer.Unventilated,
		} {
			h, ok := psychrometer.Humidity(dry, wet, p, a)
			require.True(t, ok)
			assert.InDelta(t, row[3+i], 100*float64(h), 0.006, "%v/%v, coefficient %v", dry, wet, a)
		}
	}
	// At 500 m the same pair of 75/55 °C means 37.96 % instead of 37.75 %.
	w := moistair.HumidityRatioAt(75, 55, 95461)
	assert.InDelta(t, 37.96, 100*float64(moistair.RelativeHumidity(75, moistair.VapourPressure(w, 95461))), 0.006)
}

func TestPublishedPsychrometerExamples(t *testing.T) {
	// MetPy documentation: 958 hPa, 25 °C dry, 12 °C wet, coefficient 6.21e-4.
	e := psychrometer.VapourPressureAt(25, 12, 95800, 6.21e-4)
	assert.InEpsilon(t, 627.52, e, 0.005)
	assert.InDelta(t, 19.84, 100*float64(moistair.RelativeHumidity(25, e)), 0.1)
	// FAO 56 example 4 (from memory): 25.6/19.5 °C at 87.9 kPa.
	assert.InDelta(t, 1912, psychrometer.VapourPressureAt(25.6, 19.5, 87900, psychrometer.Aspirated), 3)
	// Trade pairs in °F, made with Buck's saturation pressure and 6.62e-4; ±1 % RH
	// between formulas.
	for _, row := range [][3]float64{
		{110, 100, 70.2}, {140, 115, 46.2}, {160, 130, 43.5}, {170, 125, 28.4}, {170, 130, 33.5}, {180, 160, 61.7},
	} {
		h, ok := psychrometer.Humidity(quantity.FromFahrenheit(row[0]), quantity.FromFahrenheit(row[1]), 101325, psychrometer.Aspirated)
		require.True(t, ok)
		assert.InDelta(t, row[2], 100*float64(h), 1, "%v/%v °F", row[0], row[1])
	}
}

// Ohio University steam table, kJ/kg.
func TestLatentHeatAgainstSteamTable(t *testing.T) {
	for celsius, kilojoules := range map[quantity.Celsius]float64{
		20: 2453.5, 40: 2406.0, 50: 2382.0, 60: 2357.6, 80: 2308.0, 90: 2282.5,
	} {
		limit := 0.002
		if celsius > 80 {
			limit = 0.003
		}
		assert.InEpsilon(t, kilojoules*1e3, psychrometer.LatentHeat(celsius), limit, "at %v", celsius)
	}
}

// ASHRAE Fundamentals 2017 chapter 1, Table 1: standard atmosphere.
func TestStandardPressure(t *testing.T) {
	for meters, pascal := range map[quantity.Meters]float64{0: 101325, 500: 95461, 1000: 89875} {
		assert.InDelta(t, pascal, psychrometer.PressureAt(meters), 1)
	}
}

// The table at the coefficients: the wet bulb that one coefficient and pressure give,
// read with another.
func TestWrongAssumptions(t *testing.T) {
	type wick struct{ coefficient, pascal float64 } // a coefficient of 0 is Ventilated
	of := func(w wick, wet quantity.Celsius) float64 {
		if w.coefficient == 0 {
			return psychrometer.Ventilated(wet)
		}
		return w.coefficient
	}
	airs := [][2]float64{{30, 0.6}, {55, 0.3}, {75, 0.2}, {75, 0.4}, {85, 0.6}}
	sea, high := psychrometer.StandardPressure, psychrometer.PressureAt(1500)
	for _, row := range []struct {
		name           string
		truth, assumed wick
		want           [5]float64
	}{
		{"still, Ventilated", wick{psychrometer.Unventilated, sea}, wick{0, sea}, [5]float64{6.4, 5.6, 3.7, 2.4, 1.0}},
		{"still, NaturallyVentilated", wick{psychrometer.Unventilated, sea}, wick{psychrometer.NaturallyVentilated, sea}, [5]float64{4.8, 4.3, 2.9, 1.9, 0.8}},
		{"1 m/s, Ventilated", wick{psychrometer.NaturallyVentilated, sea}, wick{0, sea}, [5]float64{1.8, 1.5, 0.9, 0.5, 0.2}},
		{"blown, Unventilated", wick{0, sea}, wick{psychrometer.Unventilated, sea}, [5]float64{-7.8, -6.3, -4.0, -2.5, -1.0}},
		{"1500 m, sea level", wick{0, high}, wick{0, sea}, [5]float64{-1.7, -1.4, -0.9, -0.6, -0.2}},
	} {
		for i, air := range airs {
			dry := quantity.Celsius(air[0])
			e := air[1] * psychrometer.SaturationPressure(dry)
			low, up := quantity.Celsius(-20), dry
			for range 60 {
				wet := (low + up) / 2
				if psychrometer.VapourPressureAt(dry, wet, row.truth.pascal, of(row.truth, wet)) > e {
					up = wet
				} else {
					low = wet
				}
			}
			got, ok := psychrometer.Humidity(dry, low, row.assumed.pascal, of(row.assumed, low))
			require.True(t, ok, row.name)
			assert.InDelta(t, row.want[i], 100*(float64(got)-air[1]), 0.06, "%s, %v", row.name, air)
		}
	}
}

func TestHumidityRefusesImpossiblePairs(t *testing.T) {
	nan := quantity.Celsius(math.NaN())
	for _, pair := range [][2]quantity.Celsius{{60, 60.5}, {90, 20}, {nan, 20}, {60, nan}} {
		_, ok := psychrometer.Humidity(pair[0], pair[1], psychrometer.StandardPressure, psychrometer.Aspirated)
		assert.False(t, ok, "%v/%v", pair[0], pair[1])
	}
	h, ok := psychrometer.Humidity(60, 60, psychrometer.StandardPressure, psychrometer.Aspirated)
	assert.True(t, ok)
	assert.InDelta(t, 1, float64(h), 1e-12)
	assert.True(t, math.IsNaN(float64(psychrometer.DewPoint(0))))
}

func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dry := quantity.Celsius(rapid.Float64Range(1, 140).Draw(t, "dry"))
		p := rapid.Float64Range(70000, 105000).Draw(t, "pascal")
		ceiling := min(1, p/psychrometer.SaturationPressure(dry)) // above the boiling point air cannot be saturated
		e := rapid.Float64Range(0.01, 0.98).Draw(t, "share") * ceiling * psychrometer.SaturationPressure(dry)
		w := moistair.HumidityRatio(e, p)
		dew := psychrometer.DewPoint(e)
		if math.Abs(psychrometer.SaturationPressure(dew)/e-1) > 1e-9 {
			t.Fatalf("dew point %v does not give back %v Pa", dew, e)
		}
		wet := moistair.WetBulb(dry, w, p)
		if back := moistair.HumidityRatioAt(dry, wet, p); math.Abs(back-w) > 1e-6*(w+0.01) {
			t.Fatalf("wet bulb %v gives W %v instead of %v", wet, back, w)
		}
		if wet > dry || wet < dew-0.05 && dew > 0 {
			t.Fatalf("dry %v, wet %v, dew %v out of order", dry, wet, dew)
		}
	})
}

// ASHRAE Fundamentals 2017 chapter 1, Example 1, read off a chart: 40 °C dry,
// 20 °C wet, 101.325 kPa give W 0.0065 (±0.0001), RH 14 %, dew point 7 °C.
func TestPublishedChartExample(t *testing.T) {
	p := psychrometer.StandardPressure
	w := moistair.HumidityRatioAt(40, 20, p)
	e := moistair.VapourPressure(w, p)
	assert.InDelta(t, 0.0065, w, 0.0001)
	assert.InDelta(t, 0.14, float64(moistair.RelativeHumidity(40, e)), 0.005)
	assert.InDelta(t, 7.43, float64(psychrometer.DewPoint(e)), 0.01) // by formula
}

// The same air, worked: what a chamber at 40 °C with a wick at 20 °C holds.
func Example() {
	p := psychrometer.StandardPressure
	w := moistair.HumidityRatioAt(40, 20, p)
	e := moistair.VapourPressure(w, p)
	fmt.Printf("W %.4f, RH %.0f %%, dew point %.0f °C\n", w, 100*moistair.RelativeHumidity(40, e), psychrometer.DewPoint(e))
	// Output: W 0.0064, RH 14 %, dew point 7 °C
}

// A wet bulb of 55 °C in a chamber at 75 °C. The wick decides which coefficient
// holds: in nearly still air the same pair means drier air.
func ExampleHumidity() {
	for _, coefficient := range []float64{psychrometer.Aspirated, psychrometer.Unventilated} {
		h, ok := psychrometer.Humidity(75, 55, psychrometer.StandardPressure, coefficient)
		fmt.Printf("%.1f %% %v\n", 100*h, ok)
	}
	_, ok := psychrometer.Humidity(75, 78, psychrometer.StandardPressure, psychrometer.Aspirated)
	fmt.Println("wet bulb above the dry one:", ok)
	// Output:
	// 37.4 % true
	// 34.5 % true
	// wet bulb above the dry one: false
}
