package ads1115_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/ads1115"
	"fumarium/sensors/sensortest"
	"fumarium/sensors/thermistor"
	"fumarium/sim/chips"
)

// breakable hands a wire's fault to the thermistor and the others to the chip.
type breakable struct {
	*chips.ADS1115
	probe *chips.Thermistor
}

func (b breakable) Break(f chips.Fault) {
	b.probe.Fault = chips.Sound
	switch f {
	case chips.OpenWire, chips.ToGround, chips.ToSupply:
		b.probe.Fault = f
		f = chips.Sound
	}
	b.ADS1115.Break(f)
}

func driver(supply float64, o ads1115.ProbeOpts) sensortest.Driver {
	d := sensortest.Driver{
		Open: func(t testing.TB, s *sensortest.Scene) (sensors.Probe, sensortest.Breakable) {
			volts := func() float64 { return supply }
			probe := &chips.Thermistor{Temperature: s.World().Hot, Supply: volts, Curve: o.Curve, Divider: o.Divider}
			chip := chips.NewADS1115(0x48, [4]func() float64{0: probe.Volts, 3: volts})
			opts := ads1115.DefaultOpts
			opts.SupplyVolts = math.Round(supply*2) / 2 // nominal
			if supply < 4 {
				opts.SupplyVolts = 3.3
			}
			dev, err := ads1115.New(chips.I2C{chip}, &opts)
			require.NoError(t, err)
			p, err := dev.Thermistor(&o)
			require.NoError(t, err)
			return p, breakable{chip, probe}
		},
		Tolerance: 0.1,
		Wire: map[chips.Fault]sensors.Status{
			chips.OpenWire: sensors.Open, chips.ToGround: sensors.ShortToGround, chips.ToSupply: sensors.Open,
		},
		SeesFreeze: true,
	}
	if o.Divider.OnTop {
		d.Wire[chips.ToGround], d.Wire[chips.ToSupply] = sensors.Open, sensors.ShortToSupply
	}
	return d
}

func TestContract(t *testing.T) {
	o := ads1115.DefaultProbeOpts
	t.Run("3.3 V", func(t *testing.T) { sensortest.Run(t, driver(3.3, o)) })
	t.Run("supply drifted", func(t *testing.T) { sensortest.Run(t, driver(3.2, o)) })
	o.Divider.OnTop = true
	t.Run("5 V, thermistor on top", func(t *testing.T) { sensortest.Run(t, driver(4.9, o)) })
}

func BenchmarkRead(b *testing.B) { sensortest.Benchmark(b, driver(3.3, ads1115.DefaultProbeOpts)) }

// Three probes share a chip, and each reads its own thermistor.
func TestThreeProbesOfOneChip(t *testing.T) {
	inputs := [4]func() float64{3: func() float64 { return 3.3 }}
	for i, at := range []quantity.Celsius{4, 71, 100} {
		inputs[i] = (&chips.Thermistor{Temperature: func() quantity.Celsius { return at }, Supply: inputs[3],
			Curve: ads1115.DefaultProbeOpts.Curve, Divider: thermistor.Divider{Ohms: 10000}}).Volts
	}
	dev, err := ads1115.New(chips.I2C{chips.NewADS1115(0x48, inputs)}, &ads1115.DefaultOpts)
	require.NoError(t, err)
	for i, want := range []float64{4, 71, 100} {
		o := ads1115.DefaultProbeOpts
		o.Input = i
		p, err := dev.Thermistor(&o)
		require.NoError(t, err)
		v, ok := p.Read(0).Value()
		require.True(t, ok, "%v", p.Err())
		assert.InDelta(t, want, float64(v), 0.05)
	}
}

func op(w []byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x48, W: w, R: r} }

// recorded is one read: the supply of 3.3 V is 26400 steps of 125 µV, the middle of
// the divider half of it (Ohm's law; 10 kΩ is 25 °C). The second conversion is asked
// for twice before it is done.
var recorded = []i2ctest.IO{
	op([]byte{1, 0xF3, 0x83}), op([]byte{1}, 0xF3, 0x83), op([]byte{0}, 0x67, 0x20),
	op([]byte{1, 0xC3, 0x83}), op([]byte{1}, 0x43, 0x83), op([]byte{1}, 0xC3, 0x83), op([]byte{0}, 0x33, 0x90),
}

func TestTraffic(t *testing.T) {
	bus := &i2ctest.Playback{Ops: recorded, DontPanic: true}
	dev, err := ads1115.New(bus, &ads1115.DefaultOpts)
	require.NoError(t, err)
	p, err := dev.Thermistor(&ads1115.DefaultProbeOpts)
	require.NoError(t, err)
	v, ok := p.Read(0).Value()
	require.True(t, ok, "%v", p.Err())
	assert.InDelta(t, 25, float64(v), 1e-6)
	require.NoError(t, bus.Close())
}

// A chip that was reset between the command and the question answers with the
// power-up configuration, 0x8583, which says "done".
func TestResetDuringConversion(t *testing.T) {
	bus := &i2ctest.Playback{Ops: []i2ctest.IO{op([]byte{1, 0xF3, 0x83}), op([]byte{1}, 0x85, 0x83)}, DontPanic: true}
	dev, err := ads1115.New(bus, &ads1115.DefaultOpts)
	require.NoError(t, err)
	p, err := dev.Thermistor(&ads1115.DefaultProbeOpts)
	require.NoError(t, err)
	assert.Equal(t, sensors.BusError, p.Read(time.Second).Status())
	assert.Equal(t, ads1115.ErrSettings, p.Err())
	require.NoError(t, bus.Close())
}

// The supply may be on any input, 0 here.
func TestSupplyInput(t *testing.T) {
	bus := &i2ctest.Playback{Ops: []i2ctest.IO{
		op([]byte{1, 0xC3, 0x83}), op([]byte{1}, 0xC3, 0x83), op([]byte{0}, 0x67, 0x20),
		op([]byte{1, 0xE3, 0x83}), op([]byte{1}, 0xE3, 0x83), op([]byte{0}, 0x33, 0x90),
	}, DontPanic: true}
	o := ads1115.DefaultOpts
	o.SupplyInput = 0
	dev, err := ads1115.New(bus, &o)
	require.NoError(t, err)
	po := ads1115.DefaultProbeOpts
	po.Input = 2
	p, err := dev.Thermistor(&po)
	require.NoError(t, err)
	v, ok := p.Read(0).Value()
	require.True(t, ok, "%v", p.Err())
	assert.InDelta(t, 25, float64(v), 1e-6)
	require.NoError(t, bus.Close())
}

// slow answers that it is busy a number of times, then with one code.
type slow struct {
	i2ctest.Record
	busy, asked int
	config      uint16
}

func (s *slow) Tx(_ uint16, w, r []byte) error {
	switch {
	case len(w) == 3:
		s.config, s.asked = uint16(w[1])<<8|uint16(w[2]), 0
	case w[0] == 0:
		r[0], r[1] = 0x67, 0x20
	default:
		c := s.config &^ 0x8000
		if s.asked++; s.asked > s.busy {
			c = s.config
		}
		r[0], r[1] = byte(c>>8), byte(c)
	}
	return nil
}

// At 400 kHz a conversion lasts some 80 questions (7.8 ms and a tenth, 0.11 ms
// each). One that never ends is a fault and does not hold the program.
func TestWaitsAsLongAsAConversionTakes(t *testing.T) {
	for busy, want := range map[int]error{0: ads1115.ErrOpen, 80: ads1115.ErrOpen, 1 << 30: ads1115.ErrBusy} {
		dev, err := ads1115.New(&slow{busy: busy}, &ads1115.DefaultOpts)
		require.NoError(t, err)
		p, err := dev.Thermistor(&ads1115.DefaultProbeOpts)
		require.NoError(t, err)
		p.Read(0)
		assert.Equal(t, want, p.Err(), "busy for %d questions", busy)
	}
}

// A dead line is told apart from a chip with other settings.
func TestDeadLineIsNamed(t *testing.T) {
	for _, answer := range []byte{0, 0xFF} {
		bus := &i2ctest.Playback{Ops: []i2ctest.IO{op([]byte{1, 0xF3, 0x83}), op([]byte{1}, answer, answer)}, DontPanic: true}
		dev, err := ads1115.New(bus, &ads1115.DefaultOpts)
		require.NoError(t, err)
		p, err := dev.Thermistor(&ads1115.DefaultProbeOpts)
		require.NoError(t, err)
		assert.Equal(t, sensors.BusError, p.Read(0).Status())
		assert.ErrorIs(t, p.Err(), ads1115.ErrSettings)
		assert.ErrorContains(t, p.Err(), "every bit is alike")
	}
}

func TestNewRefuses(t *testing.T) {
	for want, o := range map[string]ads1115.Opts{
		"0x47 is outside":  {Address: 0x47, SupplyVolts: 3.3},
		"0x4c is outside":  {Address: 0x4C, SupplyVolts: 3.3},
		"no input 4":       {Address: 0x48, SupplyInput: 4, SupplyVolts: 3.3},
		"outside 1..5.5 V": {Address: 0x48, SupplyVolts: 12},
	} {
		_, err := ads1115.New(nil, &o)
		assert.ErrorContains(t, err, want)
	}
	dev, err := ads1115.New(nil, &ads1115.DefaultOpts)
	require.NoError(t, err)
	for want, change := range map[string]func(o *ads1115.ProbeOpts){
		"no input -1":         func(o *ads1115.ProbeOpts) { o.Input = -1 },
		"measures the supply": func(o *ads1115.ProbeOpts) { o.Input = 3 },
		"fixed resistor":      func(o *ads1115.ProbeOpts) { o.Divider.Ohms = 0 },
		"lower one first":     func(o *ads1115.ProbeOpts) { o.Lowest = 200 },
		"no resistance":       func(o *ads1115.ProbeOpts) { o.Curve = thermistor.Curve{} },
	} {
		o := ads1115.DefaultProbeOpts
		change(&o)
		_, err := dev.Thermistor(&o)
		assert.ErrorContains(t, err, want)
	}
}
