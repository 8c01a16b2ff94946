package fault

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/plant"
)

// Watchdog is how long outputs outlive a controller that is not called any more.
// Common practice, no source.
const Watchdog = 10 * time.Second

// Exchange is for how long a probe reads open that somebody exchanges for one of another wire,
// and again when the right one comes back; common practice, no source.
const Exchange = 5 * time.Second

// resolution is the step in which a front end reports, as in package sim.
const resolution = 0.0625

// Call says what happens to the controller's next step.
type Call uint8

// The calls.
const (
	Made    Call = iota // as ever
	Stalled             // not made; outputs stay as they are
	Cut                 // not made, and the outputs are off
)

// An Injector lets faults happen. Its zero value has none. It belongs to one
// simulated cabinet and is not safe for concurrent use.
type Injector struct {
	faults []Fault
	source rand.PCG          // of the noise
	before controller.Inputs // the last readings
	frozen []moment          // for each fault, the readings before it began
	room   quantity.Celsius  // as Room was last
}

type moment struct {
	taken  bool
	inputs controller.Inputs
}

// New makes an Injector whose noise is drawn from the seed.
func New(faults []Fault, seed uint64) *Injector {
	return &Injector{
		faults: append([]Fault(nil), faults...), frozen: make([]moment, len(faults)),
		source: *rand.NewPCG(seed, 0x6661756c74),
	}
}

// Copy is another injector in the same state.
func (j *Injector) Copy() *Injector {
	b := *j
	b.frozen = slices.Clone(j.frozen)
	return &b
}

// Call says whether the controller is called at the elapsed time.
func (j *Injector) Call(elapsed time.Duration) Call {
	call := Made
	for i := range j.faults {
		f := &j.faults[i]
		if !f.active(elapsed) {
			continue
		}
		switch {
		case f.Kind == PowerCut, f.Kind == Stall && elapsed-f.At >= Watchdog:
			return Cut
		case f.Kind == Stall:
			call = Stalled
		}
	}
	return call
}

// Readings changes what the probes say.
func (j *Injector) Readings(elapsed time.Duration, in *controller.Inputs) {
	for i := range j.faults {
		f := &j.faults[i]
		if f.unplugged(elapsed) {
			j.unplug(f, in)
		}
		if !f.active(elapsed) {
			j.frozen[i].taken = false
			continue
		}
		if !j.frozen[i].taken {
			j.frozen[i] = moment{true, j.before}
		}
		frozen := &j.frozen[i].inputs
		switch f.Kind {
		case ChamberOpen, ChamberFrozen, ChamberOffset, ChamberDrift, ChamberNoise, ChamberWire:
			for p := range in.Chamber {
				if f.Probe == 0 || f.Probe == p+1 {
					in.Chamber[p] = j.lie(f, elapsed, in.Chamber[p], &frozen.Chamber[p])
				}
			}
		case CoreOpen, CoreFrozen, CoreOffset, CoreNoise, CoreWire:
			for p := range in.Core {
				if f.Probe == 0 || f.Probe == p+1 {
					in.Core[p] = j.lie(f, elapsed, in.Core[p], &frozen.Core[p])
				}
			}
		case CoreSwapped:
			p := max(f.Probe, 1) - 1
			if in.Core[p].Status() != sensors.Unread {
				in.Core[p], in.Chamber[0] = in.Chamber[0], in.Core[p]
			}
		case WetBulbOpen:
			in.WetBulb = j.lie(f, elapsed, in.WetBulb, nil)
		case AmbientOpen:
			in.Ambient = j.lie(f, elapsed, in.Ambient, nil)
		case AmbientStale: // which its driver finds out
			if in.Ambient.Status() == sensors.Good {
				in.Ambient = sensors.Fault(sensors.Stale)
			}
		case EmberOpen:
			in.Ember = j.lie(f, elapsed, in.Ember, nil)
		case RecordFailing:
			in.RecordFailing = true
		case DiskLow:
			in.DiskLow = true
		case ClockStep:
			in.ClockStepped = true
		}
	}
	j.before = *in
}

// unplugged reports whether somebody exchanges the probe now: nobody does so with its plug in.
func (f *Fault) unplugged(elapsed time.Duration) bool {
	if f.Kind != ChamberWire && f.Kind != CoreWire {
		return false
	}
	came, left := elapsed-f.At, elapsed-f.At-f.For
	return f.At > 0 && came >= 0 && came < Exchange || f.For > 0 && left >= 0 && left < Exchange
}

// unplug pulls the probes that the fault is about.
func (j *Injector) unplug(f *Fault, in *controller.Inputs) {
	readings := in.Chamber[:]
	if f.Kind == CoreWire {
		readings = in.Core[:]
	}
	for p, r := range readings {
		if _, good := r.Value(); good && (f.Probe == 0 || f.Probe == p+1) {
			readings[p] = sensors.Fault(sensors.Open)
		}
	}
}

// Apart is what goes wrong beside probes, relays and people, a cabinet's wiring willing.
type Apart struct {
	Display    bool // is unplugged
	Stuck      bool // a button
	Chattering bool // likewise
	I2C        bool // is held low
}

// Apart says what does now.
func (j *Injector) Apart(elapsed time.Duration) (a Apart) {
	for i := range j.faults {
		f := &j.faults[i]
		if !f.active(elapsed) {
			continue
		}
		switch f.Kind {
		case DisplayUnplugged:
			a.Display = true
		case ButtonStuck:
			a.Stuck = true
		case ButtonChattering:
			a.Chattering = true
		case BusStuck:
			a.I2C = true
		}
	}
	return a
}

// lie is what a faulty probe says instead of r. A probe that is not fitted stays so.
func (j *Injector) lie(f *Fault, elapsed time.Duration, r sensors.Reading, frozen *sensors.Reading) sensors.Reading {
	v, good := r.Value()
	if !good {
		return r
	}
	switch f.Kind {
	case ChamberOpen, CoreOpen, WetBulbOpen, AmbientOpen, EmberOpen:
		return sensors.Fault(sensors.Open)
	case ChamberFrozen, CoreFrozen:
		if frozen.Status() == sensors.Unread { // frozen since the first sample
			*frozen = r
		}
		return *frozen
	case ChamberOffset, CoreOffset:
		return at(float64(v) + f.Value)
	case ChamberDrift:
		return at(float64(v) + f.Value*(elapsed-f.At).Hours())
	case ChamberNoise, CoreNoise:
		return at(float64(v) + f.Value*rand.New(&j.source).NormFloat64())
	case ChamberWire, CoreWire:
		return j.onTypeK(thermocouple.Type(f.Value), v)
	}
	return r
}

// onTypeK is what a chip for type K makes of another wire between v and its own board,
// which has the temperature of the room.
func (j *Injector) onTypeK(wire thermocouple.Type, v quantity.Celsius) sensors.Reading {
	volts, ok := wire.Measured(v, j.room)
	if !ok {
		return sensors.Fault(sensors.OutOfRange)
	}
	shown, ok := thermocouple.K.Compensate(volts, j.room)
	if !ok {
		return sensors.Fault(sensors.OutOfRange)
	}
	return at(float64(shown))
}

func at(celsius float64) sensors.Reading {
	return sensors.At(quantity.Celsius(math.Round(celsius/resolution) * resolution))
}

// Misplaced are probes that are not where they belong, a bit for each.
type Misplaced struct {
	Cores    uint8 // out of the meat
	Chambers uint8 // out in the room
	Ember    uint8 // out of the wood
	WickDry  bool  // the wet bulb has no wet wick
}

// Truth says what probes that are in the wrong place touch.
func (j *Injector) Truth(elapsed time.Duration) (m Misplaced) {
	for i := range j.faults {
		f := &j.faults[i]
		if !f.active(elapsed) {
			continue
		}
		switch f.Kind {
		case CoreOut:
			m.Cores |= f.bits()
		case ChamberOutside:
			m.Chambers |= f.bits()
		case EmberSlipped:
			m.Ember = f.bits()
		case WickDry:
			m.WickDry = true
		}
	}
	return m
}

// bits has one for each probe that the fault is about.
func (f *Fault) bits() uint8 {
	if f.Probe == 0 {
		return math.MaxUint8
	}
	return 1 << (f.Probe - 1)
}

// Drive changes what reaches the cabinet.
func (j *Injector) Drive(elapsed time.Duration, d *plant.Drive) {
	dead := false
	for i := range j.faults {
		f := &j.faults[i]
		if !f.active(elapsed) {
			continue
		}
		switch f.Kind {
		case HeaterWelded: // a welded contact needs the mains, not the controller
			if !j.Dark(elapsed) {
				d.Heater = true
			}
		case HeaterDead:
			dead = true
		case FanDead:
			d.Fan = false
		case SmokeDead:
			d.Smoke = false
		case DamperOpen:
			d.Damper = 1
		case DamperShut:
			d.Damper = 0
		case HumidifierEmpty:
			d.Humidifier = false
		case CoolerDead:
			d.Cooler = false
		case HumidifierStuck:
			d.Humidifier = d.Humidifier || !j.Dark(elapsed)
		case CoolerStuck:
			d.Cooler = d.Cooler || !j.Dark(elapsed)
		case GeneratorOut:
			d.Unlit = true
		case GeneratorBurning:
			d.Draught = true
		case Fire:
			d.Fire += quantity.Watts(f.Value)
		case DoorOpen:
			d.DoorOpen = true
		case NoIce:
			if d.Place == profile.IceWater {
				d.Place = profile.Room
			}
		}
	}
	if dead {
		d.Heater = false
	}
}

// Dark reports whether the mains is off.
func (j *Injector) Dark(elapsed time.Duration) bool {
	for i := range j.faults {
		if f := &j.faults[i]; f.Kind == PowerCut && f.active(elapsed) {
			return true
		}
	}
	return false
}

// The room gets no colder and no hotter than this, whatever the faults add up to.
const coldestRoom, hottestRoom = -40, 60

// Room is the temperature of the room that would otherwise be room.
func (j *Injector) Room(elapsed time.Duration, room quantity.Celsius) quantity.Celsius {
	for i := range j.faults {
		f := &j.faults[i]
		switch {
		case f.Kind == AmbientRamp && elapsed > f.At: // what it has gained stays
			gone := elapsed - f.At
			if f.For > 0 {
				gone = min(gone, f.For)
			}
			room += quantity.Celsius(f.Value * gone.Hours())
		case f.Kind == AmbientStep && f.active(elapsed):
			room += quantity.Celsius(f.Value)
		}
	}
	j.room = min(max(room, coldestRoom), hottestRoom)
	return j.room
}

// A Person is how the one who minds the batch behaves at a moment.
type Person struct {
	Away     bool // does not come
	Careless bool // does not look before acknowledging and resetting
	Finds    bool // would find something wrong that has not been mended
	// Waits says that something is wrong that will pass by itself.
	Waits bool
	// News says that any fault will still begin or end.
	News bool
}

// Person says how the person behaves.
func (j *Injector) Person(elapsed time.Duration) Person {
	var p Person
	for i := range j.faults {
		f := &j.faults[i]
		if f.Kind == DisplayUnplugged || f.Kind == ButtonStuck || f.Kind == ButtonChattering {
			continue // nobody waits for these
		}
		p.News = p.News || elapsed < f.At
		if !f.active(elapsed) {
			continue
		}
		switch f.Kind {
		case Away:
			p.Away = true
		case Careless:
			p.Careless = true
		case CoreOut, CoreSwapped, CoreFrozen:
			p.Finds = true
			fallthrough
		default:
			p.Waits = p.Waits || f.For > 0
		}
		p.News = p.News || f.For > 0
	}
	return p
}
