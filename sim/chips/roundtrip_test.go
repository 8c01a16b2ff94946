package chips_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/spi"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/ads1115"
	"fumarium/sensors/ds18b20"
	"fumarium/sensors/max31855"
	"fumarium/sensors/max31856"
	"fumarium/sensors/max6675"
	"fumarium/sensors/mcp9600"
	"fumarium/sensors/thermistor"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

var (
	_ i2c.Bus     = chips.I2C(nil)
	_ onewire.Bus = chips.OneWire(nil)
	_ spi.Port    = (*chips.MAX31855)(nil).Port()
	_ chips.Chip  = (*chips.MAX31855)(nil)
	_ chips.Chip  = (*chips.MAX31856)(nil)
	_ chips.Chip  = (*chips.MAX6675)(nil)
	_ chips.Chip  = (*chips.MCP9600)(nil)
	_ chips.Chip  = (*chips.ADS1115)(nil)
	_ chips.Chip  = (*chips.DS18B20)(nil)
)

var types = []thermocouple.Type{thermocouple.K, thermocouple.J, thermocouple.T, thermocouple.N, thermocouple.E}

// scene is a world that the test moves.
type scene struct {
	hot, cold quantity.Celsius
	now       time.Duration
}

func (s *scene) world() chips.World {
	return chips.World{
		Hot: func() quantity.Celsius { return s.hot }, Cold: func() quantity.Celsius { return s.cold },
		Now: func() time.Duration { return s.now },
	}
}

// follow reads the driver at every temperature from -20 to 150 °C, two seconds
// apart, three reads each so that pipelines are through, and holds it to the bound.
func follow(t *testing.T, s *scene, p sensors.Probe, lowest quantity.Celsius, bound func(hot quantity.Celsius) float64) {
	t.Helper()
	worst := 0.0
	s.hot = 60
	for range 3 {
		s.now += 2 * time.Second
		p.Read(s.now)
	}
	for s.hot = lowest; s.hot <= 150; s.hot += 0.37 {
		var r sensors.Reading
		for range 3 {
			s.now += 2 * time.Second
			r = p.Read(s.now)
		}
		v, ok := r.Value()
		require.True(t, ok, "%v: %v", s.hot, p.Err())
		off := math.Abs(float64(v - s.hot))
		require.LessOrEqual(t, off, bound(s.hot), "at %v", float64(s.hot))
		worst = max(worst, off)
	}
	t.Logf("%v: within %.3f K", p, worst)
}

func flat(kelvin float64) func(quantity.Celsius) float64 {
	return func(quantity.Celsius) float64 { return kelvin + 1e-9 }
}

func TestRoundTripMAX31855(t *testing.T) {
	for _, typ := range types {
		for _, cold := range []quantity.Celsius{10, 25.03, 48} {
			t.Run(fmt.Sprint(typ, float64(cold)), func(t *testing.T) {
				s := &scene{cold: cold}
				dev, err := max31855.New(chips.NewMAX31855(s.world(), typ).Port(), &max31855.Opts{Type: typ})
				require.NoError(t, err)
				follow(t, s, dev, -20, func(hot quantity.Celsius) float64 {
					// Half a step of 0.25 K at the line's slope, and half one of 0.0625 K
					// at the difference between line and true slope on the board.
					line := float64(max31855.Line(typ))
					atHot, _ := typ.Seebeck(hot)
					atCold, _ := typ.Seebeck(cold)
					return (0.125*line+0.03125*math.Abs(line-float64(atCold)))/float64(atHot)*1.001 + 1e-3
				})
			})
		}
	}
}

func TestRoundTripMAX6675(t *testing.T) {
	s := &scene{cold: 25}
	dev, err := max6675.New(chips.NewMAX6675(s.world()).Port(), &max6675.DefaultOpts)
	require.NoError(t, err)
	follow(t, s, dev, 2, func(hot quantity.Celsius) float64 {
		slope, _ := thermocouple.K.Seebeck(hot)
		return 0.125*41/float64(slope)*1.001 + 1e-3
	})
	// Below 0 °C the chip has no number and neither has the driver.
	for s.hot = -20; s.hot < -1; s.hot += 0.37 {
		s.now += time.Second
		assert.NotEqual(t, sensors.Good, dev.Read(s.now).Status(), "%v", float64(s.hot))
	}
}

func TestRoundTripMAX31856(t *testing.T) {
	for _, typ := range types {
		for _, mains := range []int{50, 60} {
			t.Run(fmt.Sprint(typ, mains), func(t *testing.T) {
				s := &scene{cold: 31.4}
				dev, err := max31856.New(chips.NewMAX31856(s.world(), typ).Port(), &max31856.Opts{Type: typ, Samples: 8, Mains: mains})
				require.NoError(t, err)
				follow(t, s, dev, -20, flat(1.0/256))
			})
		}
	}
}

// A chip set to one type with a wire of another shows what physics says, which
// nothing in its answer betrays.
func TestWrongWire(t *testing.T) {
	s := &scene{hot: 75, cold: 25}
	dev, err := max31856.New(chips.NewMAX31856(s.world(), thermocouple.T).Port(), &max31856.DefaultOpts)
	require.NoError(t, err)
	var r sensors.Reading
	for range 3 {
		s.now += time.Second
		r = dev.Read(s.now)
	}
	v, ok := r.Value()
	require.True(t, ok)
	// By hand from NIST SRD 60: (3.132 - 0.992) + 1.000 = 3.140 mV, which type K
	// gives between 75 °C (3.059) and 80 °C (3.267).
	assert.InDelta(t, 75+5*(3.140-3.059)/(3.267-3.059), float64(v), 0.05)
}

func TestRoundTripMCP9600(t *testing.T) {
	for _, typ := range types {
		t.Run(typ.String(), func(t *testing.T) {
			s := &scene{cold: 22.2}
			dev, err := mcp9600.New(chips.I2C{chips.NewMCP9601(s.world(), 0x67, typ)}, &mcp9600.Opts{Address: 0x67, Type: typ})
			require.NoError(t, err)
			follow(t, s, dev, -20, flat(1.0/32))
		})
	}
}

func TestRoundTripDS18B20(t *testing.T) {
	for bits := 9; bits <= 12; bits++ {
		t.Run(fmt.Sprint(bits), func(t *testing.T) {
			s := &scene{}
			chip := chips.NewDS18B20(s.world(), 77)
			dev, err := ds18b20.New(chips.OneWire{chip}, chip.Address(), &ds18b20.Opts{Bits: bits})
			require.NoError(t, err)
			s.now = time.Second
			dev.Read(s.now)
			// Half a step of 1/16 K; with fewer bits the chip drops the rest of a step.
			bound := 1.0/32 + float64(int(1)<<(12-bits)-1)/16
			s.hot = 60
			for s.hot = -20; s.hot <= 125; s.hot += 0.37 {
				var r sensors.Reading
				for range 3 {
					s.now += time.Second
					r = dev.Read(s.now)
				}
				v, ok := r.Value()
				require.True(t, ok, "%v: %v", s.hot, dev.Err())
				require.LessOrEqual(t, math.Abs(float64(v-s.hot)), bound+1e-9)
			}
		})
	}
}

func TestRoundTripADS1115(t *testing.T) {
	curve, err := thermistor.Fit(thermistor.Point{Temperature: 0, Ohms: 32580.7},
		thermistor.Point{Temperature: 25, Ohms: 10000}, thermistor.Point{Temperature: 100, Ohms: 673})
	require.NoError(t, err)
	for _, onTop := range []bool{false, true} {
		for _, supply := range []float64{3.05, 3.3, 3.6} {
			t.Run(fmt.Sprint(onTop, supply), func(t *testing.T) {
				s := &scene{}
				divider := thermistor.Divider{Ohms: 10000, OnTop: onTop}
				volts := func() float64 { return supply }
				probe := &chips.Thermistor{Temperature: s.world().Hot, Supply: volts, Curve: curve, Divider: divider}
				dev, err := ads1115.New(chips.I2C{chips.NewADS1115(0x48, [4]func() float64{1: probe.Volts, 3: volts})}, &ads1115.DefaultOpts)
				require.NoError(t, err)
				p, err := dev.Thermistor(&ads1115.ProbeOpts{Input: 1, Curve: curve, Divider: divider, Lowest: -40, Highest: 160})
				require.NoError(t, err)
				follow(t, s, p, -20, func(hot quantity.Celsius) float64 {
					// Half a step of 125 µV in either conversion, through the divider's slope.
					share := divider.Share(curve.Resistance(hot))
					slope := math.Abs(divider.Share(curve.Resistance(hot+0.01))-share) / 0.01
					return 0.5*125e-6/supply*(1+share)/slope*1.01 + 1e-6
				})
			})
		}
	}
}

// A broken wire that the MAX31856 has not looked for yet shows the board's
// temperature; it is named within the driver's stated time and not at once.
func TestOpenWireTakesItsTime(t *testing.T) {
	s := &scene{hot: 72, cold: 25}
	chip := chips.NewMAX31856(s.world(), thermocouple.K)
	dev, err := max31856.New(chip.Port(), &max31856.DefaultOpts)
	require.NoError(t, err)
	for range 4 {
		s.now += time.Second
		dev.Read(s.now)
	}
	require.NoError(t, dev.Err())
	chip.Break(chips.OpenWire)
	broken := s.now
	for dev.Err() == nil {
		s.now += 200 * time.Millisecond
		dev.Read(s.now)
	}
	assert.ErrorIs(t, dev.Err(), max31856.ErrOpen)
	assert.LessOrEqual(t, s.now-broken, dev.Detect()+200*time.Millisecond)
	assert.Greater(t, s.now-broken, 200*time.Millisecond)
}

// A MAX6675 read every 100 ms keeps its old value; left alone it converts.
func TestMAX6675StopsWhenDisturbed(t *testing.T) {
	s := &scene{hot: 40, cold: 25}
	c, err := chips.NewMAX6675(s.world()).Port().Connect(0, spi.Mode0, 8)
	require.NoError(t, err)
	read := func() (b [2]byte) {
		require.NoError(t, c.Tx(nil, b[:]))
		return b
	}
	s.now = time.Second
	first := read()
	s.hot = 90
	for range 20 {
		s.now += 100 * time.Millisecond
		assert.Equal(t, first, read())
	}
	s.now += 220 * time.Millisecond
	assert.NotEqual(t, first, read())
}

// Power-up registers, by the datasheet's memory map.
func TestMAX31856PowerUp(t *testing.T) {
	s := &scene{hot: 40, cold: 25}
	c, err := chips.NewMAX31856(s.world(), thermocouple.K).Port().Connect(0, spi.Mode3, 8)
	require.NoError(t, err)
	var w, r [19]byte
	require.NoError(t, c.Tx(w[:], r[:]))
	assert.Equal(t, []byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF}, r[1:], "invalid addresses read ones")
	s.now = time.Hour
	require.NoError(t, c.Tx(w[:], r[:]))
	assert.Zero(t, r[13], "it does not convert until told to")
	require.Error(t, c.TxPackets(nil))
	require.Error(t, c.Tx(w[:2], r[:3]))
}

func TestBusesWithNobodyThere(t *testing.T) {
	assert.ErrorContains(t, chips.I2C{}.Tx(0x60, nil, nil), "nothing answers")
	err := chips.OneWire{}.Tx([]byte{0xCC, 0x44}, nil, onewire.WeakPullup)
	var nobody onewire.NoDevicesError
	require.ErrorAs(t, err, &nobody)
	assert.True(t, nobody.NoDevices())
}

func ExampleNewMAX31855() {
	hot := quantity.Celsius(72)
	now := time.Duration(0)
	chip := chips.NewMAX31855(chips.World{
		Hot:  func() quantity.Celsius { return hot },
		Cold: func() quantity.Celsius { return 25 },
		Now:  func() time.Duration { return now },
	}, thermocouple.J)
	dev, err := max31855.New(chip.Port(), &max31855.Opts{Type: thermocouple.J})
	if err != nil {
		fmt.Println(err)
		return
	}
	now = time.Second
	fmt.Println(dev.Read(now).Value())
	chip.Break(chips.ToGround)
	now = 2 * time.Second
	fmt.Println(dev.Read(now).Status())
	// Output:
	// 72 °C true
	// shorted to ground
}
