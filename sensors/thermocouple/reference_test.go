package thermocouple

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
)

// The published inverse polynomials of NIST SRD 60 as they are, without the root
// that Temperature finds from there; evaluated in Python 3.11.
func TestInversePolynomials(t *testing.T) {
	for _, row := range []struct {
		typ     Type
		mV      float64
		celsius float64
	}{
		{K, -1.000, -25.8574}, {K, 0.500, 12.5350}, {K, 2.000, 49.4738}, {K, 3.000, 73.5758},
		{K, 4.000, 97.6431}, {K, 10.000, 246.2220},
		{J, 2.000, 38.8470}, {J, 4.000, 76.5369}, {J, 5.500, 104.2683},
		{T, -1.000, -26.6413}, {T, 2.000, 49.1531}, {T, 3.000, 72.0323}, {T, 4.500, 104.7238},
		{N, 1.000, 37.6538}, {N, 2.000, 73.4212}, {N, 3.000, 107.5694},
		{E, 2.000, 33.2331}, {E, 4.500, 72.6015}, {E, 7.000, 110.0279},
		// The worked sums of compensation and of a front end's correction.
		{K, 3.058917, 74.9913}, {K, 4.09594, 99.9619}, {K, 3.07193, 75.3038}, {T, 2.81828, 67.9454}, {N, 2.07104, 75.8975},
	} {
		assert.InDelta(t, row.celsius, guess(row.typ, row.mV), 0.0002, "%s at %v mV", row.typ, row.mV)
	}
}

// What the inverse polynomials are off from -50 to 400 °C in steps of 0.1 K,
// measured in Python 3.11; the root that Temperature finds takes it away.
func TestTheRootRemovesTheErrorOfTheInverse(t *testing.T) {
	for typ, want := range map[Type][2]float64{K: {-0.047, 0.034}, J: {-0.035, 0.033}, T: {-0.025, 0.025}, N: {-0.016, 0.027}, E: {-0.005, 0.007}} {
		low, high := 0.0, 0.0
		for i := -500; i <= 4000; i++ {
			x := quantity.Celsius(i) / 10
			v, ok := typ.Voltage(x)
			require.True(t, ok)
			off := guess(typ, float64(v)) - float64(x)
			low, high = min(low, off), max(high, off)
			back, ok := typ.Temperature(v)
			require.True(t, ok)
			require.InDelta(t, float64(x), float64(back), 1e-6)
		}
		assert.InDelta(t, want[0], low, 0.0006, typ.String())
		assert.InDelta(t, want[1], high, 0.0006, typ.String())
	}
}

// Type K without its exponential term would be up to 0.12 mV low, some 3 K near
// 127 °C (computed from the coefficients of NIST SRD 60), and right at 0 °C, where
// the constant cancels the term within 2e-9 mV.
func TestTheExponentialOfTypeK(t *testing.T) {
	bare := 0.0
	c := curves[K].direct[1].c
	for k := len(c) - 1; k >= 0; k-- {
		bare = bare*126.9686 + c[k]
	}
	v, ok := K.Voltage(126.9686)
	require.True(t, ok)
	assert.InDelta(t, 0.1186, float64(v)-bare, 0.0001)
	slope, ok := K.Seebeck(126.9686)
	require.True(t, ok)
	assert.InDelta(t, 3, (float64(v)-bare)*1000/float64(slope), 0.15)
	above, ok := K.Voltage(1e-9)
	require.True(t, ok)
	assert.InDelta(t, 0, float64(above), 2.1e-9)
}

// The ends of the ranges, NIST Monograph 175; a voltage just beyond them is none
// of the type.
func TestNothingBeyondTheEnds(t *testing.T) {
	for typ, want := range map[Type][2]quantity.Celsius{K: {-270, 1372}, J: {-210, 1200}, T: {-270, 400}, N: {-270, 1300}, E: {-270, 1000}} {
		low, high := typ.Range()
		assert.Equal(t, want, [2]quantity.Celsius{low, high}, typ.String())
		for _, x := range want {
			v, ok := typ.Voltage(x)
			require.True(t, ok)
			beyond := Millivolts(math.Copysign(1e-6, float64(x)))
			_, ok = typ.Temperature(v)
			assert.True(t, ok, "%s at %v", typ, x)
			_, ok = typ.Temperature(v + beyond)
			assert.False(t, ok, "%s beyond %v", typ, x)
		}
		_, ok := typ.Measured(high+1, 25)
		assert.False(t, ok)
		_, ok = typ.Measured(75, low-1)
		assert.False(t, ok)
		for _, line := range []MicrovoltsPerKelvin{0, -1, MicrovoltsPerKelvin(math.NaN())} {
			_, ok = typ.Straight(line, 75, 25)
			assert.False(t, ok, "a line of %v", float64(line))
		}
	}
}
