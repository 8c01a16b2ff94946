package record

import (
	"context"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// A product with every kind of stage that a test needs, short.
const trialProduct = `product: Trial sticks
shape: {form: cylinder, diameter: 21 mm, length: 250 mm, casing: collagen}
species: red meat
formula:
  cut: [{name: pork trim, mass: 4 kg, water: 60 %, protein: 17 %, fat: 22 %}]
  other: [{name: salt, mass: 80 g, as: salt}]
stages:
  - {name: dry, chamber: 45 °C, fan: full, smoke: off, until: {after: 40 s}}
  - name: smoke
    chamber: 60 °C
    ramp: 30 °C/h
    smoke: on
    ask: Light the smoke generator
    until: {after: 40 s}
  - {name: cook, chamber: 80 °C, smoke: off, until: {core: 55 °C}, within: 1 min}
  - {name: bloom, heater: off, until: {after: 20 s}}
`

// trialStart is when every trial begins on the wall clock.
var trialStart = time.Date(2026, 11, 25, 10, 15, 0, 0, time.FixedZone("", 3600))

// A trial drives a batch through the controller and a Recorder with a rough model of
// the chamber, and keeps what must be found again.
type trial struct {
	t       testing.TB
	r       *Recorder
	start   Start
	id      string
	state   controller.State
	elapsed time.Duration
	step    time.Duration
	celsius float64
	core    float64
	steps   []Step
	final   controller.State // after the last recorded step
	accept  int
	// odd makes readings with full mantissas and faults, and clocks that jitter.
	odd bool
	// synced is what its clock says of itself.
	synced bool
}

func newTrial(t testing.TB, r *Recorder) *trial {
	t.Helper()
	p, err := profile.Parse("trial.yaml", []byte(trialProduct))
	require.NoError(t, err)
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	return &trial{
		t: t, r: r, step: time.Second, celsius: 20, core: 30, elapsed: 1234567890 * time.Nanosecond,
		start: Start{
			Product: p, ProductFile: File{"trial.yaml", []byte(trialProduct)},
			Cabinet: c.Value, CabinetFile: File{c.File, c.Data},
		},
	}
}

func (d *trial) moment() Moment {
	return Moment{Wall: trialStart.Add(d.elapsed), ClockSet: true, Synced: d.synced}
}

func (d *trial) inputs() controller.Inputs {
	in := controller.Inputs{Elapsed: d.elapsed}
	n := len(d.steps)
	for i := range in.Chamber {
		in.Chamber[i] = d.reading(d.celsius+0.0625*float64((n*7+i)%3), n+i)
	}
	for i := range 2 {
		in.Core[i] = d.reading(d.core, n+5*i)
	}
	in.Ambient = sensors.At(15.25)
	return in
}

func (d *trial) reading(v float64, n int) sensors.Reading {
	if d.odd && n%17 == 3 {
		return sensors.Fault(sensors.Status(2 + n%7))
	}
	if d.odd {
		return sensors.At(quantity.Celsius(v + math.Sin(float64(n))/7))
	}
	return sensors.At(quantity.Celsius(math.Round(v*16) / 16))
}

func (d *trial) machine() *controller.Machine {
	m, err := controller.New(d.start.Product, d.start.Cabinet)
	require.NoError(d.t, err)
	return m
}

// begin starts the batch.
func (d *trial) begin() *trial {
	d.once(controller.Command{Kind: controller.Start})
	return d
}

// once makes one step.
func (d *trial) once(k controller.Command) {
	in := d.inputs()
	in.Command = k
	before := d.state
	state, out, events := d.machine().Step(before, in)
	if state.Batch.Active() && !before.Batch.Active() {
		s := d.start
		s.Before = before
		d.id = d.r.Begin(d.moment(), s)
		d.steps = nil
	}
	recorded := before.Batch.Active() || state.Batch.Active()
	if !d.r.Step(d.moment(), &in, out, events, &state, By{Who: "Tester", Reason: "because"}).Lost && recorded {
		d.accept++
	}
	d.state = state
	if recorded {
		d.final = state
		d.steps = append(d.steps, Step{Number: int64(len(d.steps)), Elapsed: in.Elapsed, In: in, Out: out, Events: events})
	}
	if out.On.Has(controller.Heater) {
		d.celsius += 0.4
	} else {
		d.celsius -= 0.01
	}
	d.core += (d.celsius - d.core) * 0.003
	d.elapsed += d.step
	if d.odd {
		d.elapsed += time.Duration(len(d.steps)*7919%200000) - 100000
	}
}

// run makes n steps and answers what is asked.
func (d *trial) run(n int) *trial {
	for range n {
		k := controller.Command{}
		if q, waits := d.state.Question(); waits && len(d.steps)%5 == 0 {
			k = controller.Command{Kind: controller.Confirm, Question: q}
		}
		d.once(k)
	}
	return d
}

// finish runs until the batch is over.
func (d *trial) finish() *trial {
	for n := 0; d.state.Batch.Active(); n++ {
		require.Less(d.t, n, 5000, "the trial never ends")
		d.run(1)
	}
	return d
}

func options(dir string) Options {
	return Options{Dir: dir, World: Real, Program: "test", Pace: 1, Boot: "boot-1", Uptime: time.Hour, retry: time.Millisecond}
}

func open(t testing.TB, o Options) *Recorder {
	t.Helper()
	r, err := Open(o)
	require.NoError(t, err)
	return r
}

func shut(t testing.TB, r *Recorder) {
	t.Helper()
	require.NoError(t, r.Close(context.Background()))
}

func reader(t testing.TB, dir string) *Reader {
	t.Helper()
	r, err := OpenReader(filepath.Join(dir, Real.File()))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.Close()) })
	return r
}

// stepsOf reads all steps of a batch.
func stepsOf(t testing.TB, r *Reader, id string) []Step {
	t.Helper()
	var all []Step
	require.NoError(t, r.Steps(context.Background(), id, func(s Step) error {
		all = append(all, s)
		return nil
	}))
	return all
}

// requireSound holds a batch against its chain and its replay.
func requireSound(t testing.TB, r *Reader, id string) *Result {
	t.Helper()
	v, err := r.Verify(context.Background(), id)
	require.NoError(t, err)
	require.True(t, v.Whole, v.String())
	result, err := r.Replay(context.Background(), id)
	require.NoError(t, err)
	require.Nil(t, result.Decisions)
	require.Nil(t, result.State)
	return result
}
