package max6675

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

// Interval is the longest conversion (datasheet, timing characteristics). A read
// in less time stops the conversion and repeats the old value.
const Interval = 220 * time.Millisecond

// Line is the straight line that the chip takes type K for (datasheet).
const Line thermocouple.MicrovoltsPerKelvin = 41

// Why a reading is not good.
var (
	ErrOpen    = errors.New("max6675: open circuit: the thermocouple is broken or unplugged; check probe and connector")
	ErrSilent  = errors.New("max6675: every bit is zero: 0 °C or colder, or the chip does not answer; check supply, chip select and data line")
	ErrGarbled = errors.New("max6675: reserved bits contradict the datasheet; check the data line and the clock rate")
	ErrRange   = errors.New("max6675: the voltage is outside what the chip measures; check the probe")
)

// Opts are the options of New.
type Opts struct {
	Board quantity.Celsius // how warm the board is expected to be, -20..85 °C
}

// DefaultOpts are for a board in a room.
var DefaultOpts = Opts{Board: 25}

// Dev is a handle to the chip. It is not safe for concurrent use.
type Dev struct {
	conn  spi.Conn
	board quantity.Celsius
	pace  sensors.Pace
	frame [2]byte
	err   error
}

var _ sensors.Probe = (*Dev)(nil)

// New opens the port. It does not talk to the chip: one that is missing shows
// when it is read, as it would if it went missing later.
func New(p spi.Port, o *Opts) (*Dev, error) {
	if !(o.Board >= -20 && o.Board <= 85) {
		return nil, fmt.Errorf("max6675: a board at %v is outside -20..85 °C; say how warm it is", o.Board)
	}
	c, err := p.Connect(4*physic.MegaHertz, spi.Mode0, 8)
	if err != nil {
		return nil, fmt.Errorf("max6675: %w", err)
	}
	return &Dev{conn: c, board: o.Board}, nil
}

func (d *Dev) String() string { return fmt.Sprintf("MAX6675{%s}", d.conn) }

// Read takes the chip's last conversion and starts the next one.
func (d *Dev) Read(now time.Duration) sensors.Reading {
	if !d.pace.Due(now) {
		d.err = sensors.ErrTooSoon
		return sensors.Fault(sensors.Stale)
	}
	d.pace.Rest(now, Interval)
	if err := d.conn.Tx(nil, d.frame[:]); err != nil {
		d.err = fmt.Errorf("max6675: %w", err)
		return sensors.Fault(sensors.BusError)
	}
	var hot sensors.Reading
	hot, d.err = decode(uint16(d.frame[0])<<8|uint16(d.frame[1]), d.board)
	return hot
}

// Err says why the last reading was not good.
func (d *Dev) Err() error { return d.err }

// The bits of a frame (datasheet, table of the serial interface). The lowest bit
// floats.
const (
	reserved = 1<<15 | 1<<1
	open     = 1 << 2
	floating = 1 << 0
	full     = 0x7FF8
)

// shown is what the frame says the temperature is.
func shown(frame uint16) quantity.Celsius { return quantity.Celsius(frame&full>>3) / 4 }

// decode judges one frame. The error is nil exactly when the reading is good.
func decode(frame uint16, board quantity.Celsius) (sensors.Reading, error) {
	switch {
	case frame&^floating == 0:
		return sensors.Fault(sensors.BusError), ErrSilent
	case frame&reserved != 0:
		return sensors.Fault(sensors.BusError), ErrGarbled
	case frame&open != 0:
		return sensors.Fault(sensors.Open), ErrOpen
	case frame&full == full:
		return sensors.Fault(sensors.OutOfRange), ErrRange
	}
	t, ok := thermocouple.K.Straighten(Line, shown(frame), board)
	if !ok {
		return sensors.Fault(sensors.OutOfRange), ErrRange
	}
	return sensors.At(t), nil
}
