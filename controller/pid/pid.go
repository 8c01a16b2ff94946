// Package pid is the control law: from a setpoint and a measured temperature to
// the duty that the heater should give, 0..1, and the tuning of that law from
// what is known of a chamber.
//
// It is a PID law in ideal form with a second-order filter on the measurement,
// derivative on the filtered measurement, setpoint weight, feed-forward, and
// conditional integration that looks at the duty the output really delivered.
// A chamber with a heater can be driven up but not down, so overshoot is the
// expensive error, and conditional integration is the anti-windup that avoids it
// best; the tests hold the measured comparison.
//
// It never drives anything, never trips and never guesses: input that it cannot
// use it refuses, see Step.
//
// Sources: Åström and Hägglund, Advanced PID Control (ISA, 2006) for the law and
// its implementation; Garpinger, Hägglund and Åström, Criteria and Trade-offs in
// PID Design (IFAC PID 2012), equation 3, for the filter; Skogestad, Journal of
// Process Control 13 (2003) 291-309, for the tuning.
//
// Every product of two floats is converted before it is added to, so that no
// processor fuses the two operations and the result has the same bits everywhere.
package pid

import (
	"time"

	"fumarium/profile/quantity"
)

// MaxStep is the longest time between two calls that Step integrates over: five
// times two seconds, the slowest pace that the loop is meant for.
const MaxStep = 10 * time.Second

// Tuning is the controller's setting, in ideal form:
//
//	duty = Gain·( b·setpoint − y + ∫(setpoint − y)dt/Integral + Derivative·(rate − dy/dt) ) + feed-forward
//
// with y the filtered measurement and rate that of a setpoint which ramps. The zero Tuning is not a tuning; Step refuses it.
type Tuning struct {
	Gain       float64       // duty per kelvin; above zero
	Integral   time.Duration // zero is no integral action
	Derivative time.Duration // zero is none
	// Filter is Tf of the measurement filter 1/(1 + s·Tf + s²·Tf²/2). Zero is none.
	// It delays like dead time of the same length; where it is more than a tenth of
	// the dead time, add it there before tuning.
	Filter time.Duration
	// SetpointWeight is b, 0..1: the part of a setpoint change that acts at once.
	// With less than 1 the rest is left to the integral.
	SetpointWeight float64
}

// State is what the controller remembers. The zero State has not started: the
// first sample sets the filter, so that neither P nor D sees a step from zero. It
// is comparable, holds no NaN and is recorded whole.
type State struct {
	Started  bool                     `record:"started"`
	Stale    bool                     `record:"stale"`                   // the filter missed samples and starts again from the next one
	Setpoint quantity.Celsius         `record:"setpoint_celsius"`        // of the last sample
	Rate     quantity.KelvinPerSecond `record:"rate_kelvin_per_second"`  // of that setpoint
	Filtered quantity.Celsius         `record:"filtered_celsius"`        // measurement behind the filter
	Slope    quantity.KelvinPerSecond `record:"slope_kelvin_per_second"` // its rate of change
	Integral float64                  `record:"integral_ratio"`          // duty; holds the setpoint weight's offset too
	Duty     float64                  `record:"demand_ratio"`            // demanded last
	// Withheld is the on-time in seconds that was demanded and not delivered, kept
	// within one Window of the output either way.
	Withheld float64 `record:"withheld_seconds"`
}

// Input is one sample.
type Input struct {
	Setpoint, Measured quantity.Celsius
	// SetpointRate is how fast the setpoint ramps; zero for one that stands or has
	// been stepped. The derivative then acts on what is missing from that rate; left
	// out, it brakes the ramp and the integral that makes up for it overshoots at the
	// end.
	SetpointRate quantity.KelvinPerSecond
	Step         time.Duration // since the last call; not looked at on the first
	FeedForward  float64       // duty to add, see the function FeedForward; zero is none
	// Delivered is the duty that the output gave, over the last step or its last
	// window, after least on and off times, trips and holds. It must be a number.
	Delivered float64
	// Window is how long the output may take to deliver what was demanded: its
	// window, or the step for an output that follows at once. Zero is not known; it
	// is then taken as a quarter of Integral.
	Window time.Duration
}

// Step returns the duty to demand from now on, within 0..1, and the next state.
//
// It returns ok = false and
//   - duty 0 when a number is not finite or the tuning makes no sense: the caller
//     should trip. The integral stays as it is.
//   - the duty of the last call when Step is zero or negative (state unchanged),
//     or longer than MaxStep (no integral step).
//
// After any of these but a Step of zero or less, the filter starts again from the
// next sample, so that the gap does not look like a slope.
//
// The integral stands still when the sum of all terms is outside 0..1 and the
// error would push it further out, and also when the output has for a whole
// window kept back (or given too much) and the error asks for more (or less) of
// it, as under a trip, a hold or a hand that switches. Least on and off times do
// not trigger that: what they keep back in one window they give in the next.
//
// On a setpoint lowered by much the sum falls below 0 and the integral stands
// still while the chamber cools. It is not set to the new holding duty: while the
// chamber arrives it still falls, and from the old, higher duty it falls to about
// the right one. One limit follows: under a setpoint that the chamber cannot reach
// the integral learns nothing, so the next lower one begins with an undershoot.
//
// After a stage without heat begin again from the zero State.
func Step(t Tuning, s State, in Input) (next State, duty float64, ok bool) {
	if !t.usable() || !in.finite() {
		s.Stale = true
		s.Duty = 0
		return s, 0, false
	}
	if s.Started && in.Step <= 0 {
		return s, s.Duty, false
	}
	if s.Started && in.Step > MaxStep {
		s.Stale = true
		return s, s.Duty, false
	}
	first := !s.Started
	sum := s.observe(&t, &in)
	if !first {
		s.integrate(&t, &in, sum)
	}
	s.Duty = clamp(sum, 0, 1)
	if !s.finite() || !quantity.Finite(sum) {
		return State{}, 0, false // the numbers ran over: start again
	}
	return s, s.Duty, true
}

// observe takes the sample in: it brings filter and setpoint up to date and
// returns the sum of all terms.
func (s *State) observe(t *Tuning, in *Input) float64 {
	if !s.Started {
		// From rest the chamber's own temperature is the setpoint held so far.
		*s = State{Setpoint: in.Measured, Stale: true, Started: true, Integral: s.Integral}
	}
	if s.Stale {
		s.Stale = false
		s.Filtered = in.Measured
		s.Slope = 0
	} else {
		s.Filtered, s.Slope = t.filter(s.Filtered, s.Slope, in.Measured, seconds(in.Step))
	}
	// b·setpoint would depend on where the scale has its zero, and a clamp would
	// then see an offset of many times the range. The change is weighted instead.
	s.Integral -= float64(float64(t.Gain*(1-t.SetpointWeight)) * float64(in.Setpoint-s.Setpoint))
	s.Setpoint = in.Setpoint
	s.Rate = in.SetpointRate
	return t.act(s) + in.FeedForward + s.Integral
}

// act is the proportional and derivative term.
func (t *Tuning) act(s *State) float64 {
	return float64(t.Gain * (float64(s.Setpoint-s.Filtered) - float64(seconds(t.Derivative)*float64(s.Slope-s.Rate))))
}

// filter advances y + Tf·y′ + Tf²/2·y″ = measured by h seconds with backward
// differences: stable for every Tf and h, and without a special case at Tf = 0,
// where y is the measurement and y′ its difference quotient.
func (t *Tuning) filter(y quantity.Celsius, slope quantity.KelvinPerSecond, measured quantity.Celsius, h float64) (quantity.Celsius, quantity.KelvinPerSecond) {
	tf := seconds(t.Filter)
	tf2 := float64(tf * tf)
	numerator := float64(tf2*float64(slope)) + float64(2*h*float64(measured-y))
	denominator := tf2 + float64(2*h*tf) + float64(2*h*h)
	rate := numerator / denominator
	return y + quantity.Celsius(float64(h*rate)), quantity.KelvinPerSecond(rate)
}

// integrate takes the integral's step, by forward difference, if it may.
func (s *State) integrate(t *Tuning, in *Input, sum float64) {
	h := seconds(in.Step)
	limit := seconds(in.Window)
	if in.Window <= 0 {
		limit = seconds(t.Integral) / 4
	}
	// A sum that stops at both ends: deliveries that lag the demand by up to two
	// windows move it to and fro between the ends without ever pressing on one.
	lacking := s.Duty - clamp(in.Delivered, 0, 1)
	withheld := s.Withheld + float64(lacking*h)
	s.Withheld = clamp(withheld, -limit, limit)

	if t.Integral == 0 {
		return
	}
	e := float64(s.Setpoint - s.Filtered)
	more, less := e > 0, e < 0
	switch {
	case more && (sum > 1 || withheld > limit), less && (sum < 0 || withheld < -limit):
		return
	}
	s.Integral += float64(float64(t.Gain*e) * h / seconds(t.Integral))
}

func (t *Tuning) usable() bool {
	return t.Gain > 0 && quantity.Finite(t.Gain) && t.Integral >= 0 && t.Derivative >= 0 && t.Filter >= 0 &&
		t.SetpointWeight >= 0 && t.SetpointWeight <= 1
}

func (in *Input) finite() bool {
	return quantity.Finite(float64(in.Setpoint)) && quantity.Finite(float64(in.Measured)) &&
		quantity.Finite(float64(in.SetpointRate)) && quantity.Finite(in.FeedForward) && quantity.Finite(in.Delivered)
}

func (s *State) finite() bool {
	return quantity.Finite(float64(s.Setpoint)) && quantity.Finite(float64(s.Filtered)) && quantity.Finite(float64(s.Slope)) &&
		quantity.Finite(float64(s.Rate)) && quantity.Finite(s.Integral) && quantity.Finite(s.Duty) && quantity.Finite(s.Withheld)
}

func seconds(d time.Duration) float64 { return float64(d) / 1e9 }

func clamp(v, low, high float64) float64 { return min(max(v, low), high) }
