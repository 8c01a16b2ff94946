package chips

import (
	"fmt"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// An I2CChip answers at one address of an I2C bus.
type I2CChip interface {
	Chip
	address() uint16
	transfer(w, r []byte) error
}

// I2C is a bus with chips on it.
type I2C []I2CChip

var _ i2c.Bus = I2C(nil)

func (b I2C) String() string { return "simulated I2C" }

// SetSpeed implements i2c.Bus.
func (b I2C) SetSpeed(physic.Frequency) error { return nil }

// Tx implements i2c.Bus.
func (b I2C) Tx(addr uint16, w, r []byte) error {
	for _, c := range b {
		if c.address() == addr {
			return c.transfer(w, r)
		}
	}
	return fmt.Errorf("chips: nothing answers at address %#x", addr)
}
