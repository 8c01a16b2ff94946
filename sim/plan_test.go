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
	spread := &SpreadResult{Runs: 10, Ended: 10, Complete: 9}
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

	assert.Equal(t, 1, plan.Missed)
	spread.Ended = 8
	_, err = NewPlan(p, spread, now, ready, 0)
	assert.ErrorContains(t, err, "8 of 10")
	spread.Ended, spread.Complete = 10, 4
	_, err = NewPlan(p, spread, now, ready, 0)
	assert.ErrorContains(t, err, "4 met their limits")
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
		spread := &SpreadResult{Runs: 10, Ended: 10, Complete: 9, Stages: make([]StageSpread, len(p.Stages))}
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
	assert.Equal(t, 20, spread.Ended)
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

// What nobody has measured moves the finish; the spread over all of it covers what each
// alone comes to within the middle of its range, where half of all draws are. It shows in
// bare meat; thin sausages in humid air end within a fortieth of each other.
func TestTheSpreadCoversWhatIsUnknown(t *testing.T) {
	long(t)
	s := Setup{Product: product(t, "hayloft-chicken"), Cabinet: builtCabinet(t, "fridge-body"), Seed: 1, Answer: Brisk}
	spread, err := Spread(context.Background(), s, 40, nil)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, spread.Ended, 36)
	for _, u := range unknowns {
		for _, z := range []float64{-0.674, 0.674} {
			one := s
			u.vary(&one, z)
			took := rehearse(t, one).ElapsedSeconds
			assert.GreaterOrEqual(t, took, spread.P10Seconds, u.what)
			assert.LessOrEqual(t, took, spread.P90Seconds, u.what)
		}
	}
	assert.Greater(t, (spread.P90Seconds-spread.P10Seconds)/spread.P50Seconds, 0.04)
}

// What is unknown and not drawn is as the setup has it.
func TestNothingDrawnIsTheSetup(t *testing.T) {
	s := Setup{Product: product(t, "caraway-sticks"), Cabinet: builtCabinet(t, "fridge-body"), Seed: 1, Answer: Brisk}
	plain := s
	for _, u := range unknowns {
		u.vary(&s, 0)
	}
	assert.Equal(t, plain.Cabinet, s.Cabinet)
	assert.InDelta(t, rehearse(t, plain).ElapsedSeconds, rehearse(t, s).ElapsedSeconds, 1)
}

// One that never ended is later than all that did.
func TestWhatNeverEndsIsLate(t *testing.T) {
	p := product(t, "caraway-sticks")
	var results []*Result
	for i := range 11 {
		r := &Result{Outcome: "complete", ElapsedSeconds: float64(100 * i)}
		for range p.Stages {
			r.Stages = append(r.Stages, StageResult{EndSeconds: float64(100 * i)})
		}
		if i == 0 {
			r = &Result{Outcome: "held"}
		}
		results = append(results, r)
	}
	s := gather(p, results)
	assert.Equal(t, 10, s.Ended)
	assert.Equal(t, 595.0, s.P50Seconds) // 0.55 of the way from 100 to 1000
	assert.Equal(t, 991.0, s.P90Seconds)
}
