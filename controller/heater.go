package controller

import (
	"time"

	"fumarium/controller/duty"
	"fumarium/controller/pid"
	"fumarium/controller/trip"
	"fumarium/controller/tune"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// What is believed of the heater and of the cabinet that it heats; common practice, no
// source.
const (
	usualHeat                      = 10 * time.Minute // over which the heat of before is averaged
	fullDuty                       = 0.98
	stageMargin    quantity.Kelvin = 15
	weldMargin     quantity.Kelvin = 8
	weldSlot                       = 15 * time.Minute
	weldFall       quantity.Kelvin = 0.5 // from slot to slot: it cools
	riseStep                       = 5 * time.Minute
	riseLeast      quantity.Kelvin = 0.5 // in each step of a slot, far over the room and with nothing in it: it is heated
	doorFall       quantity.Kelvin = 2.5 // faster than the response's lag: the door, and the walls stay hot
	wallLag                        = 4 * time.Hour
	coolingDown                    = 3 * time.Minute // beside the lags: what the element still gives off
	noHeatLeast                    = 10 * time.Minute
	noHeatFall     quantity.Kelvin = 8
	noHeatStands                   = 5 * time.Minute // a door that is opened for a moment is no dead element
	noHeatRegains  quantity.Kelvin = 2               // off its lowest: it heats
	warmerThanRoom quantity.Kelvin = 25              // then the heater evidently works
)

// measurementFilter smooths the noise of thermocouple samples before it is
// differentiated; without it the duty jumps by half its range. Common practice, no
// source; rehearsals overshoot least with it.
const measurementFilter = 10 * time.Second

// robust is the largest sensitivity of the loop: at 1.6 it bears 2.7 times the gain before it
// swings, and a phase of 36 degrees (Ms/(Ms-1) and 2·asin(1/(2·Ms)), textbook bounds). SIMC's
// tight tuning of one lag has 1.59 (Skogestad 2003).
const robust = 1.6

// heaterMemory is what the step remembers of the heater: what it wants of it, and what
// the chamber did in answer.
type heaterMemory struct {
	HasSetpoint   bool                     `record:"setpoint_known"`
	Setpoint      quantity.Celsius         `record:"setpoint_celsius"` // where the ramp is now
	Demand        float64                  `record:"demand_ratio"`     // duty asked of the heater, 0..1
	PID           pid.State                `record:"pid"`
	reference     quantity.Celsius         `record:"reference_celsius"` // see follows
	referenceRate quantity.KelvinPerSecond `record:"reference_rate_kelvin_per_second"`
	Relay         duty.State               `record:"relay"`
	rests         time.Duration            `record:"rests"`                  // for so long yet at most: see coasting
	element       float64                  `record:"element_duty_ratio"`     // that it is as hot by
	lower         quantity.Kelvin          `record:"aim_lower_kelvin"`       // than the setpoint: see aim
	losses        float64                  `record:"losses_watt_per_kelvin"` // that the integral has learned for
	held          float64                  `record:"held_integral_ratio"`    // least of it since a hand step was asked for
	smoke         float64                  `record:"smoke_duty_ratio"`       // that the smoke generator's heat stands for
	usual         float64                  `record:"usual_duty_ratio"`
	before        float64                  `record:"before_duty_ratio"` // what was usual, averaged as long

	ceiling    quantity.Celsius `record:"ceiling_celsius"` // what the stage cannot have asked for
	hasCeiling bool             `record:"ceiling_known"`

	walls    quantity.Celsius `record:"walls_celsius"`      // the chamber gets no hotter than that by itself
	kept     quantity.Celsius `record:"walls_kept_celsius"` // that, before a driven damper was let go
	hasWalls bool             `record:"walls_known"`
	aired    bool             `record:"walls_aired"` // the door was open, and it has not regained them
	offFor   time.Duration    `record:"off_for"`     // heater off without a break
	offSlot  time.Duration    `record:"off_slot"`
	offNow   quantity.Celsius `record:"off_now_celsius"`  // highest of this slot
	offLast  quantity.Celsius `record:"off_last_celsius"` // of the one before
	cold     bool             `record:"element_cold"`     // off for so long that the element is
	emptied  time.Duration    `record:"off_emptied"`      // for so long the product is out and the fan stands
	rises    time.Duration    `record:"off_rises_for"`    // all the same, until it cools
	riseFrom quantity.Celsius `record:"off_rises_from_celsius"`
	riseSlot time.Duration    `record:"off_rises_slot"`

	fullFor  time.Duration    `record:"full_for"` // heater fully on without a break, short of the setpoint
	fullFrom quantity.Celsius `record:"full_from_celsius"`
	fullLow  quantity.Celsius `record:"full_low_celsius"` // since it fell, and has not regained
	fellFor  time.Duration    `record:"fell_for"`
	noHeat   bool             `record:"no_heat"`
	short    bool             `record:"short"`

	Tune tune.State `record:"tune"` // of a batch that learns
}

// average follows how much the heater was on of late. What it did in a gap is not
// known.
func (h *heaterMemory) average(t *step) {
	if t.late {
		return
	}
	on := 0.0
	if t.s.Out.On.Has(Heater) {
		on = 1
	}
	h.usual = lagged(h.usual, on, t.seconds, usualHeat.Seconds())
	h.before = lagged(h.before, h.usual, t.seconds, usualHeat.Seconds())
	h.element = lagged(h.element, on, t.seconds, t.m.elementLag)
}

// follow judges what the chamber does against what the heater was told.
func (h *heaterMemory) follow(t *step) {
	s := t.s
	chamber, known := s.Chamber.Reading.Value()
	if !known || t.late {
		h.fullFor = 0
		if s.Tripped != trip.HeatWhenOff { // what has tripped is not forgotten
			h.cold, h.offFor, h.rises = false, 0, 0
		}
		return
	}
	h.followOff(t, chamber)
	h.followFull(t, chamber)
	stage := t.stage()
	switch {
	case stage == nil || !stage.Heat:
		h.hasCeiling = false
	case s.Batch != Running || !h.HasSetpoint: // held, perhaps by this very trip: the ceiling stays
	case !h.hasCeiling:
		h.ceiling, h.hasCeiling = max(chamber, h.Setpoint), true
	default:
		h.ceiling = max(h.Setpoint, min(h.ceiling, max(chamber, h.walls)))
	}
}

// cooled is what has no heat of its own and was at v, one step later: on its way to
// the room, or to a chamber that is colder.
func (t *step) cooled(v, chamber quantity.Celsius, lag time.Duration) quantity.Celsius {
	return laggedTo(v, min(t.room(), chamber), t.seconds, max(time.Second, lag))
}

// followOff follows how hot the chamber can get by itself. That falls along with the
// chamber while it cools behind a shut door. When the chamber falls faster, the door
// is open, and it will regain, when that is shut, what walls and racks have kept. Behind a
// damper that was let go it may regain in a slot all that it had. Heat that comes while the
// heater is off may raise it, but only slot by slot.
func (h *heaterMemory) followOff(t *step, chamber quantity.Celsius) {
	if !h.hasWalls {
		h.walls, h.kept, h.hasWalls = chamber, chamber, true
	}
	if t.s.Air.driven >= weldSlot {
		h.kept = h.walls
	}
	tripped := t.s.Tripped == trip.HeatWhenOff
	if !tripped {
		lag := t.m.cabinet.Response.Lag
		if h.aired = t.doorOpen() || chamber < h.walls-quantity.Celsius(doorFall) || h.aired && chamber < h.walls; h.aired {
			lag = max(lag, wallLag)
		}
		if h.walls > chamber {
			h.walls = max(chamber, t.cooled(h.walls, chamber, lag))
		}
		if h.offFor += t.dt; t.s.Out.On.Has(Heater) {
			h.offFor = 0
		}
		stage := t.stage()
		if h.emptied += t.dt; stage != nil && stage.Place == profile.Chamber || t.s.Out.On.Has(Fan) || t.doorOpen() {
			h.emptied = 0
		}
		if h.cold = h.offFor >= t.m.elementCools; !h.cold || t.regains(weldSlot) && chamber <= h.kept {
			h.walls = max(h.walls, chamber)
			h.offNow, h.offLast, h.offSlot = chamber, chamber, 0
			h.rises, h.riseFrom, h.riseSlot = 0, chamber, 0
			return
		}
		h.followRise(t, chamber)
	}
	h.offNow = max(h.offNow, chamber)
	if h.offSlot += t.dt; h.offSlot < weldSlot {
		return
	}
	// What has tripped is not forgotten by waiting, only once it cools: neither a weld
	// nor a fire does.
	if !tripped || h.offNow <= h.offLast-quantity.Celsius(weldFall) {
		h.walls = max(h.walls, chamber)
		if tripped {
			h.rises = 0
		}
	}
	h.offLast, h.offNow, h.offSlot = h.offNow, chamber, 0
}

// followRise follows how a chamber rises that is hot and empty. Brick lets it rise too
// slowly for weldMargin in a slot. By itself it rises only where the fan has stopped, or
// door or damper were shut, and that is over within a step or two.
func (h *heaterMemory) followRise(t *step, chamber quantity.Celsius) {
	if h.riseSlot += t.dt; h.riseSlot < riseStep {
		return
	}
	hot := quantity.Kelvin(chamber-t.room()) > t.m.balance.coolsAbove
	if hot && h.emptied >= riseStep && chamber >= h.walls && chamber > h.riseFrom+quantity.Celsius(riseLeast) {
		h.rises += h.riseSlot
	} else {
		h.rises = 0
	}
	h.riseFrom, h.riseSlot = chamber, 0
}

// followFull follows how the chamber answers while the heater is fully on.
func (h *heaterMemory) followFull(t *step, chamber quantity.Celsius) {
	s := t.s
	h.noHeat = h.noHeat && s.Tripped == trip.NoHeat
	if s.Chamber.asks() { // what is known of full heat stands, and a new look begins after it
		h.fullFor = 0
		return
	}
	if s.Batch != Running || h.Demand < fullDuty || !h.HasSetpoint || chamber > h.Setpoint-3 || t.doorOpen() || h.rests > 0 ||
		s.Stage > 0 && t.in.Elapsed-s.StageEntered < noHeatLeast { // a new stage's fan and damper come first
		h.fullFor, h.short = 0, false
		return
	}
	if h.fullFor == 0 {
		h.fullFrom, h.fullLow, h.fellFor = chamber, chamber, 0
	}
	h.fullFor += t.dt
	rise := quantity.Kelvin(chamber - h.fullFrom)
	warm := quantity.Kelvin(chamber-t.room()) > warmerThanRoom
	fell := rise < -noHeatFall || rise < 1 && !warm
	h.fellFor += t.dt
	h.fullLow = min(h.fullLow, chamber)
	if !fell || chamber > h.fullLow+quantity.Celsius(noHeatRegains) {
		h.fellFor, h.fullLow = 0, chamber
	}
	if h.fullFor < t.m.answers {
		return
	}
	h.short = rise < 1 && !fell // what one look has found stands until the next has looked as long
	if fell && h.fellFor >= noHeatStands {
		h.noHeat = true
	}
	if h.fullFor >= 2*t.m.answers { // a new look, from here
		h.fullFor = 0
	}
}

// stands gives the alarms of the heater whose condition holds.
func (h *heaterMemory) stands(t *step) trip.Set {
	s := t.s
	set := trip.NoHeat.If(h.noHeat) | trip.HeatShort.If(h.short) |
		trip.HeaterUnfed.If(t.in.Heater == FeedbackOff && s.Out.On.Has(Heater)) | trip.HeaterWelded.If(t.in.Heater == FeedbackOn && !s.Out.On.Has(Heater))
	chamber, ok := s.Chamber.Reading.Value()
	if !ok { // what has tripped has not gone because nobody can see it
		return set | trip.HeatWhenOff.If(h.cold && s.Tripped == trip.HeatWhenOff)
	}
	smoke, byItself := s.Smoke.heats(t.m), h.walls
	if t.m.cabinet.Cooler.Fitted { // what was cooled comes back to the room
		byItself = max(byItself, t.room())
	}
	return set | trip.StageHot.If(h.hasCeiling && chamber > h.ceiling+quantity.Celsius(stageMargin)+smoke) |
		trip.HeatWhenOff.If(h.cold && (h.rises >= weldSlot || chamber > byItself+quantity.Celsius(weldMargin)+smoke))
}

// heat runs the control loop and says whether the heater is on.
func (h *heaterMemory) heat(t *step, stage *profile.Stage) bool {
	chamber, known := t.s.Chamber.Reading.Value()
	hottest, _ := t.hottestInside(stage)
	if !stage.Heat || !known || t.late || t.doorOpen() || hottest >= t.m.cabinet.Limits.ChamberHigh {
		h.PID, h.Demand = pid.State{}, 0
		if h.HasSetpoint = h.HasSetpoint && stage.Heat; h.HasSetpoint { // perhaps of a stage before
			h.Setpoint = min(h.Setpoint, stage.ChamberSetpoint)
		}
		h.Relay.Cut(&t.m.heater, t.dt)
		return false
	}
	rate := h.ramp(t, stage, chamber)
	law := t.law()
	follows, followsRate := h.follows(t, law, chamber, rate)
	in := pid.Input{
		Setpoint: follows, SetpointRate: followsRate, Measured: chamber, Step: t.dt,
		// Only the ramp is fed forward: the integral holds, and feeding the holding
		// duty forward as well would overshoot.
		FeedForward: h.feed(t, law, rate),
		Delivered:   h.Relay.Delivered(),
		Window:      t.m.heater.Window,
	}
	demand, ok := 0.0, false
	h.PID, demand, ok = pid.Step(law.tuning, h.PID, in)
	if !ok {
		demand = 0
	}
	if t.s.Learns {
		demand = h.Tune.Step(stage.ChamberSetpoint, chamber, t.dt)
	}
	demand = t.s.Balance.meter(t, demand)
	h.Demand = demand
	on := false
	h.Relay, on = duty.Step(t.m.heater, h.Relay, demand, t.dt)
	return on && t.m.cabinet.Heater.Fitted
}

// follows is what the control law holds the chamber against, and how fast that moves: the
// setpoint as late as the dead time lets the air follow it. What cannot be had yet
// is then no error: it would wind the integral up, and a ramp begin too steeply. Where the
// delays are an estimate, the setpoint stands itself.
func (h *heaterMemory) follows(t *step, l *law, chamber quantity.Celsius, rate quantity.KelvinPerSecond) (quantity.Celsius, quantity.KelvinPerSecond) {
	aimed := h.aimed()
	if l.follows == 0 {
		return aimed, rate
	}
	if !h.PID.Started {
		h.reference, h.referenceRate = min(chamber, aimed), 0
	}
	h.reference = laggedTo(h.reference, aimed, t.seconds, l.follows)
	h.referenceRate = quantity.KelvinPerSecond(lagged(float64(h.referenceRate), float64(rate), t.seconds, l.follows.Seconds()))
	return h.reference, h.referenceRate
}

// rest keeps the heater off while what the element still gives off comes into still
// air. The ramp goes on.
func (h *heaterMemory) rest(t *step, stage *profile.Stage) {
	h.Relay.Cut(&t.m.heater, t.dt)
	h.PID, h.Demand = pid.State{Integral: h.PID.Integral}, 0
	if t.m.fixedCoast {
		h.PID = pid.State{}
	}
	if chamber, known := t.s.Chamber.Reading.Value(); known && stage.Heat {
		h.ramp(t, stage, chamber)
	}
}

// off forgets what was wanted of the heater.
func (h *heaterMemory) off(t *step) {
	h.Relay.Cut(&t.m.heater, t.dt)
	h.PID, h.Demand, h.HasSetpoint, h.rests = pid.State{}, 0, false, 0
}

// ramp moves the setpoint towards the stage's and returns its rate. It rises no
// faster than the product and the cabinet allow and falls at once.
func (h *heaterMemory) ramp(t *step, stage *profile.Stage, chamber quantity.Celsius) quantity.KelvinPerSecond {
	if !h.HasSetpoint {
		h.Setpoint, h.HasSetpoint = chamber, true
	}
	if b := &t.s.Balance; h.aired && b.hasTrend && !t.m.forgets { // what walls bring back by themselves need not be waited for
		h.Setpoint = max(h.Setpoint, min(chamber, b.slow))
	}
	rate := t.m.ramp(stage)
	if rate == 0 || h.Setpoint >= stage.ChamberSetpoint || t.s.Learns {
		h.Setpoint = stage.ChamberSetpoint
		return 0
	}
	h.Setpoint += quantity.Celsius(float64(rate) * t.seconds)
	if h.Setpoint >= stage.ChamberSetpoint {
		h.Setpoint = stage.ChamberSetpoint
	}
	return rate
}

// ramp is how fast the setpoint of a stage may rise; zero is at once.
func (m *Machine) ramp(stage *profile.Stage) quantity.KelvinPerSecond {
	rate := m.cabinet.Limits.Ramp
	if stage.Ramp > 0 && (rate == 0 || stage.Ramp < rate) {
		rate = stage.Ramp
	}
	return rate
}

// room is the ambient as measured, or else as the cabinet file expects it.
func (t *step) room() quantity.Celsius {
	if v, ok := t.in.Ambient.Value(); ok {
		return v
	}
	return t.m.cabinet.Ambient
}

// seen reports a chamber that is known.
func (c *chamberMemory) seen() bool { return c.Reading.Status() == sensors.Good }
