package controller

import (
	"math/bits"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/duty"
	"fumarium/controller/pid"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// chamberMargin is how far every setpoint must stay below the cabinet's absolute
// limit, so that ordinary overshoot does not trip it. Common practice, no source.
const chamberMargin quantity.Kelvin = 5

// measurementFilter smooths the noise of thermocouple samples before it is
// differentiated; without it the duty jumps by half its range. Common practice, no
// source; rehearsals overshoot least with it.
const measurementFilter = 10 * time.Second

// What an absence of the controller means to a batch; common practice, no source.
const (
	shortAbsence = 2 * time.Minute
	longAbsence  = 4 * time.Hour
)

// coasting is how long the heater rests when the fan stops or the damper closes, and
// how long the fan outlasts it: what a hot element still gives off would otherwise
// shoot into still air. Common practice, no source; in rehearsals it takes an excess
// of 12 to 20 K down to 3 to 6 K.
const coasting = 150 * time.Second

// humidityBand is half the switching band of the humidifier; common practice, no
// source.
const humidityBand quantity.Ratio = 0.02

// step carries one call of Step.
type step struct {
	p       *profile.Product
	c       *cabinet.Cabinet
	s       *State
	in      *Inputs
	before  last
	dt      time.Duration
	late    bool
	doubted bool     // a core reading that was believed is not believed any more
	calling bool     // nobody has answered a loud alarm
	events  *[]Event // apart, so that the state need not live on the heap
}

// last is what a step needs of the state before it.
type last struct {
	active                   bool
	coreColdest, coreHottest sensors.Reading
	coresInUse               uint8
}

// Step decides the next outputs. Equal arguments give equal results. Events are
// oldest first. It allocates only when something happens. p may be nil while no
// batch is active; c must come from cabinet.Parse.
func Step(p *profile.Product, c *cabinet.Cabinet, s State, in Inputs) (State, Outputs, []Event) {
	out, events := Advance(p, c, &s, &in)
	return s, out, events
}

// Advance is Step in place, for callers that make so many steps that copying the
// state counts. It keeps neither pointer.
func Advance(p *profile.Product, c *cabinet.Cabinet, s *State, in *Inputs) (Outputs, []Event) {
	var events []Event
	t := step{p: p, c: c, s: s, in: in, events: &events, before: last{s.Batch.Active(), s.CoreColdest, s.CoreHottest, s.coresInUse}}
	t.time()
	t.read()
	t.watchHeat()
	t.watchSmoke()
	t.command()
	t.alarms()
	t.batch()
	t.prove()
	t.drive()
	return s.Out, events
}

func (t *step) event(e Event) {
	e.At = t.in.Elapsed
	*t.events = append(*t.events, e)
}

func (t *step) enter(b BatchState) {
	t.s.Batch = b
	if !b.Active() {
		t.s.Ended = t.in.Elapsed
	}
	t.event(Event{Kind: BatchChanged, Batch: b})
}

// time judges the gap since the last step. A gap that is negative or too long
// means that nobody watched: the heater rests for this step and no heat that was
// not seen counts.
func (t *step) time() {
	if t.s.Begun {
		t.dt = t.in.Elapsed - t.s.Elapsed
	}
	t.late = t.dt < 0 || t.dt > LateAfter
	if t.dt < 0 {
		t.dt = 0
	}
	if t.in.PowerLost {
		t.unwatched()
	}
	t.s.Begun = true
	t.s.Elapsed = t.in.Elapsed
}

// unwatched begins the alarms' delays again after an absence, and says it anew, also
// when the last word before it was that the controller had been away already.
func (t *step) unwatched() {
	s := t.s
	for left := s.stirred; left != 0; left &= left - 1 {
		c := trip.Code(bits.TrailingZeros64(left))
		s.Alarms[c] = s.Alarms[c].Unwatched(c, s.Elapsed)
	}
	if away := &s.Alarms[trip.PowerLost]; away.Standing {
		*away, _ = away.Next(trip.PowerLost, s.Elapsed, false, false)
	}
}

// read arbitrates between probes that are believed. The chamber is the mean of its
// good probes. The core is known only while every probe that has ever answered in
// this batch still does: the lost one might be the coldest.
func (t *step) read() {
	s := t.s
	sum, good := 0.0, 0
	for i, r := range t.readChamber() {
		if v, ok := r.Value(); ok {
			sum += float64(v)
			good++
			s.chambersInUse |= 1 << i
		} else if s.chambersInUse&(1<<i) != 0 {
			s.chamberDoubt = true
		}
	}
	s.chamberDoubt = s.chamberDoubt && good < bits.OnesCount8(s.chambersInUse)
	s.Chamber = sensors.Reading{}
	if good > 0 {
		s.Chamber = sensors.At(quantity.Celsius(sum / float64(good)))
	}
	var coldest, hottest quantity.Celsius
	var answering uint8
	for i, r := range t.readCores() {
		v, ok := r.Value()
		if !ok {
			continue
		}
		if answering == 0 || v < coldest {
			coldest = v
		}
		if answering == 0 || v > hottest {
			hottest = v
		}
		answering |= 1 << i
	}
	s.coresInUse |= answering
	s.CoreColdest, s.CoreHottest = sensors.Reading{}, sensors.Reading{}
	if answering != 0 && answering == s.coresInUse {
		s.CoreColdest, s.CoreHottest = sensors.At(coldest), sensors.At(hottest)
	}
	t.humidity()
}

// hottestInside is the reading the absolute limit is held against: whatever a probe
// is called, what it reads while it is in the chamber the chamber has to give. So a
// core and a chamber probe that are swapped, or a core on the floor beside the
// element, do not hide a chamber that is too hot.
func (t *step) hottestInside(stage *profile.Stage) (quantity.Celsius, bool) {
	var hottest quantity.Celsius
	found := false
	for _, r := range t.in.Chamber {
		if v, ok := r.Value(); ok && (!found || v > hottest) {
			hottest, found = v, true
		}
	}
	if stage == nil || stage.Place != profile.Chamber {
		return hottest, found
	}
	for _, r := range t.in.Core {
		if v, ok := r.Value(); ok && (!found || v > hottest) {
			hottest, found = v, true
		}
	}
	return hottest, found
}

func (t *step) refuse(why Refusal) {
	t.event(Event{Kind: Refused, Command: t.in.Command.Kind, Why: why})
}

func (t *step) command() {
	s := t.s
	switch t.in.Command.Kind {
	case NoCommand:
	case Start:
		t.start()
	case Confirm:
		t.confirm()
	case Hold:
		if s.Batch != Running && s.Batch != Restarting {
			t.refuse(NotInThisState)
			return
		}
		t.answered(trip.PromptWaiting)
		t.enter(Holding)
	case Restart:
		switch {
		case s.Batch != Held:
			t.refuse(NotInThisState)
		case s.Tripped != trip.None:
			t.refuse(StillTripped)
		default:
			t.enter(Restarting)
		}
	case Stop:
		if !s.Batch.Active() || s.Batch == Stopping || s.Batch == Aborting {
			t.refuse(NotInThisState)
			return
		}
		t.answered(trip.PromptWaiting, trip.StageOvertime)
		t.enter(Stopping)
	case Abort:
		if !s.Batch.Active() || s.Batch == Aborting {
			t.refuse(NotInThisState)
			return
		}
		t.answered(trip.PromptWaiting, trip.StageOvertime)
		t.enter(Aborting)
	case Acknowledge:
		named := t.in.Command.Alarm
		calls := named < trip.Count && s.Alarms[named].Calls()
		for c := trip.None + 1; c < trip.Count; c++ {
			if named == trip.None || named == c {
				s.Alarms[c] = s.Alarms[c].Acknowledge()
			}
		}
		if calls { // it is known now; that it is mended has to be said by itself
			return
		}
		switch named {
		case trip.CoreOut:
			s.watch.sworn = s.watch.out
			s.watch.out, s.watch.course, s.watch.moved = 0, [cabinet.MaxCoreProbes]course{}, t.in.Elapsed
			s.proving.sworn, s.proving.swornAt = s.Proof, t.in.Elapsed
		case trip.CoreLost:
			t.leaveOut()
		case trip.SmokeFuelLow, trip.EmberOut:
			t.lit()
			t.answered(trip.SmokeFuelLow, trip.EmberOut) // it is filled and smoulders: that answers both
		case trip.EmberUnknown:
			s.watch.smoke.doubt, s.watch.smoke.seen = false, false
		}
	case Shelve:
		c := t.in.Command.Alarm
		if c == trip.None || c >= trip.Count {
			t.refuse(CannotShelve)
			return
		}
		if s.Alarms[c].Phase == trip.Normal {
			t.refuse(CannotShelve)
			return
		}
		next, ok := s.Alarms[c].Shelve(c, t.in.Elapsed, t.in.Elapsed+t.in.Command.For)
		if !ok {
			t.refuse(CannotShelve)
			return
		}
		s.Alarms[c] = next
	case Reset:
		if s.Tripped == trip.NoHeat { // the next full heat shows whether it is mended
			s.watch.noHeat, s.watch.fullFor = false, 0
		}
		switch {
		case s.Tripped == trip.None:
			t.refuse(NotTripped)
		case t.tripStanding():
			t.refuse(StillTripped)
		default:
			t.event(Event{Kind: TripReset, Alarm: s.Tripped})
			s.Alarms[s.Tripped] = s.Alarms[s.Tripped].Acknowledge()
			s.Tripped = trip.None
		}
	default:
		t.refuse(UnknownCommand)
	}
}

// answered ends the call of alarms whose cause the person removes by this very command:
// there is nothing left to come for. One that they did not know of yet counts as
// acknowledged by it.
func (t *step) answered(codes ...trip.Code) {
	for _, c := range codes {
		t.s.Alarms[c] = t.s.Alarms[c].Acknowledge()
	}
}

// tripStanding reports whether the cause of any trip stands.
func (t *step) tripStanding() bool {
	stage := t.s.CurrentStage(t.p)
	for c := trip.None + 1; c < trip.Count; c++ {
		if trips[c] && t.standing(c, stage) {
			return true
		}
	}
	return false
}

// trips and calls hold which alarms trip, and which call the person.
var trips, calls = func() (trips, calls [trip.Count]bool) {
	for c := trip.None + 1; c < trip.Count; c++ {
		trips[c], calls[c] = c.Entry().Trips, c.Entry().Priority.Loud()
	}
	return trips, calls
}()

func (t *step) start() {
	s := t.s
	switch {
	case s.Batch.Active():
		t.refuse(NotInThisState)
		return
	case s.Tripped != trip.None:
		t.refuse(StillTripped)
		return
	case t.p == nil || len(t.p.Stages) == 0:
		t.refuse(NothingToRun)
		return
	case s.Chamber.Status() != sensors.Good:
		t.refuse(ChamberUnread)
		return
	case t.in.RecordFailing:
		t.refuse(RecordNotKept)
		return
	}
	if rest, _ := t.p.Rest(); t.in.Command.Rested < rest && !t.in.Command.Excused {
		t.refuse(RestNotOver)
		return
	}
	for i := range t.p.Stages {
		stage := &t.p.Stages[i]
		if stage.Heat && stage.ChamberSetpoint > t.c.Limits.ChamberHigh-quantity.Celsius(chamberMargin) {
			t.refuse(ChamberTooHotForCabinet)
			return
		}
	}
	*s = State{
		Begun: true, Elapsed: s.Elapsed, Started: t.in.Elapsed,
		Chamber: s.Chamber, chambersInUse: s.chambersInUse, watch: watch{
			chamber: s.watch.chamber, walls: s.watch.walls, hasWalls: s.watch.hasWalls, // a cabinet may still be hot
		},
		// The relays' least on and off times and their wear outlive a batch.
		HeaterDuty: s.HeaterDuty, FanDuty: s.FanDuty, Alarms: s.Alarms, stirred: s.stirred,
		Out: Outputs{Damper: 1}, // open until a stage says otherwise
	}
	t.enter(Running)
	t.enterStage(0)
}

func (t *step) confirm() {
	s := t.s
	if s.Batch != Running {
		t.refuse(NothingToConfirm)
		return
	}
	switch {
	case s.Asking:
		s.Asking = false
		t.answered(trip.PromptWaiting)
		t.event(Event{Kind: Answered, Stage: s.Stage})
	case s.Confirming > 0:
		s.met |= 1 << (s.Confirming - 1)
		s.Confirming = 0
		t.answered(trip.PromptWaiting)
		t.event(Event{Kind: Answered, Stage: s.Stage, By: EndedByPerson})
	default:
		t.refuse(NothingToConfirm)
	}
}

// standing reports whether the condition of an alarm holds in this step.
func (t *step) standing(c trip.Code, stage *profile.Stage) bool {
	s := t.s
	switch c {
	case trip.ChamberHigh:
		hottest, ok := t.hottestInside(stage)
		return ok && hottest >= t.c.Limits.ChamberHigh
	case trip.StageHot:
		chamber, ok := s.Chamber.Value()
		return ok && s.watch.hasCeiling && chamber > s.watch.ceiling+quantity.Celsius(stageMargin)+t.smokeHeat()
	case trip.HeatWhenOff:
		chamber, ok := s.Chamber.Value()
		w := &s.watch
		if !ok { // what has tripped has not gone because nobody can see it
			return w.hasOff && s.Tripped == c
		}
		return w.hasOff && chamber > w.walls+quantity.Celsius(weldMargin)+t.smokeHeat()
	case trip.HeaterUnfed:
		return t.in.Heater == FeedbackOff && s.Out.Heater
	case trip.HeaterWelded:
		return t.in.Heater == FeedbackOn && !s.Out.Heater
	case trip.OutputFailed:
		return t.in.DriveFailed
	case trip.NoHeat:
		return s.watch.noHeat
	case trip.HeatShort:
		return s.watch.short
	case trip.ChamberLost:
		return chamberMatters(stage) && s.Chamber.Status() != sensors.Good
	case trip.ChamberFrozen:
		return chamberMatters(stage) && s.watch.stuck
	case trip.ChamberDisagree:
		return chamberMatters(stage) && s.watch.apart
	case trip.ChamberDoubt:
		return s.Batch.Active() && s.chamberDoubt
	case trip.CoreLost:
		return stage != nil && s.CoreColdest.Status() != sensors.Good && (s.coresInUse != 0 || waitsForCore(stage))
	case trip.CoreOut:
		return s.Batch.Active() && s.watch.out != 0
	case trip.CoreFrozen:
		return s.watch.frozen != 0
	case trip.CoreTooHot:
		return s.watch.tooHot != 0
	case trip.PowerLost:
		return t.in.PowerLost && s.Batch.Active()
	case trip.DoorOpen:
		return t.doorOpen()
	case trip.WickDry:
		return s.Batch == Running && s.watch.wickDry && stage != nil && stage.HasHumidity
	case trip.SmokeFuelLow:
		return t.fuelLow(stage)
	case trip.EmberOut:
		return t.emberOut(stage)
	case trip.EmberUnknown:
		return t.emberUnknown(stage)
	case trip.AmbientLost:
		return t.in.Ambient.Status() != sensors.Good && t.c.Has(cabinet.AmbientProbe)
	case trip.EmberBurning:
		return t.emberBurning(stage)
	case trip.RecordFailing:
		return t.in.RecordFailing
	case trip.DiskLow:
		return t.in.DiskLow
	case trip.ClockUnset:
		return t.in.ClockUnset
	case trip.ClockStepped:
		return t.in.ClockStepped
	case trip.StepLate:
		return t.late
	case trip.StageOvertime:
		return stage != nil && stage.Within > 0 && s.StageClock > stage.Within
	case trip.PromptWaiting:
		return s.Batch == Running && (s.Asking || s.Confirming > 0 && stage != nil && !stage.Until.Any)
	case trip.ComeUpLong:
		return s.Batch.Active() && !s.ComeUp.Done && s.ComeUp.Time > comeUp.Limit-comeUpWarning
	case trip.ComeUpOver:
		return s.Batch.Active() && comeUp.Failed(s.ComeUp)
	case trip.ChillLong:
		r := t.chillRule()
		return r != nil && r.Nearly(s.Chill, chillWarning)
	case trip.ChillOver:
		r := t.chillRule()
		return r != nil && r.Failed(s.Chill)
	case trip.HumidityUnmeasured:
		return s.Batch == Running && stage != nil && stage.HasHumidity && !s.HasHumidity
	}
	return false
}

// chillRule is the rule that counts now, or nil while nothing is chilled.
func (t *step) chillRule() *chilling.Rule {
	if !t.s.Batch.Active() || t.p == nil || !t.p.Chilling(t.s.Stage) {
		return nil
	}
	return t.p.ChillRule()
}

// chamberMatters reports whether anything hangs on the chamber probes: not while the
// product is in ice or in a room and the cabinet is off.
func chamberMatters(stage *profile.Stage) bool {
	return stage != nil && (stage.Heat || stage.Smoke || stage.Place == profile.Chamber)
}

func waitsForCore(stage *profile.Stage) bool {
	for i := range stage.Until.Conditions {
		switch stage.Until.Conditions[i].Kind {
		case profile.CoreAtLeast, profile.CoreAtMost, profile.LethalityAtLeast:
			return true
		}
	}
	return false
}

// alarms holds every condition of the catalogue against this step. A trip holds
// the batch; with no batch it still latches the heater off.
func (t *step) alarms() {
	s := t.s
	var standing, suppressed uint64
	stage := s.CurrentStage(t.p)
	for c := trip.None + 1; c < trip.Count; c++ {
		if !t.standing(c, stage) {
			continue
		}
		standing |= 1 << c
		// Judged on what stood before this step as well, so that the order of the
		// catalogue does not matter for more than one step.
		if s.Alarms[c].Active(c, t.in.Elapsed) && s.Alarms[c].Phase != trip.Shelved {
			suppressed |= suppresses[c]
		}
	}
	for left := standing | s.stirred; left != 0; left &= left - 1 { // the others are quiet
		c := trip.Code(bits.TrailingZeros64(left))
		next, change := s.Alarms[c].Next(c, t.in.Elapsed, standing&(1<<c) != 0, suppressed&(1<<c) != 0)
		s.Alarms[c] = next
		if s.stirred |= 1 << c; next.Quiet() {
			s.stirred &^= 1 << c
		}
		switch change {
		case trip.Raised:
			t.event(Event{Kind: AlarmRaised, Alarm: c})
		case trip.Returned:
			t.event(Event{Kind: AlarmReturned, Alarm: c})
		}
		// Whatever became of the alarm, a cause that stands trips: also one that came
		// while another trip was latched.
		t.calling = t.calling || calls[c] && s.Alarms[c].Calls()
		if trips[c] && s.Tripped == trip.None && s.Alarms[c].Active(c, t.in.Elapsed) {
			s.Tripped = c
			t.event(Event{Kind: Tripped, Alarm: c})
		}
	}
	if s.Tripped != trip.None && (s.Batch == Running || s.Batch == Restarting) {
		t.enter(Holding)
	}
	if t.in.PowerLost {
		t.away()
	}
}

// away decides what becomes of a batch that nobody watched: a short absence goes on
// by itself, a long one waits for the person, and after a very long one the batch is
// over. The alarm says so in every case, and what was not seen counts against the
// batch.
func (t *step) away() {
	s := t.s
	switch {
	case !s.Batch.Active() || t.dt <= shortAbsence:
	case t.dt > longAbsence:
		t.enter(Aborting)
	case s.Batch == Running || s.Batch == Restarting:
		t.enter(Holding)
	}
}

// suppresses holds, for each alarm, a bit for every other that it makes meaningless.
var suppresses = func() (masks [trip.Count]uint64) {
	for c := trip.None + 1; c < trip.Count; c++ {
		for _, other := range c.Entry().Suppresses {
			masks[c] |= 1 << other
		}
	}
	return masks
}()

// batch moves the batch on: the transient states last one step, so that their
// outputs have been applied before the resting state is claimed.
func (t *step) batch() {
	s := t.s
	s.coreMeeting = s.coreMeeting && s.Batch == Running // a hold breaks the dwell
	switch s.Batch {
	case Running:
		t.stage()
	case Holding:
		if !t.changedInThisStep() {
			t.enter(Held)
		}
	case Restarting:
		if !t.changedInThisStep() {
			t.enter(Running)
		}
	case Stopping:
		if !t.changedInThisStep() {
			t.enter(Stopped)
		}
	case Aborting:
		if !t.changedInThisStep() {
			t.enter(Aborted)
		}
	}
}

// changedInThisStep reports whether the batch has entered its state just now.
func (t *step) changedInThisStep() bool {
	for i := range *t.events {
		if (*t.events)[i].Kind == BatchChanged {
			return true
		}
	}
	return false
}

// drive turns the state into outputs. Everything is off unless a batch runs and
// nothing forbids it.
func (t *step) drive() {
	s := t.s
	damper := s.Out.Damper
	stage := s.CurrentStage(t.p)
	if s.Batch != Running || stage == nil || s.Tripped != trip.None {
		s.HeaterDuty = t.cut(heaterLimits(t.c), s.HeaterDuty)
		s.FanDuty = t.cut(fanLimits(t.c), s.FanDuty)
		s.PID, s.Demand, s.HasSetpoint, s.humidifierOn = pid.State{}, 0, false, false
		s.fanWanted, s.fanCoasts, s.coast = false, false, 0
		t.blow(false)
		s.Out = Outputs{Sounder: t.sound(), Damper: damper}
		return
	}
	coast := false
	if stage.HasDamper && !s.Asking { // the person sets it in the hand step
		coast = stage.Damper < damper
		damper = stage.Damper
	}
	out := Outputs{Damper: damper, Sounder: t.sound()}
	shut := !t.doorOpen()
	smoke := stage.Smoke && !s.Asking && t.c.Smoke.Fitted && shut
	// Off already while the person lights the generator, so that its pump need not wait
	// for the fan to coast.
	fan := t.c.Fan.Fitted && shut && stage.Fan > 0 && (t.c.Rules.FanWithSmoke || !stage.Smoke || !t.c.Smoke.Fitted)
	if s.fanWanted && !fan && shut {
		coast, s.fanCoasts = true, true
	}
	s.fanWanted = fan
	if coast {
		s.coast = coasting
	}
	if s.coast -= t.dt; s.coast <= 0 {
		s.coast, s.fanCoasts = 0, false
	}
	switch {
	case s.fanCoasts:
		out.Fan = shut
	case fan:
		s.FanDuty, out.Fan = duty.Step(fanLimits(t.c), s.FanDuty, float64(stage.Fan), t.dt)
	default:
		s.FanDuty = t.cut(fanLimits(t.c), s.FanDuty)
	}
	out.Smoke = t.blow(smoke && (!out.Fan || t.c.Rules.FanWithSmoke))
	if s.coast > 0 {
		s.HeaterDuty = t.cut(heaterLimits(t.c), s.HeaterDuty)
		s.PID, s.Demand = pid.State{}, 0
		if stage.Heat && s.Chamber.Status() == sensors.Good {
			chamber, _ := s.Chamber.Value()
			t.ramp(stage, chamber)
		}
	} else {
		out.Heater = t.heat(stage)
	}
	out.Humidifier = t.humidify(stage)
	s.Out = out
}

// heat runs the control loop and says whether the heater is on.
func (t *step) heat(stage *profile.Stage) bool {
	s := t.s
	chamber, known := s.Chamber.Value()
	limits := heaterLimits(t.c)
	hottest, _ := t.hottestInside(stage)
	if !stage.Heat || !known || t.late || t.doorOpen() || hottest >= t.c.Limits.ChamberHigh {
		s.PID, s.Demand = pid.State{}, 0
		if !stage.Heat {
			s.HasSetpoint = false
		}
		s.HeaterDuty = t.cut(limits, s.HeaterDuty)
		return false
	}
	rate := t.ramp(stage, chamber)
	model := response(t.c)
	tuning, err := pid.SIMC(model, 0)
	if err != nil { // cabinet.Parse refuses such a response; without a tuning there is no heat
		s.HeaterDuty = t.cut(limits, s.HeaterDuty)
		return false
	}
	tuning.Filter = max(tuning.Filter, measurementFilter)
	in := pid.Input{
		Setpoint: s.Setpoint, SetpointRate: rate, Measured: chamber, Step: t.dt,
		// Only the ramp is fed forward: the integral holds, and feeding the holding
		// duty forward as well would overshoot.
		FeedForward: pid.FeedForward(model, 0, rate),
		Delivered:   s.HeaterDuty.Delivered(),
		Window:      t.c.Heater.Window,
	}
	demand, ok := 0.0, false
	s.PID, demand, ok = pid.Step(tuning, s.PID, in)
	if !ok {
		demand = 0
	}
	s.Demand = demand
	on := false
	s.HeaterDuty, on = duty.Step(limits, s.HeaterDuty, demand, t.dt)
	return on && t.c.Heater.Fitted
}

// ramp moves the setpoint towards the stage's and returns its rate. It rises no
// faster than the product and the cabinet allow and falls at once.
func (t *step) ramp(stage *profile.Stage, chamber quantity.Celsius) quantity.KelvinPerSecond {
	s := t.s
	if !s.HasSetpoint {
		s.Setpoint, s.HasSetpoint = chamber, true
	}
	rate := t.c.Limits.Ramp
	if stage.Ramp > 0 && (rate == 0 || stage.Ramp < rate) {
		rate = stage.Ramp
	}
	if rate == 0 || s.Setpoint >= stage.ChamberSetpoint {
		s.Setpoint = stage.ChamberSetpoint
		return 0
	}
	s.Setpoint += quantity.Celsius(float64(rate) * t.dt.Seconds())
	if s.Setpoint >= stage.ChamberSetpoint {
		s.Setpoint = stage.ChamberSetpoint
	}
	return rate
}

// cut switches a time-proportioned output off and forgets what it owed.
func (t *step) cut(l duty.Limits, s duty.State) duty.State {
	s, _ = duty.Step(l, s, 0, t.dt)
	return duty.Trip(s)
}

func (t *step) humidify(stage *profile.Stage) bool {
	s := t.s
	if !stage.HasHumidity || !s.HasHumidity || !t.c.Humidifier.Fitted || t.doorOpen() {
		s.humidifierOn = false
		return false
	}
	switch {
	case s.Humidity < stage.Humidity-humidityBand:
		s.humidifierOn = true
	case s.Humidity > stage.Humidity+humidityBand:
		s.humidifierOn = false
	}
	return s.humidifierOn
}

// sound reports whether the sounder calls the person: for any loud alarm that nobody
// has acknowledged, and for ten seconds in every minute while a hand step waits.
func (t *step) sound() bool {
	s := t.s
	if !t.c.Sounder.Fitted {
		return false
	}
	if t.calling {
		return true
	}
	stage := s.CurrentStage(t.p)
	if s.Batch == Running && stage != nil && (s.Asking || s.Confirming > 0 && !stage.Until.Any) {
		waited := t.in.Elapsed - s.Alarms[trip.PromptWaiting].Since
		return waited%time.Minute < 10*time.Second
	}
	return false
}

func heaterLimits(c *cabinet.Cabinet) duty.Limits {
	return duty.Limits{Window: c.Heater.Window, MinOn: c.Heater.MinOn, MinOff: c.Heater.MinOff}
}

func fanLimits(c *cabinet.Cabinet) duty.Limits {
	return duty.Limits{Window: c.Fan.Window, MinOn: c.Fan.MinOn, MinOff: c.Fan.MinOff}
}

// response is the chamber as the tuning sees it, with the delay that the relay's
// window and the step add.
func response(c *cabinet.Cabinet) pid.Model {
	return pid.Model{
		GainKelvin: float64(c.Response.Gain),
		Lag:        c.Response.Lag,
		SecondLag:  c.Response.SecondLag,
		DeadTime:   c.Response.DeadTime,
	}.Sampled(c.Heater.Window, time.Second)
}
