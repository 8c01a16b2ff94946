package wiring

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fumarium/controller"
	"fumarium/controller/relay"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/mcp9600"
)

// on opens the probes of the wired cabinet with some of its text replaced.
func (d *desk) on(t *testing.T, b Buses, replace ...string) *World {
	t.Helper()
	text := strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1)
	for i := 0; i < len(replace); i += 2 {
		require.Contains(t, text, replace[i])
		text = strings.Replace(text, replace[i], replace[i+1], 1)
	}
	return OpenProbes(parse(t, text), b)
}

// What the file says of a probe reaches its reading: by hand, 70 °C with 2 % and 1 K
// more is 72.4 °C.
func TestFileReachesTheReading(t *testing.T) {
	d := newDesk()
	w := d.on(t, d, "offset: 1 K", "offset: 1 K, stretch: 2 %")
	v, ok := d.steps(w, 8).Chamber[0].Value()
	require.True(t, ok)
	assert.InDelta(t, 72.4, float64(v), 0.01)
	// A MAX6675 cannot tell how warm its board is and goes by the file.
	reads := map[string]quantity.Celsius{}
	for _, board := range []string{"25 °C", "45 °C"} {
		d := newDesk()
		v, ok := d.steps(d.on(t, d, "board: 25 °C", "board: "+board), 8).Chamber[1].Value()
		require.True(t, ok)
		reads[board] = v
	}
	assert.InDelta(t, 71, float64(reads["25 °C"]), 0.2)
	assert.Greater(t, magnitude(reads["45 °C"]-reads["25 °C"]), quantity.Celsius(0.05))
}

func magnitude(v quantity.Celsius) quantity.Celsius { return max(v, -v) }

// The mains filter of a MAX31856 is bit 0 of its register CR0, set for 50 Hz
// (19-7534, register description); without the key it is 50 Hz.
func TestMainsReachesTheChip(t *testing.T) {
	for mains, want := range map[string]byte{"mains: 60 Hz\n": 0, "mains: 50 Hz\n": 1, "": 1} {
		d := newDesk()
		d.steps(d.on(t, d, "mains: 60 Hz\n", mains), 3)
		c, err := d.left.Port().Connect(0, spi.Mode3, 8)
		require.NoError(t, err)
		r := make([]byte, 2)
		require.NoError(t, c.Tx([]byte{0, 0}, r))
		assert.Equal(t, want, r[1]&1, mains)
	}
}

// One wrong sample that physics does not rule out is dropped by the median.
func TestMedianDropsOneSample(t *testing.T) {
	d := newDesk()
	w := d.on(t, d)
	d.steps(w, 8)
	for i := range 8 {
		d.hot[0] = 70
		if i == 3 {
			d.hot[0] = 80
		}
		v, ok := d.steps(w, 1).Chamber[0].Value()
		require.True(t, ok)
		assert.InDelta(t, 71, float64(v), 0.01)
	}
}

// counted are buses that count what is open.
type counted struct {
	*desk
	open int
}

type countedBus struct {
	i2c.Bus
	c *counted
}

type countedPort struct {
	spi.Port
	c *counted
}

func (b countedBus) Close() error  { b.c.open--; return nil }
func (b countedPort) Close() error { b.c.open--; return nil }

func (c *counted) SPI(bus, chipSelect int) (spi.Port, error) {
	c.open++
	p, err := c.desk.SPI(bus, chipSelect)
	return countedPort{p, c}, err
}

func (c *counted) I2C(n int) (i2c.Bus, error) {
	c.open++
	b, err := c.desk.I2C(n)
	return countedBus{b, c}, err
}

// Every bus is opened once, probes of one converter share it, and all is closed.
func TestBusesAreClosed(t *testing.T) {
	c := &counted{desk: newDesk()}
	w := c.on(t, c)
	assert.Equal(t, 3, c.open, "1-Wire is files and holds nothing open")
	assert.Len(t, w.buses.converters, 1)
	require.NoError(t, w.Close())
	assert.Zero(t, c.open)
	require.NoError(t, w.Close(), "twice does no harm")
	assert.Zero(t, c.open)
}

// deaf are pins whose feedback cannot be read any more.
type deaf struct {
	*pins
	gone bool
}

type deafLine struct {
	relay.Line
	d *deaf
}

func (d *deaf) Input(o relay.Opts) (relay.Line, error) {
	l, err := d.pins.Input(o)
	return deafLine{l, d}, err
}

func (l deafLine) Read() (bool, error) {
	if l.d.gone {
		return false, errors.New("read failed")
	}
	return l.Line.Read()
}

// A feedback that cannot be read counts as voltage, a door as unread.
func TestUnreadInputs(t *testing.T) {
	d, p := newDesk(), &deaf{pins: newPins()}
	text := strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1)
	w, err := Open(parse(t, text), Options{Buses: d, Lines: p, Wait: func(time.Duration) {}})
	require.NoError(t, err)
	assert.Equal(t, controller.FeedbackOff, d.steps(w, 1).Heater)
	p.gone = true
	in := d.steps(w, 1)
	assert.Equal(t, controller.FeedbackOn, in.Heater)
	assert.Equal(t, controller.DoorUnread, in.Door)
	p.gone = false
	require.NoError(t, w.Close())
}

// The damping is the file's low-pass: closed form, a ramp of 0.5 K/s is followed one
// second of median and the damping late.
func TestDamping(t *testing.T) {
	d := newDesk()
	text := strings.NewReplacer("ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), "offset: 1 K", "damping: 12 s").Replace(wired)
	w := OpenProbes(parse(t, text), d)
	for range 90 {
		d.hot[0] += 0.5
		d.steps(w, 1)
	}
	ch := w.Channels()[0]
	assert.Equal(t, 13*time.Second, ch.Lag())
	v, ok := ch.Reading.Value()
	require.True(t, ok, "%v", ch.Err())
	raw, ok := ch.Raw.Value()
	require.True(t, ok)
	assert.InDelta(t, ch.Lag().Seconds()*0.5, float64(raw-v), 0.3)
	assert.Equal(t, time.Second, w.Channels()[1].Lag(), "without damping the median alone")
	require.NoError(t, w.Close())
}

// An MCP9600 where the file names an MCP9601 is a fault: nobody would see its wire
// break.
func TestTheLesserSister(t *testing.T) {
	d := newDesk()
	text := strings.NewReplacer("ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), "MCP9600", "MCP9601").Replace(wired)
	w := OpenProbes(parse(t, text), d)
	assert.Equal(t, sensors.BusError, d.steps(w, 8).WetBulb.Status())
	assert.ErrorIs(t, w.Channels()[4].Err(), mcp9600.ErrSister)
	require.NoError(t, w.Close())
}
