package cabinet

import (
	"fmt"
	"time"

	"fumarium/profile/quantity"
)

// A wire's tolerance when it is new, below 125 °C: IEC 60584-1:2013, class 2, as tabulated
// by two makers. A wire of another class has a smaller one, which the file may say.
var wires = map[string]quantity.Kelvin{"K": 2.5, "J": 2.5, "N": 2.5, "E": 2.5, "T": 1}

const wireSource = "IEC 60584-1 class 2"

// ends are the worst of what the makers of the front ends promise, from their data sheets:
// gain and cold junction added up.
var ends = map[string]quantity.Kelvin{
	"MAX31855": 4,   // 2 of gain and offset, 2 of the cold junction
	"MAX31856": 0.9, // 0.7 of the cold junction, 0.13 of its table, and the gain
	"MAX6675":  5,   // recalled from memory, and so on the side of more
	"MCP9600":  1.5,
	"MCP9601":  1.5,
	"BME280":   1.5, // 1.0 of the chip, and its board warms itself
	"BMP280":   1.5,
	"MCP9808":  0.5, // from -20 to 100 °C; these three recalled from memory
	"DS18B20":  0.5, // from -10 to 85 °C
	"ADS1115":  1.5, // own figure, no source: parts of one name differ by 0.9 K at 100 °C, and the divider adds
}

// dateForm is how the file gives a day.
const dateForm = "2006-01-02"

// Accuracy is how far the probe may be wrong, and what says so: the file, or for one that
// does not say it the tolerance of its kind. A probe that exists only in rehearsal is as
// good as its file says.
func (p *Probe) Accuracy() (quantity.Kelvin, string) {
	switch {
	case p.HasError && p.Calibrated.IsZero():
		return p.Error, "the cabinet file"
	case p.HasError:
		return p.Error, "calibrated " + p.Calibrated.Format(dateForm)
	case p.Simulated():
		return 0, "exists only in rehearsal"
	}
	if wire, couple := wires[p.Type]; couple {
		return wire + ends[p.Chip], fmt.Sprintf("not calibrated: %v of type %s wire (%s) and %v of the %s", wire, p.Type, wireSource, ends[p.Chip], p.Chip)
	}
	return ends[p.Chip], fmt.Sprintf("not calibrated: %v of the %s", ends[p.Chip], p.Chip)
}

// How far a probe may read from the truth before it is doubted, at least and at most; own
// magnitudes, no source. Less is noise, and ice that nobody stirs. More would pass a wire of
// another type in ice water; who has such a front end calibrates it.
const (
	leastTolerance     quantity.Kelvin = 0.5
	mostTolerance      quantity.Kelvin = 3
	rehearsedTolerance quantity.Kelvin = 2.5 // of what exists only in rehearsal: wire of class 2
)

// Tolerance is how far the probe may read from what is known of its place before it is
// doubted: its error, within bounds.
func (p *Probe) Tolerance() quantity.Kelvin {
	e, _ := p.Accuracy()
	if p.Simulated() && !p.HasError {
		return rehearsedTolerance
	}
	return min(max(e, leastTolerance), mostTolerance)
}

// CoreError is the largest error of its core probes: each of them may be the coldest or
// the hottest.
func (c *Cabinet) CoreError() quantity.Kelvin {
	var most quantity.Kelvin
	for i := range c.Probes {
		if p := &c.Probes[i]; p.Role == CoreProbe {
			e, _ := p.Accuracy()
			most = max(most, e)
		}
	}
	return most
}

// parseDate reads a day.
func parseDate(text string) (time.Time, error) {
	t, err := time.Parse(dateForm, text)
	if err != nil {
		return time.Time{}, &quantity.ParseError{Message: fmt.Sprintf("%q is no day", text), Remedy: "write year, month and day, as in 2026-11-28"}
	}
	return t, nil
}
