package ads1115

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/thermistor"
)

// Why a reading is not good.
var (
	ErrOpen          = errors.New("ads1115: open circuit: the thermistor is broken or unplugged; check probe and connector")
	ErrShort         = errors.New("ads1115: the input lies at one end of the supply: the thermistor or its wires are shorted; check them")
	ErrSupply        = errors.New("ads1115: the dividers' supply is more than a tenth off; check it and the input that measures it")
	ErrBusy          = errors.New("ads1115: a conversion does not end; check the chip's supply")
	ErrSettings      = errors.New("ads1115: the chip does not hold what it was told to convert; check the bus, the address and the chip's supply")
	ErrRange         = errors.New("ads1115: the temperature is outside the probe's range; check the curve, the fixed resistor and the probe")
	errNotAConverter = fmt.Errorf("%w (every bit is alike)", ErrSettings)
)

// Opts are the options of New.
type Opts struct {
	Address     uint16  // 0x48..0x4B, by what pin ADDR is tied to
	SupplyInput int     // which of AIN0..AIN3 measures the dividers' supply, or Unmeasured
	SupplyVolts float64 // what that supply should be, or is taken to be
}

// Unmeasured leaves all four inputs to thermistors: the supply is taken to be what
// Opts says, and each percent that it is off shifts 25 °C by 0.5 K and 100 °C by 0.4 K
// (10 kΩ part of beta 3950 K below 10 kΩ).
const Unmeasured = -1

// DefaultOpts are for pin ADDR at ground and dividers fed from 3.3 V, which AIN3
// measures.
var DefaultOpts = Opts{Address: 0x48, SupplyInput: 3, SupplyVolts: 3.3}

// ProbeOpts are the options of one thermistor.
type ProbeOpts struct {
	Input           int // which of AIN0..AIN3
	Curve           thermistor.Curve
	Divider         thermistor.Divider
	Lowest, Highest quantity.Celsius // outside these the reading is out of range
}

// DefaultProbeOpts are for a 10 kΩ part below a 10 kΩ resistor, with a single
// beta of 3950 K: some 1 K high at 100 °C. Give the coefficients of the part.
var DefaultProbeOpts = ProbeOpts{
	Input:   0,
	Curve:   thermistor.Curve{A: 1/298.15 - 9.210340371976184/3950, B: 1.0 / 3950}, // ln 10000
	Divider: thermistor.Divider{Ohms: 10000},
	Lowest:  -40, Highest: 150,
}

// Dev is a handle to the chip; its probes share it. It is not safe for
// concurrent use.
type Dev struct {
	bus   i2c.Bus
	o     Opts
	gain  uint16
	volts float64 // of one step
	w     [3]byte
	r     [2]byte
}

// New does not talk to the chip: one that is missing shows when it is read, as it
// would if it went missing later.
func New(bus i2c.Bus, o *Opts) (*Dev, error) {
	d := &Dev{bus: bus, o: *o, gain: 1, volts: 125e-6}
	switch {
	case o.Address < 0x48 || o.Address > 0x4B:
		return nil, fmt.Errorf("ads1115: address %#x is outside 0x48..0x4b; look at pin ADDR", o.Address)
	case o.SupplyInput != Unmeasured && (o.SupplyInput < 0 || o.SupplyInput > 3):
		return nil, fmt.Errorf("ads1115: there is no input %d; use 0..3", o.SupplyInput)
	case !(o.SupplyVolts >= 1 && o.SupplyVolts <= 5.5):
		return nil, fmt.Errorf("ads1115: a supply of %v V is outside 1..5.5 V", o.SupplyVolts)
	case o.SupplyVolts*1.1 > 4.096:
		d.gain, d.volts = 0, 187.5e-6
	}
	return d, nil
}

func (d *Dev) String() string { return fmt.Sprintf("ADS1115{%s(%#x)}", d.bus, d.o.Address) }

// A Probe is one thermistor.
type Probe struct {
	dev *Dev
	o   ProbeOpts
	err error
}

var _ sensors.Probe = (*Probe)(nil)

// Thermistor is the probe on one of the chip's inputs.
func (d *Dev) Thermistor(o *ProbeOpts) (*Probe, error) {
	middle := o.Curve.Resistance((o.Lowest + o.Highest) / 2)
	switch {
	case o.Input < 0 || o.Input > 3:
		return nil, fmt.Errorf("ads1115: there is no input %d; use 0..3", o.Input)
	case o.Input == d.o.SupplyInput:
		return nil, fmt.Errorf("ads1115: input %d measures the supply; put the thermistor on another one", o.Input)
	case !(o.Divider.Ohms > 0):
		return nil, fmt.Errorf("ads1115: a fixed resistor of %v Ω; state its resistance", o.Divider.Ohms)
	case !(o.Lowest < o.Highest):
		return nil, fmt.Errorf("ads1115: a probe for %v to %v; state the lower one first", o.Lowest, o.Highest)
	case !(middle > 0):
		return nil, fmt.Errorf("ads1115: curve %v gives no resistance; use the coefficients of the data sheet", o.Curve)
	}
	return &Probe{dev: d, o: *o}, nil
}

func (p *Probe) String() string { return fmt.Sprintf("%s.AIN%d", p.dev, p.o.Input) }

// Err says why the last reading was not good.
func (p *Probe) Err() error { return p.err }

// Read converts the supply and the divider now. It does not look at the time:
// each read waits for conversions of its own.
func (p *Probe) Read(time.Duration) sensors.Reading {
	supply, err := p.dev.supply()
	var middle int16
	if err == nil {
		middle, err = p.dev.convert(p.o.Input)
	}
	if err != nil {
		p.err = err
		return sensors.Fault(sensors.BusError)
	}
	var r sensors.Reading
	r, p.err = decode(supply, middle, p.dev.volts, p.dev.o.SupplyVolts, &p.o)
	return r
}

// supply converts the dividers' supply, or says what it should convert to.
func (d *Dev) supply() (int16, error) {
	if d.o.SupplyInput == Unmeasured {
		return int16(math.Round(d.o.SupplyVolts / d.volts)), nil
	}
	return d.convert(d.o.SupplyInput)
}

// The configuration register: one conversion of one input against ground at 128
// a second, comparator off.
const (
	regConversion, regConfig = 0, 1
	done                     = 0x8000
	base                     = 0x4000 | 0x0100 | 4<<5 | 3
)

// polls is how often the chip is asked whether it is done. One question takes at
// least 45 clocks, 0.11 ms on a bus of 400 kHz, and a conversion 7.8 ms plus a
// tenth.
const polls = 400

// convert starts one conversion and reads it when the chip says that it is done.
func (d *Dev) convert(input int) (int16, error) {
	config := uint16(base) | uint16(input)<<12 | d.gain<<9
	d.w = [3]byte{regConfig, byte((config | done) >> 8), byte(config & 0xFF)}
	if err := d.bus.Tx(d.o.Address, d.w[:], nil); err != nil {
		return 0, fmt.Errorf("ads1115: %w", err)
	}
	for range polls {
		answer, err := d.word(regConfig)
		switch {
		case err != nil:
			return 0, err
		case answer == 0 || answer == 0xFFFF:
			return 0, errNotAConverter
		case answer&^done != config:
			return 0, ErrSettings
		case answer&done == 0:
			continue
		}
		code, err := d.word(regConversion)
		return int16(code), err
	}
	return 0, ErrBusy
}

func (d *Dev) word(reg byte) (uint16, error) {
	d.w[0] = reg
	if err := d.bus.Tx(d.o.Address, d.w[:1], d.r[:]); err != nil {
		return 0, fmt.Errorf("ads1115: %w", err)
	}
	return uint16(d.r[0])<<8 | uint16(d.r[1]), nil
}

// Shares of the supply beyond which there is no thermistor: 10 kΩ below 10 kΩ
// would be at -63 °C and 220 °C there (common practice, no source).
const nearGround, nearSupply = 0.005, 0.99

// decode judges one pair of conversions, steps of the given voltage. The error is
// nil exactly when the reading is good.
func decode(supply, middle int16, stepVolts, supplyVolts float64, o *ProbeOpts) (sensors.Reading, error) {
	volts := float64(supply) * stepVolts
	if !(volts > 0.9*supplyVolts && volts < 1.1*supplyVolts) {
		return sensors.Fault(sensors.OutOfRange), ErrSupply
	}
	share := float64(middle) / float64(supply)
	switch low, high := share < nearGround, share > nearSupply; {
	case high && !o.Divider.OnTop, low && o.Divider.OnTop:
		return sensors.Fault(sensors.Open), ErrOpen
	case low:
		return sensors.Fault(sensors.ShortToGround), ErrShort
	case high:
		return sensors.Fault(sensors.ShortToSupply), ErrShort
	}
	ohms, ok := o.Divider.Resistance(share)
	if !ok {
		return sensors.Fault(sensors.OutOfRange), ErrRange
	}
	t, ok := o.Curve.Temperature(ohms)
	if !ok || t < o.Lowest || t > o.Highest {
		return sensors.Fault(sensors.OutOfRange), ErrRange
	}
	return sensors.At(t), nil
}
