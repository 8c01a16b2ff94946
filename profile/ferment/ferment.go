// Package ferment is what published rules ask of sausage that is fermented and dried instead
// of cooked: how warm for how long until it is sour enough, how dry it must be to keep, and
// what it weighs then.
package ferment

import (
	"time"

	"fumarium/profile/quantity"
)

// SourAt is the pH at which Staphylococcus aureus stops growing.
const SourAt = 5.3

// A Table limits the degree-hours until the sausage is that sour: the sum of how far the
// room is above a base, over time. The hottest moment before decides which limit holds. The
// room counts; the core is not needed (CFIA Meat Hygiene Manual, ch. 4, as quoted).
type Table struct {
	Source string
	Unit   string // of its degree-hours
	Base   quantity.Celsius
	scale  float64 // its degrees in a kelvin
	// Below medium and up to hot: the limits of a cool, a middle and a hot room.
	medium, hot       quantity.Celsius
	cool, middle, top float64
}

// The tables. What they prove is Staphylococcus aureus only.
var (
	FSIS = Table{Source: "FSIS-GD-2023-0002, as quoted", Unit: "°F·h", Base: quantity.FromFahrenheit(60), scale: 1.8,
		medium: quantity.FromFahrenheit(90), hot: quantity.FromFahrenheit(100), cool: 1200, middle: 1000, top: 900}
	CFIA = Table{Source: "CFIA, fermented and dried meat, as quoted", Unit: "°C·h", Base: 15.6, scale: 1,
		medium: 33, hot: 37, cool: 665, middle: 555, top: 500}
)

// hair is what conversion and adding up may leave.
const hair = 1e-9

// Limit is how many degree-hours a room that was so hot at most may take.
func (t *Table) Limit(hottest quantity.Celsius) float64 {
	switch {
	case hottest > t.hot+hair:
		return t.top
	case hottest >= t.medium-hair:
		return t.middle
	}
	return t.cool
}

// Longest is how long a room of one temperature may take; without end at the base or below.
func (t *Table) Longest(at quantity.Celsius) (time.Duration, bool) {
	if at <= t.Base {
		return 0, false
	}
	return time.Duration(t.Limit(at) / (float64(at-t.Base) * t.scale) * float64(time.Hour)), true
}

// unseenAllowed is how long the room may go unread in all before nothing is shown; own
// choice.
const unseenAllowed = 5 * time.Minute

// A Course is the warmth of the room up to the moment at which the sausage was measured to
// be sour enough. Zero has seen nothing.
type Course struct {
	Time    time.Duration    `record:"time"`
	Unseen  time.Duration    `record:"unseen"`
	Hottest quantity.Celsius `record:"hottest"` // if Time is more than Unseen
	fsis    float64          `record:"fsis_seconds"`
	cfia    float64          `record:"cfia_seconds"`
	Sour    bool             `record:"sour"` // and it counts no more
}

// Add counts a step. A room that is not read counts as no warmth, and too much of that
// shows nothing.
func (c Course) Add(room quantity.Celsius, seen bool, dt time.Duration) Course {
	if c.Sour || dt <= 0 {
		return c
	}
	c.Time += dt
	if !seen || !quantity.Finite(float64(room)) {
		c.Unseen += dt
		return c
	}
	if c.Time-c.Unseen == dt || room > c.Hottest {
		c.Hottest = room
	}
	c.fsis += max(0, float64(room-FSIS.Base)*FSIS.scale) * dt.Seconds()
	c.cfia += max(0, float64(room-CFIA.Base)*CFIA.scale) * dt.Seconds()
	return c
}

// Of gives the degree-hours by a table, and its limit.
func (c Course) Of(t *Table) (degreeHours, limit float64) {
	seconds := c.fsis
	if t == &CFIA {
		seconds = c.cfia
	}
	return seconds / 3600, t.Limit(c.Hottest)
}

// Over reports whether the limit is passed, for good.
func (c Course) Over(t *Table) bool {
	got, limit := c.Of(t)
	return got > limit*(1+hair)
}

// Seen reports whether enough of it was seen.
func (c Course) Seen() bool { return c.Time > 0 && c.Unseen <= unseenAllowed }

// Water activities at which dried sausage keeps without cold.
const (
	StableInAir    = 0.85
	StableInVacuum = 0.91
	StableSource   = "FSIS-GD-2023-0002 and FSIS Jerky Guideline 2014, as quoted"
)

// Stable reports whether dried sausage keeps without cold. How wet it is for its protein
// does not show it (FSIS Jerky Guideline 2014).
func Stable(waterActivity float64, vacuum bool) bool {
	return waterActivity <= StableInAir || vacuum && waterActivity <= StableInVacuum
}

// What must be killed in dry and fermented sausage, which degree-hours do not show.
const (
	KillTargets = "5.0 log10 of Salmonella, 5.0 of toxin-forming E. coli in beef, 3.0 of Listeria monocytogenes"
	KillSource  = "FSIS-GD-2023-0002, as quoted"
)

// LeastSalt is the salt that Canada asks of fermented sausage besides 100 ppm of nitrite and
// nitrate, of the raw batch.
const (
	LeastSalt       quantity.Ratio = 0.025
	LeastCurePPM                   = 100
	LeastSaltSource                = "CFIA, fermented and dried meat, as quoted"
)

// WeightAt is what is left of the raw batch when its moisture over its protein has fallen to
// a ratio and nothing but water has gone: 100 - moisture + ratio × protein.
func WeightAt(ratio float64, moisture, protein quantity.Ratio) quantity.Ratio {
	return min(1, 1-moisture+quantity.Ratio(ratio)*protein)
}

// DryRatio is the moisture over protein of what is called dry sausage: a name, not safety
// (trade text, as quoted).
const DryRatio = 1.9
