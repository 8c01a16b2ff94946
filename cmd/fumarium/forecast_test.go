package main

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

// A batch is forecast from the middle of its cook: first it says how far the library is,
// then when it will be done, and that has to hold what happens. Held, nobody can say; over,
// it is held against what happened.
func TestABatchIsForecast(t *testing.T) {
	long(t)
	p, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	c, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	m, err := controller.New(p.Value, c.Value)
	require.NoError(t, err)
	w, err := sim.NewWorld(sim.Setup{Product: p.Value, Cabinet: c.Value, Seed: 5, Load: 5})
	require.NoError(t, err)
	w.Order(controller.Command{Kind: controller.Start, Excused: true})
	s := &snapshot.Snapshot{BatchID: "b", Product: p.Value, Cabinet: c.Value}
	s.History.Begin("b", p.Value, 0)
	began, until := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC), time.Duration(1<<62)
	run := func(until func(*sim.Moment) bool) {
		require.NoError(t, sim.Run(t.Context(), m, &s.State, w, func(now *sim.Moment) bool {
			s.Time, s.Inputs = began.Add(now.Now), now.Inputs
			s.History.Add(s.Time, now.Now, &s.State, now.Out, now.Events)
			return !until(now)
		}))
	}
	run(func(now *sim.Moment) bool {
		if s.State.Stage == 2 && until > now.Now+30*time.Minute {
			until = now.Now + 30*time.Minute
		}
		return now.Now >= until
	})
	var note string
	f := &forecaster{plans: &planner{cabinet: c.Value}, log: slog.New(slog.DiscardHandler), note: func(_ context.Context, batch, text string) error {
		note = batch + ": " + text
		return nil
	}}
	f.look(t.Context(), s)
	assert.Equal(t, "it is being rehearsed", f.Of("b").Missing)
	f.plans.made.Store(&outlooked{Batch: "b", Course: &outlook.Course{}})
	f.hasty = true
	assert.True(t, f.look(t.Context(), s))
	assert.Equal(t, "being rehearsed, 1 of 64", f.Of("b").Missing)
	for f.now.drawn < 26 {
		f.look(t.Context(), s)
	}
	says := f.Of("b")
	require.Empty(t, says.Missing)
	require.Len(t, says.Ends, 3, "cook, and two after it")
	assert.Equal(t, s.Time, says.Made)
	supposes(t, f, s, m, w)
	s.State.Batch = controller.Held
	f.look(t.Context(), s)
	assert.Equal(t, "held", f.Of("b").Missing)
	s.State.Batch = controller.Running

	run(func(*sim.Moment) bool { return false })
	require.Equal(t, controller.Complete, s.State.Batch)
	cooked := began.Add(s.History.Stages()[2].Ended)
	assert.True(t, says.Ends[0].Earliest.Before(cooked) && says.Ends[0].Latest.After(cooked), "%v: %v", cooked, says.Ends[0])
	f.look(t.Context(), s)
	assert.Contains(t, note, "b: forecast against what happened: done ")
	assert.Contains(t, note, "in stage cook at ")
	assert.Nil(t, f.Of("b"))
}

// What was said is held against what happened, in words for the record.
func TestAgainstWhatHappened(t *testing.T) {
	at := func(h, m int) time.Time { return time.Date(2026, 3, 14, h, m, 0, 0, time.UTC) }
	said := []saidForecast{
		{"dry", at(9, 0), outlook.Range{Earliest: at(14, 0), Middle: at(15, 0), Latest: at(17, 0)}},
		{"cook", at(12, 0), outlook.Range{Earliest: at(13, 0), Middle: at(13, 40), Latest: at(14, 10)}},
	}
	assert.Equal(t, "forecast against what happened: done Sat 14:20; "+
		"in stage dry at Sat 09:00 it said Sat 15:00 (Sat 14:00 to Sat 17:00), 40 min too late; "+
		"in stage cook at Sat 12:00 it said Sat 13:40 (Sat 13:00 to Sat 14:10), 40 min too early; "+
		"1 of 2 spreads held it, of ten eight should", against(said, at(14, 20)))
}

// After a hold the library is drawn anew, with the hold in every rehearsal; and so after a
// door that stood open for long, but not for one that was opened and shut, and after somebody
// has changed the stage. A program that is started anew draws it from the record's history
// as the one before did.
func TestTheLibraryIsDrawnAnew(t *testing.T) {
	long(t)
	p, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	c, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	begin := func() *forecaster {
		f := &forecaster{plans: &planner{cabinet: c.Value}, log: slog.New(slog.DiscardHandler), hasty: true}
		f.plans.made.Store(&outlooked{Batch: "b", Course: &outlook.Course{}})
		return f
	}
	f := begin()
	s := &snapshot.Snapshot{BatchID: "b", Product: p.Value, Cabinet: c.Value}
	at := func(elapsed time.Duration, state controller.BatchState, events ...controller.Event) {
		s.State.Batch, s.State.Elapsed, s.Time = state, elapsed, time.Unix(0, 0).Add(elapsed)
		if state != stateTold(s) {
			events = append(events, controller.Event{Kind: controller.BatchChanged, Batch: state})
		}
		for i := range events {
			events[i].At = elapsed
		}
		s.History.Add(s.Time, elapsed, &s.State, controller.Outputs{}, events)
		f.look(context.Background(), s)
	}
	s.History.Begin("b", p.Value, 0)
	at(0, controller.Running, controller.Event{Kind: controller.StageBegan})
	at(time.Minute, controller.Running)
	assert.Equal(t, 2, f.now.drawn)
	at(2*time.Minute, controller.Running)
	at(3*time.Minute, controller.Running)
	assert.Equal(t, 4, f.now.drawn, "a door for less than two minutes says nothing")
	at(6*time.Minute, controller.Running, controller.Event{Kind: controller.AlarmRaised, Alarm: trip.DoorOpen})
	assert.Equal(t, 5, f.now.drawn, "it still stands open")
	at(9*time.Minute, controller.Running, controller.Event{Kind: controller.AlarmReturned, Alarm: trip.DoorOpen})
	assert.Equal(t, 1, f.now.drawn)
	assert.Equal(t, []sim.Interval{{From: 4 * time.Minute, To: 9 * time.Minute}}, f.now.past.Door)
	at(10*time.Minute, controller.Held)
	assert.Equal(t, "held", f.Of("b").Missing)
	at(20*time.Minute, controller.Running)
	assert.Equal(t, 1, f.now.drawn)
	assert.Equal(t, []sim.Interval{{From: 10 * time.Minute, To: 20 * time.Minute}}, f.now.past.Held)
	assert.Contains(t, f.Of("b").Missing, "being rehearsed anew, 1 of 64")
	assert.Nil(t, f.Of("another"))

	hotter := controller.Bend{Parts: controller.BentChamber, Chamber: 60}
	at(21*time.Minute, controller.Running)
	assert.Equal(t, 2, f.now.drawn)
	at(22*time.Minute, controller.Running, controller.Event{Kind: controller.Bent, Bend: hotter, For: 22 * time.Minute})
	assert.Equal(t, 1, f.now.drawn, "with the chamber that was changed")
	require.Len(t, f.now.turns, 1)
	assert.Equal(t, hotter, f.now.turns[0].Order.Bend)

	before := f.now
	f = begin()
	at(23*time.Minute, controller.Running)
	assert.Equal(t, 1, f.now.drawn, "as much as the last one had when it was ended")
	assert.Equal(t, before.turns, f.now.turns)
	assert.Equal(t, before.past.Door, f.now.past.Door)
	assert.Equal(t, before.past.Held, f.now.past.Held)
	assert.InDelta(t, before.library.Members[0].Elapsed, f.now.library.Members[0].Elapsed, 120, "what it has been through is known for a minute longer")
}

// stateTold is the state of the batch as the history has it last.
func stateTold(s *snapshot.Snapshot) controller.BatchState {
	var last controller.BatchState
	for _, e := range s.History.BatchEvents() {
		if e.Kind == controller.BatchChanged {
			last = e.Batch
		}
	}
	return last
}
