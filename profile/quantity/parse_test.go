package quantity

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func ExampleParseTemperature() {
	t, _ := ParseTemperature("154 °F")
	fmt.Println(t)
	_, err := ParseTemperature("55,5 °C")
	fmt.Println(err)
	_, err = ParseTemperature("68")
	fmt.Println(err)
	// Output:
	// 67.8 °C
	// "55,5 °C" has a decimal comma; write 55.5 °C
	// missing unit in "68"; write 68 °C or 68 °F
}

func ExampleParseDuration() {
	for _, text := range []string{"2 h 30 min", "1h10m", "90 s"} {
		d, err := ParseDuration(text)
		fmt.Println(d, err)
	}
	// Output:
	// 2h30m0s <nil>
	// 1h10m0s <nil>
	// 1m30s <nil>
}

// readers gives every parser one shape, with its result in SI.
var readers = map[string]func(string) (float64, error){
	"temperature": func(s string) (float64, error) { v, err := ParseTemperature(s); return float64(v), err },
	"difference":  func(s string) (float64, error) { v, err := ParseTemperatureDifference(s); return float64(v), err },
	"rate":        func(s string) (float64, error) { v, err := ParseRate(s); return float64(v), err },
	"length":      func(s string) (float64, error) { v, err := ParseLength(s); return float64(v), err },
	"area":        func(s string) (float64, error) { v, err := ParseArea(s); return float64(v), err },
	"mass":        func(s string) (float64, error) { v, err := ParseMass(s); return float64(v), err },
	"ratio":       func(s string) (float64, error) { v, err := ParseRatio(s); return float64(v), err },
	"power":       func(s string) (float64, error) { v, err := ParsePower(s); return float64(v), err },
	"flow":        func(s string) (float64, error) { v, err := ParseFlow(s); return float64(v), err },
	"duration":    func(s string) (float64, error) { v, err := ParseDuration(s); return v.Seconds(), err },
	"number":      ParseNumber,
	"spoons":      func(s string) (float64, error) { v, err := ParseMassOrSpoons(s); return float64(v), err },
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		kind, text string
		want       float64
	}{
		// The equality of the two scales in FSIS Appendix A (1999), whose table heads
		// give 130 °F as 54.4 °C and 160 °F as 71.1 °C, is held in TestFahrenheit.
		{"temperature", "68 °C", 68},
		{"temperature", "68°C", 68},
		{"temperature", "-18 °C", -18},
		{"temperature", "\u221218\u00a0°C", -18}, // minus sign and no-break blank
		{"temperature", "+4 °C", 4},
		{"temperature", "32 °F", 0},
		{"temperature", "155 F", (155 - 32) * 5. / 9},
		{"temperature", "68C", 68},
		{"temperature", "212 °F", 100},
		{"temperature", "-40 °F", -40},
		{"temperature", "-459.67 °F", -273.15},
		{"temperature", "68 ℃", 68},
		{"temperature", "68 º" + "C", 68},
		{"temperature", "0.0 °C", 0},
		{"temperature", "-0 °C", 0},
		{"difference", "0.4 K", 0.4},
		{"difference", "0.4 °C", 0.4},
		{"difference", "-1.8 °F", -1},
		{"difference", "10°F", 50. / 9},
		{"difference", "9 F", 5},
		{"rate", "36 F/h", 20. / 3600},
		{"rate", "20 °C/h", 20. / 3600},
		{"rate", "20 K/h", 20. / 3600},
		{"rate", "36 °F/h", 20. / 3600},
		{"rate", "0.5 K/min", 0.5 / 60},
		{"length", "21 mm", 0.021},
		{"length", "2.1cm", 0.021},
		{"length", "0.5 m", 0.5},
		{"length", "1.5 in", 0.0381},
		{"mass", "4kg", 4},
		{"mass", "12.5 g", 0.0125},
		// International avoirdupois pound and ounce, agreement of 1959 (recalled from memory).
		{"mass", "1 lb", 0.45359237},
		{"mass", "40 oz", 2.5 * 0.45359237},
		{"mass", "5 lbs", 5 * 0.45359237},
		{"mass", "11 lbs 4 oz", 11.25 * 0.45359237},
		{"mass", "16 oz", 0.45359237},
		{"mass", "11 lb 4 oz", 11.25 * 0.45359237},
		{"mass", "11lb4oz", 11.25 * 0.45359237},
		{"mass", "11 lb  4.0 oz", 11.25 * 0.45359237}, // as the make sheet lines it up
		{"mass", "0 lb 8 oz", 0.45359237 / 2},
		{"mass", "1 kg 250 g", 1.25},
		{"spoons", "12.5 g", 0.0125},
		// US teaspoon 4.929 mL and tablespoon 14.787 mL: NIST Handbook 44, Appendix C
		// (recalled from memory); a gallon of 231 in³ is 768 teaspoons, 256 tablespoons.
		{"spoons", "1 tsp at 1 g/mL", 231 * 16.387064e-3 / 768},
		{"spoons", "1 tbsp at 1 g/mL", 231 * 16.387064e-3 / 256},
		{"spoons", "768 tsp at 1 g/mL", 3.785411784},
		{"spoons", "1.5tbsp at 0.5 g/ml", 231 * 16.387064e-3 / 256 * 0.75},
		{"spoons", "0 tsp at 1.2 g/mL", 0},
		{"ratio", "60 %", 0.6},
		{"ratio", "6.25%", 0.0625},
		{"ratio", "120 %", 1.2},
		{"power", "1500 W", 1500},
		{"power", "1.5 kW", 1500},
		{"area", "16 cm²", 16e-4},
		{"area", "16cm2", 16e-4},
		{"area", "0.01 m²", 0.01},
		{"area", "2 in²", 2 * 0.0254 * 0.0254},
		{"flow", "4 m³/h", 4. / 3600},
		{"flow", "4 m3/h", 4. / 3600},
		{"flow", "60 L/min", 1e-3},
		{"flow", "1 L/s", 1e-3},
		{"duration", "2 h 30 min", 9000},
		{"duration", "45 min", 2700},
		{"duration", "12 h", 43200},
		{"duration", "90 s", 90},
		{"duration", "2 d", 172800},
		{"duration", "1h10m", 4200},
		{"duration", "2m", 120},
		{"duration", "1d2h3min4s", 93784},
		{"duration", "0.172min", 10.32},
		{"duration", "0 s", 0},
		{"number", "6.5", 6.5},
		{"number", " 7 ", 7},
	} {
		got, err := readers[c.kind](c.text)
		require.NoError(t, err, c.text)
		assert.InDelta(t, c.want, got, 1e-12*math.Max(1, math.Abs(c.want)), c.text)
		assert.False(t, math.Signbit(got) && got == 0, "%s: minus zero", c.text)
	}
}

// TestParseExactly holds that a metric quantity reads as the constant that a
// programmer would write, to the last bit.
func TestParseExactly(t *testing.T) {
	for text, want := range map[string]float64{"21 mm": 0.021, "250 mm": 0.25, "45 mm": 0.045, "7 cm": 0.07} {
		got, err := ParseLength(text)
		require.NoError(t, err)
		assert.Equal(t, Meters(want), got, text)
	}
	mass, err := ParseMass("85 g")
	require.NoError(t, err)
	assert.Equal(t, Kilograms(0.085), mass)
	ratio, err := ParseRatio("74 %")
	require.NoError(t, err)
	assert.Equal(t, Ratio(0.74), ratio)
}

// TestFahrenheit holds the conversion against the paired headings of the time and
// temperature tables of FSIS Appendix A (1999): 130 °F 54.4 °C, 145 °F 62.8 °C,
// 160 °F 71.1 °C.
func TestFahrenheit(t *testing.T) {
	for fahrenheit, celsius := range map[string]string{"130 °F": "54.4 °C", "145 °F": "62.8 °C", "160 °F": "71.1 °C"} {
		got, err := ParseTemperature(fahrenheit)
		require.NoError(t, err)
		assert.Equal(t, celsius, got.String())
	}
}

// TestSpoons holds the spoons against the rounded figures that packages and kitchen
// tables print: 4.93 and 14.79 mL (recalled from memory).
func TestSpoons(t *testing.T) {
	for text, grams := range map[string]float64{"1 tsp at 1 g/mL": 4.93, "1 tbsp at 1 g/mL": 14.79} {
		got, err := ParseMassOrSpoons(text)
		require.NoError(t, err)
		assert.InDelta(t, grams, float64(got)*1000, 0.005, text)
	}
}

func TestParseErrors(t *testing.T) {
	for _, c := range []struct{ kind, text, want string }{
		{"temperature", "68", `missing unit in "68"; write 68 °C or 68 °F`},
		{"temperature", "68 c", `unknown unit "c" in "68 c"; write the number with °C or °F`},
		{"temperature", "155 f", `unknown unit "f" in "155 f"; write the number with °C or °F`},
		{"temperature", "68 °K", `unknown unit "°K" in "68 °K"; write the number with °C or °F`},
		{"temperature", "55,5 °C", `"55,5 °C" has a decimal comma; write 55.5 °C`},
		{"temperature", "055 °C", `"055 °C" has a leading zero; write 55 °C`},
		{"temperature", "00 °C", `"00 °C" has a leading zero; write 0 °C`},
		{"temperature", ".5 °C", `".5 °C" starts with a point; write 0.5 °C`},
		{"temperature", "5. °C", `"5. °C" has nothing after the point; write 5 °C`},
		{"temperature", "1.2.3 °C", `"1.2.3 °C" has two points in the number; write the number with one point`},
		{"temperature", "5e1 °C", `"5e1 °C" has an exponent; write the number out in digits`},
		{"temperature", "NaN", `"NaN" is not a finite number; write a number`},
		{"temperature", ".inf", `".inf" is not a finite number; write a number`},
		{"temperature", "-Inf °C", `"-Inf °C" is not a finite number; write a number`},
		{"temperature", "warm", `"warm" does not start with a number; write a number and a unit`},
		{"temperature", "", `"" is empty; write a number and a unit`},
		{"temperature", "68 °C and more", `unknown unit "°C and more" in "68 °C and more"; write the number with °C or °F`},
		{"temperature", "-300 °C", `"-300 °C" is below absolute zero, -273.15 °C; write a temperature that exists`},
		{"mass", "1,500 g", `"1,500 g" has a comma in the number; write 1.500 g, or 1500 g if the comma was to part thousands`},
		{"mass", "1,500,000 g", `"1,500,000 g" has a comma in the number; write the number with a point and without commas`},
		{"mass", "0,125 kg", `"0,125 kg" has a decimal comma; write 0.125 kg`},
		{"mass", "4 oz 11 lb", `"4 oz 11 lb" has lb after oz; write one unit, or two as in 11 lb 4 oz or 1 kg 250 g`},
		{"mass", "11 lb 4 lb", `"11 lb 4 lb" has lb after lb; write one unit, or two as in 11 lb 4 oz or 1 kg 250 g`},
		{"mass", "11 lb 100 g", `"11 lb 100 g" has g after lb; write one unit, or two as in 11 lb 4 oz or 1 kg 250 g`},
		{"mass", "1 lb 2 oz 3 oz", `unknown unit "oz 3 oz" in "2 oz 3 oz"; write the number with g, kg, oz or lb`},
		{"mass", "11 lb 4", `missing unit in "4"; write 4 g or 4 kg`},
		{"mass", "11 lb 4,5 oz", `"4,5 oz" has a decimal comma; write 4.5 oz`},
		{"mass", "-1 lb 4 oz", `"-1 lb" is negative; write 0 lb or more`},
		{"mass", "1 500 g", `unknown unit "500 g" in "1 500 g"; write the number with g, kg, oz or lb`},
		{"mass", "-1 kg", `"-1 kg" is negative; write 0 kg or more`},
		{"mass", "4 KG", `unknown unit "KG" in "4 KG"; write the number with g, kg, oz or lb`},
		{"mass", "2 tsp", `"2 tsp" is a volume; weigh it and write the mass in g, kg, oz or lb`},
		{"mass", "2 tsp at 1.2 g/mL", `"2 tsp at 1.2 g/mL" is a volume; weigh it and write the mass in g, kg, oz or lb`},
		{"spoons", "2 tsp", `"2 tsp" is a volume without a density; weigh it and write g, or add the density, as in 2 tsp at 1.2 g/mL`},
		{"spoons", "2 tbsp of salt", `"2 tbsp of salt" is a volume without a density; weigh it and write g, or add the density, as in 2 tbsp at 1.2 g/mL`},
		{"spoons", "2 tsp at 1.2", `missing unit in "1.2"; write 1.2 g/mL`},
		{"spoons", "2 tsp at 1,2 g/mL", `"1,2 g/mL" has a decimal comma; write 1.2 g/mL`},
		{"spoons", "2 tsp at 1.2 kg/L", `unknown unit "kg/L" in "1.2 kg/L"; write the number with g/mL`},
		{"spoons", "2 tsp at 12 g/mL", `"2 tsp at 12 g/mL" has a density outside 0.03 to 3 g/mL; weigh a spoonful and correct it`},
		{"spoons", "2 tsp at 0 g/mL", `"2 tsp at 0 g/mL" has a density outside 0.03 to 3 g/mL; weigh a spoonful and correct it`},
		{"spoons", "-1 tsp at 1 g/mL", `"-1 tsp at 1 g/mL" is negative; write 0 tsp or more`},
		{"spoons", "2 cups", `unknown unit "cups" in "2 cups"; write the number with g, kg, oz or lb`},
		{"length", "250", `missing unit in "250"; write 250 mm or 250 cm`},
		{"length", "2 ft", `unknown unit "ft" in "2 ft"; write the number with mm, cm, m or in`},
		{"ratio", "60", `missing unit in "60"; write 60 %`},
		{"rate", "20 °C", `unknown unit "°C" in "20 °C"; write the number with °C/h, °C/min, K/h, K/min, °F/h or °F/min`},
		{"power", "1.5 KW", `unknown unit "KW" in "1.5 KW"; write the number with W or kW`},
		{"area", "4", `missing unit in "4"; write 4 cm² or 4 m²`},
		{"flow", "4", `missing unit in "4"; write 4 m³/h or 4 L/min`},
		{"duration", "45", `missing unit in "45"; write 45 h or 45 min`},
		{"duration", "-5 min", `"-5 min" is negative; write a time of 0 s or more`},
		{"duration", "30 min 2 h", `"30 min 2 h" has h after min; write each unit once, the larger first, as in 2 h 30 min`},
		{"duration", "1 h 2 h", `"1 h 2 h" has h after h; write each unit once, the larger first, as in 2 h 30 min`},
		{"duration", "1 min 2 m", `"1 min 2 m" has m after min; write each unit once, the larger first, as in 2 h 30 min`},
		{"duration", "2 h 30", `missing unit in "2 h 30"; write 30 h or 30 min`},
		{"duration", "1:30", `"1:30" is written like a clock; write hours and minutes as 2 h 30 min`},
		{"duration", "2 hours", `unknown unit "hours" in "2 hours"; write the number with d, h, min or s`},
		{"duration", "1 h -30 min", `"1 h -30 min" has a sign inside; write one time, as in 2 h 30 min`},
		{"duration", "99999999999999 d", `"99999999999999 d" is longer than a hundred years; write a shorter time`},
		{"number", "6.5 log", `"6.5 log" has something after the number; write the bare number 6.5`},
		{"number", strings.Repeat("9", 90), ""},
		{"number", strings.Repeat("9", 400), `"9999999999999999999999999999999999999999…" is too long for a quantity; write a number and a unit`},
	} {
		_, err := readers[c.kind](c.text)
		if c.want == "" {
			assert.NoError(t, err, c.text)
			continue
		}
		var bad *ParseError
		if assert.ErrorAs(t, err, &bad, c.text) {
			assert.Equal(t, c.want, err.Error())
			assert.NotEmpty(t, bad.Remedy)
		}
	}
}

// No unit is written with a minus sign on a zero.
func TestNoMinusSignOnAZero(t *testing.T) {
	for want, got := range map[string]string{
		"0 °C": Celsius(-0.04).String(), "0 K": Kelvin(-0.004).String(), "0 mm": Meters(-0.00004).String(), "0 g": Kilograms(-0.00004).String(),
		"0 W": Watts(-0.4).String(), "0 %": Ratio(-0.0004).String(), "0 °C/h": KelvinPerSecond(-0.00001).String(), "0 m³/h": CubicMetersPerSecond(-1e-7).String(), "0 cm²": SquareMeters(-1e-6).String(),
		"0 s": FormatDuration(-400 * time.Millisecond), "-1 s": FormatDuration(-500 * time.Millisecond),
		"0.0": Fixed(-0.04, 1), "0.00": Fixed(math.Copysign(0, -1), 2), "0": Fixed(-0.4, 0), "-0.1": Fixed(-0.06, 1), "-10.0": Fixed(-10, 1), "-100": Fixed(-100, 0), "20.0": Fixed(20, 1),
	} {
		assert.Equal(t, want, got)
	}
}

// TestRoundTrip holds that what String writes reads back as itself: the same text
// again, and within half of the last digit written.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		near := func(name string, low, high, half float64, text func(float64) string) {
			v := rapid.Float64Range(low, high).Draw(t, name)
			written := text(v)
			got, err := readers[name](written)
			if err != nil {
				t.Fatalf("%s: %v", written, err)
			}
			if math.Abs(got-v) > half*1.000001+1e-9*math.Abs(v) {
				t.Fatalf("%s read as %v, was %v", written, got, v)
			}
			if again := text(got); again != written {
				t.Fatalf("%s written again is %s", written, again)
			}
		}
		near("temperature", -200, 500, 0.05, func(v float64) string { return Celsius(v).String() })
		near("difference", -100, 100, 0.005, func(v float64) string { return Kelvin(v).String() })
		near("rate", -1, 1, 0.05/3600, func(v float64) string { return KelvinPerSecond(v).String() })
		near("length", 0, 10, 0.05e-3, func(v float64) string { return Meters(v).String() })
		near("area", 0, 10, 0.05e-4, func(v float64) string { return SquareMeters(v).String() })
		near("mass", 0, 0.9999, 0.05e-3, func(v float64) string { return Kilograms(v).String() })
		near("mass", 1, 1000, 0.5e-3, func(v float64) string { return Kilograms(v).String() })
		near("ratio", 0, 2, 0.05e-2, func(v float64) string { return Ratio(v).String() })
		near("power", 0, 1e5, 0.5, func(v float64) string { return Watts(v).String() })
		near("flow", 0, 10, 0.005/3600, func(v float64) string { return CubicMetersPerSecond(v).String() })

		d := time.Duration(rapid.Int64Range(0, int64(100*24*time.Hour)).Draw(t, "duration"))
		written := FormatDuration(d)
		got, err := ParseDuration(written)
		if err != nil {
			t.Fatalf("%s: %v", written, err)
		}
		half := 30 * time.Second
		if d < 10*time.Minute {
			half = time.Second / 2
		}
		if (got-d).Abs() > half || FormatDuration(got) != written {
			t.Fatalf("%v written as %s reads as %v", d, written, got)
		}
	})
}

// FuzzParse holds for every parser and any text: no panic; a finite value, or an
// error with a remedy.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"68 °C", "154 °F", "155 F", "11 lbs 4 oz", "40 oz", "2 h 30 min", "1h10m", "55,5", ".nan", "010", "1e999 g", "4 m³/h", "\xff", "9.9.9", "1 h\u00a02 min", "2 tsp at 1.2 g/mL", "1 tbsp at"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for name, read := range readers {
			v, err := read(text)
			if err == nil {
				if !Finite(v) {
					t.Fatalf("%s %q read as %v", name, text, v)
				}
				continue
			}
			var bad *ParseError
			if !errors.As(err, &bad) || bad.Message == "" || bad.Remedy == "" {
				t.Fatalf("%s %q: error without a remedy: %v", name, text, err)
			}
			if len(err.Error()) > 600 {
				t.Fatalf("%s: error of %d bytes", name, len(err.Error()))
			}
		}
	})
}
