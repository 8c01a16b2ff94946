package record

import (
	"context"
	"math"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/controller/trip"
	"fumarium/profile"
)

// History gives the course of a batch: its curve, its stages and every event, in the
// words in which it was recorded. The batch is replayed for it. Where this program
// cannot do that, or decides otherwise than the one that recorded, the history is made
// of what the file's tables say: one sample for each commit, and events without what
// only the steps hold.
func (r *Reader) History(ctx context.Context, id string) (*history.History, error) {
	var told history.History
	err := r.reading(ctx, func(q querier) error {
		row, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		b := batchOf(row)
		f, err := newFold(ctx, q, b)
		if err != nil {
			return err
		}
		f.history.KeepAll = true
		_, _, result, err := replay(ctx, q, b, f.step)
		if told = f.history; err == nil && result.Decisions == nil {
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		told, err = sketch(ctx, q, b, f)
		return err
	})
	return &told, err
}

// A fold makes a history of the steps of a replay.
type fold struct {
	id      string
	events  map[int64][]row // by step: when they were on the wall clock, and their words
	early   row             // the command that started the batch before its rest was over
	isEarly bool
	reasons map[int64]row // by step: a change of the stage under way, and why
	history history.History
}

func newFold(ctx context.Context, q querier, b *Batch) (*fold, error) {
	f := &fold{id: b.ID, events: map[int64][]row{}, reasons: map[int64]row{}}
	rows, err := query(ctx, q, eventTable, "batch = ?", b.Number)
	if err != nil {
		return nil, err
	}
	for _, e := range rows {
		f.events[e.int("step")] = append(f.events[e.int("step")], e)
	}
	starts, err := query(ctx, q, commandTable, "batch = ? AND step = 0 AND reason IS NOT NULL", b.Number)
	if err != nil {
		return nil, err
	}
	if len(starts) > 0 {
		f.early, f.isEarly = starts[0], true
	}
	changes, err := query(ctx, q, commandTable, "batch = ? AND step > 0 AND reason IS NOT NULL AND refused IS NULL", b.Number)
	if err != nil {
		return nil, err
	}
	for _, c := range changes {
		if kind, ok := controller.ParseCommand(c.text("command")); ok && kind.Needs()&controller.WithStage != 0 {
			f.reasons[c.int("step")] = c
		}
	}
	return f, nil
}

func (f *fold) step(n int64, p *profile.Product, _ *controller.Inputs, s *controller.State, out controller.Outputs, events []controller.Event) {
	h := &f.history
	if n == 0 {
		h.Begin(f.id, p, s.Started)
		if f.isEarly {
			h.Say(parseTime(f.early.text("wall")), s.Started, history.Excused(f.early.text("reason")), trip.Later)
		}
	}
	h.Skip(n)
	if why, ok := f.reasons[n]; ok {
		h.Say(parseTime(why.text("wall")), s.Elapsed, history.Because(why.text("command"), why.text("reason")), 0)
	}
	var wall time.Time
	var words []string
	for _, e := range f.events[n] {
		wall = parseTime(e.text("wall"))
		words = append(words, e.text("text"))
	}
	h.Add(wall, s.Elapsed, s, out, events)
	if len(words) == len(events) {
		h.Worded(words)
	}
}

// sketch makes a history of the tables alone.
func sketch(ctx context.Context, q querier, b *Batch, f *fold) (history.History, error) {
	h := history.History{KeepAll: true}
	p, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		p = nil // it is none for this program; the words are still there
	}
	h.Begin(b.ID, p, 0)
	gaps, err := query(ctx, q, gapTable, "batch = ?", b.Number)
	if err != nil {
		return h, err
	}
	torn := map[int64]bool{}
	for _, g := range gaps {
		torn[g.int("link")] = true
	}
	links, err := query(ctx, q, linkTable, "batch = ? AND steps > 0", b.Number)
	if err != nil {
		return h, err
	}
	states := map[int64]controller.BatchState{} // at the end of each link, which an event ends
	for _, l := range links {
		for state := range controller.BatchStates {
			if state.String() == l.text("batch_state") {
				states[l.int("number")] = state
			}
		}
		value := func(name string) float64 {
			if v, ok := l.float(name); ok {
				return v
			}
			return math.NaN()
		}
		elapsed, _ := l.float("elapsed_seconds")
		duty, _ := l.float("heater_duty")
		h.Sketch(history.Sample{
			Elapsed: seconds(elapsed), Chamber: value("chamber_celsius"), Setpoint: value("setpoint_celsius"), Core: value("core_celsius"),
		}, duty, torn[l.int("number")])
	}
	rows, err := query(ctx, q, eventTable, "batch = ?", b.Number)
	if err != nil {
		return h, err
	}
	place := map[int64]int{}
	for _, e := range rows {
		event := told(e, p, place[e.int("step")])
		event.Batch = states[e.int("link")]
		h.Tell(event)
		place[e.int("step")]++
	}
	return h, nil
}

// told is an event as the table has it.
func told(r row, p *profile.Product, place int) history.Event {
	elapsed, _ := r.float("elapsed_seconds")
	e := history.Event{
		ID: history.ID{Step: r.int("step"), Place: place}, Elapsed: seconds(elapsed), Wall: parseTime(r.text("wall")), Said: r.text("text"),
	}
	e.Kind, _ = history.ParseKind(r.text("kind"))
	e.Alarm, _ = trip.Parse(r.text("alarm"))
	e.Priority = history.PriorityOf(e.Event)
	if p != nil && r.text("stage") != "" {
		e.Stage = slices.IndexFunc(p.Stages, func(s profile.Stage) bool { return s.Name == r.text("stage") })
	}
	return e
}
