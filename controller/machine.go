package controller

import (
	"errors"
	"fmt"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/duty"
	"fumarium/controller/pid"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// A Machine is a product in a cabinet, with everything worked out that stays the same
// through a batch. It does not change, and any number of states may be stepped on it.
type Machine struct {
	product *profile.Product // nil while there is none
	cabinet *cabinet.Cabinet
	ambient bool // it has a probe in the room
	here    trip.Parts
	cannot  Refusal // why no batch of this can be started; zero is nothing

	rest    time.Duration
	stages  []stageRules
	balance balanceRules
	rules   *proof.Book // those of a batch depend on its state; nil without a product

	heater, fan, smoke, damper, cooler duty.Limits
	laws                               [2]law // with the fan off, and on

	// What the response of the cabinet means to those who watch it.
	gain, lagSeconds, feltSeconds float64
	answers                       time.Duration // within which it has shown at all
	elementCools                  time.Duration
	elementLag                    float64       // s
	coasts                        time.Duration // the heater, at the longest
	fixedCoast                    bool          // see FixedCoasting
	airless                       bool          // see Airless
	tight                         bool          // see TightlyTuned
	slack                         bool          // see Slack
	forgets                       bool          // see Forgetful
	unasked                       bool          // see Unasked
	aimReturns                    time.Duration // see there
	filmStill                     float64       // see there
	smokeShare                    float64       // of the heater's power, that the smoke generator brings
	coreStands                    time.Duration
	smokeHeat                     quantity.Celsius // that the smoke generator may bring
	fuelLow                       time.Duration    // air given to it when its fuel is low
	pascal                        float64          // of the air
	tolerance                     [Slots]quantity.Kelvin
	heat                          time.Duration // that a batch may take before a person has to say more
}

// stageRules are what follows from one stage.
type stageRules struct {
	waitsForCore bool          // or for lethality
	chills       bool          // nothing heats from here on
	heatEnds     time.Duration // see Machine.heatEnds
}

// New works out what follows from a product in a cabinet that cabinet.Parse has read. The
// product may be nil; then no batch can be started. It refuses a cabinet that could not be
// controlled. A product that this cabinet cannot run it takes, and refuses the start, so
// that a batch under way is never left without a machine.
func New(p *profile.Product, c *cabinet.Cabinet) (*Machine, error) { return build(p, c, pid.Robust) }

// A tuner finds the tuning for a model, as pid.Robust does.
type tuner func(m pid.Model, filter time.Duration, most float64) (pid.Tuning, error)

func build(p *profile.Product, c *cabinet.Cabinet, tune tuner) (*Machine, error) {
	if c == nil {
		return nil, errors.New("controller: no cabinet")
	}
	limits := func(r cabinet.Relay) duty.Limits {
		return duty.Limits{Window: r.Window, MinOn: r.MinOn, MinOff: r.MinOff}
	}
	m := &Machine{
		product: p, cabinet: c, heater: limits(c.Heater), fan: limits(c.Fan), smoke: limits(c.Smoke), damper: limits(c.Damper),
		aimReturns: aimReturns, filmStill: filmStill,
		cooler: duty.Limits{MinOn: c.Cooler.MinOn, MinOff: c.Cooler.MinOff}, pascal: c.Pressure(),
		ambient: c.Has(cabinet.AmbientProbe), here: PartsOf(c),
	}
	r := c.Response
	still, moved := c.Law(false), c.Law(true)
	if err := m.laws[0].tune(c, still, tune); err != nil {
		return nil, err
	}
	if m.laws[1] = m.laws[0]; moved != still {
		if err := m.laws[1].tune(c, moved, tune); err != nil {
			return nil, err
		}
	}
	watched := sampled(c, r)
	m.gain, m.lagSeconds, m.feltSeconds = float64(r.Gain), r.Lag.Seconds(), max(1, (r.SecondLag+r.DeadTime).Seconds())
	lags := 3 * (watched.DeadTime + watched.SecondLag)
	m.answers, m.elementCools = max(noHeatLeast, lags+watched.Lag/4), lags+coolingDown
	m.elementLag, m.coasts = max(1, r.SecondLag.Seconds()), min(lags, longestCoast)
	if c.Heater.Power > 0 {
		m.smokeShare = float64(c.Generator.Heat) / float64(c.Heater.Power)
		m.smokeHeat = quantity.Celsius(float64(r.Gain) * float64(c.Generator.Heat) / float64(c.Heater.Power))
	}
	m.fuelLow = c.Generator.PumpTime() - time.Duration(float64(c.Generator.Share())*float64(fuelWarning))
	m.balance = newBalanceRules(p, c)
	for i := range m.tolerance {
		if fitted := Slot(c, i); fitted != nil {
			m.tolerance[i] = fitted.Tolerance()
		}
	}
	if p == nil || len(p.Stages) == 0 {
		m.cannot = NothingToRun
	}
	if p == nil {
		return m, nil
	}
	m.rest, _ = p.Rest()
	m.rules, m.coreStands = proof.BookOf(p), coreStands(p)
	m.stages = make([]stageRules, len(p.Stages))
	for i := range p.Stages {
		stage := &p.Stages[i]
		m.stages[i] = stageRules{waitsForCore: waitsForCore(stage), chills: p.Chilling(i)}
		if long := expected(p, stage); long > 0 || stage.Heat {
			m.stages[i].heatEnds = atMost(long, heatMarginStage)
			if stage.Heat {
				m.heat += long
			}
		}
		if stage.Heat && stage.ChamberSetpoint > c.Limits.ChamberHigh-quantity.Celsius(profile.ChamberMargin) {
			m.cannot = ChamberTooHotForCabinet
		}
	}
	m.heat = atMost(m.heat, heatMarginBatch)
	return m, nil
}

// A law is the control law for one state of the fan.
type law struct {
	model   pid.Model // of the chamber as it sees it
	tuning  pid.Tuning
	follows time.Duration // the air a ramp, so late; zero where that is not known
}

// sampled is a response with the delay that the relay's window and the step add.
func sampled(c *cabinet.Cabinet, r cabinet.Response) pid.Model {
	return pid.Model{GainKelvin: float64(r.Gain), Lag: r.Lag, SecondLag: r.SecondLag, DeadTime: r.DeadTime}.Sampled(c.Heater.Window, time.Second)
}

// tune makes the law for a response.
func (l *law) tune(c *cabinet.Cabinet, r cabinet.Response, tune tuner) (err error) {
	l.model = sampled(c, r)
	if l.tuning, err = tune(l.model, measurementFilter, robust); err != nil {
		return fmt.Errorf("controller: the response of cabinet %q cannot be controlled: %w", c.Name, err)
	}
	if c.Learned != (cabinet.Learned{}) {
		l.follows = l.model.DeadTime
	}
	return nil
}

// law is the one for what the fan does now.
func (t *step) law() *law {
	if t.s.Fan.wanted {
		return &t.m.laws[1]
	}
	return &t.m.laws[0]
}

// Product is what the machine runs, or nil.
func (m *Machine) Product() *profile.Product { return m.product }

func waitsForCore(stage *profile.Stage) bool {
	for i := range stage.Until.Conditions {
		switch stage.Until.Conditions[i].Kind {
		case profile.CoreAtLeast, profile.CoreAtMost, profile.LethalityAtLeast:
			return true
		}
	}
	return false
}

func (m *Machine) waitsForCore(stage int) bool {
	return stage < len(m.stages) && m.stages[stage].waitsForCore
}

// chills reports whether the product only cools from stage i on.
func (m *Machine) chills(i int) bool {
	if i < len(m.stages) {
		return m.stages[i].chills
	}
	return i > 0
}

// step carries one call of Step.
type step struct {
	m        *Machine
	s        *State
	in       *Inputs
	before   last
	dt       time.Duration
	seconds  float64 // dt
	late     bool
	hidden   time.Duration  // of an absence, which has turned out to be longer than Elapsed has it
	doubted  bool           // a core reading that was believed is not believed any more
	changed  bool           // the batch has entered its state just now
	bent     *profile.Stage // what stage has found, while the stage is bent
	calling  trip.Priority  // of the most pressing alarm that nobody has answered
	pressing bool           // an alarm stands, answered or not
	events   *[]Event       // apart, so that the state need not live on the heap
}

// last is what a step needs of the state before it.
type last struct {
	active           bool
	coldest, hottest sensors.Reading
	coresInUse       uint8
}

// Step decides the next outputs. Equal arguments give equal results. Events are
// oldest first. It allocates only when something happens.
func (m *Machine) Step(s State, in Inputs) (State, Outputs, []Event) {
	out, events := m.Advance(&s, &in)
	return s, out, events
}

// Advance is Step in place, for callers that make so many steps that copying the
// state counts. It keeps neither pointer.
func (m *Machine) Advance(s *State, in *Inputs) (Outputs, []Event) {
	var events []Event
	t := step{m: m, s: s, in: in, events: &events, before: last{s.Batch.Active(), s.Core.Coldest, s.Core.Hottest, s.Core.inUse()}}
	t.time()
	s.Heater.average(&t)
	s.Heater.smokes(&t)
	s.Chamber.follow(&t)
	s.Evidence.parts(&t)
	s.Core.follow(&t)
	s.Wick.follow(&t)
	s.Heater.follow(&t)
	s.Smoke.follow(&t)
	s.HeatTime.follow(&t)
	s.Balance.follow(&t)
	s.Evidence.follow(&t)
	t.command()
	t.alarms()
	s.Evidence.judge(&t)
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
	if t.s.Learns && b == Holding {
		t.abandon(t.held())
		return
	}
	t.s.Batch = b
	t.changed = true
	if !b.Active() {
		t.s.Ended = t.in.Elapsed
	}
	t.event(Event{Kind: BatchChanged, Batch: b})
}

// stage is the one under way as it is bent, or nil.
func (t *step) stage() *profile.Stage {
	if t.bent == nil || t.s.Bend == (Bend{}) || !t.s.Batch.Active() {
		t.bent = t.s.CurrentStage(t.m.product)
	}
	return t.bent
}

func (t *step) doorOpen() bool { return t.in.Door == DoorOpen || t.in.Door == DoorUnread }

// seconds is d.Seconds(), sooner for what most durations between steps are.
func seconds(d time.Duration) float64 {
	switch d {
	case time.Second:
		return 1
	case 0:
		return 0
	}
	return d.Seconds()
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
	t.seconds = seconds(t.dt)
	if t.in.PowerLost {
		t.unwatched()
	}
	was := t.s.Elapsed
	t.s.Begun = true
	t.s.Elapsed = t.in.Elapsed
	t.absent(was)
}

// unwatched begins the alarms' delays again after an absence, and says it anew, also
// when the last word before it was that the controller had been away already.
func (t *step) unwatched() {
	s := t.s
	for c := range s.stirred.Each {
		s.Alarms[c] = s.Alarms[c].Unwatched(c, s.Elapsed)
	}
	if away := &s.Alarms[trip.PowerLost]; away.Standing {
		*away, _ = away.Next(trip.PowerLost, s.Elapsed, false, false)
	}
}

// batch moves the batch on: the transient states last one step, so that their
// outputs have been applied before the resting state is claimed.
func (t *step) batch() {
	s := t.s
	s.coreMeeting = s.coreMeeting && s.Batch == Running // a hold breaks the dwell
	if s.Batch == Running {
		t.runStage()
		return
	}
	if t.changed {
		return
	}
	switch s.Batch {
	case Holding:
		t.enter(Held)
	case Restarting:
		t.enter(Running)
	case Stopping:
		t.enter(Stopped)
	case Aborting:
		t.enter(Aborted)
	}
}
