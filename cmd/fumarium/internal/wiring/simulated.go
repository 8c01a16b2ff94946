package wiring

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/onewire"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/ds18b20"
	"fumarium/sensors/thermocouple"
	"fumarium/sim"
	"fumarium/sim/chips"
	"fumarium/sim/fault"
	"fumarium/sim/plant"
)

// rehearsed lets the live loop run the simulated cabinet. Each batch is hung in a
// cabinet that has cooled down since the last.
type rehearsed struct {
	cabinet *cabinet.Cabinet
	byHand  bool          // somebody else answers
	faults  []fault.Fault // of each batch, from its start on
	hung    bool          // a batch has been, and nothing read since
	world   *sim.World
	at      time.Duration // how far the world has been advanced
	begun   bool
	seed    uint64
	now     time.Duration // for the chips
}

// board is how warm the front ends are (common practice, no source: a box in a
// room, with some warmth of its own).
const board quantity.Celsius = 25

// openSimulated puts real drivers on simulated chips where the file names a chip.
// A chip's probe feels what the simulator's probe does, with its lag, its error, its
// noise and its faults; the chip, its bytes and the driver come on top.
func openSimulated(c *cabinet.Cabinet, o Options) (*World, error) {
	if o.Product == nil {
		return nil, errors.New("wiring: a simulated cabinet needs a product to hang in it")
	}
	room := &rehearsed{cabinet: c, seed: o.Seed, byHand: o.ByHand}
	err := room.hang(o.Product)
	room.faults = o.Faults // nothing goes wrong before a batch
	if err != nil {
		return nil, err
	}
	w := &World{cabinet: c, room: room}
	bench := &bench{room: room, shared: newShared(nil), inputs: map[uint64]*[4]func() float64{}}
	for _, p := range c.Probes {
		channel := newChannel(c, p, nil, nil)
		if p.Chip != cabinet.Simulated {
			var err error
			channel.tip = &tip{}
			if channel.driver, err = bench.open(c, p, channel.tip); err != nil {
				return nil, fmt.Errorf("wiring: probe %q: %w", p.Name, err)
			}
		}
		w.channels = append(w.channels, channel)
	}
	return w, nil
}

func (r *rehearsed) hang(p *profile.Product) error {
	r.seed++
	world, err := sim.NewWorld(sim.Setup{Product: p, Cabinet: r.cabinet, Seed: r.seed, Answer: sim.Brisk, Faults: r.faults})
	if err == nil {
		r.world, r.hung = world, true
	}
	return err
}

func (r *rehearsed) sample(elapsed time.Duration) controller.Inputs {
	if !r.begun { // a loop that goes on with a batch does not begin at zero
		r.begun, r.at = true, elapsed
	}
	for ; r.at < elapsed; r.at += sim.Step {
		r.world.Advance()
	}
	r.now = elapsed
	return r.world.Feel(elapsed)
}

// Answer implements loop.Person: someone who stands by, as whoever watches the page does.
// By hand he only carries and lights, once the person has said that it is done.
func (r *rehearsed) Answer(s *controller.State) controller.Command {
	if r.byHand {
		r.world.Hands(s)
		return controller.Command{}
	}
	return r.world.Answer(s)
}

// A tip is where a simulated chip's probe measures.
type tip struct {
	hot  quantity.Celsius
	snap func(chips.Fault)
}

// feel takes over what the simulator's probe feels: a temperature, or a fault, which
// becomes one of wire or chip.
func (t *tip) feel(r sensors.Reading) {
	if v, ok := r.Value(); ok {
		t.hot = v
	}
	t.snap(faultOf[r.Status()])
}

// faultOf is what must be broken for a chip to give a reading.
var faultOf = map[sensors.Status]chips.Fault{
	sensors.Good: chips.Sound, sensors.Implausible: chips.Sound,
	sensors.Unread: chips.BusError, sensors.BusError: chips.BusError,
	sensors.Open: chips.OpenWire, sensors.ShortToGround: chips.ToGround, sensors.ShortToSupply: chips.ToSupply,
	sensors.OutOfRange: chips.BeyondSupply, sensors.Stale: chips.Frozen,
}

// A bench has simulated chips on its buses.
type bench struct {
	room *rehearsed
	*shared
	bus    chips.I2C
	wires  chips.OneWire
	inputs map[uint64]*[4]func() float64 // of a converter, by address
}

func (b *bench) open(c *cabinet.Cabinet, p cabinet.Probe, t *tip) (sensors.Probe, error) {
	t.hot = c.Ambient
	world := chips.World{
		Hot:  func() quantity.Celsius { return t.hot },
		Cold: func() quantity.Celsius { return board },
		Now:  func() time.Duration { return b.room.now },
	}
	letter, err := thermocouple.ParseType(p.Type)
	if p.Type != "" && err != nil {
		return nil, err
	}
	switch p.Chip {
	case "MAX31855":
		chip := chips.NewMAX31855(world, letter)
		t.snap = chip.Break
		return onSPI(c, p, chip.Port())
	case "MAX31856":
		chip := chips.NewMAX31856(world, letter)
		t.snap = chip.Break
		return onSPI(c, p, chip.Port())
	case "MAX6675":
		chip := chips.NewMAX6675(world)
		t.snap = chip.Break
		p.Board = board
		return onSPI(c, p, chip.Port())
	case "MCP9600", "MCP9601":
		build := chips.NewMCP9600
		if p.Chip == "MCP9601" {
			build = chips.NewMCP9601
		}
		chip := build(world, uint16(p.Address), letter)
		t.snap = chip.Break
		b.bus = append(b.bus, chip)
		return b.onI2C(p, chips.I2C{chip})
	case "BME280", "BMP280":
		build := chips.NewBME280
		if p.Chip == "BMP280" {
			build = chips.NewBMP280
		}
		chip := build(world, uint16(p.Address))
		chip.Pascal, chip.Humidity = c.Pressure(), plant.DefaultHumidity
		t.snap = chip.Break
		return b.onI2C(p, chips.I2C{chip})
	case "MCP9808":
		chip := chips.NewMCP9808(world, uint16(p.Address))
		t.snap = chip.Break
		return b.onI2C(p, chips.I2C{chip})
	case "ADS1115":
		return b.converter(p, t, world)
	case "DS18B20":
		chip := chips.NewDS18B20(world, uint64(len(b.wires)+1))
		t.snap = chip.Break
		b.wires = append(b.wires, chip)
		return driver(ds18b20.New(chips.OneWire{chip}, onewire.Address(chip.Address()), &ds18b20.DefaultOpts))
	}
	return nil, fmt.Errorf("there is no simulated %s; use another chip, or chip: simulated", p.Chip)
}

// converter puts a thermistor on one input of an ADS1115, a chip that its probes
// share.
func (b *bench) converter(p cabinet.Probe, t *tip, world chips.World) (sensors.Probe, error) {
	supply := p.Thermistor.Supply
	inputs, there := b.inputs[p.Address]
	if !there {
		inputs = &[4]func() float64{}
		var volts [4]func() float64
		for i := range volts {
			volts[i] = func() float64 {
				if inputs[i] == nil {
					return 0
				}
				return inputs[i]()
			}
		}
		if supply.Input != cabinet.Unmeasured {
			inputs[supply.Input] = func() float64 { return supply.Volts }
		}
		b.inputs[p.Address] = inputs
		b.bus = append(b.bus, chips.NewADS1115(uint16(p.Address), volts))
	}
	part := &chips.Thermistor{
		Temperature: world.Hot, Supply: func() float64 { return supply.Volts },
		Curve: p.Thermistor.Curve, Divider: p.Thermistor.Divider,
	}
	t.snap = func(f chips.Fault) {
		switch f {
		case chips.BusError, chips.Frozen: // of the chip, which other probes share
			f = chips.OpenWire
		}
		part.Fault = f
	}
	inputs[p.Thermistor.Input] = part.Volts
	return b.onI2C(p, b.bus)
}
