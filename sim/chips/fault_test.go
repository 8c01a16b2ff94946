package chips_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/spi"

	"fumarium/profile/quantity"
	"fumarium/sensors/thermistor"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

// transfer gives one answer of a chip, as the bytes on the wire.
type transfer func(t *testing.T) ([]byte, error)

// faulty is one chip and what it must answer with each fault.
type faulty struct {
	chip chips.Chip
	read transfer
	want map[chips.Fault][]byte
}

func overSPI(t *testing.T, port spi.Port, mode spi.Mode, w []byte, n int) transfer {
	c, err := port.Connect(0, mode, 8)
	require.NoError(t, err)
	return func(*testing.T) ([]byte, error) {
		r := make([]byte, n)
		err := c.Tx(w, r)
		return r, err
	}
}

// over I2C the registers follow each other in one answer.
func overI2C(bus chips.I2C, addr uint16, registers ...byte) transfer {
	return func(*testing.T) (all []byte, err error) {
		for _, reg := range registers {
			r := make([]byte, 2)
			if err := bus.Tx(addr, []byte{reg}, r); err != nil {
				return all, err
			}
			all = append(all, r...)
		}
		return all, nil
	}
}

// TestFaultsOnTheWire holds each chip's bytes under each fault to what its datasheet
// says of it: 19-5793 and 19-7534 (memory maps), 19-2235 (serial interface),
// DS20005426G (status register), SBAS444D (configuration register). The probe is at
// 72.5 °C, the board at 25 °C.
func TestFaultsOnTheWire(t *testing.T) {
	s := &scene{hot: 72.5, cold: 25, now: time.Hour}
	build := map[string]func(t *testing.T) faulty{
		// The line through type K: 25 °C + (2.954948-1.000242) mV / 41.276 µV/K is
		// 72.36 °C, and 72.25 °C in quarters.
		"MAX31855": func(t *testing.T) faulty {
			c := chips.NewMAX31855(s.world(), thermocouple.K)
			return faulty{c, overSPI(t, c.Port(), spi.Mode0, nil, 4), map[chips.Fault][]byte{
				chips.Sound:    {0x04, 0x84, 0x19, 0x00},
				chips.OpenWire: {0x7F, 0xFD, 0x19, 0x01},
				chips.ToGround: {0x00, 0x01, 0x19, 0x02},
				chips.ToSupply: {0x7F, 0xFD, 0x19, 0x04},
				chips.AllZeros: {0, 0, 0, 0},
				chips.AllOnes:  {0xFF, 0xFF, 0xFF, 0xFF},
			}}
		},
		// 25 °C + 1.954706 mV / 41 µV/K is 72.68 °C, 72.75 °C in quarters; the lowest
		// bit floats, here high.
		"MAX6675": func(t *testing.T) faulty {
			c := chips.NewMAX6675(s.world())
			return faulty{c, overSPI(t, c.Port(), spi.Mode0, nil, 2), map[chips.Fault][]byte{
				chips.Sound:    {0x09, 0x19},
				chips.OpenWire: {0x00, 0x05},
				chips.ToSupply: {0x7F, 0xF9},
				chips.AllZeros: {0, 0},
				chips.AllOnes:  {0xFF, 0xFF},
			}}
		},
		"MAX31856": func(t *testing.T) faulty {
			c := chips.NewMAX31856(s.world(), thermocouple.K)
			conn, err := c.Port().Connect(0, spi.Mode3, 8)
			require.NoError(t, err)
			require.NoError(t, conn.Tx([]byte{0x80, 0x91}, make([]byte, 2))) // automatic, open-circuit test, 50 Hz
			s.now += time.Minute
			read := overSPI(t, c.Port(), spi.Mode3, append([]byte{0x0A}, make([]byte, 6)...), 7)
			return faulty{c, func(t *testing.T) ([]byte, error) {
				b, err := read(t)
				return b[1:], err
			}, map[chips.Fault][]byte{
				chips.Sound:        {0x19, 0x00, 0x04, 0x88, 0x00, 0x00},
				chips.OpenWire:     {0x19, 0x00, 0x01, 0x90, 0x00, 0x01}, // no voltage shows the board
				chips.BeyondSupply: {0x19, 0x00, 0x04, 0x88, 0x00, 0x02}, // it stands still
				chips.AllZeros:     {0, 0, 0, 0, 0, 0},
				chips.AllOnes:      {0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF},
			}}
		},
		"MCP9601": func(t *testing.T) faulty {
			c := chips.NewMCP9601(s.world(), 0x60, thermocouple.K)
			return faulty{c, overI2C(chips.I2C{c}, 0x60, 0x20, 0x04, 0x00, 0x02), map[chips.Fault][]byte{
				chips.Sound:        {0x41, 0x10, 0x40, 0x00, 0x04, 0x88, 0x01, 0x90},
				chips.OpenWire:     {0x41, 0x10, 0x50, 0x00, 0x04, 0x88, 0x01, 0x90},
				chips.ToGround:     {0x41, 0x10, 0x60, 0x00, 0x04, 0x88, 0x01, 0x90},
				chips.ToSupply:     {0x41, 0x10, 0x60, 0x00, 0x04, 0x88, 0x01, 0x90},
				chips.BeyondSupply: {0x41, 0x10, 0x50, 0x00, 0x04, 0x88, 0x01, 0x90},
				chips.AllZeros:     {0, 0, 0, 0, 0, 0, 0, 0},
				chips.AllOnes:      {0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF},
			}}
		},
		// The lesser sister does not see a broken wire: it shows the board.
		"MCP9600": func(t *testing.T) faulty {
			c := chips.NewMCP9600(s.world(), 0x67, thermocouple.K)
			return faulty{c, overI2C(chips.I2C{c}, 0x67, 0x20, 0x04, 0x00), map[chips.Fault][]byte{
				chips.Sound:        {0x40, 0x10, 0x40, 0x00, 0x04, 0x88},
				chips.OpenWire:     {0x40, 0x10, 0x40, 0x00, 0x01, 0x90},
				chips.BeyondSupply: {0x40, 0x10, 0x50, 0x00, 0x04, 0x88},
			}}
		},
		"ADS1115": func(t *testing.T) faulty {
			c := chips.NewADS1115(0x48, [4]func() float64{func() float64 { return 1.65 }})
			return faulty{c, overI2C(chips.I2C{c}, 0x48, 0x01, 0x00), map[chips.Fault][]byte{
				chips.Sound:    {0x85, 0x83, 0x00, 0x00},
				chips.AllZeros: {0, 0, 0, 0},
				chips.AllOnes:  {0xFF, 0xFF, 0xFF, 0xFF},
			}}
		},
		"DS18B20": func(t *testing.T) faulty {
			c := chips.NewDS18B20(s.world(), 3)
			bus := chips.OneWire{c}
			return faulty{c, func(*testing.T) ([]byte, error) {
				if err := bus.Tx([]byte{0xCC, 0x44}, nil, onewire.WeakPullup); err != nil {
					return nil, err
				}
				s.now += time.Second
				r := make([]byte, 3)
				err := bus.Tx([]byte{0xCC, 0xBE}, r, onewire.WeakPullup)
				return r, err
			}, map[chips.Fault][]byte{
				chips.Sound:    {0x88, 0x04, 0x4B},
				chips.AllZeros: {0, 0, 0},
				chips.AllOnes:  {0xFF, 0xFF, 0xFF},
			}}
		},
	}
	for name, open := range build {
		for fault := chips.Sound; fault <= chips.AllOnes; fault++ {
			t.Run(name+"/"+fault.String(), func(t *testing.T) {
				s.hot = 72.5
				f := open(t)
				s.now += time.Minute
				_, err := f.read(t) // a sound value first
				require.NoError(t, err)
				f.chip.Break(fault)
				s.now += time.Minute
				got, err := f.read(t)
				switch want, known := f.want[fault]; {
				case fault == chips.BusError:
					assert.ErrorIs(t, err, chips.ErrBus)
				case known:
					require.NoError(t, err)
					assert.Equal(t, want, got, "% x", got)
				case fault == chips.Frozen:
					before := got
					s.hot = 90
					s.now += time.Minute
					got, err = f.read(t)
					require.NoError(t, err)
					assert.Equal(t, before, got, "a stuck frame")
				}
				assert.Positive(t, f.chip.Transactions())
			})
		}
	}
}

// The converter's ranges and inputs, SBAS444D: 1.65 V on each, and what clips.
func TestADS1115Ranges(t *testing.T) {
	volts := func(v float64) func() float64 { return func() float64 { return v } }
	bus := chips.I2C{chips.NewADS1115(0x4B, [4]func() float64{volts(0.2), volts(0.1), volts(1.65), volts(-0.3)})}
	for _, row := range []struct {
		input, gain uint16
		code        int16
	}{
		{2, 0, 8800}, {2, 1, 13200}, {2, 2, 26400}, {2, 3, 32767}, // 187.5, 125, 62.5, 31.25 µV
		{0, 4, 12800}, {0, 5, 25600}, {1, 6, 12800}, {1, 7, 12800}, // 15.625 and 7.8125 µV
		{3, 4, -19200}, {3, 5, -32768},
	} {
		config := 0xC183 | row.input<<12 | row.gain<<9
		require.NoError(t, bus.Tx(0x4B, []byte{1, byte(config >> 8), byte(config)}, nil))
		r := make([]byte, 2)
		for range 4 {
			require.NoError(t, bus.Tx(0x4B, []byte{1}, r))
		}
		assert.Equal(t, byte(config>>8), r[0], "done")
		require.NoError(t, bus.Tx(0x4B, []byte{0}, r))
		assert.Equal(t, row.code, int16(uint16(r[0])<<8|uint16(r[1])), "input %d, range %d", row.input, row.gain)
	}
}

// A wire's fault is the thermistor's, at the middle of its divider.
func TestThermistorFaults(t *testing.T) {
	curve, err := thermistor.FromBeta(thermistor.Point{Temperature: 25, Ohms: 10000}, 3950)
	require.NoError(t, err)
	s := &scene{hot: 25}
	for fault, want := range map[chips.Fault][2]float64{ // below and on top
		chips.Sound: {1.65, 1.65}, chips.OpenWire: {3.3, 0}, chips.ToGround: {0, 0}, chips.ToSupply: {3.3, 3.3}, chips.BeyondSupply: {3.3, 3.3},
	} {
		for i, onTop := range []bool{false, true} {
			p := chips.Thermistor{Temperature: s.world().Hot, Supply: func() float64 { return 3.3 }, Curve: curve, Divider: thermistor.Divider{Ohms: 10000, OnTop: onTop}, Fault: fault}
			assert.InDelta(t, want[i], p.Volts(), 1e-9, "%v, on top %v", fault, onTop)
		}
	}
}

func TestFaultNames(t *testing.T) {
	seen := map[string]bool{}
	for f := chips.Sound; f <= chips.AllOnes; f++ {
		assert.False(t, seen[f.String()], f.String())
		seen[f.String()] = true
	}
	assert.Equal(t, "unknown fault", (chips.AllOnes + 1).String())
}

// A mended wire clears the flags with the next conversion, and the value follows.
func TestMendedWire(t *testing.T) {
	s := &scene{hot: 72.5, cold: 25}
	c := chips.NewMCP9601(s.world(), 0x60, thermocouple.K)
	read := overI2C(chips.I2C{c}, 0x60, 0x04, 0x00)
	for fault, flag := range map[chips.Fault]byte{chips.OpenWire: 0x50, chips.ToGround: 0x60} {
		c.Break(fault)
		s.now += time.Second
		b, err := read(t)
		require.NoError(t, err)
		assert.Equal(t, flag, b[0])
		c.Break(chips.Sound)
		s.now += time.Second
		b, err = read(t)
		require.NoError(t, err)
		assert.Equal(t, []byte{0x40, 0x00, 0x04, 0x88}, b)
	}
}

// Power-up and range values that drivers must not take for a temperature: the
// DS18B20's 85 °C (datasheet, memory) and the MAX31856's range flags (19-7534, SR).
func TestValuesThatMeanSomethingElse(t *testing.T) {
	s := &scene{hot: 20, cold: 126}
	thermometer := chips.NewDS18B20(s.world(), 3)
	r := make([]byte, 9)
	require.NoError(t, chips.OneWire{thermometer}.Tx([]byte{0xCC, 0xBE}, r, onewire.WeakPullup))
	assert.Equal(t, []byte{0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, onewire.CalcCRC(r[:8])}, r)

	c := chips.NewMAX31856(s.world(), thermocouple.K)
	read := overSPI(t, c.Port(), spi.Mode3, []byte{0x0F, 0}, 2)
	write := overSPI(t, c.Port(), spi.Mode3, []byte{0x80, 0x91}, 2)
	_, err := write(t)
	require.NoError(t, err)
	for _, row := range []struct {
		hot, cold float64
		want      byte
	}{{20, 126, 1 << 7}, {20, -56, 1 << 7}, {20, 125, 0}, {1400, 25, 1 << 6}} {
		s.hot, s.cold = quantity.Celsius(row.hot), quantity.Celsius(row.cold)
		s.now += time.Minute
		b, err := read(t)
		require.NoError(t, err)
		assert.Equal(t, row.want, b[1], "%v/%v", row.hot, row.cold)
	}
}
