package controller

import (
	"math"
	"time"

	"fumarium/controller/duty"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// How near the moisture of the air is held to what is asked, as half the switching band of
// the humidifier, and the rest as multiples of that: the damper opens only where the humidifier
// is off, so that they never work against each other, and the further the moister it is.
// Common practice, no source.
const (
	humidityBand quantity.Ratio  = 0.02
	wetBand      quantity.Kelvin = 0.5
	ventOpens                    = 1               // from here on
	ventWhole                    = 4               // and here all of it
	ventMoves                    = 0.15            // of its way at least, and not with every breath
	ventAfter                    = 3 * time.Minute // without steam: nobody blows out what he has just put in
	notReached                   = 5               // from here on it is not what was asked for
)

// airNearly is how near to its setpoint a chamber is whose moisture is judged: on the way
// there it is another. Common practice, no source.
const airNearly quantity.Celsius = 5

// When a cooler comes on and goes off, below what the chamber may not exceed; common
// practice, no source.
const (
	coolsFrom quantity.Celsius = 1
	coolsTo   quantity.Celsius = 2.5
	coolAgain quantity.Celsius = 0.5 // below the limit: no longer too warm
)

// airMemory is what the step remembers of what it does to the air beside heating it.
type airMemory struct {
	asked  quantity.Ratio `record:"asked_damper_ratio"` // how far the stages want the damper open; only with a drive
	steam  time.Duration  `record:"since_steam"`        // the humidifier was last on
	opens  quantity.Ratio `record:"opens_ratio"`        // how far the moisture of the air wants it open
	Damper duty.State     `record:"damper"`
	driven time.Duration  `record:"damper_driven"` // since it was let go, and stood open
	Cooler duty.State     `record:"cooler"`
	cools  bool           `record:"cools"`
}

// moist is the moisture of the air as the stage asks for it and what it asks, both so that
// more is moister, and half the band that is kept. It is false where nothing can be said.
func (t *step) moist(stage *profile.Stage) (is, asked, band float64, known bool) {
	w := &t.s.Wick
	if stage.HasHumidity {
		return float64(w.Humidity), float64(stage.Humidity), float64(humidityBand), w.HasHumidity
	}
	wet, wetGood := t.in.WetBulb.Value()
	dry, dryGood := t.s.Chamber.Reading.Value()
	if !wetGood || !dryGood || w.dry {
		return 0, 0, 0, false
	}
	if stage.HasWetBulb {
		return float64(wet), float64(stage.WetBulb), float64(wetBand), true
	}
	return float64(wet - dry), -float64(stage.Depression), float64(wetBand), true
}

// humidify says whether the humidifier is on.
func (t *step) humidify(stage *profile.Stage) bool {
	s := t.s
	if !stage.AsksMoisture() || !t.m.cabinet.Humidifier.Fitted || t.doorOpen() {
		s.humidifierOn = false
		return false
	}
	is, asked, band, known := t.moist(stage)
	switch {
	case !known || is > asked+band:
		s.humidifierOn = false
	case is < asked-band:
		s.humidifierOn = true
	}
	return s.humidifierOn
}

// notMoist reports whether the air is far from as moist as the stage asks, once it is about
// as warm. Moister than asked counts only where the damper is driven: what else asks for
// moisture asks for no less.
func (t *step) notMoist(stage *profile.Stage) bool {
	is, asked, band, known := t.moist(stage)
	chamber, seen := t.s.Chamber.Reading.Value()
	if !known || !seen || t.doorOpen() || stage.Heat && chamber < stage.ChamberSetpoint-airNearly {
		return false
	}
	return is < asked-notReached*band || t.m.cabinet.Damper.Fitted && is > asked+notReached*band
}

// damper is how far stages want it open.
func (t *step) damper() quantity.Ratio {
	if t.m.cabinet.Damper.Fitted {
		return t.s.Air.asked
	}
	return t.s.Out.Damper
}

// regains reports whether walls may still be bringing back to the air what went through a
// damper that was let go, and has been driven again for less than so long.
func (t *step) regains(within time.Duration) bool {
	driven := t.s.Air.driven
	return t.m.cabinet.Damper.Fitted && driven > 0 && driven < within && !t.m.forgets
}

// rest lets go of damper and cooler. Without its drive the damper is open, without a drive
// it stays where the person has set it.
func (a *airMemory) rest(t *step, damper quantity.Ratio) quantity.Ratio {
	a.opens, a.cools, a.driven = 0, false, 0
	a.Cooler.Cut(&t.m.cooler, t.dt)
	a.Damper.Cut(&t.m.damper, t.dt)
	if t.m.cabinet.Damper.Fitted {
		return 1
	}
	return damper
}

// drive moves the damper and switches the cooler, after all else is decided.
func (a *airMemory) drive(t *step, stage *profile.Stage, out *Outputs) {
	c := t.m.cabinet
	if c.Damper.Fitted {
		a.driven += t.dt
		a.asked = out.Damper
		a.vent(t, stage)
		out.Damper = max(out.Damper, a.opens)
		if out.Damper == 0 && t.s.Out.Damper > 0 { // not only in the next window
			a.Damper.Anew()
		}
		relay, shut := duty.Step(t.m.damper, a.Damper, 1-float64(out.Damper), t.dt)
		a.Damper = relay
		out.On.Set(DamperDrive, shut)
	}
	if !c.Cooler.Fitted {
		return
	}
	if a.cools = a.cool(t, stage, out); !a.cools && (!stage.HasNotAbove || t.doorOpen() || out.On.Has(Heater) || !t.s.Chamber.seen()) {
		a.Cooler.Cut(&t.m.cooler, t.dt) // at once, whatever its least time
		return
	}
	demand := 0.0
	if a.cools {
		demand = 1
	}
	relay, on := duty.Step(t.m.cooler, a.Cooler, demand, t.dt)
	a.Cooler = relay
	out.On.Set(Cooler, on)
}

// vent says how far the damper opens because the air is too moist: whole where nobody knows
// how moist it is.
func (a *airMemory) vent(t *step, stage *profile.Stage) {
	if a.steam += t.dt; t.s.humidifierOn {
		a.steam = 0
	}
	share := 0.0
	if is, asked, band, known := t.moist(stage); known && stage.AsksMoisture() && a.steam >= ventAfter {
		share = min(max(((is-asked)/band-ventOpens)/(ventWhole-ventOpens), 0), 1)
	} else if !known && stage.AsksMoisture() {
		share = 1
	}
	if share == 0 || share == 1 || math.Abs(share-float64(a.opens)) > ventMoves {
		a.opens = quantity.Ratio(share)
	}
}

// cool reports whether the cooler is wanted: never beside the heater.
func (a *airMemory) cool(t *step, stage *profile.Stage, out *Outputs) bool {
	chamber, seen := t.s.Chamber.Reading.Value()
	if !stage.HasNotAbove || !seen || t.doorOpen() || out.On.Has(Heater) || stage.Heat && chamber < stage.ChamberSetpoint {
		return false
	}
	if a.cools {
		return chamber > stage.NotAbove-coolsTo
	}
	return chamber > stage.NotAbove-coolsFrom
}

// stands gives the alarm of a chamber that is too warm for what the stage does. It stands
// also while a person is asked, or the batch is held: the product hangs there.
func (a *airMemory) stands(t *step, stage *profile.Stage) trip.Set {
	chamber, seen := t.s.Chamber.Reading.Value()
	if stage == nil || !stage.HasNotAbove || !seen {
		return 0
	}
	limit := stage.NotAbove
	if t.s.Alarms[trip.ChamberTooWarm].Standing {
		limit -= coolAgain
	}
	return trip.ChamberTooWarm.If(chamber > limit)
}

// Airless is the machine that does not judge whether the air is as moist as was asked, as
// programs were before: for replaying what they recorded.
func (m *Machine) Airless() *Machine {
	before := *m
	before.airless = true
	return &before
}

// Forgetful is the machine that does not know that walls warm the air again behind a damper
// that shuts, as programs were: for replaying what they recorded.
func (m *Machine) Forgetful() *Machine {
	before := *m
	before.forgets = true
	return &before
}
