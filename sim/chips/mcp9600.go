package chips

import (
	"time"

	"fumarium/sensors/thermocouple"
)

// MCP9600 is the front end of that name, or its sister MCP9601, which sees wire
// faults.
type MCP9600 struct {
	front
	addr   uint16
	id     byte
	wire   thermocouple.Type
	runs   schedule
	hot    int16
	cold   int16
	status byte
	sensor byte
	device byte
}

// NewMCP9600 and NewMCP9601 are chips just powered up, with the given wire at
// their terminals.
func NewMCP9600(w World, addr uint16, wire thermocouple.Type) *MCP9600 {
	return newMCP(w, addr, wire, 0x40)
}

// NewMCP9601 is a chip that sees wire faults.
func NewMCP9601(w World, addr uint16, wire thermocouple.Type) *MCP9600 {
	return newMCP(w, addr, wire, 0x41)
}

func newMCP(w World, addr uint16, wire thermocouple.Type, id byte) *MCP9600 {
	c := &MCP9600{front: front{World: w}, addr: addr, id: id, wire: wire}
	c.PowerCycle()
	return c
}

func (c *MCP9600) address() uint16 { return c.addr }

// PowerCycle cuts the supply for a moment: all registers start again, and the
// chip converts at once.
func (c *MCP9600) PowerCycle() {
	c.hot, c.cold, c.status, c.sensor, c.device = 0, 0, 0, 0, 0
	c.runs.start(c.Now(), 570*time.Millisecond, 320*time.Millisecond)
}

func (c *MCP9600) transfer(w, r []byte) error {
	c.advance()
	if dead, err := c.dead(r); dead {
		return err
	}
	if len(w) == 0 {
		return nil
	}
	if len(w) == 2 {
		switch w[0] {
		case 0x04:
			c.status &= w[1] | 0x3F // the flags can only be cleared
		case 0x05:
			c.sensor = w[1] & 0x77
		case 0x06:
			c.device = w[1]
		}
	}
	var v uint16
	switch w[0] {
	case 0x00:
		v = uint16(c.hot)
	case 0x02:
		v = uint16(c.cold)
	case 0x04:
		v = uint16(c.status) << 8
	case 0x05:
		v = uint16(c.sensor) << 8
	case 0x06:
		v = uint16(c.device) << 8
	case 0x20:
		v = uint16(c.id)<<8 | 0x10
	}
	for i := range r {
		r[i] = byte(v >> 8)
		v <<= 8
	}
	return nil
}

var mcpType = map[byte]thermocouple.Type{0: thermocouple.K, 1: thermocouple.J, 2: thermocouple.T, 3: thermocouple.N, 5: thermocouple.E}

// advance does what happened since the last transfer. The filter is not simulated.
func (c *MCP9600) advance() {
	if c.runs.ended(c.Now()) == 0 || c.fault == Frozen || c.device&3 != 0 {
		return
	}
	c.status = c.status&^0x30 | 1<<6
	cold := c.Cold()
	c.cold = int16(steps(cold, 16, -2048, 2047))
	sees := c.id == 0x41
	switch v, ok := c.wire.Measured(c.Hot(), cold); {
	case c.fault == BeyondSupply, c.fault == OpenWire && sees, !ok:
		c.status |= 1 << 4 // and the temperature stays as it is
	case (c.fault == ToGround || c.fault == ToSupply) && sees:
		c.status |= 1 << 5
	case c.fault != Sound: // the lesser chip shows what a wire without voltage shows
		c.hot = c.cold
	default:
		hot, ok := mcpType[c.sensor>>4].Compensate(v, cold)
		if !ok {
			c.status |= 1 << 4
			return
		}
		c.hot = int16(steps(hot, 16, -1<<15, 1<<15-1))
	}
}
