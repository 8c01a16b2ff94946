package sim

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/profile/catalog"
)

// What the help and the README say of the times that are drawn.
func TestHowLongThePersonTakes(t *testing.T) {
	p := NewPerson(product(t, "marjoram-ring"), 0, 1)
	times := make([]time.Duration, 20001)
	for i := range times {
		times[i] = p.takes()
	}
	slices.Sort(times)
	assert.InEpsilon(t, 4*time.Minute, times[len(times)/2], 0.03, "half of them within")
	assert.InEpsilon(t, 15*time.Minute, times[len(times)*9/10], 0.04, "nine of ten within; what is above an hour is drawn again")
	assert.GreaterOrEqual(t, times[0], time.Duration(0))
	assert.LessOrEqual(t, times[len(times)-1], time.Hour)
	assert.Greater(t, times[len(times)-1], 50*time.Minute, "and some are long in coming")
}

// Each hand step has a time of its own, the seed gives them again, and a fixed time is
// the same for all.
func TestAnswersAreDrawnByTheSeed(t *testing.T) {
	after := func(seed uint64, fixed time.Duration) (times []float64) {
		r := rehearse(t, Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: seed, Answer: fixed})
		require.Equal(t, controller.Complete.String(), r.Outcome)
		for _, p := range r.Prompts {
			times = append(times, p.AfterSeconds)
		}
		return times
	}
	first := after(1, 0)
	require.Len(t, first, 6)
	assert.Len(t, slices.Compact(slices.Sorted(slices.Values(first))), 6)
	assert.Equal(t, first, after(1, 0))
	assert.NotEqual(t, first, after(2, 0))
	assert.Equal(t, slices.Repeat([]float64{600}, 6), after(1, 10*time.Minute))
}

// A copy goes on as the original does, and neither disturbs the other.
func TestACopiedPersonIsAnother(t *testing.T) {
	a := NewPerson(product(t, "marjoram-ring"), 0, 3)
	b := a
	want := []time.Duration{a.takes(), a.takes(), a.takes()}
	assert.Equal(t, want, []time.Duration{b.takes(), b.takes(), b.takes()})
}

// Whoever is late spoils no shipped product's safety: it completes, and is good, in every
// large cabinet. How well the chamber is held while it waits is not held to anything here.
func TestLateAnswersCostTimeNotSafety(t *testing.T) {
	long(t)
	entries, err := catalog.All()
	require.NoError(t, err)
	for _, name := range []string{"plywood-cabinet", "fridge-body", "masonry-walk-in"} {
		for _, e := range entries {
			s := Setup{Product: e.Value, Cabinet: builtCabinet(t, name), Seed: 1, Answer: Brisk}
			brisk := rehearse(t, s)
			s.Answer = 0
			r := rehearse(t, s)
			assert.True(t, r.AsPlanned(), "%s in %s: %s %s %+v", e.Key, name, r.Outcome, r.Reason, r.Alarms)
			overshoot := func(r *Result) float64 {
				if r.Control.OvershootKelvin == nil {
					return 0
				}
				return *r.Control.OvershootKelvin
			}
			t.Logf("%-16s %-20s finish %6.0f s, brisk %6.0f; overshoot %4.1f K, brisk %3.1f; alarms %v", name, e.Key,
				r.ElapsedSeconds, brisk.ElapsedSeconds, overshoot(r), overshoot(brisk), codes(r))
		}
	}
}
