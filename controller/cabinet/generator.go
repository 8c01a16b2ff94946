package cabinet

import (
	"fmt"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Generator is the smoke generator. Its pump runs without a pause for FullAir and
// gives it a share of that air afterwards, by the window of the smoke relay.
type Generator struct {
	Fuel     quantity.Kilograms            // wood of one filling, air-dry; zero is not said
	Air      quantity.CubicMetersPerSecond // what its pump blows in without a pause
	Heat     quantity.Watts                // what it adds to the chamber at full air
	Moisture quantity.Kilograms            // water vapour from one filling, the wood's own and what smouldering makes
	FullAir  time.Duration                 // from lighting it, until its ember glows
	// TurnedDown is the share of full air after that. Zero, which no file can say, is
	// never turned down.
	TurnedDown quantity.Ratio
	// Lasts is how long one filling lasts as it is run here: at full air for FullAir
	// and turned down after that.
	Lasts time.Duration
	// Ember is above what an ember probe says that it smoulders; zero without one.
	Ember quantity.Celsius
	Old   string // the first key of the old form that the file still has, for messages
	Line  int    // of the file, for messages
}

// What a file leaves out; own magnitudes, no source. What is far below the 300 to
// 600 °C of smouldering wood (from memory) goes out.
const (
	usualTurnedDown quantity.Ratio   = 0.6
	usualEmber      quantity.Celsius = 200
)

// longestPause is how long the pump may rest between two pulses before the ember
// suffers; own magnitude, no source: the air in the wood of the simulated one comes and
// goes within a minute.
const longestPause = 2 * time.Minute

// generatorKeys are the keys that a generator cannot do without.
const generatorKeys = "{fuel: …, air: …, heat: …, moisture: …}"

var (
	lastsRange      = source.Range[time.Duration]{Low: 0, High: 48 * time.Hour, Above: true, Text: quantity.FormatDuration}
	generatorHeat   = source.Range[quantity.Watts]{Low: 0, High: 5000, Text: quantity.Watts.String}
	generatorAir    = source.Range[quantity.CubicMetersPerSecond]{Low: 0, High: 100. / 3600, Text: quantity.CubicMetersPerSecond.String}
	moistureRange   = source.Range[quantity.Kilograms]{Low: 0, High: 10, Text: quantity.Kilograms.String}
	fuelRange       = source.Range[quantity.Kilograms]{Low: 0.01, High: 50, Text: quantity.Kilograms.String}
	fullAirRange    = source.Range[time.Duration]{Low: 0, High: time.Hour, Text: quantity.FormatDuration}
	turnedDownRange = source.Range[quantity.Ratio]{Low: 0.1, High: 1, Text: quantity.Ratio.String, Why: "an ember needs air"}
	emberRange      = source.Range[quantity.Celsius]{Low: 80, High: 600, Text: quantity.Celsius.String, Why: "wood smoulders between 300 and 600 °C"}
)

// pump are the timings of a smoke relay whose file names none: long enough for a
// motor to run up, short enough for the ember not to feel the pauses; own magnitudes,
// no source.
var pump = Relay{Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second}

// parseGenerator reads the generator that the smoke relay blows; probed is whether
// there is an ember probe.
func parseGenerator(m *source.Map, smoke Relay, probed bool) Generator {
	var g Generator
	if m == nil {
		return g
	}
	g.Line, g.TurnedDown = m.Line(), usualTurnedDown
	lasts, fullAir := g.renamed(m, "lasts", "burn"), g.renamed(m, "full air", "lighting")
	if lasts.Present() {
		g.Lasts, _ = source.ReadIn(lasts, quantity.ParseDuration, lastsRange)
		g.Fuel, _ = source.ReadIn(m.Take("fuel"), quantity.ParseMass, fuelRange)
	} else {
		g.Fuel, _ = source.ReadIn(m.Need("fuel"), quantity.ParseMass, fuelRange)
	}
	air := m.Need("air")
	var airRead bool
	g.Air, airRead = source.ReadIn(air, quantity.ParseFlow, generatorAir)
	if airRead && g.Air == 0 && !lasts.Present() {
		air.Fault("wood that gets no air does not smoulder", "write what the pump blows, or say how long a filling lasts with lasts")
	}
	g.Heat, _ = source.ReadIn(m.Need("heat"), quantity.ParsePower, generatorHeat)
	g.Moisture, _ = source.ReadIn(m.Need("moisture"), quantity.ParseMass, moistureRange)
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
	if fullAir.Present() {
		g.FullAir, _ = source.ReadIn(fullAir, quantity.ParseDuration, fullAirRange)
	}
	g.times(m, lasts, fullAir)
	if pause := longestOff(smoke, g.Share()); smoke.Fitted && pause > longestPause {
		m.Fault(fmt.Sprintf("at %v the pump rests for %s at a time, and the ember may die meanwhile", g.Share(), quantity.FormatDuration(pause.Round(time.Second))),
			"give smoke a shorter window or a shorter least on time, or turn the air down less")
	}
	m.Done()
	return g
}

// times works out what the file leaves out of how long a filling lasts and how long
// its ember takes to glow.
func (g *Generator) times(m *source.Map, lasts, fullAir source.Value) {
	measured := lasts.Present()
	if measured && g.Lasts == 0 || !measured && !(g.Fuel > 0 && g.Air > 0) {
		return // what was wrong has been said
	}
	atFull := g.Lasts
	if !measured {
		atFull = g.byAir()
	}
	switch {
	case fullAir.Present():
	case g.Old != "" && measured:
		g.FullAir = oldFullAir
	case measured:
		g.FullAir = glowTime(g.measuredAtFull())
	default:
		g.FullAir = glowTime(atFull)
	}
	if atFull <= g.FullAir {
		message := fmt.Sprintf("a filling lasts %s and gets full air for %s", quantity.FormatDuration(atFull.Round(time.Second)), quantity.FormatDuration(g.FullAir))
		if measured {
			lasts.Fault(message, "write how long it lasts altogether, full air included")
		} else {
			fullAir.Fault(message, "look at fuel and air, or shorten full air")
		}
		return
	}
	if measured {
		return
	}
	g.Lasts = (g.FullAir + time.Duration(float64(atFull-g.FullAir)/float64(g.Share()))).Round(time.Second)
	if g.Lasts > lastsRange.High {
		m.Fault(fmt.Sprintf("by fuel and air a filling lasts longer than %s", quantity.FormatDuration(lastsRange.High)), "look at fuel and air, or say how long it lasts with lasts")
	}
}

// renamed takes a key that had another name in the first form of the file. Records
// keep files of that form, so it is read for ever; Lint tells of it.
func (g *Generator) renamed(m *source.Map, key, old string) source.Value {
	if !m.Has(old) {
		return m.Take(key)
	}
	if m.Has(key) {
		m.FaultAt(old, "this is the old name of "+key+", which is here as well", "remove "+old)
	}
	if g.Old == "" {
		g.Old = old
	}
	return m.Take(old)
}

// oldFullAir is what the first form of the file meant where it said nothing. Batches
// were recorded with it, and are replayed with it.
const oldFullAir = 12 * time.Minute

// longestOff is how long a relay at the share is off between two pulses: the rest of
// its window, or longer where a pulse may not be as short as the window asks for.
func longestOff(r Relay, share quantity.Ratio) time.Duration {
	if !(share > 0) || share >= 1 {
		return 0
	}
	off := float64(1 - share)
	return time.Duration(max(off*float64(r.Window), off/float64(share)*float64(r.MinOn)))
}

// What the generator may be asked for.
const (
	// fullAirBand is how many times longer or shorter than the ember's own glow time
	// full air may be: that time is right to a factor of two.
	fullAirBand = 2
	// woodHeat is the lower heating value of air-dry wood, 15 MJ/kg (a handbook
	// magnitude, from memory). Smouldering gives off less.
	woodHeat = 15e6
	// woodWater is what a kilogram of air-dry wood can give off as vapour: a sixth of
	// it is water, and its hydrogen burns to half a kilogram more (from memory).
	woodWater = 0.65
)

// lintGenerator says what is unwise about the generator.
func lintGenerator(c *Cabinet, say sayer) {
	for _, p := range c.Probes {
		if p.Role != EmberProbe || p.Chip == Simulated {
			continue
		}
		if f := fronts[p.Chip]; !f.couple || p.Type == "T" {
			say(p.Line, source.Warning, "ember-probe", fmt.Sprintf("probe %q does not stand the heat of smouldering wood, up to 600 °C", p.Name),
				"use a sheathed thermocouple of type K or N")
		}
	}
	if !c.Smoke.Fitted {
		return
	}
	g := &c.Generator
	line := g.Line
	if g.Lasts == 0 {
		say(c.Smoke.Line, source.Warning, "no-generator", "nothing is said of the smoke generator: its air is never turned down and its fuel not counted",
			"add generator: "+generatorKeys)
		return
	}
	if g.Old != "" {
		say(line, source.Warning, "old-key", fmt.Sprintf("the generator's key %s is an old name; what is left out beside it is read as it was meant then", g.Old),
			"write lasts for burn and full air for lighting; better, give fuel and air and leave both out")
	}
	if glows := glowTime(g.PumpTime()); g.FullAir < glows/fullAirBand || g.FullAir > glows*fullAirBand {
		say(line, source.Warning, "full-air", fmt.Sprintf("the smoke generator gets full air for %s after it was lit; its ember should glow after some %s, give or take a factor of two",
			quantity.FormatDuration(g.FullAir), quantity.FormatDuration(glows)), "leave full air out, unless yours is known to want it so")
	}
	if g.Fuel == 0 {
		return
	}
	if joules := float64(g.Heat) * g.PumpTime().Seconds(); joules > float64(g.Fuel)*woodHeat {
		say(line, source.Warning, "fuel", fmt.Sprintf("%v for the time that a filling lasts is more than %v of wood can give", g.Heat, g.Fuel), "lower the generator's heat, or look at fuel and air")
	}
	if float64(g.Moisture) > float64(g.Fuel)*woodWater {
		say(line, source.Warning, "fuel", fmt.Sprintf("%v of vapour is more than %v of air-dry wood gives off", g.Moisture, g.Fuel), "lower the generator's moisture, or look at fuel")
	}
}

// LeastShare is the least of full air by which the ember lives: its pump, on this relay,
// rests no longer between two pulses than it may.
func (g *Generator) LeastShare(smoke Relay) quantity.Ratio {
	pause, least := longestPause.Seconds(), float64(turnedDownRange.Low)
	if window := smoke.Window.Seconds(); window > pause {
		least = max(least, 1-pause/window)
	}
	if on := smoke.MinOn.Seconds(); on > 0 {
		least = max(least, on/(on+pause))
	}
	return quantity.Ratio(least)
}
