package ds18b20

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/onewire"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// Why a reading is not good.
var (
	ErrAbsent  = errors.New("ds18b20: the chip does not answer; check its wires and its address")
	ErrGarbled = errors.New("ds18b20: checksum or fixed bits are wrong; check the cable, its length and the pull-up")
	ErrPowerUp = errors.New("ds18b20: the register holds the power-up value of 85 °C; no conversion was seen")
	ErrLost    = errors.New("ds18b20: the chip lost its power and was set up again; check its supply")
	ErrRefused = errors.New("ds18b20: the chip does not take its settings; check the cable and the pull-up")
	ErrRange   = errors.New("ds18b20: the temperature is outside -55..125 °C, which the chip cannot have measured")
	ErrMissed  = errors.New("ds18b20: the last conversion could not be started; read again")
)

// Opts are the options of New.
type Opts struct {
	Bits int // of resolution, 9 to 12
}

// DefaultOpts are for the finest resolution, 1/16 K.
var DefaultOpts = Opts{Bits: 12}

// The commands (datasheet, function commands).
const (
	matchROM        = 0x55
	writeScratchpad = 0x4E
	readScratchpad  = 0xBE
	convert         = 0x44
	family          = 0x28
)

// The mark in the bytes TH and TL. They are alarm limits, which nothing uses, and
// are never copied to the chip's memory.
const markHigh, markLow = 0xA6, 0x59

// Dev is a handle to one chip of a bus. It is not safe for concurrent use.
type Dev struct {
	bus       onewire.Bus
	addr      onewire.Address
	bits      int
	set       bool // the chip took mark and resolution
	running   bool // a conversion was started
	sample    bool // it has given a sample since it was set up
	converted bool // it has shown something else than 85 °C since it was set up
	pace      sensors.Pace
	w         [1 + 8 + 4]byte
	pad       [9]byte
	err       error
}

var _ sensors.Probe = (*Dev)(nil)

// New does not talk to the chip, which the first Read sets up: one that is
// missing shows then, as it would if it went missing later.
func New(bus onewire.Bus, addr onewire.Address, o *Opts) (*Dev, error) {
	d := &Dev{bus: bus, addr: addr, bits: o.Bits}
	d.w[0] = matchROM
	for i := range 8 {
		d.w[1+i] = byte(addr >> (8 * i))
	}
	switch {
	case o.Bits < 9 || o.Bits > 12:
		return nil, fmt.Errorf("ds18b20: %d bits are outside 9..12", o.Bits)
	}
	if err := CheckAddress(addr); err != nil {
		return nil, err
	}
	return d, nil
}

func (d *Dev) String() string { return fmt.Sprintf("DS18B20{%s(%#016x)}", d.bus, uint64(d.addr)) }

// Interval is the time of one conversion, 750 ms at 12 bits and half of that for
// each bit less.
func (d *Dev) Interval() time.Duration { return 750 * time.Millisecond >> (12 - d.bits) }

// Err says why the last reading was not good.
func (d *Dev) Err() error { return d.err }

func (d *Dev) fault(s sensors.Status, err error) sensors.Reading {
	d.err = err
	return sensors.Fault(s)
}

// broken is the reading for a failed transaction.
func (d *Dev) broken(err error) sensors.Reading {
	s := sensors.BusError
	var short onewire.ShortedBusError
	if errors.As(err, &short) && short.IsShorted() {
		s = sensors.ShortToGround
	}
	return d.fault(s, fmt.Errorf("ds18b20: %w", err))
}

// Read takes the conversion that the last Read started and starts the next.
func (d *Dev) Read(now time.Duration) sensors.Reading {
	switch {
	case !d.pace.Due(now) && !d.sample:
		return d.fault(sensors.Unread, sensors.ErrStarting)
	case !d.pace.Due(now):
		return d.fault(sensors.Stale, sensors.ErrTooSoon)
	case !d.set:
		return d.setUp(now)
	}
	if !d.running {
		if err := d.start(now); err != nil {
			return d.broken(err)
		}
		return d.fault(sensors.Stale, ErrMissed)
	}
	if err := d.load(); err != nil {
		_ = d.start(now) // or the next read would take a conversion twice as old
		return d.broken(err)
	}
	r, raw, err := decode(&d.pad, d.bits)
	switch {
	case err == ErrLost:
		d.setUp(now)
		return d.fault(sensors.BusError, ErrLost)
	case err != nil:
	case raw != powerUp:
		d.converted = true
	case !d.converted:
		r, err = sensors.Fault(sensors.Unread), ErrPowerUp
	}
	d.sample = d.sample || err == nil
	d.err = err
	// A conversion that cannot be started does not spoil the value just read; the
	// next read will say so.
	_ = d.start(now)
	return r
}

func (d *Dev) start(now time.Duration) error {
	d.pace.Rest(now, d.Interval())
	d.w[9] = convert
	err := d.bus.Tx(d.w[:10], nil, onewire.WeakPullup)
	d.running = err == nil
	return err
}

func (d *Dev) load() error {
	d.w[9] = readScratchpad
	return d.bus.Tx(d.w[:10], d.pad[:], onewire.WeakPullup)
}

// setUp writes mark and resolution, reads them back and starts a conversion.
func (d *Dev) setUp(now time.Duration) sensors.Reading {
	d.set, d.running, d.sample, d.converted = false, false, false, false
	d.pace.Rest(now, d.Interval())
	copy(d.w[9:], []byte{writeScratchpad, markHigh, markLow, config(d.bits)})
	err := d.bus.Tx(d.w[:13], nil, onewire.WeakPullup)
	if err == nil {
		err = d.load()
	}
	if err != nil {
		return d.broken(err)
	}
	switch _, _, err := decode(&d.pad, d.bits); err {
	case ErrAbsent, ErrGarbled:
		return d.fault(sensors.BusError, err)
	case ErrLost:
		return d.fault(sensors.BusError, ErrRefused)
	}
	d.set = true
	if err := d.start(now); err != nil {
		return d.broken(err)
	}
	return d.fault(sensors.Unread, sensors.ErrStarting)
}

// config is the configuration byte: 0 R1 R0 1 1 1 1 1.
func config(bits int) byte { return byte(bits-9)<<5 | 0x1F }

// powerUp is the register after power-up, 85 °C.
const powerUp = 0x0550

// decode judges one scratchpad. The error is nil exactly when the reading is good,
// but for the power-up value, which only the caller can judge.
func decode(pad *[9]byte, bits int) (r sensors.Reading, raw int16, err error) {
	broken := sensors.Fault(sensors.BusError)
	same := true
	for _, b := range pad {
		same = same && b == 0xFF
	}
	raw = int16(uint16(pad[1])<<8 | uint16(pad[0]))
	raw &= -1 << (12 - bits) // the lower bits are undefined
	switch {
	case same:
		return broken, 0, ErrAbsent
	case !onewire.CheckCRC(pad[:]), pad[4]&0x9F != 0x1F, pad[5] != 0xFF, pad[7] != 0x10, raw > 0x07FF || raw < -0x0800:
		return broken, 0, ErrGarbled
	case pad[2] != markHigh || pad[3] != markLow || pad[4] != config(bits):
		return broken, 0, ErrLost
	case raw < -55*16 || raw > 125*16:
		return sensors.Fault(sensors.OutOfRange), raw, ErrRange
	}
	return sensors.At(quantity.Celsius(raw) / 16), raw, nil
}
