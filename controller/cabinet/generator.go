package cabinet

import (
	"fmt"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Generator is the smoke generator. Its pump runs without a pause for Lighting
// and gives it a share of that air afterwards, by the window of the smoke relay.
type Generator struct {
	// Burn is how long one filling lasts as it is run here: at full air for Lighting
	// and turned down after that.
	Burn     time.Duration
	Heat     quantity.Watts                // what it adds to the chamber at full air
	Air      quantity.CubicMetersPerSecond // what its pump blows in without a pause
	Moisture quantity.Kilograms            // water vapour from one filling
	Fuel     quantity.Kilograms            // wood of one filling; zero is not said
	Lighting time.Duration                 // full air for so long after it was lit
	// TurnedDown is the share of full air after that. Zero, which no file can say, is
	// never turned down.
	TurnedDown quantity.Ratio
	// Ember is above what an ember probe says that it smoulders; zero without one.
	Ember quantity.Celsius
	Line  int // of the file, for messages
}

// What a file leaves out. Common practice, no source: full air for the first ten
// to fifteen minutes, then a little less; smouldering wood has 300 to 600 °C, and
// what is well below that goes out.
const (
	usualLighting                    = 12 * time.Minute
	usualTurnedDown quantity.Ratio   = 0.6
	usualEmber      quantity.Celsius = 200
)

// longestPause is how long the pump may rest between two pulses before the ember
// suffers. Common practice, no source.
const longestPause = 2 * time.Minute

var (
	burnRange       = source.Range[time.Duration]{Low: 0, High: 48 * time.Hour, Above: true, Text: quantity.FormatDuration}
	generatorHeat   = source.Range[quantity.Watts]{Low: 0, High: 5000, Text: quantity.Watts.String}
	generatorAir    = source.Range[quantity.CubicMetersPerSecond]{Low: 0, High: 100. / 3600, Text: quantity.CubicMetersPerSecond.String}
	moistureRange   = source.Range[quantity.Kilograms]{Low: 0, High: 10, Text: quantity.Kilograms.String}
	fuelRange       = source.Range[quantity.Kilograms]{Low: 0.01, High: 50, Text: quantity.Kilograms.String}
	lightingRange   = source.Range[time.Duration]{Low: 0, High: time.Hour, Text: quantity.FormatDuration}
	turnedDownRange = source.Range[quantity.Ratio]{Low: 0.1, High: 1, Text: quantity.Ratio.String, Why: "an ember needs air"}
	emberRange      = source.Range[quantity.Celsius]{Low: 80, High: 600, Text: quantity.Celsius.String, Why: "wood smoulders between 300 and 600 °C"}
)

// pump are the timings of a smoke relay whose file names none: long enough for a
// motor to run up, short enough for the ember not to feel the pauses. Common
// practice, no source.
var pump = Relay{Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second}

// Share is how much of full air the generator gets once it is turned down.
func (g *Generator) Share() quantity.Ratio {
	if g.TurnedDown == 0 {
		return 1
	}
	return g.TurnedDown
}

// FullBurn is how long one filling would last at full air: smouldering is short of
// air, so the wood that goes is taken to follow the air that comes.
func (g *Generator) FullBurn() time.Duration {
	lighting := min(g.Lighting, g.Burn)
	return lighting + time.Duration(float64(g.Share())*float64(g.Burn-lighting))
}

// parseGenerator reads the generator that the smoke relay blows; probed is whether
// there is an ember probe.
func parseGenerator(m *source.Map, smoke Relay, probed bool) Generator {
	var g Generator
	burn := m.Need("burn")
	var burnRead bool
	g.Burn, burnRead = source.ReadIn(burn, quantity.ParseDuration, burnRange)
	g.Heat, _ = source.ReadIn(m.Need("heat"), quantity.ParsePower, generatorHeat)
	g.Air, _ = source.ReadIn(m.Need("air"), quantity.ParseFlow, generatorAir)
	g.Moisture, _ = source.ReadIn(m.Need("moisture"), quantity.ParseMass, moistureRange)
	g.Fuel, _ = source.ReadIn(m.Take("fuel"), quantity.ParseMass, fuelRange)
	if m == nil {
		return g
	}
	g.Lighting, g.TurnedDown, g.Line = usualLighting, usualTurnedDown, m.Line()
	if v := m.Take("lighting"); v.Present() {
		g.Lighting, _ = source.ReadIn(v, quantity.ParseDuration, lightingRange)
	}
	if v := m.Take("turned down"); v.Present() {
		g.TurnedDown, _ = source.ReadIn(v, quantity.ParseRatio, turnedDownRange)
	}
	switch v := m.Take("ember"); {
	case v.Present() && !probed:
		v.Fault("there is no ember probe to hold against it", "give a probe role: ember, or remove the key")
	case v.Present():
		g.Ember, _ = source.ReadIn(v, quantity.ParseTemperature, emberRange)
	case probed:
		g.Ember = usualEmber
	}
	if burnRead && g.Burn <= g.Lighting {
		burn.Fault(fmt.Sprintf("a filling lasts %s and is lit for %s", quantity.FormatDuration(g.Burn), quantity.FormatDuration(g.Lighting)),
			"write how long it lasts altogether, lighting included")
	}
	if pause := longestOff(smoke, g.Share()); smoke.Fitted && pause > longestPause {
		m.Fault(fmt.Sprintf("at %v the pump rests for %s at a time, and the ember may die meanwhile", g.Share(), quantity.FormatDuration(pause.Round(time.Second))),
			"give smoke a shorter window or a shorter least on time, or turn the air down less")
	}
	m.Done()
	return g
}

// longestOff is how long a relay at the share is off between two pulses: the rest of
// its window, or longer where a pulse may not be as short as the window asks for.
func longestOff(r Relay, share quantity.Ratio) time.Duration {
	if !(share > 0) || share >= 1 {
		return 0
	}
	off := float64(1 - share)
	return time.Duration(max(off*float64(r.Window), off/float64(share)*float64(r.MinOn)))
}

// What the generator may be asked for; common practice, no source.
const (
	leastLighting = 10 * time.Minute
	mostLighting  = 15 * time.Minute
	// woodHeat is the lower heating value of air-dry wood, 15 MJ/kg (a handbook
	// magnitude, from memory). Smouldering gives off less.
	woodHeat = 15e6
	// woodWater is what a kilogram of air-dry wood can give off as vapour: a sixth of
	// it is water, and its hydrogen burns to half a kilogram more (from memory).
	woodWater = 0.65
)

// lintGenerator says what is unwise about the generator.
func lintGenerator(c *Cabinet, say func(line int, warning bool, code, message, remedy string)) {
	for _, p := range c.Probes {
		if p.Role != EmberProbe || p.Chip == Simulated {
			continue
		}
		if f := fronts[p.Chip]; !f.couple || p.Type == "T" {
			say(p.Line, true, "ember-probe", fmt.Sprintf("probe %q does not stand the heat of smouldering wood, up to 600 °C", p.Name),
				"use a sheathed thermocouple of type K or N")
		}
	}
	if !c.Smoke.Fitted {
		return
	}
	g := &c.Generator
	line := g.Line
	if g.Burn == 0 {
		say(c.Smoke.Line, true, "no-generator", "nothing is said of the smoke generator: its air is never turned down and its fuel not counted",
			"add generator: {burn: …, heat: …, air: …, moisture: …}")
		return
	}
	if g.Lighting < leastLighting || g.Lighting > mostLighting {
		say(line, true, "lighting", fmt.Sprintf("the smoke generator gets full air for %s after it was lit; ten to fifteen minutes is what most need", quantity.FormatDuration(g.Lighting)),
			"write generator: lighting: 12 min, unless yours is known to want it so")
	}
	if g.Fuel == 0 {
		return
	}
	if joules := float64(g.Heat) * g.FullBurn().Seconds(); joules > float64(g.Fuel)*woodHeat {
		say(line, true, "fuel", fmt.Sprintf("%v for the time that a filling lasts is more than %v of wood can give", g.Heat, g.Fuel), "lower the generator's heat, or look at fuel and burn")
	}
	if float64(g.Moisture) > float64(g.Fuel)*woodWater {
		say(line, true, "fuel", fmt.Sprintf("%v of vapour is more than %v of air-dry wood gives off", g.Moisture, g.Fuel), "lower the generator's moisture, or look at fuel")
	}
}
