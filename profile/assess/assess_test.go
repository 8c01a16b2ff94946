package assess

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile"
	"fumarium/profile/deviation"
	"fumarium/profile/lethality"
	"fumarium/profile/logbook"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

var cured = Options{Species: profile.RedMeat, Cased: true, HasNitrite: true, NitritePPM: 140, HasErythorbate: true, ErythorbatePPM: 500, ProbeError: 0.3}

func open(t testing.TB, name string) *logbook.Log {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "logs", name))
	require.NoError(t, err)
	defer f.Close()
	log, err := logbook.Read(name, f)
	require.NoError(t, err)
	return log
}

func read(t testing.TB, text string) *logbook.Log {
	t.Helper()
	log, err := logbook.Read("log.csv", strings.NewReader(text))
	require.NoError(t, err)
	return log
}

// lines writes a log with a row each minute along straight lines through corners
// of minutes and degrees.
func lines(unit string, corners ...[2]float64) string {
	var b strings.Builder
	b.WriteString("elapsed_minutes,core_" + unit + "\n")
	for i := 1; i < len(corners); i++ {
		a, z := corners[i-1], corners[i]
		for m := a[0]; m < z[0]; m++ {
			fmt.Fprintf(&b, "%g,%.9f\n", m, a[1]+(m-a[0])/(z[0]-a[0])*(z[1]-a[1]))
		}
	}
	last := corners[len(corners)-1]
	fmt.Fprintf(&b, "%g,%.9f\n", last[0], last[1])
	return b.String()
}

func judge(t testing.TB, log *logbook.Log, o Options) Verdict {
	t.Helper()
	v, err := Assess(log, o)
	require.NoError(t, err)
	return v
}

func warned(v Verdict, what string) bool {
	return strings.Contains(strings.Join(v.Warnings.lines(), "\n"), what)
}

func TestOwnLogs(t *testing.T) {
	plain := Options{Species: profile.RedMeat, Cased: true, ProbeError: 0.3}
	for _, c := range []struct {
		name                       string
		options                    Options
		cooked, comeUp, cool, pass bool
		warning                    string
	}{
		{"good-cook.csv", cured, true, true, true, true, ""},
		{"good-cook.csv", plain, true, true, true, true, ""},
		{"slow-come-up.csv", cured, true, false, true, false, ""},
		{"bad-chilling.csv", plain, true, true, false, false, "the times would pass for a cured product, but option 3, cured needs at least 100 ppm"},
		{"bad-chilling.csv", cured, true, true, true, true, ""},
		{"fahrenheit-gaps.csv", cured, true, true, true, true, "fahrenheit-gaps.csv:192: 2 gaps of more than 5 min, the longest 24 min"},
		{"fahrenheit-gaps.csv", cured, true, true, true, true, "fahrenheit-gaps.csv:152:5: 3276.7 is no temperature"},
	} {
		v := judge(t, open(t, c.name), c.options)
		assert.Equal(t, c.cooked, v.cooked(), c.name)
		assert.Equal(t, c.comeUp, v.ComeUp.Pass, c.name)
		assert.Equal(t, c.cool, v.chilled(), c.name)
		assert.Equal(t, c.pass, v.Pass, c.name)
		assert.True(t, warned(v, c.warning), "%s: %q", c.name, v.Warnings)
		assert.Equal(t, c.pass, strings.HasPrefix(v.Text(), "PASS"), c.name)
		for _, bad := range []string{"NaN", "Inf", "%!"} {
			assert.NotContains(t, v.Text(), bad)
		}
	}
}

// TestConstructedLogs are the logs S1 and S2 of the lethality tests, a row each
// minute: exact integrals with D 1.717 min at 60 °C and z 5.556 K, and with D 4.72
// min and z 8.056 K; come-up from 10 to 54.44 °C.
func TestConstructedLogs(t *testing.T) {
	s1 := lines("celsius", [][2]float64{{0, 10}, {30, 35}, {60, 50}, {75, 55}, {90, 58}, {105, 59}, {110, 59}, {120, 45}, {135, 25}}...)
	s2 := lines("celsius", [][2]float64{{0, 5}, {60, 30}, {120, 48}, {160, 56}, {190, 60}, {205, 62}, {212, 62}, {222, 50}, {240, 30}}...)
	for name, c := range map[string]struct {
		log                   string
		f60, log10, fatty     float64
		comeUp, integralLog10 float64
	}{
		"S1": {s1, 17.18, 10.00, 4.445, 73.3, 9.487},
		"S2": {s2, 60.92, 35.48, 12.093, 140.2, 34.616},
	} {
		o := Options{Species: profile.RedMeat, Cased: true, HasOwn: true,
			Own: lethality.Kinetics{Reference: 60, Z: 50.0 / 9, D: 103020 * time.Millisecond}}
		v := judge(t, read(t, c.log), o)
		byName := map[string]Lethality{}
		for _, l := range v.Lethality {
			byName[l.Name] = l
		}
		own := byName["own kinetics"]
		assert.InDelta(t, c.f60, *own.FMinutes, 0.006, name)
		assert.InDelta(t, c.log10, own.log10, 0.006, name)
		// Those that are held beside the table count from its lowest row on.
		assert.InDelta(t, c.fatty, *byName["stricter set, 25 % fat"].Log10Reduction, 0.006, name)
		assert.InDelta(t, c.integralLog10, byName["red meat, integrated"].log10, 0.006, name)
		assert.Equal(t, min(own.log10, lethality.MostShown), *own.Log10Reduction, name)
		assert.Equal(t, name == "S2", own.Log10Capped, name)
		assert.Equal(t, name == "S2", strings.Contains(v.Text(), " = more than 20 log10, 6.5 needed"), name)
		assert.InDelta(t, c.comeUp*60, v.ComeUp.Seconds, 4, name)
		assert.True(t, v.ComeUp.Pass, name)
		assert.False(t, v.Pass, "%s ends warm", name)
		// S1 sits between the rows: 28.7 min at or above 57.8 °C would do if 28 were not of 136 °F,
		// and the integral decides nothing.
		assert.Equal(t, name == "S2", v.cooked(), "%s\n%s", name, v.Text())
		assert.Equal(t, name == "S1", warned(v, "no listed row was met, but the integral is worth"), name)
	}
}

// TestCoarseLog: the ten-minute points of a log are joined by straight lines and
// integrated exactly, which is at most what the log shows; a trapezoid sum of the
// rates would say 20 % more.
func TestCoarseLog(t *testing.T) {
	v := judge(t, read(t, "elapsed_minutes,core_celsius\n0,10\n30,35\n60,50\n75,55\n90,58\n105,59\n110,59\n120,45\n135,25\n"), Options{Species: profile.RedMeat, Cased: true})
	assert.InDelta(t, 9.487, *v.Lethality[1].Log10Reduction, 0.01)
	assert.True(t, warned(v, "straight lines over up to 30 min"))
}

// TestCoolingLogs are C1 to C3 of the chilling tests behind a good cook.
func TestCoolingLogs(t *testing.T) {
	for name, c := range map[string]struct {
		corners [][2]float64
		want    map[string]bool
	}{
		"C1": {[][2]float64{{0, 160}, {30, 130}, {75, 100}, {115, 80}, {240, 55}, {400, 40}}, map[string]bool{"option 1": true, "option 2": false, "option 3, cured": true}},
		"C2": {[][2]float64{{0, 155}, {40, 130}, {140, 90}, {175, 80}, {330, 55}, {460, 40}}, map[string]bool{"option 1": false, "option 2": false, "option 3, cured": true}},
		"C3": {[][2]float64{{0, 158}, {25, 130}, {200, 95}, {310, 80}, {600, 60}, {880, 45}, {1000, 40}}, map[string]bool{"option 1": false, "option 2": false, "option 3, cured": true}},
	} {
		corners := [][2]float64{{0, 45}, {90, c.corners[0][1]}}
		for _, p := range c.corners {
			corners = append(corners, [2]float64{p[0] + 100, p[1]})
		}
		o := cured
		o.ProbeError = 0
		v := judge(t, read(t, lines("fahrenheit", corners...)), o)
		for _, cool := range v.Cooling {
			if want, ok := c.want[cool.Option]; ok {
				assert.Equal(t, want, cool.Pass, "%s %s", name, cool.Option)
			}
		}
		assert.True(t, v.Pass, name)
		o.HasNitrite = false
		v = judge(t, read(t, lines("fahrenheit", corners...)), o)
		assert.Equal(t, name == "C1", v.Pass, "%s without nitrite", name)
		for _, cool := range v.Cooling {
			assert.NotEqual(t, "option 3, cured", cool.Option)
		}
	}
}

// cookF is a quick cook to a temperature held for some minutes, chilled at once.
func cookF(hold, minutes float64) string {
	return lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, hold}, [2]float64{60 + minutes, hold}, [2]float64{100 + minutes, 35}, [2]float64{120 + minutes, 35})
}

func TestSpecies(t *testing.T) {
	red, poultry, fish, game := profile.RedMeat, profile.Poultry, profile.Fish, profile.Game
	for _, c := range []struct {
		name          string
		species       profile.Species
		hold, minutes float64
		mixed, cooked bool
	}{
		// FSIS Appendix A (1999): 140 °F, 12 min.
		{"red meat", red, 140, 12, false, true},
		{"red meat, short", red, 140, 11.9, false, false},
		{"a row met though the integral is a hair short", red, 133, 56, false, true},
		{"met by the integral alone", red, 140, 7, false, false},
		{"without poultry in it", red, 140, 34, false, true},
		{"poultry in it", red, 140, 34, true, false},
		{"poultry in it, 35 min", red, 140, 35, true, true},
		// FSIS Time-Temperature Tables (2005), 12 % fat: 140 °F, 35 min.
		{"poultry", poultry, 140, 35, false, true},
		{"poultry, short", poultry, 140, 32, false, false},
		{"poultry as if red meat", poultry, 140, 12, false, false},
		// Maine ch. 359: 145 °F, 30 min continuous.
		{"fish", fish, 145, 30, false, true},
		{"fish, short", fish, 145, 29, false, false},
		{"fish, cool", fish, 144, 300, false, false},
		// Former 9 CFR 318.10(c): 122 °F wants 9.5 h, and 125 °F counts as 122.
		{"game", game, 145, 5, false, true},
		{"game, low and long", game, 125, 400, false, false},
	} {
		v := judge(t, read(t, cookF(c.hold, c.minutes)), Options{Species: c.species, PoultryInIt: c.mixed, Cased: true})
		assert.Equal(t, c.cooked, v.cooked(), c.name)
		assert.NotEmpty(t, v.Lethality, c.name)
		assert.NotContains(t, v.Text(), "%!", c.name)
	}
}

// TestBirds: chicken up to 141 °F and turkey from 142 °F on ask for more; lean birds for less,
// and of a mix the longer one counts (FSIS Cooking Guideline 2021; rows of the tables of 2005).
func TestBirds(t *testing.T) {
	for _, c := range []struct {
		hold, minutes float64
		bird          lethality.Bird
		lean, cooked  bool
	}{
		{140, 34.3, lethality.Chicken, false, false}, {140, 34.3, lethality.Turkey, false, true}, {140, 34.3, lethality.AnyBird, false, false},
		{142, 23.6, lethality.Chicken, false, true}, {142, 23.6, lethality.Turkey, false, false}, {142, 23.6, lethality.AnyBird, false, false},
		{140, 26, lethality.Chicken, true, true}, {140, 26, lethality.Turkey, true, false}, {140, 28.1, lethality.AnyBird, true, true},
	} {
		slow := lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, c.hold - 20}, [2]float64{61, c.hold}, [2]float64{61 + c.minutes, c.hold}, [2]float64{62 + c.minutes, c.hold - 20}, [2]float64{100 + c.minutes, 35})
		v := judge(t, read(t, slow), Options{Species: profile.Poultry, Bird: c.bird, Lean: c.lean, Cased: true, ServedHot: true})
		assert.Equal(t, c.cooked, v.cooked(), "%v lean %t\n%s", c.bird, c.lean, v.Text())
	}
}

// TestReheatedBeforeItWasCooked: what falls into the band again counts as come-up (FSIS
// Cooking Guideline 2021, pp. 25, 80); own log, 291.5 min in the band, and not the 106.0 of
// the first rise.
func TestReheatedBeforeItWasCooked(t *testing.T) {
	v := judge(t, read(t, lines("fahrenheit", [2]float64{0, 40}, [2]float64{120, 126}, [2]float64{180, 70}, [2]float64{300, 128}, [2]float64{360, 150}, [2]float64{380, 150}, [2]float64{420, 35})),
		Options{Species: profile.RedMeat, Cased: true, ServedHot: true})
	assert.InDelta(t, 291.5, v.ComeUp.Seconds/60, 0.06)
	assert.True(t, v.ComeUp.Pass)
	// Up for a moment, down for hours, and up again: 6 h are over.
	v = judge(t, read(t, lines("fahrenheit", [2]float64{0, 40}, [2]float64{120, 131}, [2]float64{180, 70}, [2]float64{480, 128}, [2]float64{500, 160}, [2]float64{520, 160}, [2]float64{560, 35})),
		Options{Species: profile.RedMeat, Cased: true, ServedHot: true})
	assert.True(t, v.cooked())
	assert.False(t, v.ComeUp.Pass, "%v", v.ComeUp)
}

func TestNoMinusSignOnAZero(t *testing.T) {
	assert.Equal(t, "0.0 °C (32 °F)", deviation.Both(-0.04))
	assert.Equal(t, "-17.8 °C (0 °F)", deviation.Both(-17.8))
}

func TestJSONKeys(t *testing.T) {
	keys := func(v any) []string {
		var names []string
		for k := range v.(map[string]any) {
			names = append(names, k)
		}
		return names
	}
	for _, o := range []Options{cured, {Species: profile.Fish}, {Species: profile.Poultry}, {Species: profile.Game, ServedHot: true}} {
		text, err := json.Marshal(judge(t, open(t, "good-cook.csv"), o))
		require.NoError(t, err)
		var v map[string]any
		require.NoError(t, json.Unmarshal(text, &v))
		assert.ElementsMatch(t, []string{"lethality", "come_up", "surface", "cooling", "warnings", "pass", "worksheet", "not_covered"}, keys(v))
		assert.ElementsMatch(t, []string{"stated", "answer", "why"}, keys(v["surface"]))
		for _, l := range v["lethality"].([]any) {
			assert.ElementsMatch(t, []string{"name", "f_minutes", "reference_celsius", "z_kelvin", "d_minutes", "log10_reduction", "log10_capped", "required_log10", "pass"}, keys(l))
		}
		assert.ElementsMatch(t, []string{"seconds", "limit_seconds", "pass"}, keys(v["come_up"]))
		for _, c := range v["cooling"].([]any) {
			assert.ElementsMatch(t, []string{"option", "legs", "conditions", "pass"}, keys(c))
			for _, asked := range c.(map[string]any)["conditions"].([]any) {
				assert.ElementsMatch(t, []string{"text", "why", "pass"}, keys(asked))
			}
			for _, l := range c.(map[string]any)["legs"].([]any) {
				assert.ElementsMatch(t, []string{"from_celsius", "to_celsius", "seconds", "limit_seconds", "pass"}, keys(l))
			}
		}
		assert.IsType(t, []any{}, v["warnings"])
		assert.IsType(t, []any{}, v["cooling"])
	}
}

func TestWarnings(t *testing.T) {
	meat := Options{Species: profile.RedMeat, Cased: true}
	bare := func(h Humidity) Options { return Options{Species: profile.RedMeat, Humidity: h} }
	for _, c := range []struct {
		name, log string
		options   Options
		warning   string
		pass      bool
	}{
		{"low heat", cookF(132, 120), meat, "of the kill that the integral tells was gathered below 57 °C", true},
		{"stricter set", cookF(140, 13), meat, "by a stricter published set", true},
		{"humidity unstated", cookF(150, 10), bare(HumidityUnstated), "not shown\n  the humidity is not stated", false},
		{"dry", cookF(150, 10), bare(Dry), "not met\n  the surface was left dry", false},
		{"steam below 145 °F", cookF(140, 30), bare(Steam), "not met\n  with steam or shut dampers a row of", false},
		{"no probe error", cookF(150, 10), meat, "no probe error is stated", true},
		{"flat rule", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 152}, [2]float64{61, 160}, [2]float64{62, 130}, [2]float64{100, 35}, [2]float64{130, 35}), Options{Species: profile.Poultry, Cased: true}, "an older flat rule accepts", false},
		{"starts warm", lines("fahrenheit", [2]float64{0, 70}, [2]float64{60, 150}, [2]float64{70, 150}, [2]float64{110, 35}, [2]float64{130, 35}), meat, "the log begins with the core at 21.1 °C", false},
		{"starts cool", lines("fahrenheit", [2]float64{0, 59}, [2]float64{60, 150}, [2]float64{70, 150}, [2]float64{110, 35}, [2]float64{130, 35}), meat, "the log begins with the core at 15 °C", true},
		// 12 min at 140 °F, and one row of 145: no row of 145 °F was met.
		{"steam, and 145 °F for a moment", lines("fahrenheit", [2]float64{0, 40}, [2]float64{90, 140}, [2]float64{102, 140}, [2]float64{104, 145}, [2]float64{106, 140}, [2]float64{146, 35}, [2]float64{170, 35}), bare(Steam), "not met\n  with steam or shut dampers a row of", false},
		// 2 h below 135 °F are allowed to what is eaten (FSIS, two hours in the danger zone).
		{"served hot, cold for 2 h", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 150}, [2]float64{80, 150}, [2]float64{95, 135}, [2]float64{215, 100}), Options{Species: profile.RedMeat, Cased: true, ServedHot: true}, "2 h of 2 h below", true},
		{"served hot, cold for 2 h 1 min", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 150}, [2]float64{80, 150}, [2]float64{95, 135}, [2]float64{216, 100}), Options{Species: profile.RedMeat, Cased: true, ServedHot: true}, "served hot: not met", false},
		{"served hot, raw", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 128}), Options{Species: profile.RedMeat, Cased: true, ServedHot: true}, "served hot: not shown", false},
		{"starts hot", lines("fahrenheit", [2]float64{0, 140}, [2]float64{60, 150}, [2]float64{70, 150}, [2]float64{110, 35}, [2]float64{130, 35}), meat, "how it came up was not seen", false},
		{"ends hot", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 150}, [2]float64{80, 150}), meat, "it does not show the product chilled", false},
		{"served hot", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 150}, [2]float64{80, 150}), Options{Species: profile.RedMeat, Cased: true, ServedHot: true}, "", true},
		{"never warm", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 120}, [2]float64{80, 120}), meat, "never reached 54.4 °C", false},
		{"a probe that moves", "elapsed_minutes,core_celsius\n0,5\n30,40\n31,75\n32,75\n60,75\n90,20\n120,3\n", meat, "log.csv:4: core_celsius changes by 35 K", false},
		{"interrupted", lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 135}, [2]float64{90, 120}, [2]float64{120, 160}, [2]float64{130, 160}, [2]float64{170, 35}, [2]float64{190, 35}), meat,
			"line 76: the core fell below 54.4 °C again before the cook was finished", true},
		{"erythorbate", cookF(150, 10), Options{Species: profile.RedMeat, Cased: true, HasNitrite: true, NitritePPM: 120}, "erythorbate or ascorbate: not stated, not kept", true},
		{"a little erythorbate", cookF(150, 10), Options{Species: profile.RedMeat, Cased: true, HasNitrite: true, NitritePPM: 120, HasErythorbate: true, ErythorbatePPM: 200}, "asks for at least 250 ppm", true},
	} {
		v := judge(t, read(t, c.log), c.options)
		assert.Contains(t, v.Text(), c.warning, c.name)
		assert.Equal(t, c.pass, v.Pass, "%s\n%s", c.name, v.Text())
		assert.Contains(t, v.Text(), "a process authority and the local rules decide")
	}
}

func TestCoresDisagree(t *testing.T) {
	// The cold core was never cooked; the hot one alone was.
	text := "elapsed_minutes,hot_celsius,cold_celsius\n"
	for m := range 100 {
		text += fmt.Sprintf("%d,%d,%d\n", m, min(70, 5+2*m), min(50, 5+m))
	}
	o := Options{Species: profile.RedMeat, Cased: true, ServedHot: true}
	assert.False(t, judge(t, read(t, text), o).Pass)
	o.Cores = []string{"hot_celsius"}
	assert.True(t, judge(t, read(t, text), o).Pass)
}

func TestRefusals(t *testing.T) {
	log := read(t, cookF(150, 10))
	for want, change := range map[string]func(*Options){
		"no species is given":       func(o *Options) { o.Species = 0 },
		"cheese is not cooked":      func(o *Options) { o.Species = profile.Dairy },
		"a probe error of -1 K":     func(o *Options) { o.ProbeError = -1 },
		"nitrite of NaN ppm":        func(o *Options) { o.HasNitrite, o.NitritePPM = true, math.NaN() },
		"erythorbate of -1 ppm":     func(o *Options) { o.HasErythorbate, o.ErythorbatePPM = true, -1 },
		"z 0 K is outside":          func(o *Options) { o.HasOwn = true },
		"a longest gap of 7h0m0s":   func(o *Options) { o.LongestGap = 7 * time.Hour },
		`has no temperature "heel"`: func(o *Options) { o.Cores = []string{"heel"} },
		"humidity 99 is unknown":    func(o *Options) { o.Humidity = 99 },
	} {
		o := cured
		change(&o)
		_, err := Assess(log, o)
		assert.ErrorContains(t, err, want)
	}
	for h := Steam; h < humidities; h++ {
		got, err := ParseHumidity(h.String())
		assert.NoError(t, err)
		assert.Equal(t, h, got)
	}
	_, err := ParseHumidity("moist")
	assert.ErrorContains(t, err, "write steam, sealed, humid, humid-throughout, immersed or dry")
}

// TestOutliersCookNothing: a product of 50 °C is not cooked by what one or two rows, or a
// probe that has left it, read.
func TestOutliersCookNothing(t *testing.T) {
	log := func(every float64, cores ...float64) string {
		text := "elapsed_minutes,core_celsius\n"
		for i, c := range cores {
			text += fmt.Sprintf("%g,%g\n", every*float64(i), c)
		}
		return text
	}
	course := []float64{5, 10, 20, 30, 40, 45, 48, 50, 50, 50, 50, 50, 50, 50, 50, 50}
	with := func(at int, rows ...float64) []float64 {
		c := append([]float64(nil), course...)
		return append(append(c[:at], rows...), course[min(len(course), at+len(rows)):]...)
	}
	o := Options{Species: profile.RedMeat, Cased: true, ServedHot: true, ProbeError: 0.1}
	for name, c := range map[string]struct {
		rows []float64
		want string
	}{
		"as it was":        {course, ""},
		"one row":          {with(10, 71), "which the rows around it do not bear out (one such row)"},
		"two rows":         {with(10, 71, 72), "which the rows around it do not bear out"},
		"the last row":     {with(15, 71), "which the rows around it do not bear out (one such row)"},
		"two of them":      {with(9, 71, 50, 71), "(the first of 2 such rows)"},
		"out of the meat":  {with(10, 71, 72, 73, 73, 73, 73), ""},
		"and in again":     {with(9, 71, 72, 73, 74, 50, 50), ""},
		"never in the air": {with(9, 50, 50, 20, 20, 20, 50), ""},
	} {
		for _, every := range []float64{1, 10} { // minutes
			if every > 1 && c.want == "" { // six rows of 73 °C in an hour are a core as well as any
				continue
			}
			v := judge(t, read(t, log(every, c.rows...)), o)
			assert.False(t, v.cooked(), "%s each %g min\n%s", name, every, v.Text())
			assert.False(t, v.Pass, name)
			assert.Contains(t, v.Text(), c.want, name)
		}
	}
	// Cold outliers fake no chill: the food is at 50 °C all the time.
	v := judge(t, read(t, log(1, with(9, 4)...)), Options{Species: profile.RedMeat, Cased: true})
	assert.False(t, v.chilled(), v.Text())
}

// TestJumps: what a probe reads once it has jumped counts only when it reads again what it
// read before, and the time counts against the batch.
func TestJumps(t *testing.T) {
	text := "elapsed_minutes,core_celsius\n"
	for m := range 200 {
		c := min(72, 4+0.5*float64(m))
		if m >= 100 && m < 110 { // lies in the air, at 54 °C
			c = 20
		}
		text += fmt.Sprintf("%d,%g\n", m, c)
	}
	o := Options{Species: profile.RedMeat, Cased: true, ServedHot: true, ProbeError: 0.1}
	v := judge(t, read(t, text), o)
	assert.True(t, v.Pass, v.Text())
	assert.True(t, warned(v, "log.csv:102: core_celsius changes by 33.5 K"), "%q", v.Warnings)
	// From 10 °C at 12 min to 54.5 °C, the limit and the probe's error, which is first seen
	// again at 110 min: 98.2 min and not a minute less.
	assert.InDelta(t, 98.2*60, v.ComeUp.Seconds, 1)
}

// TestThinProductInIceWater: the fastest chill there is is no jump. The course is that of a
// lean stick of 19 mm, conduction in a cylinder with 300 W/(m²·K) at its surface: the middle
// falls by at most 17 K in a minute (own reckoning).
func TestThinProductInIceWater(t *testing.T) {
	cores := []float64{71, 70, 58, 41, 27, 18, 12, 8, 5.5, 4, 3, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2}
	text := lines("celsius", [2]float64{0, 4}, [2]float64{60, 71}, [2]float64{80, 71})
	for i, c := range cores {
		text += fmt.Sprintf("%d,%g\n", 81+i, c)
	}
	v := judge(t, read(t, text), Options{Species: profile.RedMeat, Cased: true, ProbeError: 0.1})
	assert.True(t, v.Pass, v.Text())
}

// TestConditionsOfTheSurface: what was stated of the humidity must fit the cook (FSIS
// Cooking Guideline 2021, Table 1: a cook below one hour needs humidity throughout, and
// options 1 and 2 need 145 °F).
func TestConditionsOfTheSurface(t *testing.T) {
	slow := func(hold float64) string {
		return lines("fahrenheit", [2]float64{0, 40}, [2]float64{120, hold}, [2]float64{160, hold}, [2]float64{200, 35}, [2]float64{220, 35})
	}
	quick := lines("fahrenheit", [2]float64{0, 40}, [2]float64{40, 160}, [2]float64{50, 160}, [2]float64{90, 35}, [2]float64{110, 35})
	for _, c := range []struct {
		name, log string
		how       Humidity
		want      proof.Answer
	}{
		{"not stated", slow(150), HumidityUnstated, proof.NotShown},
		{"dry", slow(150), Dry, proof.NotMet},
		{"steam", slow(150), Steam, proof.Met},
		{"shut", slow(146), Sealed, proof.Met},
		{"steam, too cool", slow(144), Steam, proof.NotMet},
		{"shut, too cool", slow(144), Sealed, proof.NotMet},
		{"humid for a quarter", slow(144), Humid, proof.Met},
		{"humid throughout", slow(144), HumidThroughout, proof.Met},
		{"below an hour, shut", quick, Sealed, proof.NotMet},
		{"below an hour, humid for a quarter", quick, Humid, proof.NotMet},
		{"below an hour, humid throughout", quick, HumidThroughout, proof.Met},
		{"never cooked", slow(120), Steam, proof.NotShown},
		{"in a bag", slow(150), Immersed, proof.DoesNotApply},
	} {
		v := judge(t, read(t, c.log), Options{Species: profile.RedMeat, Humidity: c.how, ServedHot: true})
		assert.Equal(t, c.want, v.Rules[proof.Surface].Answer, "%s: %s", c.name, v.Surface.Why)
		assert.Equal(t, v.Rules.Holds(proof.Cooked, proof.CameUp, proof.Surface), v.Pass, c.name)
	}
	v := judge(t, read(t, slow(145.5)), Options{Species: profile.RedMeat, Humidity: Sealed, ServedHot: true, ProbeError: 0.5})
	assert.Equal(t, proof.NotMet, v.Rules[proof.Surface].Answer, "145.9 °F is wanted of a probe that may be wrong by 0.5 K (own sum)")
}

// TestConditionsOfTheChill: the older option asks for a start within 90 min of the end of
// the cook and for 40 °F in the end (FSIS Appendix B 1999, option 2). The corners are °F and
// minutes of own logs.
func TestConditionsOfTheChill(t *testing.T) {
	cook := func(cool ...[2]float64) string {
		corners := [][2]float64{{0, 45}, {90, cool[0][1]}}
		for _, p := range cool {
			corners = append(corners, [2]float64{p[0] + 100, p[1]})
		}
		return lines("fahrenheit", corners...)
	}
	c7 := [][2]float64{{0, 150}, {60, 130}, {90, 120}, {148, 80}, {440, 55}, {640, 40}}
	for _, c := range []struct {
		name string
		log  string
		pass map[string]bool
	}{
		// 120 °F after 90 min, at equality; 80 to 40 °F in 492 min is too slow for option 1.
		{"C7", cook(c7...), map[string]bool{"option 1": false, "option 2": true}},
		{"C7, started late", cook(append([][2]float64{{0, 150}, {10, 149.9}, {70, 130}, {101, 120}, {159, 80}}, [2]float64{440, 55}, [2]float64{640, 40})...), map[string]bool{"option 2": false}},
		{"C7, ended at 50 °F", cook(c7[:5]...) + "541,55\n600,50\n", map[string]bool{"option 2": false}},
		// 80 to 45 °F in 615 min, 15 too many.
		{"C9", cook([2]float64{0, 155}, [2]float64{40, 130}, [2]float64{330, 80}, [2]float64{900, 46}, [2]float64{945, 45}, [2]float64{1100, 40}), map[string]bool{"option 3, cured": false}},
		{"C14", cook([2]float64{0, 158}, [2]float64{20, 130}, [2]float64{110, 80}, [2]float64{400, 40}), map[string]bool{"option 1": true, "retail": false}},
		{"C11", cook([2]float64{0, 158}, [2]float64{30, 135}, [2]float64{150, 70}, [2]float64{390, 41}), map[string]bool{"retail": true}},
		// It rises between 80 and 95 min.
		{"C17", cook([2]float64{0, 160}, [2]float64{30, 130}, [2]float64{80, 90}, [2]float64{95, 102}, [2]float64{130, 80}, [2]float64{400, 40}), map[string]bool{"option 1": false}},
	} {
		v := judge(t, read(t, c.log), Options{Species: profile.RedMeat, Cased: true, HasNitrite: true, NitritePPM: 140, HasErythorbate: true, ErythorbatePPM: 300})
		for _, cool := range v.Cooling {
			if want, ok := c.pass[cool.Option]; ok {
				assert.Equal(t, want, cool.Pass, "%s, %s\n%s", c.name, cool.Option, v.Text())
			}
		}
	}
	// Cured, and slow: only option 3 would do, and it wants erythorbate.
	slow := cook([2]float64{0, 155}, [2]float64{40, 130}, [2]float64{140, 90}, [2]float64{175, 80}, [2]float64{330, 55}, [2]float64{460, 40})
	o := Options{Species: profile.RedMeat, Cased: true, HasNitrite: true, NitritePPM: 140}
	assert.False(t, judge(t, read(t, slow), o).Pass, "erythorbate is not stated")
	o.HasErythorbate = true
	assert.False(t, judge(t, read(t, slow), o).Pass, "made without")
	o.ErythorbatePPM = 250
	assert.True(t, judge(t, read(t, slow), o).Pass)
}

// TestMissingReadingsNeverHelp: blanking cells turns no bad verdict into a good one
// and raises no reduction.
func TestMissingReadingsNeverHelp(t *testing.T) {
	species := []profile.Species{profile.RedMeat, profile.Poultry, profile.Fish, profile.Game}
	rapid.Check(t, func(rt *rapid.T) {
		peak := rapid.Float64Range(50, 72).Draw(rt, "peak")
		hold := rapid.IntRange(0, 120).Draw(rt, "hold")
		cool := rapid.IntRange(20, 500).Draw(rt, "cool")
		spread := rapid.Float64Range(0, 4).Draw(rt, "spread")
		total := 60 + hold + cool + 15
		whole, blanked := "elapsed_minutes,core_a_celsius,core_b_celsius\n", "elapsed_minutes,core_a_celsius,core_b_celsius\n"
		lossy := rapid.IntRange(2, 40).Draw(rt, "lossy")
		for m := range total {
			c := peak
			switch {
			case m < 60:
				c = 5 + (peak-5)*float64(m)/60
			case m > 60+hold:
				c = max(3, peak+(3-peak)*float64(m-60-hold)/float64(cool))
			}
			a, b := strconv.FormatFloat(c, 'f', 3, 64), strconv.FormatFloat(max(3, c-spread*math.Sin(float64(m)/50)), 'f', 3, 64)
			whole += fmt.Sprintf("%d,%s,%s\n", m, a, b)
			if m > 0 && rapid.IntRange(0, lossy).Draw(rt, "lose") == 0 {
				if rapid.Bool().Draw(rt, "which") {
					a = ""
				} else {
					b = "NaN"
				}
			}
			blanked += fmt.Sprintf("%d,%s,%s\n", m, a, b)
		}
		o := Options{Species: rapid.SampledFrom(species).Draw(rt, "species"), Cased: true, HasNitrite: true, NitritePPM: 120}
		seen, missed := judge(t, read(t, whole), o), judge(t, read(t, blanked), o)
		if missed.Pass && !seen.Pass {
			rt.Fatalf("passes with readings missing:\n%s\n%s", missed.Text(), seen.Text())
		}
		for i, l := range missed.Lethality {
			if l.Pass && !seen.Lethality[i].Pass || l.log10 > seen.Lethality[i].log10+1e-9 {
				rt.Fatalf("%s gains from missing readings", l.Name)
			}
		}
		if missed.ComeUp.Seconds < seen.ComeUp.Seconds-1e-6 {
			rt.Fatalf("the come-up gains from missing readings: %v, %v", missed.ComeUp, seen.ComeUp)
		}
	})
}

// ExampleAssess follows a cook that an inspector can check by hand. It rises and
// falls at 1 K/min and is held at 60 °C, that is 140 °F, for 12 min, which is its row. By the
// integral from 130 °F on, the table's lowest row, the ramp up to the hold and the one down
// from it are each worth 0.9 z / ln 10 = 0.9 × 5.556 / 2.303 = 2.17 min of the hold. 60 °C is
// one z below the reference, so F = (12 + 2.17 + 2.17) / 10 = 1.634 min, and 1.634 / 0.172 =
// 9.50 log10. The come-up from 10 to 54.4 °C takes 44 min.
func ExampleAssess() {
	log, err := logbook.Read("cook.csv", strings.NewReader(`elapsed_minutes,core_celsius
0,10
50,60
62,60
119,3
140,3
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	v, err := Assess(log, Options{Species: profile.RedMeat, Cased: true, LongestGap: time.Hour})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, l := range v.Lethality {
		fmt.Printf("%s: %.2f of %.1f log10, pass: %t\n", l.Name, *l.Log10Reduction, *l.RequiredLog10, l.Pass)
	}
	fmt.Printf("come-up %s, pass: %t\n", quantity.FormatDuration(time.Duration(v.ComeUp.Seconds)*time.Second), v.ComeUp.Pass)
	fmt.Println("pass:", v.Pass)
	// Output:
	// red meat, table row: 6.50 of 6.5 log10, pass: true
	// red meat, integrated: 9.50 of 6.5 log10, pass: true
	// stricter set, 25 % fat: 3.72 of 6.5 log10, pass: false
	// come-up 44 min, pass: true
	// pass: true
}

// What failed has a worksheet of the log's own figures, and nothing else has; each verdict
// says what it does not cover.
func TestAWorksheetForWhatFailed(t *testing.T) {
	v := judge(t, open(t, "good-cook.csv"), cured)
	require.True(t, v.Pass)
	assert.Empty(t, v.Worksheet)
	assert.NotNil(t, v.Worksheet)
	assert.Contains(t, v.Text(), "NOT COVERED, whatever the verdict\n  - the raw meat")
	assert.Equal(t, proof.Uncovered(), v.NotCovered)

	v = judge(t, read(t, lines("fahrenheit", [2]float64{0, 40}, [2]float64{150, 120}, [2]float64{200, 134}, [2]float64{244, 134}, [2]float64{260, 115}, [2]float64{290, 80}, [2]float64{500, 38})),
		Options{Species: profile.RedMeat, Cased: true, ProbeError: 0})
	require.False(t, v.Pass)
	require.Len(t, v.Worksheet, 1, "it was chilled, and a log has neither formula nor chain")
	assert.Equal(t, "cooked", v.Worksheet[0].Rule)
	assert.Contains(t, v.Text(), "134 °F): 44 min of 45 min, short by 1 min")
	assert.Contains(t, v.Text(), "who decides: ")
	// The sheet takes the probe's error off as the verdict does, and once: the row of 134 °F
	// was not reached, and that of 131 °F is the nearest to both.
	v = judge(t, read(t, lines("fahrenheit", [2]float64{0, 40}, [2]float64{150, 120}, [2]float64{200, 134}, [2]float64{244, 134}, [2]float64{260, 115})),
		Options{Species: profile.RedMeat, Cased: true, ProbeError: 0.7})
	assert.Contains(t, v.Worksheet[0].Steps[0].Found[0], "131 °F")
	assert.InDelta(t, 55.0, *v.Lethality[0].ReferenceCelsius, 0.01)
}

// The guideline's own example: 3.0 log10 grown on 6.5 makes 9.5 (FSIS Cooking Guideline 2021,
// deviation 3). 12 min at 140 °F are a row; 9.5 / 6.5 of it are 17.5 min.
func TestASecondCookKillsWhatHasGrown(t *testing.T) {
	for minutes, pass := range map[float64]bool{12: false, 17: false, 18: true} {
		o := Options{Species: profile.RedMeat, Cased: true, GrownLog10: 3}
		v := judge(t, read(t, cookF(140, minutes)), o)
		assert.Equal(t, pass, v.Pass, "%g min\n%s", minutes, v.Text())
		assert.Equal(t, 9.5, *v.Lethality[0].RequiredLog10)
		assert.Contains(t, v.Text(), "9.5 needed with what has grown")
		if !pass {
			assert.Contains(t, v.Text(), "for 3 log10 grown: 9.5 log10")
		}
		o.GrownLog10 = 0
		assert.True(t, judge(t, read(t, cookF(140, minutes)), o).Pass)
	}
	for name, o := range map[string]Options{
		"less than nothing": {Species: profile.RedMeat, GrownLog10: -1}, "no number": {Species: profile.RedMeat, GrownLog10: math.NaN()},
		"too much": {Species: profile.RedMeat, GrownLog10: 14}, "fish": {Species: profile.Fish, GrownLog10: 1}, "salt": {Species: profile.RedMeat, SaltPercent: math.NaN()},
	} {
		_, err := Assess(read(t, cookF(140, 12)), o)
		assert.Error(t, err, name)
	}
}

// A log is chilled by the rules of the place that is said: C14 (own sums, 162.6 min from 50 to
// 20 °C) keeps option 1 of the United States and not the Canadian rule for intact muscle.
func TestCoolingByPlace(t *testing.T) {
	log := lines("fahrenheit", [2]float64{0, 40}, [2]float64{60, 158}, [2]float64{80, 130}, [2]float64{170, 80}, [2]float64{460, 40}, [2]float64{480, 39})
	for _, c := range []struct {
		options Options
		pass    bool
		says    string
	}{
		{Options{Where: profile.UnitedStates}, true, "option 1: kept"},
		{Options{Where: profile.EuropeanUnion}, true, "option 1: kept"},
		{Options{Where: profile.Canada}, true, "option 1: kept"}, // it is not intact
		{Options{Where: profile.Canada, Intact: true}, false, "Canada, intact muscle: not kept"},
		{Options{Where: profile.AustraliaNewZealand}, true, "the end of the cook to 50 °C"},
		{Options{Where: profile.AustraliaNewZealand, HasNitrite: true, NitritePPM: 120}, true, "at least 2.5 % salt in the water of the product: not stated, not kept"},
	} {
		c.options.Species, c.options.Cased = profile.RedMeat, true
		v := judge(t, read(t, log), c.options)
		assert.Equal(t, c.pass, v.Pass, "%v\n%s", c.options.Where, v.Text())
		assert.Contains(t, v.Text(), strings.Replace(c.says, "50 °C", "50.0 °C (122 °F)", 1), c.options.Where.String())
	}
}
