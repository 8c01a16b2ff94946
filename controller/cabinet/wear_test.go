package cabinet_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
)

// heaterOf is a shipped cabinet whose heater's line is another.
func heaterOf(t *testing.T, key, line string) (*cabinet.Cabinet, error) {
	t.Helper()
	entry, err := shipped.Find(key)
	require.NoError(t, err)
	var out []string
	for l := range strings.Lines(string(entry.Data)) {
		if strings.HasPrefix(l, "heater: ") {
			l = "heater: {pin: simulated, power: 1500 W, " + line + "}\n"
		}
		out = append(out, l)
	}
	return cabinet.Parse(key, []byte(strings.Join(out, "")))
}

func TestTheWindowFitsTheRelay(t *testing.T) {
	for line, window := range map[string]time.Duration{
		"window: 20 s":                     20 * time.Second,
		"least on: 1 s":                    20 * time.Second, // as it always was
		"relay: mechanical":                0,
		"relay: mechanical, window: 40 s":  40 * time.Second,
		"relay: solid state":               2 * time.Second,
		"relay: solid state, window: 10 s": 10 * time.Second,
		"relay: mechanical, rated cycles: 100000, window: 24 s": 24 * time.Second,
	} {
		for _, key := range []string{"plywood-cabinet", "masonry-walk-in"} {
			c, err := heaterOf(t, key, line)
			require.NoError(t, err, line)
			if window > 0 {
				assert.Equal(t, window, c.Heater.Window, line)
				continue
			}
			assert.LessOrEqual(t, float64(time.Hour)/float64(c.Heater.Window), 150., key)
			lags := c.Response.SecondLag + c.Response.DeadTime
			assert.True(t, c.Heater.Window <= max(24*time.Second, lags/2+time.Second) && c.Heater.Window <= time.Minute, "%s: %v for %v", key, c.Heater.Window, lags)
		}
	}
	for line, why := range map[string]string{
		"relay: mechanical, window: 10 s":          "360 times in an hour of heating",
		"relay: solid state, rated cycles: 100000": "no contact that wears",
		"relay: mechanical, rated cycles: 5":       "rated cycles",
		"relay: vacuum":                            "relay",
	} {
		_, err := heaterOf(t, "plywood-cabinet", line)
		assert.ErrorContains(t, err, why, line)
	}
}
