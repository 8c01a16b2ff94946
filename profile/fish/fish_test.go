package fish

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile/quantity"
)

func TestKindOf(t *testing.T) {
	for _, c := range []struct {
		cuts []string
		want Kind
	}{
		{[]string{"Mackerel fillets"}, Mackerel}, {[]string{"mackerels, gutted"}, Mackerel}, {[]string{"salmon sides", "salmon bellies"}, Salmon},
		{[]string{"salmon", "trout"}, Unnamed}, {[]string{"salmon trout"}, Unnamed}, {[]string{"sides"}, Unnamed}, {nil, Unnamed},
		{[]string{"cod roe"}, CodRoe}, {[]string{"cod"}, Cod}, {[]string{"anchovies"}, Anchovy}, {[]string{"eels"}, Eel}, {[]string{"char"}, Char}, {[]string{"charcuterie"}, Unnamed},
	} {
		assert.Equal(t, c.want, KindOf(c.cuts), "%q", c.cuts)
	}
	for _, k := range Kinds() {
		assert.NotEmpty(t, k.String())
	}
}

// Tuna, mahi-mahi, marlin and bluefish: FDA hazards guide, ch. 7; mackerel, sardine, anchovy:
// FAO; herring: from memory.
func TestHistamine(t *testing.T) {
	for _, k := range Kinds() {
		switch k {
		case Tuna, MahiMahi, Marlin, Bluefish, Mackerel, Sardine, Anchovy, Herring:
			assert.NotEmpty(t, k.Histamine(), k.String())
		default:
			assert.Empty(t, k.Histamine(), k.String())
		}
	}
	assert.Contains(t, Herring.Histamine(), "from memory")
}

// Food Code 3-402.11 as WAC 246-215-03425: -20 °C 168 h; -35 °C until solid, then 15 h; or then
// -20 °C for 24 h.
func TestFreezing(t *testing.T) {
	for _, c := range []struct {
		f    Freezing
		want bool
	}{
		{Freezing{-20, -20, 168 * time.Hour}, true}, {Freezing{-20, -20, 167 * time.Hour}, false}, {Freezing{-18, -18, 1000 * time.Hour}, false}, {Freezing{-19, -20, 168 * time.Hour}, false},
		{Freezing{-35, -35, 15 * time.Hour}, true}, {Freezing{-35, -35, 14 * time.Hour}, false}, {Freezing{-35, -20, 24 * time.Hour}, true}, {Freezing{-35, -20, 23 * time.Hour}, false},
		{Freezing{-35, -18, 240 * time.Hour}, false}, {Freezing{-34, -34, 100 * time.Hour}, false}, {Freezing{-40, -38, 15 * time.Hour}, true},
	} {
		assert.Equal(t, c.want, c.f.Kills(), "%+v", c.f)
	}
}

// Salt / (salt + water): own sums.
func TestSaltInWater(t *testing.T) {
	for _, c := range []struct{ salt, water, want float64 }{{2.6, 68, 3.683}, {2.3, 66, 3.367}, {2.4, 65, 3.561}, {1.7, 66, 2.511}, {2.358, 65, 3.501}, {2.010, 65, 2.9995}} {
		assert.InDelta(t, c.want, float64(SaltInWater(quantity.Ratio(c.salt/100), quantity.Ratio(c.water/100)))*100, 5e-4)
	}
	assert.Zero(t, SaltInWater(0, 0))
}

// At most 90 °F for 20 h, or 50 °F for 24 h: Maine ch. 359.
func TestColdSmoking(t *testing.T) {
	f := quantity.FromFahrenheit
	hours := func(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
	type leg struct {
		fahrenheit, hours float64
		seen              bool
	}
	for name, c := range map[string]struct {
		legs   []leg
		broken string
		seen   bool
	}{
		"20 h at 90":             {[]leg{{90, 20, true}}, "", true},
		"20.1 h at 90":           {[]leg{{90, 20.1, true}}, "it hung for 20 h 6 min, of which 20 h 6 min above 10 °C", true},
		"24 h at 50":             {[]leg{{50, 24, true}}, "", true},
		"24.1 h at 50":           {[]leg{{50, 24.1, true}}, "it hung for 24 h 6 min", true},
		"a minute at 91":         {[]leg{{80, 5, true}, {91, 1. / 60, true}}, "the chamber was above 32.2 °C for 1 min", true},
		"21 h, an hour of it 60": {[]leg{{50, 20, true}, {60, 1, true}}, "it hung for 21 h, of which 1 h above 10 °C", true},
		"unseen for 4 min":       {[]leg{{70, 5, true}, {0, 4. / 60, false}}, "", true},
		"unseen for 6 min":       {[]leg{{70, 5, true}, {0, 6. / 60, false}}, "", false},
		"nothing":                {nil, "", false},
		"50 h below 80":          {[]leg{{79, 50, true}}, "it hung for 50 h", true}, // such a rule was not found
	} {
		var course Course
		for _, l := range c.legs {
			course = course.Add(f(l.fahrenheit), l.seen, hours(l.hours))
		}
		if c.broken == "" {
			assert.Empty(t, course.Broken(), name)
		} else {
			assert.Contains(t, course.Broken(), c.broken, name)
		}
		assert.Equal(t, c.seen, course.Seen(), name)
	}
}
