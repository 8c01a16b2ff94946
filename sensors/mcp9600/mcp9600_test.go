package mcp9600_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/mcp9600"
	"fumarium/sensors/sensortest"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

func driver(typ thermocouple.Type) sensortest.Driver {
	return sensortest.Driver{
		Open: func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
			chip := chips.NewMCP9601(s.World(), 0x60, typ)
			dev, err := mcp9600.New(chips.I2C{chip}, &mcp9600.Opts{Address: 0x60, Type: typ})
			require.NoError(t, err)
			return dev, chip
		},
		Interval:  mcp9600.Interval,
		Settle:    mcp9600.Settle,
		Tolerance: 0.06,
		Wire: map[chips.Fault]sensors.Status{
			chips.OpenWire: sensors.Open, chips.ToGround: sensors.ShortToGround, chips.ToSupply: sensors.ShortToGround, chips.BeyondSupply: sensors.Open,
		},
		SeesFreeze: true,
	}
}

func TestContract(t *testing.T) {
	for _, typ := range []thermocouple.Type{thermocouple.K, thermocouple.T} {
		t.Run(typ.String(), func(t *testing.T) { sensortest.Run(t, driver(typ)) })
	}
	t.Run("MCP9600", func(t *testing.T) {
		d := driver(thermocouple.J)
		d.Open = func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
			chip := chips.NewMCP9600(s.World(), 0x67, thermocouple.J)
			dev, err := mcp9600.New(chips.I2C{chip}, &mcp9600.Opts{Address: 0x67, Type: thermocouple.J})
			require.NoError(t, err)
			return dev, chip
		}
		d.Wire = map[chips.Fault]sensors.Status{chips.BeyondSupply: sensors.Open}
		sensortest.Run(t, d)
	})
}

func BenchmarkRead(b *testing.B) { sensortest.Benchmark(b, driver(thermocouple.K)) }

// A file that names an MCP9601 does not get readings from an MCP9600.
func TestTheSisterIsRefused(t *testing.T) {
	for sees, open := range map[bool]func(chips.World, uint16, thermocouple.Type) *chips.MCP9600{true: chips.NewMCP9601, false: chips.NewMCP9600} {
		scene := &sensortest.Scene{Hot: 20, Cold: 20}
		o := mcp9600.DefaultOpts
		o.SeesWire = true
		dev, err := mcp9600.New(chips.I2C{open(scene.World(), o.Address, o.Type)}, &o)
		require.NoError(t, err)
		var r sensors.Reading
		for range 3 {
			scene.Elapsed += time.Second
			r = dev.Read(scene.Elapsed)
		}
		if sees {
			assert.Equal(t, sensors.Good, r.Status())
		} else {
			assert.Equal(t, sensors.BusError, r.Status())
			assert.Equal(t, mcp9600.ErrSister, dev.Err())
		}
	}
}

// After a power dip the chip is set to type K again: found, told, and set up anew.
func TestLostSettingsAreFoundAndRestored(t *testing.T) {
	scene := &sensortest.Scene{Hot: 72, Cold: 25}
	chip := chips.NewMCP9601(scene.World(), 0x67, thermocouple.T)
	dev, err := mcp9600.New(chips.I2C{chip}, &mcp9600.Opts{Address: 0x67, Type: thermocouple.T})
	require.NoError(t, err)
	for range 3 {
		scene.Elapsed += time.Second
		dev.Read(scene.Elapsed)
	}
	require.NoError(t, dev.Err())
	chip.PowerCycle()
	scene.Elapsed += time.Second
	assert.Equal(t, sensors.BusError, dev.Read(scene.Elapsed).Status())
	assert.Equal(t, mcp9600.ErrLost, dev.Err())
	scene.Elapsed += 10 * time.Millisecond
	assert.Equal(t, sensors.Unread, dev.Read(scene.Elapsed).Status(), "nothing is known of it as after the start")
	scene.Elapsed += time.Second
	v, ok := dev.Read(scene.Elapsed).Value()
	require.True(t, ok, "%v", dev.Err())
	assert.InDelta(t, 72, float64(v), 0.06)
}

func op(w []byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x67, W: w, R: r} }

// recorded is the whole exchange: identity of an MCP9601, settings for type T, read
// back; then a sample of 72.5 °C with the board at 25 °C and the flag cleared.
var recorded = []i2ctest.IO{
	op([]byte{0x20}, 0x41, 0x10),
	op([]byte{0x05, 0x20}), op([]byte{0x06, 0x00}), op([]byte{0x04, 0x00}),
	op([]byte{0x05}, 0x20), op([]byte{0x06}, 0x00),

	op([]byte{0x20}, 0x41, 0x10), op([]byte{0x05}, 0x20), op([]byte{0x06}, 0x00), op([]byte{0x04}, 0x40),
	op([]byte{0x00}, 0x04, 0x88), op([]byte{0x02}, 0x01, 0x90),
	op([]byte{0x04, 0x00}),
}

func TestTraffic(t *testing.T) {
	bus := &i2ctest.Playback{Ops: recorded, DontPanic: true}
	dev, err := mcp9600.New(bus, &mcp9600.Opts{Address: 0x67, Type: thermocouple.T})
	require.NoError(t, err)
	assert.Equal(t, sensors.Unread, dev.Read(0).Status())
	assert.Equal(t, sensors.Unread, dev.Read(mcp9600.Settle-1).Status(), "without a word on the bus")
	v, ok := dev.Read(time.Second).Value()
	require.True(t, ok, "%v", dev.Err())
	assert.Equal(t, quantity.Celsius(72.5), v)
	board, ok := dev.ColdJunction().Value()
	require.True(t, ok)
	assert.Equal(t, quantity.Celsius(25), board)
	require.NoError(t, bus.Close())
}

// The wire fault ends between two reads, and the flag still stands for the last
// conversion under the fault: its value is the old one.
func TestHeldValueIsNotPassedOn(t *testing.T) {
	ops := append([]i2ctest.IO{}, recorded[:6]...)
	for _, sample := range [][]byte{{0x50, 0x04}, {0x40, 0x04}, {0x40, 0x05}} {
		ops = append(ops, op([]byte{0x20}, 0x41, 0x10), op([]byte{0x05}, 0x20), op([]byte{0x06}, 0x00), op([]byte{0x04}, sample[0]),
			op([]byte{0x00}, sample[1], 0x88), op([]byte{0x02}, 0x01, 0x90), op([]byte{0x04, 0x00}))
	}
	dev, err := mcp9600.New(&i2ctest.Playback{Ops: ops, DontPanic: true}, &mcp9600.Opts{Address: 0x67, Type: thermocouple.T})
	require.NoError(t, err)
	dev.Read(0)
	assert.Equal(t, sensors.Open, dev.Read(time.Second).Status())
	assert.Equal(t, sensors.Stale, dev.Read(2*time.Second).Status())
	assert.Equal(t, mcp9600.ErrHeld, dev.Err())
	v, ok := dev.Read(3 * time.Second).Value()
	require.True(t, ok)
	assert.Equal(t, quantity.Celsius(88.5), v)
}

// Another device at that address is not talked to any further.
func TestForeignDevice(t *testing.T) {
	bus := &i2ctest.Playback{Ops: []i2ctest.IO{op([]byte{0x20}, 0x54, 0x00)}, DontPanic: true}
	dev, err := mcp9600.New(bus, &mcp9600.DefaultOpts)
	require.NoError(t, err)
	assert.Equal(t, sensors.BusError, dev.Read(0).Status())
	assert.Equal(t, mcp9600.ErrID, dev.Err())
	require.NoError(t, bus.Close())
}

func TestChipThatKeepsItsOwnSettings(t *testing.T) {
	for i, answer := range map[int]i2ctest.IO{4: op([]byte{0x05}, 0x00), 5: op([]byte{0x06}, 0x01)} {
		ops := append([]i2ctest.IO{}, recorded[:6]...)
		ops[i] = answer
		dev, err := mcp9600.New(&i2ctest.Playback{Ops: ops, DontPanic: true}, &mcp9600.Opts{Address: 0x67, Type: thermocouple.T})
		require.NoError(t, err)
		assert.Equal(t, sensors.BusError, dev.Read(0).Status())
		assert.Equal(t, mcp9600.ErrRefused, dev.Err())
	}
}

func TestNewRefuses(t *testing.T) {
	for want, o := range map[string]mcp9600.Opts{
		"use K, J, T, N or E": {Address: 0x60},
		"0x5f is outside":     {Address: 0x5F, Type: thermocouple.K},
		"0x68 is outside":     {Address: 0x68, Type: thermocouple.K},
		"outside 0..7":        {Address: 0x60, Type: thermocouple.K, Filter: 8},
	} {
		_, err := mcp9600.New(nil, &o)
		assert.ErrorContains(t, err, want)
	}
}
