// Package recordtest makes recorded batches for the tests of whoever takes them in: by the
// controller, in the simulated cabinet.
package recordtest

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/record"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

// T is a test, or a program that a test runs.
type T interface {
	Helper()
	Fatal(args ...any)
}

// A Board records batches of a simulated cabinet into a folder.
type Board struct {
	t     T
	Dir   string
	World record.World
	Now   time.Time
	*record.Recorder
}

// Begin opens the record in a folder, also one that has batches.
func Begin(t T, dir string, world record.World, now time.Time) *Board {
	t.Helper()
	r, err := record.Open(record.Options{Dir: dir, World: world, Program: "test", Pace: 1, Boot: "boot", Uptime: time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	return &Board{t: t, Dir: dir, World: world, Now: now, Recorder: r}
}

// File is the record.
func (b *Board) File() string { return filepath.Join(b.Dir, b.World.File()) }

// Batch records one of so many minutes that is then stopped, with a lot and a note, and
// gives its id.
func (b *Board) Batch(minutes int) string {
	b.t.Helper()
	product, err := catalog.Find("barn-loft-cheese")
	if err != nil {
		b.t.Fatal(err)
	}
	cab, err := shipped.Find("plywood-cabinet")
	if err != nil {
		b.t.Fatal(err)
	}
	world, err := sim.NewWorld(sim.Setup{Product: product.Value, Cabinet: cab.Value, Seed: 1})
	if err != nil {
		b.t.Fatal(err)
	}
	machine, err := controller.New(product.Value, cab.Value)
	if err != nil {
		b.t.Fatal(err)
	}
	id, state := "", controller.State{}
	for elapsed := time.Duration(0); elapsed <= time.Duration(minutes)*time.Minute; elapsed += time.Second {
		in := world.Sample(elapsed)
		by := record.By{}
		switch elapsed {
		case 0:
			in.Command.Kind, by = controller.Start, record.By{Who: "Ada"}
		case time.Duration(minutes) * time.Minute:
			in.Command.Kind, by = controller.Stop, record.By{Who: "Ada"}
		}
		before := state
		next, out, events := machine.Step(before, in)
		state, b.Now = next, b.Now.Add(time.Second)
		now := record.Moment{Wall: b.Now, ClockSet: true}
		if state.Batch.Active() && !before.Batch.Active() {
			id = b.Begin(now, record.Start{
				Product: product.Value, ProductFile: record.File{Name: product.File, Data: product.Data},
				Cabinet: cab.Value, CabinetFile: record.File{Name: cab.File, Data: cab.Data}, Before: before,
			})
		}
		b.Step(now, &in, out, events, &state, by)
		world.Drive(out)
		world.Advance()
	}
	for state.Batch.Active() { // it comes to rest
		in := world.Sample(state.Elapsed + time.Second)
		next, out, events := machine.Step(state, in)
		state, b.Now = next, b.Now.Add(time.Second)
		b.Step(record.Moment{Wall: b.Now, ClockSet: true}, &in, out, events, &state, record.By{})
		world.Drive(out)
		world.Advance()
	}
	ctx := context.Background()
	moment := record.Moment{Wall: b.Now, ClockSet: true}
	if err := b.AddEntries(ctx, moment, id, []record.Entry{{Who: "Ada", Kind: record.Weighed, Subject: "milk", Lot: "L 7", Value: 2, HasValue: true}}); err != nil {
		b.t.Fatal(err)
	}
	if err := b.AddNote(ctx, moment, id, record.Note{Who: "Ada", Text: "it smells right"}); err != nil {
		b.t.Fatal(err)
	}
	return id
}

// EndUnfinished ends a batch that was under way when the board was killed.
func (b *Board) EndUnfinished() {
	now := record.Moment{Wall: b.Now, ClockSet: true}
	u, err := b.Unfinished(context.Background(), now)
	if err != nil {
		b.t.Fatal(err)
	}
	if u != nil {
		b.Finish(now, u, controller.Aborted, "the board was killed")
	}
}

// End closes the record.
func (b *Board) End() {
	b.t.Helper()
	if err := b.Close(context.Background()); err != nil {
		b.t.Fatal(err)
	}
}

// Read gives all links of a record, in order.
func Read(t testing.TB, file string) (all []record.Link) {
	t.Helper()
	r, err := record.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	heads, err := r.Heads(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range heads {
		for n := int64(0); n < h.Links; {
			links, err := r.LinksFrom(context.Background(), h.Batch, n, 1<<20)
			if err != nil || len(links) == 0 {
				t.Fatal(err)
			}
			all = append(all, links...)
			n += int64(len(links))
		}
	}
	return all
}

// LinksFrom gives the links of a simulated record with so many batches, from that time on.
func LinksFrom(t testing.TB, batches int, from time.Time) []record.Link {
	return made(t, record.Simulated, batches, from)
}

// Links is that from one noon on.
func Links(t testing.TB, batches int) []record.Link {
	return LinksFrom(t, batches, time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC))
}

// Real gives the links of a record that calls itself that of a real cabinet.
func Real(t testing.TB) []record.Link {
	return made(t, record.Real, 1, time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC))
}

func made(t testing.TB, world record.World, batches int, from time.Time) []record.Link {
	t.Helper()
	b := Begin(t, t.TempDir(), world, from)
	for range batches {
		b.Batch(6)
	}
	b.End()
	return Read(t, b.File())
}
