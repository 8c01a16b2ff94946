package ads1115_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/ads1x15"

	"fumarium/sim/chips"
)

// Why the driver of a general library, periph.io's ads1x15, is not what reads the chip here:
// it starts a conversion, sleeps for its nominal time and takes what the register holds. It
// never asks whether the conversion has ended (the chip's clock may be a tenth slow, by its
// datasheet as recalled from memory), whether the chip still holds what it was told, or
// whether there is a chip at all. Of the contract of package sensortest it breaks
// before-first, too-soon, all-zeros, all-ones, frozen and power-dip. Each line below is a
// number without an error; if one comes to fail, look at the library again.
func TestWhatALibrarysDriverTakesForAReading(t *testing.T) {
	chip := chips.NewADS1115(0x48, [4]func() float64{0: func() float64 { return 1.65 }, 1: func() float64 { return 0.5 }})
	d, err := ads1x15.NewADS1115(chips.I2C{chip}, &ads1x15.DefaultOpts)
	require.NoError(t, err)
	open := func(c ads1x15.Channel) ads1x15.PinADC {
		p, err := d.PinForChannel(c, 3300*physic.MilliVolt, 860*physic.Hertz, ads1x15.SaveEnergy)
		require.NoError(t, err)
		return p
	}
	first, second := open(ads1x15.Channel0), open(ads1x15.Channel1)
	read := func(p ads1x15.PinADC) float64 {
		s, err := p.Read()
		require.NoError(t, err)
		return float64(s.V) / float64(physic.Volt)
	}
	assert.Zero(t, read(first), "before a conversion has ended: 0 V, which is a temperature")
	end := func() { // what the driver does not do: ask until it has ended
		for range 4 {
			require.NoError(t, chips.I2C{chip}.Tx(0x48, []byte{1}, make([]byte, 2)))
		}
	}
	end()
	assert.InDelta(t, 1.65, read(second), 0.001, "asked for the second input, it gives the first one's volts")
	for fault, volts := range map[chips.Fault]float64{chips.AllZeros: 0, chips.AllOnes: -0.0001} {
		chip.Break(fault)
		assert.InDelta(t, volts, read(first), 0.001, "a dead line: %v", fault)
	}
	chip.Break(chips.Sound)
	chip.PowerCycle()
	assert.Zero(t, read(first), "after a dip of its supply")
}
