package roomair_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/bmxx80"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/roomair"
	"fumarium/sensors/sensortest"
	"fumarium/sim/chips"
)

func driver(kind roomair.Kind) sensortest.Driver {
	d := sensortest.Driver{
		Open: func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
			var chip chips.I2CChip
			address := uint16(0x76)
			switch kind {
			case roomair.BME280:
				chip = chips.NewBME280(s.World(), address)
			case roomair.BMP280:
				chip = chips.NewBMP280(s.World(), address)
			default:
				address = 0x18
				chip = chips.NewMCP9808(s.World(), address)
			}
			dev, err := roomair.New(chips.I2C{chip}, kind, address)
			require.NoError(t, err)
			return dev, chip
		},
		Interval: roomair.Interval, Settle: roomair.Settle, Tolerance: 0.06,
		Allocates: 8, Highest: 85,
	}
	if kind == roomair.MCP9808 {
		d.Highest = 125
	} else {
		d.Lag = 8 * time.Second // its filter
	}
	return d
}

func TestContract(t *testing.T) {
	for name, kind := range map[string]roomair.Kind{"BME280": roomair.BME280, "BMP280": roomair.BMP280, "MCP9808": roomair.MCP9808} {
		t.Run(name, func(t *testing.T) { sensortest.Run(t, driver(kind)) })
	}
}

func BenchmarkRead(b *testing.B) {
	b.Run("BME280", func(b *testing.B) { sensortest.Benchmark(b, driver(roomair.BME280)) })
	b.Run("MCP9808", func(b *testing.B) { sensortest.Benchmark(b, driver(roomair.MCP9808)) })
}

type room struct {
	sensortest.Scene
	chip *chips.BME280
	dev  *roomair.Dev
}

func (r *room) read() sensors.Reading {
	r.Elapsed += time.Second
	return r.dev.Read(r.Elapsed)
}

func hung(t *testing.T) *room {
	r := &room{}
	r.Hot = 21.5
	r.chip = chips.NewBME280(r.World(), 0x77)
	var err error
	r.dev, err = roomair.New(chips.I2C{r.chip}, roomair.BME280, 0x77)
	require.NoError(t, err)
	return r
}

func TestAirOfTheRoom(t *testing.T) {
	r := hung(t)
	assert.False(t, r.dev.Air().HasPressure)
	r.chip.Pascal, r.chip.Humidity = 97_340, 0.62
	for range 3 {
		r.read()
	}
	require.NoError(t, r.dev.Err())
	air := r.dev.Air()
	assert.True(t, air.HasPressure && air.HasHumidity)
	assert.InDelta(t, 97_340, air.Pressure, 3)
	assert.InDelta(t, 0.62, air.Humidity, 0.001)
	r.chip.Break(chips.BusError)
	r.read()
	assert.Equal(t, roomair.Air{}, r.dev.Air(), "old air is no air")
}

// What the driver passes on as numbers where the chip has none: what it says for a chip
// whose supply has dipped, and what is said here.
func TestWhatTheDriverPassesOn(t *testing.T) {
	r := hung(t)
	bare := chips.NewBME280(r.World(), 0x77)
	d, err := bmxx80.NewI2C(chips.I2C{bare}, 0x77, &bmxx80.Opts{Temperature: bmxx80.O2x, Pressure: bmxx80.O16x, Humidity: bmxx80.O1x, Filter: bmxx80.F2, Standby: 500 * time.Millisecond})
	require.NoError(t, err)
	var e physic.Env
	require.NoError(t, d.Sense(&e), "before the first conversion")
	t.Logf("before its first conversion the driver says %v, %v, %v", e.Temperature, e.Pressure, e.Humidity)
	r.Elapsed += time.Second
	require.NoError(t, d.Sense(&e))
	bare.PowerCycle()
	require.NoError(t, d.Sense(&e), "a chip that sleeps since its supply dipped")
	t.Logf("after a dip of its supply it says %v, %v, %v, for ever", e.Temperature, e.Pressure, e.Humidity)

	assert.Equal(t, sensors.Unread, r.read().Status())
	assert.Equal(t, sensors.Good, r.read().Status())
	r.chip.PowerCycle()
	assert.Equal(t, sensors.BusError, r.read().Status())
	assert.Equal(t, roomair.ErrLost, r.dev.Err())
}

// A chip that converts no more is told by its bits: those of a real one never stand still.
func TestAFrozenChipIsStale(t *testing.T) {
	r := hung(t)
	for range 60 {
		r.read()
	}
	require.NoError(t, r.dev.Err())
	r.chip.Break(chips.Frozen)
	good := 0
	for range 30 {
		if s := r.read().Status(); s == sensors.Good {
			good++
		} else {
			assert.Equal(t, sensors.Stale, s)
		}
	}
	assert.LessOrEqual(t, good, 11)
	r.chip.Break(chips.Sound)
	r.read()
	assert.NoError(t, r.dev.Err())
}

// The maker's worked example, as recalled from memory, through the twin's trim and the
// driver's integers: raw values of 519888 and 415148 are 25.08 °C and 100653 Pa.
func TestTheMakersExample(t *testing.T) {
	r := hung(t)
	r.Hot, r.chip.Pascal = quantity.Celsius(25.08), 100_653
	for range 20 {
		r.read()
	}
	v, ok := r.dev.Read(r.Elapsed + time.Second).Value()
	require.True(t, ok)
	assert.InDelta(t, 25.08, float64(v), 0.01)
	assert.InDelta(t, 100_653, r.dev.Air().Pressure, 3)
	raw := make([]byte, 6)
	require.NoError(t, chips.I2C{r.chip}.Tx(0x77, []byte{0xF7}, raw))
	assert.InDelta(t, 415_148, int(raw[0])<<12|int(raw[1])<<4|int(raw[2])>>4, 20)
	assert.InDelta(t, 519_888, int(raw[3])<<12|int(raw[4])<<4|int(raw[5])>>4, 16, "the driver rounds to 0.01 °C")
}

func TestNewRefuses(t *testing.T) {
	for address, kind := range map[uint16]roomair.Kind{0x75: roomair.BME280, 0x78: roomair.BMP280, 0x17: roomair.MCP9808, 0x20: roomair.MCP9808, 0x76: 0} {
		_, err := roomair.New(chips.I2C{}, kind, address)
		assert.Error(t, err)
	}
	// Another chip than the file names is no reading.
	s := &sensortest.Scene{Hot: 20}
	dev, err := roomair.New(chips.I2C{chips.NewBMP280(s.World(), 0x76)}, roomair.BME280, 0x76)
	require.NoError(t, err)
	assert.Equal(t, sensors.BusError, dev.Read(0).Status())
	assert.Equal(t, roomair.ErrID, dev.Err())
}
