package cabinet

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

const smoked = least + "smoke: {pin: simulated}\ngenerator: {fuel: 360 g, air: 7 L/min, heat: 110 W, moisture: 60 g}\n"

func parsed(t *testing.T, text string) Generator {
	t.Helper()
	c, err := Parse("drum.yaml", []byte(text))
	require.NoError(t, err)
	return c.Generator
}

func TestGeneratorDefaults(t *testing.T) {
	c, err := Parse("drum.yaml", []byte(smoked))
	require.NoError(t, err)
	assert.Equal(t, quantity.Ratio(0.6), c.Generator.TurnedDown)
	assert.Zero(t, c.Generator.Ember, "no ember probe, no limit")
	assert.Empty(t, c.Generator.Old)
	assert.Equal(t, Relay{Fitted: true, Pin: Simulated, Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second, Line: 7}, c.Smoke)
	probed := strings.Replace(smoked, "chip: simulated}", "chip: simulated}, {name: wood, role: ember, chip: simulated}", 1)
	assert.Equal(t, quantity.Celsius(200), parsed(t, probed).Ember)
	assert.Zero(t, parsed(t, least))
}

// Own arithmetic: 7 L/min of 1.2 kg/m³ are 504 g an hour, for which 102.9 g of wood go
// at 4.9 kg of air for each kilogram. So 360 g last 3 h 30 min at full air. The ember
// warms with a lag of 0.1·(550 K·1500 J/(kg·K) + 2.45 MJ/kg / 6)/(9 MJ/kg) = 0.0137 of
// that, 173 s; three of them are 8 min 38 s. The rest of the pump's time at 60 % of
// it makes 5 h 44 min in all.
func TestTimesFollowFromFuelAndAir(t *testing.T) {
	g := parsed(t, smoked)
	assert.InDelta(t, 210, g.PumpTime().Minutes(), 0.1)
	assert.InDelta(t, 173, g.EmberLag().Seconds(), 1)
	assert.InDelta(t, 518, g.FullAir.Seconds(), 3)
	assert.InDelta(t, 344, g.Lasts.Minutes(), 1)
	assert.Zero(t, g.FullAir%time.Second+g.Lasts%time.Second, "the same on every processor")

	twice := parsed(t, strings.Replace(smoked, "fuel: 360 g", "fuel: 720 g", 1))
	assert.InEpsilon(t, 2*g.FullAir.Seconds(), twice.FullAir.Seconds(), 0.01)
	assert.InEpsilon(t, 2*g.Lasts.Seconds(), twice.Lasts.Seconds(), 0.01)
	windy := parsed(t, strings.Replace(smoked, "air: 7 L/min", "air: 14 L/min", 1))
	assert.InEpsilon(t, g.Lasts.Seconds()/2, windy.Lasts.Seconds(), 0.01)
	assert.InEpsilon(t, g.FullAir.Seconds()/2, windy.FullAir.Seconds(), 0.01)
}

// What was measured goes before what follows from fuel and air.
func TestMeasuredTimes(t *testing.T) {
	for _, row := range []struct {
		keys                 string
		fullAir, lasts, pump time.Duration
	}{
		{"fuel: 360 g, full air: 10 min", 10 * time.Minute, 10*time.Minute + 333*time.Minute + 20*time.Second, 210 * time.Minute},
		{"fuel: 360 g, lasts: 7 h, full air: 20 min", 20 * time.Minute, 7 * time.Hour, 260 * time.Minute},
		{"lasts: 100 min, full air: 10 min, turned down: 50 %", 10 * time.Minute, 100 * time.Minute, 55 * time.Minute},
		// Own arithmetic: 0.0411 of the pump's time at full air, the rest at half of it.
		{"lasts: 100 min, turned down: 50 %", 126 * time.Second, 100 * time.Minute, 3063 * time.Second},
		{"fuel: 360 g, turned down: 100 %", 518 * time.Second, 210 * time.Minute, 210 * time.Minute},
	} {
		g := parsed(t, strings.Replace(smoked, "fuel: 360 g", row.keys, 1))
		assert.InDelta(t, row.fullAir.Seconds(), g.FullAir.Seconds(), 2, row.keys)
		assert.InDelta(t, row.lasts.Seconds(), g.Lasts.Seconds(), 5, row.keys)
		assert.InDelta(t, row.pump.Seconds(), g.PumpTime().Seconds(), 5, row.keys)
	}
	for _, g := range []Generator{{}, {Lasts: 4 * time.Hour}, {Lasts: 10 * time.Minute, FullAir: 20 * time.Minute, TurnedDown: 0.5}} {
		assert.Equal(t, g.Lasts, g.PumpTime(), "nothing said, or never turned down")
	}
}

// Records hold files of the first form for ever, and replay them as they were meant.
func TestOldKeysAreReadAndTold(t *testing.T) {
	for _, row := range []struct {
		keys           string
		old            string
		fullAir, lasts time.Duration
	}{
		{"burn: 4 h", "burn", 12 * time.Minute, 4 * time.Hour},
		{"burn: 4 h, lighting: 9 min, fuel: 300 g", "burn", 9 * time.Minute, 4 * time.Hour},
		{"lasts: 4 h, lighting: 9 min", "lighting", 9 * time.Minute, 4 * time.Hour},
		{"burn: 4 h, full air: 9 min", "burn", 9 * time.Minute, 4 * time.Hour},
	} {
		text := strings.Replace(wired, "  - {name: core 1", "  - {name: wood, role: ember, chip: MCP9601, bus: I2C1, address: 0x60}\n  - {name: core 1", 1)
		text = strings.Replace(text, "\nlimits:", "\nsmoke: {pin: GPIO23}\ngenerator: {"+row.keys+", air: 7 L/min, heat: 110 W, moisture: 60 g}\nlimits:", 1)
		c, err := Parse("old.yaml", []byte(text))
		require.NoError(t, err, row.keys)
		assert.Equal(t, row.old, c.Generator.Old, row.keys)
		assert.Equal(t, row.fullAir, c.Generator.FullAir, row.keys)
		assert.Equal(t, row.lasts, c.Generator.Lasts, row.keys)
		found := Lint(c, "old.yaml")
		require.Len(t, found, 1, row.keys)
		assert.Equal(t, source.Warning, found[0].Severity)
		assert.Contains(t, found[0].Error(), "old-key: the generator's key "+row.old+" is an old name")
		assert.Contains(t, found[0].Error(), "write lasts for burn and full air for lighting")
	}
	for _, both := range []string{"burn: 4 h, lasts: 4 h", "fuel: 360 g, lighting: 9 min, full air: 9 min"} {
		_, err := Parse("drum.yaml", []byte(strings.Replace(smoked, "fuel: 360 g", both, 1)))
		assert.ErrorContains(t, err, "which is here as well")
	}
	_, err := Parse("drum.yaml", []byte(strings.Replace(smoked, "moisture", "vapour", 1)))
	assert.ErrorContains(t, err, "it takes lasts, full air, fuel, air, heat, moisture, turned down, ember", "nobody is sent to the old names")
}

func TestGeneratorFaults(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"ember without a probe":    {"moisture: 60 g", "moisture: 60 g, ember: 200 °C", "there is no ember probe to hold against it"},
		"an ember below smoulder":  {"moisture: 60 g", "moisture: 60 g, turned down: 5 %", "turned down: 5 % is below 10 %"},
		"neither fuel nor time":    {"fuel: 360 g, ", "", "generator needs the key fuel"},
		"no air":                   {"air: 7 L/min", "air: 0 L/min", "air: wood that gets no air does not smoulder"},
		"for days":                 {"air: 7 L/min", "air: 0.001 L/min", "by fuel and air a filling lasts longer than 48 h"},
		"hardly any air at all":    {"air: 7 L/min", "air: 0.0000000001 L/min", "by fuel and air a filling lasts longer than 48 h"},
		"too long by what is told": {"fuel: 360 g", "lasts: 12 min, full air: 12 min", "lasts: a filling lasts 12 min and gets full air for 12 min"},
		"too long by fuel":         {"fuel: 360 g", "fuel: 10 g, full air: 9 min", "full air: a filling lasts 5 min 50 s and gets full air for 9 min"},
		"pauses by the window":     {"smoke: {pin: simulated}", "smoke: {pin: simulated, window: 10 min}", "at 60 % the pump rests for 4 min at a time"},
		"pauses by the least on":   {"smoke: {pin: simulated}", "smoke: {pin: simulated, window: 5 min, least on: 4 min}", "the pump rests for 2 min 40 s at a time"},
		"no generator":             {"generator:", "rehearsal:", "there is an ember probe, but no generator"},
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
	const wood = "{name: wood, role: ember, chip: MCP9601, bus: I2C1, address: 0x60}"
	quiet := strings.Replace(wired, "  - {name: core 1", "  - "+wood+"\n  - {name: core 1", 1) + "smoke: {pin: GPIO23}\ngenerator: {fuel: 360 g, air: 7 L/min, heat: 110 W, moisture: 60 g}\n"
	for name, c := range map[string]struct {
		from, to, code string
	}{
		"nothing":                  {},
		"half the ember's time":    {"fuel: 360 g", "fuel: 360 g, full air: 4 min 30 s", ""},
		"less than half of it":     {"fuel: 360 g", "fuel: 360 g, full air: 4 min", "full-air"},
		"twice its time":           {"fuel: 360 g", "fuel: 360 g, full air: 17 min", ""},
		"more than twice":          {"fuel: 360 g", "fuel: 360 g, full air: 18 min", "full-air"},
		"more heat than wood has":  {"heat: 110 W", "heat: 1 kW", "fuel"},
		"more water than wood has": {"moisture: 60 g", "moisture: 300 g", "fuel"},
		"ember on a thermistor":    {wood, "{name: wood, role: ember, chip: DS18B20, bus: w1_bus_master1, address: 0x1c0000031edd2a28}", "ember-probe"},
		"ember on a type T":        {wood, "{name: wood, role: ember, chip: MCP9601, bus: I2C1, address: 0x60, type: T}", "ember-probe"},
		"no probe in the wood":     {"  - " + wood + "\n", "", "no-ember"},
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
			assert.Equal(t, c.code, found[0].Code)
			assert.Equal(t, source.Warning, found[0].Severity)
			assert.Equal(t, map[string]int{"no-ember": 13, "ember-probe": 6}[c.code]+map[bool]int{true: 15}[c.code == "full-air" || c.code == "fuel"], found[0].Line)
			assert.NotEmpty(t, found[0].Remedy)
		})
	}
}
