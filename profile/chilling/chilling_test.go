package chilling

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

var _ = State{} == State{} // comparable: recorded whole, tested with ==

func at(minute float64) time.Duration { return time.Duration(minute * float64(time.Minute)) }

// curve is written as minutes and °F.
func curve(points ...[2]float64) []Point {
	var c []Point
	for _, p := range points {
		c = append(c, Point{at(p[0]), quantity.FromFahrenheit(p[1])})
	}
	return c
}

// The three constructed cooling logs; leg times computed by hand from the straight
// lines.
var (
	logC1 = curve([2]float64{0, 160}, [2]float64{30, 130}, [2]float64{75, 100}, [2]float64{115, 80}, [2]float64{240, 55}, [2]float64{400, 40})
	logC2 = curve([2]float64{0, 155}, [2]float64{40, 130}, [2]float64{140, 90}, [2]float64{175, 80}, [2]float64{330, 55}, [2]float64{460, 40})
	logC3 = curve([2]float64{0, 158}, [2]float64{25, 130}, [2]float64{200, 95}, [2]float64{310, 80}, [2]float64{600, 60}, [2]float64{880, 45}, [2]float64{1000, 40})
)

func TestConstructedLogs(t *testing.T) {
	for _, c := range []struct {
		name string
		log  []Point
		rule *Rule
		legs [2]float64 // minutes
		pass bool
	}{
		{"C1", logC1, Uncured(), [2]float64{85, 285}, true},
		{"C1", logC1, older, [2]float64{70, 195}, false},
		{"C1", logC1, Cured(), [2]float64{85, 231.7}, true},
		{"C2", logC2, Uncured(), [2]float64{135, 285}, false},
		{"C2", logC2, older, [2]float64{110, 265}, false},
		{"C2", logC2, Cured(), [2]float64{135, 241.7}, true},
		{"C3", logC3, Uncured(), [2]float64{285, 690}, false},
		{"C3", logC3, older, [2]float64{235, 618.3}, false},
		{"C3", logC3, Cured(), [2]float64{285, 570}, true},
	} {
		s := c.rule.Over(c.log)
		legs := c.rule.Legs(s)
		for i, want := range c.legs {
			assert.InDelta(t, want, legs[i].Took.Minutes(), 0.04, "%s %s leg %d", c.name, c.rule.Name, i)
			assert.True(t, legs[i].Ended)
		}
		assert.Equal(t, c.pass, c.rule.Pass(s), "%s %s", c.name, c.rule.Name)
		assert.Equal(t, !c.pass, c.rule.Failed(s), "%s %s", c.name, c.rule.Name)
	}
}

// TestLimits holds the limits themselves: FSIS Appendix B (1999), options 1 to 3,
// and Food Code 3-501.14. °F and minutes.
func TestLimits(t *testing.T) {
	for _, c := range []struct {
		rule *Rule
		legs [2][3]float64
	}{
		{Uncured(), [2][3]float64{{130, 80, 90}, {80, 40, 300}}},
		{older, [2][3]float64{{120, 80, 60}, {120, 55, 360}}},
		{Cured(), [2][3]float64{{130, 80, 300}, {80, 45, 600}}},
		{Retail(), [2][3]float64{{135, 70, 120}, {135, 41, 360}}},
	} {
		for i, want := range c.legs {
			l := c.rule.Limits[i]
			assert.InDelta(t, want[0], l.From.Fahrenheit(), 1e-9)
			assert.InDelta(t, want[1], l.To.Fahrenheit(), 1e-9)
			assert.Equal(t, at(want[2]), l.Within)
			// At the limit passes, a second later does not.
			for late, pass := range map[float64]bool{0: true, 1. / 60: false} {
				s := c.rule.Over(curve([2]float64{0, want[0] + 20}, [2]float64{10, want[0]}, [2]float64{10 + want[2] + late, want[1]}))
				assert.Equal(t, pass, c.rule.Legs(s)[i].Pass, "%s leg %d", c.rule.Name, i)
			}
		}
	}
	assert.Len(t, Rules(), 4, "option 4 is not offered")
}

// TestRetailCountsSixHoursInAll: who is at 70 °F after one hour has five more (Food Code
// 3-501.14(A), the total of six hours from memory).
func TestRetailCountsSixHoursInAll(t *testing.T) {
	for name, c := range map[string]struct {
		curve []Point
		pass  bool
	}{
		"2 h and 4 h":        {curve([2]float64{0, 158}, [2]float64{30, 135}, [2]float64{150, 70}, [2]float64{390, 41}), true}, // the log C11
		"1 h and 5 h":        {curve([2]float64{0, 158}, [2]float64{30, 135}, [2]float64{90, 70}, [2]float64{390, 41}), true},
		"1 h and 5 h 1 min":  {curve([2]float64{0, 158}, [2]float64{30, 135}, [2]float64{90, 70}, [2]float64{391, 41}), false},
		"2 h 1 min and 2 h":  {curve([2]float64{0, 158}, [2]float64{30, 135}, [2]float64{151, 70}, [2]float64{271, 41}), false},
		"C14, 166 min first": {curve([2]float64{0, 158}, [2]float64{20, 130}, [2]float64{110, 80}, [2]float64{400, 40}), false},
	} {
		assert.Equal(t, c.pass, Retail().Pass(Retail().Over(c.curve)), name)
	}
}

func TestInterpolatedEqualityPasses(t *testing.T) {
	// 155 to 105 °F in 180 min: 130 °F at 90 min, and so on; nothing falls on a corner.
	s := Uncured().Over(curve([2]float64{0, 155}, [2]float64{90, 105}, [2]float64{180, 55}, [2]float64{600, 20}))
	legs := Uncured().Legs(s)
	assert.Equal(t, 90*time.Minute, legs[0].Took)
	assert.True(t, legs[0].Pass)
}

func TestNitrite(t *testing.T) {
	for _, c := range []struct {
		ppm       float64
		known, ok bool
	}{{100, true, true}, {99.9, true, false}, {0, true, false}, {156, false, false}, {math.NaN(), true, false}} {
		reason, ok := Cured().AllowsNitrite(c.ppm, c.known)
		assert.Equal(t, c.ok, ok, "%v", c)
		assert.Equal(t, c.ok, reason == "")
	}
	_, ok := Uncured().AllowsNitrite(0, false)
	assert.True(t, ok)
}

func TestLegs(t *testing.T) {
	for _, c := range []struct {
		name         string
		log          []Point
		first        float64 // minutes of 130 to 80 °F
		pass, failed bool
	}{
		{"never was hot", curve([2]float64{0, 110}, [2]float64{30, 80}, [2]float64{60, 40}), 0, false, false},
		{"raw meat warming", curve([2]float64{0, 35}, [2]float64{60, 85}, [2]float64{90, 100}), 0, false, false},
		{"not finished", curve([2]float64{0, 140}, [2]float64{10, 130}, [2]float64{60, 90}), 50, false, false},
		{"peaks at the upper temperature", curve([2]float64{0, 120}, [2]float64{10, 130}, [2]float64{60, 80}, [2]float64{90, 40}), 50, true, false},
		{"a plateau at the upper temperature counts", curve([2]float64{0, 140}, [2]float64{10, 130}, [2]float64{40, 130}, [2]float64{60, 80}, [2]float64{90, 40}), 50, true, false},
		{"above it for the last time", curve([2]float64{0, 140}, [2]float64{20, 125}, [2]float64{40, 135}, [2]float64{45, 130}, [2]float64{60, 80}, [2]float64{90, 40}), 15, true, false},
		{"comes back before it stays below", curve([2]float64{0, 130}, [2]float64{60, 80}, [2]float64{70, 75}, [2]float64{75, 80}, [2]float64{80, 85}, [2]float64{85, 80}, [2]float64{120, 40}), 85, true, false},
		{"a rise that comes too late", curve([2]float64{0, 130}, [2]float64{60, 80}, [2]float64{120, 60}, [2]float64{140, 85}, [2]float64{141, 80}, [2]float64{160, 40}), 141, false, true},
		{"heating up again takes nothing back", curve([2]float64{0, 130}, [2]float64{200, 90}, [2]float64{210, 140}, [2]float64{220, 130}, [2]float64{240, 80}, [2]float64{260, 40}), 208, false, true},
		{"blooming after the chill", curve([2]float64{0, 130}, [2]float64{60, 80}, [2]float64{120, 40}, [2]float64{125, 38}, [2]float64{130, 40}, [2]float64{160, 66}, [2]float64{220, 66}), 60, true, false},
		{"no stay below", curve([2]float64{0, 130}, [2]float64{60, 80}, [2]float64{120, 40}, [2]float64{129, 40}, [2]float64{140, 66}), 60, false, false},
		{"hot again after the chill", curve([2]float64{0, 130}, [2]float64{60, 80}, [2]float64{120, 40}, [2]float64{180, 40}, [2]float64{200, 140}, [2]float64{205, 130}, [2]float64{400, 90}), 195, false, true},
	} {
		s := Uncured().Over(c.log)
		assert.InDelta(t, c.first, Uncured().Legs(s)[0].Took.Minutes(), 1e-6, c.name)
		assert.Equal(t, c.pass, Uncured().Pass(s), c.name)
		assert.Equal(t, c.failed, Uncured().Failed(s), c.name)
	}
}

func TestGaps(t *testing.T) {
	r := Uncured()
	F := quantity.FromFahrenheit
	from := func(s State, points ...[2]float64) State {
		c := curve(points...)
		for i := 1; i < len(c); i++ {
			s = r.Add(s, c[i-1].Temperature, c[i].Temperature, c[i].At-c[i-1].At)
		}
		return s
	}
	start := from(State{}, [2]float64{0, 140}, [2]float64{1, 140})

	s := r.Gap(start, time.Hour)
	s = r.Add(s, F(70), F(70), time.Minute)
	assert.Equal(t, time.Hour, r.Legs(s)[0].Took, "both ends unseen: the whole gap counts")
	assert.True(t, r.Legs(s)[0].Pass)

	s = r.Gap(start, 91*time.Minute)
	assert.False(t, r.Failed(s), "it may still be hot")
	s = r.Add(s, F(70), F(70), time.Minute)
	assert.True(t, r.Failed(s))

	chilled := from(start, [2]float64{1, 140}, [2]float64{2, 130}, [2]float64{62, 80}, [2]float64{122, 60})
	require.True(t, r.Legs(chilled)[0].Pass)
	s = from(r.Gap(chilled, 10*time.Minute), [2]float64{132, 59}, [2]float64{200, 40})
	assert.True(t, r.Pass(s), "60 °F cannot pass 80 °F in ten minutes")
	s = from(r.Gap(chilled, 2*time.Hour), [2]float64{242, 59}, [2]float64{243, 40})
	assert.False(t, r.Pass(s), "in two hours it can, and nobody saw it")
	assert.Equal(t, 4*time.Hour, r.Legs(s)[0].Took)

	assert.Equal(t, State{}, r.Gap(State{}, time.Hour), "nothing before the first reading")
	assert.Equal(t, r.Gap(chilled, time.Minute), r.Add(chilled, quantity.Celsius(math.NaN()), 10, time.Minute))
	assert.Equal(t, r.Gap(chilled, time.Minute), r.Add(chilled, 10, -127, time.Minute))
}

func TestProbeError(t *testing.T) {
	plain := Uncured().Over(logC1)
	wide := Uncured().Allowing(0.5)
	s := wide.Over(logC1)
	assert.Greater(t, wide.Legs(s)[0].Took, Uncured().Legs(plain)[0].Took)
	assert.False(t, wide.Pass(s), "it never reads low enough to be sure of 40 °F")
	assert.Equal(t, Uncured().Limits, wide.Limits)
	assert.Zero(t, Uncured().ProbeError)
}

// cooling draws a curve that likes to sit on the limits.
func cooling(t *rapid.T) []Point {
	points := []Point{{0, quantity.FromFahrenheit(rapid.Float64Range(100, 170).Draw(t, "start"))}}
	limits := []float64{135, 130, 120, 80, 70, 55, 45, 41, 40}
	for range rapid.IntRange(1, 10).Draw(t, "corners") {
		f := rapid.Float64Range(30, 160).Draw(t, "°F")
		if rapid.Bool().Draw(t, "on a limit") {
			f = rapid.SampledFrom(limits).Draw(t, "limit")
		}
		last := points[len(points)-1]
		points = append(points, Point{last.At + at(float64(rapid.IntRange(0, 200).Draw(t, "minutes"))), quantity.FromFahrenheit(f)})
	}
	return points
}

// split cuts every line into pieces.
func split(points []Point, pieces int) []Point {
	var fine []Point
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		for n := range pieces {
			f := float64(n) / float64(pieces)
			fine = append(fine, Point{a.At + time.Duration(f*float64(b.At-a.At)), a.Temperature + quantity.Celsius(f)*(b.Temperature-a.Temperature)})
		}
	}
	return append(fine, points[len(points)-1])
}

func TestSplittingChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := cooling(t)
		fine := split(points, rapid.IntRange(2, 30).Draw(t, "pieces"))
		for _, r := range Rules() {
			whole, cut := r.Over(points), r.Over(fine)
			for i, a := range r.Legs(whole) {
				b := r.Legs(cut)[i]
				if a.Begun != b.Begun || a.Ended != b.Ended || (a.Took-b.Took).Abs() > time.Millisecond || a.Pass != b.Pass {
					t.Fatalf("%v\n%s: %+v and, in pieces, %+v", points, r.Name, a, b)
				}
			}
		}
	})
}

// TestAgainstDefinition compares the legs with a plain reading of the definition
// over the whole curve, for curves that are hot once.
func TestAgainstDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := cooling(t)
		points[0].Temperature = quantity.FromFahrenheit(165)
		r := rapid.SampledFrom(Rules()).Draw(t, "rule")
		for i := 2; i < len(points); i++ {
			points[i].Temperature = min(points[i].Temperature, r.Limits[len(r.Limits)-1].From)
		}
		s := r.Over(points)
		for i, l := range r.Legs(s) {
			start, end := lastAbove(points, l.From), lastAbove(points, l.To)
			final := points[len(points)-1]
			begun, ended := final.Temperature <= l.From, final.Temperature <= l.To
			if s.done || r.Failed(s) {
				continue // a rise after the chill takes nothing back; a broken limit stays
			}
			if l.Begun != begun || l.Ended != ended {
				t.Fatalf("%s leg %d: begun %v ended %v, by definition %v %v", r.Name, i, l.Begun, l.Ended, begun, ended)
			}
			took := final.At - start
			if ended {
				took = end - start
			}
			if begun && (l.Took-took).Abs() > time.Millisecond {
				t.Fatalf("%s leg %d took %v, by definition %v", r.Name, i, l.Took, took)
			}
		}
	})
}

// lastAbove is the end of the last time above a temperature.
func lastAbove(points []Point, limit quantity.Celsius) (last time.Duration) {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		switch {
		case b.Temperature > limit:
			last = b.At
		case a.Temperature > limit:
			last = a.At + time.Duration(float64(limit-a.Temperature)/float64(b.Temperature-a.Temperature)*float64(b.At-a.At))
		}
	}
	return last
}

// TestUnseenNeverHelps: taking readings away passes nothing that did not pass, for
// any curve that starts hot and warms no faster than UnseenRise.
func TestUnseenNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := []Point{{0, quantity.Celsius(rapid.Float64Range(58, 75).Draw(t, "start"))}}
		for range rapid.IntRange(5, 60).Draw(t, "readings") {
			last := points[len(points)-1]
			minutes := rapid.IntRange(1, 20).Draw(t, "minutes")
			change := quantity.Celsius(rapid.Float64Range(-15, 6).Draw(t, "change"))
			c := max(1, min(last.Temperature+change, last.Temperature+quantity.Celsius(UnseenRise*float64(minutes))))
			points = append(points, Point{last.At + at(float64(minutes)), c})
		}
		lost := append([]Point(nil), points...)
		for i := 1; i < len(lost); i++ {
			if rapid.IntRange(0, 3).Draw(t, "lost") == 0 {
				lost[i].Temperature = quantity.Celsius(math.NaN())
			}
		}
		for _, r := range Rules() {
			seen, unseen := r.Over(points), r.Over(lost)
			if r.Pass(unseen) && !r.Pass(seen) {
				t.Fatalf("%s passes with readings lost: %+v, without: %+v", r.Name, r.Legs(unseen), r.Legs(seen))
			}
		}
	})
}

func BenchmarkAdd(b *testing.B) {
	r, s := Uncured(), State{}
	s = r.Add(s, 70, 40, time.Minute)
	for b.Loop() {
		s = r.Add(s, 40, 40, time.Millisecond)
	}
}

// A chilled product that a probe shows a hair below hot may be hot again, where the probe may
// read too low; by a probe that is right it is not.
func TestItMayBeHotAgain(t *testing.T) {
	for _, c := range []struct {
		err quantity.Kelvin
		to  quantity.Celsius
		hot bool
	}{{0, 54, false}, {0, 55, true}, {1, 53, false}, {1, 54, true}, {1, 55.2, true}, {1, 57, true}} {
		r := *Uncured()
		r.ProbeError = c.err
		s := r.Over([]Point{{0, 60}, {at(30), 20}, {at(60), 3}, {at(120), 3}})
		assert.True(t, r.Pass(s) && r.Done(s))
		s = r.Add(s, 3, c.to, time.Hour)
		assert.Equal(t, c.hot, !r.Pass(s), "%v shown by a probe that may be wrong by %v", c.to, c.err)
		again := r.Add(r.Add(r.Add(s, c.to, 20, time.Hour), 20, 3, time.Hour), 3, 3, time.Hour)
		assert.True(t, r.Pass(again), "chilled anew in time")
		slow := r.Add(s, c.to, 20, 9*time.Hour)
		assert.Equal(t, c.hot, r.Failed(slow), "and chilled anew too slowly")
	}
}
