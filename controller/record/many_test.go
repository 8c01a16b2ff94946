package record

import (
	"context"
	"flag"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

var (
	many     = flag.Int("many", 0, "write a record of so many batches into -many-into")
	manyInto = flag.String("many-into", "", "folder for -many")
)

// TestManyBatches writes a record to measure what reading one costs, see deploy/footprint.md:
// whole simulated batches under a real cabinet's name, the last two in the blocks in which
// the wall clock would cut them.
func TestManyBatches(t *testing.T) {
	ring := cooked(t, "marjoram-ring")
	last := []func(*Recorder) (string, int){ring}
	if *many > 0 {
		last = append(last, cooked(t, "juniper-ham"))
	} else { // that it goes on working
		*manyInto = t.TempDir()
	}
	o := options(*manyInto)
	o.Pace = 60
	r := open(t, o)
	for range *many - 2 {
		ring(r)
		drain(r)
	}
	shut(t, r)
	r = open(t, options(*manyInto))
	for _, again := range last {
		id, steps := again(r)
		drain(r)
		t.Logf("%s: %d steps", id, steps)
	}
	shut(t, r)
}

// cooked simulates a whole batch, and records it as often as it is asked to.
func cooked(t *testing.T, name string) func(*Recorder) (string, int) {
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	product, err := catalog.Find(name)
	require.NoError(t, err)
	w, err := sim.NewWorld(sim.Setup{Product: product.Value, Cabinet: c.Value, Seed: 7})
	require.NoError(t, err)
	machine, err := controller.New(product.Value, c.Value)
	require.NoError(t, err)
	type step struct {
		now    time.Duration
		in     controller.Inputs
		out    controller.Outputs
		events []controller.Event
		state  controller.State
	}
	var steps []step
	var s controller.State
	w.Order(controller.Command{Kind: controller.Start, Excused: true})
	require.NoError(t, sim.Run(context.Background(), machine, &s, w, func(now *sim.Moment) bool {
		steps = append(steps, step{now.Now, now.Inputs, now.Out, now.Events, s})
		return s.Batch.Active()
	}))
	return func(r *Recorder) (id string, n int) {
		for i := range steps {
			now := &steps[i]
			m := Moment{Wall: trialStart.Add(now.now), ClockSet: true}
			if i == 0 {
				id = r.Begin(m, Start{Product: product.Value, ProductFile: File{product.File, product.Data}, Cabinet: c.Value, CabinetFile: File{c.File, c.Data}})
			}
			before := r.open
			if r.Step(m, &now.in, now.out, now.events, &now.state, By{Who: "Tester"}); r.open != before && i%997 == 0 {
				drain(r)
			}
		}
		return id, len(steps)
	}
}
