package controller

import (
	"math"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/pid"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// What is believed of a probe and of a cabinet. All common practice, no source; the
// rehearsals with faults show what they catch and what they miss.
const (
	chamberJump     quantity.Kelvin = 15               // in one step: no air behind a sheath does that
	chamberFrozen                   = 45 * time.Minute // bit for bit the same while the heater switched
	frozenSwitching                 = 3 * time.Minute  // the heater was on, and off, for so long meanwhile
	frozenRise      quantity.Kelvin = 10               // what full heat must have brought meanwhile
	frozenMove      quantity.Kelvin = 2.5              // what more or less heat than before must have brought
	usualHeat                       = 10 * time.Minute // over which the heat of before is averaged
	chamberApart    quantity.Kelvin = 15
	chamberKept                     = 2 * time.Minute // for so long a lost probe's last value counts

	coreWithAir      quantity.Kelvin  = 3                // so near to the chamber, and
	coreMovesWithAir quantity.Kelvin  = 5                // moving so far along with it: it hangs in the air
	coreMovesWithin                   = 15 * time.Minute // in which the thinnest stick lags by more than that
	coreFrozen                        = 30 * time.Minute // bit for bit the same, beside what the piece may take to move
	meatDiffusivity                   = 1.3e-7           // m²/s, a usual value for lean meat
	coreAir          quantity.Kelvin  = 5                // between core and chamber: then a real core moves
	coreOverChamber  quantity.Kelvin  = 5
	coreSettles                       = 2 * time.Minute // after a hand step, the probe may have been moved
	coreWarms                         = 5 * time.Minute // what has just been hung is not as warm as the air after
	meatComesIn      quantity.Celsius = 30              // colder than this
	stageMargin      quantity.Kelvin  = 15
	weldMargin       quantity.Kelvin  = 8
	weldSlot                          = 15 * time.Minute
	weldFall         quantity.Kelvin  = 0.5 // from slot to slot: it cools
	doorFall         quantity.Kelvin  = 4   // faster than the response's lag: the door, and the walls stay hot
	wallLag                           = 4 * time.Hour
	coolingDown                       = 3 * time.Minute // beside the lags: what the element still gives off
	noHeatLeast                       = 10 * time.Minute
	noHeatFall       quantity.Kelvin  = 8
	noHeatStands                      = 5 * time.Minute // a door that is opened for a moment is no dead element
	noHeatRegains    quantity.Kelvin  = 2               // off its lowest: it heats
	warmerThanRoom   quantity.Kelvin  = 25              // then the heater evidently works
	fullDuty                          = 0.98
	wickApart        quantity.Kelvin  = 0.7
	wickHot          quantity.Celsius = 40
	wickSaturated    quantity.Ratio   = 0.9
)

// DoorStatus is what a door switch says.
type DoorStatus uint8

// A door without a switch is never known to be open. A switch that cannot be read
// counts as open.
const (
	NoDoorSwitch DoorStatus = iota
	DoorShut
	DoorOpen
	DoorUnread
)

// Feedback is what a contact behind the heater's relay says.
type Feedback uint8

// Without a feedback contact nothing is known.
const (
	NoFeedback Feedback = iota
	FeedbackOff
	FeedbackOn
)

// watch is what the step remembers in order to distrust its probes and its relay.
type watch struct {
	chamber    [cabinet.MaxChamberProbes]probeWatch    `record:"chamber.probe"`
	duty       float64                                 `record:"heater.usual_duty_ratio"` // of the heater, averaged over usualHeat
	core       [cabinet.MaxCoreProbes]probeWatch       `record:"core[].probe"`
	course     [cabinet.MaxCoreProbes]course           `record:"core[].course"`
	out        uint8                                   `record:"core[].out,bits=4"`   // cores that left the meat, until a person says that they are back
	sworn      uint8                                   `record:"core[].sworn,bits=4"` // cores that a person says are back
	leftAt     [cabinet.MaxCoreProbes]quantity.Celsius `record:"core[].left_at_celsius"`
	frozen     uint8                                   `record:"core[].frozen,bits=4"`
	tooHot     uint8                                   `record:"core[].too_hot,bits=4"`
	nearAir    [cabinet.MaxCoreProbes]quantity.Celsius `record:"core[].near_chamber_celsius"` // chamber when the core came near to it
	nearCore   [cabinet.MaxCoreProbes]quantity.Celsius `record:"core[].near_core_celsius"`    // core then
	nearSince  [cabinet.MaxCoreProbes]time.Duration    `record:"core[].near_since"`
	near       uint8                                   `record:"core[].near,bits=4"`
	apart      bool                                    `record:"chamber.apart"`
	stuck      bool                                    `record:"chamber.stuck"`
	highest    quantity.Celsius                        `record:"chamber.highest_celsius"` // chamber, since the batch began
	hasHighest bool                                    `record:"chamber.highest_known"`
	moved      time.Duration                           `record:"cores.moved"` // when a probe was last free to be moved
	hung       time.Duration                           `record:"cores.hung"`  // when the first hand step last waited

	ceiling    quantity.Celsius `record:"heater.ceiling_celsius"` // what the stage cannot have asked for
	hasCeiling bool             `record:"heater.ceiling_known"`

	walls    quantity.Celsius `record:"heater.walls_celsius"` // the chamber gets no hotter than that by itself
	hasWalls bool             `record:"heater.walls_known"`
	offFor   time.Duration    `record:"heater.off_for"` // heater off without a break
	offSlot  time.Duration    `record:"heater.off_slot"`
	offNow   quantity.Celsius `record:"heater.off_now_celsius"`  // highest of this slot
	offLast  quantity.Celsius `record:"heater.off_last_celsius"` // of the one before
	hasOff   bool             `record:"heater.element_cold"`     // off for so long that the element is cold

	fullFor  time.Duration    `record:"heater.full_for"` // heater fully on without a break, short of the setpoint
	fullFrom quantity.Celsius `record:"heater.full_from_celsius"`
	fullLow  quantity.Celsius `record:"heater.full_low_celsius"` // since it fell, and has not regained
	fellFor  time.Duration    `record:"heater.fell_for"`
	noHeat   bool             `record:"heater.no_heat"`
	short    bool             `record:"heater.short"`

	smoke    smokeWatch    `record:"smoke"`
	smokeFor time.Duration `record:"smoke.given"` // air given to the generator since it was last lit
	wickDry  bool          `record:"wick.dry"`
}

// probeWatch follows one probe from sample to sample.
type probeWatch struct {
	last   quantity.Celsius `record:"last_celsius"`
	has    bool             `record:"known"`
	same   time.Duration    `record:"same"`      // since the value last changed
	jumped time.Duration    `record:"jumped"`    // for so long it has been where it cannot have got to
	gone   time.Duration    `record:"gone"`      // not read for so long
	on     time.Duration    `record:"heater_on"` // of the heater, since then
	off    time.Duration    `record:"heater_off"`
	full   time.Duration    `record:"heater_full"`     // of the heater fully on, since then
	held   float64          `record:"held_duty_ratio"` // duty that had held the value, when it last changed
	heated float64          `record:"heated_kelvin"`   // what has reached the air since, beyond that, K
	moved  float64          `record:"moved_kelvin"`    // what of it the probe must have felt, K
}

// chamberLostDelay is a little longer than the alarm for a lost chamber waits.
var chamberLostDelay = trip.ChamberLost.Entry().Delay + 2*time.Second

// follow takes a good sample in and returns how far it is from the last one.
func (w *probeWatch) follow(v quantity.Celsius, dt time.Duration, heaterOn bool) (jump quantity.Kelvin) {
	if w.has {
		jump = quantity.Kelvin(v - w.last)
	}
	if !w.has || v != w.last {
		*w = probeWatch{last: v, has: true, jumped: w.jumped, held: w.held}
		return jump
	}
	w.same += dt
	if heaterOn {
		w.on += dt
	} else {
		w.off += dt
	}
	return jump
}

func magnitude(k quantity.Kelvin) quantity.Kelvin {
	if k < 0 {
		return -k
	}
	return k
}

// readChamber returns the chamber readings that are believed.
func (t *step) readChamber() (believed [cabinet.MaxChamberProbes]sensors.Reading) {
	w := &t.s.watch
	on := 0.0
	if t.s.Out.Heater {
		on = 1
	}
	if !t.late { // what the heater did in a gap is not known
		w.duty += (on - w.duty) * min(1, t.dt.Seconds()/usualHeat.Seconds())
	}
	w.stuck = false
	for i, r := range t.in.Chamber {
		v, ok := r.Value()
		if !ok {
			// What comes back is held against what it was, so that a loose plug does not
			// hide a jump; after a while it is judged afresh.
			if p := &w.chamber[i]; p.gone+t.dt > chamberKept {
				*p = probeWatch{}
			} else {
				*p = probeWatch{last: p.last, has: p.has, jumped: p.jumped, gone: p.gone + t.dt, held: w.duty}
			}
			believed[i] = r
			continue
		}
		had := w.chamber[i]
		if jump := w.chamber[i].follow(v, t.dt, t.s.Out.Heater); !t.late && t.s.Batch.Active() && magnitude(jump) > chamberJump {
			// Disbelieved until it comes back, or has stayed there for longer than the
			// alarm for a lost chamber takes.
			believed[i] = sensors.Fault(sensors.Implausible)
			if had.jumped += t.dt; had.jumped <= chamberLostDelay {
				w.chamber[i] = had
			}
			continue
		}
		w.chamber[i].jumped = 0
		believed[i] = r
		p := &w.chamber[i]
		if p.full += t.dt; t.s.Demand < fullDuty || p.same == 0 {
			p.full = 0
		}
		if p.same == 0 || t.late {
			p.held, p.heated, p.moved, p.full = w.duty, 0, 0, 0
			continue
		}
		r := t.c.Response
		p.heated += (float64(r.Gain)*(on-p.held) - p.heated) * min(1, t.dt.Seconds()/r.Lag.Seconds())
		p.moved += (p.heated - p.moved) * min(1, t.dt.Seconds()/max(1, (r.SecondLag+r.DeadTime).Seconds()))
		rises := r.DeadTime + r.SecondLag + time.Duration(float64(r.Lag)*float64(frozenRise)/float64(max(r.Gain, 1)))
		if p.same >= chamberFrozen && p.on >= frozenSwitching && p.off >= frozenSwitching ||
			p.full > rises || math.Abs(p.moved) > float64(frozenMove) {
			w.stuck = true
		}
	}
	low, high, n := quantity.Celsius(0), quantity.Celsius(0), 0
	for _, r := range believed {
		if v, ok := r.Value(); ok {
			if n == 0 || v < low {
				low = v
			}
			if n == 0 || v > high {
				high = v
			}
			n++
		}
	}
	w.apart = n > 1 && quantity.Kelvin(high-low) > chamberApart
	return believed
}

// readCores returns the core readings that are believed. It runs after the chamber
// has been read.
func (t *step) readCores() (believed [cabinet.MaxCoreProbes]sensors.Reading) {
	s, w := t.s, &t.s.watch
	stage := s.CurrentStage(t.p)
	chamber, chamberKnown := s.Chamber.Value()
	if s.Batch.Active() && chamberKnown && (!w.hasHighest || chamber > w.highest) {
		w.highest, w.hasHighest = chamber, true
	}
	if stage == nil || s.Asking && s.Stage == 0 {
		w.moved, w.hung = t.in.Elapsed, t.in.Elapsed
	}
	place := profile.Chamber
	if stage != nil {
		place = stage.Place
	}
	inAir := stage != nil && place == profile.Chamber && chamberKnown
	// A probe moves into the meat in the first hand step and stays there. Whoever
	// moves it later has to say so.
	settled := t.in.Elapsed-w.moved >= coreSettles || s.StageEntered > w.moved
	distrusted := w.out | w.frozen | w.tooHot
	w.frozen, w.tooHot = 0, 0
	for i, r := range t.in.Core {
		bit := uint8(1) << i
		v, ok := r.Value()
		c := &w.course[i]
		if !ok {
			w.core[i] = probeWatch{}
			c.unseen(t.dt)
			believed[i] = r
			continue
		}
		w.core[i].follow(v, t.dt, s.Out.Heater)
		dt := t.dt
		if t.late {
			c.unseen(dt)
			dt = 0
		}
		left := c.follow(v, chamber, place, dt)
		switch {
		case !left:
		case settled:
			if w.out&bit == 0 {
				w.leftAt[i] = quantity.Celsius(c.level)
			}
			w.out |= bit
		default: // it is being put in
			*c = course{level: float64(v), smooth: float64(v), known: 1}
		}
		apart := magnitude(quantity.Kelvin(chamber - v))
		near := inAir && settled && apart < coreWithAir
		if near && s.Stage == 0 && stage.Ask != "" && chamber > meatComesIn && t.in.Elapsed-w.hung < coreSettles+coreWarms {
			w.out |= bit // never put in
		}
		if near && w.sworn&bit != 0 && t.in.Elapsed-w.moved < coreSettles+coreWarms &&
			magnitude(quantity.Kelvin(chamber-w.leftAt[i])) > 2*coreWithAir {
			w.out |= bit // not put back: it left meat of another temperature
		}
		if near = near && s.Batch == Running; !near {
			w.near &^= bit
		} else if t.goesWithAir(i, v, chamber) {
			w.out |= bit
		}
		if inAir && apart > coreAir && w.core[i].same >= coreFrozen+t.coreStands() {
			w.frozen |= bit
		}
		if s.Batch.Active() && !c.learnt() && v > w.highest { // it came in warmer than the chamber
			w.highest = v
		}
		if inAir && w.hasHighest && s.StageClock > 0 && v > w.highest+quantity.Celsius(coreOverChamber) {
			w.tooHot |= bit
		}
		// Without its noise: one sample that reads half a kelvin too much must not pass
		// for the end of a come-up that creeps.
		believed[i] = sensors.At(quantity.Celsius(c.smooth))
		if (w.out|w.frozen|w.tooHot)&bit != 0 {
			believed[i] = sensors.Fault(sensors.Implausible)
		}
	}
	t.doubted = (w.out|w.frozen|w.tooHot)&^distrusted != 0
	return believed
}

// goesWithAir reports whether a core that is about as warm as the air has gone along
// with it for some kelvin, and so fast that meat would have lagged behind.
func (t *step) goesWithAir(i int, core, chamber quantity.Celsius) bool {
	w, bit := &t.s.watch, uint8(1)<<i
	if w.near&bit == 0 || t.in.Elapsed-w.nearSince[i] > coreMovesWithin {
		w.near |= bit
		w.nearAir[i], w.nearCore[i], w.nearSince[i] = chamber, core, t.in.Elapsed
	}
	return magnitude(quantity.Kelvin(chamber-w.nearAir[i])) > coreMovesWithAir &&
		magnitude(quantity.Kelvin(core-w.nearCore[i])) > coreMovesWithAir
}

// coreStands is how long the middle of a cold thick piece may stand still in hot air:
// until a fifth of its half thickness squared over the diffusivity of meat has passed
// (Fourier number 0.2) its middle has hardly moved.
func (t *step) coreStands() time.Duration {
	half := float64(t.p.Shape.HalfThickness())
	return time.Duration(0.2 * half * half / meatDiffusivity * float64(time.Second))
}

// watchHeat judges what the chamber does against what the heater was told.
func (t *step) watchHeat() {
	s, w := t.s, &t.s.watch
	chamber, known := s.Chamber.Value()
	if !known || t.late {
		w.fullFor = 0
		if s.Tripped != trip.HeatWhenOff { // what has tripped is not forgotten
			w.hasOff, w.offFor = false, 0
		}
		return
	}
	m := response(t.c)
	t.watchOff(chamber, m)
	t.watchFull(chamber, m)
	stage := s.CurrentStage(t.p)
	switch {
	case stage == nil || !stage.Heat:
		w.hasCeiling = false
	case s.Batch != Running || !s.HasSetpoint: // held, perhaps by this very trip: the ceiling stays
	case !w.hasCeiling:
		w.ceiling, w.hasCeiling = max(chamber, s.Setpoint), true
	default:
		w.ceiling = max(s.Setpoint, min(w.ceiling, max(chamber, w.walls)))
	}
}

// cooled is what has no heat of its own and was at v, one step later: on its way to
// the room, or to a chamber that is colder.
func (t *step) cooled(v, chamber quantity.Celsius, lag time.Duration) quantity.Celsius {
	return v - (v-min(t.room(), chamber))*quantity.Celsius(min(1, t.dt.Seconds()/max(1, lag.Seconds())))
}

// watchOff follows how hot the chamber can get by itself. That falls along with the
// chamber while it cools behind a shut door. When the chamber falls faster, the door
// is open, and it will regain, when that is shut, what walls and racks have kept.
// Heat that comes while the heater is off may raise it, but only slot by slot.
func (t *step) watchOff(chamber quantity.Celsius, m pid.Model) {
	w := &t.s.watch
	if !w.hasWalls {
		w.walls, w.hasWalls = chamber, true
	}
	tripped := t.s.Tripped == trip.HeatWhenOff
	if !tripped {
		lag := t.c.Response.Lag
		if t.doorOpen() || chamber < w.walls-quantity.Celsius(doorFall) {
			lag = max(lag, wallLag)
		}
		if w.walls > chamber {
			w.walls = max(chamber, t.cooled(w.walls, chamber, lag))
		}
		if w.offFor += t.dt; t.s.Out.Heater {
			w.offFor = 0
		}
		if w.hasOff = w.offFor >= 3*(m.DeadTime+m.SecondLag)+coolingDown; !w.hasOff {
			w.walls = max(w.walls, chamber)
			w.offNow, w.offLast, w.offSlot = chamber, chamber, 0
			return
		}
	}
	w.offNow = max(w.offNow, chamber)
	if w.offSlot += t.dt; w.offSlot < weldSlot {
		return
	}
	// What has tripped is not forgotten by waiting, only once it cools: neither a weld
	// nor a fire does.
	if !tripped || w.offNow <= w.offLast-quantity.Celsius(weldFall) {
		w.walls = max(w.walls, chamber)
	}
	w.offLast, w.offNow, w.offSlot = w.offNow, chamber, 0
}

// watchFull follows how the chamber answers while the heater is fully on.
func (t *step) watchFull(chamber quantity.Celsius, m pid.Model) {
	s, w := t.s, &t.s.watch
	w.noHeat, w.short = w.noHeat && s.Tripped == trip.NoHeat, false
	if s.Batch != Running || s.Demand < fullDuty || !s.HasSetpoint || chamber > s.Setpoint-3 || t.doorOpen() || s.coast > 0 ||
		s.Stage > 0 && t.in.Elapsed-s.StageEntered < noHeatLeast { // a new stage's fan and damper come first
		w.fullFor = 0
		return
	}
	if w.fullFor == 0 {
		w.fullFrom, w.fullLow, w.fellFor = chamber, chamber, 0
	}
	w.fullFor += t.dt
	enough := max(noHeatLeast, 3*(m.DeadTime+m.SecondLag)+m.Lag/4)
	rise := quantity.Kelvin(chamber - w.fullFrom)
	warm := quantity.Kelvin(chamber-t.room()) > warmerThanRoom
	fell := rise < -noHeatFall || rise < 1 && !warm
	w.fellFor += t.dt
	w.fullLow = min(w.fullLow, chamber)
	if !fell || chamber > w.fullLow+quantity.Celsius(noHeatRegains) {
		w.fellFor, w.fullLow = 0, chamber
	}
	if w.fullFor < enough {
		return
	}
	switch {
	case fell && w.fellFor >= noHeatStands:
		w.noHeat = true
	case rise < 1 && !fell:
		w.short = true
	}
	if w.fullFor >= 2*enough { // a new look, from here
		w.fullFor = 0
	}
}

// smokeHeat is what the smoke generator may add to the chamber by itself.
func (t *step) smokeHeat() quantity.Celsius {
	if w := &t.s.watch; w.smokeFor == 0 || w.smoke.airless > emberHolds || t.c.Heater.Power <= 0 {
		return 0
	}
	return quantity.Celsius(float64(t.c.Response.Gain) * float64(t.c.Generator.Heat) / float64(t.c.Heater.Power))
}

// room is the ambient as measured, or else as the cabinet file expects it.
func (t *step) room() quantity.Celsius {
	if v, ok := t.in.Ambient.Value(); ok {
		return v
	}
	return t.c.Ambient
}

func (t *step) doorOpen() bool { return t.in.Door == DoorOpen || t.in.Door == DoorUnread }
