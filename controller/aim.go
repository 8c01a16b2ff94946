package controller

import (
	"time"

	"fumarium/controller/pid"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// What is believed of the heat when fan or damper change. Own magnitudes, no source; they
// are measured in rehearsals over answering times (TestNoAnswerIsTooLate).
const (
	fixedCoasting = 150 * time.Second // of programs before: see FixedCoasting
	longestCoast  = 4 * time.Minute   // the pump waits for the fan, and an ember holds no longer than emberHolds

	aimAhead                    = 5 * time.Minute  // before a stage ends after which a hand step closes the damper
	aimCooler                   = 30 * time.Second // sooner for each kelvin by which that is cooler, by aimAhead at most
	aimReturns                  = time.Minute      // after the damper was closed; before was aimReturned
	aimReturned                 = 2 * time.Minute
	aimSame     quantity.Kelvin = 0.1
	// A damper that closes keeps warm air in, which then gives its heat to walls and
	// product through a film: W/(m²·K) of the walls, with racks and product.
	filmStill                    = 7.0 // before was filmStilled
	filmStilled                  = 5.0
	filmFan                      = 12.0
	elementCold                  = 0.02 // of its heat at full duty
	coastBelow  quantity.Celsius = 1
	smokeComes                   = 3 * time.Minute // in which an ember comes to its heat, and goes
	// What share of the rise an open damper takes where the file does not say how the
	// cabinet is built.
	unknownDraught = 0.25
)

// aim keeps below the setpoint while a hand step waits that will close the damper, or is
// about to come: by as much as the air will jump when it is closed, whenever that may be, so
// that it then comes to what the stage with the shut damper asks, where that is less.
func (h *heaterMemory) aim(t *step, damper quantity.Ratio, fan bool) {
	if t.m.fixedCoast {
		return
	}
	h.scale(t, damper, fan)
	lower := quantity.Kelvin(0)
	if by := t.closedBy(); by != nil && by.Damper < damper && h.HasSetpoint {
		shut := h.Setpoint
		if !t.m.tight {
			shut = min(shut, by.ChamberSetpoint)
		}
		lower = quantity.Kelvin(h.Setpoint-shut) + t.closing(shut, damper, by.Damper, t.m.fanIn(by))
	}
	if h.lower > lower+aimSame {
		lower = quantity.Kelvin(lagged(float64(h.lower), float64(lower), t.seconds, t.m.aimReturns.Seconds()))
	}
	h.lower = lower
}

// AimsLower is by how much less than the setpoint is aimed at, because the damper will be
// closed by hand, perhaps for a cooler stage, or has been just now.
func (h *heaterMemory) AimsLower() quantity.Kelvin { return h.lower }

// AimSaid is from how much on people are told that, and why: below it nobody wonders.
const AimSaid quantity.Kelvin = 1

// aimed is where the air shall be now.
func (h *heaterMemory) aimed() quantity.Celsius { return h.Setpoint - quantity.Celsius(h.lower) }

// closedBy is the stage whose hand step sets the damper next, where it waits for that now
// or soon will; or nil.
func (t *step) closedBy() *profile.Stage {
	s := t.s
	by := s.Stage
	if !s.Asking && t.endsSoon() {
		by++
	} else if !s.Asking {
		return nil
	}
	if by == len(t.m.product.Stages) {
		return nil
	}
	if next := &t.m.product.Stages[by]; next.Heat && next.HasDamper && next.Ask != "" {
		return next
	}
	return nil
}

// endsSoon reports whether the stage is over as soon as a person says so, or is within
// aimAhead. One that waits for nothing but the person may take any time.
func (t *step) endsSoon() bool {
	s, stage := t.s, t.stage()
	all, any := true, false
	ahead := aimAhead
	if next := s.Stage + 1; next < len(t.m.product.Stages) && t.m.product.Stages[next].Heat && !t.m.tight {
		cooler := max(0, stage.ChamberSetpoint-t.m.product.Stages[next].ChamberSetpoint)
		ahead += min(aimAhead, time.Duration(float64(cooler)*float64(aimCooler)))
	}
	for i := range stage.Until.Conditions {
		c := &stage.Until.Conditions[i]
		_, soon := t.holds(c, i)
		soon = soon || c.Kind == profile.After && s.StageClock >= c.After-ahead
		any = any || soon
		all = all && (soon || c.Kind == profile.Confirmed)
	}
	return any && (all || stage.Until.Any)
}

// closing is by how much the air of a chamber jumps to get there when the damper is moved.
func (t *step) closing(there quantity.Celsius, from, to quantity.Ratio, fan bool) quantity.Kelvin {
	r := &t.m.balance
	rise := max(0, float64(there-t.s.Balance.rest(t)))
	share := unknownDraught * float64(from-to)
	if r.walls > 0 {
		film := t.m.filmStill
		if fan {
			film = filmFan
		}
		share = (r.draught(from, rise, fan) - r.draught(to, rise, fan)) / (film * r.walls)
	}
	return quantity.Kelvin(rise * share / (1 + share))
}

// scale feeds forward what fan and damper change of the heat that holds. A fan that starts
// asks for no more of it at once: it takes from the element what that has kept. A damper that
// is opened does, at once; by hand it is opened some time before that is confirmed, and what
// the integral has learned of it since it was asked for is not learned twice.
func (h *heaterMemory) scale(t *step, damper quantity.Ratio, fan bool) {
	r := &t.m.balance
	rise := float64(h.Setpoint - t.s.Balance.rest(t))
	losses := r.loss + r.draught(damper, rise, fan)
	if h.losses > 0 && h.HasSetpoint && losses < h.losses {
		h.PID.Integral *= losses / h.losses
	}
	h.losses = losses
	if t.m.slack {
		return
	}
	if was := t.damper(); damper > was && h.HasSetpoint && r.loss > 0 {
		more := losses / (r.loss + r.draught(was, rise, fan))
		h.PID.Integral = max(h.PID.Integral, min(1, h.held*more))
	}
	if !t.s.Asking {
		h.held = h.PID.Integral
	}
	h.held = min(h.held, h.PID.Integral)
}

// feed is the duty that is known beforehand to be wanted, beside what the integral has
// learned: the lags of a ramp, less the heat that the smoke generator brings.
func (h *heaterMemory) feed(t *step, l *law, rate quantity.KelvinPerSecond) float64 {
	return pid.FeedForward(l.model, 0, rate) - h.smoke
}

// smokes follows the heat of the smoke generator while its pump blows, as a share of the
// heater's power.
func (h *heaterMemory) smokes(t *step) {
	brings := 0.0
	if t.s.Out.On.Has(Smoke) && !t.late {
		brings = t.m.smokeShare
	}
	h.smoke = lagged(h.smoke, brings, t.seconds, smokeComes.Seconds())
}

// coast keeps the heater off when the fan stops or the damper closes, for as long as the
// element gives off more than will hold: that would shoot into still air. Where nothing
// shall heat any more that is all of it. Air that falls below its aim all the same, under the
// fan that is to run, shoots nowhere.
func (h *heaterMemory) coast(t *step, stage *profile.Stage, damper quantity.Ratio, fan bool) {
	holds := elementCold
	if stage.Heat {
		will := t.s.Balance.holdsWith(t, damper, fan)
		if h.HasSetpoint && h.Setpoint < stage.ChamberSetpoint && !t.m.slack { // the ramp goes on
			will += pid.FeedForward(t.law().model, 0, t.m.ramp(stage))
		}
		if t.s.Fan.coasts {
			will *= t.m.filmStill / filmFan
		}
		holds = max(holds, will)
	}
	if h.rests -= t.dt; h.rests <= 0 || !t.m.fixedCoast && h.element <= holds {
		h.rests = 0
	}
	b := &t.s.Balance
	if chamber, known := t.s.Chamber.Reading.Value(); known && !t.m.slack && stage.Heat && !t.s.Fan.coasts && h.HasSetpoint &&
		chamber < h.aimed()-coastBelow && quantity.Kelvin(b.slow-b.fast) > max(falls, inNoise*b.noise) {
		h.rests = 0
	}
}

// FixedCoasting is the machine with a heater that rests for a fixed time when the fan
// stops or the damper closes, and with no lower aim before, as programs were: for
// replaying what they recorded.
func (m *Machine) FixedCoasting() *Machine {
	before := *m
	before.fixedCoast, before.coasts = true, fixedCoasting
	return &before
}

// TightlyTuned is the machine with SIMC's tight tuning for any lags, however near that comes
// to swinging, no feed-forward of smoke and no lower aim for a cooler stage, as programs were:
// for replaying what they recorded.
func (m *Machine) TightlyTuned() *Machine {
	before := *m
	before.tight, before.smokeShare = true, 0
	for i := range before.laws {
		l := &before.laws[i]
		if t, err := pid.SIMC(l.model, 0); err == nil {
			l.tuning = t
			l.tuning.Filter = max(t.Filter, measurementFilter)
		}
		if l.follows > 0 {
			l.follows = l.model.SecondLag + l.model.DeadTime
		}
	}
	return before.Slack()
}

// Slack is the machine that feeds nothing forward when a damper opens, rests its heater for as
// long when a ramp goes on, aims lower by more and for longer before one closes, and adds up
// the draughts of fan and stack for all that, as programs did: for replaying what they recorded.
func (m *Machine) Slack() *Machine {
	before := *m.Forgetful()
	before.slack, before.filmStill, before.aimReturns, before.balance.adds = true, filmStilled, aimReturned, true
	return &before
}
