package cabinet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
)

// A wire's tolerance is that of IEC 60584-1 class 2; what the front end adds is from its
// data sheet.
func TestAccuracy(t *testing.T) {
	for probe, want := range map[string]struct {
		error quantity.Kelvin
		why   string
	}{
		"chip: MCP9601, bus: I2C1":                                        {2.5 + 1.5, "not calibrated: 2.5 K of type K wire (IEC 60584-1 class 2) and 1.5 K of the MCP9601"},
		"chip: MCP9601, bus: I2C1, type: T":                               {1 + 1.5, "not calibrated: 1 K of type T wire (IEC 60584-1 class 2) and 1.5 K of the MCP9601"},
		"chip: MAX31855, bus: SPI1.0":                                     {2.5 + 4, "not calibrated: 2.5 K of type K wire (IEC 60584-1 class 2) and 4 K of the MAX31855"},
		"chip: DS18B20, bus: w1_bus_master1, address: 0x1c0000031edd2a28": {0.5, "not calibrated: 0.5 K of the DS18B20"},
		"chip: MCP9601, bus: I2C1, error: 0.4 K, calibrated: 2026-10-03":  {0.4, "calibrated 2026-10-03"},
		"chip: MCP9601, bus: I2C1, error: 0 K":                            {0, "the cabinet file"},
	} {
		text := strings.Replace(wired, "chip: MCP9601, bus: I2C1, error: 0.5 K, calibrated: 2026-10-03", probe, 1)
		require.NotEqual(t, probe == "", strings.Contains(text, probe))
		c, err := Parse("box.yaml", []byte(text))
		require.NoError(t, err, probe)
		e, why := c.Probes[2].Accuracy()
		assert.Equal(t, want.error, e, probe)
		assert.Equal(t, want.why, why)
		assert.Equal(t, want.error, c.CoreError(), "the chamber's probes do not count")
	}
	for chip, f := range fronts {
		assert.Positive(t, ends[chip], "%s is believed without a reason", chip)
		for _, letter := range []string{"K", "J", "T", "N", "E"} {
			assert.True(t, !f.couple || wires[letter] > 0, letter)
		}
	}
	for _, bad := range []string{"error: 11 K", "error: -1 K", "error: 0.4 K, calibrated: 3.10.2026", "calibrated: 2026-10-03"} {
		_, err := Parse("box.yaml", []byte(strings.Replace(wired, "error: 0.5 K, calibrated: 2026-10-03", bad, 1)))
		assert.Error(t, err, bad)
	}
}

// The largest of the cores counts, and in rehearsal one is as good as its file says.
func TestCoreErrorIsTheLargest(t *testing.T) {
	const simulated = "chip: simulated}\n  - {name: core 2, role: core, chip: simulated, error: 0.7 K}\n  - {name: core 3, role: core, chip: simulated, error: 0.2 K}"
	text := strings.ReplaceAll(strings.ReplaceAll(wired, "GPIO17", "simulated"), "GPIO22", "simulated")
	text = strings.Replace(text, ", series: {pin: GPIO27}, feedback: {pin: GPIO6}", "", 1)
	text = strings.Replace(text, "chip: MAX31856, bus: SPI0.0", "chip: simulated", 1)
	text = strings.Replace(text, "chip: MAX31855, bus: SPI0.1", "chip: simulated", 1)
	text = strings.Replace(text, "chip: MCP9601, bus: I2C1, error: 0.5 K, calibrated: 2026-10-03}", simulated, 1)
	c, err := Parse("box.yaml", []byte(text))
	require.NoError(t, err)
	assert.Equal(t, quantity.Kelvin(0.7), c.CoreError())
	e, _ := c.Probes[2].Accuracy()
	assert.Zero(t, e)
}
