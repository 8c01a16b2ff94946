package record_test

import (
	"context"
	"fmt"
	"os"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/record"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

// A control loop records a batch; afterwards anybody can verify it and run it again.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "record")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	boot, uptime := record.ThisBoot()
	r, err := record.Open(record.Options{Dir: dir, World: record.Simulated, Program: "v1", Pace: 60, Boot: boot, Uptime: uptime})
	if err != nil {
		fmt.Println(err)
		return
	}
	product, _ := catalog.Find("barn-loft-cheese")
	cab, _ := shipped.Find("plywood-cabinet")
	world, err := sim.NewWorld(sim.Setup{Product: product.Value, Cabinet: cab.Value, Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	noon := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	var state controller.State
	machine, err := controller.New(product.Value, cab.Value)
	if err != nil {
		fmt.Println(err)
		return
	}
	id := ""
	for elapsed := time.Duration(0); elapsed < 10*time.Minute; elapsed += time.Second {
		in := world.Sample(elapsed)
		by := record.By{}
		if elapsed == 0 {
			in.Command.Kind = controller.Start
			by = record.By{Who: "operator", Reason: "morning batch"}
		}
		before := state
		next, out, events := machine.Step(before, in)
		state = next
		now := record.Moment{Wall: noon.Add(elapsed), ClockSet: true}
		if state.Batch.Active() && !before.Batch.Active() {
			id = r.Begin(now, record.Start{
				Product: product.Value, ProductFile: record.File{Name: product.File, Data: product.Data},
				Cabinet: cab.Value, CabinetFile: record.File{Name: cab.File, Data: cab.Data},
				Before: before,
			})
		}
		r.Step(now, &in, out, events, &state, by) // never waits
		world.Drive(out)
		world.Advance()
	}
	if err := r.Close(ctx); err != nil {
		fmt.Println(err)
		return
	}

	reader, err := record.OpenReader(dir + "/" + record.Simulated.File())
	if err != nil {
		fmt.Println(err)
		return
	}
	defer reader.Close()
	verdict, _ := reader.Verify(ctx, id)
	result, _ := reader.Replay(ctx, id)
	fmt.Println(id, verdict.Whole, result.Steps, result.Same())
	// Output: sim-2026-11-25-1 true 600 true
}
