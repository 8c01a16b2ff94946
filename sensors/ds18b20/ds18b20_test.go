package ds18b20_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/onewire/onewiretest"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/ds18b20"
	"fumarium/sensors/sensortest"
	"fumarium/sim/chips"
)

func driver(bits int) sensortest.Driver {
	interval := 750 * time.Millisecond >> (12 - bits)
	return sensortest.Driver{
		Open: func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
			chip := chips.NewDS18B20(s.World(), 0x0123456789AB)
			dev, err := ds18b20.New(chips.OneWire{chip}, chip.Address(), &ds18b20.Opts{Bits: bits})
			require.NoError(t, err)
			require.Equal(t, interval, dev.Interval())
			return dev, chip
		},
		Interval: interval,
		Settle:   interval,
		Lag:      time.Second,
		// Half a step, or as the chip rounds down with fewer bits, a whole one.
		Tolerance: map[int]quantity.Kelvin{12: 0.04, 9: 0.51}[bits],
		Wire:      map[chips.Fault]sensors.Status{chips.OpenWire: sensors.BusError, chips.ToGround: sensors.ShortToGround},
	}
}

func TestContract(t *testing.T) {
	t.Run("12 bits", func(t *testing.T) { sensortest.Run(t, driver(12)) })
	t.Run("9 bits", func(t *testing.T) { sensortest.Run(t, driver(9)) })
}

func BenchmarkRead(b *testing.B) { sensortest.Benchmark(b, driver(12)) }

// A chamber that stands at 85 °C from the start cannot be told from a chip that
// never converted; once another temperature was seen it can.
func TestEightyFiveDegrees(t *testing.T) {
	scene := &sensortest.Scene{Hot: 85}
	chip := chips.NewDS18B20(scene.World(), 1)
	dev, err := ds18b20.New(chips.OneWire{chip}, chip.Address(), &ds18b20.DefaultOpts)
	require.NoError(t, err)
	second := func() sensors.Reading {
		scene.Elapsed += time.Second
		return dev.Read(scene.Elapsed)
	}
	second()
	for range 3 {
		require.Equal(t, sensors.Unread, second().Status())
		require.Equal(t, ds18b20.ErrPowerUp, dev.Err())
	}
	scene.Hot = 85.0625
	second()
	require.Equal(t, sensors.Good, second().Status())
	scene.Hot = 85
	second()
	v, ok := second().Value()
	require.True(t, ok)
	assert.Equal(t, quantity.Celsius(85), v)
	chip.PowerCycle()
	require.Equal(t, sensors.BusError, second().Status(), "85 °C of another origin")
	require.Equal(t, ds18b20.ErrLost, dev.Err())
	scene.Elapsed += 10 * time.Millisecond
	require.Equal(t, sensors.Unread, dev.Read(scene.Elapsed).Status(), "nothing is known of it as after the start")
	for range 3 {
		require.Equal(t, sensors.Unread, second().Status(), "its 85 °C is in doubt again")
		require.Equal(t, ds18b20.ErrPowerUp, dev.Err())
	}
}

// faulty is a bus on which single commands fail.
type faulty struct {
	onewire.Bus
	command byte // that fails
}

func (f *faulty) Tx(w, r []byte, p onewire.Pullup) error {
	if len(w) > 9 && w[9] == f.command {
		return chips.ErrBus
	}
	return f.Bus.Tx(w, r, p)
}

// A value is never older than one interval between reads, whichever command was
// lost before it.
func TestLostCommandsLeaveNoOldValue(t *testing.T) {
	for _, command := range []byte{0x44, 0xBE} {
		scene := &sensortest.Scene{Hot: 20}
		chip := chips.NewDS18B20(scene.World(), 1)
		bus := &faulty{Bus: chips.OneWire{chip}}
		dev, err := ds18b20.New(bus, chip.Address(), &ds18b20.DefaultOpts)
		require.NoError(t, err)
		second := func() sensors.Reading {
			scene.Elapsed += time.Second
			return dev.Read(scene.Elapsed)
		}
		second()
		require.Equal(t, sensors.Good, second().Status())
		scene.Hot = 60
		bus.command = command
		second() // may still take the conversion of a second ago
		bus.command = 0
		for range 3 {
			if v, ok := second().Value(); ok {
				assert.Equal(t, quantity.Celsius(60), v, "after %#x was lost", command)
			}
		}
		require.NoError(t, dev.Err())
	}
}

// Two chips share a line and do not answer for each other.
func TestTwoChipsOnOneLine(t *testing.T) {
	room, spare := &sensortest.Scene{Hot: 12}, &sensortest.Scene{Hot: 64}
	a, b := chips.NewDS18B20(room.World(), 1), chips.NewDS18B20(spare.World(), 2)
	bus := chips.OneWire{a, b}
	found, err := bus.Search(false)
	require.NoError(t, err)
	require.Len(t, found, 2)
	devA, err := ds18b20.New(bus, found[0], &ds18b20.DefaultOpts)
	require.NoError(t, err)
	devB, err := ds18b20.New(bus, found[1], &ds18b20.DefaultOpts)
	require.NoError(t, err)
	for range 3 {
		room.Elapsed += time.Second
		spare.Elapsed = room.Elapsed
		devA.Read(room.Elapsed)
		devB.Read(room.Elapsed)
	}
	b.Break(chips.OpenWire)
	room.Elapsed += time.Second
	v, ok := devA.Read(room.Elapsed).Value()
	require.True(t, ok)
	assert.Equal(t, quantity.Celsius(12), v)
	assert.Equal(t, sensors.BusError, devB.Read(room.Elapsed).Status())
	assert.Equal(t, ds18b20.ErrAbsent, devB.Err())
}

// address is a made-up one with its checksum.
const address onewire.Address = 0x6700000000002A28

func rom(command ...byte) []byte {
	w := []byte{0x55}
	for i := range 8 {
		w = append(w, byte(address>>(8*i)))
	}
	return append(w, command...)
}

func pad(b ...byte) []byte { return append(b, onewire.CalcCRC(b)) }

// recorded is the whole exchange: mark and resolution, read back, a conversion, its
// result of 25.0625 °C (datasheet, table 1), the next conversion.
var recorded = []onewiretest.IO{
	{W: rom(0x4E, 0xA6, 0x59, 0x7F)},
	{W: rom(0xBE), R: pad(0x50, 0x05, 0xA6, 0x59, 0x7F, 0xFF, 0x0C, 0x10)},
	{W: rom(0x44)},
	{W: rom(0xBE), R: pad(0x91, 0x01, 0xA6, 0x59, 0x7F, 0xFF, 0x0F, 0x10)},
	{W: rom(0x44)},
}

func TestTraffic(t *testing.T) {
	bus := &onewiretest.Playback{Ops: recorded, DontPanic: true}
	dev, err := ds18b20.New(bus, address, &ds18b20.DefaultOpts)
	require.NoError(t, err)
	assert.Equal(t, sensors.Unread, dev.Read(0).Status())
	assert.Equal(t, sensors.Unread, dev.Read(700*time.Millisecond).Status())
	v, ok := dev.Read(time.Second).Value()
	require.True(t, ok, "%v", dev.Err())
	assert.Equal(t, quantity.Celsius(25.0625), v)
	require.NoError(t, bus.Close())
}

func TestNewRefuses(t *testing.T) {
	for _, row := range []struct {
		addr onewire.Address
		bits int
		want string
	}{
		{address, 8, "outside 9..12"},
		{address, 13, "outside 9..12"},
		{address - 0x18, 12, "is of family 0x10"},
		{address + 1<<56, 12, "checksum"},
	} {
		_, err := ds18b20.New(nil, row.addr, &ds18b20.Opts{Bits: row.bits})
		assert.ErrorContains(t, err, row.want)
	}
}
