// Package plausible judges and smooths the readings of probes after their front
// ends have: limits of the place, the steepest change that physics allows, median
// and low-pass with a stated lag, and calibration at the ice point and the boiling
// point. Whether a value stands still for too long, and what several probes of one
// place mean, depends on what heats them: the controller judges that.
//
// It never turns a fault into a number: a fault goes through as it is, and a doubt
// becomes one. It keeps no state and no clock of its own: state and time come in and
// go out as values that can be compared and recorded.
package plausible

import (
	"math"
	"time"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// Limits are what a place allows of one probe. The zero Limits allow only 0 °C.
type Limits struct {
	// Readings outside Lowest..Highest are out of range.
	Lowest, Highest quantity.Celsius
	// Rate is the steepest change; a faster one is implausible. The allowance grows
	// with the time since the last reading that was accepted, so a true jump, such
	// as a probe put into ice water, is accepted in the end. Zero does not look.
	Rate quantity.KelvinPerSecond
	// Slack is allowed on top: noise, and the front end's step.
	Slack quantity.Kelvin
}

// A Track is what Check remembers of one probe. The zero Track has seen nothing.
type Track struct {
	Seen     bool
	Accepted quantity.Celsius // last
	At       time.Duration    // when
}

// Check judges the next reading of a probe.
func (l Limits) Check(t Track, now time.Duration, r sensors.Reading) (Track, sensors.Reading) {
	v, ok := r.Value()
	if !ok {
		return t, r
	}
	if v < l.Lowest || v > l.Highest {
		return t, sensors.Fault(sensors.OutOfRange)
	}
	if t.Seen && l.Rate > 0 {
		seconds := max(now-t.At, 0).Seconds()
		if math.Abs(float64(v-t.Accepted)) > float64(l.Slack)+float64(l.Rate)*seconds {
			return t, sensors.Fault(sensors.Implausible)
		}
	}
	return Track{Seen: true, Accepted: v, At: now}, r
}
