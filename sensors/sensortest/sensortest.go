// Package sensortest is what every driver of a front end must pass: the contract
// of a probe, one sentence to a case, proven against a simulated chip that can be
// broken.
package sensortest

import (
	"errors"
	"math"
	"testing"
	"time"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sim/chips"
)

// A Scene is the world around one probe. Cases change it while they run.
type Scene struct {
	Hot, Cold quantity.Celsius
	Elapsed   time.Duration
}

// World is the scene as a chip sees it.
func (s *Scene) World() chips.World {
	return chips.World{
		Hot:  func() quantity.Celsius { return s.Hot },
		Cold: func() quantity.Celsius { return s.Cold },
		Now:  func() time.Duration { return s.Elapsed },
	}
}

// Breakable is what a case may do to the chip behind the driver. A Chip of package
// chips is one.
type Breakable interface {
	Break(chips.Fault)
	PowerCycle()
	Transactions() int
}

// A Driver is one driver to test.
type Driver struct {
	// Open builds a chip that has just got power, in the scene, and the driver on it.
	Open func(testing.TB, *Scene) (sensors.Probe, Breakable)
	// Interval is the least time between two reads that may both be good; zero is a
	// driver that waits for a conversion of its own in each read.
	Interval time.Duration
	// Settle is the longest from the first read to the first good one.
	Settle time.Duration
	// Lag is how old a good value may be, besides one interval.
	Lag time.Duration
	// Detect is the longest that the chip may need to see a broken wire.
	Detect time.Duration
	// Tolerance is what a good reading may be off.
	Tolerance quantity.Kelvin
	// Wire lists the faults of the wire that the chip sees, with their readings.
	Wire map[chips.Fault]sensors.Status
	// Highest is what the chip measures at most; zero is all that the cases want.
	Highest quantity.Celsius
	// Allocates is how often a read may allocate: a library's driver has its own ways.
	Allocates float64
	// SeesFreeze says that the chip shows when it no longer converts.
	SeesFreeze bool
}

// bench is a driver in the course of a case.
type bench struct {
	testing.TB
	d     Driver
	scene Scene
	probe sensors.Probe
	chip  Breakable
	slow  time.Duration // how far the driver's clock is behind the chip's
}

// pace is how far apart the cases read: as the loop does, or slower if the chip
// needs it.
func (b *bench) pace() time.Duration { return max(time.Second, b.d.Interval) }

// read lets time pass and takes one sample, which must keep the parts of the
// contract that hold in any state.
func (b *bench) read(after time.Duration) sensors.Reading {
	b.Helper()
	b.scene.Elapsed += after
	r := b.probe.Read(b.scene.Elapsed - b.slow)
	if (b.probe.Err() == nil) != (r.Status() == sensors.Good) {
		b.Fatalf("reading %q comes with error %v", r.Status(), b.probe.Err())
	}
	return r
}

// good reads until a reading is good, for as long as a chip may need to start.
func (b *bench) good() {
	b.Helper()
	from := b.scene.Elapsed
	for b.scene.Elapsed-from <= b.d.Settle+3*b.pace() {
		if r := b.read(b.pace()); r.Status() == sensors.Good {
			return
		}
	}
	b.Fatalf("not good within %v: %v", b.scene.Elapsed-from, b.probe.Err())
}

// near is whether a good reading may stand for the scene; others always may.
func (b *bench) near(r sensors.Reading, truths ...quantity.Celsius) {
	b.Helper()
	v, ok := r.Value()
	for _, t := range truths {
		ok = ok && math.Abs(float64(v-t)) > float64(b.d.Tolerance)
	}
	if ok {
		b.Fatalf("reads %v °C where %v °C is true", float64(v), truths)
	}
}

// withColdJunction is a probe that knows how warm its board is.
type withColdJunction interface{ ColdJunction() sensors.Reading }

// cases are the contract.
var cases = []struct {
	name, proves string
	run          func(*bench)
}{
	{"before-first", "Before its first conversion has ended a probe gives no number.", func(b *bench) {
		b.scene.Hot = 71
		for range 3 {
			b.near(b.read(0), b.scene.Hot)
		}
		b.good()
	}},
	{"measures", "A good reading is the temperature of the probe, within the stated tolerance.", func(b *bench) {
		for _, t := range []quantity.Celsius{4, 20, 71, 85, 96.5, 110} {
			if b.d.Highest != 0 && t > b.d.Highest {
				break
			}
			b.scene.Hot = t
			b.read(b.pace())
			for late := time.Duration(0); late < b.d.Lag; late += b.pace() {
				b.read(b.pace())
			}
			b.read(b.pace() + b.d.Lag)
			b.good()
			r := b.read(b.pace())
			if r.Status() != sensors.Good {
				b.Fatalf("%q at %v: %v", r.Status(), t, b.probe.Err())
			}
			b.near(r, t)
		}
	}},
	{"cold-junction", "A probe that knows how warm its board is tells it, with a status of its own.", func(b *bench) {
		c, ok := b.probe.(withColdJunction)
		if !ok {
			return
		}
		if _, known := c.ColdJunction().Value(); known {
			b.Fatal("knows the board before the first read")
		}
		b.scene.Cold = 31.5
		b.good()
		b.read(b.pace())
		if v, ok := c.ColdJunction().Value(); !ok || math.Abs(float64(v)-31.5) > 0.07 {
			b.Fatalf("board at 31.5 °C reads %v, %v", v, c.ColdJunction().Status())
		}
		b.chip.Break(chips.BusError)
		b.read(b.pace())
		if _, ok := c.ColdJunction().Value(); ok {
			b.Fatal("still knows the board when the bus is down")
		}
	}},
	{"cold-junction-range", "With the board outside the chip's range there is no number.", func(b *bench) {
		if _, ok := b.probe.(withColdJunction); !ok {
			return
		}
		b.good()
		b.scene.Cold = 126.5
		b.read(b.pace())
		if r := b.read(b.pace()); r.Status() != sensors.OutOfRange {
			b.Fatalf("%q with the board at %v", r.Status(), b.scene.Cold)
		}
	}},
	{"too-soon", "A probe read again too soon refuses and leaves the bus alone.", func(b *bench) {
		if b.d.Interval == 0 {
			return
		}
		b.good()
		before := b.chip.Transactions()
		for range 3 {
			if r := b.read(b.d.Interval/4 - 1); r.Status() != sensors.Stale {
				b.Fatalf("%q", r.Status())
			}
		}
		if b.chip.Transactions() != before {
			b.Fatal("talked to the chip")
		}
		b.scene.Hot = 66
		if r := b.read(b.pace()); r.Status() == sensors.Stale {
			b.Fatalf("refusing too long: %v", b.probe.Err())
		}
	}},
	{"clock-back", "A clock that goes back costs readings, and never for good.", func(b *bench) {
		b.scene.Elapsed = time.Hour
		b.good()
		b.slow = time.Hour
		b.near(b.read(0), b.scene.Hot)
		b.good()
	}},
	{"bus-error", "A bus that fails is a bus error, its cause is told, and the probe recovers by itself.", func(b *bench) {
		b.good()
		b.chip.Break(chips.BusError)
		for range 3 {
			if r := b.read(b.pace()); r.Status() != sensors.BusError {
				b.Fatalf("%q", r.Status())
			}
			if err := b.probe.Err(); !errors.Is(err, chips.ErrBus) {
				b.Fatalf("%v does not wrap the cause", err)
			}
		}
		b.chip.Break(chips.Sound)
		b.good()
	}},
	{"bus-error-first", "A chip that is missing when the program starts is used when it appears.", func(b *bench) {
		b.chip.Break(chips.BusError)
		for range 3 {
			if r := b.read(b.pace()); r.Status() != sensors.BusError {
				b.Fatalf("%q", r.Status())
			}
		}
		b.chip.Break(chips.Sound)
		b.good()
	}},
	{"all-zeros", "A line stuck low is a bus error.", func(b *bench) { b.deadLine(chips.AllZeros) }},
	{"all-ones", "A line stuck high is a bus error.", func(b *bench) { b.deadLine(chips.AllOnes) }},
	{"wire", "A broken or shorted wire that the chip sees is a fault of that name, and the probe recovers by itself.", func(b *bench) {
		for fault, want := range b.d.Wire {
			b.good()
			b.chip.Break(fault)
			b.read(b.pace())
			for from := b.scene.Elapsed; b.scene.Elapsed-from < b.d.Detect; {
				b.read(b.pace())
			}
			for range 3 {
				if r := b.read(b.pace()); r.Status() != want {
					b.Fatalf("%v reads %q: %v", fault, r.Status(), b.probe.Err())
				}
			}
			b.scene.Hot += 9
			b.chip.Break(chips.Sound)
			// No reading after the fault shows what was true before it.
			for range 4 {
				b.near(b.read(b.pace()), b.scene.Hot)
			}
			b.good()
		}
	}},
	{"frozen", "An old value that the chip can tell from a new one is stale.", func(b *bench) {
		if !b.d.SeesFreeze {
			return
		}
		b.good()
		b.chip.Break(chips.Frozen)
		b.read(b.pace())
		for range 3 {
			if r := b.read(b.pace()); r.Status() == sensors.Good {
				b.Fatal("good, although nothing was converted")
			}
		}
		b.chip.Break(chips.Sound)
		b.good()
	}},
	{"power-dip", "After its supply dipped, a chip gives no number but the true one, whenever in a conversion that was.", func(b *bench) {
		b.scene.Hot = 72.5
		b.good()
		for i := range 40 {
			b.read(b.pace() - time.Duration(i)*b.pace()/41)
			b.chip.PowerCycle()
			b.scene.Elapsed += time.Duration(i) * b.pace() / 41
			for range 4 {
				b.near(b.read(b.pace()), b.scene.Hot)
			}
			b.good()
		}
	}},
	{"no-allocation", "A read of a sound chip allocates nothing, or no more than a library's driver is known to.", func(b *bench) {
		b.good()
		if n := testing.AllocsPerRun(50, func() {
			b.scene.Elapsed += b.pace()
			b.probe.Read(b.scene.Elapsed)
		}); n > b.d.Allocates {
			b.Fatalf("%v allocations", n)
		}
	}},
}

func (b *bench) deadLine(fault chips.Fault) {
	b.Helper()
	b.good()
	b.chip.Break(fault)
	for range 3 {
		if r := b.read(b.pace()); r.Status() != sensors.BusError {
			b.Fatalf("%q", r.Status())
		}
	}
	b.chip.Break(chips.Sound)
	b.good()
}

// Run holds the driver to the contract. A failure begins with the sentence that
// it broke.
func Run(t *testing.T, d Driver) {
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			defer func() {
				if t.Failed() {
					t.Log(c.proves)
				}
			}()
			c.run(d.bench(t))
		})
	}
}

func (d Driver) bench(t testing.TB) *bench {
	b := &bench{TB: t, d: d, scene: Scene{Hot: 20, Cold: 25}}
	b.probe, b.chip = d.Open(t, &b.scene)
	return b
}

// Benchmark measures one read, simulated chip included.
func Benchmark(b *testing.B, d Driver) {
	s := d.bench(b)
	s.good()
	b.ReportAllocs()
	for b.Loop() {
		s.scene.Elapsed += s.pace()
		s.probe.Read(s.scene.Elapsed)
	}
}
