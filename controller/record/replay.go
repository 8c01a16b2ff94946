package record

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/profile/deviation"
	"fumarium/profile/proof"
	"fumarium/profile/weighed"
)

// A Difference is the first place where a replay does not give what was recorded.
type Difference struct {
	Step     int64
	Elapsed  time.Duration // since the batch was started
	What     string        // "outputs", "events" or "state"
	Recorded string
	Replayed string
}

func (d *Difference) String() string {
	return fmt.Sprintf("step %d, %v: %s recorded %s, replayed %s", d.Step, d.Elapsed, d.What, d.Recorded, d.Replayed)
}

// A Result is what a replay came to.
type Result struct {
	Steps   int64
	Gaps    int
	Program string // that recorded the batch, at its start
	// Decisions is the first difference in outputs or events; nil is none. The replay
	// ends there.
	Decisions *Difference
	// State is the first commit at whose end the state is another; nil is none. With
	// equal decisions it may be the last bit of a sum on another processor.
	State *Difference
	// Lost are recorded fields of the state that this program does not keep and that
	// held something, as far as anyone can tell. Where there are some, not all states
	// could be compared, only the decisions.
	Lost []string
	// Final is the state after the last step.
	Final controller.State
	// Course is that of the cores, as they were believed, for a Replay; and Product what
	// was made.
	Course  deviation.Course
	Product *profile.Product
	Cabinet *cabinet.Cabinet
	Peak    float64 // the hottest that the chamber was read, °C; NaN is never
	// Weighed is what people weighed for it; nil where they weighed nothing.
	Weighed *weighed.Tally
	// Verdict is what can be said of the batch by all that. Whether the record is whole is
	// for Verify.
	Verdict proof.Verdict
}

// Same reports whether the replay gave everything again.
func (r *Result) Same() bool { return r.Decisions == nil && r.State == nil }

// errDiffers ends a replay at its first difference.
var errDiffers = errors.New("differs")

// Replay runs a batch again: it parses the product and the cabinet as recorded,
// gives this program's controller every recorded input, and compares what comes out
// with what was recorded. After a gap it goes on from the state recorded there.
func (r *Reader) Replay(ctx context.Context, id string) (*Result, error) {
	var result *Result
	err := r.reading(ctx, func(q querier) error {
		row, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		var course coreCourse
		_, _, replayed, err := replay(ctx, q, batchOf(row), course.see)
		if result = replayed; result != nil {
			result.Course, result.Peak = course.samples, math.NaN()
			if course.seen {
				result.Peak = course.peak
			}
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return result, nil
}

// Lessons gives what the experiments of a batch have shown by which a cabinet learns, and
// the cabinet. The batch is replayed for it: a record that this program does not give
// again teaches nothing.
func (r *Reader) Lessons(ctx context.Context, id string) (*controller.Lessons, *cabinet.Cabinet, error) {
	var lessons controller.Lessons
	var c *cabinet.Cabinet
	err := r.reading(ctx, func(q querier) error {
		row, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		b := batchOf(row)
		_, cab, result, err := replay(ctx, q, b, func(_ int64, p *profile.Product, in *controller.Inputs, s *controller.State, out controller.Outputs, events []controller.Event) {
			lessons.See(p, in, s, out, events)
		})
		if c = cab; err == nil && !result.Same() {
			differs := result.Decisions
			if differs == nil {
				differs = result.State
			}
			err = fmt.Errorf("batch %s does not replay, so nothing is learned of it: %s", b.ID, differs)
		}
		return err
	})
	return &lessons, c, err
}

// An observer sees each step of a replay that gave what was recorded.
type observer func(n int64, p *profile.Product, in *controller.Inputs, s *controller.State, out controller.Outputs, events []controller.Event)

func replay(ctx context.Context, q querier, b *Batch, see observer) (*profile.Product, *cabinet.Cabinet, *Result, error) {
	p, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("batch %s: the product as recorded is not one for this program: %w", b.ID, err)
	}
	c, err := cabinet.ParseRecorded(b.CabinetName, b.CabinetFile)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("batch %s: the cabinet as recorded is not one for this program: %w", b.ID, err)
	}
	machine, err := controller.New(p, c)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("batch %s: %w", b.ID, err)
	}
	var m *memory
	var state controller.State
	runs := machine
	result := &Result{Program: b.Program}
	from := func(layout, text string) (err error) {
		if m, err = memoryOf(layout); err != nil {
			return err
		}
		if runs = machine; !m.has("balance.share_ratio") {
			runs = machine.Unbalanced()
		}
		if !m.has("heater.aim_lower_kelvin") {
			runs = runs.FixedCoasting()
		}
		if !m.has("air.asked_damper_ratio") {
			runs = runs.Airless()
		}
		if !m.has("heater.smoke_duty_ratio") {
			runs = runs.TightlyTuned()
		}
		if !m.has("heater.held_integral_ratio") {
			runs = runs.Slack()
		}
		if !m.has("air.damper_driven") {
			runs = runs.Forgetful()
		}
		if !m.has("chamber.probe[0].asked") {
			runs = runs.Unasked()
		}
		state, err = m.parse(text)
		return err
	}
	if err := from(b.layout, b.state); err != nil {
		return nil, nil, nil, fmt.Errorf("batch %s: %w", b.ID, err)
	}
	last := int64(-1)
	err = walk(ctx, q, b, walker{
		gap: func(gap row) error {
			result.Gaps++
			return from(gap.text("layout"), gap.text("state"))
		},
		step: func(n int64, f *frame, events []controller.Event) error {
			s, out, happened := runs.Step(state, f.In)
			state, last = s, n
			result.Steps++
			differs := func(what string, recorded, replayed any) error {
				result.Decisions = &Difference{
					Step: n, Elapsed: f.In.Elapsed - s.Started, What: what,
					Recorded: fmt.Sprintf("%+v", recorded), Replayed: fmt.Sprintf("%+v", replayed),
				}
				return errDiffers
			}
			if out != f.Out {
				return differs("outputs", f.Out, out)
			}
			if !slices.EqualFunc(happened, events, sameEvent) {
				return differs("events", events, happened)
			}
			if see != nil {
				see(n, p, &f.In, &s, out, happened)
			}
			return ctx.Err()
		},
		end: func(l row) error {
			sum := m.hash(&state)
			if bytes.Equal(sum[:], l.blob("state_hash")) { // then what is not kept was zero
				return nil
			}
			for _, name := range m.lost {
				if name = index.ReplaceAllString(name, "[]"); !slices.Contains(result.Lost, name) {
					result.Lost = append(result.Lost, name)
				}
			}
			if len(m.lost) == 0 && result.State == nil {
				result.State = &Difference{
					Step: last, Elapsed: state.Elapsed - state.Started, What: "state",
					Recorded: fmt.Sprintf("hash %x", l.blob("state_hash")), Replayed: fmt.Sprintf("hash %x", sum[:]),
				}
			}
			return nil
		},
	})
	if errors.Is(err, errDiffers) {
		err = nil
	}
	result.Final, result.Product, result.Cabinet = state, p, c
	said, missing := entries(ctx, q, b.Number)
	err = errors.Join(err, missing)
	result.judge(said)
	return p, c, result, err
}

// judge says what can be said of the batch by its last state and by what people weighed.
func (r *Result) judge(said []Entry) {
	s := &r.Final
	r.Weighed = TallyOf(r.Product, s.Where, said)
	made := r.Product
	if r.Weighed != nil {
		made = r.Weighed.Product
	}
	rules := s.Rules(r.Product).MadeAs(made)
	r.Verdict = s.Verdict(&rules, !s.Batch.Active())
	r.Weighed.Amend(&r.Verdict)
}

// sameEvent compares a replayed event with a recorded one. Older programs did not say which
// question it was, nor what the cabinet has that an alarm speaks of.
func sameEvent(replayed, recorded controller.Event) bool {
	if recorded.Part == controller.Unnamed {
		replayed.Part = controller.Unnamed
	}
	if recorded.Here == 0 {
		replayed.Here = 0
	}
	return replayed == recorded
}

// A Recovery is a batch that was under way when the program or the power ended,
// with the state in which it was left. What to do with it is the caller's: go on
// with Resume, or end it with Finish.
type Recovery struct {
	Batch   *Batch
	Product *profile.Product
	Cabinet *cabinet.Cabinet
	// State is that after the last step on disk. Up to QuietEvery more may have
	// happened that nobody knows of.
	State controller.State
	// History is what happened until then, as the lost program had it.
	History  history.History
	Steps    int64     // number of the next step
	LastWall time.Time // of the last step on disk
	// Unseen is the time from the last step on disk until now, and Away how that is known:
	// because the computer has run on, or because the clock was synchronised then and is
	// now. Otherwise it was at least that long.
	Unseen time.Duration
	Away   controller.Evidence
	Uptime time.Duration // now, for going on from it
	// Left is the time of day of the last step before the absence; when State waits to be
	// told how long an earlier one was, of the last before that.
	Left Moment
	// Sound reports that the chain holds and that the replay gave everything again;
	// otherwise State is not to be trusted with heat, and Why says why.
	Sound bool
	Why   string
	// Ended is how the batch ended, when that was marked and its record could not be
	// written any more: it does not go on. Idle is not marked.
	Ended controller.BatchState
}

// Unfinished finds the batch that was under way when the record was last closed or
// cut off, or nil. Only the newest batch of the file can be unfinished; an older one
// without an end was broken off long ago. Call it before Begin.
func (r *Recorder) Unfinished(ctx context.Context, now Moment) (*Recovery, error) {
	var u *Recovery
	err := r.reading(ctx, func(q querier) error {
		rows, err := query(ctx, q, batchTable, "number = (SELECT max(number) FROM batch)")
		if err != nil || len(rows) == 0 {
			return err
		}
		b := batchOf(rows[0])
		if err := course(ctx, q, b); err != nil || b.State != "" {
			return err
		}
		u = &Recovery{Batch: b, Steps: b.Steps, Ended: r.marked(b.Number)}
		if err := r.unseen(ctx, q, u, now); err != nil {
			return err
		}
		verdict, err := verify(ctx, q, rows[0])
		if err != nil {
			return err
		}
		u.judge(ctx, q, verdict)
		return u.left(ctx, q)
	})
	if err != nil {
		return nil, err
	}
	return u, nil
}

// judge replays the batch and says whether what comes out can be gone by.
func (u *Recovery) judge(ctx context.Context, q querier, verdict Verdict) {
	var result *Result
	fold, err := newFold(ctx, q, u.Batch)
	if err != nil {
		u.Why = err.Error()
		return
	}
	u.Product, u.Cabinet, result, err = replay(ctx, q, u.Batch, fold.step)
	u.History = fold.history
	switch {
	case err != nil: // the batch stays unfinished, and can be ended, not resumed
		u.Why = err.Error()
	case !verdict.Whole:
		u.Why = "the record is " + verdict.String()
	case !result.Same():
		u.Why = "this program decides otherwise than the one that recorded: "
		if result.Decisions != nil {
			u.Why += result.Decisions.String()
		} else {
			u.Why += result.State.String()
		}
	default:
		u.Sound = true
	}
	if result != nil {
		u.State = result.Final
	}
}

// unseen finds how long nobody watched.
func (r *Recorder) unseen(ctx context.Context, q querier, u *Recovery, now Moment) error {
	links, err := query(ctx, q, linkTable, "batch = ?1 AND number = (SELECT max(number) FROM link WHERE batch = ?1 AND steps > 0)", u.Batch.Number)
	if err != nil || len(links) == 0 {
		return err
	}
	last := links[0]
	boot := u.Batch.Boot
	u.LastWall = parseTime(last.text("wall"))
	gaps, err := query(ctx, q, gapTable, "batch = ?", u.Batch.Number)
	if err != nil {
		return err
	}
	if len(gaps) > 0 {
		boot = gaps[len(gaps)-1].text("boot")
	}
	sameBoot := boot != "" && boot == r.o.Boot
	u.Left = leftAt(last)
	u.Uptime = r.uptime()
	up, hasUptime := last.float("uptime_seconds")
	byClock := now.Wall.Sub(u.LastWall)
	switch {
	case sameBoot && hasUptime && u.Uptime >= seconds(up):
		u.Unseen, u.Away = u.Uptime-seconds(up), controller.AwayByBoot
	case sameBoot: // a clock that goes back shows nothing
		u.Away = controller.AwayUnknown
	case now.Synced && u.Left.Synced && byClock >= u.Uptime:
		u.Unseen, u.Away = byClock, controller.AwayByClock
	default:
		u.Unseen, u.Away = u.Uptime, controller.AwayUnknown
	}
	return nil
}

func leftAt(link row) Moment {
	trust := link.int("clock_set")
	return Moment{Wall: parseTime(link.text("wall")), ClockSet: trust != clockUnset, Synced: trust == clockSynced}
}

// left finds when an absence began of which nobody knows yet how long it was.
func (u *Recovery) left(ctx context.Context, q querier) error {
	from, _, unknown := u.State.AbsenceUnknown()
	if !unknown {
		return nil
	}
	const before = "batch = ?1 AND steps > 0 AND elapsed_seconds < ?2"
	links, err := query(ctx, q, linkTable, before+" AND number = (SELECT max(number) FROM link WHERE "+before+")",
		u.Batch.Number, (from - u.State.Started + time.Millisecond).Seconds())
	if err != nil || len(links) == 0 {
		return err
	}
	u.Left = leftAt(links[0])
	return nil
}
