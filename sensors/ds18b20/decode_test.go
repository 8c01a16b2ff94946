package ds18b20

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/onewire"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// sound is a scratchpad with the given code and nothing wrong.
func sound(code uint16) (pad [9]byte) {
	pad = [9]byte{byte(code), byte(code >> 8), markHigh, markLow, 0x7F, 0xFF, 0x0F, 0x10}
	pad[8] = onewire.CalcCRC(pad[:8])
	return pad
}

// Codes of the datasheet's table 1.
func TestCodes(t *testing.T) {
	for code, want := range map[uint16]quantity.Celsius{0x07D0: 125, 0x0191: 25.0625, 0x0008: 0.5, 0x0000: 0, 0xFFF8: -0.5, 0xFC90: -55} {
		pad := sound(code)
		r, _, err := decode(&pad, 12)
		require.NoError(t, err, "%#04x", code)
		v, _ := r.Value()
		assert.Equal(t, want, v, "%#04x", code)
	}
	pad := sound(0x0550)
	_, raw, _ := decode(&pad, 12)
	assert.EqualValues(t, powerUp, raw, "the caller sees the power-up code of 85 °C")
	pad = sound(0x0197)
	pad[4] = config(9)
	pad[8] = onewire.CalcCRC(pad[:8])
	r, _, err := decode(&pad, 9)
	require.NoError(t, err)
	v, _ := r.Value()
	assert.Equal(t, quantity.Celsius(25), v, "the three low bits mean nothing at 9 bits")
}

func TestDecodeFaults(t *testing.T) {
	for _, row := range []struct {
		name   string
		change func(pad *[9]byte)
		status sensors.Status
		err    error
	}{
		{"nothing", func(*[9]byte) {}, sensors.Good, nil},
		{"silence", func(p *[9]byte) { *p = [9]byte{255, 255, 255, 255, 255, 255, 255, 255, 255} }, sensors.BusError, ErrAbsent},
		{"zeros, whose checksum is right", func(p *[9]byte) { *p = [9]byte{} }, sensors.BusError, ErrGarbled},
		{"fixed bits of the configuration", func(p *[9]byte) { p[4] = 0xFF }, sensors.BusError, ErrGarbled},
		{"fixed byte 5", func(p *[9]byte) { p[5] = 0 }, sensors.BusError, ErrGarbled},
		{"fixed byte 7", func(p *[9]byte) { p[7] = 0 }, sensors.BusError, ErrGarbled},
		{"sign bits that differ", func(p *[9]byte) { p[1] = 0x10 }, sensors.BusError, ErrGarbled},
		{"no mark", func(p *[9]byte) { p[2], p[3] = 0x4B, 0x46 }, sensors.BusError, ErrLost},
		{"half a mark", func(p *[9]byte) { p[3] = 0x46 }, sensors.BusError, ErrLost},
		{"the other half", func(p *[9]byte) { p[2] = 0x4B }, sensors.BusError, ErrLost},
		{"another resolution", func(p *[9]byte) { p[4] = 0x3F }, sensors.BusError, ErrLost},
		{"126 °C", func(p *[9]byte) { p[0], p[1] = 0xE0, 0x07 }, sensors.OutOfRange, ErrRange},
		{"-56 °C", func(p *[9]byte) { p[0], p[1] = 0x80, 0xFC }, sensors.OutOfRange, ErrRange},
	} {
		pad := sound(0x0191)
		row.change(&pad)
		if row.err != ErrAbsent {
			pad[8] = onewire.CalcCRC(pad[:8])
		}
		r, _, err := decode(&pad, 12)
		assert.Equal(t, row.status, r.Status(), row.name)
		assert.Equal(t, row.err, err, row.name)
	}
}

// The checksum finds every single bit that tips over.
func TestEveryBitFlipIsFound(t *testing.T) {
	for bit := range 72 {
		pad := sound(0x0488)
		pad[bit/8] ^= 1 << (bit % 8)
		r, _, err := decode(&pad, 12)
		assert.Equal(t, sensors.BusError, r.Status(), "bit %d", bit)
		assert.Equal(t, ErrGarbled, err, "bit %d", bit)
	}
}

func FuzzDecode(f *testing.F) {
	pad := sound(0x0191)
	f.Add(pad[:], 12, true)
	f.Add(make([]byte, 9), 12, false)
	f.Fuzz(func(t *testing.T, b []byte, bits int, mend bool) {
		if len(b) != 9 || bits < 9 || bits > 12 {
			return
		}
		pad := [9]byte(b)
		if mend { // get past the checksum
			pad[8] = onewire.CalcCRC(pad[:8])
		}
		r, _, err := decode(&pad, bits)
		if (r.Status() == sensors.Good) != (err == nil) {
			t.Fatalf("%x: %q with error %v", pad, r.Status(), err)
		}
		if v, ok := r.Value(); ok && (v < -55 || v > 125 || !onewire.CheckCRC(pad[:]) || pad[2] != markHigh || pad[3] != markLow ||
			pad[4] != config(bits) || pad[5] != 0xFF || pad[7] != 0x10) {
			t.Fatalf("%x gives %v", pad, v)
		}
	})
}
