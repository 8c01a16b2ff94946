// Package plausible judges and smooths the readings of probes after their front
// ends have: limits of the place, the steepest change that physics allows, values
// that stand still for too long, median and low-pass with a stated lag, several
// probes of one place, and calibration at the ice point and the boiling point.
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
	// Frozen is how long readings may be the same to the last bit; after that they
	// are stale. It must be longer than the place can hold one step of the front end:
	// with steps of 1/4 K, a core in ice water does so for many minutes, with 1/128 K
	// hardly for one. Zero does not look.
	Frozen time.Duration
}

// A Track is what Check remembers of one probe. The zero Track has seen nothing.
type Track struct {
	Seen     bool
	Accepted quantity.Celsius // last
	At       time.Duration    // when
	Same     quantity.Celsius // the value that came last, accepted or not
	Since    time.Duration    // since when it is the same
}

// Check judges the next reading of a probe.
func (l Limits) Check(t Track, now time.Duration, r sensors.Reading) (Track, sensors.Reading) {
	v, ok := r.Value()
	if !ok {
		return t, r
	}
	if !t.Seen || v != t.Same || now < t.Since {
		t.Same, t.Since = v, now
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
	t.Seen, t.Accepted, t.At = true, v, now
	if l.Frozen > 0 && now-t.Since > l.Frozen {
		return t, sensors.Fault(sensors.Stale)
	}
	return t, r
}
