// Package chips simulates the front ends of temperature probes byte for byte, on
// the bus interfaces of periph.io: a driver cannot tell them from the chip. They
// take the temperatures to measure and the time from functions, so they work on
// virtual time, and they can be broken in the ways that the real ones break.
//
// They follow the datasheets' conversions, registers, power-up values and timing
// as far as a driver can see them, with ideal accuracy: what they show is the true
// value rounded to the chip's step. They add no noise and no gain error.
package chips

import (
	"errors"
	"math"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
)

// A World is what a chip lives in. All three functions must be set.
type World struct {
	Hot, Cold func() quantity.Celsius // the probe's tip, and the board
	Now       func() time.Duration    // since any fixed moment
}

// A Fault is a way to break a chip.
type Fault uint8

const (
	// Sound is a chip that works.
	Sound Fault = iota
	// OpenWire is a broken or unplugged probe.
	OpenWire
	// ToGround and ToSupply are wires of the probe that touch either.
	ToGround
	ToSupply
	// BeyondSupply is an input voltage below ground or above the supply.
	BeyondSupply
	// Frozen is a chip that answers and no longer converts.
	Frozen
	// BusError is a bus that reports an error.
	BusError
	// AllZeros and AllOnes are a dead data line.
	AllZeros
	AllOnes
)

var faultText = [...]string{
	Sound: "sound", OpenWire: "open wire", ToGround: "wire to ground", ToSupply: "wire to supply",
	BeyondSupply: "input beyond supply", Frozen: "frozen", BusError: "bus error", AllZeros: "all zeros", AllOnes: "all ones",
}

func (f Fault) String() string {
	if int(f) < len(faultText) {
		return faultText[f]
	}
	return "unknown fault"
}

// ErrBus is the error of a bus that fails.
var ErrBus = errors.New("chips: simulated bus error")

// A Chip can be broken, mended and cut from its supply for a moment.
type Chip interface {
	Break(Fault)
	PowerCycle()
	Transactions() int
}

// front is what all chips have in common.
type front struct {
	World
	fault        Fault
	transactions int
}

// Break gives the chip a fault; Sound mends it.
func (f *front) Break(fault Fault) { f.fault = fault }

// Transactions counts what came over the bus.
func (f *front) Transactions() int { return f.transactions }

// dead answers for a chip that cannot: it reports whether it did.
func (f *front) dead(r []byte) (bool, error) {
	f.transactions++
	switch f.fault {
	case BusError:
		return true, ErrBus
	case AllZeros:
		clear(r)
		return true, nil
	case AllOnes:
		for i := range r {
			r[i] = 0xFF
		}
		return true, nil
	}
	return false, nil
}

// A schedule of conversions: the first one ends after first, the others follow
// every period.
type schedule struct {
	next, period time.Duration
	running      bool
}

func (s *schedule) start(now, first, period time.Duration) {
	*s = schedule{next: now + first, period: period, running: true}
}

// ended is how many conversions ended since it was asked last.
func (s *schedule) ended(now time.Duration) int {
	if !s.running || now < s.next {
		return 0
	}
	n := int((now-s.next)/s.period) + 1
	s.next += time.Duration(n) * s.period
	return n
}

// steps is v in steps of the given size, rounded, held between low and high.
func steps(v quantity.Celsius, perKelvin float64, low, high int32) int32 {
	return int32(min(max(math.Round(float64(v)*perKelvin), float64(low)), float64(high)))
}

// port makes an SPI port of a function that answers one transfer.
type port struct {
	name string
	tx   func(w, r []byte) error
}

func (p *port) String() string { return p.name }

// Connect implements spi.Port.
func (p *port) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) { return p, nil }

// Duplex implements conn.Conn.
func (p *port) Duplex() conn.Duplex { return conn.Full }

// TxPackets implements spi.Conn. The drivers do not use it.
func (p *port) TxPackets([]spi.Packet) error {
	return errors.New("chips: transfers of several packets are not simulated")
}

// Tx implements conn.Conn.
func (p *port) Tx(w, r []byte) error {
	if len(w) != 0 && len(r) != 0 && len(w) != len(r) {
		return errors.New("chips: an SPI transfer reads as many bytes as it writes")
	}
	return p.tx(w, r)
}

// span is the mean slope of a type from 0 °C to its temperature, in µV/K: what a
// MAX31855 takes for a straight line.
func span(t thermocouple.Type) thermocouple.MicrovoltsPerKelvin {
	top := quantity.Celsius(1000)
	if t == thermocouple.T {
		top = 400
	}
	v, _ := t.Voltage(top)
	return thermocouple.MicrovoltsPerKelvin(math.Round(float64(v)*1e6/float64(top)) / 1000)
}
