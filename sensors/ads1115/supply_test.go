package ads1115_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/sensors/ads1115"
	"fumarium/sim/chips"
)

// Four probes share a chip whose supply is stated; one per cent of supply is half a
// kelvin at 25 °C and 0.4 K at 100 °C, as the comment at Unmeasured says.
func TestUnmeasuredSupply(t *testing.T) {
	for _, row := range []struct {
		stated, real float64
		off          [4]float64 // at 4, 25, 71 and 100 °C
	}{
		{3.3, 3.3, [4]float64{}},
		{5, 5, [4]float64{}},
		{3.3, 3.3 * 1.01, [4]float64{-0.73, -0.5, -0.35, -0.38}},
		{3.3, 3.3 * 0.99, [4]float64{0.73, 0.5, 0.35, 0.38}},
	} {
		temperatures := [4]quantity.Celsius{4, 25, 71, 100}
		var inputs [4]func() float64
		for i, at := range temperatures {
			inputs[i] = (&chips.Thermistor{Temperature: func() quantity.Celsius { return at }, Supply: func() float64 { return row.real },
				Curve: ads1115.DefaultProbeOpts.Curve, Divider: ads1115.DefaultProbeOpts.Divider}).Volts
		}
		o := ads1115.DefaultOpts
		o.SupplyInput, o.SupplyVolts = ads1115.Unmeasured, row.stated
		dev, err := ads1115.New(chips.I2C{chips.NewADS1115(0x48, inputs)}, &o)
		require.NoError(t, err)
		for i, at := range temperatures {
			po := ads1115.DefaultProbeOpts
			po.Input = i
			p, err := dev.Thermistor(&po)
			require.NoError(t, err)
			v, ok := p.Read(0).Value()
			require.True(t, ok, p.Err())
			assert.InDelta(t, row.off[i], float64(v-at), 0.06, "%v V for %v V at %v", row.real, row.stated, at)
		}
	}
	o := ads1115.DefaultOpts
	o.SupplyInput = -2
	_, err := ads1115.New(chips.I2C{}, &o)
	assert.ErrorContains(t, err, "there is no input -2")
}
