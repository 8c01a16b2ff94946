package psychrometer_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// FAO 56 equation 16 (by six public ports of it) and the WMO form as recalled from
// memory; Unventilated and the others are not to be mistaken for one another.
func TestCoefficients(t *testing.T) {
	assert.Equal(t, 6.62e-4, psychrometer.Aspirated)
	assert.Equal(t, 8.00e-4, psychrometer.NaturallyVentilated)
	assert.Equal(t, 1.200e-3, psychrometer.Unventilated)
	assert.InDelta(t, 6.53e-4, psychrometer.Ventilated(0), 1e-12)
	assert.InDelta(t, 6.53e-4*1.0472, psychrometer.Ventilated(50), 1e-12)
}

// What the wick's air does to the number: read with the ventilated coefficient, a
// sock in still air overstates by some 3 % RH at 75/55 °C and 4 % at 80/45 °C.
func TestStillAirOverstates(t *testing.T) {
	for _, row := range [][3]float64{{75, 55, 3}, {80, 45, 4}} {
		dry, wet := quantity.Celsius(row[0]), quantity.Celsius(row[1])
		read, ok := psychrometer.Humidity(dry, wet, psychrometer.StandardPressure, psychrometer.Ventilated(wet))
		assert.True(t, ok)
		truth, ok := psychrometer.Humidity(dry, wet, psychrometer.StandardPressure, psychrometer.Unventilated)
		assert.True(t, ok)
		assert.InDelta(t, row[2], 100*float64(read-truth), 0.4)
	}
}

// A pair whose vapour alone would press more than the air, and a pressure that is
// none, have no humidity.
func TestNoHumidityAboveTheTotalPressure(t *testing.T) {
	for _, c := range []struct {
		dry, wet quantity.Celsius
		pascal   float64
	}{{120, 110, psychrometer.StandardPressure}, {60, 45, 0}, {60, 45, -psychrometer.StandardPressure}, {98, 97, 80000}} {
		_, ok := psychrometer.Humidity(c.dry, c.wet, c.pascal, psychrometer.Aspirated)
		assert.False(t, ok, "%v/%v at %v Pa", c.dry, c.wet, c.pascal)
	}
}

// Saturated steam at 60 °C fills 7.67 m³/kg (steam table, from memory); the perfect
// gas is within 1 % of that.
func TestVapourDensity(t *testing.T) {
	assert.InEpsilon(t, 1/7.67, psychrometer.VapourDensity(psychrometer.SaturationPressure(60), 60), 0.01)
}

// The line's own coefficients: FAO 56, annex 3, has 2.501 - 2.361e-3·t MJ/kg (from
// memory).
func TestLatentHeatLine(t *testing.T) {
	for _, celsius := range []quantity.Celsius{0, 20, 80} {
		assert.InDelta(t, 2501e3-2361*float64(celsius), psychrometer.LatentHeat(celsius), 100)
	}
}
