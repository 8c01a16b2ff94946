package max31856_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/max31856"
	"fumarium/sensors/sensortest"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

func open(t testing.TB, s *sensortest.Scene, o max31856.Opts) (*max31856.Dev, *chips.MAX31856) {
	chip := chips.NewMAX31856(s.World(), o.Type)
	dev, err := max31856.New(chip.Port(), &o)
	require.NoError(t, err)
	return dev, chip
}

func driver(o max31856.Opts) sensortest.Driver {
	dev, _ := max31856.New(&spitest.Playback{}, &o)
	return sensortest.Driver{
		Open: func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
			return open(t, s, o)
		},
		Interval:  dev.Interval(),
		Settle:    dev.Settle(),
		Detect:    dev.Detect(),
		Tolerance: 0.01,
		Wire:      map[chips.Fault]sensors.Status{chips.OpenWire: sensors.Open, chips.BeyondSupply: sensors.OutOfRange},
	}
}

func TestContract(t *testing.T) {
	sensortest.Run(t, driver(max31856.DefaultOpts))
	t.Run("T, 16 samples, 60 Hz", func(t *testing.T) {
		sensortest.Run(t, driver(max31856.Opts{Type: thermocouple.T, Samples: 16, Mains: 60, Leads: max31856.SlowFilter}))
	})
}

func BenchmarkRead(b *testing.B) { sensortest.Benchmark(b, driver(max31856.DefaultOpts)) }

// After a power dip the chip stands still, set to type K, and shows 0 °C: the
// read that finds it so is a fault, and counted.
func TestLostSettingsAreFoundAndRestored(t *testing.T) {
	scene := &sensortest.Scene{Hot: 72, Cold: 25}
	o := max31856.DefaultOpts
	o.Type = thermocouple.T
	dev, chip := open(t, scene, o)
	for range 3 {
		scene.Elapsed += time.Second
		dev.Read(scene.Elapsed)
	}
	require.NoError(t, dev.Err())
	chip.PowerCycle()
	scene.Elapsed += time.Second
	assert.Equal(t, sensors.BusError, dev.Read(scene.Elapsed).Status())
	assert.Equal(t, max31856.ErrLost, dev.Err())
	scene.Elapsed += 10 * time.Millisecond
	assert.Equal(t, sensors.Unread, dev.Read(scene.Elapsed).Status(), "nothing is known of it as after the start")
	assert.Equal(t, sensors.ErrStarting, dev.Err())
	scene.Elapsed += time.Second
	v, ok := dev.Read(scene.Elapsed).Value()
	require.True(t, ok, "%v", dev.Err())
	assert.InDelta(t, 72, float64(v), 0.01)
}

// A voltage outside the supply stops the chip: neither the value from before nor
// the first one after is passed on.
func TestHeldValueIsNotPassedOn(t *testing.T) {
	scene := &sensortest.Scene{Hot: 40, Cold: 25}
	dev, chip := open(t, scene, max31856.DefaultOpts)
	second := func() sensors.Reading {
		scene.Elapsed += time.Second
		return dev.Read(scene.Elapsed)
	}
	second()
	require.Equal(t, sensors.Good, second().Status())
	chip.Break(chips.BeyondSupply)
	assert.Equal(t, sensors.OutOfRange, second().Status())
	assert.Equal(t, max31856.ErrVoltage, dev.Err())
	scene.Hot = 80
	chip.Break(chips.Sound)
	assert.Equal(t, sensors.Stale, second().Status())
	assert.Equal(t, max31856.ErrHeld, dev.Err())
	dev.Read(scene.Elapsed + dev.Settle() - 1)
	assert.Equal(t, sensors.ErrTooSoon, dev.Err(), "the first conversion after a stop takes as long as the very first")
	v, ok := second().Value()
	require.True(t, ok)
	assert.InDelta(t, 80, float64(v), 0.01)
}

// The longest conversion times of the datasheet for 4 samples at 50 Hz, 185 + 3·40
// and 110 + 3·20 ms, with the open-circuit test of 13.3 ms and a tenth.
func TestTimes(t *testing.T) {
	dev, err := max31856.New(&spitest.Playback{}, &max31856.DefaultOpts)
	require.NoError(t, err)
	assert.Equal(t, 305*time.Millisecond+14630*time.Microsecond, dev.Settle())
	assert.Equal(t, 170*time.Millisecond+14630*time.Microsecond, dev.Interval())
	assert.InDelta(t, 2.75, dev.Detect().Seconds(), 0.02)
	dev, err = max31856.New(&spitest.Playback{}, &max31856.Opts{Type: thermocouple.K, Samples: 1, Mains: 60})
	require.NoError(t, err)
	assert.Equal(t, 155*time.Millisecond+14630*time.Microsecond, dev.Settle())
	assert.Equal(t, 90*time.Millisecond+14630*time.Microsecond, dev.Interval())
	dev, err = max31856.New(&spitest.Playback{}, &max31856.Opts{Type: thermocouple.K, Samples: 4, Mains: 60, Leads: max31856.HighResistance})
	require.NoError(t, err)
	assert.Equal(t, 155*time.Millisecond+3*33330*time.Microsecond+36740*time.Microsecond, dev.Settle())
	assert.Equal(t, 90*time.Millisecond+3*16670*time.Microsecond+36740*time.Microsecond, dev.Interval())
	dev, err = max31856.New(&spitest.Playback{}, &max31856.Opts{Type: thermocouple.K, Samples: 16, Mains: 50, Leads: max31856.SlowFilter})
	require.NoError(t, err)
	assert.Equal(t, 185*time.Millisecond+15*40*time.Millisecond+124740*time.Microsecond, dev.Settle())
	// Typically 398 ms a value, sixteen of which may pass before the test comes round.
	assert.InDelta(t, 6.4, dev.Detect().Seconds(), 0.5)
	assert.GreaterOrEqual(t, dev.Detect().Seconds(), 16*0.398)
}

// settings and answers as the datasheet's memory map has them: type K, 4 samples,
// 50 Hz, test for leads below 5 kΩ, automatic.
var (
	none     = make([]byte, 17)
	settings = []byte{0x91, 0x23, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00}
	setUp    = []conntest.IO{
		{W: []byte{0x80, 0x11}, R: none[:2]}, // not yet automatic, or the filter would not change
		{W: append([]byte{0x81}, settings[1:]...), R: none[:10]},
		{W: []byte{0x80, 0x91}, R: none[:2]},
	}
)

func answer(measured ...byte) conntest.IO {
	r := append(append([]byte{0}, settings...), measured...)
	return conntest.IO{W: none, R: r}
}

// The whole exchange: settings, read back, one sample of 72.5 °C with the board
// at 25 °C, one of an open wire.
func TestTraffic(t *testing.T) {
	bus := &spitest.Playback{Playback: conntest.Playback{DontPanic: true}}
	bus.Ops = append(bus.Ops, setUp...)
	bus.Ops = append(bus.Ops, answer(0, 0, 0, 0, 0, 0), answer(0x19, 0x00, 0x04, 0x88, 0x00, 0x00), answer(0x19, 0x00, 0x04, 0x88, 0x00, 0x01))
	dev, err := max31856.New(bus, &max31856.DefaultOpts)
	require.NoError(t, err)
	assert.Equal(t, sensors.Unread, dev.Read(0).Status())
	assert.Equal(t, sensors.Unread, dev.Read(300*time.Millisecond).Status())
	v, ok := dev.Read(time.Second).Value()
	require.True(t, ok, "%v", dev.Err())
	assert.Equal(t, quantity.Celsius(72.5), v)
	board, ok := dev.ColdJunction().Value()
	require.True(t, ok)
	assert.Equal(t, quantity.Celsius(25), board)
	assert.Equal(t, sensors.Open, dev.Read(2*time.Second).Status())
	require.NoError(t, bus.Close())
}

// A chip that answers and cannot be written to, its data input cut.
func TestDeafChip(t *testing.T) {
	bus := &spitest.Playback{Playback: conntest.Playback{DontPanic: true}}
	bus.Ops = append(bus.Ops, setUp...)
	powerUp := []byte{0, 0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0, 0, 0, 0, 0, 0}
	bus.Ops = append(bus.Ops, conntest.IO{W: none, R: powerUp})
	dev, err := max31856.New(bus, &max31856.DefaultOpts)
	require.NoError(t, err)
	assert.Equal(t, sensors.BusError, dev.Read(0).Status())
	assert.Equal(t, max31856.ErrRefused, dev.Err())
	require.NoError(t, bus.Close())
}

type noPort struct{ spi.Port }

var errPort = errors.New("no such port")

func (noPort) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	if f != 5*physic.MegaHertz || mode != spi.Mode3 || bits != 8 {
		return nil, errors.New("wrong parameters")
	}
	return nil, errPort
}

func TestNewRefuses(t *testing.T) {
	for want, o := range map[string]max31856.Opts{
		"use K, J, T, N or E":  {Samples: 4, Mains: 50},
		"use 1, 2, 4, 8 or 16": {Type: thermocouple.K, Samples: 3, Mains: 50},
		"use 50 or 60":         {Type: thermocouple.K, Samples: 4},
		"lead test":            {Type: thermocouple.K, Samples: 4, Mains: 50, Leads: 3},
	} {
		_, err := max31856.New(noPort{}, &o)
		assert.ErrorContains(t, err, want)
	}
	_, err := max31856.New(noPort{}, &max31856.DefaultOpts)
	assert.ErrorIs(t, err, errPort)
}
