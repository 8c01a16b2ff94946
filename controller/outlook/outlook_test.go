package outlook_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
)

var start = time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)

var ham = &profile.Product{Name: "ham", Stages: []profile.Stage{{Name: "dry"}, {Name: "smoke", Ask: "Light it"}, {Name: "chill", Place: profile.ColdRoom}}}

// three rehearsals: dry for an hour, smoke for two to four, chill for an hour with a
// question after half of it.
func three() *outlook.Course {
	c := &outlook.Course{Tried: 3}
	for _, hours := range []float64{3, 2, 4} {
		c.Runs = append(c.Runs, outlook.Run{
			{Seconds: 3600}, {Seconds: hours * 3600, Hands: []outlook.Hand{{Text: "Light it"}}}, {Seconds: 3600, Hands: []outlook.Hand{{Text: "Cold?", Seconds: 1800}}},
		})
	}
	return c
}

func clock(at *time.Time) string {
	if at == nil {
		return "?"
	}
	return at.Format("15:04")
}

// times writes a plan on one line: stages, hand steps, finish.
func times(p *outlook.Plan) (text string) {
	for _, s := range p.Stages {
		text += s.Name + " " + clock(s.Start) + " to " + clock(s.End) + ", "
	}
	for _, h := range p.Hands {
		text += h.Text + " " + clock(&h.At) + " (" + clock(&h.Earliest) + " to " + clock(&h.Latest) + "), "
	}
	return text + clock(p.Finish) + " (" + clock(p.Earliest) + " to " + clock(p.Latest) + ")"
}

// under is the batch after some time, with the stages that began when the list says.
func under(elapsed time.Duration, began ...time.Duration) *snapshot.Snapshot {
	s := &snapshot.Snapshot{Time: start.Add(elapsed), Product: ham}
	s.State = controller.State{Begun: true, Batch: controller.Running, Elapsed: elapsed, Stage: len(began) - 1}
	s.History.Begin("b", ham, 0)
	for i, at := range began {
		var events []controller.Event
		if i > 0 {
			events = append(events, controller.Event{Kind: controller.StageEnded, At: at, Stage: i - 1, By: controller.EndedByTime})
		}
		events = append(events, controller.Event{Kind: controller.StageBegan, At: at, Stage: i})
		if ham.Stages[i].Ask != "" {
			events = append(events, controller.Event{Kind: controller.Asked, At: at, Stage: i, Part: controller.HandStep})
		}
		s.History.Add(start.Add(at), at, &s.State, controller.Outputs{}, events)
	}
	return s
}

// Quantiles of 2, 3 and 4 hours, type 7: the median is 3, one in ten 2.2, nine in ten 3.8.
func TestPlanMovesAlong(t *testing.T) {
	c := three()
	for name, test := range map[string]struct {
		now   *snapshot.Snapshot
		plan  string
		lacks string
		alter func(*snapshot.Snapshot)
	}{
		"just begun": {now: under(0, 0),
			plan: "dry 08:00 to 09:00, smoke 09:00 to 12:00, chill 12:00 to 13:00, Light it 09:00 (09:00 to 09:00), Cold? 12:30 (11:42 to 13:18), 13:00 (12:12 to 13:48)"},
		"dry took longer than ever rehearsed: all of it moves": {now: under(2*time.Hour, 0),
			plan: "dry 08:00 to 10:00, smoke 10:00 to 13:00, chill 13:00 to 14:00, Light it 10:00 (10:00 to 10:00), Cold? 13:30 (12:42 to 14:18), 14:00 (13:12 to 14:48)"},
		"what is past has its real times, and what was asked is no longer ahead": {now: under(2*time.Hour, 0, 30*time.Minute),
			plan: "dry 08:00 to 08:30, smoke 08:30 to 11:30, chill 11:30 to 12:30, Cold? 12:00 (11:12 to 12:48), 12:30 (11:42 to 13:18)"},
		"rehearsals that were quicker than now bound nothing any more": {now: under(4*time.Hour, 0, 30*time.Minute),
			plan: "dry 08:00 to 08:30, smoke 08:30 to 12:00, chill 12:00 to 13:00, Cold? 12:30 (12:30 to 12:54), 13:00 (13:00 to 13:24)"},
		"held": {now: under(2*time.Hour, 0, 30*time.Minute), alter: func(s *snapshot.Snapshot) { s.State.Batch = controller.Held },
			plan: "dry 08:00 to 08:30, smoke 08:30 to ?, chill ? to ?, ? (? to ?)", lacks: "held"},
		"tripped": {now: under(2*time.Hour, 0, 30*time.Minute), alter: func(s *snapshot.Snapshot) { s.State.Tripped = trip.ChamberHigh },
			plan: "dry 08:00 to 08:30, smoke 08:30 to ?, chill ? to ?, ? (? to ?)", lacks: "locked off"},
	} {
		t.Run(name, func(t *testing.T) {
			if test.alter != nil {
				test.alter(test.now)
			}
			plan, lacks := c.Of(test.now)
			assert.Equal(t, test.plan, times(plan))
			assert.Equal(t, test.lacks, lacks)
			assert.Equal(t, profile.ColdRoom.String(), plan.Stages[2].Place)
		})
	}
	assert.Equal(t, times(mustPlan(c.Of(under(0, 0)))), times(c.Before(ham, start)), "before the start it says the same")
}

func mustPlan(p *outlook.Plan, _ string) *outlook.Plan { return p }

func TestRunOfAHistory(t *testing.T) {
	s := under(2*time.Hour, 0, 30*time.Minute)
	_, whole := outlook.RunOf(&s.History, ham)
	assert.False(t, whole, "a stage is missing")
	s = under(4*time.Hour, 0, 30*time.Minute, 3*time.Hour)
	_, whole = outlook.RunOf(&s.History, ham)
	assert.False(t, whole, "the last did not end")
	s.State.Batch = controller.Complete
	s.History.Add(start, 4*time.Hour, &s.State, controller.Outputs{}, []controller.Event{{Kind: controller.StageEnded, At: 4 * time.Hour, Stage: 2}})
	run, whole := outlook.RunOf(&s.History, ham)
	require.True(t, whole)
	assert.Equal(t, outlook.Run{{Seconds: 1800}, {Seconds: 9000, Hands: []outlook.Hand{{Text: "Light it"}}}, {Seconds: 3600}}, run)
	assert.True(t, (&outlook.Course{Runs: []outlook.Run{run}}).Fits(ham))
	assert.False(t, (&outlook.Course{Runs: []outlook.Run{run[:2]}}).Fits(ham))
	assert.False(t, (&outlook.Course{}).Fits(ham))
}

// A forecast has the last word on what is left, as long as it is of this stage and not old;
// hand steps move with their stages. What it says of the past is no sooner than now.
func TestAForecastHasTheLastWord(t *testing.T) {
	now := under(2*time.Hour, 0, 30*time.Minute)
	at := func(h, m int) time.Time { return time.Date(2026, 3, 14, h, m, 0, 0, time.UTC) }
	told := func() *outlook.Forecast {
		return &outlook.Forecast{Made: at(9, 58), Stage: 1, Ends: []outlook.Range{{at(9, 50), at(11, 0), at(12, 0)}, {at(10, 50), at(12, 0), at(13, 0)}}}
	}
	plan := mustPlan(three().Of(now))
	assert.Equal(t, outlook.FromRehearsals, plan.From)
	plan.Foretell(told(), 1)
	assert.Equal(t, "dry 08:00 to 08:30, smoke 08:30 to 11:00, chill 11:00 to 12:00, Cold? 11:30 (10:42 to 12:18), 12:00 (10:50 to 13:00)", times(plan))
	assert.Equal(t, outlook.FromForecast, plan.From)
	assert.Nil(t, plan.ForecastMissing)
	assert.Equal(t, "10:00", clock(plan.Stages[1].EndEarliest), "what is left is not past")
	assert.Equal(t, "12:00", clock(plan.Stages[1].EndLatest))
	for why, alter := range map[string]func(*outlook.Forecast){
		"no rehearsal is like it":  func(f *outlook.Forecast) { f.Missing = "no rehearsal is like it" },
		"the stage has just begun": func(f *outlook.Forecast) { f.Stage = 0 },
		"the last is too old":      func(f *outlook.Forecast) { f.Made = at(9, 54) },
	} {
		plan, f := mustPlan(three().Of(now)), told()
		alter(f)
		plan.Foretell(f, 1)
		assert.Equal(t, outlook.FromRehearsals, plan.From)
		assert.Equal(t, why, *plan.ForecastMissing)
		assert.Equal(t, times(mustPlan(three().Of(now))), times(plan))
	}
	now.State.Batch = controller.Held
	plan = mustPlan(three().Of(now))
	plan.Foretell(told(), 1)
	assert.Empty(t, plan.From)
	assert.Nil(t, plan.Finish)
}

// A stage that a person passed over has no times, and a rehearsal that passes it over is whole.
func TestASkippedStageHasNoTimes(t *testing.T) {
	s := &snapshot.Snapshot{Product: ham, Time: start.Add(40 * time.Minute)}
	s.State = controller.State{Batch: controller.Running, Stage: 2, Elapsed: 40 * time.Minute}
	s.History.Begin("b", ham, 0)
	add := func(at time.Duration, events ...controller.Event) {
		for i := range events {
			events[i].At = at
		}
		s.History.Add(start.Add(at), at, &s.State, controller.Outputs{}, events)
	}
	add(0, controller.Event{Kind: controller.StageBegan})
	add(30*time.Minute, controller.Event{Kind: controller.StageEnded, By: controller.EndedBySkip}, controller.Event{Kind: controller.StageBegan, Stage: 2})
	plan, _ := three().Of(s)
	assert.Equal(t, "dry 08:00 to 08:30, smoke ? to ?, chill 08:30 to 09:30, Cold? 09:00 (09:00 to 09:00), 09:30 (09:30 to 09:30)", times(plan))
	_, whole := outlook.RunOf(&s.History, ham)
	assert.False(t, whole, "it goes on")
	add(2*time.Hour, controller.Event{Kind: controller.StageEnded, Stage: 2})
	run, whole := outlook.RunOf(&s.History, ham)
	require.True(t, whole)
	assert.Equal(t, []float64{1800, 0, 5400}, []float64{run[0].Seconds, run[1].Seconds, run[2].Seconds})
}
