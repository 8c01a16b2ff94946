package chips

import (
	"encoding/binary"
	"errors"
	"time"

	"periph.io/x/conn/v3/onewire"
)

// DS18B20 is the thermometer of that name, with a supply of its own. It measures
// the hot temperature of its world.
type DS18B20 struct {
	front
	addr   onewire.Address
	pad    [8]byte
	memory [3]byte // TH, TL and configuration, kept without supply
	done   time.Duration
	busy   bool
	result int32 // of the running conversion
}

// NewDS18B20 is a chip just powered up. Its serial number may have 48 bits.
func NewDS18B20(w World, serial uint64) *DS18B20 {
	var b [8]byte
	binary.LittleEndian.PutUint64(b[:], serial<<8|0x28)
	b[7] = onewire.CalcCRC(b[:7])
	c := &DS18B20{front: front{World: w}, addr: onewire.Address(binary.LittleEndian.Uint64(b[:])), memory: [3]byte{0x4B, 0x46, 0x7F}}
	c.PowerCycle()
	return c
}

// Address is the chip's address on the bus.
func (c *DS18B20) Address() onewire.Address { return c.addr }

// PowerCycle cuts the supply for a moment: the scratchpad starts again at 85 °C.
func (c *DS18B20) PowerCycle() {
	c.pad = [8]byte{0x50, 0x05, c.memory[0], c.memory[1], c.memory[2], 0xFF, 0x0C, 0x10}
	c.busy = false
}

func (c *DS18B20) transfer(w, r []byte) {
	if c.busy && c.Now() >= c.done {
		c.busy = false
		if c.fault != Frozen {
			c.pad[0], c.pad[1] = byte(c.result), byte(c.result>>8)
		}
	}
	switch {
	case len(w) == 4 && w[0] == 0x4E:
		c.pad[2], c.pad[3], c.pad[4] = w[1], w[2], w[3]&0x60|0x1F
	case len(w) == 1 && w[0] == 0x48:
		copy(c.memory[:], c.pad[2:5])
	case len(w) == 1 && w[0] == 0x44:
		coarse := 3 - int32(c.pad[4]>>5) // bits left out
		c.busy, c.done = true, c.Now()+750*time.Millisecond>>coarse
		c.result = steps(c.Hot(), 16, -55*16, 125*16) &^ (1<<coarse - 1)
	case len(w) == 1 && w[0] == 0xBE:
		for i := copy(r, c.pad[:]); i < len(r); i++ {
			r[i] = 0xFF
		}
		if len(r) > 8 {
			r[8] = onewire.CalcCRC(c.pad[:])
		}
	}
}

// OneWire is a bus with thermometers on it.
type OneWire []*DS18B20

var _ onewire.Bus = OneWire(nil)

// shorted is the error of a bus whose line is held at ground.
type shorted struct{ error }

func (shorted) IsShorted() bool { return true }
func (shorted) BusError() bool  { return true }

// absent is the error of a bus where nobody answers the reset pulse.
type absent struct{ error }

func (absent) NoDevices() bool { return true }

var (
	errShorted = shorted{errors.New("chips: the 1-Wire line is shorted to ground")}
	errAbsent  = absent{errors.New("chips: no device on the 1-Wire line")}
)

func (b OneWire) String() string { return "simulated 1-Wire" }

// Search implements onewire.Bus.
func (b OneWire) Search(bool) ([]onewire.Address, error) {
	var found []onewire.Address
	for _, c := range b {
		if c.fault != OpenWire {
			found = append(found, c.addr)
		}
	}
	return found, nil
}

// Tx implements onewire.Bus for the commands "match ROM" and "skip ROM". A chip
// with its wire broken is not on the bus; one with a short spoils it for all.
func (b OneWire) Tx(w, r []byte, _ onewire.Pullup) error {
	for i := range r {
		r[i] = 0xFF // what the pull-up makes of silence
	}
	present := false
	for _, c := range b {
		dead, err := c.dead(r)
		switch {
		case err != nil:
			return err
		case c.fault == ToGround:
			return errShorted
		case c.fault == OpenWire:
			continue
		}
		present = true
		switch {
		case dead:
		case len(w) > 1 && w[0] == 0xCC:
			c.transfer(w[1:], r)
		case len(w) > 9 && w[0] == 0x55 && binary.LittleEndian.Uint64(w[1:9]) == uint64(c.addr):
			c.transfer(w[9:], r)
		}
	}
	if !present {
		return errAbsent
	}
	return nil
}
