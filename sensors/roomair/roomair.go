// Package roomair reads the chips that hang in the room: BME280 and BMP280
// (temperature, pressure of the air, and with the former its humidity) and MCP9808
// (temperature) on I2C, through the drivers of periph.io.
//
// Those drivers give a number where the chip has none: the value that stands in its
// registers before the first conversion, after its supply has dipped, on a line that is
// stuck, or from a chip that converts no more. Here each of these is a fault. For that
// the registers that tell it are read beside every sample, and the bus is watched on the
// way, since the drivers drop or rewrite the cause of an error. They allocate a few bytes
// a read; the rest of the contract of package sensortest holds.
//
// Datasheets: Bosch BST-BME280-DS002 and BST-BMP280-DS001, Microchip DS25095 (registers,
// power-up values, conversion times; as recalled from memory, and as the drivers have
// them).
package roomair

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/bmxx80"
	"periph.io/x/devices/v3/mcp9808"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// Interval is the least time between two reads that can differ, and Settle the longest
// the first conversion takes, of either chip.
const (
	Interval = 600 * time.Millisecond
	Settle   = 600 * time.Millisecond
)

// frozenAfter is how many samples in a row may be the same to the last bit of 56: own
// magnitude. The noise of the pressure is several steps wide (datasheet, as above).
const frozenAfter = 10

// Why a reading is not good.
var (
	ErrID     = errors.New("roomair: the device at this address is not the chip that the file names, or does not answer; check chip, address and supply")
	ErrLost   = errors.New("roomair: the chip lost its settings and is set up again; check its supply")
	ErrEmpty  = errors.New("roomair: the chip has converted nothing since it got power")
	ErrFrozen = errors.New("roomair: the chip gives the same bits again and again: it converts no more; cut its supply for a moment")
	ErrRange  = errors.New("roomair: the chip shows what it cannot measure; check the bus")
)

// A Kind is a chip.
type Kind uint8

// The chips.
const (
	BME280 Kind = iota + 1
	BMP280
	MCP9808
)

// Air is what a chip knows of the room besides its temperature.
type Air struct {
	Pressure    float64 // Pa
	Humidity    float64 // relative, 0 to 1
	HasPressure bool
	HasHumidity bool
}

// Dev is a handle to a chip. It is not safe for concurrent use.
type Dev struct {
	kind   Kind
	tap    tap
	wire   i2c.Dev // for what the driver does not read
	dev    senser  // nil until the chip is set up
	pace   sensors.Pace
	sample bool
	same   int
	last   [8]byte
	air    Air
	err    error
	w, r   [2]byte
}

type senser interface{ Sense(*physic.Env) error }

var _ sensors.Probe = (*Dev)(nil)

// New does not talk to the chip, which the first Read sets up.
func New(bus i2c.Bus, kind Kind, address uint16) (*Dev, error) {
	low, high := uint16(0x76), uint16(0x77)
	switch kind {
	case BME280, BMP280:
	case MCP9808:
		low, high = 0x18, 0x1F
	default:
		return nil, errors.New("roomair: there is no such chip")
	}
	if address < low || address > high {
		return nil, fmt.Errorf("roomair: address %#x is outside %#x..%#x; look at the address pins", address, low, high)
	}
	d := &Dev{kind: kind, tap: tap{Bus: bus}}
	d.wire = i2c.Dev{Bus: &d.tap, Addr: address}
	return d, nil
}

func (d *Dev) String() string {
	return fmt.Sprintf("%s{%s(%#x)}", [...]string{BME280: "BME280", BMP280: "BMP280", MCP9808: "MCP9808"}[d.kind], d.tap.Bus, d.wire.Addr)
}

// Err says why the last reading was not good.
func (d *Dev) Err() error { return d.err }

// Air is the rest of the last reading, with nothing in it when that was not good.
func (d *Dev) Air() Air { return d.air }

func (d *Dev) fault(s sensors.Status, err error) sensors.Reading {
	d.err, d.air = err, Air{}
	return sensors.Fault(s)
}

// Read takes the chip's last conversion.
func (d *Dev) Read(now time.Duration) sensors.Reading {
	switch {
	case !d.pace.Due(now) && !d.sample:
		return d.fault(sensors.Unread, sensors.ErrStarting)
	case !d.pace.Due(now):
		return d.fault(sensors.Stale, sensors.ErrTooSoon)
	}
	d.tap.err = nil
	if d.dev == nil {
		return d.setUp(now)
	}
	d.pace.Rest(now, Interval)
	kept, err := d.kept()
	switch {
	case err != nil:
		return d.fault(sensors.BusError, d.cause(err))
	case !kept:
		d.dev, d.sample = nil, false
		d.setUp(now)
		return d.fault(sensors.BusError, ErrLost)
	}
	var e physic.Env
	if err := d.dev.Sense(&e); err != nil {
		return d.fault(sensors.BusError, d.cause(err))
	}
	return d.judge(&e)
}

// cause is the driver's error with what the bus said before it.
func (d *Dev) cause(err error) error {
	if d.tap.err == nil || errors.Is(err, d.tap.err) {
		return fmt.Errorf("roomair: %w", err)
	}
	return fmt.Errorf("roomair: %w: %w", err, d.tap.err)
}

// options let the chip convert by itself: asked for single conversions, the driver waits
// for each, and for ever on a line that is stuck high.
var options = bmxx80.Opts{Temperature: bmxx80.O2x, Pressure: bmxx80.O16x, Humidity: bmxx80.O1x, Filter: bmxx80.F2, Standby: 500 * time.Millisecond}

// What the registers hold while the chip is set up so.
const (
	measures = 2<<5 | 5<<2 | 3 // ctrl_meas: twice, 16 times, by itself
	humid    = 1               // ctrl_hum: once
	// marker is put where the MCP9808 has a limit that nothing is wired to, 120 °C: a chip
	// whose supply has dipped holds 0 there.
	marker = 120 << 4
)

func (d *Dev) setUp(now time.Duration) sensors.Reading {
	d.pace.Rest(now, Settle)
	d.sample, d.same = false, 0
	id, err := d.identity()
	if err != nil {
		return d.fault(sensors.BusError, d.cause(err))
	}
	if !id {
		return d.fault(sensors.BusError, ErrID)
	}
	if d.kind == MCP9808 {
		var dev *mcp9808.Dev
		if dev, err = mcp9808.New(&d.tap, &mcp9808.Opts{Addr: int(d.wire.Addr), Res: mcp9808.Maximum}); err == nil {
			if err = d.wire.Tx([]byte{0x04, marker >> 8, marker & 0xFF}, nil); err == nil {
				d.dev = dev
			}
		}
	} else {
		var dev *bmxx80.Dev
		o := options
		if dev, err = bmxx80.NewI2C(&d.tap, d.wire.Addr, &o); err == nil {
			d.dev = dev
		}
	}
	if err != nil {
		return d.fault(sensors.BusError, d.cause(err))
	}
	return d.fault(sensors.Unread, sensors.ErrStarting)
}

// register reads one or two bytes.
func (d *Dev) register(reg byte, n int) (uint16, error) {
	d.w[0] = reg
	if err := d.wire.Tx(d.w[:1], d.r[:n]); err != nil {
		return 0, err
	}
	if n == 1 {
		return uint16(d.r[0]), nil
	}
	return uint16(d.r[0])<<8 | uint16(d.r[1]), nil
}

func (d *Dev) identity() (bool, error) {
	if d.kind == MCP9808 {
		maker, err := d.register(0x06, 2)
		if err != nil {
			return false, err
		}
		device, err := d.register(0x07, 2)
		return maker == 0x0054 && device>>8 == 0x04, err
	}
	id, err := d.register(0xD0, 1)
	return id == map[Kind]uint16{BME280: 0x60, BMP280: 0x58}[d.kind], err
}

// kept reports whether the chip is there and still has its settings.
func (d *Dev) kept() (bool, error) {
	if id, err := d.identity(); err != nil {
		return false, err
	} else if !id {
		return false, ErrID
	}
	if d.kind == MCP9808 {
		v, err := d.register(0x04, 2)
		return v == marker, err
	}
	v, err := d.register(0xF4, 1)
	if err != nil || v != measures || d.kind == BMP280 {
		return v == measures, err
	}
	v, err = d.register(0xF2, 1)
	return v == humid, err
}

// judge turns what the driver gave, and the bytes that it came from, into a reading.
func (d *Dev) judge(e *physic.Env) sensors.Reading {
	t := quantity.Celsius(float64(e.Temperature-physic.ZeroCelsius) / float64(physic.Kelvin))
	air := Air{}
	if d.kind != MCP9808 {
		raw := d.tap.got[:d.tap.n]
		empty := []byte{0x80, 0x00, 0x00}
		if len(raw) < 6 || bytes.Equal(raw[0:3], empty) || bytes.Equal(raw[3:6], empty) {
			if !d.sample {
				return d.fault(sensors.Unread, sensors.ErrStarting)
			}
			return d.fault(sensors.BusError, ErrEmpty)
		}
		if d.sample && d.tap.got == d.last {
			d.same++
		} else {
			d.same = 0
		}
		if d.last = d.tap.got; d.same >= frozenAfter {
			return d.fault(sensors.Stale, ErrFrozen)
		}
		air.Pressure, air.HasPressure = float64(e.Pressure)/float64(physic.Pascal), true
		if air.Pressure < 30_000 || air.Pressure > 110_000 || t < -40 || t > 85 {
			return d.fault(sensors.OutOfRange, ErrRange)
		}
		if d.kind == BME280 {
			air.Humidity, air.HasHumidity = float64(e.Humidity)/float64(physic.PercentRH)/100, true
		}
	} else if t < -40 || t > 125 {
		return d.fault(sensors.OutOfRange, ErrRange)
	}
	d.sample, d.err, d.air = true, nil, air
	return sensors.At(t)
}

// tap is a bus that remembers what the driver above it forgets: why a transfer failed, and
// the bytes of the last one.
type tap struct {
	i2c.Bus
	err error
	got [8]byte
	n   int
}

func (t *tap) Tx(addr uint16, w, r []byte) error {
	err := t.Bus.Tx(addr, w, r)
	if err != nil && t.err == nil {
		t.err = err
	}
	t.got = [8]byte{}
	t.n = copy(t.got[:], r)
	return err
}
