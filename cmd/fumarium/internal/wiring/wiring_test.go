package wiring

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/spi"

	"fumarium/controller"
	"fumarium/controller/relay"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/ds18b20"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

// wired is a real cabinet: two chips on SPI, one on I2C, one on 1-Wire.
const wired = `cabinet: Wired box
ambient: 15 °C
mains: 60 Hz
probes:
  - {name: left, role: chamber, chip: MAX31856, bus: SPI0.0, offset: 1 K}
  - {name: right, role: chamber, chip: MAX6675, bus: SPI0.1, board: 25 °C}
  - {name: core 1, role: core, chip: ADS1115, bus: I2C1, input: 0, thermistor: {resistor: 10 kΩ, beta: 3950 K, at 25: 10 kΩ}}
  - {name: core 2, role: core, chip: ADS1115, bus: I2C1, input: 1, thermistor: {resistor: 10 kΩ, to: supply, beta: 3950 K, at 25: 10 kΩ}}
  - {name: wick, role: wet bulb, chip: MCP9600, bus: I2C1}
  - {name: yard, role: ambient, chip: DS18B20, bus: w1_bus_master1, address: ADDRESS}
heater: {pin: GPIO17, power: 1500 W, feedback: {pin: GPIO6}}
fan: {pin: GPIO22}
door: {pin: GPIO12}
limits: {chamber: 115 °C}
response: {gain: 120 K, lag: 20 min, second lag: 2 min, dead time: 30 s}
`

// desk is a machine with simulated chips on real buses.
type desk struct {
	hot     [6]quantity.Celsius // by probe of the file
	now     time.Duration
	left    *chips.MAX31856
	right   *chips.MAX6675
	bus     chips.I2C
	wire    chips.OneWire
	parts   [2]*chips.Thermistor
	clock   func() time.Duration // instead of now
	missing string               // a bus that is not there
	opened  int
}

func newDesk() *desk {
	d := &desk{hot: [6]quantity.Celsius{70, 71, 60, 61, 40, 12}}
	at := func(i int) chips.World {
		return chips.World{Hot: func() quantity.Celsius { return d.hot[i] }, Cold: func() quantity.Celsius { return 25 }, Now: func() time.Duration {
			if d.clock != nil {
				return d.clock()
			}
			return d.now
		}}
	}
	d.left, d.right = chips.NewMAX31856(at(0), thermocouple.K), chips.NewMAX6675(at(1))
	var volts [4]func() float64
	for i := range d.parts {
		d.parts[i] = &chips.Thermistor{Temperature: at(2 + i).Hot, Supply: func() float64 { return 3.3 }}
		volts[i] = d.parts[i].Volts
	}
	volts[3] = func() float64 { return 3.3 }
	d.bus = chips.I2C{chips.NewADS1115(0x48, volts), chips.NewMCP9600(at(4), 0x67, thermocouple.K)}
	d.wire = chips.OneWire{chips.NewDS18B20(at(5), 77)}
	return d
}

func (d *desk) there(name string) error {
	if d.missing == name {
		return fmt.Errorf("%s is not there", name)
	}
	d.opened++
	return nil
}

func (d *desk) SPI(bus, chipSelect int) (spi.Port, error) {
	ports := []spi.Port{d.left.Port(), d.right.Port()}
	return ports[chipSelect], d.there(fmt.Sprintf("SPI%d.%d", bus, chipSelect))
}
func (d *desk) I2C(n int) (i2c.Bus, error)  { return d.bus, d.there(fmt.Sprintf("I2C%d", n)) }
func (d *desk) OneWire(n int) (Wire, error) { return rawWire{d.wire}, d.there("w1") }

// rawWire reads simulated chips through the driver that has the bus to itself.
type rawWire struct{ chips.OneWire }

func (w rawWire) Search() ([]onewire.Address, error) { return w.OneWire.Search(false) }
func (w rawWire) Thermometer(a onewire.Address) (sensors.Probe, error) {
	return ds18b20.New(w.OneWire, a, &ds18b20.DefaultOpts)
}

// pins are GPIO lines; the feedback follows the heater.
type pins struct {
	on     map[string]bool
	refuse string
	users  map[string]string
}

type pin struct {
	p    *pins
	name string
	in   bool
}

func newPins() *pins { return &pins{on: map[string]bool{}, users: map[string]string{}} }

func (p *pins) Output(o relay.Opts) (relay.Line, error) {
	if o.Pin == p.refuse {
		return nil, errors.New("held by another")
	}
	p.users[o.Pin] = o.User
	return &pin{p, o.Pin, false}, nil
}
func (p *pins) Input(o relay.Opts) (relay.Line, error) { return &pin{p, o.Pin, true}, nil }
func (l *pin) Set(on bool) error                       { l.p.on[l.name] = on; return nil }
func (l *pin) Read() (bool, error) {
	if l.in && l.name != "GPIO12" {
		return l.p.on["GPIO17"], nil
	}
	return l.p.on[l.name], nil
}
func (l *pin) Close() error {
	if !l.in {
		l.p.on[l.name] = false
	}
	return nil
}

func openWired(t *testing.T, d *desk, p *pins) (*World, error) {
	t.Helper()
	c := parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1))
	for i, part := range d.parts {
		part.Curve, part.Divider = c.Probes[2+i].Thermistor.Curve, c.Probes[2+i].Thermistor.Divider
	}
	return Open(c, Options{Buses: d, Lines: p, Wait: func(time.Duration) {}})
}

func (d *desk) steps(w *World, n int) (in controller.Inputs) {
	for range n {
		d.now += time.Second
		in = w.Sample(d.now)
	}
	return in
}

func TestRealCabinet(t *testing.T) {
	d, p := newDesk(), newPins()
	w, err := openWired(t, d, p)
	require.NoError(t, err)
	assert.Equal(t, 4, d.opened, "a bus that probes share is opened once")
	in := d.steps(w, 1)
	assert.Equal(t, sensors.Unread, in.Chamber[0].Status(), "no number before there is one")
	in = d.steps(w, 6)
	for i, r := range []sensors.Reading{in.Chamber[0], in.Chamber[1], in.Core[0], in.Core[1], in.WetBulb, in.Ambient} {
		v, ok := r.Value()
		require.True(t, ok, "%s: %v", w.Channels()[i].Probe.Name, w.Channels()[i].Err())
		want := float64(d.hot[i])
		if i == 0 {
			want++ // the offset of the file
		}
		assert.InDelta(t, want, float64(v), 0.3, w.Channels()[i].Probe.Name)
		assert.NoError(t, w.Channels()[i].Err())
	}
	assert.Equal(t, sensors.Unread, in.Core[2].Status())
	assert.Equal(t, controller.FeedbackOff, in.Heater)

	require.NoError(t, w.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan)}))
	assert.True(t, p.on["GPIO17"] && p.on["GPIO22"])
	assert.Equal(t, controller.FeedbackOn, d.steps(w, 1).Heater)
	assert.Equal(t, relay.On, w.Readback().Heater)
	assert.Equal(t, controller.DoorOpen, d.steps(w, 1).Door)
	p.on["GPIO12"] = true
	assert.Equal(t, controller.DoorShut, d.steps(w, 1).Door)
	require.NoError(t, w.Hang(nil))
	assert.Nil(t, w.Person())
	require.NoError(t, w.Close())
	assert.False(t, p.on["GPIO17"] || p.on["GPIO22"], "closing leaves nothing on")
	assert.Equal(t, map[string]string{"GPIO17": "fumarium heater", "GPIO22": "fumarium fan"}, p.users)
}

// A front end that is missing or broken is a fault in its own place; the others
// go on.
func TestMissingFrontEnds(t *testing.T) {
	for _, missing := range []string{"SPI0.0", "I2C1", "w1"} {
		d, p := newDesk(), newPins()
		d.missing = missing
		w, err := openWired(t, d, p)
		require.NoError(t, err)
		d.steps(w, 8)
		for _, c := range w.Channels() {
			gone := strings.HasPrefix(c.Probe.Bus, missing)
			assert.Equal(t, gone, c.Reading.Status() == sensors.BusError, "%s without %s", c.Probe.Name, missing)
			if gone {
				assert.EqualError(t, c.Err(), missing+" is not there")
			}
		}
		require.NoError(t, w.Close())
	}
	d, p := newDesk(), newPins()
	w, err := openWired(t, d, p)
	require.NoError(t, err)
	d.steps(w, 8)
	d.left.Break(chips.OpenWire)
	d.parts[1].Fault = chips.OpenWire
	in := d.steps(w, 8)
	assert.Equal(t, sensors.Open, in.Chamber[0].Status())
	assert.Equal(t, sensors.Open, in.Core[1].Status())
	assert.ErrorContains(t, w.Channels()[0].Err(), "check probe and connector")
	_, ok := in.Core[0].Value()
	assert.True(t, ok)
	d.left.Break(chips.Sound)
	_, ok = d.steps(w, 8).Chamber[0].Value()
	assert.True(t, ok, "it comes back")
}

// A bus that was missing at the start, and a chip that is unplugged and comes back,
// are read again without a restart; a bus is opened once however often it was tried.
func TestWhatComesBackIsReadAgain(t *testing.T) {
	for _, missing := range []string{"SPI0.0", "SPI0.1", "I2C1", "w1"} {
		d, p := newDesk(), newPins()
		d.missing = missing
		w, err := openWired(t, d, p)
		require.NoError(t, err)
		d.steps(w, 35)
		before := d.opened
		d.missing = ""
		d.steps(w, int(reopenEvery/time.Second)+4)
		for _, c := range w.Channels() {
			assert.NoError(t, c.Err(), "%s after %s came", c.Probe.Name, missing)
		}
		assert.Equal(t, before+1, d.opened, missing)
		require.NoError(t, w.Close())
	}
	d, p := newDesk(), newPins()
	w, err := openWired(t, d, p)
	require.NoError(t, err)
	d.steps(w, 8)
	all := []chips.Chip{d.left, d.right, d.bus[0], d.bus[1], d.wire[0]}
	for _, fault := range []chips.Fault{chips.BusError, chips.AllOnes, chips.AllZeros} {
		for _, chip := range all {
			chip.Break(fault)
		}
		in := d.steps(w, 5)
		for i, r := range []sensors.Reading{in.Chamber[0], in.Chamber[1], in.Core[0], in.WetBulb, in.Ambient} {
			assert.NotEqual(t, sensors.Good, r.Status(), "probe %d, %s", i, fault)
		}
		for _, chip := range all { // plugged in again: it has forgotten its settings
			chip.PowerCycle()
			chip.Break(chips.Sound)
		}
		d.steps(w, 10)
		for _, c := range w.Channels() {
			assert.NoError(t, c.Err(), "%s after %s", c.Probe.Name, fault)
		}
	}
	require.NoError(t, w.Close())
}

// A relay that cannot be had is no cabinet at all.
func TestMissingRelay(t *testing.T) {
	d, p := newDesk(), newPins()
	p.refuse = "GPIO22"
	_, err := openWired(t, d, p)
	require.EqualError(t, err, `wiring: cabinet "Wired box": relay: fan: held by another`)
	assert.Zero(t, d.opened, "and nothing else is opened")
}

// What Lint calls an error is not wired, such as a relay on a pin of a bus: to take
// that pin would take the bus down.
func TestRefusedByLint(t *testing.T) {
	d, p := newDesk(), newPins()
	for from, to := range map[string]string{"fan: {pin: GPIO22}": "fan: {pin: GPIO3}", "{pin: GPIO17": "{pin: GPIO17, polarity: active low", "GPIO17": "GPIO5"} {
		text := strings.Replace(strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1), from, to, 1)
		_, err := Open(parse(t, text), Options{Buses: d, Lines: p, Wait: func(time.Duration) {}})
		require.ErrorContains(t, err, `wiring: cabinet "Wired box": `, to)
		assert.Zero(t, d.opened)
		assert.Empty(t, p.users)
	}
}

// A jump that no probe can make is doubted, with its reason.
func TestJump(t *testing.T) {
	d, p := newDesk(), newPins()
	w, err := openWired(t, d, p)
	require.NoError(t, err)
	d.steps(w, 8)
	d.hot[0] = 250
	in := d.steps(w, 2)
	assert.Equal(t, sensors.Implausible, in.Chamber[0].Status())
	assert.ErrorContains(t, w.Channels()[0].Err(), "check for a loose contact")
	d.hot[0] = 70
	v, ok := d.steps(w, 8).Chamber[0].Value()
	require.True(t, ok)
	assert.InDelta(t, 71, float64(v), 0.3)
}

// TestRemedies holds the whole text for each node that cannot be opened.
func TestRemedies(t *testing.T) {
	t.Setenv("USER", "ann")
	for name, c := range map[string]struct {
		err  error
		open func(machine) error
		want string
	}{
		"no SPI": {fs.ErrNotExist, func(m machine) error { _, err := m.SPI(0, 1); return err },
			"/dev/spidev0.1 is not there: SPI is not enabled; on a Raspberry Pi add dtparam=spi=on to /boot/firmware/config.txt and restart"},
		"no I2C": {fs.ErrNotExist, func(m machine) error { _, err := m.I2C(1); return err },
			"/dev/i2c-1 is not there: I2C is not enabled; on a Raspberry Pi add dtparam=i2c_arm=on to /boot/firmware/config.txt and restart"},
		"no permission": {&fs.PathError{Op: "open", Path: "/dev/spidev0.0", Err: fs.ErrPermission}, func(m machine) error { _, err := m.SPI(0, 0); return err },
			"/dev/spidev0.0: permission denied; the user needs group spi: sudo usermod -aG spi ann, then log in again"},
		"no permission for I2C": {fs.ErrPermission, func(m machine) error { _, err := m.I2C(1); return err },
			"/dev/i2c-1: permission denied; the user needs group i2c: sudo usermod -aG i2c ann, then log in again"},
		"busy": {errors.New("open /dev/i2c-1: device or resource busy"), func(m machine) error { _, err := m.I2C(1); return err },
			"open /dev/i2c-1: device or resource busy; end the program that holds it"},
		"no 1-Wire": {nil, func(m machine) error { _, err := m.OneWire(99); return err },
			"/sys/bus/w1/devices/w1_bus_master99 is not there: 1-Wire is not enabled; on a Raspberry Pi add dtoverlay=w1-gpio to /boot/firmware/config.txt and restart"},
	} {
		t.Run(name, func(t *testing.T) {
			assert.EqualError(t, c.open(machine{node: func(string) error { return c.err }, w1: "/sys/bus/w1/devices"}), c.want)
		})
	}
}

// Every chip of the file works on the simulated bus too, calibration included, and
// a fault of the simulator's probe becomes one of the chip.
func TestSimulatedBus(t *testing.T) {
	entry, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	for chip, extra := range map[string]string{
		"MAX31855": "type: J", "MAX31856": "type: N", "MAX6675": "board: 40 °C", "MCP9600": "type: T", "MCP9601": "address: 0x61", "DS18B20": "offset: 0 K",
		"ADS1115": "input: 2, thermistor: {resistor: 10 kΩ, beta: 3950 K, at 25: 10 kΩ}",
	} {
		text := strings.Replace(onChips, "chip: MAX31856, bus: simulated, sheath: 30 s, offset: 0.4 K", "chip: "+chip+", bus: simulated, stretch: 2 %, "+extra, 1)
		if chip == "ADS1115" { // its room is a chip of its own
			text = strings.Replace(text, "input: 1", "address: 0x49, input: 1", 1)
		}
		w, err := Open(parse(t, text), Options{Product: entry.Value})
		require.NoError(t, err, chip)
		var in controller.Inputs
		for s := range 10 {
			in = w.Sample(time.Duration(s) * time.Second)
		}
		v, ok := in.Chamber[0].Value()
		require.True(t, ok, "%s: %v", chip, w.Channels()[0].Err())
		assert.InDelta(t, 15, float64(v), 1, chip) // the cold product cools a probe that sees it
		raw, _ := w.Channels()[0].Raw.Value()
		assert.InDelta(t, 15/1.02, float64(raw), 1, chip)

		tip := w.Channels()[0].tip
		for _, s := range []sensors.Status{sensors.Open, sensors.BusError} {
			tip.feel(sensors.Fault(s))
			worst := sensors.Good
			for n := range 20 {
				w.room.now += time.Second
				if r := w.Channels()[0].Read(w.room.now); r.Status() != sensors.Good && n > 5 {
					worst = r.Status()
				}
			}
			if s != sensors.Open || chip != "MCP9600" { // which cannot see one
				assert.NotEqual(t, sensors.Good, worst, "%s, %s", chip, s)
			}
		}
		require.NoError(t, w.Close())
	}
	_, err = Open(parse(t, onChips), Options{})
	assert.EqualError(t, err, "wiring: a simulated cabinet needs a product to hang in it")
}

// A world without relays drives none.
func TestOnlyReading(t *testing.T) {
	d := newDesk()
	c := parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1))
	w := OpenProbes(c, d)
	require.ErrorContains(t, w.Drive(controller.Outputs{}), "no relays are open")
	assert.Equal(t, relay.Readback{}, w.Readback())
	for i, part := range d.parts {
		part.Curve, part.Divider = c.Probes[2+i].Thermistor.Curve, c.Probes[2+i].Thermistor.Divider
	}
	v, ok := d.steps(w, 6).Core[1].Value()
	assert.True(t, ok)
	assert.False(t, math.Abs(float64(v)-61) > 0.3)
	require.NoError(t, w.Close())
}
