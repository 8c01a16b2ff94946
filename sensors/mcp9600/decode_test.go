package mcp9600

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/thermocouple"
)

// sound is a copy of the registers with nothing wrong: type K, 25 °C both.
var sound = registers{id: 0x4110, status: updated, hot: 0x0190, cold: 0x0190}

// Codes of the datasheet's temperature format, 1/16 K.
func TestCodes(t *testing.T) {
	for code, want := range map[uint16]quantity.Celsius{0x0190: 25, 0x55C0: 1372, 0x0001: 0.0625, 0xFFFF: -0.0625, 0x0000: 0} {
		r := sound
		r.hot = code
		hot, _, err := decode(r, 0, &DefaultOpts)
		require.NoError(t, err, "%#04x", code)
		v, _ := hot.Value()
		assert.Equal(t, want, v, "%#04x", code)
	}
}

func TestDecodeFaults(t *testing.T) {
	for _, row := range []struct {
		name   string
		change func(r *registers)
		status sensors.Status
		err    error
	}{
		{"nothing", func(*registers) {}, sensors.Good, nil},
		{"revision 2.0", func(r *registers) { r.id = 0x4120 }, sensors.Good, nil},
		{"MCP9600", func(r *registers) { r.id = 0x4010 }, sensors.Good, nil},
		{"all zeros", func(r *registers) { *r = registers{} }, sensors.BusError, ErrID},
		{"all ones", func(r *registers) { *r = registers{0xFFFF, 0xFF, 0xFF, 0xFF, 0xFFFF, 0xFFFF} }, sensors.BusError, ErrID},
		{"another chip", func(r *registers) { r.id = 0x4210 }, sensors.BusError, ErrID},
		{"settings of the sensor", func(r *registers) { r.sensor = 0x10 }, sensors.BusError, ErrLost},
		{"settings of the device", func(r *registers) { r.device = 0x01 }, sensors.BusError, ErrLost},
		{"status of ones", func(r *registers) { r.status = 0xFF }, sensors.BusError, ErrGarbled},
		{"short flag of a chip that has none", func(r *registers) { r.id, r.status = 0x4010, updated|short }, sensors.BusError, ErrGarbled},
		{"cold junction of 13 bits", func(r *registers) { r.cold = 0x0800 }, sensors.BusError, ErrGarbled},
		{"cold junction of 13 bits, negative", func(r *registers) { r.cold = 0xF7FF }, sensors.BusError, ErrGarbled},
		{"open", func(r *registers) { r.status |= input }, sensors.Open, ErrOpen},
		{"short", func(r *registers) { r.status |= short }, sensors.ShortToGround, ErrShort},
		{"not updated", func(r *registers) { r.status = 0 }, sensors.Stale, ErrUpdate},
		{"board too hot", func(r *registers) { r.cold = 126 * 16 }, sensors.OutOfRange, ErrCold},
		{"board too cold", func(r *registers) { r.cold = 0xFD7F }, sensors.OutOfRange, ErrCold},
		{"beyond type K", func(r *registers) { r.hot = 0x55C1 }, sensors.OutOfRange, ErrRange},
	} {
		r := sound
		row.change(&r)
		hot, _, err := decode(r, 0, &DefaultOpts)
		assert.Equal(t, row.status, hot.Status(), row.name)
		assert.Equal(t, row.err, err, row.name)
	}
}

// The codes of the sensor register, DS20005426G: the type above, the filter below.
func TestSettings(t *testing.T) {
	for typ, code := range map[thermocouple.Type]byte{thermocouple.K: 0, thermocouple.J: 1, thermocouple.T: 2, thermocouple.N: 3, thermocouple.E: 5} {
		for filter := range 8 {
			d, err := New(nil, &Opts{Address: 0x60, Type: typ, Filter: filter})
			require.NoError(t, err)
			assert.Equal(t, code<<4|byte(filter), d.settings, "%s, filter %d", typ, filter)
		}
	}
}

// Where wire faults must be seen, the sister that cannot see them is refused.
func TestSister(t *testing.T) {
	o := DefaultOpts
	o.SeesWire = true
	r := sound
	_, _, err := decode(r, 0, &o)
	require.NoError(t, err)
	r.id = 0x4010
	hot, cold, err := decode(r, 0, &o)
	assert.Equal(t, ErrSister, err)
	assert.Equal(t, sensors.BusError, hot.Status())
	assert.Equal(t, sensors.BusError, cold.Status())
	r.id = 0x5410
	_, _, err = decode(r, 0, &o)
	assert.Equal(t, ErrID, err)
}

func FuzzDecode(f *testing.F) {
	f.Add(sound.id, sound.sensor, sound.device, sound.status, sound.hot, sound.cold, uint8(1), true)
	f.Add(uint16(0xFFFF), byte(0xFF), byte(0xFF), byte(0xFF), uint16(0xFFFF), uint16(0xFFFF), uint8(1), false)
	f.Add(uint16(0x4110), byte(0), byte(0), byte(0x40), uint16(0xE000), uint16(0x190), uint8(8), false) // an unknown type
	f.Fuzz(func(t *testing.T, id uint16, sensor, device, status byte, hot, cold uint16, typ uint8, sees bool) {
		r := registers{id, sensor, device, status, hot, cold}
		h, c, err := decode(r, 0, &Opts{Type: thermocouple.Type(typ), SeesWire: sees})
		if (h.Status() == sensors.Good) != (err == nil) {
			t.Fatalf("%+v: %q with error %v", r, h.Status(), err)
		}
		if h.Status() == sensors.Good && (status&(short|input) != 0 || status&updated == 0 || sensor != 0 || device != 0 ||
			id>>8 != 0x41 && (sees || id>>8 != 0x40) || c.Status() != sensors.Good) {
			t.Fatalf("%+v is good", r)
		}
	})
}
