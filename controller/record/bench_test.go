package record

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

// long is a batch that does nothing but go on for the time that is measured.
const long = `product: Long batch
shape: {form: cylinder, diameter: 120 mm, length: 400 mm, casing: fibrous}
species: red meat
formula:
  cut: [{name: pork trim, mass: 4 kg, water: 60 %, protein: 17 %, fat: 22 %}]
  other: [{name: salt, mass: 80 g, as: salt}]
stages:
  - {name: cook, chamber: 80 °C, smoke: on, until: {after: 12 h}}
`

// stepping gives a recorder in a batch and one step of it.
func stepping(t testing.TB) (*Recorder, func()) {
	r := open(t, options(t.TempDir()))
	b := newTrial(t, r)
	p, err := profile.Parse("long.yaml", []byte(long))
	require.NoError(t, err)
	b.start.Product, b.start.ProductFile = p, File{"long.yaml", []byte(long)}
	b.begin().run(100)
	in, out, m := b.inputs(), b.state.Out, b.moment()
	n := 0
	return r, func() {
		n++
		in.Elapsed += time.Second
		in.Chamber[0] = b.reading(70+float64(n%5)/16, n)
		in.Core[0] = b.reading(40+float64(n%3)/16, n)
		b.state.Elapsed = in.Elapsed
		out.On.Set(controller.Heater, n%20 < 9)
		r.Step(m, &in, out, nil, &b.state, By{})
	}
}

// unwritten ends the writer and leaves the loop's side in a batch, so that it is
// measured alone.
func unwritten(t testing.TB) (*Recorder, func()) {
	r, step := stepping(t)
	require.NoError(t, r.Close(context.Background()))
	r.open = &block{batch: 1}
	return r, func() {
		step()
		if r.waiting.Load() == crowded {
			r.pop()
		}
	}
}

// The loop calls Step every second: it may cost the memory of a block now and then,
// and nothing for each step.
func TestStepAllocatesOnlyForBlocks(t *testing.T) {
	r, step := unwritten(t)
	assert.Less(t, testing.AllocsPerRun(1000, step), 1.0)
	assert.Zero(t, testing.AllocsPerRun(1000, func() { _ = r.Health() }))
}

func BenchmarkStep(b *testing.B) {
	_, step := unwritten(b)
	b.ReportAllocs()
	for b.Loop() {
		step()
	}
}

func BenchmarkHealth(b *testing.B) {
	r, _ := stepping(b)
	b.ReportAllocs()
	for b.Loop() {
		_ = r.Health()
	}
	shut(b, r)
}

// BenchmarkBatchOf12Hours records a simulated batch with every step of it and says
// what it costs: B of file and log, bytes written as the kernel counts them, and the
// time to verify and to replay.
func BenchmarkBatchOf12Hours(b *testing.B) {
	ctx := context.Background()
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(b, err)
	for b.Loop() {
		dir := b.TempDir()
		p, err := profile.Parse("long.yaml", []byte(long))
		require.NoError(b, err)
		w, err := sim.NewWorld(sim.Setup{Product: p, Cabinet: c.Value, Seed: 1})
		require.NoError(b, err)
		r := open(b, options(dir))
		wrote := written(b)
		machine, err := controller.New(p, c.Value)
		require.NoError(b, err)
		var s controller.State
		var data int
		var inStep time.Duration
		id := ""
		n := 0
		w.Order(controller.Command{Kind: controller.Start})
		err = sim.Run(ctx, machine, &s, w, func(t *sim.Moment) bool {
			m := Moment{Wall: trialStart.Add(t.Now), ClockSet: true}
			if n == 0 {
				id = r.Begin(m, Start{Product: p, ProductFile: File{"long.yaml", []byte(long)}, Cabinet: c.Value, CabinetFile: File{c.File, c.Data}})
			}
			open := r.open
			start := time.Now()
			r.Step(m, &t.Inputs, t.Out, t.Events, &s, By{})
			inStep += time.Since(start)
			if r.open != open { // every block a commit of its own, as on the wall clock
				data += len(open.data)
				drain(r)
			}
			n++
			return n < 2*12*3600 // a batch that is held would go on for ever
		})
		require.NoError(b, err)
		require.Equal(b, controller.Complete, s.Batch)
		wal, err := os.Stat(filepath.Join(dir, "batches.db-wal"))
		require.NoError(b, err)
		b.ReportMetric(float64(wal.Size()), "log-B")
		shut(b, r)
		b.ReportMetric(float64(written(b)-wrote), "written-B")
		info, err := os.Stat(filepath.Join(dir, "batches.db"))
		require.NoError(b, err)
		b.ReportMetric(float64(n), "steps")
		b.ReportMetric(float64(info.Size()), "file-B")
		b.ReportMetric(float64(info.Size())/float64(n), "file-B/step")
		b.ReportMetric(float64(data)/float64(n), "data-B/step")
		b.ReportMetric(float64(inStep.Nanoseconds())/float64(n), "Step-ns")
		again := reader(b, dir)
		start := time.Now()
		v, err := again.Verify(ctx, id)
		require.NoError(b, err)
		require.True(b, v.Whole)
		b.ReportMetric(time.Since(start).Seconds(), "verify-s")
		b.ReportMetric(float64(v.Links), "links")
		start = time.Now()
		result, err := again.Replay(ctx, id)
		require.NoError(b, err)
		require.True(b, result.Same())
		b.ReportMetric(time.Since(start).Seconds(), "replay-s")
	}
}

// written is how many bytes this process has sent to the block layer.
func written(b *testing.B) int64 {
	data, err := os.ReadFile("/proc/self/io")
	if err != nil {
		b.Skip("the kernel counts nothing here:", err)
	}
	for line := range strings.Lines(string(data)) {
		if n, ok := strings.CutPrefix(line, "write_bytes: "); ok {
			v, err := strconv.ParseInt(strings.TrimSpace(n), 10, 64)
			require.NoError(b, err)
			return v
		}
	}
	b.Fatal("no write_bytes")
	return 0
}

// Every shipped product in the simulated cabinet, the first half hour of it, and
// back again.
func TestShippedProductsReplay(t *testing.T) {
	ctx := context.Background()
	all, err := catalog.All()
	require.NoError(t, err)
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	if testing.Short() {
		all = all[:1]
	}
	dir := t.TempDir()
	o := options(dir)
	o.World, o.Pace = Simulated, 600
	r := open(t, o)
	var ids []string
	refused := 0
	for _, product := range all {
		w, err := sim.NewWorld(sim.Setup{Product: product.Value, Cabinet: c.Value, Seed: 7})
		require.NoError(t, err)
		machine, err := controller.New(product.Value, c.Value)
		require.NoError(t, err)
		var s controller.State
		w.Order(controller.Command{Kind: controller.Start, Excused: true})
		err = sim.Run(ctx, machine, &s, w, func(now *sim.Moment) bool {
			m := Moment{Wall: trialStart.Add(now.Now), ClockSet: true}
			if !s.Batch.Active() { // too hot for this cabinet, or over
				refused++
				return false
			}
			if now.Now == 0 {
				ids = append(ids, r.Begin(m, Start{
					Product: product.Value, ProductFile: File{product.File, product.Data},
					Cabinet: c.Value, CabinetFile: File{c.File, c.Data},
				}))
			}
			r.Step(m, &now.Inputs, now.Out, now.Events, &s, By{})
			return now.Now+sim.Step < 30*time.Minute
		})
		require.NoError(t, err)
	}
	shut(t, r)
	again, err := OpenReader(filepath.Join(dir, Simulated.File()))
	require.NoError(t, err)
	defer again.Close()
	assert.Less(t, refused, 4)
	for _, id := range ids {
		result := requireSound(t, again, id)
		assert.Equal(t, int64(1800), result.Steps)
		_, err := again.History(ctx, id)
		require.NoError(t, err)
	}
}
