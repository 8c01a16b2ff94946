package cabinet

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
)

const smoked = least + "smoke: {pin: simulated}\ngenerator: {burn: 4 h, heat: 150 W, air: 10 L/min, moisture: 60 g}\n"

// What the file leaves out is common practice, no source: full air for ten to fifteen
// minutes, then a little less.
func TestGeneratorDefaults(t *testing.T) {
	c, err := Parse("drum.yaml", []byte(smoked))
	require.NoError(t, err)
	assert.Equal(t, 12*time.Minute, c.Generator.Lighting)
	assert.Equal(t, quantity.Ratio(0.6), c.Generator.TurnedDown)
	assert.Zero(t, c.Generator.Ember, "no ember probe, no limit")
	assert.Equal(t, Relay{Fitted: true, Pin: Simulated, Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second, Line: 7}, c.Smoke)
	probed := strings.Replace(smoked, "chip: simulated}", "chip: simulated}, {name: wood, role: ember, chip: simulated}", 1)
	c, err = Parse("drum.yaml", []byte(probed))
	require.NoError(t, err)
	assert.Equal(t, quantity.Celsius(200), c.Generator.Ember)
	c, err = Parse("drum.yaml", []byte(least))
	require.NoError(t, err)
	assert.Zero(t, c.Generator)
}

// Burn is at the air that the generator gets; at full air the same wood lasts less.
func TestFullBurn(t *testing.T) {
	for _, row := range []struct {
		burn, lighting time.Duration
		share          quantity.Ratio
		want           time.Duration
	}{
		{4 * time.Hour, 0, 0, 4 * time.Hour}, // nothing said: never turned down
		{4 * time.Hour, 12 * time.Minute, 1, 4 * time.Hour},
		{4*time.Hour + 12*time.Minute, 12 * time.Minute, 0.5, 2*time.Hour + 12*time.Minute},
		{10 * time.Minute, 12 * time.Minute, 0.5, 10 * time.Minute},
		{0, 0, 0.5, 0},
	} {
		g := Generator{Burn: row.burn, Lighting: row.lighting, TurnedDown: row.share}
		assert.Equal(t, row.want, g.FullBurn(), "%+v", row)
	}
}

func TestGeneratorFaults(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"ember without a probe":   {"moisture: 60 g", "moisture: 60 g, ember: 200 °C", "there is no ember probe to hold against it"},
		"an ember below smoulder": {"moisture: 60 g", "moisture: 60 g, turned down: 5 %", "turned down: 5 % is below 10 %"},
		"lit for too long":        {"burn: 4 h", "burn: 12 min", "a filling lasts 12 min and is lit for 12 min"},
		"pauses by the window":    {"smoke: {pin: simulated}", "smoke: {pin: simulated, window: 10 min}", "at 60 % the pump rests for 4 min at a time"},
		"pauses by the least on":  {"smoke: {pin: simulated}", "smoke: {pin: simulated, window: 5 min, least on: 4 min}", "the pump rests for 2 min 40 s at a time"},
		"no generator":            {"generator:", "rehearsal:", "there is an ember probe, but no generator"},
	} {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(smoked, c.from, c.to, 1)
			if name == "no generator" {
				text = strings.Replace(least, "chip: simulated}", "chip: simulated}, {name: wood, role: ember, chip: simulated}", 1)
			}
			_, err := Parse("drum.yaml", []byte(text))
			assert.ErrorContains(t, err, c.want)
		})
	}
}

func TestLintGenerator(t *testing.T) {
	const quiet = wired + "smoke: {pin: GPIO23}\ngenerator: {burn: 4 h, heat: 150 W, air: 10 L/min, moisture: 60 g, fuel: 350 g}\n"
	for name, c := range map[string]struct {
		from, to, code string
	}{
		"nothing":                  {},
		"nothing said":             {"generator: {burn: 4 h, heat: 150 W, air: 10 L/min, moisture: 60 g, fuel: 350 g}\n", "", "no-generator"},
		"lit too short":            {"fuel: 350 g", "lighting: 5 min", "lighting"},
		"lit too long":             {"fuel: 350 g", "lighting: 25 min", "lighting"},
		"more heat than wood has":  {"heat: 150 W", "heat: 1 kW", "fuel"},
		"more water than wood has": {"moisture: 60 g", "moisture: 300 g", "fuel"},
		"ember on a thermistor":    {"  - {name: core 1", "  - {name: wood, role: ember, chip: DS18B20, bus: w1_bus_master1, address: 0x1c0000031edd2a28}\n  - {name: core 1", "ember-probe"},
		"ember on a type T":        {"  - {name: core 1", "  - {name: wood, role: ember, chip: MCP9601, bus: I2C1, address: 0x60, type: T}\n  - {name: core 1", "ember-probe"},
		"ember on a type K":        {"  - {name: core 1", "  - {name: wood, role: ember, chip: MCP9601, bus: I2C1, address: 0x60}\n  - {name: core 1", ""},
	} {
		t.Run(name, func(t *testing.T) {
			require.Contains(t, quiet, c.from)
			cab, err := Parse("box.yaml", []byte(strings.Replace(quiet, c.from, c.to, 1)))
			require.NoError(t, err)
			found := Lint(cab, "box.yaml")
			if c.code == "" {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			assert.True(t, strings.HasPrefix(found[0].Message, c.code+": "), found[0].Message)
			assert.True(t, found[0].Warning)
			assert.Equal(t, map[string]int{"no-generator": 11, "ember-probe": 6}[c.code]+map[bool]int{true: 12}[c.code == "lighting" || c.code == "fuel"], found[0].Line)
			assert.NotEmpty(t, found[0].Remedy)
		})
	}
}
