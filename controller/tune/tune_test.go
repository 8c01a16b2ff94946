package tune

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
)

// A chamber is Gain·e^(-dead·s)/((lag·s+1)(second·s+1)) over a room, stepped far below its
// delays, in tenths of a second.
type chamber struct {
	gain, lag, second float64
	dead              int // s
	room              float64
	element, air      float64
	pipe              []bool
}

func (c *chamber) advance(on bool) {
	c.pipe = append(c.pipe, on)
	u := 0.0
	if n := len(c.pipe) - 1 - c.dead; n >= 0 && c.pipe[n] {
		u = 1
	}
	for range 10 {
		c.element += (u - c.element) * 0.1 / c.second
		c.air += (c.gain*c.element - c.air) * 0.1 / c.lag
	}
}

// experiment runs one on a chamber with a noisy probe that reads in sixteenths.
func experiment(c *chamber, noise float64, seed uint64) (State, []Sample) {
	random := rand.New(rand.NewPCG(seed, 1))
	var s State
	var record []Sample
	duty := 0.0
	for s.Phase < Done {
		c.advance(duty == 1)
		v := quantity.Celsius(int((c.room+c.air+noise*random.NormFloat64())*16+0.5)) / 16
		sample := Sample{Chamber: v, Known: true, On: duty == 1}
		duty = s.Step(quantity.Celsius(c.room)+quantity.Celsius(Rise), v, time.Second)
		sample.Cycling = s.Cycling()
		record = append(record, sample)
	}
	return s, record
}

// The plants are those of the check values that were computed for the control law (own
// computation, two lags and a dead time: 100 K, 1200 s, 120 s and 300 s, 30 s; 150 K,
// 1800 s, 180 s, 20 s; one lag 1200 s with 60 s).
func TestFitFindsThePlant(t *testing.T) {
	for name, c := range map[string]chamber{
		"two lags":      {gain: 100, lag: 1200, second: 120, dead: 30, room: 15},
		"a long second": {gain: 100, lag: 1200, second: 300, dead: 30, room: 15},
		"slow":          {gain: 150, lag: 1800, second: 180, dead: 20, room: 10},
		"one lag":       {gain: 100, lag: 1200, second: 1, dead: 60, room: 20},
	} {
		t.Run(name, func(t *testing.T) {
			slope, delay := c.gain/c.lag, c.second+float64(c.dead)
			s, record := experiment(&c, 0.1, 7)
			require.Equal(t, Done, s.Phase)
			l, err := Fit(s, record)
			require.NoError(t, err)
			t.Logf("%.4f K/s, learned %.4f (%.4f to %.4f); %.0f s, learned %v (%v to %v); %.2f K rms", slope, float64(l.Slope), float64(l.SlopeLeast),
				float64(l.SlopeMost), delay, l.SecondLag+l.DeadTime, l.DelayLeast, l.DelayMost, float64(l.RMS))
			assert.InEpsilon(t, slope, float64(l.Slope), 0.08)
			assert.InEpsilon(t, delay, (l.SecondLag + l.DeadTime).Seconds(), 0.15)
			assert.InDelta(t, 0.1, float64(l.Noise), 0.02)
			assert.Less(t, float64(l.RMS), 0.3)
			assert.True(t, float64(l.SlopeLeast) < slope && slope < float64(l.SlopeMost), "the truth lies within what is said of it")
			assert.True(t, l.DelayLeast.Seconds() < delay && delay < l.DelayMost.Seconds(), "the truth lies within what is said of it")
		})
	}
}

func TestARecordThatSupportsNothingIsRefused(t *testing.T) {
	done := func() (State, []Sample) {
		return experiment(&chamber{gain: 100, lag: 1200, second: 120, dead: 30, room: 15}, 0.1, 7)
	}
	for name, c := range map[string]struct {
		spoil func(*State, []Sample) []Sample
		why   string
	}{
		"broken off":   {func(s *State, r []Sample) []Sample { s.Phase, s.Cycles = Relay, 3; return r }, "the relay cycled 3 times and 6 are wanted"},
		"never there":  {func(s *State, r []Sample) []Sample { s.Phase, s.Cycles = Failed, 0; return r }, "did not reach the target"},
		"short":        {func(s *State, r []Sample) []Sample { return r[:600] }, "600 s of record"},
		"nothing":      {func(s *State, r []Sample) []Sample { return nil }, "0 s of record"},
		"door":         {func(s *State, r []Sample) []Sample { r[900].Door = true; return r }, "the door was open"},
		"late":         {func(s *State, r []Sample) []Sample { return each(r, func(x *Sample) { x.Late = true }) }, "were late"},
		"not read":     {func(s *State, r []Sample) []Sample { return each(r, func(x *Sample) { x.Known = false }) }, "readings are missing"},
		"no heat":      {func(s *State, r []Sample) []Sample { return each(r, func(x *Sample) { x.Chamber = 20 }) }, "rose by 0 K only"},
		"another heat": {func(s *State, r []Sample) []Sample { return each(r, func(x *Sample) { x.On = !x.On }) }, "something else moved the chamber"},
		"shaken": {func(s *State, r []Sample) []Sample {
			random := rand.New(rand.NewPCG(1, 2))
			return each(r, func(x *Sample) { x.Chamber += quantity.Celsius(6 * random.NormFloat64()) })
		}, "something else moved the chamber"},
	} {
		t.Run(name, func(t *testing.T) {
			s, record := done()
			record = c.spoil(&s, record)
			_, err := Fit(s, record)
			assert.ErrorContains(t, err, c.why)
		})
	}
}

func each(r []Sample, f func(*Sample)) []Sample {
	for i := range r {
		f(&r[i])
	}
	return r
}

// An experiment ends by itself, whatever the chamber does, with the heater off.
func TestAnExperimentEnds(t *testing.T) {
	for name, reads := range map[string]quantity.Celsius{"cold": 15, "at the target": 60, "hot": 200} {
		var s State
		on := time.Duration(0)
		for n := 0; s.Phase < Done; n++ {
			require.Less(t, n, 30000, name)
			on += time.Duration(s.Step(60, reads, time.Second)) * time.Second
		}
		assert.Equal(t, Failed, s.Phase, name)
		assert.Zero(t, s.Step(60, 0, time.Second), name)
		assert.LessOrEqual(t, on, fullLimit+time.Second, name)
	}
}
