package chips

import (
	"time"

	"periph.io/x/conn/v3/spi"

	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
)

// MAX31856 is the front end of that name.
type MAX31856 struct {
	front
	wire  thermocouple.Type
	regs  [16]byte
	runs  schedule
	since int // conversions since the last test for an open circuit
}

// NewMAX31856 is a chip just powered up, with the given wire at its terminals.
func NewMAX31856(w World, wire thermocouple.Type) *MAX31856 {
	c := &MAX31856{front: front{World: w}, wire: wire}
	c.PowerCycle()
	return c
}

// Port is the chip's side of the bus.
func (c *MAX31856) Port() spi.Port { return &port{"MAX31856", c.transfer} }

// PowerCycle cuts the supply for a moment: all registers start again.
func (c *MAX31856) PowerCycle() {
	c.regs = [16]byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80}
	c.runs = schedule{}
	c.since = 0
}

func (c *MAX31856) transfer(w, r []byte) error {
	c.advance()
	if dead, err := c.dead(r); dead {
		return err
	}
	if len(w) == 0 {
		return nil
	}
	write, addr := w[0]&0x80 != 0, int(w[0]&0x7F)
	for i := 1; i < len(w); i++ {
		at := addr + i - 1
		switch {
		case write && at <= 0x0B:
			c.store(at, w[i])
		case !write && at < len(c.regs):
			r[i] = c.regs[at]
		case !write:
			r[i] = 0xFF
		}
	}
	return nil
}

// store writes a register. Setting CMODE starts conversions, clearing it stops
// them; the filter changes only while they stand.
func (c *MAX31856) store(at int, b byte) {
	if at == 0 {
		if c.regs[0]&0x80 != 0 && b&0x80 != 0 {
			b = b&^1 | c.regs[0]&1
		}
		starts := c.regs[0]&0x80 == 0 && b&0x80 != 0
		c.regs[0] = b &^ 0x42 // 1SHOT and FAULTCLR clear themselves
		switch first, period := c.times(); {
		case starts:
			c.runs.start(c.Now(), first, period)
			c.since = 0
		case b&0x80 == 0:
			c.runs = schedule{}
		}
		return
	}
	if at == 1 {
		b &= 0x7F
	}
	c.regs[at] = b
}

// times are the longest ones of the datasheet.
func (c *MAX31856) times() (first, period time.Duration) {
	n := time.Duration(1<<min(c.regs[1]>>4&7, 4) - 1)
	if c.regs[0]&1 != 0 {
		return 185*time.Millisecond + n*40*time.Millisecond, 110*time.Millisecond + n*20*time.Millisecond
	}
	return 155*time.Millisecond + n*33330*time.Microsecond, 90*time.Millisecond + n*16670*time.Microsecond
}

var typeOf = map[byte]thermocouple.Type{1: thermocouple.E, 2: thermocouple.J, 3: thermocouple.K, 4: thermocouple.N, 7: thermocouple.T}

// advance does what happened since the last transfer.
func (c *MAX31856) advance() {
	n := c.runs.ended(c.Now())
	if n == 0 || c.fault == Frozen {
		return
	}
	if c.fault == BeyondSupply {
		c.regs[15] |= 1 << 1 // and the temperatures stay as they are
		return
	}
	c.regs[15] &^= 1<<1 | 1<<6 | 1<<7
	if c.fault != OpenWire {
		c.regs[15] &^= 1
	}
	// The test for an open circuit runs once in 16 conversions, if at all.
	c.since += n
	if c.since >= 16 {
		c.since %= 16
		if c.fault == OpenWire && c.regs[0]&0x30 != 0 {
			c.regs[15] |= 1
		}
	}
	cold := c.Cold()
	if cold < -55 || cold > 125 {
		c.regs[15] |= 1 << 7
	}
	cj := steps(cold, 64, -64*64, 128*64-1) << 2
	c.regs[10], c.regs[11] = byte(cj>>8), byte(cj)

	hot := cold // what a wire without voltage shows
	if c.fault == Sound {
		v, okWire := c.wire.Measured(c.Hot(), cold)
		t, okType := typeOf[c.regs[1]&15].Compensate(v, cold)
		if okWire && okType {
			hot = t
		} else {
			hot = quantity.Celsius(1800)
			c.regs[15] |= 1 << 6
		}
	}
	tc := steps(hot, 128, -1<<18, 1<<18-1) << 5
	c.regs[12], c.regs[13], c.regs[14] = byte(tc>>16), byte(tc>>8), byte(tc)
}
