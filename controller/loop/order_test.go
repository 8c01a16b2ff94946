package loop

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
)

// An effect is one thing that a step did, in its order.
type effect struct {
	kind string // sample, drive, record or log
	out  controller.Outputs
}

// witnessed is a world, a record and a journal that write one list of effects.
type witnessed struct {
	bench
	effects []effect
	health  record.Health
	lost    bool // the record takes nothing
}

func (w *witnessed) note(kind string, out controller.Outputs) {
	w.with(func() { w.effects = append(w.effects, effect{kind, out}) })
}

func (w *witnessed) Sample(d time.Duration) controller.Inputs {
	w.note("sample", controller.Outputs{})
	return w.bench.Sample(d)
}

func (w *witnessed) Drive(out controller.Outputs) error {
	w.note("drive", out)
	return w.bench.Drive(out)
}

func (w *witnessed) Begin(record.Moment, record.Start) string {
	w.note("record", controller.Outputs{})
	return "2026-11-25-1"
}

func (w *witnessed) Resume(*record.Recovery, controller.State) {}

func (w *witnessed) Step(_ record.Moment, _ *controller.Inputs, out controller.Outputs, _ []controller.Event, _ *controller.State, _ record.By) record.Receipt {
	w.note("record", out)
	return record.Receipt{Lost: w.lost}
}

func (w *witnessed) Health() (h record.Health) {
	w.with(func() { h = w.health })
	return h
}

func (w *witnessed) Enabled(context.Context, slog.Level) bool { return true }
func (w *witnessed) WithAttrs([]slog.Attr) slog.Handler       { return w }
func (w *witnessed) WithGroup(string) slog.Handler            { return w }
func (w *witnessed) Handle(context.Context, slog.Record) error {
	w.note("log", controller.Outputs{})
	return nil
}

// steps cuts the list at the samples; what came before the first is left out.
func (w *witnessed) steps() (steps [][]effect) {
	for _, e := range w.effects {
		switch {
		case e.kind == "sample":
			steps = append(steps, nil)
		case len(steps) > 0:
			steps[len(steps)-1] = append(steps[len(steps)-1], e)
		}
	}
	return steps
}

func newWitnessed() *witnessed {
	return &witnessed{bench: bench{chamber: 20, core: 10}, health: record.Health{OK: true}}
}

func (w *witnessed) run(t *testing.T) (l *Loop, end func() error) {
	l, err := New(Config{World: w, Cabinet: testCabinet(), Log: slog.New(w), Record: w})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- l.Run(ctx) }()
	synctest.Wait()
	return l, func() error {
		cancel()
		return <-ended
	}
}

// turned says which way the outputs went.
func turned(from, to controller.Outputs) (on, off bool) {
	for o := range controller.OutputCount {
		on = on || to.On.Has(o) && !from.On.Has(o)
		off = off || from.On.Has(o) && !to.On.Has(o)
	}
	return on, off
}

// In every step: the offs, then the record, then the ons, and only then a word to the
// journal.
func TestOffThenRecordThenOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWitnessed()
		w.chamber = 57
		l, end := w.run(t)
		product := testProduct()
		product.Stages[0].Until.Conditions[0].After = time.Hour
		reply, err := l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Start}, Product: product})
		require.NoError(t, err)
		require.True(t, reply.Accepted, reply.Why)
		for n := range 40 { // to and fro about the setpoint, so that the heater switches
			w.with(func() { w.chamber = []quantity.Celsius{57, 63}[n%2] })
			pass(30 * time.Second)
		}
		ons, offs, words := 0, 0, 0
		applied := controller.Outputs{Damper: 1}
		var steps [][]effect
		w.with(func() { steps = w.steps() })
		for n, step := range steps {
			recorded, said := false, false
			for _, e := range step {
				switch e.kind {
				case "record":
					recorded = true
				case "log":
					assert.True(t, recorded, "step %d logs before it records", n)
					said = true
					words++
				case "drive":
					on, off := turned(applied, e.out)
					if on {
						ons++
						assert.True(t, recorded, "step %d switches on before it records", n)
						assert.False(t, said, "step %d logs before it switches on", n)
					}
					if off {
						offs++
						assert.False(t, recorded || said, "step %d records or logs before it switches off", n)
					}
					applied = e.out
				}
			}
		}
		assert.Greater(t, ons, 10)
		assert.Greater(t, offs, 10)
		assert.Greater(t, words, 2)
		require.NoError(t, end())
	})
}

// An off that fails is tried again before anything is written.
func TestAFailedOffIsTriedAgainBeforeTheRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWitnessed()
		l, end := w.run(t)
		start(t, l)
		pass(time.Minute)
		require.True(t, w.last().On.Has(controller.Heater))
		w.with(func() { w.effects, w.fail = nil, errors.New("no such line") })
		pass(time.Second)
		step := w.steps()[0]
		var order []string
		for _, e := range step {
			order = append(order, e.kind)
			assert.False(t, e.kind == "drive" && len(order) > 1 && e.out.On.Has(controller.Heater), "after the failure nothing is told to be on")
		}
		assert.Equal(t, []string{"drive", "drive", "drive", "drive", "log", "log", "record"}, order[:7])
		w.with(func() { w.fail = nil })
		require.NoError(t, end())
	})
}

// A record that fails, or loses every step, is an alarm. It keeps no step waiting, and
// a chamber that is too hot is cut in the step that sees it.
func TestAFailingRecordDelaysNoOff(t *testing.T) {
	for name, health := range map[string]record.Health{
		"fails":     {Err: errors.New("disk I/O error"), Errors: 3},
		"disk full": {Err: errors.New("database or disk is full"), DiskLow: true, Errors: 3},
		"hangs":     {Behind: time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := newWitnessed()
				l, end := w.run(t)
				start(t, l)
				pass(time.Minute)
				w.with(func() { w.health, w.lost, w.samples = health, true, 0 })
				pass(time.Minute)
				w.with(func() { assert.Equal(t, 60, w.samples, "a step each second") })
				s := l.Snapshot()
				assert.Equal(t, controller.Running, s.State.Batch)
				assert.Equal(t, trip.Unacknowledged, s.State.Alarms[trip.RecordFailing].Phase)
				assert.Equal(t, health.Errors, s.RecordErrors)
				require.True(t, w.last().On.Has(controller.Heater), "the batch goes on")

				w.with(func() { w.effects, w.chamber = nil, 111 })
				pass(time.Second)
				// In the same step: told off, and off, before the record.
				step := w.steps()[0]
				require.Equal(t, "drive", step[0].kind)
				assert.False(t, step[0].out.On.Has(controller.Heater))
				for _, e := range step {
					assert.False(t, e.kind == "drive" && e.out.On.Has(controller.Heater), fmt.Sprint(step))
				}
				assert.Zero(t, l.Snapshot().StepsLate)
				require.NoError(t, end())
			})
		})
	}
}

// Each late step counts, also when its alarm was up already or is put aside.
func TestEveryLateStepIsCounted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 0)
		start(t, l)
		pass(30 * time.Second)
		b.with(func() { b.slow = 20 * time.Second })
		pass(81 * time.Second) // four samples
		b.with(func() { b.slow = 0 })
		pass(40 * time.Second)
		assert.GreaterOrEqual(t, l.Snapshot().StepsLate, uint64(4))
		require.NoError(t, end())
	})
}
