package pid

import (
	"fmt"
	"math"
	"time"

	"fumarium/profile/quantity"
)

// Model is a chamber as a rise above ambient in answer to heater duty:
//
//	GainKelvin·e^(-DeadTime·s) / ((Lag·s + 1)(SecondLag·s + 1))
type Model struct {
	GainKelvin     float64 // rise at full duty, in the end
	Lag, SecondLag time.Duration
	DeadTime       time.Duration
}

// FirstOrder drops the smaller lag by the half rule: half of it goes to the lag
// that stays, half to the dead time (Skogestad 2003). SIMC then gives PI.
func (m Model) FirstOrder() Model {
	large, small := max(m.Lag, m.SecondLag), min(m.Lag, m.SecondLag)
	return Model{GainKelvin: m.GainKelvin, Lag: large + small/2, DeadTime: m.DeadTime + small/2}
}

// Sampled adds the dead time of the loop itself: half the output's window and half
// the time between samples (half rule for sampling; the window by the same
// argument). Tune on the result.
func (m Model) Sampled(window, step time.Duration) Model {
	m.DeadTime += window/2 + step/2
	return m
}

// SIMC returns Skogestad's tuning for the model (Journal of Process Control 13
// (2003) 291-309): with τ1 ≥ τ2 the lags, θ the dead time and τc the wanted
// closed-loop time constant, in series form
//
//	Kc = τ1/(K(τc+θ)), τI = min(τ1, 4(τc+θ)), τD = τ2
//
// turned into ideal form with f = 1 + τD/τI: Gain = Kc·f, Integral = τI·f,
// Derivative = τD/f. Without a second lag that is PI. A closedLoop of zero stands
// for τc = θ, the tight choice; 3θ is a gentle one.
//
// With derivative action the measurement is filtered with a twentieth of the
// smaller of Derivative and τc+θ, which costs little robustness; a coarse or noisy
// probe needs more. SetpointWeight is 1.
func SIMC(m Model, closedLoop time.Duration) (Tuning, error) {
	switch {
	case !quantity.Finite(m.GainKelvin) || m.GainKelvin <= 0:
		return Tuning{}, fmt.Errorf("pid: gain %v K is not above 0 K; measure the rise at full duty", m.GainKelvin)
	case m.Lag < 0 || m.SecondLag < 0 || m.DeadTime < 0 || closedLoop < 0:
		return Tuning{}, fmt.Errorf("pid: lag %v, second lag %v, dead time %v, closed loop %v: none may be below 0 s",
			m.Lag, m.SecondLag, m.DeadTime, closedLoop)
	case max(m.Lag, m.SecondLag) == 0:
		return Tuning{}, fmt.Errorf("pid: lag is 0 s; give the chamber's time constant")
	}
	if closedLoop == 0 {
		closedLoop = m.DeadTime
	}
	horizon := seconds(closedLoop) + seconds(m.DeadTime)
	if horizon == 0 {
		return Tuning{}, fmt.Errorf("pid: dead time and closed loop are both 0 s, which asks for an infinite gain; give one of them")
	}
	lag, second := seconds(max(m.Lag, m.SecondLag)), seconds(min(m.Lag, m.SecondLag))
	gain := lag / float64(m.GainKelvin*horizon)
	integral := min(lag, float64(4*horizon))
	factor := 1 + second/integral
	t := Tuning{
		Gain:           float64(gain * factor),
		Integral:       duration(float64(integral * factor)),
		Derivative:     duration(second / factor),
		Filter:         duration(min(second/factor, horizon) / 20),
		SetpointWeight: 1,
	}
	if !t.usable() || t.Integral == 0 {
		return Tuning{}, fmt.Errorf("pid: gain %v K, lag %v, dead time %v give no usable tuning; check the model", m.GainKelvin, m.Lag, m.DeadTime)
	}
	return t, nil
}

// FeedForward returns the duty that, for a chamber just like the model, holds a
// setpoint so far above ambient while it rises at rate:
//
//	(rise + (Lag + SecondLag + DeadTime)·rate) / GainKelvin
//
// within 0..1. In a steady ramp it leaves no lag. A model or an input that makes
// no sense gives 0.
//
// For a controller tuned by SIMC give a rise of 0, which leaves the holding duty to
// the integral: while it brings the chamber up it learns about that much anyway,
// and with both a step of the setpoint overshoots. Exactly, feeding the holding
// duty forward is the same as a SetpointWeight larger by 1/(GainKelvin·Gain).
func FeedForward(m Model, setpointRise quantity.Kelvin, rate quantity.KelvinPerSecond) float64 {
	lags := seconds(m.Lag) + seconds(m.SecondLag) + seconds(m.DeadTime)
	duty := (float64(setpointRise) + float64(lags*float64(rate))) / m.GainKelvin
	if !(m.GainKelvin > 0) || math.IsNaN(duty) {
		return 0
	}
	return clamp(duty, 0, 1)
}

func duration(seconds float64) time.Duration {
	if !(seconds < 1e9) { // 30 years; keeps the conversion within range
		return 0
	}
	return time.Duration(math.Round(seconds * 1e9))
}
