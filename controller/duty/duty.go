// Package duty turns a demanded duty into relay on and off by time
// proportioning: one pulse in each window, with a least on-time and a least
// off-time for the contacts, and what these leave unpaid carried into the next
// windows, so that the mean is exact.
//
// It never delivers time that a trip took away, never owes more than one window
// and the longer least time, and knows neither temperatures nor clocks: the caller
// says how much time went by.
//
// The carry is a first-order sigma-delta on on-seconds: each window owes
// debt + duty·window, pays what the contacts allow and keeps the rest. All of it
// is counted in whole nanoseconds, so it is the same on every processor and does
// not drift.
package duty

import (
	"math"
	"time"
)

// longest bounds every length of time in here: far above any window, far below
// an overflow.
const longest = 24 * time.Hour

// Limits are the lengths of time that the output must keep. Negative counts as
// zero.
type Limits struct {
	// Window is the time in which at most one pulse is given. One shorter than
	// MinOn+MinOff has no room for both and is taken as their sum. Zero is for a
	// plain on/off output: it follows a demand of one half or more as soon as
	// MinOn and MinOff let it, and nothing is carried. Otherwise it should span four
	// steps at the very least; the mean is exact from there on.
	Window time.Duration
	// MinOn is how long the contacts stay closed at least.
	MinOn time.Duration
	// MinOff is how long they stay open at least.
	MinOff time.Duration
}

// State is all that the output remembers. The zero State is off since long ago
// and owes nothing. It is comparable and recorded whole.
type State struct {
	Started  bool          `record:"started"`      // Step has been called
	On       bool          `record:"on"`           // contacts closed
	Done     bool          `record:"done"`         // the pulse of this window is over
	Demand   float64       `record:"demand_ratio"` // duty asked for since the last call, 0..1
	Debt     time.Duration `record:"debt"`         // on-time asked for and not given; negative when given in advance
	Elapsed  time.Duration `record:"window"`       // since the window began
	Held     time.Duration `record:"held"`         // how long the contacts are as they are; stops counting at 24 h
	OnTime   time.Duration `record:"on_time"`      // closed in this window so far
	LastOn   time.Duration `record:"last_on_time"` // closed in the last completed window
	LastSpan time.Duration `record:"last_window"`  // length of that window; zero when none is complete
	Closures uint64        `record:"closures"`     // times the contacts closed
}

// Step moves on by dt, the time since the last call, in which the relay was as
// the last call said. It returns whether the relay is on from now until the next
// call, which it expects to come after another dt. On the first call no time has
// passed, whatever dt says. A demand outside 0..1, or NaN, counts as 0; a dt
// below zero as zero.
//
// A demand of 0 gives no pulse and ends one as soon as MinOn allows; a demand of
// 1 ends none. In between, the end of a pulse follows a demand that changes
// within the window, but a second pulse has to wait for the next window.
func Step(l Limits, s State, demand float64, dt time.Duration) (State, bool) {
	if !(demand > 0 && demand <= 1) {
		demand = 0
	}
	l.MinOn = bound(l.MinOn)
	l.MinOff = bound(l.MinOff)
	l.Window = bound(l.Window)
	if l.Window > 0 {
		l.Window = max(l.Window, l.MinOn+l.MinOff)
	}
	dt = bound(dt)

	edge := true // first call in a window
	if s.Started {
		edge = s.advance(l, dt)
	} else {
		s.Started = true
		s.Held = longest
	}
	s.Demand = demand

	on := s.decide(l, dt, edge)
	if on != s.On {
		s.On = on
		s.Held = 0
		if on {
			s.Closures++
		} else {
			s.Done = true
		}
	}
	return s, s.On
}

// Trip opens the contacts now, whatever MinOn says, and strikes out the debt: a
// trip is not paid back later. MinOff still holds afterwards, and no pulse comes
// in what is left of the window. It counts no time; call Step with a demand of 0
// for the time that went by, then Trip. Tripping again changes nothing.
func Trip(s State) State {
	if !s.Started {
		return s
	}
	if s.On {
		s.On = false
		s.Held = 0
	}
	s.Done = true
	s.Demand = 0
	s.Debt = 0
	return s
}

// Cut is Step with a demand of 0, and then Trip, in place: most outputs rest most of the
// time.
func (s *State) Cut(l *Limits, dt time.Duration) {
	// An output that rests, within a window: only its clocks go on.
	if s.Started && !s.On && s.Done && s.Demand == 0 && s.Debt == 0 && dt >= 0 && s.Elapsed+dt < l.Window && l.Window < longest {
		s.Held = min(s.Held+dt, longest)
		s.Elapsed += dt
		return
	}
	next, _ := Step(*l, *s, 0, dt)
	*s = Trip(next)
}

// Anew begins a window now, for an output that has rested because nothing was asked of it:
// what is asked anew need not wait for the end of a window in which nothing was. The
// contacts keep their least times, and one that is closed stays in its window.
func (s *State) Anew() {
	if s.On {
		return
	}
	s.Done, s.Debt, s.Elapsed, s.OnTime = false, 0, 0, 0
}

// Delivered returns the duty given over the last completed window, or since the
// start until one is complete. Without a window it is that of the last dt.
func (s State) Delivered() float64 {
	on, span := s.LastOn, s.LastSpan
	if span == 0 {
		on, span = s.OnTime, s.Elapsed
	}
	if span == 0 {
		return 0
	}
	return float64(on) / float64(span)
}

// Operations returns how often the contacts closed. One closing and the opening
// after it are one operation, the way makers of relays count contact life.
func (s State) Operations() uint64 { return s.Closures }

// advance books dt under the present relay state and reports whether a new
// window has begun.
func (s *State) advance(l Limits, dt time.Duration) (edge bool) {
	s.Held = min(s.Held+dt, longest)
	var on time.Duration
	if s.On {
		on = dt
	}
	if l.Window == 0 {
		s.Debt, s.Elapsed, s.OnTime, s.Done = 0, 0, 0, false
		if dt > 0 {
			s.LastOn, s.LastSpan = on, dt
		}
		return true
	}
	s.Debt += share(s.Demand, dt) - on
	elapsed := s.Elapsed + dt
	if elapsed < l.Window {
		s.Elapsed = elapsed
		s.OnTime += on
		return false
	}
	into := elapsed % l.Window
	switch {
	case elapsed-into > l.Window: // a stall: the last window passed as a whole
		s.LastOn = min(on, l.Window)
	case s.On:
		s.LastOn = min(s.OnTime+dt-into, l.Window)
	default:
		s.LastOn = s.OnTime
	}
	s.LastSpan = l.Window
	s.Elapsed = into
	s.OnTime = min(on, into)
	s.Done = false

	// A constant demand never owes as much. That can only come from a demand that
	// rose after the pulse was over, or from a stall; whoever asks has seen the
	// effect by now, and paying more of it late would be asking twice.
	most := l.Window + max(l.MinOn, l.MinOff)
	s.Debt = min(max(s.Debt, -most), most)
	return true
}

// decide returns whether the contacts are to be closed for the coming dt.
func (s *State) decide(l Limits, dt time.Duration, edge bool) bool {
	if s.On && s.Held < l.MinOn {
		return true
	}
	if !s.On && s.Held < l.MinOff {
		return false
	}
	if l.Window == 0 {
		return s.Demand >= 0.5
	}
	if s.Done || s.Demand == 0 {
		return false
	}
	if s.Demand == 1 {
		return true
	}
	rest := l.Window - s.Elapsed
	want := s.Debt + share(s.Demand, rest) // on-time still to come in this window
	half := (min(dt, l.Window) + 1) / 2    // a pulse ends at the nearest call
	if !s.On || edge {
		if want < max(l.MinOn, half) {
			return false
		}
		if !s.On {
			return true
		}
	}
	switch {
	case want >= rest:
		return true
	case rest < l.MinOff: // no room for a gap in this window
		return want > 0
	default: // the next call must not be too late for the gap
		return want >= half && (l.MinOff == 0 || rest-dt >= l.MinOff)
	}
}

// share returns the part of span that demand stands for.
func share(demand float64, span time.Duration) time.Duration {
	return time.Duration(math.Round(demand * float64(span)))
}

func bound(d time.Duration) time.Duration { return min(max(d, 0), longest) }
