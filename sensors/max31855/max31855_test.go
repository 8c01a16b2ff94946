package max31855_test

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
	"fumarium/sensors/max31855"
	"fumarium/sensors/sensortest"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

func driver(typ thermocouple.Type) sensortest.Driver {
	return sensortest.Driver{
		Open: func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
			chip := chips.NewMAX31855(s.World(), typ)
			dev, err := max31855.New(chip.Port(), &max31855.Opts{Type: typ})
			require.NoError(t, err)
			return dev, chip
		},
		Interval:  max31855.Interval,
		Settle:    300 * time.Millisecond,
		Tolerance: 0.25,
		Wire: map[chips.Fault]sensors.Status{
			chips.OpenWire: sensors.Open, chips.ToGround: sensors.ShortToGround, chips.ToSupply: sensors.ShortToSupply,
		},
	}
}

func TestContract(t *testing.T) {
	for _, typ := range []thermocouple.Type{thermocouple.K, thermocouple.J, thermocouple.T, thermocouple.N, thermocouple.E} {
		t.Run(typ.String(), func(t *testing.T) { sensortest.Run(t, driver(typ)) })
	}
}

func BenchmarkRead(b *testing.B) { sensortest.Benchmark(b, driver(thermocouple.K)) }

func play(t *testing.T, frames ...[]byte) (*max31855.Dev, *spitest.Playback) {
	bus := &spitest.Playback{Playback: conntest.Playback{DontPanic: true}}
	for _, f := range frames {
		bus.Ops = append(bus.Ops, conntest.IO{R: f})
	}
	dev, err := max31855.New(bus, &max31855.DefaultOpts)
	require.NoError(t, err)
	return dev, bus
}

// One read is one transfer of four bytes and nothing else.
func TestTraffic(t *testing.T) {
	dev, bus := play(t, []byte{0x01, 0x90, 0x19, 0x00}, []byte{0x7F, 0xFD, 0x19, 0x01})
	v, ok := dev.Read(0).Value()
	require.True(t, ok)
	assert.InDelta(t, 25, float64(v), 1e-9)
	assert.Equal(t, sensors.Open, dev.Read(time.Second).Status())
	assert.ErrorIs(t, dev.Err(), max31855.ErrOpen)
	cold, ok := dev.ColdJunction().Value()
	assert.True(t, ok, "the board is known although the wire is open")
	assert.Equal(t, quantity.Celsius(25), cold)
	require.NoError(t, bus.Close())
}

// 19-5793, electrical characteristics: at most 100 ms for a conversion.
func TestTimes(t *testing.T) {
	assert.Equal(t, 100*time.Millisecond, max31855.Interval)
}

// A refused connection is reported with its cause.
type noPort struct{ spi.Port }

var errPort = errors.New("no such port")

func (noPort) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	if f != 5*physic.MegaHertz || mode != spi.Mode0 || bits != 8 {
		return nil, errors.New("wrong parameters")
	}
	return nil, errPort
}

func TestNewRefuses(t *testing.T) {
	_, err := max31855.New(noPort{}, &max31855.Opts{})
	assert.ErrorContains(t, err, "use K, J, T, N or E")
	_, err = max31855.New(noPort{}, &max31855.DefaultOpts)
	assert.ErrorIs(t, err, errPort)
}
