package cabinet

import (
	"slices"
	"strings"

	"fumarium/profile/source"
)

// A Claim is a part of the board that a cabinet takes for itself: a line, or a bus.
type Claim struct {
	What      string // "the heater"
	Chip, Pin string // of a line
	Bus       string // as SPI0.0, I2C1 or w1_bus_master1; empty for a line
	Line      int    // of the file, for messages
}

// On says where it is.
func (c Claim) On() string {
	if c.Bus != "" {
		return "the bus " + c.Bus
	}
	return c.Pin
}

// Claims are what a cabinet takes of the board, its lines first. One that exists only in
// rehearsal takes nothing.
func (c *Cabinet) Claims() []Claim {
	if c.Simulated() {
		return nil
	}
	all := c.lines()
	bus := func(what, name string, line int) {
		if name != "" && name != Simulated {
			all = append(all, Claim{What: what, Bus: name, Line: line})
		}
	}
	for i := range c.Probes {
		bus("the probe "+c.Probes[i].Name, c.Probes[i].Bus, c.Probes[i].Line)
	}
	bus("the display", c.Panel.Display, c.Panel.Line)
	return all
}

// lines are the wires that hang on a line of their own.
func (c *Cabinet) lines() (all []Claim) {
	add := func(what, pin string, line int) {
		if pin != "" && pin != Simulated {
			all = append(all, Claim{What: what, Chip: c.LineChip, Pin: pin, Line: line})
		}
	}
	h := c.Heater
	add("the heater", h.Pin, h.Line)
	add("the heater's series relay", h.Series.Pin, h.Series.Line)
	add("the heater's feedback", h.Feedback.Pin, h.Feedback.Line)
	add("the fan", c.Fan.Pin, c.Fan.Line)
	add("the smoke generator", c.Smoke.Pin, c.Smoke.Line)
	add("the door switch", c.Door.Pin, c.Door.Line)
	add("the humidifier", c.Humidifier.Pin, c.Humidifier.Line)
	add("the damper's drive", c.Damper.Pin, c.Damper.Line)
	add("the cooler", c.Cooler.Pin, c.Cooler.Line)
	add("the sounder", c.Sounder.Pin, c.Sounder.Line)
	add("the light", c.Light.Pin, c.Light.Line)
	add("the display's data line", c.Panel.DataLine.Pin, c.Panel.DataLine.Line)
	for _, b := range c.Panel.Buttons() {
		add("the button "+b.Name, b.Wire.Pin, b.Wire.Line)
	}
	return all
}

// SameLine reports whether two pins are one line, however a cabinet file writes them:
// GPIO17 is 17 on a Raspberry Pi's header, whose chip need not be named. A line that a
// board calls by another name of its own is another one here.
func SameLine(chip, pin, otherChip, otherPin string) bool {
	if chip == otherChip && pin == otherPin {
		return true
	}
	n, on := HeaderLine(chip, pin)
	m, also := HeaderLine(otherChip, otherPin)
	return on && also && n == m && (chip == otherChip || chip == "" || otherChip == "")
}

// Clashes reports whether two cabinets cannot both have theirs. Of SPI each chip select
// is one cabinet's: a chip that is not selected drives nothing. On I2C and 1-Wire any chip
// can hold the wire and silence all, so the whole bus is. A line that a bus needs on a
// Raspberry Pi's header is nobody else's.
func (c Claim) Clashes(o Claim) bool {
	switch {
	case c.Bus != "" && o.Bus != "":
		return c.Bus == o.Bus
	case c.Bus != "":
		return o.Clashes(c)
	case o.Bus != "":
		n, on := HeaderLine(c.Chip, c.Pin)
		return on && slices.Contains(busPins(o.Bus), n)
	}
	return SameLine(c.Chip, c.Pin, o.Chip, o.Pin)
}

// busPins are the lines of a Raspberry Pi's header that a bus needs.
func busPins(bus string) []int {
	wires, _, chosen := strings.Cut(bus, ".")
	pins := slices.Clone(takenBy[wires])
	if chosen {
		pins = append(pins, takenBy[bus]...)
	}
	return pins
}

// Disputed are the findings against a cabinet, read from file, that has what another one
// of the same board, read from otherFile, has too: one for each of its claims.
func (c *Cabinet) Disputed(file string, other *Cabinet, otherFile string) (found source.Findings) {
	theirs := other.Claims()
	for _, mine := range c.Claims() {
		i := slices.IndexFunc(theirs, mine.Clashes)
		if i < 0 {
			continue
		}
		their := theirs[i]
		where := mine.On()
		if their.On() != where {
			where += ", which is " + their.On() + " there"
		}
		found = append(found, source.Finding{
			File: file, Line: mine.Line, Column: 1, Severity: source.Error, Code: "claimed-twice",
			Message: mine.What + " is on " + where + ": " + their.What + " of the cabinet in " + otherFile + " has it",
			Remedy:  "give each cabinet of a board lines, chip selects and I2C or 1-Wire buses of its own",
		})
	}
	return found
}
