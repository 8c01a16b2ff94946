package wiring

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/sensors"
	"fumarium/sensors/mcp9600"
)

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
