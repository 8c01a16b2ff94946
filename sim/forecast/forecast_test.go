package forecast_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/sim"
	"fumarium/sim/forecast"
)

// ring dries for an hour and cooks to 70 °C.
var ring = &profile.Product{Name: "ring", Stages: []profile.Stage{
	{Name: "dry", Heat: true, ChamberSetpoint: 50, Place: profile.Chamber, Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: time.Hour}}}},
	{Name: "cook", Heat: true, ChamberSetpoint: 80, Place: profile.Chamber, Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.CoreAtLeast, Core: 70}}}},
}}

// course is a track whose core goes on from 8 °C towards an end with a time constant in
// minutes, of course with both stages; a plateau, if above zero, holds it at 60 °C for so
// many minutes.
func course(end, constant, plateau float64) forecast.Member {
	var t forecast.Track
	core, waited := 8.0, 0.0
	for m := 0.0; ; m++ {
		t.Core, t.Climb, t.Chamber = append(t.Core, float32(core)), append(t.Climb, float32(core)), append(t.Chamber, float32(min(80, 20+m)))
		t.On = append(t.On, float32(m/2))
		if core >= 70 {
			t.Elapsed = 60 * m
			t.Stages = []forecast.Span{{Index: 0, Ended: 3600, Over: true}, {Index: 1, Began: 3600, Ended: 60 * m, Over: true}}
			return forecast.Member{Track: t}
		}
		if core >= 60 && waited < plateau {
			waited++
			continue
		}
		core += (end - core) / constant
	}
}

func library(plateau float64) *forecast.Library {
	l := &forecast.Library{Product: ring}
	for i := range 40 {
		l.Members = append(l.Members, course(80, 60+3*float64(i), plateau*(0.5+float64(i)/40)))
	}
	return l
}

// A batch like some of the library is foretold within its spread and nearly to the minute;
// before the cook, in the middle of it, and near its end.
func TestABatchLikeTheLibrary(t *testing.T) {
	truth := course(80, 121, 0)
	for _, share := range []float64{0.3, 0.5, 0.8, 0.95} {
		now := truth.Until(60 * math.Floor(share*truth.Elapsed/60))
		f := library(0).At(now)
		require.Empty(t, f.Missing)
		left := truth.Elapsed - now.Elapsed
		assert.InDelta(t, truth.Elapsed, f.Finish().Middle, 0.12*left+90, "%v", share)
		assert.Less(t, f.Finish().Early, truth.Elapsed)
		assert.Greater(t, f.Finish().Late, truth.Elapsed)
	}
}

// Where the core stands still near the wet bulb, a straight line never ends; rehearsals
// know that it goes on.
func TestAPlateauEnds(t *testing.T) {
	truth := course(80, 110, 60)
	reached := 0.0
	for m, v := range truth.Core {
		if v >= 60 {
			reached = float64(m)
			break
		}
	}
	now := truth.Until(60 * (reached + 35))
	_, told := straight(now, 70)
	assert.False(t, told)
	f := library(60).At(now)
	require.Empty(t, f.Missing)
	assert.InDelta(t, truth.Elapsed, f.Finish().Middle, 0.4*(truth.Elapsed-now.Elapsed))
	assert.Less(t, f.Finish().Early, truth.Elapsed)
	assert.Greater(t, f.Finish().Late, truth.Elapsed)
}

// Nothing is said without enough rehearsals, without a core, or if no rehearsal is like it.
func TestWhatNobodyCanSay(t *testing.T) {
	truth := course(80, 110, 0)
	now := truth.Until(7200)
	few := library(0)
	few.Members = few.Members[:forecast.Fewest-1]
	assert.Equal(t, "too few rehearsals came to their end", few.At(now).Missing)
	assert.Equal(t, "no stage has begun", library(0).At(&forecast.Track{}).Missing)
	blind := *now
	blind.Core = make([]float32, len(now.Core))
	for i := range blind.Core {
		blind.Core[i] = float32(math.NaN())
	}
	assert.Equal(t, "no core is read", library(0).At(&blind).Missing)
	odd := course(2000, 2000, 0)
	strange := *odd.Until(odd.Elapsed - 60)
	strange.Chamber = make([]float32, len(strange.Core)) // at 0 °C
	strange.Stages = []forecast.Span{{Index: 0, Ended: 600, Over: true}, {Index: 1, Began: 600, Ended: strange.Elapsed}}
	assert.Equal(t, "no rehearsal is like it", library(0).At(&strange).Missing)
}

// What a batch has been through comes from its history: each answer, and each hold with its
// restart.
func TestThePastOfABatch(t *testing.T) {
	var h history.History
	var s controller.State
	s.Begun, s.Batch = true, controller.Running
	h.Begin("b", ring, 0)
	add := func(minute int, e controller.Event) {
		e.At = time.Duration(minute) * time.Minute
		h.Add(time.Time{}, e.At, &s, controller.Outputs{}, []controller.Event{e})
	}
	add(0, controller.Event{Kind: controller.BatchChanged, Batch: controller.Running})
	add(0, controller.Event{Kind: controller.StageBegan})
	add(1, controller.Event{Kind: controller.Asked, Part: controller.HandStep})
	add(6, controller.Event{Kind: controller.Answered, Part: controller.HandStep})
	add(20, controller.Event{Kind: controller.BatchChanged, Batch: controller.Holding})
	add(21, controller.Event{Kind: controller.BatchChanged, Batch: controller.Held})
	add(50, controller.Event{Kind: controller.BatchChanged, Batch: controller.Restarting})
	add(51, controller.Event{Kind: controller.BatchChanged, Batch: controller.Running})
	past := forecast.PastOf(&h, time.Hour, nil)
	assert.Equal(t, &sim.Past{Until: time.Hour, Answered: []time.Duration{6 * time.Minute}, Held: []sim.Interval{{From: 20 * time.Minute, To: 51 * time.Minute}}}, past)
	assert.Nil(t, forecast.PastOf(&h, 10*time.Minute, nil).Held)
}

// A track has what was read on its minutes, a gap where nobody looked, and is at a moment
// as it was then.
func TestTrack(t *testing.T) {
	var h history.History
	var s controller.State
	s.Begun, s.Batch = true, controller.Running
	h.Begin("b", ring, 0)
	for m := range 100 {
		at := time.Duration(m) * time.Minute
		h.Add(time.Time{}, at, &s, controller.Outputs{}, nil)
	}
	track := forecast.TrackOf(&h, 90*time.Minute)
	require.Len(t, track.Core, 91)
	assert.True(t, math.IsNaN(float64(track.Core[50])), "nothing was read")
	member := course(80, 110, 0)
	cut := member.Until(3660)
	assert.Len(t, cut.Core, 62)
	assert.Equal(t, []forecast.Span{{Index: 0, Ended: 3600, Over: true}, {Index: 1, Began: 3600, Ended: 3660}}, cut.Stages)
}
