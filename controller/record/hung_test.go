package record_test

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/loop"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// oven is a world with a fixed temperature that remembers what it was told.
type oven struct {
	mu      sync.Mutex // the race detector does not see that the bubble's clock orders test and loop
	chamber quantity.Celsius
	samples int
	out     controller.Outputs
	offs    int
}

func (w *oven) Sample(time.Duration) (in controller.Inputs) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.samples++
	in.Chamber[0] = sensors.At(w.chamber + quantity.Celsius(w.samples%2)/128)
	in.Core[0] = sensors.At(10 + quantity.Celsius(w.samples%2)/128)
	return in
}

func (w *oven) Drive(out controller.Outputs) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.out.On.Has(controller.Heater) && !out.On.Has(controller.Heater) {
		w.offs++
	}
	w.out = out
	return nil
}

func (w *oven) Hang(*profile.Product) error { return nil }

func (w *oven) see(chamber quantity.Celsius) (samples int, out controller.Outputs, offs int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.chamber = chamber
	return w.samples, w.out, w.offs
}

const hungProduct = `product: Trial sticks
shape: {form: cylinder, diameter: 21 mm, length: 250 mm, casing: collagen}
species: red meat
formula:
  cut: [{name: pork trim, mass: 4 kg, water: 60 %, protein: 17 %, fat: 22 %}]
  other: [{name: salt, mass: 80 g, as: salt}]
stages:
  - {name: dry, chamber: 60 °C, fan: full, smoke: off, until: {after: 2 h}}
`

// The whole chain, on the real record: a disk whose write never comes back. For half
// an hour the loop makes a step every second, switches the heater off and on, says
// that the record fails, and cuts a chamber that is too hot in the step that sees it.
func TestAHungDiskNeverDelaysTheLoop(t *testing.T) {
	product, err := profile.Parse("hung.yaml", []byte(hungProduct))
	require.NoError(t, err)
	cab, err := shipped.Find(shipped.Default)
	require.NoError(t, err)
	box := *cab.Value
	box.Response.Most = 0.05 // this oven answers no heat, so that it is metered
	synctest.Test(t, func(t *testing.T) {
		o := record.Options{Dir: t.TempDir(), World: record.Real, Program: "test"}
		hang, answer := record.HungDisk(t, &o)
		records, err := record.Open(o)
		require.NoError(t, err)
		w := &oven{chamber: 57}
		l, err := loop.New(loop.Config{World: w, Cabinet: &box, Log: slog.New(slog.DiscardHandler), Record: records,
			CabinetFile: record.File{Name: cab.File, Data: cab.Data}})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- l.Run(ctx) }()
		reply, err := l.Do(t.Context(), snapshot.Request{
			Command: controller.Command{Kind: controller.Start, Excused: true}, Product: product, Reason: "trial",
			ProductName: "hung.yaml", ProductFile: []byte(hungProduct),
		})
		require.NoError(t, err)
		require.True(t, reply.Accepted, reply.Why)
		pass := func(d time.Duration) {
			time.Sleep(d)
			synctest.Wait()
		}
		pass(30*time.Second + 500*time.Millisecond)
		require.True(t, records.Health().OK)

		hang()
		before, _, offsBefore := w.see(57)
		pass(52 * time.Second)
		assert.Equal(t, trip.Unacknowledged, l.Snapshot().State.Alarms[trip.RecordFailing].Phase)
		pass(8 * time.Second)
		reply, err = l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Acknowledge}})
		require.NoError(t, err)
		assert.True(t, reply.Accepted)
		assert.False(t, reply.Recorded, "who asked waits for the disk, no longer than it is worth, and is told")
		assert.Contains(t, reply.Unrecorded, "the disk has not answered yet")
		pass(500 * time.Millisecond) // between two steps again: six were made meanwhile
		for n := range 58 {
			w.see([]quantity.Celsius{63, 57}[n%2])
			pass(30 * time.Second)
		}
		after, out, offs := w.see(57)
		assert.Equal(t, 1806, after-before, "a step each second")
		assert.Greater(t, offs-offsBefore, 10)
		s := l.Snapshot()
		assert.Equal(t, controller.Running, s.State.Batch, "a record that hangs does not end the batch")
		assert.Positive(t, s.State.Heater.Demand)
		assert.Zero(t, s.StepsLate)
		assert.Equal(t, trip.Acknowledged, s.State.Alarms[trip.RecordFailing].Phase)
		assert.Greater(t, records.Health().Behind, 29*time.Minute)

		w.see(cab.Value.Limits.ChamberHigh + 1)
		pass(time.Second)
		_, out, _ = w.see(cab.Value.Limits.ChamberHigh + 1)
		assert.False(t, out.On.Has(controller.Heater), "at once")
		pass(time.Second)
		_, out, _ = w.see(57)
		assert.False(t, out.On.Has(controller.Heater))
		assert.Equal(t, trip.ChamberHigh, l.Snapshot().State.Tripped)

		reply, err = l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Stop}})
		require.NoError(t, err)
		assert.True(t, reply.Accepted)
		assert.False(t, reply.Recorded)
		assert.Equal(t, "many steps wait to be written; all the same no restart goes on with the batch", reply.Unrecorded, "the marks are on another disk here")

		answer()
		pass(time.Minute)
		assert.True(t, records.Health().OK, "it is forgiven when it answers")
		assert.Zero(t, records.Health().Lost)
		cancel()
		require.NoError(t, <-ended)
		require.NoError(t, records.Close(t.Context()))
	})
}
