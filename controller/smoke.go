package controller

import (
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/duty"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// What is believed of the smoke generator; own magnitudes, no source.
const (
	fuelWarning = 15 * time.Minute // of smoking that is left
	// emberHolds is how long an ember lives without air at the least. Simulated ones
	// live twice as long.
	emberHolds = 5 * time.Minute
)

// smokeWatch is what the step remembers of the smoke generator, beside the air that
// it was given.
type smokeWatch struct {
	fullUntil time.Duration `record:"full_until"` // full air until so much has been given; zero is FullAir
	airless   time.Duration `record:"airless"`    // lit, and without air for so long
	doubt     bool          `record:"doubt"`      // that was longer than an ember is known to hold
	seen      bool          `record:"ember_seen"` // it smouldered when its probe was last read
}

// watchSmoke counts the air that the generator has had since it was lit, which a hand
// step of a smoking stage does. The wood that smoulders follows the air that it gets,
// so the air stands for the fuel; what natural draught burns off besides nobody counts.
// The time of full air counts the same air: it waits while the door is open, the fan
// coasts or the batch is held. After a long pause it begins anew. A stage without
// smoke between two with it is such a pause, and brings no new filling.
func (t *step) watchSmoke() {
	s, w := t.s, &t.s.watch
	if v, ok := t.in.Ember.Value(); ok {
		w.smoke.seen = v >= t.c.Generator.Ember
	}
	stage := s.CurrentStage(t.p)
	switch {
	case stage == nil || stage.Smoke && s.Asking:
		if w.smokeFor > 0 {
			t.lit()
		}
	case s.Out.Smoke && !t.late:
		w.smokeFor += t.dt
		w.smoke.airless = 0
	case w.smokeFor > 0: // nobody knows whether the pump ran while nobody called
		if w.smoke.airless += t.dt; w.smoke.airless > emberHolds {
			w.smoke.fullUntil, w.smoke.doubt = w.smokeFor+t.c.Generator.FullAir, true
		}
	}
}

// lit begins with a full generator that was lit just now, or will be.
func (t *step) lit() {
	w := &t.s.watch
	w.smokeFor, w.smoke = 0, smokeWatch{seen: w.smoke.seen}
}

// smoking reports whether the generator shall smoulder, though its pump may have to
// wait.
func (t *step) smoking(stage *profile.Stage) bool { return t.s.smoking(stage, t.c) }

func (s *State) smoking(stage *profile.Stage, c *cabinet.Cabinet) bool {
	return stage != nil && stage.Smoke && !s.Asking && c.Smoke.Fitted
}

// fullAir reports whether the generator gets all its air: while it is lit, after a
// long pause, and while its probe says that the ember is dying.
func (t *step) fullAir() bool {
	g, w := &t.c.Generator, &t.s.watch
	if v, ok := t.in.Ember.Value(); ok && v < g.Ember {
		return true
	}
	return g.Share() >= 1 || w.smokeFor < max(g.FullAir, w.smoke.fullUntil)
}

// blow runs the pump, if it may run at all, and says whether it is on.
func (t *step) blow(may bool) bool {
	s := t.s
	switch {
	case !may:
		if s.SmokeDuty.Started {
			s.SmokeDuty = t.cut(smokeLimits(t.c), s.SmokeDuty)
		}
		return false
	case t.fullAir():
		s.SmokeDuty = duty.State{}
		return true
	}
	on := false
	s.SmokeDuty, on = duty.Step(smokeLimits(t.c), s.SmokeDuty, float64(t.c.Generator.Share()), t.dt)
	return on
}

func (t *step) fuelLow(stage *profile.Stage) bool {
	g := &t.c.Generator
	if t.s.Batch != Running || g.Lasts <= 0 || !t.smoking(stage) {
		return false
	}
	warning := time.Duration(float64(g.Share()) * float64(fuelWarning))
	return t.s.watch.smokeFor > g.PumpTime()-warning
}

// emberOut needs a good reading: a probe that is lost says neither that it burns nor
// that it is out.
func (t *step) emberOut(stage *profile.Stage) bool {
	v, ok := t.in.Ember.Value()
	return ok && v < t.c.Generator.Ember && t.smoking(stage) && t.s.watch.smokeFor > 0 && t.s.watch.smokeFor >= t.c.Generator.FullAir
}

func (t *step) emberUnknown(stage *profile.Stage) bool {
	w := &t.s.watch.smoke
	if t.c.Generator.Ember == 0 {
		return w.doubt && t.smoking(stage)
	}
	_, ok := t.in.Ember.Value()
	return !ok && (w.seen || t.smoking(stage))
}

// emberBurning also holds when the batch is over: that is when people leave.
func (t *step) emberBurning(stage *profile.Stage) bool {
	_, ok := t.in.Ember.Value()
	return ok && t.s.watch.smoke.seen && t.c.Generator.Ember > 0 && (stage == nil || !stage.Smoke)
}

// FuelLeft is the share of the generator's filling that is left, by the air that it
// was given since it was lit. It is false while nothing shall smoke, and where the
// cabinet file does not say how long a filling lasts.
func (s *State) FuelLeft(p *profile.Product, c *cabinet.Cabinet) (quantity.Ratio, bool) {
	if c == nil || !s.smoking(s.CurrentStage(p), c) {
		return 0, false
	}
	full := c.Generator.PumpTime()
	if full <= 0 {
		return 0, false
	}
	return max(0, 1-quantity.Ratio(s.watch.smokeFor.Seconds()/full.Seconds())), true
}

func smokeLimits(c *cabinet.Cabinet) duty.Limits {
	return duty.Limits{Window: c.Smoke.Window, MinOn: c.Smoke.MinOn, MinOff: c.Smoke.MinOff}
}
