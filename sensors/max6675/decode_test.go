package max6675

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// Codes by the datasheet's bit map: twelve bits of 0.25 K from bit 3.
func TestShown(t *testing.T) {
	for frame, want := range map[uint16]quantity.Celsius{0x0320: 25, 0x0C80: 100, 0x7FF8: 1023.75, 0x0321: 25, 0x0000: 0, 0x8320: 25} {
		assert.Equal(t, want, shown(frame), "%#04x", frame)
	}
}

func TestDecode(t *testing.T) {
	for _, row := range []struct {
		name  string
		frame uint16
		want  sensors.Status
		err   error
	}{
		{"25 °C", 0x0320, sensors.Good, nil},
		{"the lowest bit floats", 0x0321, sensors.Good, nil},
		{"open", 0x0004, sensors.Open, ErrOpen},
		{"open, floating bit high", 0x0325, sensors.Open, ErrOpen},
		{"line stuck low", 0x0000, sensors.BusError, ErrSilent},
		{"line stuck low, floating bit high", 0x0001, sensors.BusError, ErrSilent},
		{"line stuck high", 0xFFFF, sensors.BusError, ErrGarbled},
		{"bit 15", 0x8320, sensors.BusError, ErrGarbled},
		{"device id", 0x0322, sensors.BusError, ErrGarbled},
		{"end of the scale", 0x7FF8, sensors.OutOfRange, ErrRange},
	} {
		r, err := decode(row.frame, 25)
		assert.Equal(t, row.want, r.Status(), row.name)
		assert.Equal(t, row.err, err, row.name)
	}
	r, _ := decode(0x0320, 25)
	v, _ := r.Value()
	assert.InDelta(t, 25, float64(v), 1e-9, "no voltage is the board's temperature")
}

// By hand from the table of NIST SRD 60: 41 µV/K over 60 K on a board at 40 °C is
// 2.46 mV, with 1.611792 mV of the board 4.071792 mV, which is 24.4 µV or 0.59 K
// short of 100 °C.
func TestTheBoardCounts(t *testing.T) {
	r, err := decode(0x0C80, 40)
	assert.NoError(t, err)
	v, _ := r.Value()
	assert.InDelta(t, 100-(4.096230-4.071792)/0.041369, float64(v), 0.002)
}

func FuzzDecode(f *testing.F) {
	for _, frame := range []uint16{0, 0xFFFF, 0x0320, 4, 0x7FF8} {
		f.Add(frame, 25.0)
	}
	f.Fuzz(func(t *testing.T, frame uint16, board float64) {
		r, err := decode(frame, quantity.Celsius(board))
		if (r.Status() == sensors.Good) != (err == nil) {
			t.Fatalf("%#04x: %q with error %v", frame, r.Status(), err)
		}
		if r.Status() == sensors.Good && (frame&0x8006 != 0 || frame&0x7FF8 == 0 || frame&0x7FF8 == 0x7FF8) {
			t.Fatalf("%#04x is good", frame)
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		decode(0x0480, 25)
	}
}
