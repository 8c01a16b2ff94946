package channel

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// What calibration takes at most is the catalogue error of the worst common pair:
// wire of class 2 (IEC 60584-1, 2.5 K below 333 °C), a MAX31855 with 2 K for its gain
// and offset and 2 K for its cold junction (19-5793).
func TestFarthestIsTheCatalogueError(t *testing.T) {
	assert.Equal(t, 2.5+2+2, float64(farthest))
	for _, ice := range []quantity.Celsius{-6.5, 6.5} {
		_, err := TwoPoint(ice, BoilingPoint(101325)+ice*0.999, 101325)
		assert.NoError(t, err)
	}
}

// Boiling points from the steam table in Çengel and Boles, Thermodynamics, table
// A-4 (from memory): 101.42 kPa 100 °C, 84.609 kPa 95 °C, 70.183 kPa 90 °C. The
// pressure at 1500 m is 84.556 kPa in the ICAO standard atmosphere (from memory).
func TestBoilingPoint(t *testing.T) {
	for pascal, want := range map[float64]float64{101420: 100, 84609: 95, 70183: 90, psychrometer.PressureAt(1500): 94.98} {
		assert.InDelta(t, want, float64(BoilingPoint(pascal)), 0.05, "%v Pa", pascal)
	}
}

// By hand: a probe that reads 1 °C in ice and 96 °C where water boils at 95 °C is
// 1 K high throughout; one that reads 0 and 97 is 2 % too steep.
func TestTwoPoint(t *testing.T) {
	at95 := psychrometer.SaturationPressure(95)
	c, err := TwoPoint(1, 96, at95)
	require.NoError(t, err)
	assert.InDelta(t, -1, float64(c.Offset), 1e-6)
	assert.InDelta(t, 0, float64(c.Stretch), 1e-8)
	c, err = TwoPoint(0, 97, at95)
	require.NoError(t, err)
	assert.InDelta(t, 95*0.8, float64(c.Correct(97*0.8)), 1e-6)
	c, err = TwoPoint(-1.4, 97.1, at95)
	require.NoError(t, err)
	for read, truth := range map[quantity.Celsius]float64{-1.4: 0, 97.1: 95} {
		assert.InDelta(t, truth, float64(c.Correct(read)), 1e-6)
	}
	one, err := IcePoint(0.6)
	require.NoError(t, err)
	assert.InDelta(t, 71.4, float64(one.Correct(72)), 1e-9)
	assert.Equal(t, quantity.Celsius(72), Calibration{}.Correct(72), "zero changes nothing")
	assert.InDelta(t, 72, float64(c.Correct(c.Undo(72))), 1e-9, "and back")
}

func TestCalibrationRefuses(t *testing.T) {
	nan := quantity.Celsius(math.NaN())
	for _, row := range []struct {
		ice, boiling quantity.Celsius
		pascal       float64
		want         string
	}{
		{8, 95, 101325, "in melting ice"},
		{6.6, 95, 101325, "more than 6.5 K off"},
		{-6.6, 95, 101325, "more than 6.5 K off"},
		{0, 106.6, 101325, "boils at 100 °C"},
		{nan, 95, 101325, "in melting ice"},
		{0, 90, 101325, "boils at 100 °C"},
		{0, nan, 101325, "boils at"},
		{0, 100, 1013.25, "50000..110000 Pa"},
		{0, 100, math.NaN(), "50000..110000 Pa"},
	} {
		_, err := TwoPoint(row.ice, row.boiling, row.pascal)
		assert.ErrorContains(t, err, row.want)
	}
}

func ExampleTwoPoint() {
	// 1500 m above the sea; the probe read 0.8 °C in slush and 96.2 °C in a rolling
	// boil.
	c, err := TwoPoint(0.8, 96.2, psychrometer.PressureAt(1500))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("water boils at %.1f °C, 72 °C is %.1f °C\n", float64(BoilingPoint(psychrometer.PressureAt(1500))), float64(c.Correct(72)))
	// Output: water boils at 95.0 °C, 72 °C is 70.9 °C
}
