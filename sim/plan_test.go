package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPlanCountsBackwards(t *testing.T) {
	p := product(t, "marjoram-ring") // rests 12 h
	zone := time.FixedZone("here", 3600)
	now := time.Date(2026, 3, 3, 8, 0, 30, 0, zone)
	spread := &SpreadResult{Runs: 10, Complete: 10}
	for i, s := range p.Stages {
		spread.Stages = append(spread.Stages, StageSpread{Name: s.Name,
			EndP50Seconds: float64(3600 * (i + 1)), EndP90Seconds: float64(4000 * (i + 1))})
	}
	whole := 4000 * time.Second * time.Duration(len(p.Stages))
	ready := now.Add(40 * time.Hour)
	plan, err := NewPlan(p, spread, now, ready, 2*time.Hour)
	require.NoError(t, err)
	assert.True(t, plan.Possible)
	hang := plan.Steps[2].Begin
	assert.Equal(t, "dry", plan.Steps[2].Name)
	assert.WithinDuration(t, ready.Add(-whole), hang, time.Minute)
	assert.False(t, hang.Add(whole).After(ready), "nine of ten are ready in time")
	assert.Equal(t, 12*time.Hour, hang.Sub(plan.Steps[1].Begin))
	assert.Equal(t, 2*time.Hour, plan.Steps[1].Begin.Sub(plan.Steps[0].Begin))
	for i := 1; i < len(plan.Steps); i++ {
		assert.Equal(t, plan.Steps[i-1].Until, plan.Steps[i].Begin)
		assert.Equal(t, zone, plan.Steps[i].Begin.Location())
	}

	late, err := NewPlan(p, spread, now, now.Add(10*time.Hour), 2*time.Hour)
	require.NoError(t, err)
	assert.False(t, late.Possible)
	possible, err := NewPlan(p, spread, now, late.Earliest, 2*time.Hour)
	require.NoError(t, err)
	assert.True(t, possible.Possible, "what it calls the earliest must be possible")
	tooSoon, err := NewPlan(p, spread, now, late.Earliest.Add(-2*time.Minute), 2*time.Hour)
	require.NoError(t, err)
	assert.False(t, tooSoon.Possible)

	spread.Complete = 8
	_, err = NewPlan(p, spread, now, ready, 0)
	assert.ErrorContains(t, err, "8 of 10")
}

// What is cured from outside has a day on which salt has come to its middle: 42 mm,
// rubbed, 7.75 days (the series of Crank at 2e-10 m²/s, own arithmetic).
func TestPlanNamesTheDayOfTheMiddle(t *testing.T) {
	now := time.Date(2026, 3, 3, 8, 0, 30, 0, time.UTC)
	ready := now.Add(30 * 24 * time.Hour)
	plan := func(key string, rest time.Duration) *Plan {
		p := *product(t, key)
		if rest > 0 {
			p.Formula.Cure.Rest = rest
		}
		spread := &SpreadResult{Runs: 10, Complete: 10, Stages: make([]StageSpread, len(p.Stages))}
		got, err := NewPlan(&p, spread, now, ready, time.Hour)
		require.NoError(t, err)
		return got
	}
	got := plan("orchard-bacon", 0)
	require.NotNil(t, got.Middle)
	rest := got.Steps[1]
	took := got.Middle.Sub(rest.Begin)
	assert.True(t, took >= 186*time.Hour && took <= 188*time.Hour, took)
	assert.False(t, got.Middle.After(rest.Until))
	assert.Contains(t, rest.Note, "salt has come to the middle on "+got.Middle.Format("Mon 2 Jan"))
	assert.Contains(t, rest.Note, "nitrite there is not shown")
	assert.NotContains(t, rest.Note, "AFTER")
	got = plan("orchard-bacon", 48*time.Hour)
	assert.True(t, got.Middle.After(got.Steps[1].Until))
	assert.Contains(t, got.Steps[1].Note, "AFTER it is hung")
	// A rest that is just long enough is, also where the cure is not stuffed on the hour.
	in, ok := product(t, "orchard-bacon").CuredFromOutside()
	require.True(t, ok)
	for range 60 {
		ready = ready.Add(time.Minute)
		assert.NotContains(t, plan("orchard-bacon", in.Needed.Truncate(time.Hour)+time.Hour).Steps[1].Note, "AFTER", ready)
	}
	assert.Nil(t, plan("marjoram-ring", 0).Middle)
}

func TestSpreadKnowsItsStages(t *testing.T) {
	p := product(t, "caraway-sticks")
	spread, err := Spread(context.Background(), Setup{Product: p, Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1}, 20, nil)
	require.NoError(t, err)
	assert.Equal(t, 20, spread.Complete)
	require.Len(t, spread.Stages, len(p.Stages))
	last := 0.0
	for _, s := range spread.Stages {
		assert.Greater(t, s.EndP50Seconds, last)
		assert.GreaterOrEqual(t, s.EndP90Seconds, s.EndP50Seconds)
		last = s.EndP50Seconds
	}
	assert.InDelta(t, spread.P50Seconds, last, 1)
	assert.Less(t, spread.P10Seconds, spread.P90Seconds)
}
