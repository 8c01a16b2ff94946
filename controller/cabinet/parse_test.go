package cabinet

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
	"fumarium/sensors/thermistor"
)

var update = flag.Bool("update", false, "rewrite the expected texts; read the difference before keeping it")

const badCabinets = "../../testdata/cabinets/bad"

// niche shows every key of the format.
const niche = `cabinet: Tiled wall niche
ambient: 12 °C
probes:
  - {name: chamber, role: chamber, chip: MAX31855, bus: SPI0.0, type: K, sheath: 30 s, offset: -0.4 K, stretch: -0.5 %}
  - {name: core 1, role: core, chip: ADS1115, bus: I2C1, address: 0x49, input: 1, supply: {input: 0, voltage: 5 V}, thermistor: {resistor: 10 kΩ, to: supply, beta: 3950 K, at 25: 10 kohm}}
  - {name: wick, role: wet bulb, wick: own blower, chip: max6675, bus: /dev/spidev0.1, board: 30 °C}
  - {name: yard, role: ambient, chip: DS18B20, bus: w1_bus_master1, address: 0x1c0000031edd2a28}
  - {name: ember, role: ember, chip: MCP9601, bus: I2C1, address: 0x60}
heater: {pin: GPIO17, polarity: active low, insist: yes, power: 1.5 kW, window: 30 s, least on: 3 s, least off: 4 s, series: {pin: GPIO16, polarity: active high}, feedback: {pin: "6", polarity: active low}}
line chip: pinctrl-bcm2711
mains: 60 Hz
fan: {pin: GPIO27}
smoke: {pin: GPIO22, polarity: active high}
humidifier: {pin: GPIO23}
sounder: {pin: GPIO24}
door: {pin: GPIO12, polarity: active low}
limits: {chamber: 115 °C, ramp: 120 °C/h}
rules: {fan with smoke: yes}
generator: {fuel: 300 g, air: 7 L/min, heat: 110 W, moisture: 60 g, full air: 9 min, turned down: 55 %, lasts: 3 h 20 min, ember: 220 °C}
response: {gain: 120 K, lag: 20 min, second lag: 2 min, dead time: 30 s, least: 30 %, most: 150 %}
rehearsal:
  inside: {width: 60 cm, depth: 55 cm, height: 120 cm}
  wall: [{material: brick, thickness: 115 mm}, {material: mineral wool, thickness: 30 mm}]
  racks: 4 kg
  element: 0.8 kg
  leak: 4 cm²
  vent: 100 cm²
  fan flow: 150 m³/h
  fan exchange: 10 m³/h
  humidifier: 500 g
altitude: 420 m
`

// least is the shortest cabinet file there can be.
const least = `cabinet: Drum
ambient: 15 °C
probes: [{name: chamber, role: chamber, chip: simulated}]
heater: {pin: simulated, power: 800 W}
limits: {chamber: 110 °C}
response: {gain: 100 K, lag: 10 min, second lag: 0 s, dead time: 0 s}
`

func ExampleParse() {
	_, err := Parse("niche.yaml", []byte(strings.Replace(niche, "chamber: 115 °C", "chamber: 115", 1)))
	fmt.Println(err)
	// Output:
	// niche.yaml:17:19: chamber: missing unit in "115"; write 115 °C or 115 °F
	//   15 | sounder: {pin: GPIO24}
	//   16 | door: {pin: GPIO12, polarity: active low}
	//   17 | limits: {chamber: 115, ramp: 120 °C/h}
	//      |                   ^
	//   18 | rules: {fan with smoke: yes}
	//   19 | generator: {fuel: 300 g, air: 7 L/min, heat: 110 W, moisture: 60 g, full air: 9 min, turned down: 55 %, lasts: 3 h 20 mi…
}

func TestParse(t *testing.T) {
	got, err := Parse("niche.yaml", []byte(niche))
	require.NoError(t, err)
	curve, err := thermistor.FromBeta(thermistor.Point{Temperature: 25, Ohms: 10000}, 3950)
	require.NoError(t, err)
	slow := Relay{Fitted: true, Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
	on := func(pin string, line int) Relay { r := slow; r.Pin, r.Line = pin, line; return r }
	assert.Equal(t, &Cabinet{
		Name: "Tiled wall niche",
		Probes: []Probe{
			{Name: "chamber", Role: ChamberProbe, Chip: "MAX31855", Bus: "SPI0.0", Type: "K", Sheath: 30 * time.Second, Offset: -0.4, Stretch: -0.005, Line: 4},
			{Name: "core 1", Role: CoreProbe, Chip: "ADS1115", Bus: "I2C1", Address: 0x49, Line: 5,
				Thermistor: Thermistor{Input: 1, Curve: curve, Divider: thermistor.Divider{Ohms: 10000, OnTop: true}, Supply: Supply{Input: 0, Volts: 5}}},
			{Name: "wick", Role: WetBulbProbe, Chip: "MAX6675", Bus: "SPI0.1", Type: "K", Board: 30, Line: 6},
			{Name: "yard", Role: AmbientProbe, Chip: "DS18B20", Bus: "w1_bus_master1", Address: 0x1c0000031edd2a28, Line: 7},
			{Name: "ember", Role: EmberProbe, Chip: "MCP9601", Bus: "I2C1", Type: "K", Address: 0x60, Line: 8},
		},
		Altitude: 420, HasAltitude: true, Wick: WickOwnBlower,
		LineChip:   "pinctrl-bcm2711",
		MainsHertz: 60,
		Heater: Relay{Fitted: true, Pin: "GPIO17", ActiveLow: true, Insist: true, Power: 1500, Window: 30 * time.Second, MinOn: 3 * time.Second, MinOff: 4 * time.Second, Line: 9,
			Series: Wire{Fitted: true, Pin: "GPIO16", Line: 9}, Feedback: Wire{Fitted: true, Pin: "6", ActiveLow: true, Line: 9}},
		Fan:        Relay{Fitted: true, Pin: "GPIO27", Window: 2 * time.Minute, MinOn: 20 * time.Second, MinOff: 20 * time.Second, Line: 12},
		Smoke:      Relay{Fitted: true, Pin: "GPIO22", Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second, Line: 13},
		Humidifier: on("GPIO23", 14),
		Sounder:    on("GPIO24", 15),
		Door:       Wire{Fitted: true, Pin: "GPIO12", ActiveLow: true, Line: 16},
		Limits:     Limits{ChamberHigh: 115, Ramp: 120. / 3600},
		Rules:      Rules{FanWithSmoke: true},
		Generator:  Generator{Fuel: 0.3, Air: 7. / 60_000, Heat: 110, Moisture: 0.06, FullAir: 9 * time.Minute, TurnedDown: 0.55, Lasts: 200 * time.Minute, Ember: 220, Line: 19},
		Ambient:    12,
		Response:   Response{Gain: 120, Lag: 20 * time.Minute, SecondLag: 2 * time.Minute, DeadTime: 30 * time.Second, Least: 0.3, Most: 1.5},
		Rehearsal: Rehearsal{Width: 0.6, Depth: 0.55, Height: 1.2,
			Wall:  []Layer{{Material: "brick", Thickness: 0.115}, {Material: "mineral wool", Thickness: 0.03}},
			Racks: 4, Element: 0.8, PastTray: DefaultPastTray, Leak: 4e-4, Vent: 100e-4, FanFlow: 150. / 3600, FanExchange: 10. / 3600, Humidifier: 0.5},
	}, got)
	assert.True(t, got.CanRehearse())
}

func TestParseLeast(t *testing.T) {
	got, err := Parse("drum.yaml", []byte(least))
	require.NoError(t, err)
	assert.False(t, got.CanRehearse())
	assert.Equal(t, Relay{Fitted: true, Pin: Simulated, Power: 800, Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second, Line: 4}, got.Heater)
	for _, r := range []Relay{got.Fan, got.Smoke, got.Humidifier, got.Sounder} {
		assert.Equal(t, Relay{}, r, "what the file does not name is not fitted")
	}
	assert.Zero(t, got.Limits.Ramp)
	assert.False(t, got.Rules.FanWithSmoke, "forbidden unless the file allows it")
}

// TestEveryMaterial holds that each listed material can be named and has figures.
func TestEveryMaterial(t *testing.T) {
	for name, m := range Materials {
		_, err := Parse("niche.yaml", []byte(strings.Replace(niche, "material: brick", "material: "+name, 1)))
		assert.NoError(t, err, name)
		assert.Positive(t, min(m.Conductivity, m.Density, m.SpecificHeat), name)
	}
}

// TestBad holds the whole text that each bad file gets. To add a case, add a
// folder with a cabinet.yaml and run the test with -update.
func TestBad(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(badCabinets, "*", "cabinet.yaml"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 10, "the case folders are not where they belong")
	for _, file := range files {
		t.Run(filepath.Base(filepath.Dir(file)), func(t *testing.T) {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			c, err := Parse("cabinet.yaml", data)
			require.Error(t, err)
			assert.Nil(t, c)
			expected := filepath.Join(filepath.Dir(file), "expected.txt")
			if *update {
				require.NoError(t, os.WriteFile(expected, []byte(err.Error()+"\n"), 0o644))
			}
			want, readErr := os.ReadFile(expected)
			require.NoError(t, readErr)
			assert.Equal(t, string(want), err.Error()+"\n")
		})
	}
}

// What a batch was recorded with is read as it was meant then: cracks and damper as flows.
func TestRecordedFlowsAreRead(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(badCabinets, "leak-as-flow", "cabinet.yaml"))
	require.NoError(t, err)
	c, err := ParseRecorded("then.yaml", data)
	require.NoError(t, err)
	// 0.6·√(9.80665/310) is 0.10671 m/s: own arithmetic.
	assert.InEpsilon(t, 4./3600/0.10671, float64(c.Rehearsal.Vent), 1e-4)
	assert.InEpsilon(t, 2*0.3/3600/0.10671, float64(c.Rehearsal.Leak), 1e-4)
	c, err = ParseRecorded("now.yaml", []byte(niche))
	require.NoError(t, err)
	assert.Equal(t, quantity.SquareMeters(100e-4), c.Rehearsal.Vent)
}

// TestRequired removes one line after the other: whatever is not optional is
// missed by name.
func TestRequired(t *testing.T) {
	optional := map[string]bool{"fan": true, "smoke": true, "humidifier": true, "sounder": true, "rules": true, "generator": true, "  humidifier": true, "line chip": true, "door": true, "mains": true, "altitude": true}
	bare := strings.Replace(niche, "  - {name: ember, role: ember, chip: MCP9601, bus: I2C1, address: 0x60}\n", "", 1) // it needs the generator
	bare = strings.Replace(bare, ", ember: 220 °C", "", 1)
	lines := strings.SplitAfter(strings.TrimSuffix(bare, "\n"), "\n")
	for i, line := range lines {
		key, _, _ := strings.Cut(line, ":")
		if strings.HasPrefix(line, "  -") || key == "probes" || key == "rehearsal" {
			continue
		}
		_, err := Parse("niche.yaml", []byte(strings.Join(append(append([]string{}, lines[:i]...), lines[i+1:]...), "")))
		if optional[key] {
			assert.NoError(t, err, key)
		} else if assert.Error(t, err, key) {
			assert.Contains(t, err.Error(), "needs the key "+strings.TrimSpace(key))
		}
	}
}

// FuzzParse holds for any bytes: no panic, and either a cabinet that keeps its
// promises or faults that name a place and a remedy.
func FuzzParse(f *testing.F) {
	f.Add([]byte(niche))
	f.Add([]byte(least))
	files, err := filepath.Glob(filepath.Join(badCabinets, "*", "cabinet.yaml"))
	require.NoError(f, err)
	good, err := filepath.Glob(filepath.Join("shipped", "*.yaml"))
	require.NoError(f, err)
	require.NotEmpty(f, good)
	good = append(good, filepath.Join("..", "..", "testdata", "cabinets", "on-chips.yaml"), filepath.Join("..", "..", "deploy", "cabinet.yaml"))
	for _, file := range append(files, good...) {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse("f.yaml", data)
		if (c == nil) == (err == nil) {
			t.Fatalf("cabinet %v, error %v", c, err)
		}
		if err != nil {
			faults, ok := err.(source.Findings)
			if !ok || len(faults) == 0 {
				t.Fatalf("not faults: %T %v", err, err)
			}
			for _, fault := range faults {
				if fault.Line < 1 || fault.Column < 1 || fault.Message == "" || fault.Remedy == "" {
					t.Fatalf("incomplete fault %+v", fault)
				}
			}
			return
		}
		chamber := 0
		for _, p := range c.Probes {
			if p.Name == "" || p.Role == 0 || p.Chip == "" {
				t.Fatalf("incomplete probe %+v", p)
			}
			if p.Role == ChamberProbe {
				chamber++
			}
			if p.Simulated() != c.Simulated() {
				t.Fatalf("half simulated: %+v %+v", p, c.Heater)
			}
		}
		h := c.Heater
		if chamber < 1 || chamber > MaxChamberProbes || !h.Fitted || h.Pin == "" || !(h.Power > 0) || h.Window < h.MinOn+h.MinOff ||
			!(c.Limits.ChamberHigh >= 20 && c.Limits.ChamberHigh <= 150) || !(c.Response.Gain > 0) || c.Response.Lag <= 0 || c.Response.SecondLag > c.Response.Lag {
			t.Fatalf("incomplete cabinet %+v", c)
		}
		if c.CanRehearse() != (c.Rehearsal.Width > 0) {
			t.Fatalf("half a rehearsal %+v", c.Rehearsal)
		}
	})
}
