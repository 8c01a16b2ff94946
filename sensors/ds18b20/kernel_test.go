package ds18b20_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/onewire"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/ds18b20"
)

// slaveFile is what the kernel makes of a scratchpad without its checksum.
func slaveFile(pad ...byte) string {
	crc := onewire.CalcCRC(pad)
	line := fmt.Sprintf("% x %02x", pad, crc)
	return fmt.Sprintf("%s : crc=%02x YES\n%s t=0\n", line, crc, line)
}

// The first text is in the form of the kernel's documentation; temperatures against
// registers are those of the datasheet's table.
func TestParseSlave(t *testing.T) {
	real := "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
	for name, c := range map[string]struct {
		text   string
		known  bool
		want   quantity.Celsius
		status sensors.Status
		err    error
	}{
		"a room":                         {text: real, want: 23.125, status: sensors.Good},
		"checksum NO":                    {text: strings.Replace(real, "YES", "NO", 1), status: sensors.BusError, err: ds18b20.ErrGarbled},
		"YES, but it is not":             {text: strings.Replace(real, "72", "73", 1), status: sensors.BusError, err: ds18b20.ErrGarbled},
		"125 °C":                         {text: slaveFile(0xD0, 0x07, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10), want: 125, status: sensors.Good},
		"25.0625 °C":                     {text: slaveFile(0x91, 0x01, 0x4B, 0x46, 0x7F, 0xFF, 0x0F, 0x10), want: 25.0625, status: sensors.Good},
		"-10.125 °C":                     {text: slaveFile(0x5E, 0xFF, 0x4B, 0x46, 0x7F, 0xFF, 0x02, 0x10), want: -10.125, status: sensors.Good},
		"-55 °C":                         {text: slaveFile(0x90, 0xFC, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10), want: -55, status: sensors.Good},
		"nine bits leave bits undefined": {text: slaveFile(0x97, 0x01, 0x4B, 0x46, 0x1F, 0xFF, 0x0F, 0x10), want: 25, status: sensors.Good},
		"power-up":                       {text: slaveFile(0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10), status: sensors.Unread, err: ds18b20.ErrPowerUp},
		"power lost later":               {text: slaveFile(0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10), known: true, status: sensors.Unread, err: ds18b20.ErrPowerUp},
		"85 °C before anything else":     {text: slaveFile(0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10), status: sensors.Unread, err: ds18b20.ErrPowerUp},
		"85 °C on the way up":            {text: slaveFile(0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10), known: true, want: 85, status: sensors.Good},
		"too little power":               {text: slaveFile(0xFF, 0x07, 0x4B, 0x46, 0x7F, 0xFF, 0x01, 0x10), known: true, status: sensors.OutOfRange, err: ds18b20.ErrRange},
		"line at ground":                 {text: "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n", status: sensors.BusError, err: ds18b20.ErrGarbled},
		"nobody there":                   {text: "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n72 01 4b 46 7f ff 0e 10 57 t=-62\n", status: sensors.BusError, err: ds18b20.ErrAbsent},
		"empty":                          {status: sensors.BusError, err: ds18b20.ErrGarbled},
		"cut short":                      {text: "72 01 4b 46 7f ff 0e", status: sensors.BusError, err: ds18b20.ErrGarbled},
		"ten bytes":                      {text: "72 01 4b 46 7f ff 0e 10 57 00 : crc=57 YES\n", status: sensors.BusError, err: ds18b20.ErrGarbled},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := ds18b20.ParseSlave([]byte(c.text), c.known)
			assert.Equal(t, c.status, r.Status())
			assert.Equal(t, c.err, err)
			if v, ok := r.Value(); ok {
				assert.Equal(t, c.want, v)
			}
		})
	}
}

func TestKernelNames(t *testing.T) {
	a := onewire.Address(0x1c0000031edd2a28)
	require.NoError(t, ds18b20.CheckAddress(a))
	assert.Equal(t, "28-0000031edd2a", ds18b20.KernelName(a))
	back, ok := ds18b20.ParseKernelName("28-0000031edd2a")
	assert.True(t, ok)
	assert.Equal(t, a, back, "the checksum comes back")
	for _, name := range []string{"", "not found.", "w1_bus_master1", "28-0000031edd2", "28-0000031edd2g", "28_0000031edd2a"} {
		_, ok := ds18b20.ParseKernelName(name)
		assert.False(t, ok, name)
	}
	assert.ErrorContains(t, ds18b20.CheckAddress(a+1), "is of family 0x29")
	assert.ErrorContains(t, ds18b20.CheckAddress(a+1<<8), "checksum in address")
}

func FuzzParseSlave(f *testing.F) {
	f.Add("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n", true)
	f.Add("00 00 00 00 00 00 00 00 00 : crc=00 YES\n", false)
	f.Fuzz(func(t *testing.T, text string, known bool) {
		r, err := ds18b20.ParseSlave([]byte(text), known)
		v, ok := r.Value()
		if ok != (err == nil) {
			t.Fatalf("%v with %v", r, err)
		}
		if ok && !(v >= -55 && v <= 125) {
			t.Fatalf("%v", v)
		}
	})
}

func ExampleParseSlave() {
	r, err := ds18b20.ParseSlave([]byte("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"), false)
	t, ok := r.Value()
	fmt.Println(float64(t), ok, err)
	// Output: 23.125 true <nil>
}
