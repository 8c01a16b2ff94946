package wiring

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/profile/catalog"
	"fumarium/sensors"
)

// What the file says of the dividers' supply reaches the driver.
func TestDividerSupply(t *testing.T) {
	entry, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	require.Contains(t, onChips, "input: 1,")
	for _, supply := range []string{"", " supply: {input: 3, voltage: 3.3 V},", " supply: {input: 2, voltage: 5 V},", " supply: {input: none, voltage: 5 V},"} {
		w, err := Open(parse(t, strings.ReplaceAll(onChips, "input: 1,", "input: 1,"+supply)), Options{Product: entry.Value})
		require.NoError(t, err)
		var in controller.Inputs
		for s := range 10 {
			in = w.Sample(time.Duration(s) * time.Second)
		}
		for _, ch := range w.Channels() {
			require.Equal(t, sensors.Good, ch.Reading.Status(), "%s: %s: %v", supply, ch.Probe.Name, ch.Err())
		}
		v, ok := in.Ambient.Value()
		require.True(t, ok)
		assert.InDelta(t, 15, float64(v), 0.7, supply)
		require.NoError(t, w.Close())
	}
}
