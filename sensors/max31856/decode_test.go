package max31856

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/spi/spitest"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/thermocouple"
)

func wanted(t testing.TB) [settings]byte {
	d, err := New(&spitest.Playback{}, &DefaultOpts)
	require.NoError(t, err)
	return d.want
}

// sound is a copy of the registers with nothing wrong: 72.5 °C, board at 25 °C.
func sound(t testing.TB) (r [16]byte) {
	w := wanted(t)
	copy(r[:], w[:])
	copy(r[cjth:], []byte{0x19, 0x00, 0x04, 0x88, 0x00})
	return r
}

// The datasheet's code table of the linearized temperature; 72.5 °C by hand, 1160
// sixteenths. The low five bits mean nothing.
func TestHotCodes(t *testing.T) {
	want := wanted(t)
	for _, row := range []struct {
		code    [3]byte
		celsius quantity.Celsius
		good    bool
	}{
		{[3]byte{0x64, 0x00, 0x00}, 1600, false}, // beyond type K
		{[3]byte{0x3E, 0x80, 0x00}, 1000, true},
		{[3]byte{0x01, 0x90, 0x00}, 25, true},
		{[3]byte{0x00, 0x01, 0x00}, 0.0625, true},
		{[3]byte{0x00, 0x00, 0x00}, 0, true},
		{[3]byte{0xFF, 0xFF, 0x00}, -0.0625, true},
		{[3]byte{0xFF, 0xF0, 0x00}, -1, true},
		{[3]byte{0xF0, 0x60, 0x00}, -250, true},
		{[3]byte{0x04, 0x88, 0x00}, 72.5, true},
		{[3]byte{0x04, 0x88, 0x1F}, 72.5, true},
		{[3]byte{0xFF, 0xF0, 0x1F}, -1, true},
	} {
		r := sound(t)
		copy(r[ltcbh:], row.code[:])
		hot, _, err := decode(&r, &want, thermocouple.K)
		v, ok := hot.Value()
		require.Equal(t, row.good, ok, "%x: %v", row.code, err)
		if ok {
			assert.Equal(t, row.celsius, v, "%x", row.code)
		}
	}
}

// The datasheet's code table of the cold junction; 127.98 and 0.0156 °C are codes
// of the register, the first beyond what the chip may be.
func TestColdCodes(t *testing.T) {
	want := wanted(t)
	for _, row := range []struct {
		code    [2]byte
		celsius quantity.Celsius
		good    bool
	}{
		{[2]byte{0x7F, 0xFC}, 127.984375, false}, {[2]byte{0x7D, 0x00}, 125, true}, {[2]byte{0x40, 0x00}, 64, true},
		{[2]byte{0x19, 0x00}, 25, true}, {[2]byte{0x00, 0x80}, 0.5, true}, {[2]byte{0x00, 0x04}, 0.015625, true},
		{[2]byte{0xE7, 0x00}, -25, true}, {[2]byte{0xC9, 0x00}, -55, true}, {[2]byte{0xC8, 0xFC}, -55.015625, false}, {[2]byte{0x7D, 0x04}, 125.015625, false},
	} {
		r := sound(t)
		r[cjth], r[cjtl] = row.code[0], row.code[1]
		hot, cold, _ := decode(&r, &want, thermocouple.K)
		v, ok := cold.Value()
		require.Equal(t, row.good, ok, "%x", row.code)
		assert.Equal(t, row.good, hot.Status() == sensors.Good)
		if ok {
			assert.Equal(t, row.celsius, v, "%x", row.code)
		}
		assert.Equal(t, row.celsius, celsius(int32(int16(uint16(row.code[0])<<8|uint16(row.code[1]))), 256))
	}
}

// The fields of CR0 and CR1 by the datasheet's register descriptions.
func TestSettings(t *testing.T) {
	types := map[thermocouple.Type]byte{thermocouple.E: 1, thermocouple.J: 2, thermocouple.K: 3, thermocouple.N: 4, thermocouple.T: 7}
	averaging := map[int]byte{1: 0b000, 2: 0b001, 4: 0b010, 8: 0b011, 16: 0b100}
	tests := map[LeadTest]byte{LowResistance: 0b01, HighResistance: 0b10, SlowFilter: 0b11}
	filter := map[int]byte{60: 0, 50: 1}
	for typ, code := range types {
		for samples, average := range averaging {
			for leads, test := range tests {
				for mains, bit := range filter {
					d, err := New(&spitest.Playback{}, &Opts{Type: typ, Samples: samples, Mains: mains, Leads: leads})
					require.NoError(t, err)
					assert.Equal(t, 1<<7|test<<4|bit, d.want[cr0], "%s, %d samples, %d Hz", typ, samples, mains)
					assert.Equal(t, average<<4|code, d.want[cr1], "%s, %d samples, %d Hz", typ, samples, mains)
					// Mask, thresholds and offset stay as after power-up.
					assert.Equal(t, []byte{0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0}, d.want[2:])
				}
			}
		}
	}
}

func TestDecodeFaults(t *testing.T) {
	want := wanted(t)
	for _, row := range []struct {
		name   string
		change func(r *[16]byte)
		status sensors.Status
		err    error
	}{
		{"nothing", func(*[16]byte) {}, sensors.Good, nil},
		{"line stuck low", func(r *[16]byte) { *r = [16]byte{} }, sensors.BusError, ErrSilent},
		{"line stuck high", func(r *[16]byte) {
			for i := range r {
				r[i] = 0xFF
			}
		}, sensors.BusError, ErrSilent},
		{"power-up values", func(r *[16]byte) { copy(r[:], []byte{0x00, 0x03}) }, sensors.BusError, ErrLost},
		{"another type", func(r *[16]byte) { r[cr1] ^= 4 }, sensors.BusError, ErrLost},
		{"cold-junction offset", func(r *[16]byte) { r[9] = 1 }, sensors.BusError, ErrLost},
		{"a threshold", func(r *[16]byte) { r[5] = 0x7E }, sensors.BusError, ErrLost},
		{"low bits of the cold junction", func(r *[16]byte) { r[cjtl] = 1 }, sensors.BusError, ErrGarbled},
		{"the other low bit of the cold junction", func(r *[16]byte) { r[cjtl] = 2 }, sensors.BusError, ErrGarbled},
		{"open", func(r *[16]byte) { r[status] = 1 }, sensors.Open, ErrOpen},
		{"voltage", func(r *[16]byte) { r[status] = 2 }, sensors.OutOfRange, ErrVoltage},
		{"open and voltage", func(r *[16]byte) { r[status] = 3 }, sensors.Open, ErrOpen},
		{"TC low", func(r *[16]byte) { r[status] = 4 }, sensors.OutOfRange, ErrRange},
		{"TC high", func(r *[16]byte) { r[status] = 8 }, sensors.OutOfRange, ErrRange},
		{"CJ low", func(r *[16]byte) { r[status] = 16 }, sensors.OutOfRange, ErrRange},
		{"CJ high", func(r *[16]byte) { r[status] = 32 }, sensors.OutOfRange, ErrRange},
		{"TC range", func(r *[16]byte) { r[status] = 64 }, sensors.OutOfRange, ErrRange},
		{"CJ range", func(r *[16]byte) { r[status] = 128 }, sensors.OutOfRange, ErrCold},
	} {
		r := sound(t)
		row.change(&r)
		hot, _, err := decode(&r, &want, thermocouple.K)
		assert.Equal(t, row.status, hot.Status(), row.name)
		assert.Equal(t, row.err, err, row.name)
	}
}

func FuzzDecode(f *testing.F) {
	r := sound(f)
	f.Add(r[:], uint8(1))
	f.Add(make([]byte, 16), uint8(1))
	f.Add([]byte("00\xe800\x00"), uint8(8)) // an unknown type, below absolute zero
	want := wanted(f)
	f.Fuzz(func(t *testing.T, b []byte, typ uint8) {
		if len(b) == 6 { // reach the part behind the settings more often
			b = append(append([]byte{}, want[:]...), b...)
		}
		if len(b) != 16 {
			return
		}
		hot, cold, err := decode((*[16]byte)(b), &want, thermocouple.Type(typ))
		if (hot.Status() == sensors.Good) != (err == nil) {
			t.Fatalf("%x: %q with error %v", b, hot.Status(), err)
		}
		if hot.Status() == sensors.Good && (b[status] != 0 || b[cjtl]&3 != 0 || [settings]byte(b) != want || cold.Status() != sensors.Good) {
			t.Fatalf("%x is good", b)
		}
	})
}
