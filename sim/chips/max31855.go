package chips

import (
	"encoding/binary"
	"time"

	"periph.io/x/conn/v3/spi"

	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
)

// MAX31855 is the front end of that name.
type MAX31855 struct {
	front
	wire  thermocouple.Type
	runs  schedule
	frame uint32
}

// NewMAX31855 is a chip just powered up. Its wire is of the type it is made for.
func NewMAX31855(w World, t thermocouple.Type) *MAX31855 {
	c := &MAX31855{front: front{World: w}, wire: t}
	c.PowerCycle()
	return c
}

// Port is the chip's side of the bus.
func (c *MAX31855) Port() spi.Port { return &port{"MAX31855", c.transfer} }

// PowerCycle cuts the supply for a moment. The chip then shows zeros until it has
// converted.
func (c *MAX31855) PowerCycle() {
	c.frame = 0
	c.runs.start(c.Now(), 200*time.Millisecond, 100*time.Millisecond)
}

func (c *MAX31855) transfer(_, r []byte) error {
	if c.runs.ended(c.Now()) > 0 && c.fault != Frozen {
		c.frame = c.convert()
	}
	if dead, err := c.dead(r); dead {
		return err
	}
	if len(r) == 4 {
		binary.BigEndian.PutUint32(r, c.frame)
	}
	return nil
}

func (c *MAX31855) convert() uint32 {
	cold := c.Cold()
	shown, ok := c.wire.Straight(span(c.wire), c.Hot(), cold)
	if !ok { // beyond the wire's range the chip shows an end of its own
		shown = quantity.Celsius(-1e4)
		if c.Hot() > cold {
			shown = 1e4
		}
	}
	hot := steps(shown, 4, -1<<13, 1<<13-1)
	var flags uint32
	switch c.fault {
	case OpenWire:
		hot, flags = 1<<13-1, 1<<16|1
	case ToGround:
		hot, flags = 0, 1<<16|2
	case ToSupply, BeyondSupply:
		hot, flags = 1<<13-1, 1<<16|4
	}
	return uint32(hot)<<18 | uint32(steps(cold, 16, -1<<11, 1<<11-1))<<4&0xFFF0 | flags
}
