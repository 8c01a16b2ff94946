package channel

import (
	"fmt"

	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// A Calibration corrects one probe with its front end. The zero Calibration
// changes nothing.
type Calibration struct {
	Offset  quantity.Kelvin // added at 0 °C
	Stretch quantity.Ratio  // added for each kelvin above 0 °C
}

// farthest is how far a probe may be off at a fixed point. The catalogue errors of
// the worst common pair (class 2 wire, front end with 2 K each for gain and cold
// junction) add up to 6.5 K; beyond that something is broken, of another type or
// wrongly immersed, and calibration would only hide it.
const farthest = 6.5

// BoilingPoint of water at a total pressure in Pa, as psychrometer.PressureAt
// gives it for an altitude. The weather moves it by some 0.8 K either way; a
// barometer's absolute pressure is better.
func BoilingPoint(totalPascal float64) quantity.Celsius { return psychrometer.DewPoint(totalPascal) }

// IcePoint is the calibration of a probe that reads so in melting ice: an offset.
func IcePoint(ice quantity.Celsius) (Calibration, error) {
	if !(ice >= -farthest && ice <= farthest) {
		return Calibration{}, fmt.Errorf("channel: the probe reads %v in melting ice, more than %v K off; check its type and that it is deep in stirred slush", ice, farthest)
	}
	return Calibration{Offset: quantity.Kelvin(-ice)}, nil
}

// TwoPoint is the calibration of a probe that reads so in melting ice and in
// water boiling at a total pressure in Pa.
func TwoPoint(ice, boiling quantity.Celsius, totalPascal float64) (Calibration, error) {
	c, err := IcePoint(ice)
	if err != nil {
		return Calibration{}, err
	}
	if !(totalPascal >= 50e3 && totalPascal <= 110e3) {
		return Calibration{}, fmt.Errorf("channel: a pressure of %v Pa is outside 50000..110000 Pa; use the absolute one, not that reduced to sea level", totalPascal)
	}
	truth := BoilingPoint(totalPascal)
	if !(boiling >= truth-farthest && boiling <= truth+farthest) {
		return Calibration{}, fmt.Errorf("channel: the probe reads %v in water that boils at %v, more than %v K off; check the altitude, and that the probe is deep in the water", boiling, truth, farthest)
	}
	c.Stretch = quantity.Ratio(float64(truth)/float64(boiling-ice) - 1)
	c.Offset = quantity.Kelvin(-float64(ice) * (1 + float64(c.Stretch)))
	return c, nil
}

// Correct gives what is true where the probe reads v.
func (c Calibration) Correct(v quantity.Celsius) quantity.Celsius {
	return v + quantity.Celsius(c.Offset) + quantity.Celsius(c.Stretch)*v
}

// Undo gives what the probe reads where v is true.
func (c Calibration) Undo(v quantity.Celsius) quantity.Celsius {
	v -= quantity.Celsius(c.Offset)
	if c.Stretch == 0 {
		return v // a rehearsal asks often
	}
	return v / quantity.Celsius(1+c.Stretch)
}
