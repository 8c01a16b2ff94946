package cabinet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/source"
)

// wired is a cabinet that Lint has nothing to say about.
const wired = `cabinet: Wired box
ambient: 15 °C
probes:
  - {name: left, role: chamber, chip: MAX31856, bus: SPI0.0}
  - {name: right, role: chamber, chip: MAX31855, bus: SPI0.1}
  - {name: core 1, role: core, chip: MCP9601, bus: I2C1, error: 0.5 K, calibrated: 2026-10-03}
  - {name: yard, role: ambient, chip: MCP9601, bus: I2C1, address: 0x66}
heater: {pin: GPIO17, power: 1500 W, series: {pin: GPIO27}, feedback: {pin: GPIO6}}
fan: {pin: GPIO22}
door: {pin: GPIO12}
limits: {chamber: 115 °C}
response: {gain: 120 K, lag: 20 min, second lag: 2 min, dead time: 30 s}
`

const foamWall = `rehearsal:
  inside: {width: 50 cm, depth: 45 cm, height: 110 cm}
  wall: [{material: sheet steel, thickness: 0.6 mm}, {material: rigid foam, thickness: 45 mm}]
  racks: 3 kg
  element: 600 g
  leak: 2 cm²
  vent: 80 cm²
  fan flow: 120 m³/h
  fan exchange: 8 m³/h
`

func TestLint(t *testing.T) {
	for name, c := range map[string]struct {
		from, to string
		code     string // empty: nothing found
		line     int
		error    bool
	}{
		"nothing":                               {},
		"active low":                            {from: "{pin: GPIO17", to: "{pin: GPIO17, polarity: active low", code: "active-low", line: 8, error: true},
		"active low, insists":                   {from: "{pin: GPIO17", to: "{pin: GPIO17, polarity: active low, insist: yes", code: "active-low", line: 8},
		"series active low":                     {from: "{pin: GPIO27", to: "{pin: GPIO27, polarity: active low", code: "active-low", line: 8, error: true},
		"pulled up":                             {from: "GPIO17", to: "GPIO5", code: "pulled-up", line: 8, error: true},
		"another chip's GPIO5 is not pulled up": {from: "heater: {pin: GPIO17", to: "line chip: gpio-extender\nheater: {pin: GPIO5"},
		"needed by the bus":                     {from: "fan: {pin: GPIO22}", to: "fan: {pin: GPIO3}", code: "bus-pin", line: 9, error: true},
		"chip select is needed":                 {from: "fan: {pin: GPIO22}", to: "fan: {pin: GPIO7}", code: "bus-pin", line: 9, error: true},
		"pulled up, by its number":              {from: "GPIO17", to: "5", code: "pulled-up", line: 8, error: true},
		"pulled up, and insists":                {from: "{pin: GPIO17", to: "{pin: GPIO5, insist: yes", code: "pulled-up", line: 8},
		"one pin under two names":               {from: "fan: {pin: GPIO22}", to: "fan: {pin: 17}", code: "pin-twice", line: 9, error: true},
		"two names of another chip are two":     {from: "fan: {pin: GPIO22}", to: "line chip: gpio-extender\nfan: {pin: 17}"},
		"the second SPI bus":                    {from: "right, role: chamber, chip: MAX31855, bus: SPI0.1", to: "right, role: chamber, chip: MAX31855, bus: SPI1.1", code: "bus-pin", line: 8, error: true},
		"no fan":                                {from: "fan: {pin: GPIO22}\n", code: "no-fan", line: 1},
		"one contact":                           {from: ", series: {pin: GPIO27}", code: "one-contact", line: 8},
		"no feedback":                           {from: ", feedback: {pin: GPIO6}", code: "no-feedback", line: 8},
		"one chamber probe":                     {from: "right, role: chamber", to: "right, role: core, error: 0.5 K", code: "one-chamber-probe", line: 1},
		"no core":                               {from: "  - {name: core 1, role: core, chip: MCP9601, bus: I2C1, error: 0.5 K, calibrated: 2026-10-03}\n", code: "no-core", line: 1},
		"no probe in the room":                  {from: "yard, role: ambient", to: "yard, role: core, error: 0.5 K", code: "no-room", line: 1},
		"no door switch":                        {from: "door: {pin: GPIO12}\n", code: "no-door", line: 1},
		"nothing of the generator":              {from: "door: {", to: "smoke: {pin: GPIO23}\ndoor: {", code: "no-generator", line: 10},
		"uncalibrated":                          {from: ", error: 0.5 K, calibrated: 2026-10-03", code: "uncalibrated", line: 6},
		"blind chip":                            {from: "MCP9601", to: "MCP9600", code: "blind-chip", line: 6},
		"short range":                           {from: "MCP9601, bus: I2C1", to: "DS18B20, bus: w1_bus_master1, address: 0x1c0000031edd2a28", code: "short-range", line: 6},
		"no altitude":                           {from: "calibrated: 2026-10-03}", to: "calibrated: 2026-10-03}\n  - {name: wick, role: wet bulb, chip: MCP9601, bus: I2C1, address: 0x60}", code: "no-altitude", line: 7},
		"unmeasured supply":                     {from: "MCP9601, bus: I2C1", to: "ADS1115, bus: I2C1, input: 3, supply: {input: none, voltage: 3.3 V}, thermistor: {resistor: 10 kΩ, beta: 3950 K, at 25: 10 kΩ}", code: "unmeasured-supply", line: 6},
		"foam in the wall":                      {from: "response: {", to: foamWall + "response: {", code: "foam-wall", line: 1},
		"foam in the wall of a cooler box":      {from: "limits: {chamber: 115 °C}\nresponse: {", to: "limits: {chamber: 95 °C}\n" + foamWall + "response: {"},
		"a display on a bus of its own":         {from: "door: {", to: "panel: {display: I2C0, confirm: {pin: GPIO5}, stop: {pin: GPIO13}}\ndoor: {"},
		"a display on SPI of its own":           {from: "door: {", to: "panel: {display: SPI1.0, data line: {pin: GPIO24}}\ndoor: {"},
		"a display among the probes":            {from: "door: {", to: "panel: {display: /dev/i2c-1}\ndoor: {", code: "shared-bus", line: 10},
		"a display on SPI among the probes":     {from: "door: {", to: "panel: {display: SPI0.2, data line: {pin: GPIO24}}\ndoor: {", code: "shared-bus", line: 10},
		"a display's bus needs the pin":         {from: "fan: {pin: GPIO22}", to: "fan: {pin: GPIO21}\npanel: {display: SPI1.0, data line: {pin: GPIO24}}", code: "bus-pin", line: 9, error: true},
		"its data line is taken":                {from: "fan: {pin: GPIO22}", to: "fan: {pin: GPIO22}\npanel: {display: SPI1.0, data line: {pin: 22}}", code: "pin-twice", line: 10, error: true},
		"stop without a display":                {from: "door: {", to: "panel: {stop: {pin: GPIO13}}\ndoor: {", code: "blind-stop", line: 10},
		"confirm without a display":             {from: "door: {", to: "panel: {confirm: {pin: GPIO13}}\ndoor: {", code: "blind-confirm", line: 10, error: true},
		"no frost":                              {from: "MCP9601, bus: I2C1", to: "MAX6675, bus: SPI1.0", code: "no-frost", line: 6},
	} {
		t.Run(name, func(t *testing.T) {
			text := wired
			if c.from != "" {
				require.Contains(t, wired, c.from)
				text = strings.Replace(wired, c.from, c.to, 1)
			}
			cab, err := Parse("box.yaml", []byte(text))
			require.NoError(t, err)
			found := Lint(cab, "box.yaml")
			if c.code == "" {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			f := found[0]
			assert.Equal(t, c.code, f.Code)
			assert.Equal(t, c.line, f.Line)
			assert.Equal(t, c.error, f.Severity == source.Error)
			assert.NotEmpty(t, f.Remedy)
			assert.Equal(t, "box.yaml", f.File)
		})
	}
}

// Where a single chamber probe can let the air get far over the limit, check asks for a second
// one, and says how far; hazards.md and sim/campaign have the figure.
func TestASecondChamberProbeIsAskedFor(t *testing.T) {
	c, err := Parse("box.yaml", []byte(strings.Replace(wired, "  - {name: right, role: chamber, chip: MAX31855, bus: SPI0.1}\n", "", 1)))
	require.NoError(t, err)
	found := Lint(c, "box.yaml")
	require.Len(t, found, 1)
	assert.Equal(t, "one-chamber-probe", found[0].Code)
	assert.Contains(t, found[0].Message, "61 K over the limit")
	assert.Contains(t, found[0].Remedy, "a second probe with role: chamber, on a chip of its own")
}

// A cabinet that exists only in rehearsal has no wires to be wrong.
func TestLintLeavesTheSimulatedAlone(t *testing.T) {
	c, err := Parse("drum.yaml", []byte(least))
	require.NoError(t, err)
	assert.Empty(t, Lint(c, "drum.yaml"))
	assert.True(t, c.Simulated())
}

// Real drivers on simulated buses make a simulated cabinet.
func TestSimulatedBuses(t *testing.T) {
	c, err := Parse("drum.yaml", []byte(strings.Replace(least, "chip: simulated}",
		"chip: MAX31856, bus: simulated, type: j}, {name: core 1, role: core, chip: simulated}, {name: core 2, role: core, chip: MAX31855, bus: simulated}, {name: core 3, role: core, chip: DS18B20, bus: simulated}", 1)))
	require.NoError(t, err)
	assert.True(t, c.Simulated())
	for _, p := range c.Probes {
		assert.True(t, p.Simulated(), p.Name)
	}
	assert.Equal(t, "J", c.Probes[0].Type)
}

func TestParseBus(t *testing.T) {
	for name, want := range map[string]struct {
		kind      BusKind
		bus, chip int
	}{
		"SPI0.1": {SPI, 0, 1}, "/dev/spidev1.2": {SPI, 1, 2}, "I2C1": {I2C, 1, 0}, "/dev/i2c-22": {I2C, 22, 0}, "w1_bus_master1": {OneWire, 1, 0},
		"": {}, "SPI0": {}, "I2C": {}, "simulated": {}, "SPI0.1x": {}, "SPI999.0": {},
	} {
		kind, bus, chip, ok := ParseBus(name)
		assert.Equal(t, want.kind, kind, name)
		assert.Equal(t, want.bus, bus, name)
		assert.Equal(t, want.chip, chip, name)
		assert.Equal(t, want.kind != NoBus, ok, name)
	}
}
