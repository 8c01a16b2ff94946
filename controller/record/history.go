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
	events, err := query(ctx, q, eventTable, "batch = ?", b.Number)
	if err != nil {
		return nil, err
	}
	commands, err := query(ctx, q, commandTable, "batch = ?", b.Number)
	if err != nil {
		return nil, err
	}
	return foldOf(b, events, commands), nil
}

func foldOf(b *Batch, events, commands []row) *fold {
	f := &fold{id: b.ID, events: map[int64][]row{}, reasons: map[int64]row{}}
	for _, e := range events {
		f.events[e.int("step")] = append(f.events[e.int("step")], e)
	}
	for _, c := range commands {
		step := c.int("step")
		switch kind, ok := controller.ParseCommand(c.text("command")); {
		case c.text("reason") == "":
		case step == 0 && !f.isEarly:
			f.early, f.isEarly = c, true
		case step > 0 && c.text("refused") == "" && ok && kind.Needs()&controller.WithStage != 0:
			f.reasons[step] = c
		}
	}
	return f
}

func (f *fold) step(n int64, p *profile.Product, _ *controller.Inputs, s *controller.State, out controller.Outputs, events []controller.Event) {
	if n == 0 {
		f.history.Begin(f.id, p, s.Started)
	}
	f.tell(n, s.Started, s.Elapsed, func(wall time.Time) { f.history.Add(wall, s.Elapsed, s, out, events) }, len(events))
}

// speaks reports whether the program itself says something before that step.
func (f *fold) speaks(n int64) bool {
	_, ok := f.reasons[n]
	return ok
}

// tell adds one step, with what was said before it and the words in which it was recorded.
func (f *fold) tell(n int64, started, elapsed time.Duration, add func(wall time.Time), events int) {
	h := &f.history
	if n == 0 && f.isEarly {
		h.Say(parseTime(f.early.text("wall")), started, history.Excused(f.early.text("reason")), trip.Later)
	}
	h.Skip(n)
	if why, ok := f.reasons[n]; ok {
		h.Say(parseTime(why.text("wall")), elapsed, history.Because(why.text("command"), why.text("reason")), 0)
	}
	var wall time.Time
	var words []string
	for _, e := range f.events[n] {
		wall = parseTime(e.text("wall"))
		words = append(words, e.text("text"))
	}
	add(wall)
	if len(words) == events {
		h.Worded(words)
	}
}

// sketch adds how things stood at the end of a link. torn says that nobody looked before.
func (f *fold) sketch(l row, torn bool) {
	value := func(name string) float64 {
		if v, ok := l.float(name); ok {
			return v
		}
		return math.NaN()
	}
	elapsed, _ := l.float("elapsed_seconds")
	duty, _ := l.float("heater_duty")
	f.history.Sketch(history.Sample{
		Elapsed: seconds(elapsed), Chamber: value("chamber_celsius"), Setpoint: value("setpoint_celsius"), Core: value("core_celsius"),
	}, duty, torn)
}

// sketch makes a history of the tables alone.
func sketch(ctx context.Context, q querier, b *Batch, f *fold) (history.History, error) {
	f.history = history.History{KeepAll: true}
	h := &f.history
	p, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		p = nil // it is none for this program; the words are still there
	}
	h.Begin(b.ID, p, 0)
	gaps, err := query(ctx, q, gapTable, "batch = ?", b.Number)
	if err != nil {
		return *h, err
	}
	torn := map[int64]bool{}
	for _, g := range gaps {
		torn[g.int("link")] = true
	}
	links, err := query(ctx, q, linkTable, "batch = ? AND steps > 0", b.Number)
	if err != nil {
		return *h, err
	}
	states := map[int64]controller.BatchState{} // at the end of each link, which an event ends
	for _, l := range links {
		for state := range controller.BatchStates {
			if state.String() == l.text("batch_state") {
				states[l.int("number")] = state
			}
		}
		f.sketch(l, torn[l.int("number")])
	}
	rows, err := query(ctx, q, eventTable, "batch = ?", b.Number)
	if err != nil {
		return *h, err
	}
	place := map[int64]int{}
	for _, e := range rows {
		event := told(e, p, place[e.int("step")])
		event.Batch = states[e.int("link")]
		h.Tell(event)
		place[e.int("step")]++
	}
	return *h, nil
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
