package cabinet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// drumWith is the shortest cabinet with a wick, a fan and more lines.
func drumWith(wick, more string) string {
	return strings.Replace(least, "chip: simulated}]", "chip: simulated}, {name: wick, role: wet bulb, chip: simulated"+wick+"}]", 1) + more
}

func TestWick(t *testing.T) {
	for wick, want := range map[string]WickAir{"": WickOpen, ", wick: open": WickOpen, ", wick: fan stream": WickFanStream, ", wick: own blower": WickOwnBlower} {
		c, err := Parse("drum.yaml", []byte(drumWith(wick, "fan: {pin: simulated}\n")))
		require.NoError(t, err, wick)
		assert.Equal(t, want, c.Wick, wick)
	}
	for wick, message := range map[string]string{
		", wick: fan stream": "wick: there is no fan, so nothing blows on the wick; add the fan",
		", wick: breezy":     `wick: "breezy" is not known; use open, fan stream or own blower`,
	} {
		_, err := Parse("drum.yaml", []byte(drumWith(wick, "")))
		assert.ErrorContains(t, err, message)
	}
	_, err := Parse("drum.yaml", []byte(strings.Replace(least, "role: chamber", "role: chamber, wick: open", 1)))
	assert.ErrorContains(t, err, "only a wet bulb has a wick")
}

// ASHRAE Fundamentals 2017, chapter 1, Table 1: standard atmosphere.
func TestAltitude(t *testing.T) {
	for text, pascal := range map[string]float64{"": 101325, "altitude: 0 m\n": 101325, "altitude: 500 m\n": 95461, "altitude: 1000 m\n": 89875, "altitude: 3280.84 ft\n": 89875} {
		c, err := Parse("drum.yaml", []byte(least+text))
		require.NoError(t, err)
		assert.InDelta(t, pascal, c.Pressure(), 1, text)
		assert.Equal(t, text != "", c.HasAltitude, text)
	}
	for text, message := range map[string]string{
		"altitude: 420":     `missing unit in "420"; write 420 m or 420 ft`,
		"altitude: 6000 m":  "is above 5000 m; write a value from -400 m to 5000 m",
		"altitude: -900 ft": "",
	} {
		_, err := Parse("drum.yaml", []byte(least+text+"\n"))
		if message == "" {
			assert.NoError(t, err)
		} else {
			assert.ErrorContains(t, err, message)
		}
	}
}
