package controller

import (
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/duty"
	"fumarium/controller/trip"
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

// smokeMemory is what the step remembers of the smoke generator. The wood that smoulders
// follows the air that it gets, so the air stands for the fuel; what natural draught
// burns off besides nobody counts. The time of full air counts the same air: it waits while
// the door is open, the fan coasts or the batch is held. After a long pause it begins
// anew. A stage without smoke between two with it is such a pause, and brings no new
// filling.
type smokeMemory struct {
	Relay     duty.State    `record:"relay"`      // of the pump, once it is turned down
	given     time.Duration `record:"given"`      // air, since it was last lit
	fullUntil time.Duration `record:"full_until"` // full air until so much has been given; zero is FullAir
	airless   time.Duration `record:"airless"`    // lit, and without air for so long
	doubt     bool          `record:"doubt"`      // that was longer than an ember is known to hold
	seen      bool          `record:"ember_seen"` // it smouldered when its probe was last read
	fanned    time.Duration `record:"fanned"`     // full air that a cold ember has had, less what a hot one has had since
}

// follow counts the air that the generator has had since it was lit, which a hand step
// of a smoking stage does.
func (k *smokeMemory) follow(t *step) {
	g := &t.m.cabinet.Generator
	cold := false
	if v, ok := t.in.Ember.Value(); ok {
		k.seen = v >= g.Ember
		cold = !k.seen
	}
	stage := t.stage()
	switch {
	case stage == nil || stage.Smoke && t.s.Asking:
		if k.given > 0 {
			k.lit()
		}
	case t.s.Out.On.Has(Smoke) && !t.late:
		switch {
		case !cold:
			k.fanned = max(0, k.fanned-t.dt)
		case k.given >= max(g.FullAir, k.fullUntil):
			k.fanned += t.dt
		}
		k.given += t.dt
		k.airless = 0
	case k.given > 0: // nobody knows whether the pump ran while nobody called
		if k.airless += t.dt; t.in.Away == AwayUnknown {
			k.airless = max(k.airless, emberHolds+t.dt)
		}
		if k.airless > emberHolds {
			k.fullUntil, k.doubt = k.given+g.FullAir, true
		}
	}
}

// lit begins with a full generator that was lit just now, or will be.
func (k *smokeMemory) lit() { *k = smokeMemory{Relay: k.Relay, seen: k.seen} }

// heats is what the smoke generator may add to the chamber by itself.
func (k *smokeMemory) heats(m *Machine) quantity.Celsius {
	if k.given == 0 || k.airless > emberHolds {
		return 0
	}
	return m.smokeHeat
}

// smoking reports whether the generator shall smoulder, though its pump may have to
// wait.
func (s *State) smoking(stage *profile.Stage, c *cabinet.Cabinet) bool {
	return stage != nil && stage.Smoke && !s.Asking && c.Smoke.Fitted
}

// fullAir reports whether the generator gets all its air: while it is lit, after a
// long pause, and while its probe says that the ember is dying, for as long as one takes
// to glow. What full air has not brought back by then is out, or the probe has slipped
// out of the wood, which reads the same: full air would burn the filling off too fast.
func (k *smokeMemory) fullAir(t *step) bool {
	g := &t.m.cabinet.Generator
	if v, ok := t.in.Ember.Value(); ok && v < g.Ember && k.fanned < g.FullAir {
		return true
	}
	return t.airShare() >= 1 || k.given < max(g.FullAir, k.fullUntil)
}

// blow runs the pump, if it may run at all, and says whether it is on.
func (k *smokeMemory) blow(t *step, may bool) bool {
	switch {
	case !may:
		if k.Relay.Started {
			k.Relay.Cut(&t.m.smoke, t.dt)
		}
		return false
	case k.fullAir(t):
		k.Relay = duty.State{}
		return true
	}
	on := false
	k.Relay, on = duty.Step(t.m.smoke, k.Relay, float64(t.airShare()), t.dt)
	return on
}

// stands gives the alarms of the smoke generator whose condition holds.
func (k *smokeMemory) stands(t *step, stage *profile.Stage) trip.Set {
	g := &t.m.cabinet.Generator
	smoking := t.s.smoking(stage, t.m.cabinet)
	v, read := t.in.Ember.Value()
	unknown := k.doubt && smoking
	if g.Ember != 0 {
		unknown = !read && (k.seen || smoking)
	}
	return trip.SmokeFuelLow.If(t.s.Batch == Running && g.Lasts > 0 && smoking && k.given > t.m.fuelLow) |
		// A probe that is lost says neither that it burns nor that it is out.
		trip.EmberOut.If(read && v < g.Ember && smoking && k.given > 0 && k.given >= g.FullAir) |
		trip.EmberUnknown.If(unknown) |
		// Also when the batch is over: that is when people leave.
		trip.EmberBurning.If(read && k.seen && g.Ember > 0 && (stage == nil || !stage.Smoke))
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
	return max(0, 1-quantity.Ratio(s.Smoke.given.Seconds()/full.Seconds())), true
}
