package controller

import (
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// wickSettles is the time constant with which a wick takes to air that starts or
// stops moving. Common practice, no source.
const wickSettles = time.Minute

// wickDoubt times the coefficient is the least that it may really be. Common practice,
// no source: the simulated wick in still air comes to 0.77 to 0.93 of the published one.
const wickDoubt = 0.75

// A wet bulb that reads like the dry one in a hot chamber is a dry wick; common practice,
// no source.
const (
	wickApart     quantity.Kelvin  = 0.7
	wickHot       quantity.Celsius = 40
	wickSaturated quantity.Ratio   = 0.9
	wickNear      quantity.Kelvin  = 2 // wet bulb and dry one, by what is asked
)

// wickMemory is what the step remembers of the humidity.
type wickMemory struct {
	Humidity    quantity.Ratio `record:"humidity_ratio"`
	HasHumidity bool           `record:"humidity_known"`
	stirred     float64        `record:"stirred_ratio"` // how far the wick has taken to the fan's air
	dry         bool           `record:"dry"`
}

// follow reckons the humidity of the chamber from dry and wet bulb, at the
// pressure of the cabinet's altitude. It does so in every step in which both are
// good, asked for or not.
//
// A wick that hangs in the chamber is ventilated only while the fan runs. The step
// knows when it does, so it measures on with the fan off, with the coefficient of
// still air, and glides from one coefficient to the other as slowly as the wick
// follows; a fan that switches on and off every minute then gives one steady figure
// in between. It takes the fan for running when the relay is on.
//
// Measured (TestHumidityAgainstThePlant): the step against the true humidity of the
// simulated fridge-body, whose wick keeps a heat balance and knows no coefficient, at
// 60 °C and 22 to 25 %RH, mean over an hour, in %RH:
//
//	wick: own blower    fan off +1.0   half the time +0.3   on  0.0   on, at 1500 m +0.2
//	wick: fan stream    fan off -3.2   half the time -1.7   on  0.0   stuck +2.5
//	wick: open          fan off -3.2   half the time -2.1   on -0.7   stuck +1.2
//
// The dry probe sees walls that are colder than the air, which makes it up to 1 %RH moister.
// Still air is the rough one: its published coefficient is for a thicker thermometer
// than a probe in a thin sock. Walls that are still colder than the air cool the wick
// by radiation and take more off in the warm-up. Package psychrometer tabulates what a
// wrong wick in the file costs.
func (w *wickMemory) follow(t *step) {
	w.HasHumidity, w.Humidity, w.dry = false, 0, false
	w.stir(t)
	wet, wetGood := t.in.WetBulb.Value()
	dry, dryGood := t.s.Chamber.Reading.Value()
	if !wetGood || !dryGood {
		return
	}
	if w.dry = judgeWick(dry, wet, t.stage()); w.dry {
		return
	}
	pascal, coefficient := t.pascal(), wickCoefficient(t.m.cabinet.Wick, w.stirred, wet)
	w.Humidity, w.HasHumidity = psychrometer.Humidity(dry, wet, pascal, coefficient)
	switch {
	case w.HasHumidity:
	case wet > dry && quantity.Kelvin(wet-dry) < wickApart: // noise of two probes in fog
		w.Humidity, w.HasHumidity = 1, true
	default: // so dry that the coefficient's error is larger than the humidity
		_, w.HasHumidity = psychrometer.Humidity(dry, wet, pascal, float64(coefficient*wickDoubt))
	}
}

// stir lets the wick follow the fan.
func (w *wickMemory) stir(t *step) {
	goal := 0.0
	if t.s.Out.On.Has(Fan) {
		goal = 1
	}
	keep := float64(wickSettles) / float64(wickSettles+t.dt)
	w.stirred = goal + float64(keep*(w.stirred-goal))
}

// stands gives the alarms of the wick whose condition holds.
func (w *wickMemory) stands(t *step, stage *profile.Stage) trip.Set {
	if t.s.Batch != Running || stage == nil || !stage.AsksMoisture() {
		return 0
	}
	_, _, _, known := t.moist(stage)
	return trip.WickDry.If(w.dry) | trip.HumidityUnmeasured.If(!known) | trip.HumidityNotReached.If(!t.m.airless && t.notMoist(stage))
}

// wickCoefficient is the psychrometer coefficient of a wick that the fan has stirred
// so far, 0 to 1.
func wickCoefficient(w cabinet.WickAir, stirred float64, wet quantity.Celsius) float64 {
	moving := psychrometer.NaturallyVentilated
	switch w {
	case cabinet.WickOwnBlower:
		return psychrometer.Ventilated(wet)
	case cabinet.WickFanStream:
		moving = psychrometer.Ventilated(wet)
	}
	return psychrometer.Unventilated + float64(stirred*(moving-psychrometer.Unventilated))
}

// judgeWick disbelieves a wet bulb that reads like the dry one in a hot chamber. A
// wick that is only half dry reads in between, and nothing shows it.
func judgeWick(dry, wet quantity.Celsius, stage *profile.Stage) (isDry bool) {
	return dry > wickHot && quantity.Kelvin(dry-wet) < wickApart && !(stage != nil && saturates(stage))
}

// saturates reports whether a stage asks for air in which a wet wick reads like a dry one.
func saturates(stage *profile.Stage) bool {
	return stage.Humidity >= wickSaturated || stage.HasDepression && stage.Depression < wickNear ||
		stage.HasWetBulb && stage.Heat && quantity.Kelvin(stage.ChamberSetpoint-stage.WetBulb) < wickNear
}

// What the pressure of the air can be where anyone smokes food: own magnitudes, no source.
const lowestPascal, highestPascal = 50_000, 110_000

// pascal is the pressure of the air: what is measured in the room, or what belongs to the
// cabinet's altitude.
func (t *step) pascal() float64 {
	if p := t.in.AirPascal; p >= lowestPascal && p <= highestPascal {
		return p
	}
	return t.m.pascal
}
