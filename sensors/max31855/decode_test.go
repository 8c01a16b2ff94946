package max31855

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/thermocouple"
)

var types = []thermocouple.Type{thermocouple.K, thermocouple.J, thermocouple.T, thermocouple.N, thermocouple.E}

// Rows of the datasheet's two code tables, joined to frames.
func TestShownFollowsTheCodeTables(t *testing.T) {
	for _, row := range []struct {
		frame     uint32
		hot, cold quantity.Celsius
	}{
		{0x64007F00, 1600, 127},
		{0x3E806490, 1000, 100.5625},
		{0x01901900, 25, 25},
		{0x00000000, 0, 0},
		{0xFFF0FF00, -1, -1},
		{0xF060C900, -250, -55},
		{0x7FFD1901, 2047.75, 25}, // open
	} {
		hot, cold := shown(row.frame)
		assert.Equal(t, row.hot, hot, "%#08x", row.frame)
		assert.Equal(t, row.cold, cold, "%#08x", row.frame)
	}
}

func TestDecodeFaults(t *testing.T) {
	for _, row := range []struct {
		name      string
		frame     uint32
		hot, cold sensors.Status
		err       error
	}{
		{"datasheet: open, board 25 °C", 0x7FFD1901, sensors.Open, sensors.Good, ErrOpen},
		{"datasheet: short to ground", 0x00011902, sensors.ShortToGround, sensors.Good, ErrShortToGround},
		{"short to supply", 0x7FFD1904, sensors.ShortToSupply, sensors.Good, ErrShortToSupply},
		{"open and short: open first", 0x7FFD1903, sensors.Open, sensors.Good, ErrOpen},
		{"line stuck high", 0xFFFFFFFF, sensors.BusError, sensors.BusError, ErrGarbled},
		{"line stuck low", 0x00000000, sensors.BusError, sensors.BusError, ErrSilent},
		{"reserved bit 17", 0x01921900, sensors.BusError, sensors.BusError, ErrGarbled},
		{"reserved bit 3", 0x01901908, sensors.BusError, sensors.BusError, ErrGarbled},
		{"a fault without a name", 0x01911900, sensors.BusError, sensors.BusError, ErrGarbled},
		{"a name without a fault", 0x01901901, sensors.BusError, sensors.BusError, ErrGarbled},
		{"board at 127 °C", 0x64007F00, sensors.OutOfRange, sensors.OutOfRange, ErrCold},
		{"board at -55 °C", 0xF060C900, sensors.OutOfRange, sensors.OutOfRange, ErrCold},
		{"board at 125.0625 °C", 0x01907D10, sensors.OutOfRange, sensors.OutOfRange, ErrCold},
		{"board at 125 °C", 0x07D07D00, sensors.Good, sensors.Good, nil},
		{"board at -40 °C", 0x0190D800, sensors.Good, sensors.Good, nil},
		{"board at -40.0625 °C", 0x0190D7F0, sensors.OutOfRange, sensors.OutOfRange, ErrCold},
		{"end of the scale without a fault", 0x7FFC1900, sensors.OutOfRange, sensors.Good, ErrRange},
		{"other end", 0x80001900, sensors.OutOfRange, sensors.Good, ErrRange},
	} {
		for _, typ := range types {
			hot, cold, err := decode(row.frame, typ)
			assert.Equal(t, row.hot, hot.Status(), "%s, %s", row.name, typ)
			assert.Equal(t, row.cold, cold.Status(), "%s, %s", row.name, typ)
			assert.Equal(t, row.err, err, "%s, %s", row.name, typ)
		}
	}
}

// The datasheet's table 1 lists the lines; they are the mean slopes of NIST SRD
// 60, E(1000 °C)/1000, for T E(400 °C)/400.
func TestLineIsTheMeanSlope(t *testing.T) {
	for _, typ := range types {
		top := quantity.Celsius(1000)
		if typ == thermocouple.T {
			top = 400
		}
		v, ok := typ.Voltage(top)
		require.True(t, ok)
		assert.InDelta(t, float64(v)*1000/float64(top), float64(Line(typ)), 0.0006, typ.String())
	}
	assert.Zero(t, Line(0))
}

// Computed in Python from the tables of NIST SRD 60: what the chip shows, and how
// far off that is.
func TestWhatTheChipShows(t *testing.T) {
	for _, row := range []struct {
		cold, hot quantity.Celsius
		shown     [5]float64
	}{
		{25, 0, [5]float64{0.77, 2.96, 5.99, 6.83, 5.42}},
		{25, 50, [5]float64{49.78, 47.57, 45.00, 43.79, 45.33}},
		{25, 60, [5]float64{59.80, 56.72, 53.29, 51.49, 53.67}},
		{25, 75, [5]float64{74.88, 70.56, 66.02, 63.24, 66.39}},
		{25, 90, [5]float64{89.97, 84.52, 79.09, 75.22, 79.37}},
		{25, 100, [5]float64{100.01, 93.88, 87.98, 83.35, 88.16}},
		{25, 150, [5]float64{149.48, 141.17, 134.47, 125.49, 133.59}},
		{40, 50, [5]float64{49.96, 49.08, 48.12, 47.59, 48.22}},
		{40, 75, [5]float64{75.06, 72.07, 69.14, 67.04, 69.29}},
		{40, 100, [5]float64{100.19, 95.39, 91.11, 87.15, 91.05}},
	} {
		for i, typ := range types {
			got, ok := typ.Straight(Line(typ), row.hot, row.cold)
			require.True(t, ok)
			assert.InDelta(t, row.shown[i], float64(got), 0.0051, "%s at %v, board %v", typ, row.hot, row.cold)
			back, ok := typ.Straighten(Line(typ), got, row.cold)
			require.True(t, ok)
			assert.InDelta(t, float64(row.hot), float64(back), 1e-6)
		}
	}
}

// Worked examples, computed in Python by bisection of the direct functions.
func TestCorrectionExamples(t *testing.T) {
	for _, row := range []struct {
		typ       thermocouple.Type
		hot, cold float64
		want      float64
	}{
		{thermocouple.K, 100, 25, 99.9930},
		{thermocouple.K, 75.25, 28.5, 75.3132},
		{thermocouple.T, 60, 25, 67.9590},
		{thermocouple.N, 65.25, 30, 75.9095},
	} {
		frame := uint32(int32(row.hot*4))<<18 | uint32(int32(row.cold*16))<<4
		hot, _, err := decode(frame, row.typ)
		require.NoError(t, err)
		v, _ := hot.Value()
		assert.InDelta(t, row.want, float64(v), 0.00006, "%s", row.typ)
	}
}

func FuzzDecode(f *testing.F) {
	for _, frame := range []uint32{0, 0xFFFFFFFF, 0x01901900, 0x7FFD1901, 0x00011902, 0x64007F00} {
		f.Add(frame, uint8(1))
	}
	f.Fuzz(func(t *testing.T, frame uint32, typ uint8) {
		hot, cold, err := decode(frame, thermocouple.Type(typ))
		if (hot.Status() == sensors.Good) != (err == nil) {
			t.Fatalf("%#08x: %q with error %v", frame, hot.Status(), err)
		}
		if hot.Status() != sensors.Good {
			return
		}
		if frame == 0 || frame&(1<<17|1<<16|1<<3|7) != 0 {
			t.Fatalf("%#08x is good", frame)
		}
		c, ok := cold.Value()
		v, _ := hot.Value()
		if !ok || c < -40 || c > 125 || math.Abs(float64(v)) > 1400 {
			t.Fatalf("%#08x gives %v, board %v", frame, float64(v), float64(c))
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		decode(0x04801900, thermocouple.K)
	}
}
