// Package tune is an experiment by which a cabinet shows how its chamber answers to heat,
// and the fit that makes constants of it. The experiment is rest, full power to a target,
// and a relay around it: it only says which duty it wants. Whoever drives the heater by it
// keeps every trip, and may end it at any time. Like the step it has no clock and no I/O.
package tune

import (
	"time"

	"fumarium/profile/quantity"
)

// The experiment. Own magnitudes, no source.
const (
	restFor                    = 5 * time.Minute
	relayBand  quantity.Kelvin = 0.5 // to each side of the target
	Cycles                     = 6   // of the relay
	fullLimit                  = 3 * time.Hour
	relayLimit                 = 3 * time.Hour
	// Longest is how long the whole takes at most: then the heat ends by itself.
	Longest = restFor + fullLimit + relayLimit
	// Rise is how far above the room the target is, where nothing forbids it.
	Rise quantity.Kelvin = 45
)

// A Phase is where the experiment is.
type Phase uint8

// The phases, in their order. Records hold their numbers.
const (
	Rest Phase = iota
	Full
	Relay
	Done   // all that was wanted is there
	Failed // the target was not reached, or the relay did not cycle, in time
)

func (p Phase) String() string {
	if p <= Failed {
		return [...]string{"rest", "full power", "relay", "done", "failed"}[p]
	}
	return quantity.Unknown
}

// State is what the experiment remembers. It is comparable and recorded whole; the zero
// State has not begun.
type State struct {
	Phase  Phase         `record:"phase"`
	For    time.Duration `record:"for"`    // this phase
	Cycles int           `record:"cycles"` // of the relay so far
	On     bool          `record:"on"`
	// From is what the chamber read when full power came on.
	From quantity.Celsius `record:"from_celsius"`
}

// Step takes a reading in, dt after the last, and gives the duty that is wanted from now
// on.
func (s *State) Step(target, chamber quantity.Celsius, dt time.Duration) float64 {
	s.For += dt
	switch s.Phase {
	case Rest:
		if s.For >= restFor {
			s.enter(Full)
			s.From = chamber
		}
	case Full:
		// No rest on the way up: a slow chamber falls in it, and heat that does not catch up
		// soon counts as unanswered.
		if chamber >= target {
			s.enter(Relay)
			s.Cycles = 1 // full power was the first
		} else if s.For > fullLimit {
			s.enter(Failed)
		}
	case Relay:
		switch {
		case chamber > target+quantity.Celsius(relayBand):
			s.On = false
		case chamber < target-quantity.Celsius(relayBand) && !s.On:
			s.On = true
			s.Cycles++
		}
		if s.Cycles > Cycles { // each began with the heat before it over
			s.enter(Done)
		} else if s.For > relayLimit {
			s.enter(Failed)
		}
	}
	if s.On {
		return 1
	}
	return 0
}

// Cycling reports whether the relay cycles steadily: the first time it still comes down from
// full power, which two lags do not follow.
func (s *State) Cycling() bool { return s.Phase == Relay && s.Cycles > 1 || s.Phase == Done }

func (s *State) enter(p Phase) { s.Phase, s.For, s.On = p, 0, p == Full }

// Share is how far the experiment is, about; false where that is not known.
func (s *State) Share(target, chamber quantity.Celsius) (share float64, ok bool) {
	const rest, full = 0.05, 0.5
	switch {
	case s.Phase == Rest:
		return rest * s.For.Seconds() / restFor.Seconds(), true
	case s.Phase == Full && target > s.From:
		risen := float64((chamber - s.From) / (target - s.From))
		return rest + float64((full-rest)*min(1, max(0, risen))), true
	case s.Phase == Relay:
		return full + float64((1-full)*float64(min(s.Cycles, Cycles)-1)/Cycles), true
	case s.Phase == Done:
		return 1, true
	}
	return 0, false
}
