package thermocouple

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

var all = []Type{K, J, T, N, E}

func number(t *testing.T, s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// The coefficients are those of NIST SRD 60; the file names its source.
func TestCoefficientsAreThePublishedOnes(t *testing.T) {
	f, err := os.Open("testdata/srd60.txt")
	require.NoError(t, err)
	defer f.Close()
	count := 0
	next := map[string]int{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		w := strings.Fields(lines.Text())
		typ, err := ParseType(w[0])
		require.NoError(t, err)
		pieces := curves[typ].direct
		if w[1] == "inverse" {
			pieces = curves[typ].inverse
		}
		p := pieces[next[w[0]+w[1]]]
		next[w[0]+w[1]]++
		assert.Equal(t, number(t, w[2]), p.low, lines.Text())
		assert.Equal(t, number(t, w[3]), p.high, lines.Text())
		require.Len(t, p.c, len(w)-6, lines.Text())
		for i, c := range w[6:] {
			assert.Equal(t, number(t, c), p.c[i], "%s %s c%d", w[0], w[1], i)
			count++
		}
		if w[1] == "inverse" {
			checkStatedError(t, typ, p, number(t, w[4]), number(t, w[5]))
		}
	}
	assert.Equal(t, 23, func() (n int) {
		for _, v := range next {
			n += v
		}
		return n
	}(), "pieces")
	assert.Greater(t, count, 200)
}

// checkStatedError holds the inverse polynomial to the error NIST states for it,
// give or take half a unit of its last printed digit.
func checkStatedError(t *testing.T, typ Type, p polynomial, low, high float64) {
	t.Helper()
	for i := range 1001 {
		e := p.low + (p.high-p.low)*float64(i)/1000
		exact, ok := typ.Temperature(Millivolts(e))
		if !ok {
			continue // the printed end is rounded outwards
		}
		x := 0.0
		for k := len(p.c) - 1; k >= 0; k-- {
			x = x*e + p.c[k]
		}
		off := x - float64(exact)
		assert.True(t, off >= low-0.0055 && off <= high+0.0055, "%s at %v mV: inverse polynomial off by %v K", typ, e, off)
	}
}

// NIST SRD 60 tables (three decimals), reference junction 0 °C; six decimals are
// the direct functions evaluated independently in Python 3.11.
func TestVoltageMatchesTheTables(t *testing.T) {
	for _, row := range []struct {
		celsius quantity.Celsius
		table   [5]float64
		exact   [5]float64
	}{
		{-50, [5]float64{-1.889, -2.431, -1.819, -1.269, -2.787}, [5]float64{-1.889383, -2.431276, -1.819036, -1.268598, -2.787214}},
		{-40, [5]float64{-1.527, -1.961, -1.475, -1.023, -2.255}, [5]float64{-1.526948, -1.960646, -1.474992, -1.022757, -2.254809}},
		{-10, [5]float64{-0.392, -0.501, -0.383, -0.260, -0.582}, [5]float64{-0.391854, -0.500677, -0.383050, -0.260402, -0.581541}},
		{0, [5]float64{0.000, 0.000, 0.000, 0.000, 0.000}, [5]float64{0.000000, 0.000000, 0.000000, 0.000000, 0.000000}},
		{20, [5]float64{0.798, 1.019, 0.790, 0.525, 1.192}, [5]float64{0.798120, 1.019149, 0.789612, 0.525184, 1.191504}},
		{25, [5]float64{1.000, 1.277, 0.992, 0.659, 1.495}, [5]float64{1.000242, 1.277288, 0.991977, 0.658646, 1.495112}},
		{40, [5]float64{1.612, 2.059, 1.612, 1.065, 2.420}, [5]float64{1.611792, 2.058847, 1.611793, 1.064532, 2.419741}},
		{60, [5]float64{2.436, 3.116, 2.468, 1.619, 3.685}, [5]float64{2.436472, 3.115668, 2.468151, 1.618969, 3.684500}},
		{70, [5]float64{2.851, 3.650, 2.909, 1.902, 4.330}, [5]float64{2.851249, 3.649539, 2.908896, 1.901975, 4.330284}},
		{75, [5]float64{3.059, 3.918, 3.132, 2.045, 4.656}, [5]float64{3.058917, 3.917685, 3.132314, 2.044930, 4.656450}},
		{80, [5]float64{3.267, 4.187, 3.358, 2.189, 4.985}, [5]float64{3.266642, 4.186583, 3.357718, 2.188852, 4.984766}},
		{90, [5]float64{3.682, 4.726, 3.814, 2.480, 5.648}, [5]float64{3.681879, 4.726477, 3.814350, 2.479581, 5.647729}},
		{100, [5]float64{4.096, 5.269, 4.279, 2.774, 6.319}, [5]float64{4.096230, 5.268916, 4.278519, 2.774124, 6.318930}},
		{120, [5]float64{4.920, 6.360, 5.228, 3.374, 7.685}, [5]float64{4.919882, 6.360306, 5.228449, 3.374433, 7.684976}},
		{125, [5]float64{5.124, 6.634, 5.470, 3.527, 8.031}, [5]float64{5.124438, 6.634319, 5.470261, 3.526798, 8.031206}},
		{175, [5]float64{7.140, 9.392, 7.977, 5.098, 11.587}, [5]float64{7.140385, 9.392311, 7.977395, 5.097883, 11.587059}},
		{200, [5]float64{8.138, 10.779, 9.288, 5.913, 13.421}, [5]float64{8.138473, 10.778746, 9.288102, 5.913415, 13.421296}},
		{300, [5]float64{12.209, 16.327, 14.862, 9.341, 21.036}, [5]float64{12.208566, 16.327206, 14.861928, 9.341152, 21.036238}},
		{350, [5]float64{14.293, 19.090, 17.819, 11.136, 24.964}, [5]float64{14.293149, 19.090463, 17.818669, 11.136178, 24.964366}},
		{400, [5]float64{16.397, 21.848, 20.872, 12.974, 28.946}, [5]float64{16.397142, 21.848065, 20.871970, 12.973686, 28.945964}},
	} {
		for i, typ := range all {
			v, ok := typ.Voltage(row.celsius)
			require.True(t, ok)
			assert.InDelta(t, row.table[i], float64(v), 0.0005000001, "%s at %v", typ, row.celsius)
			assert.InDelta(t, row.exact[i], float64(v), 0.6e-6, "%s at %v", typ, row.celsius)
			back, ok := typ.Temperature(v)
			require.True(t, ok)
			assert.InDelta(t, float64(row.celsius), float64(back), 1e-8, "%s", typ)
		}
	}
}

// Derivative of the direct functions of NIST SRD 60, computed in Python.
func TestSeebeck(t *testing.T) {
	for celsius, row := range map[quantity.Celsius][5]float64{
		25:  {40.518, 51.752, 40.682, 26.782, 60.952},
		75:  {41.543, 53.706, 44.883, 28.688, 65.449},
		100: {41.369, 54.361, 46.785, 29.643, 67.523},
	} {
		for i, typ := range all {
			s, ok := typ.Seebeck(celsius)
			require.True(t, ok)
			assert.InDelta(t, row[i], float64(s), 0.0006, "%s at %v", typ, celsius)
		}
	}
}

// Roots of the direct functions of NIST SRD 60, found by bisection in Python.
func TestTemperatureMatchesBisection(t *testing.T) {
	for _, row := range []struct {
		typ     Type
		mV      Millivolts
		celsius float64
	}{
		{K, -1.000, -25.8520}, {K, 0.500, 12.5804}, {K, 2.000, 49.4404}, {K, 3.000, 73.5817},
		{K, 4.000, 97.6748}, {K, 10.000, 246.2295},
		{J, 2.000, 38.8773}, {J, 4.000, 76.5320}, {J, 5.500, 104.2472},
		{T, -1.000, -26.6494}, {T, 2.000, 49.1651}, {T, 3.000, 72.0443}, {T, 4.500, 104.7168},
		{N, 1.000, 37.6357}, {N, 2.000, 73.4322}, {N, 3.000, 107.5834},
		{E, 2.000, 33.2322}, {E, 4.500, 72.6058}, {E, 7.000, 110.0277},
	} {
		got, ok := row.typ.Temperature(row.mV)
		require.True(t, ok)
		assert.InDelta(t, row.celsius, float64(got), 0.00006, "%s at %v mV", row.typ, row.mV)
	}
}

// Worked by hand from the tables: K with terminals at 25 °C, junction at 75 °C
// gives 3.058917 - 1.000242 mV. Adding temperatures would give 75.863 °C for K
// and 77.437 °C for T.
func TestCompensationAddsVoltages(t *testing.T) {
	for _, row := range []struct {
		typ   Type
		mV    Millivolts
		wrong float64
	}{{K, 2.058674, 75.863}, {T, 2.140337, 77.437}} {
		got, ok := row.typ.Compensate(row.mV, 25)
		require.True(t, ok)
		assert.InDelta(t, 75, float64(got), 0.0001, row.typ.String())
		naive, ok := row.typ.Temperature(row.mV)
		require.True(t, ok)
		assert.InDelta(t, row.wrong, float64(naive)+25, 0.001, "the wrong way, %s", row.typ)
	}
}

func TestRangeEndsAndBeyond(t *testing.T) {
	for _, typ := range all {
		low, high := typ.Range()
		for _, x := range []quantity.Celsius{low, high} {
			v, ok := typ.Voltage(x)
			require.True(t, ok)
			back, ok := typ.Temperature(v)
			require.True(t, ok)
			assert.InDelta(t, float64(x), float64(back), 0.01, typ.String())
		}
		for _, x := range []quantity.Celsius{low - 0.01, high + 0.01, quantity.Celsius(math.NaN()), quantity.Celsius(math.Inf(1))} {
			_, ok := typ.Voltage(x)
			assert.False(t, ok, "%s at %v", typ, float64(x))
			_, ok = typ.Seebeck(x)
			assert.False(t, ok)
			_, ok = typ.Compensate(0, x)
			assert.False(t, ok)
		}
		for _, v := range []Millivolts{-11, 77, Millivolts(math.NaN()), Millivolts(math.Inf(-1))} {
			_, ok := typ.Temperature(v)
			assert.False(t, ok, "%s at %v mV", typ, float64(v))
		}
	}
	for _, none := range []Type{0, E + 1, 255} {
		_, okV := none.Voltage(20)
		_, okT := none.Temperature(0)
		assert.False(t, okV || okT || none.Known())
		assert.Equal(t, "no type", none.String())
	}
}

func TestParseType(t *testing.T) {
	for _, typ := range all {
		for _, s := range []string{typ.String(), strings.ToLower(typ.String())} {
			got, err := ParseType(s)
			require.NoError(t, err)
			assert.Equal(t, typ, got)
		}
	}
	for _, s := range []string{"", " ", "KJ", "X", "S", "°"} {
		_, err := ParseType(s)
		assert.ErrorContains(t, err, "use K, J, T, N or E", s)
	}
}

// A fine grid over the whole range, so that no place is left where the root is not
// found.
func TestTemperatureIsFoundEverywhere(t *testing.T) {
	for _, typ := range all {
		low, high := typ.Range()
		for x := low; x <= high; x += 0.02 {
			v, ok := typ.Voltage(x)
			require.True(t, ok)
			back, ok := typ.Temperature(v)
			if !ok || math.Abs(float64(back-x)) > 1e-6 {
				t.Fatalf("%s: %v °C came back as %v, %v", typ, float64(x), float64(back), ok)
			}
		}
	}
}

func anyType(r *rapid.T) Type { return rapid.SampledFrom(all).Draw(r, "type") }

func TestPropertyRoundTrip(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		typ := anyType(r)
		low, high := typ.Range()
		x := rapid.Float64Range(float64(low), float64(high)).Draw(r, "celsius")
		v, ok := typ.Voltage(quantity.Celsius(x))
		if !ok {
			r.Fatalf("%s: no voltage at %v", typ, x)
		}
		back, ok := typ.Temperature(v)
		if !ok || math.Abs(float64(back)-x) > 0.01 {
			r.Fatalf("%s: %v °C came back as %v, %v", typ, x, float64(back), ok)
		}
	})
}

func TestPropertyVoltageRises(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		typ := anyType(r)
		low, high := typ.Range()
		x := rapid.Float64Range(float64(low), float64(high)-0.1).Draw(r, "celsius")
		a, _ := typ.Voltage(quantity.Celsius(x))
		b, _ := typ.Voltage(quantity.Celsius(x + 0.1))
		if !(b > a) {
			r.Fatalf("%s falls from %v to %v mV above %v °C", typ, a, b, x)
		}
	})
}

func TestPropertyStraightenUndoesStraight(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		typ := anyType(r)
		line := MicrovoltsPerKelvin(rapid.Float64Range(20, 90).Draw(r, "line"))
		hot := quantity.Celsius(rapid.Float64Range(-50, 350).Draw(r, "hot"))
		cold := quantity.Celsius(rapid.Float64Range(-40, 125).Draw(r, "cold"))
		shown, ok := typ.Straight(line, hot, cold)
		if !ok {
			r.Fatal("shows nothing")
		}
		got, ok := typ.Straighten(line, shown, cold)
		if !ok || math.Abs(float64(got-hot)) > 1e-6 {
			r.Fatalf("%s: %v came back as %v", typ, float64(hot), float64(got))
		}
	})
}

func TestNoAllocation(t *testing.T) {
	assert.Zero(t, testing.AllocsPerRun(100, func() { K.Compensate(2, 25) }))
}

func FuzzTemperature(f *testing.F) {
	f.Add(uint8(K), 3.0, 25.0)
	f.Add(uint8(T), -6.2, -40.0)
	f.Add(uint8(J), math.Inf(1), math.NaN())
	f.Fuzz(func(t *testing.T, typ uint8, mV, cold float64) {
		x, ok := Type(typ).Temperature(Millivolts(mV))
		if ok {
			low, high := Type(typ).Range()
			if !(x >= low && x <= high) {
				t.Fatalf("%v mV gave %v °C, outside the range", mV, float64(x))
			}
			v, _ := Type(typ).Voltage(x)
			if math.Abs(float64(v)-mV) > 1e-6 {
				t.Fatalf("%v mV gave %v °C, which gives %v mV", mV, float64(x), float64(v))
			}
		}
		if x, ok := Type(typ).Compensate(Millivolts(mV), quantity.Celsius(cold)); ok && !quantity.Finite(float64(x)) {
			t.Fatalf("%v mV, cold %v gave %v", mV, cold, float64(x))
		}
	})
}

func BenchmarkTemperature(b *testing.B) {
	for _, typ := range all {
		b.Run(typ.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				typ.Compensate(2, 25)
			}
		})
	}
}

func ExampleType_Compensate() {
	// 2.059 mV at terminals that are at 25 °C.
	t, ok := K.Compensate(2.059, 25)
	fmt.Printf("%.2f °C %v\n", float64(t), ok)
	// Output: 75.01 °C true
}

func ExampleType_Straighten() {
	// A front end that takes type T for a straight line of 52.18 µV/K shows 60 °C
	// with its terminals at 25 °C.
	t, ok := T.Straighten(52.18, 60, 25)
	fmt.Printf("%.2f °C %v\n", float64(t), ok)
	// Output: 67.96 °C true
}
