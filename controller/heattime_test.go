package controller

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/conduction"
	"fumarium/profile/quantity"
)

// heated runs the rig on and gives when the heater was last on, counted from now.
func (r *rig) heated(d time.Duration) (last time.Duration) {
	from := r.in.Elapsed
	for r.in.Elapsed-from < d {
		r.step()
		if r.out.On.Has(Heater) {
			last = r.s.Elapsed - from
		}
	}
	return last
}

// cools lets the chamber of a held batch cool.
func (r *rig) cools() {
	for r.chamber > 30 {
		r.chamber -= 0.1
		r.step()
	}
}

func TestAnUnansweredHandStepEndsTheHeat(t *testing.T) {
	long(t)
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the links"
	r.started(0)
	last := r.heated(9 * 24 * time.Hour)
	assert.InDelta(t, (2 * time.Hour).Seconds(), last.Seconds(), 60, "the heater was last on after %s", last)
	assert.Equal(t, Held, r.s.Batch)
	assert.Equal(t, trip.None, r.s.Tripped, "nothing to reset")
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.HeatEnded].Phase)
	raised := map[trip.Code]time.Duration{}
	for _, e := range r.events {
		if e.Kind == AlarmRaised {
			raised[e.Alarm] = (e.At - r.s.Started).Round(time.Minute)
		}
	}
	assert.Equal(t, map[trip.Code]time.Duration{
		trip.PromptWaiting: 15 * time.Minute, trip.PromptOverdue: time.Hour, trip.HeatEnded: 2 * time.Hour,
		trip.ComeUpLong: 5 * time.Hour, trip.ComeUpOver: 6 * time.Hour,
	}, raised, "later, soon, now; and what became of the meat")

	r.cools()
	r.step(Restart)
	last = r.heated(3 * time.Hour)
	assert.InDelta(t, (2 * time.Hour).Seconds(), last.Seconds(), 60, "two hours more")
	r.step(Restart)
	r.run(time.Hour)
	r.step(Confirm)
	r.run(11 * time.Minute)
	assert.Equal(t, Running, r.s.Batch)
	assert.Equal(t, 1, r.s.Stage, "the stage has the time that it always had")
	assert.Equal(t, trip.Normal, r.s.Alarms[trip.HeatEnded].Phase)
}

func TestAnUnansweredQuestionEndsTheHeat(t *testing.T) {
	long(t)
	r := newRig(t)
	r.p.Stages[0].Until.Conditions = append(r.p.Stages[0].Until.Conditions, profile.Condition{Kind: profile.Confirmed, Confirm: "dry?"})
	r.started(0)
	last := r.heated(24 * time.Hour)
	assert.InDelta(t, (2*time.Hour + 10*time.Minute).Seconds(), last.Seconds(), 60)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.HeatEnded].Phase)
}

// Where nothing heats there is nothing to end: it is said, and waits.
func TestAHandStepWithoutHeatHoldsNothing(t *testing.T) {
	long(t)
	r := newRig(t)
	r.p.Stages[3].Ask = "into the ice"
	r.started(3)
	r.run(24 * time.Hour)
	assert.Equal(t, Running, r.s.Batch)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.PromptOverdue].Phase)
	assert.Equal(t, trip.Normal, r.s.Alarms[trip.HeatEnded].Phase)
}

func TestACoreThatNeverRisesEndsTheHeat(t *testing.T) {
	long(t)
	for name, c := range map[string]struct{ within, overdue, ends time.Duration }{
		"short": {time.Hour, 2 * time.Hour, 3 * time.Hour},
		"long":  {8 * time.Hour, 15 * time.Hour, 16 * time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			r.p.Stages[2].Within = c.within
			r.started(2)
			r.coreIs(0, 40)
			r.quiet(trip.StageOverdue, c.overdue-time.Minute)
			r.until(trip.StageOverdue, 2*time.Minute)
			assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.StageOverdue].Phase)
			last := r.heated(24 * time.Hour)
			assert.InDelta(t, (c.ends - c.overdue).Seconds(), last.Seconds(), 120)
			assert.Equal(t, Held, r.s.Batch)
			assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.HeatEnded].Phase)
			r.cools()
			r.step(Restart)
			last = r.heated(24 * time.Hour)
			assert.InDelta(t, (2 * time.Hour).Seconds(), last.Seconds(), 60, "two hours more")
		})
	}
}

// Stages that are short of their own ends one after the other still come to an end.
func TestTheBatchEndsTheHeat(t *testing.T) {
	long(t)
	r := newRig(t)
	stage := r.p.Stages[2]
	stage.Within, stage.Until = 30*time.Minute, profile.Until{Conditions: []profile.Condition{{Kind: profile.Confirmed, Confirm: "brown?"}}}
	r.p.Stages = slices.Repeat([]profile.Stage{stage}, 12)
	r.started(0)
	from := r.in.Elapsed
	for r.in.Elapsed-from < 48*time.Hour && r.s.Batch == Running {
		r.run(110 * time.Minute)
		r.step(Confirm)
	}
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.HeatEnded].Phase)
	var ended time.Duration
	for _, e := range r.events {
		if e.Kind == AlarmRaised && e.Alarm == trip.HeatEnded {
			ended = e.At - from
		}
	}
	assert.InDelta(t, (14 * time.Hour).Seconds(), ended.Seconds(), 60, "six hours expected, and eight")
}

// What nobody saw gave no heat either.
func TestAnAbsenceUsesUpNoHeat(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the links"
	r.started(0)
	r.run(time.Hour)
	before := r.s.HeatTime
	r.in.PowerLost = true
	r.in.Elapsed += 3 * time.Hour
	r.step()
	r.in.PowerLost = false
	assert.Equal(t, before, r.s.HeatTime)
	assert.Equal(t, Holding, r.s.Batch)
}

// Without a within the end comes from an estimate, which is held here against conduction
// solved node by node (package conduction, itself held against closed forms) in the air
// that the estimate takes.
func TestTheEstimateForACoreIsGenerous(t *testing.T) {
	meat := conduction.Properties{Conductivity: meatConductivity, Density: 1050, SpecificHeat: meatConductivity / meatDiffusivity / 1050}
	for _, form := range []profile.Form{profile.Cylinder, profile.Slab, profile.Sphere} {
		for _, across := range []quantity.Meters{0.02, 0.05, 0.12} {
			shape := profile.Shape{Form: form, Diameter: across, Thickness: across}
			body, err := conduction.NewBody(24, form.Exponent(), shape.HalfThickness(), meat, coldPiece)
			require.NoError(t, err)
			took := time.Duration(0)
			for ; body.Core() < 70; took += 20 * time.Second {
				body.Step(20*time.Second, stillFilm, 80)
			}
			estimate := heatsThrough(shape, 80, 70)
			if estimate != estimateLeast && estimate != estimateMost {
				assert.InDelta(t, estimateMargin+0.3, estimate.Seconds()/took.Seconds(), 0.3, "form %v, %v m: %s estimated, %s by conduction", form, across, estimate, took)
			}
			assert.Greater(t, estimate, took, "form %v, %v m", form, across)
		}
	}
	thick := profile.Shape{Form: profile.Slab, Thickness: 0.5}
	assert.Equal(t, estimateMost, heatsThrough(thick, 80, 70))
	assert.Equal(t, estimateLeast, heatsThrough(profile.Shape{Form: profile.Sphere, Diameter: 0.001}, 80, 70))
	assert.Less(t, heatsThrough(profile.Shape{Form: profile.Cylinder, Diameter: 0.03}, 70, 90), estimateMost, "a core above the chamber never comes")
	assert.Equal(t, estimateMost, heatsThrough(profile.Shape{Form: profile.Cylinder, Diameter: 0.1}, -40, 90), "nor from a chamber below freezing")
}

// The catalogue tells people these times in words.
func TestTheTimesOfTheHeatAreTheOnesThatAreSaid(t *testing.T) {
	assert.Equal(t, 2*time.Hour, promptLongest)
	assert.Equal(t, 2*time.Hour, heatAgain)
	assert.Equal(t, time.Hour, heatWarning)
	assert.Contains(t, trip.HeatEnded.Entry().Meaning, "two hours")
	assert.Contains(t, trip.HeatEnded.Entry().Action, "two hours")
	assert.Contains(t, trip.PromptOverdue.Entry().Meaning, "an hour")
	assert.Contains(t, trip.StageOverdue.Entry().Meaning, "an hour")
}

// What page and status show is when the heat does end.
func TestHeatLeftIsTheTimeUntilItEnds(t *testing.T) {
	long(t)
	for name, ask := range map[string]string{"a hand step": "hang the pieces", "a core that never rises": ""} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			r.p.Stages[0].Ask = ask
			r.p.Stages[0].Until = core(profile.CoreAtLeast, 40)
			r.p.Stages[0].Within = time.Hour
			m, err := New(r.p, r.c)
			require.NoError(t, err)
			_, heats := m.HeatLeft(&r.s)
			assert.False(t, heats, "before a batch")
			r.step(Start)
			r.step()
			left, heats := m.HeatLeft(&r.s)
			require.True(t, heats)
			from := r.s.Elapsed
			r.until(trip.HeatEnded, 10*time.Hour)
			assert.InDelta(t, left.Seconds(), (r.s.Elapsed - from).Seconds(), 2)
			_, heats = m.HeatLeft(&r.s)
			assert.False(t, heats, "held")
			if ask == "" {
				assert.Equal(t, 3*time.Hour, m.HeatEnds(0))
			}
			assert.Zero(t, m.HeatEnds(3), "in the ice")
			assert.Greater(t, m.BatchHeat(), m.HeatEnds(0))
		})
	}
}

// long leaves out a test under -short: minutes of one goroutine's steps, which the race
// detector would make ten times as long and could find nothing in. CI runs it without.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and of one goroutine: it runs without -short")
	}
}
