package max31856

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/thermocouple"
)

// A LeadTest is the chip's test for an open circuit; it depends on the
// resistance of the probe's leads and on the filter at the terminals. There is
// no "off".
type LeadTest uint8

// The tests (datasheet, table 4).
const (
	LowResistance  LeadTest = iota // leads and filter below 5 kΩ
	HighResistance                 // 5..40 kΩ, time constant below 2 ms
	SlowFilter                     // time constant above 2 ms
)

// Why a reading is not good.
var (
	ErrOpen    = errors.New("max31856: open circuit: the thermocouple is broken or unplugged; check probe and connector")
	ErrVoltage = errors.New("max31856: the input is below ground or above the supply, so the chip stopped; check for a short to the cabinet or the mains wiring")
	ErrHeld    = errors.New("max31856: the chip has only just started again after a voltage outside its supply; its value may be old")
	ErrSilent  = errors.New("max31856: every bit is alike: the chip does not answer; check supply, chip select and data lines")
	ErrGarbled = errors.New("max31856: reserved bits contradict the datasheet; check the data lines and the clock rate")
	ErrLost    = errors.New("max31856: the chip lost its settings and was set up again; check its supply")
	ErrRefused = errors.New("max31856: the chip does not take its settings; check the wiring, above all the line to its data input")
	ErrCold    = errors.New("max31856: the chip is outside -55..125 °C; move the board to a cooler place")
	ErrRange   = errors.New("max31856: the temperature is outside the range of the thermocouple type; check the type and the probe")
)

// Opts are the options of New.
type Opts struct {
	Type    thermocouple.Type
	Samples int // averaged for one value: 1, 2, 4, 8 or 16
	Mains   int // whose hum to reject, in Hz: 50 or 60
	Leads   LeadTest
}

// DefaultOpts are for the commonest probe on 50 Hz mains.
var DefaultOpts = Opts{Type: thermocouple.K, Samples: 4, Mains: 50}

// codes of the types and of the averaging in register CR1.
var (
	typeCode   = map[thermocouple.Type]byte{thermocouple.E: 1, thermocouple.J: 2, thermocouple.K: 3, thermocouple.N: 4, thermocouple.T: 7}
	sampleCode = map[int]byte{1: 0, 2: 1, 4: 2, 8: 3, 16: 4}
)

// The registers: the first ten are settings, see the datasheet's memory map.
const (
	cr0, cr1   = 0x00, 0x01
	cjth, cjtl = 0x0A, 0x0B
	ltcbh      = 0x0C
	status     = 0x0F
	settings   = 10 // CR0..CJTO
	writeBit   = 0x80
	automatic  = 0x80 // CR0: convert all the time
)

// Dev is a handle to the chip. It is not safe for concurrent use.
type Dev struct {
	conn   spi.Conn
	o      Opts
	want   [settings]byte
	set    bool // the chip took its settings
	held   bool // it stopped and may show an old value
	sample bool // it has given a sample since it was set up
	pace   sensors.Pace
	w, r   [1 + 16]byte
	cold   sensors.Reading
	err    error
}

var _ sensors.Probe = (*Dev)(nil)

// New opens the port. It does not talk to the chip, which the first Read sets up:
// one that is missing shows then, as it would if it went missing later.
func New(p spi.Port, o *Opts) (*Dev, error) {
	code, okType := typeCode[o.Type]
	average, okSamples := sampleCode[o.Samples]
	switch {
	case !okType:
		return nil, fmt.Errorf("max31856: %s is not known; use K, J, T, N or E", o.Type)
	case !okSamples:
		return nil, fmt.Errorf("max31856: %d samples; use 1, 2, 4, 8 or 16", o.Samples)
	case o.Mains != 50 && o.Mains != 60:
		return nil, fmt.Errorf("max31856: mains of %d Hz; use 50 or 60", o.Mains)
	case o.Leads > SlowFilter:
		return nil, fmt.Errorf("max31856: lead test %d is not known; use one of the named ones", o.Leads)
	}
	c, err := p.Connect(5*physic.MegaHertz, spi.Mode3, 8)
	if err != nil {
		return nil, fmt.Errorf("max31856: %w", err)
	}
	d := &Dev{conn: c, o: *o}
	// The thresholds and the pin's mask stay as they are after power-up, at the
	// ends of their ranges and with the pin off.
	d.want = [settings]byte{automatic | byte(o.Leads+1)<<4, average<<4 | code, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00}
	if o.Mains == 50 {
		d.want[cr0] |= 1
	}
	return d, nil
}

func (d *Dev) String() string { return fmt.Sprintf("MAX31856%s{%s}", d.o.Type, d.conn) }

// Interval is the least time between two reads that can differ.
func (d *Dev) Interval() time.Duration {
	if d.o.Mains == 50 {
		return 110*time.Millisecond + time.Duration(d.o.Samples-1)*20*time.Millisecond + d.leadTest()
	}
	return 90*time.Millisecond + time.Duration(d.o.Samples-1)*16670*time.Microsecond + d.leadTest()
}

// Settle is the longest the first conversion takes.
func (d *Dev) Settle() time.Duration {
	if d.o.Mains == 50 {
		return 185*time.Millisecond + time.Duration(d.o.Samples-1)*40*time.Millisecond + d.leadTest()
	}
	return 155*time.Millisecond + time.Duration(d.o.Samples-1)*33330*time.Microsecond + d.leadTest()
}

// Detect is the longest that a broken wire may go unseen.
func (d *Dev) Detect() time.Duration { return 16*(d.Interval()-d.leadTest()) + 2*d.leadTest() }

// leadTest is the time the open-circuit test takes, a tenth above the typical
// one (datasheet, table 4).
func (d *Dev) leadTest() time.Duration {
	return [...]time.Duration{14630 * time.Microsecond, 36740 * time.Microsecond, 124740 * time.Microsecond}[d.o.Leads]
}

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
	d.pace.Rest(now, d.Interval())
	if err := d.load(); err != nil {
		return d.fault(sensors.BusError, fmt.Errorf("max31856: %w", err))
	}
	var hot sensors.Reading
	hot, d.cold, d.err = decode((*[16]byte)(d.r[1:]), &d.want, d.o.Type)
	switch d.err {
	case ErrLost:
		d.setUp(now)
		return d.fault(sensors.BusError, ErrLost)
	case ErrVoltage, ErrOpen: // both bits may be set
		d.held = d.held || d.r[1+status]&voltage != 0
	case nil:
		d.sample = true
		if d.held { // it converts again; the next value is new
			d.held = false
			d.pace.Rest(now, d.Settle())
			return d.fault(sensors.Stale, ErrHeld)
		}
	}
	return hot
}

// load reads all sixteen registers in one transfer, so that they belong to one
// moment.
func (d *Dev) load() error {
	clear(d.w[:])
	return d.conn.Tx(d.w[:], d.r[:])
}

// setUp writes the settings and reads them back. The filter may change only while
// the chip does not convert, hence first CR0 without the automatic bit.
func (d *Dev) setUp(now time.Duration) sensors.Reading {
	d.set, d.sample, d.held = false, false, false
	d.pace.Rest(now, d.Interval())
	d.w[0], d.w[1] = writeBit|cr0, d.want[cr0]&^automatic
	err := d.conn.Tx(d.w[:2], d.r[:2])
	if err == nil {
		d.w[0] = writeBit | cr1
		copy(d.w[1:], d.want[cr1:])
		err = d.conn.Tx(d.w[:settings], d.r[:settings])
	}
	if err == nil {
		d.w[0], d.w[1] = writeBit|cr0, d.want[cr0]
		err = d.conn.Tx(d.w[:2], d.r[:2])
	}
	if err == nil {
		err = d.load()
	}
	if err != nil {
		return d.fault(sensors.BusError, fmt.Errorf("max31856: %w", err))
	}
	if [settings]byte(d.r[1:]) != d.want {
		return d.fault(sensors.BusError, ErrRefused)
	}
	d.set = true
	d.pace.Rest(now, d.Settle())
	return d.fault(sensors.Unread, sensors.ErrStarting)
}

// The bits of the status register SR.
const (
	coldRange = 1 << 7
	hotRange  = 1 << 6
	limits    = 0x3C // CJHIGH, CJLOW, TCHIGH, TCLOW
	voltage   = 1 << 1
	open      = 1 << 0
)

// decode judges one copy of the registers. The error is nil exactly when hot is
// good.
func decode(r *[16]byte, want *[settings]byte, t thermocouple.Type) (hot, cold sensors.Reading, err error) {
	broken := sensors.Fault(sensors.BusError)
	same := true
	for _, b := range r {
		same = same && b == r[0]
	}
	switch {
	case same && (r[0] == 0 || r[0] == 0xFF):
		return broken, broken, ErrSilent
	case [settings]byte(r[:]) != *want:
		return broken, broken, ErrLost
	case r[cjtl]&3 != 0:
		return broken, broken, ErrGarbled
	}
	// The cold junction is a 16-bit number of 1/256 K; the hot one a 24-bit number
	// of 1/4096 K, of which the low five bits mean nothing.
	c := celsius(int32(int16(uint16(r[cjth])<<8|uint16(r[cjtl]))), 256)
	h := celsius(int32(uint32(r[ltcbh])<<24|uint32(r[ltcbh+1])<<16|uint32(r[ltcbh+2])<<8)>>13, 128)
	cold = sensors.At(c)
	if r[status]&coldRange != 0 || c < -55 || c > 125 {
		cold = sensors.Fault(sensors.OutOfRange)
	}
	low, high := t.Range()
	switch out := sensors.Fault(sensors.OutOfRange); {
	case r[status]&open != 0:
		return sensors.Fault(sensors.Open), cold, ErrOpen
	case r[status]&voltage != 0:
		return out, cold, ErrVoltage
	case cold.Status() != sensors.Good:
		return out, cold, ErrCold
	case r[status]&(hotRange|limits) != 0, !(h >= low && h <= high): // an unknown type has no range
		return out, cold, ErrRange
	}
	return sensors.At(h), cold, nil
}

func celsius(code, perKelvin int32) quantity.Celsius {
	return quantity.Celsius(float64(code) / float64(perKelvin))
}
