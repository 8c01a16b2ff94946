package cabinet

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
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
	text = strings.Replace(text, "chip: MCP9601, bus: I2C1, address: 0x66", "chip: simulated", 1)
	text = strings.Replace(text, "GPIO12", "simulated", 1)
	c, err := Parse("box.yaml", []byte(text))
	require.NoError(t, err)
	assert.Equal(t, quantity.Kelvin(0.7), c.CoreError())
	e, _ := c.Probes[2].Accuracy()
	assert.Zero(t, e)
}

// A probe is doubted beyond its error, but neither for noise nor only beyond what a wrong wire
// would show.
func TestToleranceIsTheErrorWithinBounds(t *testing.T) {
	for want, p := range map[quantity.Kelvin]Probe{
		0.5: {Chip: "MAX31856", Type: "K", Error: 0.1, HasError: true},
		1.2: {Chip: "MAX31856", Type: "K", Error: 1.2, HasError: true},
		3:   {Chip: "MAX31855", Type: "K"},
		1.9: {Chip: "MAX31856", Type: "T"},
		2.5: {Chip: Simulated},
	} {
		assert.InDelta(t, float64(want), float64(p.Tolerance()), 1e-9, "%+v", p)
	}
}

// By the reference functions of NIST Monograph 175: in ice water a wire of another type reads
// below -1 °C or beyond the probe's tolerance, as soon as the board is as warm as WarmBoard
// says. T for K and K for T are told by no ice: they differ by 1.4 K at 70 °C.
func TestAWrongWireShowsOnAWarmBoard(t *testing.T) {
	all := []thermocouple.Type{thermocouple.K, thermocouple.J, thermocouple.T, thermocouple.N, thermocouple.E}
	for _, chip := range all {
		p := Probe{Chip: "MCP9601", Type: chip.String(), Error: 2.5, HasError: true}
		least, couple := p.WarmBoard()
		require.True(t, couple)
		assert.Less(t, least, quantity.Celsius(18.5), "a warm room must do for %v", chip)
		for _, wire := range all {
			near := chip == wire || chip == thermocouple.K && wire == thermocouple.T || chip == thermocouple.T && wire == thermocouple.K
			for board := least; board < 35; board++ {
				v, ok := wire.Measured(0, board)
				require.True(t, ok)
				shown, ok := chip.Compensate(v, board)
				require.True(t, ok)
				off := shown < -1 || shown > 2.5
				assert.Equal(t, !near, off, "%v wire on a chip for %v at a board of %v reads %v", wire, chip, board, shown)
			}
		}
	}
	v, _ := thermocouple.T.Measured(70, 20)
	shown, _ := thermocouple.K.Compensate(v, 20)
	assert.InDelta(t, 71.4, float64(shown), 0.4)
	sensor := Probe{Chip: "DS18B20"}
	_, couple := sensor.WarmBoard()
	assert.False(t, couple)
}

// A calibration speaks for a core for a year.
func TestACalibrationSpeaksForAYear(t *testing.T) {
	day := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 12, 0, 0, 0, time.UTC) }
	c, err := Parse("box.yaml", []byte(wired)) // calibrated: 2026-10-03
	require.NoError(t, err)
	for now, want := range map[time.Time]uint8{day(2026, 10, 3): 0, day(2027, 10, 3): 0, day(2027, 10, 6): 1, day(2026, 10, 1): 1} {
		assert.Equal(t, want, c.Unshown(now, true), now)
		assert.Equal(t, uint8(1), c.Unshown(now, false), "nobody knows the day")
	}
	c.Probes[2].Chip = Simulated
	assert.Zero(t, c.Unshown(day(2030, 1, 1), true))
	assert.Zero(t, c.Undated())
	c, err = Parse("box.yaml", []byte(strings.Replace(wired, ", calibrated: 2026-10-03", "", 1)))
	require.NoError(t, err)
	assert.Equal(t, uint8(1), c.Unshown(day(2026, 10, 4), true))
	assert.Equal(t, uint8(1), c.Undated())
}
