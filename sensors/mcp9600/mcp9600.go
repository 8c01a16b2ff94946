package mcp9600

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/thermocouple"
)

// Interval is the least time between two reads that can differ, and Settle the
// longest the first conversion takes: 320 ms for the hot junction at 18 bits and
// 250 ms for the cold one (DS20005426G, electrical characteristics).
const (
	Interval = 320 * time.Millisecond
	Settle   = 570 * time.Millisecond
)

// Why a reading is not good.
var (
	ErrOpen    = errors.New("mcp9600: open circuit or voltage out of range: the chip keeps an old value; check probe and connector")
	ErrShort   = errors.New("mcp9600: the thermocouple touches ground or the supply; insulate its junction and wires")
	ErrUpdate  = errors.New("mcp9600: no new conversion since the last read; read less often, or check the chip")
	ErrHeld    = errors.New("mcp9600: the wire fault has only just ended; the chip's value may be old")
	ErrID      = errors.New("mcp9600: the device at this address is no MCP9600 or MCP9601, or does not answer; check address, supply and clock stretching")
	ErrSister  = errors.New("mcp9600: an MCP9600 answers where an MCP9601 is expected; it cannot see an open wire; correct the cabinet file, or fit the other chip")
	ErrGarbled = errors.New("mcp9600: bits contradict the datasheet; check the bus, above all for clock stretching")
	ErrLost    = errors.New("mcp9600: the chip lost its settings and was set up again; check its supply")
	ErrRefused = errors.New("mcp9600: the chip does not take its settings; check the bus, above all for clock stretching")
	ErrCold    = errors.New("mcp9600: the chip is outside -40..125 °C; move the board to a cooler place")
	ErrRange   = errors.New("mcp9600: the temperature is outside the range of the thermocouple type; check the type and the probe")
)

// Opts are the options of New.
type Opts struct {
	Address uint16 // 0x60..0x67, by the divider on pin ADDR
	Type    thermocouple.Type
	// SeesWire says that the chip must be an MCP9601, which sees an open or shorted
	// thermocouple; an MCP9600 in its place is then a fault.
	SeesWire bool
	// Filter is the chip's own low-pass n, 0..7: y = k·x + (1-k)·y with
	// k = 2/(2^n + 1). It delays a ramp by (1-k)/k conversions.
	Filter int
}

// DefaultOpts are for the commonest probe, pin ADDR at the supply, no filter.
var DefaultOpts = Opts{Address: 0x67, Type: thermocouple.K}

// The registers.
const (
	regHot, regCold           = 0x00, 0x02
	regStatus                 = 0x04
	regSensor, regDevice      = 0x05, 0x06
	regID                     = 0x20
	idMCP9600, idMCP9601      = 0x40, 0x41
	deviceSettings       byte = 0 // 1/16 K, 18 bits, one sample, converting
)

var typeCode = map[thermocouple.Type]byte{thermocouple.K: 0, thermocouple.J: 1, thermocouple.T: 2, thermocouple.N: 3, thermocouple.E: 5}

// Dev is a handle to the chip. It is not safe for concurrent use.
type Dev struct {
	bus      i2c.Bus
	o        Opts
	settings byte
	set      bool // the chip took its settings
	held     bool // it had a wire fault and may show an old value
	sample   bool // it has given a sample since it was set up
	pace     sensors.Pace
	w, r     [2]byte
	cold     sensors.Reading
	err      error
}

var _ sensors.Probe = (*Dev)(nil)

// New does not talk to the chip, which the first Read sets up: one that is
// missing shows then, as it would if it went missing later.
func New(bus i2c.Bus, o *Opts) (*Dev, error) {
	code, ok := typeCode[o.Type]
	switch {
	case !ok:
		return nil, fmt.Errorf("mcp9600: %s is not known; use K, J, T, N or E", o.Type)
	case o.Address < 0x60 || o.Address > 0x67:
		return nil, fmt.Errorf("mcp9600: address %#x is outside 0x60..0x67; look at pin ADDR", o.Address)
	case o.Filter < 0 || o.Filter > 7:
		return nil, fmt.Errorf("mcp9600: filter %d is outside 0..7", o.Filter)
	}
	return &Dev{bus: bus, o: *o, settings: code<<4 | byte(o.Filter)}, nil
}

func (d *Dev) String() string { return fmt.Sprintf("MCP9600%s{%s(%#x)}", d.o.Type, d.bus, d.o.Address) }

// ColdJunction is the chip's own temperature at the last Read.
func (d *Dev) ColdJunction() sensors.Reading { return d.cold }

// Err says why the last reading was not good.
func (d *Dev) Err() error { return d.err }

func (d *Dev) fault(s sensors.Status, err error) sensors.Reading {
	d.cold, d.err = sensors.Fault(s), err
	return d.cold
}

// Read takes the chip's last conversion.
func (d *Dev) Read(now time.Duration) sensors.Reading {
	switch {
	case !d.pace.Due(now) && !d.sample:
		return d.fault(sensors.Unread, sensors.ErrStarting)
	case !d.pace.Due(now):
		return d.fault(sensors.Stale, sensors.ErrTooSoon)
	case !d.set:
		return d.setUp(now)
	}
	d.pace.Rest(now, Interval)
	r, err := d.load()
	if err == nil {
		err = d.write(regStatus, 0) // clears the flag that says "updated"
	}
	if err != nil {
		return d.fault(sensors.BusError, fmt.Errorf("mcp9600: %w", err))
	}
	var hot sensors.Reading
	hot, d.cold, d.err = decode(r, d.settings, &d.o)
	switch d.err {
	case ErrLost:
		d.setUp(now)
		return d.fault(sensors.BusError, ErrLost)
	case ErrOpen, ErrShort:
		d.held = true
	case ErrUpdate:
		if !d.sample {
			return d.fault(sensors.Unread, sensors.ErrStarting)
		}
	case nil:
		d.sample = true
		if d.held { // the flag may be that of the last conversion with the fault
			d.held = false
			return d.fault(sensors.Stale, ErrHeld)
		}
	}
	return hot
}

// registers is one copy of what a read needs.
type registers struct {
	id                     uint16
	sensor, device, status byte
	hot, cold              uint16
}

// load reads the status before the temperatures, so that its flags cannot be
// newer than they are.
func (d *Dev) load() (r registers, err error) {
	r.id = d.word(regID, &err)
	r.sensor = d.octet(regSensor, &err)
	r.device = d.octet(regDevice, &err)
	r.status = d.octet(regStatus, &err)
	r.hot = d.word(regHot, &err)
	r.cold = d.word(regCold, &err)
	return r, err
}

func (d *Dev) octet(reg byte, err *error) byte {
	if *err == nil {
		d.w[0] = reg
		*err = d.bus.Tx(d.o.Address, d.w[:1], d.r[:1])
	}
	return d.r[0]
}

func (d *Dev) word(reg byte, err *error) uint16 {
	if *err == nil {
		d.w[0] = reg
		*err = d.bus.Tx(d.o.Address, d.w[:1], d.r[:2])
	}
	return uint16(d.r[0])<<8 | uint16(d.r[1])
}

func (d *Dev) write(reg, value byte) error {
	d.w = [2]byte{reg, value}
	return d.bus.Tx(d.o.Address, d.w[:], nil)
}

// setUp checks who answers, writes the settings and reads them back.
func (d *Dev) setUp(now time.Duration) sensors.Reading {
	d.set, d.sample, d.held = false, false, false
	d.pace.Rest(now, Interval)
	var err error
	id := d.word(regID, &err)
	if err == nil {
		if stranger := identify(id, &d.o); stranger != nil {
			return d.fault(sensors.BusError, stranger)
		}
	}
	for _, w := range [...][2]byte{{regSensor, d.settings}, {regDevice, deviceSettings}, {regStatus, 0}} {
		if err == nil {
			err = d.write(w[0], w[1])
		}
	}
	sensor, device := d.octet(regSensor, &err), d.octet(regDevice, &err)
	if err != nil {
		return d.fault(sensors.BusError, fmt.Errorf("mcp9600: %w", err))
	}
	if sensor != d.settings || device != deviceSettings {
		return d.fault(sensors.BusError, ErrRefused)
	}
	d.set = true
	d.pace.Rest(now, Settle)
	return d.fault(sensors.Unread, sensors.ErrStarting)
}

// identify is an error unless the chip is one that the options allow.
func identify(id uint16, o *Opts) error {
	switch {
	case id>>8 == idMCP9601, id>>8 == idMCP9600 && !o.SeesWire:
		return nil
	case id>>8 == idMCP9600:
		return ErrSister
	}
	return ErrID
}

// The bits of the status register. The alerts are off, so their bits stay clear,
// and the burst bit belongs to a mode that is not used.
const (
	updated = 1 << 6
	short   = 1 << 5
	input   = 1 << 4
)

// decode judges one copy of the registers. The error is nil exactly when hot is
// good.
func decode(r registers, settings byte, o *Opts) (hot, cold sensors.Reading, err error) {
	broken := sensors.Fault(sensors.BusError)
	if err := identify(r.id, o); err != nil {
		return broken, broken, err
	}
	c := int16(r.cold)
	switch {
	case r.sensor != settings || r.device != deviceSettings:
		return broken, broken, ErrLost
	case r.status == 0xFF, c < -2048 || c > 2047, r.id>>8 == idMCP9600 && r.status&short != 0:
		// A dead line; a cold junction of more than 12 bits; a flag that the chip
		// has not.
		return broken, broken, ErrGarbled
	}
	cold = sensors.At(quantity.Celsius(c) / 16)
	if c < -40*16 || c > 125*16 {
		cold = sensors.Fault(sensors.OutOfRange)
	}
	low, high := o.Type.Range()
	h := quantity.Celsius(int16(r.hot)) / 16
	switch {
	case r.status&short != 0:
		return sensors.Fault(sensors.ShortToGround), cold, ErrShort
	case r.status&input != 0:
		return sensors.Fault(sensors.Open), cold, ErrOpen
	case r.status&updated == 0:
		return sensors.Fault(sensors.Stale), cold, ErrUpdate
	case cold.Status() != sensors.Good:
		return cold, cold, ErrCold
	case !(h >= low && h <= high): // an unknown type has no range
		return sensors.Fault(sensors.OutOfRange), cold, ErrRange
	}
	return sensors.At(h), cold, nil
}
