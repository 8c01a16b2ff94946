package max31855

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

// Interval is the least time between two reads that can differ: the longest
// conversion (19-5793, electrical characteristics).
const Interval = 100 * time.Millisecond

// The junction on the chip measures within these limits (datasheet, operating
// range).
const coldLow, coldHigh = -40, 125

// Why a reading is not good.
var (
	ErrOpen          = errors.New("max31855: open circuit: the thermocouple is broken or unplugged; check probe and connector")
	ErrShortToGround = errors.New("max31855: the thermocouple touches ground; insulate its junction and wires")
	ErrShortToSupply = errors.New("max31855: the thermocouple touches the supply; check wires and board")
	ErrSilent        = errors.New("max31855: every bit is zero: the chip does not answer; check supply, chip select and data line")
	ErrGarbled       = errors.New("max31855: reserved or fault bits contradict the datasheet; check the data line and the clock rate")
	ErrCold          = errors.New("max31855: the chip is outside -40..125 °C; move the board to a cooler place")
	ErrRange         = errors.New("max31855: the voltage is outside the range of the thermocouple type; check the type and the probe")
)

// Opts are the options of New.
type Opts struct {
	Type thermocouple.Type // of the wire and of the chip, which must be alike
}

// DefaultOpts are for the commonest probe.
var DefaultOpts = Opts{Type: thermocouple.K}

// Dev is a handle to the chip. It is not safe for concurrent use.
type Dev struct {
	conn  spi.Conn
	typ   thermocouple.Type
	pace  sensors.Pace
	frame [4]byte
	cold  sensors.Reading
	err   error
}

var _ sensors.Probe = (*Dev)(nil)

// New opens the port. It does not talk to the chip: one that is missing shows
// when it is read, as it would if it went missing later.
func New(p spi.Port, o *Opts) (*Dev, error) {
	if Line(o.Type) == 0 {
		return nil, fmt.Errorf("max31855: %s has no MAX31855 here; use K, J, T, N or E", o.Type)
	}
	c, err := p.Connect(5*physic.MegaHertz, spi.Mode0, 8)
	if err != nil {
		return nil, fmt.Errorf("max31855: %w", err)
	}
	return &Dev{conn: c, typ: o.Type}, nil
}

func (d *Dev) String() string { return fmt.Sprintf("MAX31855%s{%s}", d.typ, d.conn) }

// Read takes the chip's last conversion.
func (d *Dev) Read(now time.Duration) sensors.Reading {
	if !d.pace.Due(now) {
		d.cold, d.err = sensors.Fault(sensors.Stale), sensors.ErrTooSoon
		return d.cold
	}
	d.pace.Rest(now, Interval)
	if err := d.conn.Tx(nil, d.frame[:]); err != nil {
		d.cold, d.err = sensors.Fault(sensors.BusError), fmt.Errorf("max31855: %w", err)
		return d.cold
	}
	f := d.frame
	var hot sensors.Reading
	hot, d.cold, d.err = decode(uint32(f[0])<<24|uint32(f[1])<<16|uint32(f[2])<<8|uint32(f[3]), d.typ)
	return hot
}

// ColdJunction is the chip's own temperature at the last Read.
func (d *Dev) ColdJunction() sensors.Reading { return d.cold }

// Err says why the last reading was not good.
func (d *Dev) Err() error { return d.err }

// Line is the straight line that the chip takes the type for (datasheet, table
// 1). It is the mean slope from 0 to 1000 °C, for T to 400 °C.
func Line(t thermocouple.Type) thermocouple.MicrovoltsPerKelvin {
	switch t {
	case thermocouple.K:
		return 41.276
	case thermocouple.J:
		return 57.953
	case thermocouple.T:
		return 52.18
	case thermocouple.N:
		return 36.256
	case thermocouple.E:
		return 76.373
	}
	return 0
}

// The bits of a frame (datasheet, memory map).
const (
	reserved = 1<<17 | 1<<3
	anyFault = 1 << 16
	toSupply = 1 << 2
	toGround = 1 << 1
	open     = 1 << 0
	wire     = toSupply | toGround | open
)

// shown is what the frame says the two temperatures are.
func shown(frame uint32) (hot, cold quantity.Celsius) {
	return quantity.Celsius(int32(frame)>>18) / 4, quantity.Celsius(int16(frame)>>4) / 16
}

// decode judges one frame. The error is nil exactly when hot is good.
func decode(frame uint32, t thermocouple.Type) (hot, cold sensors.Reading, err error) {
	broken := sensors.Fault(sensors.BusError)
	switch {
	case frame == 0:
		return broken, broken, ErrSilent
	case frame&reserved != 0, (frame&anyFault != 0) != (frame&wire != 0):
		return broken, broken, ErrGarbled
	}
	h, c := shown(frame)
	cold = sensors.At(c)
	if c < coldLow || c > coldHigh {
		cold = sensors.Fault(sensors.OutOfRange)
	}
	switch {
	case frame&open != 0:
		return sensors.Fault(sensors.Open), cold, ErrOpen
	case frame&toGround != 0:
		return sensors.Fault(sensors.ShortToGround), cold, ErrShortToGround
	case frame&toSupply != 0:
		return sensors.Fault(sensors.ShortToSupply), cold, ErrShortToSupply
	case cold.Status() != sensors.Good:
		return cold, cold, ErrCold
	}
	x, ok := t.Straighten(Line(t), h, c)
	if !ok {
		return sensors.Fault(sensors.OutOfRange), cold, ErrRange
	}
	return sensors.At(x), cold, nil
}
