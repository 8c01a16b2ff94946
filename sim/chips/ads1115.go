package chips

import (
	"math"

	"fumarium/profile/quantity"
	"fumarium/sensors/thermistor"
)

// ADS1115 is the converter of that name. A fault of a wire belongs to the
// Thermistor, the others to the chip.
type ADS1115 struct {
	front
	addr       uint16
	inputs     [4]func() float64 // volts
	config     uint16
	conversion int16
	busy       int // questions until the conversion is done
}

// NewADS1115 is a chip just powered up, with a function for the volts at each of
// its inputs. An input with none is at ground.
func NewADS1115(addr uint16, inputs [4]func() float64) *ADS1115 {
	c := &ADS1115{addr: addr, inputs: inputs}
	c.PowerCycle()
	return c
}

func (c *ADS1115) address() uint16 { return c.addr }

// PowerCycle cuts the supply for a moment: all registers start again.
func (c *ADS1115) PowerCycle() { c.config, c.conversion, c.busy = 0x0583, 0, 0 }

func (c *ADS1115) transfer(w, r []byte) error {
	if dead, err := c.dead(r); dead {
		return err
	}
	if len(w) == 3 && w[0] == 1 {
		c.config = (uint16(w[1])<<8 | uint16(w[2])) &^ 0x8000
		if w[1]&0x80 != 0 {
			c.busy = 3
		}
		return nil
	}
	if len(w) != 1 || len(r) != 2 {
		return nil
	}
	v := uint16(c.conversion)
	if w[0] == 1 {
		v = c.config
		if c.busy > 0 && c.fault != Frozen {
			if c.busy--; c.busy == 0 {
				c.conversion = c.convert()
			}
		}
		if c.busy == 0 {
			v |= 0x8000
		}
	}
	r[0], r[1] = byte(v>>8), byte(v)
	return nil
}

var fullScale = [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}

func (c *ADS1115) convert() int16 {
	volts := 0.0
	if mux := c.config >> 12 & 7; mux >= 4 {
		if in := c.inputs[mux-4]; in != nil {
			volts = in()
		}
	}
	step := fullScale[c.config>>9&7] / (1 << 15)
	return int16(min(max(math.Round(volts/step), math.MinInt16), math.MaxInt16))
}

// A Thermistor stands in a divider.
type Thermistor struct {
	Temperature func() quantity.Celsius
	Supply      func() float64 // volts
	Curve       thermistor.Curve
	Divider     thermistor.Divider
	Fault       Fault // of its wires
}

// Volts stand at the middle of the divider.
func (t *Thermistor) Volts() float64 {
	switch {
	case t.Fault == OpenWire && !t.Divider.OnTop, t.Fault == ToSupply, t.Fault == BeyondSupply:
		return t.Supply()
	case t.Fault == OpenWire, t.Fault == ToGround:
		return 0
	}
	return t.Supply() * t.Divider.Share(t.Curve.Resistance(t.Temperature()))
}
