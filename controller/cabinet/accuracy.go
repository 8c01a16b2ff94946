package cabinet

import (
	"fmt"
	"math"
	"slices"
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

// A couple of another type than its front end is set to reads right at the temperature of
// the board, and beyond it by the ratio of their sensitivities, from IEC 60584-1 around
// 10 °C, in µV/K: E 59.5, J 50.9, K 39.9, T 39.3, N 26.3. Of each type: by how much the one
// that is nearest to it gives less, and by how much the nearest that gives more. K and T
// are one here: they differ by 1.4 K at 70 °C.
var gains = map[string]struct{ less, more float64 }{
	"E": {0.14, 1}, "J": {0.21, 0.16}, "K": {0.34, 0.27}, "T": {0.33, 0.28}, "N": {0.7, 0.49},
}

// WarmBoard is how warm the board of its front end has to be for ice water to show a wire
// of another type, and false for a probe that is no couple: a wire that gives more reads
// below -1 °C then, and one that gives less beyond the probe's tolerance.
func (p *Probe) WarmBoard() (quantity.Celsius, bool) {
	kind := p.Type
	if p.Simulated() {
		kind = "K"
	}
	g, couple := gains[kind]
	if !couple {
		return 0, false
	}
	return quantity.Celsius(max(1.1/g.more, float64(p.Tolerance())/g.less)), true
}

// The thermistors of this work are of some 3400 to 4000 K: one of another curve is off by a
// seventh of the distance from the 25 °C at which they are named. Common practice, no source.
const (
	otherCurve                  = 0.13
	namedAt    quantity.Celsius = 25
)

// othersAgree is how near to the point where all kinds of probe agree none is told from
// another; common practice, no source.
const othersAgree quantity.Kelvin = 20

// AnotherIsOff is by how much a probe of another kind that somebody put in its place is off
// at the least where this one reads v: nothing near to where all kinds agree, which is the
// temperature of the board for a couple, if that is known. A chip that sends a number has no wire of another kind.
func (p *Probe) AnotherIsOff(v, board quantity.Celsius, known bool) quantity.Kelvin {
	kind := p.Type
	if p.Simulated() {
		kind = "K"
	}
	gain, from := otherCurve, namedAt
	switch g, couple := gains[kind]; {
	case couple && !known:
		return 0
	case couple:
		gain, from = min(g.less, g.more), board
	case slices.Contains([]string{"BME280", "BMP280", "MCP9808", "DS18B20"}, p.Chip):
		return quantity.Kelvin(math.Inf(1))
	}
	if apart := quantity.Kelvin(math.Abs(float64(v - from))); apart >= othersAgree {
		return quantity.Kelvin(gain) * apart
	}
	return 0
}

// calibrationHolds is for how long a calibration speaks for a probe. Common practice, no
// source: HACCP plans check thermometers far more often.
const calibrationHolds = 366 * 24 * time.Hour

// Unshown are the core probes, a bit for each, that no calibration speaks for on a day:
// none in the file, one from too long ago or from the days to come, or nobody knows the
// day. What exists only in rehearsal is as good as its file says.
func (c *Cabinet) Unshown(day time.Time, known bool) (cores uint8) {
	for i := range MaxCoreProbes {
		p := c.ProbeOf(CoreProbe, i)
		if p == nil || p.Simulated() {
			continue
		}
		since := day.Sub(p.Calibrated)
		if !known || !p.HasError || p.Calibrated.IsZero() || since < -24*time.Hour || since > calibrationHolds {
			cores |= 1 << i
		}
	}
	return cores
}

// Undated are the core probes, a bit for each, of which the file names no day of calibration:
// a rehearsal knows no other day, and shows these in ice water.
func (c *Cabinet) Undated() (cores uint8) {
	for i := range MaxCoreProbes {
		if p := c.ProbeOf(CoreProbe, i); p != nil && p.Calibrated.IsZero() {
			cores |= 1 << i
		}
	}
	return cores
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
