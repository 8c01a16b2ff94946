package cabinet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// PulledUpAtReset reports whether a pin of a Raspberry Pi's header is pulled up
// from power-up until a program takes it: GPIO0 to GPIO8 (Broadcom BCM2835 ARM
// Peripherals, table of alternative functions, as recalled from memory; the
// GPIO driver of periph.io has the same list).
func PulledUpAtReset(offset int) bool { return offset >= 0 && offset <= 8 }

// gpioNumber is n of a pin named GPIOn or n, which are the same on a Raspberry Pi's
// header, or -1.
func gpioNumber(pin string) int {
	if n, err := strconv.Atoi(strings.TrimPrefix(pin, "GPIO")); err == nil {
		return n
	}
	return -1
}

// takenBy are the header pins of a Raspberry Pi that a bus needs (common practice,
// no source: the assignments of its usual overlays).
var takenBy = map[string][]int{
	"I2C0": {0, 1}, "I2C1": {2, 3}, "w1_bus_master1": {4},
	"SPI0": {9, 10, 11}, "SPI0.0": {8}, "SPI0.1": {7},
	"SPI1": {19, 20, 21}, "SPI1.0": {18}, "SPI1.1": {17}, "SPI1.2": {16},
}

// foamLimit is how hot a chamber with rigid foam in its walls may get; own magnitude,
// no source.
const foamLimit quantity.Celsius = 95

// A sayer takes one finding: at which line of the file, how grave, its code, what is
// wrong and what to do.
type sayer func(line int, severity source.Severity, code, message, remedy string)

// Lint reports what is unwise, or refused when it is wired, in a cabinet that
// Parse has taken. An error is one that the daemon will not run.
func Lint(c *Cabinet, file string) source.Findings {
	var found source.Findings
	say := func(line int, severity source.Severity, code, message, remedy string) {
		found = append(found, source.Finding{File: file, Line: max(line, 1), Column: 1, Severity: severity,
			Code: code, Message: message, Remedy: remedy})
	}
	lintChips(c, say)
	lintGenerator(c, say)
	lintWalls(c, say)
	if c.Simulated() {
		return found
	}
	lintProbes(c, say)
	if !c.Fan.Fitted {
		say(1, source.Warning, "no-fan", "no fan: the air is hotter above than below and the probe sees one place only", "add a fan, or hang the probe at the height of the product")
	}
	if !c.Door.Fitted {
		say(1, source.Warning, "no-door", "no switch tells whether the door is open: the heater runs on against an open door until the chamber has not followed for long",
			"add door: {pin: …}; heater, fan and smoke then wait at once, and a chamber that does not follow its heat means something else")
	}
	if c.Smoke.Fitted && c.Generator.Fuel > 0 && !c.Has(EmberProbe) {
		say(c.Smoke.Line, source.Warning, "no-ember", "no probe sits in the wood of the smoke generator: an ember that went out, or that burns on when nothing shall smoke, is seen by nobody",
			"add a thermocouple with role: ember")
	}
	lintHeater(c, say)
	lintPins(c, say)
	lintPanel(c, say)
	slices.SortStableFunc(found, func(a, b source.Finding) int { return a.Line - b.Line })
	return found
}

// lintChips judges each probe's front end.
func lintChips(c *Cabinet, say sayer) {
	for _, p := range c.Probes {
		judged := p.Role == ChamberProbe || p.Role == CoreProbe
		switch {
		case p.Chip == "MCP9600" && judged:
			say(p.Line, source.Warning, "blind-chip", fmt.Sprintf("probe %q hangs on an MCP9600, which cannot see an open wire: an unplugged probe may go on giving plausible numbers", p.Name),
				"use an MCP9601, MAX31855 or MAX31856 for the chamber and the core")
		case p.Chip == "MAX6675" && p.Role == CoreProbe:
			say(p.Line, source.Warning, "no-frost", fmt.Sprintf("probe %q hangs on a MAX6675, which reads nothing at 0 °C and below", p.Name),
				"use another chip if the core is followed through an ice bath")
		case p.Chip == "ADS1115" && p.Thermistor.Supply.Input == Unmeasured && judged:
			say(p.Line, source.Warning, "unmeasured-supply", fmt.Sprintf("nothing measures what feeds the divider of %q: each percent that it is off from %s shifts the reading by about half a kelvin",
				p.Name, volts(p.Thermistor.Supply.Volts)), "wire the dividers' supply to a free input and name it: supply: {input: 3, voltage: 3.3 V}")
		case p.Chip == "DS18B20" && judged:
			say(p.Line, source.Warning, "short-range", fmt.Sprintf("probe %q is a DS18B20, which is within 0.5 K only up to 85 °C", p.Name),
				"use a thermocouple or a thermistor for the chamber and the core")
		}
	}
}

// lintWalls judges what the chamber is made of.
func lintWalls(c *Cabinet, say sayer) {
	for _, l := range c.Rehearsal.Wall {
		if l.Material == "rigid foam" && c.Limits.ChamberHigh > foamLimit {
			say(1, source.Warning, "foam-wall", fmt.Sprintf("the walls hold rigid foam and the chamber may reach %s: foam softens near 100 °C and gives off poisonous gas when it gets hot", c.Limits.ChamberHigh),
				fmt.Sprintf("lower limits: {chamber: …} to %s, or take mineral wool", foamLimit))
			break
		}
	}
}

// lintProbes says which probes are missing, and what a wet bulb wants besides.
func lintProbes(c *Cabinet, say sayer) {
	chambers, cores := 0, 0
	for _, p := range c.Probes {
		switch p.Role {
		case ChamberProbe:
			chambers++
		case CoreProbe:
			cores++
		}
	}
	if cores == 0 {
		say(1, source.Warning, "no-core", "no probe measures a core, so no batch can prove that it is done", "add a probe with role: core")
	}
	if chambers == 1 {
		say(1, source.Warning, "one-chamber-probe", "a single probe in the chamber has nothing to be held against: one that comes to read low, wanders off or slips out of the chamber once the heat is on overheats it unseen; in rehearsals one that fell by 20 K an hour let the air get 48 K over the limit",
			"add a second probe with role: chamber, on a chip of its own: they are then held against each other in every second")
	}
	if !c.Has(AmbientProbe) {
		say(1, source.Warning, "no-room", "nothing measures the room: a chamber at rest is held against what the file expects of the room, give or take 15 K, or against the boards of the front ends",
			"add a probe with role: ambient; a chamber probe that is wrong by more than a few kelvin then shows before the start")
	}
	for i := range c.Probes {
		p := &c.Probes[i]
		if wrong, why := p.Accuracy(); p.Role == CoreProbe && !p.HasError {
			say(p.Line, source.Warning, "uncalibrated", fmt.Sprintf("nothing says how far probe %q may be wrong, so every core counts as %v off (%s): a core of 72 °C must read %v", p.Name, wrong, why, 72+quantity.Celsius(wrong)),
				"until then no batch is called good by it unless it was shown in ice water; measure it with `fumarium wiring calibrate` and write down what that prints, such as error: 0.4 K and calibrated: 2026-11-28")
		}
		if p.Role == WetBulbProbe && !c.HasAltitude {
			say(p.Line, source.Warning, "no-altitude", fmt.Sprintf("probe %q is a wet bulb, and its humidity is reckoned for sea level: at 1500 m up to 2 %%RH too little", p.Name),
				"add the key altitude, such as altitude: 420 m")
		}
		if p.Role == WetBulbProbe && c.Wick == WickOpen && !c.Fan.Fitted {
			say(p.Line, source.Warning, "still-wick", fmt.Sprintf("nothing moves the air past the wick of %q: humidity is a rough figure", p.Name),
				"add a small blower of its own and wick: own blower, or a fan")
		}
	}
}

// onHeader reports whether the lines are those of a Raspberry Pi's header.
func (c *Cabinet) onHeader() bool { return headers(c.LineChip) }

func headers(chip string) bool { return chip == "" || strings.HasPrefix(chip, "pinctrl-") }

// HeaderLine gives the offset of a line of a Raspberry Pi's header, if it is one and is
// named by its number. An empty chip is the header's.
func HeaderLine(chip, pin string) (offset int, ok bool) {
	n := gpioNumber(pin)
	return n, n >= 0 && headers(chip)
}

// lintHeater judges what the heater does without power, and when a contact welds.
func lintHeater(c *Cabinet, say sayer) {
	guard := func(what string, pin string, line int, activeLow, insist bool) {
		severity := source.Error
		if insist {
			severity = source.Warning
		}
		if activeLow {
			say(line, severity, "active-low", what+" is active low: it is on while its pin is low, and a board without power or a cable that is off may leave it so",
				"use a driver that is on when its pin is high; to wire it so all the same, add insist: yes")
		}
		if n := gpioNumber(pin); PulledUpAtReset(n) && !activeLow && c.onHeader() {
			say(line, severity, "pulled-up", fmt.Sprintf("%s is on %s, which is pulled up from power-up until this program starts", what, pin),
				"use one of GPIO9 to GPIO27 with a pull-down resistor; to wire it so all the same, add insist: yes")
		}
	}
	h := c.Heater
	guard("the heater", h.Pin, h.Line, h.ActiveLow, h.Insist)
	if h.Series.Fitted {
		guard("the heater's series relay", h.Series.Pin, h.Series.Line, h.Series.ActiveLow, h.Series.Insist)
	} else {
		say(h.Line, source.Warning, "one-contact", "one contact alone switches the heater: when it welds, only the thermal cut-out stops the heat",
			"add a second relay as series: {pin: …}, and a thermal cut-out in any case")
	}
	if !h.Feedback.Fitted {
		say(h.Line, source.Warning, "no-feedback", "nothing tells whether the element really is without voltage: a welded contact shows only when the chamber gets too hot",
			"add an input that sees the element's voltage through an isolating sensor, as feedback: {pin: …}")
	}
}

// lintPins finds pins that two things need.
func lintPins(c *Cabinet, say sayer) {
	used, lines := map[int]string{}, map[int]string{}
	buses := []string{c.Panel.Display}
	for _, p := range c.Probes {
		buses = append(buses, p.Bus)
	}
	for _, bus := range buses {
		for _, n := range busPins(bus) {
			used[n] = bus
		}
	}
	for _, w := range c.lines() {
		n := gpioNumber(w.Pin)
		if n < 0 || !c.onHeader() {
			continue
		}
		if bus := used[n]; bus != "" {
			say(w.Line, source.Error, "bus-pin", fmt.Sprintf("%s is on %s, which the bus %s needs", w.What, w.Pin, bus), "move it to a free pin")
		}
		if other := lines[n]; other != "" { // Parse takes two names for two pins
			say(w.Line, source.Error, "pin-twice", fmt.Sprintf("%s is on %s, where %s is already", w.What, w.Pin, other), "give every line a pin of its own")
		}
		lines[n] = w.What
	}
}

// lintPanel judges the display and the buttons.
func lintPanel(c *Cabinet, say sayer) {
	p := &c.Panel
	bus, _, _ := strings.Cut(p.Display, ".")
	for _, probe := range c.Probes {
		if with, _, _ := strings.Cut(probe.Bus, "."); p.Display == "" || p.Display == Simulated || with != bus {
			continue
		}
		remedy := "give the display a bus of its own, such as I2C0 or one that the kernel makes of two free pins (dtoverlay=i2c-gpio)"
		if p.OnSPI() {
			remedy = "give the display a bus of its own, such as SPI1.0 (dtoverlay=spi1-1cs)"
		}
		say(p.Line, source.Warning, "shared-bus", fmt.Sprintf("the display is on %s with probe %q: a display with a bad plug can hold the bus, and the probe is then not read", bus, probe.Name), remedy)
		break
	}
	if p.Stop.Fitted && p.Display == "" {
		say(p.Stop.Line, source.Warning, "blind-stop", "the stop button ends a batch for good, and no display counts while it is held", "add display: …, or leave the button out")
	}
	if p.Confirm.Fitted && p.Display == "" {
		say(p.Confirm.Line, source.Error, "blind-confirm", "the confirm button answers the question that the display shows, and there is none", "add display: …, or leave the button out")
	}
}
