package ads1115

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/sensors"
	"fumarium/sensors/thermistor"
)

// By Ohm's law and the step of ±2.048 V (62.5 µV): 10 kΩ below 10 kΩ at 3.3 V is
// 1.65 V, code 26400; 673 Ω, the 100 °C row of AMWEI AMF58B-103F3950, is 0.20809 V,
// code 3329. A supply does not fit that range, so here it is half as many steps
// of 125 µV.
func TestCodes(t *testing.T) {
	curve, err := thermistor.Fit(thermistor.Point{Temperature: 0, Ohms: 32580.7},
		thermistor.Point{Temperature: 25, Ohms: 10000}, thermistor.Point{Temperature: 100, Ohms: 673})
	require.NoError(t, err)
	o := DefaultProbeOpts
	o.Curve = curve
	for _, row := range []struct {
		code int16
		want float64
	}{{26400 / 2, 25}, {3329 / 2, 100}} {
		r, err := decode(26400, row.code, 125e-6, 3.3, &o)
		require.NoError(t, err)
		v, _ := r.Value()
		assert.InDelta(t, row.want, float64(v), 0.03)
	}
}

// The single beta of the defaults is the maker's, through 10 kΩ at 25 °C.
func TestDefaultCurve(t *testing.T) {
	c, err := thermistor.FromBeta(thermistor.Point{Temperature: 25, Ohms: 10000}, 3950)
	require.NoError(t, err)
	assert.InDelta(t, c.A, DefaultProbeOpts.Curve.A, 1e-15)
	assert.Equal(t, c.B, DefaultProbeOpts.Curve.B)
}

func TestDecodeFaults(t *testing.T) {
	onTop := DefaultProbeOpts
	onTop.Divider.OnTop = true
	for _, row := range []struct {
		name           string
		supply, middle int16
		o              *ProbeOpts
		status         sensors.Status
		err            error
	}{
		{"25 °C", 26400, 13200, &DefaultProbeOpts, sensors.Good, nil},
		{"open", 26400, 26400, &DefaultProbeOpts, sensors.Open, ErrOpen},
		{"a step above the supply", 26400, 26402, &DefaultProbeOpts, sensors.Open, ErrOpen},
		{"short", 26400, 2, &DefaultProbeOpts, sensors.ShortToGround, ErrShort},
		{"a step below ground", 26400, -2, &DefaultProbeOpts, sensors.ShortToGround, ErrShort},
		{"open, on top", 26400, 2, &onTop, sensors.Open, ErrOpen},
		{"short, on top", 26400, 26390, &onTop, sensors.ShortToSupply, ErrShort},
		{"as low as may be", 26400, 133, &DefaultProbeOpts, sensors.OutOfRange, ErrRange},
		{"half a percent of the supply", 26400, 131, &DefaultProbeOpts, sensors.ShortToGround, ErrShort},
		{"as high as may be", 26400, 26135, &DefaultProbeOpts, sensors.OutOfRange, ErrRange},
		{"99 percent of the supply", 26400, 26137, &DefaultProbeOpts, sensors.Open, ErrOpen},
		{"no supply", 0, 13200, &DefaultProbeOpts, sensors.OutOfRange, ErrSupply},
		{"negative supply", -26400, -13200, &DefaultProbeOpts, sensors.OutOfRange, ErrSupply},
		{"supply of 2.9 V", 23200, 11600, &DefaultProbeOpts, sensors.OutOfRange, ErrSupply},
		{"clipped supply", 0x7FFF, 13200, &DefaultProbeOpts, sensors.OutOfRange, ErrSupply},
		{"hotter than the probe may be", 26400, 300, &DefaultProbeOpts, sensors.OutOfRange, ErrRange},
		{"colder than it may be", 26400, 25900, &DefaultProbeOpts, sensors.OutOfRange, ErrRange},
	} {
		r, err := decode(row.supply, row.middle, 125e-6, 3.3, row.o)
		assert.Equal(t, row.status, r.Status(), row.name)
		assert.Equal(t, row.err, err, row.name)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(int16(26400), int16(13200), false)
	f.Add(int16(-1), int16(-32768), true)
	f.Fuzz(func(t *testing.T, supply, middle int16, onTop bool) {
		o := DefaultProbeOpts
		o.Divider.OnTop = onTop
		r, err := decode(supply, middle, 125e-6, 3.3, &o)
		if (r.Status() == sensors.Good) != (err == nil) {
			t.Fatalf("%d, %d: %q with error %v", supply, middle, r.Status(), err)
		}
		if v, ok := r.Value(); ok && (v < o.Lowest || v > o.Highest || supply < 23760 || supply > 29040 || middle <= 0 || middle >= supply) {
			t.Fatalf("%d, %d gives %v", supply, middle, v)
		}
	})
}
