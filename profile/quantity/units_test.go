package quantity

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func ExampleUnits() {
	u, _ := ParseUnits("F, lb")
	fmt.Println(u.Temperature(71.1), u.Difference(2), u.Mass(5))
	fmt.Println(u.Text("core from 10 to 54.4 °C in 3 h, 12 g of cure in 4.5 kg"))
	// Output:
	// 160 °F 3.6 °F 11 lb 0.4 oz
	// core from 50 to 130 °F in 3 h, 0.423 oz of cure in 9 lb 14.7 oz
}

var american = Units{Fahrenheit: true, Pounds: true}

func TestParseUnits(t *testing.T) {
	for text, want := range map[string]Units{
		"C": {}, "kg": {}, "°C,kg": {}, "F": {Fahrenheit: true}, "°F": {Fahrenheit: true}, "\u2109": {Fahrenheit: true}, "lb": {Pounds: true},
		"F,lb": american, "lb °F": american, " F,  lb ": american, "F,kg": {Fahrenheit: true}, "C lb": {Pounds: true},
	} {
		got, err := ParseUnits(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
		again, err := ParseUnits(got.String())
		require.NoError(t, err)
		assert.Equal(t, got, again)
	}
	for text, want := range map[string]string{
		"":       "no units are named; write C or F, kg or lb, or one of each as in F,lb",
		"F,C":    `"F,C" names two units for the same; write C or F, kg or lb, or one of each as in F,lb`,
		"lb lb":  `"lb lb" names two units for the same; write C or F, kg or lb, or one of each as in F,lb`,
		"kelvin": `there are no units "kelvin"; write C or F, kg or lb, or one of each as in F,lb`,
	} {
		_, err := ParseUnits(text)
		assert.EqualError(t, err, want)
	}
}

// TestShownInFahrenheit holds what is shown against the paired headings of FSIS Appendix A
// (1999) and Appendix B as quoted in profile/chilling, and the fixed points of the scale.
func TestShownInFahrenheit(t *testing.T) {
	for celsius, fahrenheit := range map[string]string{
		"54.4 °C": "130 °F", "62.8 °C": "145 °F", "71.1 °C": "160 °F", "26.7 °C": "80 °F", "4.4 °C": "40 °F", "48.9 °C": "120 °F",
		"12.8 °C": "55 °F", "57.2 °C": "135 °F", "21.1 °C": "70 °F", "7.2 °C": "45 °F", "73.9 °C": "165 °F",
		"0 °C": "32 °F", "0.0 °C": "32.0 °F", "100 °C": "212 °F", "-40 °C": "-40 °F", "−17.8 °C": "0 °F",
		"54 °C": "129.2 °F", "54.3 °C": "129.7 °F", "54.5 °C": "130.1 °F", "74 °C": "165.2 °F",
	} {
		assert.Equal(t, fahrenheit, american.Text(celsius))
	}
}

// Figures that differ in °C differ in °F in the same order: none reaches a limit in °F
// that it does not reach in °C.
func TestOrderIsKept(t *testing.T) {
	read := func(text string) float64 {
		v, err := strconv.ParseFloat(strings.TrimSuffix(text, " °F"), 64)
		require.NoError(t, err)
		return v
	}
	last := math.Inf(-1)
	for tenths := -2000; tenths <= 4000; tenths++ {
		text := Celsius(float64(tenths) / 10).String()
		v := read(american.Text(text))
		require.Greater(t, v, last, text)
		last = v
	}
}

// What was measured below a limit is never shown at it, from whichever side is safe.
func TestRoundsToTheSafeSide(t *testing.T) {
	u := Units{Fahrenheit: true}
	assert.Equal(t, "129.9 °F", u.AtLeast(FromFahrenheit(129.96)))
	assert.Equal(t, "130.0 °F", u.AtLeast(FromFahrenheit(130)))
	assert.Equal(t, "40.1 °F", u.AtMost(FromFahrenheit(40.04)))
	assert.Equal(t, "40.0 °F", u.AtMost(FromFahrenheit(40)))
	assert.Equal(t, "54.4 °C", Units{}.AtLeast(FromFahrenheit(129.96)), "as ever")
	rapid.Check(t, func(t *rapid.T) {
		limit := float64(rapid.IntRange(-40, 400).Draw(t, "limit"))
		off := rapid.Float64Range(1e-4, 5).Draw(t, "off")
		shown := func(text string) float64 {
			v, _ := strconv.ParseFloat(strings.TrimSuffix(text, " °F"), 64)
			return v
		}
		if got := shown(u.AtLeast(FromFahrenheit(limit - off))); got >= limit {
			t.Fatalf("%v below %v is shown as %v", off, limit, got)
		}
		if got := shown(u.AtMost(FromFahrenheit(limit + off))); got <= limit {
			t.Fatalf("%v above %v is shown as %v", off, limit, got)
		}
	})
}

func TestText(t *testing.T) {
	for text, want := range map[string]string{
		"core 54.4 °C (129.9 °F), 4 °C at the end":         "core 129.9 °F, 39.2 °F at the end",
		"from 10.0 to 54.4 °C (50 to 130 °F): met":         "from 50 to 130 °F: met",
		"chamber 54.3 / 60.1 °C":                           "chamber 129.7 / 140.2 °F",
		"ramp 30 °C/h, at most 0.5 K/min":                  "ramp 54 °F/h, at most 0.9 °F/min",
		"2.3 K over, 0.25 K rms, ±1 K":                     "4.1 °F over, 0.45 °F rms, ±1.8 °F",
		"4 kg hung, 500 g, 85 g, 12.5 g":                   "8 lb 13.1 oz hung, 1 lb 1.6 oz, 3 oz, 0.441 oz",
		"4 to 6 kg":                                        "8 lb 13.1 oz to 13 lb 3.6 oz",
		"1.2 g/mL, 40 kg/m³, 0.4 W/K, 12 W/m²K, 5 kWh":     "1.2 g/mL, 40 kg/m³, 0.4 W/K, 12 W/m²K, 5 kWh",
		"cure no. 1 in 2 kgs, type K, cook2-open@1h=-15K":  "cure no. 1 in 2 kgs, type K, cook2-open@1h=-15K",
		`"55.5 °C" is written; 55.5 °C is meant`:           `"55.5 °C" is written; 131.9 °F is meant`,
		"\"68 °C\n68 °C":                                   "\"68 °C\n154.4 °F",
		"8°C, 5kg":                                         "46.4 °F, 11 lb 0.4 oz",
		"150 ppm, 38 mm, 60 %, 2 h, 12 g, 0 g":             "150 ppm, 38 mm, 60 %, 2 h, 0.423 oz, 0 oz",
		"core at least 67.8 °C, chamber at most 3.3 °C":    "core at least 154.1 °F, chamber at most 37.9 °F",
		"67.8 °C or more; 3.3 °C or colder; 67.8 °C":       "154.1 °F or more; 37.9 °F or colder; 154 °F",
		"at least 54.4 °C, below 4.4 °C, limit 71.1 °C":    "at least 130 °F, below 40 °F, limit 160 °F",
		"2026-11-28 °C":                                    "2026-11-28 °C",
		"the rest in water of 80–90 °C (as quoted), 72 °C": "the rest in water of 176–194 °F (as quoted), 161.6 °F",
	} {
		assert.Equal(t, want, american.Text(text))
		assert.Equal(t, text, Units{}.Text(text), "nothing changes what nobody asked for")
	}
	assert.Equal(t, "154.4 °F, 5 kg", Units{Fahrenheit: true}.Text("68 °C, 5 kg"))
	assert.Equal(t, "68 °C, 11 lb 0.4 oz, 2 K", Units{Pounds: true}.Text("68 °C, 5 kg, 2 K"))
}

func TestWriter(t *testing.T) {
	var b bytes.Buffer
	assert.Same(t, &b, Units{}.Writer(&b))
	w := american.Writer(&b)
	n, err := fmt.Fprint(w, "68 °C\n")
	require.NoError(t, err)
	assert.Equal(t, len("68 °C\n"), n)
	fmt.Fprint(Raw(w), "68 °C\n")
	assert.Equal(t, "154.4 °F\n68 °C\n", b.String())
	assert.Equal(t, american, UnitsOf(w))
	assert.Equal(t, Units{}, UnitsOf(&b))
	assert.Same(t, &b, Raw(&b))
}

// What is shown reads back as itself, within the last digit shown.
func TestUnitsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		degrees := rapid.Float64Range(-200, 500).Draw(t, "°C")
		got, err := ParseTemperature(american.Temperature(Celsius(degrees)))
		if err != nil || math.Abs(float64(got)-degrees) > 0.05*5/9+1e-9 {
			t.Fatalf("%v: %v, %v", degrees, got, err)
		}
		k := rapid.Float64Range(-50, 50).Draw(t, "K")
		d, err := ParseTemperatureDifference(american.Difference(Kelvin(k)))
		if err != nil || math.Abs(float64(d)-k) > 0.005*5/9+1e-9 {
			t.Fatalf("%v: %v, %v", k, d, err)
		}
		r, err := ParseRate(american.Rate(KelvinPerSecond(k / 3600)))
		if err != nil || math.Abs(float64(r)*3600-k) > 0.05*5/9+1e-9 {
			t.Fatalf("%v: %v, %v", k, r, err)
		}
		kg := math.Exp(rapid.Float64Range(math.Log(0.0015), math.Log(500)).Draw(t, "ln kg"))
		text := american.Mass(Kilograms(kg))
		m, err := ParseMass(text)
		if err != nil || math.Abs(float64(m)-kg) > 0.01*kg {
			t.Fatalf("%v shown as %s: %v, %v", kg, text, m, err)
		}
		if again := american.Mass(m); again != text {
			t.Fatalf("%s read and shown again is %s", text, again)
		}
	})
}

// FuzzUnitsText holds for any text: no panic, no word that is not about a figure is lost,
// and the usual units change nothing.
func FuzzUnitsText(f *testing.F) {
	for _, s := range []string{"68 °C", "4 to 6 kg", "54.4 °C (130 °F)", "1 K/min", "\xff5 g", "9 °C/h/°C", `"5 g" 5 g`, "−−5 °C", "99999999999999999999999999999999 kg"} {
		f.Add(s)
	}
	words := regexp.MustCompile(`[a-zA-Z]{5,}`)
	f.Fuzz(func(t *testing.T, text string) {
		if Units := (Units{}); Units.Text(text) != text {
			t.Fatal("changed")
		}
		got := american.Text(text)
		if utf8.ValidString(text) && !utf8.ValidString(got) {
			t.Fatalf("%q became %q", text, got)
		}
		if want := words.FindAllString(text, -1); !assert.ObjectsAreEqual(want, words.FindAllString(got, -1)) {
			t.Fatalf("%q became %q", text, got)
		}
	})
}
