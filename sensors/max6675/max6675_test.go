package max6675_test

import (
	"errors"
	"math"
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
	"fumarium/sensors/max6675"
	"fumarium/sensors/sensortest"
	"fumarium/sim/chips"
)

var driver = sensortest.Driver{
	Open: func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
		chip := chips.NewMAX6675(s.World())
		dev, err := max6675.New(chip.Port(), &max6675.DefaultOpts)
		require.NoError(t, err)
		return dev, chip
	},
	Interval:  max6675.Interval,
	Settle:    2 * max6675.Interval,
	Tolerance: 0.2,
	Wire:      map[chips.Fault]sensors.Status{chips.OpenWire: sensors.Open, chips.ToSupply: sensors.OutOfRange},
}

func TestContract(t *testing.T) { sensortest.Run(t, driver) }

func BenchmarkRead(b *testing.B) { sensortest.Benchmark(b, driver) }

// The chip shows one value for ever when it is asked too often; the driver never
// asks so often, and its reading follows the probe.
func TestPolledFastItStillFollows(t *testing.T) {
	scene := &sensortest.Scene{Hot: 20, Cold: 25}
	probe, _ := driver.Open(t, scene)
	var last quantity.Celsius
	for range 200 {
		scene.Elapsed += 50 * time.Millisecond
		scene.Hot += 0.2
		if v, ok := probe.Read(scene.Elapsed).Value(); ok {
			last = v
		}
	}
	assert.InDelta(t, float64(scene.Hot), float64(last), 1.5, "at 4 K/s, 5 samples at the most behind")
}

// The stated cost of a board that is not as warm as the options say.
func TestBoardTemperatureMatters(t *testing.T) {
	worst := 0.0
	for hot := quantity.Celsius(4); hot <= 110; hot++ {
		for _, board := range []quantity.Celsius{5, 15, 35, 45} {
			scene := &sensortest.Scene{Hot: hot, Cold: board, Elapsed: time.Second}
			chip := chips.NewMAX6675(scene.World())
			dev, err := max6675.New(chip.Port(), &max6675.DefaultOpts)
			require.NoError(t, err)
			scene.Elapsed += time.Second
			v, ok := dev.Read(scene.Elapsed).Value()
			require.True(t, ok, "%v", hot)
			worst = max(worst, float64(v-hot), float64(hot-v))
		}
	}
	assert.Less(t, worst, 0.6)
	assert.Greater(t, worst, 0.3, "the doc comment overstates")
}

func TestTraffic(t *testing.T) {
	bus := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{{R: []byte{0x0C, 0x80}}}, DontPanic: true}}
	dev, err := max6675.New(bus, &max6675.DefaultOpts)
	require.NoError(t, err)
	v, ok := dev.Read(0).Value()
	require.True(t, ok)
	// By hand: 41 µV/K over 75 K is 3.075 mV, plus 1.000 mV of the board at 25 °C,
	// is 4.075 mV, some 0.5 K short of the 4.096 mV of 100 °C (NIST SRD 60).
	assert.InDelta(t, 99.5, float64(v), 0.05)
	require.NoError(t, bus.Close())
}

type noPort struct{ spi.Port }

var errPort = errors.New("no such port")

func (noPort) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	if f != 4*physic.MegaHertz || mode != spi.Mode0 || bits != 8 {
		return nil, errors.New("wrong parameters")
	}
	return nil, errPort
}

func TestNewRefuses(t *testing.T) {
	for _, board := range []quantity.Celsius{-20.5, 85.5, quantity.Celsius(math.NaN())} {
		_, err := max6675.New(noPort{}, &max6675.Opts{Board: board})
		assert.ErrorContains(t, err, "-20..85 °C")
	}
	_, err := max6675.New(noPort{}, &max6675.DefaultOpts)
	assert.ErrorIs(t, err, errPort)
}
