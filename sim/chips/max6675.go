package chips

import (
	"encoding/binary"
	"time"

	"periph.io/x/conn/v3/spi"

	"fumarium/sensors/thermocouple"
)

// MAX6675 is the front end of that name; its wire is of type K.
type MAX6675 struct {
	front
	released time.Duration // when it was let go of
	frame    uint16
}

// NewMAX6675 is a chip just powered up.
func NewMAX6675(w World) *MAX6675 {
	c := &MAX6675{front: front{World: w}}
	c.PowerCycle()
	return c
}

// Port is the chip's side of the bus.
func (c *MAX6675) Port() spi.Port { return &port{"MAX6675", c.transfer} }

// PowerCycle cuts the supply for a moment. The chip then shows zeros until it has
// converted.
func (c *MAX6675) PowerCycle() { c.frame, c.released = 0, c.Now() }

func (c *MAX6675) transfer(_, r []byte) error {
	// Being selected stops the conversion; what was not done is lost.
	if c.Now()-c.released >= 220*time.Millisecond && c.fault != Frozen {
		c.frame = c.convert()
	}
	c.released = c.Now()
	if dead, err := c.dead(r); dead {
		return err
	}
	if len(r) == 2 {
		binary.BigEndian.PutUint16(r, c.frame|1) // the lowest bit floats, here high
	}
	return nil
}

func (c *MAX6675) convert() uint16 {
	if c.fault == OpenWire {
		return 1 << 2
	}
	if c.fault == ToSupply || c.fault == BeyondSupply {
		return 0x7FF8
	}
	shown, ok := thermocouple.K.Straight(41, c.Hot(), c.Cold())
	if c.fault == ToGround {
		shown, ok = c.Cold(), true
	}
	if !ok {
		return 0x7FF8
	}
	return uint16(steps(shown, 4, 0, 1<<12-1)) << 3
}
