package cabinet

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/source"
)

const rowed = `cabinet: Left
ambient: 15 °C
probes:
  - {name: chamber, role: chamber, chip: MAX31855, bus: SPI0.0, type: K}
  - {name: core, role: core, chip: MAX31855, bus: SPI0.1, type: K}
heater: {pin: GPIO17, power: 1500 W, window: 5 s, least on: 1 s, least off: 1 s}
fan: {pin: GPIO22, window: 2 min, least on: 20 s, least off: 20 s}
limits: {chamber: 115 °C}
response: {gain: 90 K, lag: 20 min, second lag: 2 min, dead time: 30 s}
`

func TestClashes(t *testing.T) {
	line := func(chip, pin string) Claim { return Claim{Chip: chip, Pin: pin} }
	bus := func(name string) Claim { return Claim{Bus: name} }
	for name, c := range map[string]struct {
		a, b Claim
		want bool
	}{
		"one line":                          {line("", "GPIO17"), line("", "GPIO17"), true},
		"by name and by number":             {line("", "GPIO17"), line("pinctrl-bcm2835", "17"), true},
		"two lines":                         {line("", "GPIO17"), line("", "GPIO18"), false},
		"a number of two chips":             {line("one", "3"), line("two", "3"), false},
		"two chip selects":                  {bus("SPI0.0"), bus("SPI0.1"), false},
		"one chip select":                   {bus("SPI0.0"), bus("SPI0.0"), true},
		"one bus of I2C":                    {bus("I2C1"), bus("I2C1"), true},
		"two of 1-Wire":                     {bus("w1_bus_master1"), bus("w1_bus_master2"), false},
		"a line that the other's bus needs": {line("", "GPIO10"), bus("SPI0.1"), true},
		"a chip select that it does not":    {line("", "GPIO8"), bus("SPI0.1"), false},
		"that line of another chip":         {line("expander", "10"), bus("SPI0.1"), false},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, c.want, c.a.Clashes(c.b))
			assert.Equal(t, c.want, c.b.Clashes(c.a), "the other way round")
		})
	}
}

func TestDisputed(t *testing.T) {
	parse := func(edit func(string) string) *Cabinet {
		c, err := Parse("x.yaml", []byte(edit(rowed)))
		require.NoError(t, err)
		return c
	}
	same := func(s string) string { return s }
	left := parse(same)
	found := left.Disputed("left.yaml", parse(same), "right.yaml")
	require.Len(t, found, len(left.Claims()), "all of it")
	f := found[0]
	assert.Equal(t, source.Finding{File: "left.yaml", Line: 6, Column: 1, Severity: source.Error, Code: "claimed-twice",
		Message: "the heater is on GPIO17: the heater of the cabinet in right.yaml has it",
		Remedy:  "give each cabinet of a board lines, chip selects and I2C or 1-Wire buses of its own"}, f)
	assert.Empty(t, left.Disputed("left.yaml", &Cabinet{Heater: Relay{Pin: Simulated}}, "sim.yaml"), "what exists only in rehearsal takes nothing")
}
