// Package campaign runs batch after batch of shipped products in shipped cabinets,
// each with faults at random times, all drawn from one seed, and holds the
// controller after every step against what must hold whatever goes wrong. It knows
// the truth of the simulated cabinet, which the controller does not. It judges; it
// changes nothing.
package campaign

import (
	"context"
	"fmt"
	"reflect"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/fish"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sim"
	"fumarium/sim/fault"
	"fumarium/sim/plant"
)

// A Rule is something that must hold.
type Rule string

// The rules.
const (
	HeaterOffOnTrip Rule = "heater off in the step of a trip, of an unreadable chamber, of a late call"
	OffUnlessRuns   Rule = "nothing on while no batch runs"
	Latched         Rule = "a trip stays until a person resets it, and holds the batch"
	ContactsRest    Rule = "the heater's relay keeps its least off-time"
	ChamberBounded  Rule = "the true chamber passes the limit by no more than it coasts with the heater off"
	WrongBounded    Rule = "with a wrong chamber probe the true chamber passes the limit by no more than is stated"
	WrongIsSaid     Rule = "a wrong chamber probe is said before the true chamber is far over the limit"
	CoreWasThere    Rule = "a stage ends by core only when the true core is there"
	ClaimIsTrue     Rule = "no more lethality is claimed than the true core has had"
	GoodIsSafe      Rule = "a batch called good is cooked, came up and chilled in truth"
	Finite          Rule = "every number of the state is finite"
	InBounds        Rule = "setpoint and demand keep their limits"
	HeatEnds        Rule = "no heat for a hand step that has waited for two hours"
	RoomIsSaid      Rule = "a probe in the room that gives no reading is said"
	Replays         Rule = "the same inputs give the same outputs and state again"
)

// probeError is what a good probe may be wrong by: its noise, its resolution, and
// its lag behind the core. Common practice, no source.
const probeError quantity.Kelvin = 0.5

// unnoticed is how far from the core the air may be when a probe slips out of the
// meat and nobody can tell; common practice, no source.
const unnoticed quantity.Kelvin = 2

// coldProbeError is that of a core that falls in ice water, where the sheath lags
// behind. Common practice, no source.
const coldProbeError quantity.Kelvin = 1.5

// The piece that nobody put a probe into is so much thicker, and in so much stiller
// air. Common practice, no source.
const (
	witnessThicker = 1.10
	witnessFilm    = 0.80
)

// A Violation is a rule that did not hold, when first.
type Violation struct {
	Rule Rule
	At   time.Duration
	Text string
	// Slight says that the rule would have held for a core that is off by what a
	// probe in air can be off unnoticed.
	Slight bool
}

// A Report is what one batch came to.
type Report struct {
	Seed       uint64
	Setup      sim.Setup
	Result     *sim.Result
	Steps      int
	Violations []Violation
	// WitnessCold says that the batch was called good, and rightly for the piece
	// with the probe, but not for a thicker one in stiller air.
	WitnessCold bool
	// HeatSpent is how near the batch came to the end of its heat, which is at 1.
	HeatSpent float64
}

// judge watches one batch.
type judge struct {
	setup  sim.Setup
	report *Report
	broken map[Rule]Violation

	machine     *controller.Machine // of its own
	replay      controller.State
	offSince    time.Duration
	wasOff      bool
	before      quantity.Celsius // true core in the last second
	coldBefore  quantity.Celsius
	seen        bool
	criterion   *lethality.Criterion // the product's; nil for one without
	cooked      *lethality.Criterion // with the probe error in the controller's favour
	nearly      *lethality.Criterion // with what a probe may be off unnoticed
	truth, cold lethality.Count
	near        lethality.Count
	comeUp      lethality.ComeUp
	chill       chilling.State
	witness     plant.Witness
	over        bool // the true chamber is above the limit
	overSince   time.Duration
	overPeak    quantity.Celsius
	bound       quantity.Celsius
	bounded     bool
	said        bool // an alarm that is pressing
	boundDrive  plant.Drive
	lag         time.Duration
	lastStage   int
	warm        time.Duration // that fish smoked cold has hung in air far above what it may
	roomProbe   bool          // the cabinet has one
	roomUnread  bool          // and it gives no reading
	roomSince   time.Duration // since then
	waited      time.Duration // that the hand step of now has waited in a batch that runs
	waitsFor    controller.Question
	heatStage   int           // the stage that heats
	heated      time.Duration // since it began, or since the last restart
}

// Run runs the batch of a seed.
func Run(ctx context.Context, stock Stock, seed uint64) (*Report, error) {
	setup := stock.Draw(seed)
	if seed&Paired != 0 {
		if err := pair(ctx, &setup, seed); err != nil {
			return nil, err
		}
	}
	j := &judge{setup: setup, report: &Report{Seed: seed, Setup: setup}, broken: map[Rule]Violation{}, roomProbe: setup.Cabinet.Has(cabinet.AmbientProbe)}
	if c := setup.Product.Criterion(); c != nil {
		j.criterion = c
		allowing := c.Allowing(-probeError)
		j.cooked = &allowing
		nearly := c.Allowing(-probeError - unnoticed)
		j.nearly = &nearly
	}
	for _, p := range setup.Cabinet.Probes {
		if p.Role == cabinet.ChamberProbe {
			j.lag = max(j.lag, 3*p.Sheath)
		}
	}
	shape := setup.Product.Shape
	shape.Diameter, shape.Thickness = setup.Diameter*witnessThicker, setup.Diameter*witnessThicker
	var err error
	if j.machine, err = controller.New(setup.Product, setup.Cabinet); err != nil {
		return nil, err
	}
	j.witness, err = plant.NewWitness(plant.Load{
		Shape: shape, Mix: setup.Product.Formula.Composition(), Mass: 1, Start: *setup.Start,
		FilmFactor: setup.FilmFactor * witnessFilm, Flesh: sim.Flesh(setup.Product),
	})
	if err != nil {
		return nil, fmt.Errorf("campaign: seed %d: %w", seed, err)
	}
	j.report.Result, err = sim.Watch(ctx, setup, j.see)
	if err != nil {
		return nil, fmt.Errorf("campaign: seed %d: %w", seed, err)
	}
	j.end()
	return j.report, nil
}

func (j *judge) breaks(r Rule, at time.Duration, format string, args ...any) {
	j.violates(Violation{Rule: r, At: at, Text: fmt.Sprintf(format, args...)})
}

// violates keeps the first violation of each rule, and the first that is not slight.
func (j *judge) violates(v Violation) {
	was, known := j.broken[v.Rule]
	if known && (!was.Slight || v.Slight) {
		return
	}
	j.broken[v.Rule] = v
	j.report.Violations = append(j.report.Violations, v)
}

func (j *judge) see(m *sim.Moment) {
	j.report.Steps++
	j.report.HeatSpent = max(j.report.HeatSpent, j.machine.HeatSpent(m.After))
	j.follow(m)
	j.chamber(m)
	if m.Call != fault.Made {
		return
	}
	j.outputs(m)
	j.handStep(m)
	j.stageHeats(m)
	j.door(m)
	j.latch(m)
	j.room(m)
	j.numbers(m)
	for i := range m.Events {
		if e := &m.Events[i]; e.Kind == controller.StageEnded {
			j.stageEnded(m, e)
		}
	}
	j.claims(m)
	j.repeat(m)
}

// follow counts what the true core goes through.
func (j *judge) follow(m *sim.Moment) {
	p := m.World.Built()
	if m.Now > 0 {
		j.witness.Follow(p, sim.Step)
	}
	core, cold := p.Core(), quantity.Celsius(j.witness.Core())
	if j.seen {
		if j.cooked != nil {
			j.truth = j.cooked.Add(j.truth, j.before, core, sim.Step)
			j.cold = j.cooked.Add(j.cold, j.coldBefore, cold, sim.Step)
			if len(j.setup.Faults) > 0 {
				j.near = j.nearly.Add(j.near, j.before, core, sim.Step)
			}
		}
		over := j.comeUp.Done && (j.cooked == nil || j.cooked.Met(j.truth) || j.setup.Product.Chilling(m.After.Stage))
		if !over && j.setup.Product.ComeUpApplies() && m.After.Batch.Active() { // what was before the start is the person's to know
			j.comeUp = comeUp.Add(j.comeUp, j.before, core, sim.Step)
		}
		chills := j.setup.Product.Chilling(m.After.Stage)
		if r := j.chillRule(); r != nil && m.After.Batch.Active() && (chills || j.cooked != nil && j.cooked.Met(j.truth)) {
			if chills {
				j.chill = r.Begin(j.chill)
			}
			j.chill = r.Add(j.chill, j.before, core, sim.Step)
		}
	}
	j.before, j.coldBefore, j.seen = core, cold, true
	stage := m.After.CurrentStage(j.setup.Product)
	if j.setup.Product.Process == profile.ColdSmoked && m.After.Batch.Active() && stage != nil && stage.Place == profile.Chamber &&
		p.Chamber() > fish.ColdSmoked.Chamber+tooWarmBy {
		j.warm += sim.Step
	}
}

// A batch of fish smoked cold is not called good when the true air was that much above the limit
// of its rule for so long: what a probe in air is off, and the time to warm the fish. Common
// practice, no source.
const (
	tooWarmBy  quantity.Celsius = 3
	tooWarmFor                  = 15 * time.Minute
)

// chillRule is that of the place.
func (j *judge) chillRule() *chilling.Rule {
	return j.setup.Product.ChillRule(j.setup.Product.Where(j.setup.Where))
}

// longestAsked is what README says, and some steps.
const longestAsked = 2*time.Hour + 10*time.Second

// comeUp allows the controller's probe its error.
var comeUp = lethality.ComeUpWithin(-probeError)

// tripDelays holds the delay of every trip, and -1 for what is none.
var tripDelays = func() (d [trip.Count]time.Duration) {
	for c := range d {
		d[c] = -1
		if e := trip.Code(c).Entry(); e.Trips {
			d[c] = e.Delay
		}
	}
	return d
}()

// handStep counts how long the person is waited for.
func (j *judge) handStep(m *sim.Moment) {
	s := m.After
	q, waits := s.Question()
	stage := s.CurrentStage(j.setup.Product)
	if s.Batch != controller.Running || !waits || stage == nil || stage.Until.Any && !s.Asking {
		j.waited = 0
		return
	}
	if q != j.waitsFor {
		j.waitsFor, j.waited = q, 0
	}
	j.waited += sim.Step
	if j.waited > longestAsked && s.Out.On.Has(controller.Heater) {
		j.breaks(HeatEnds, m.Now, "hand step %s has waited for %s", q, j.waited)
	}
}

func (j *judge) outputs(m *sim.Moment) {
	s := m.After
	out := s.Out
	readable := false
	for _, r := range m.Inputs.Chamber {
		readable = readable || r.Status() == sensors.Good
	}
	late := m.Before.Begun && m.Inputs.Elapsed-m.Before.Elapsed > controller.LateAfter
	standing := trip.None
	for c, delay := range tripDelays {
		if a := &s.Alarms[c]; a.Standing && delay >= 0 && m.Now-a.Since >= delay {
			standing = trip.Code(c)
		}
	}
	if out.On.Has(controller.Heater) && (s.Tripped != trip.None || standing != trip.None || !readable || late) {
		j.breaks(HeaterOffOnTrip, m.Now, "heater on; tripped %q, standing %q, chamber readable %v, late %v", s.Tripped, standing, readable, late)
	}
	if s.Batch != controller.Running && out.On&^controller.SetOf(controller.Sounder, controller.Light) != 0 {
		j.breaks(OffUnlessRuns, m.Now, "%s with %+v", s.Batch, out)
	}
	if out.On.Has(controller.Heater) && j.wasOff && m.Now-j.offSince < j.setup.Cabinet.Heater.MinOff {
		j.breaks(ContactsRest, m.Now, "closed %s after it opened", m.Now-j.offSince)
	}
	if !out.On.Has(controller.Heater) && (!j.wasOff || m.Before.Out.On.Has(controller.Heater)) {
		j.offSince = m.Now
	}
	j.wasOff = !out.On.Has(controller.Heater)
}

// room allows the alarm its delay, anew after an absence.
func (j *judge) room(m *sim.Moment) {
	if _, ok := m.Inputs.Ambient.Value(); ok || !j.roomProbe {
		j.roomUnread = false
		return
	}
	if !j.roomUnread || m.Inputs.PowerLost {
		j.roomUnread, j.roomSince = true, m.Inputs.Elapsed
	}
	lost := trip.AmbientLost
	if unread := m.Inputs.Elapsed - j.roomSince; unread >= lost.Entry().Delay && !m.After.Alarms[lost].Active(lost, m.After.Elapsed) {
		j.breaks(RoomIsSaid, m.Now, "nothing said of %s without a reading", unread)
	}
}

func (j *judge) latch(m *sim.Moment) {
	was, is := m.Before.Tripped, m.After.Tripped
	if was != trip.None && is != was && m.Inputs.Command.Kind != controller.Reset {
		j.breaks(Latched, m.Now, "trip %s became %q without a reset", was, is)
	}
	if is != trip.None && (m.After.Batch == controller.Running || m.After.Batch == controller.Restarting) {
		j.breaks(Latched, m.Now, "%s with the trip %s", m.After.Batch, is)
	}
}

func (j *judge) numbers(m *sim.Moment) {
	s := m.After
	if !(s.Heater.Demand >= 0 && s.Heater.Demand <= 1) {
		j.breaks(InBounds, m.Now, "demand %v", s.Heater.Demand)
	}
	if s.Heater.HasSetpoint && s.Batch == controller.Running {
		stage := s.CurrentStage(j.setup.Product)
		if stage == nil || !(s.Heater.Setpoint < j.setup.Cabinet.Limits.ChamberHigh) || stage.Heat && s.Heater.Setpoint > stage.ChamberSetpoint {
			j.breaks(InBounds, m.Now, "setpoint %v", s.Heater.Setpoint)
		}
	}
	if s.Stage != j.lastStage || m.Now%time.Minute == 0 {
		j.lastStage = s.Stage
		if path := unfinite(reflect.ValueOf(s).Elem(), "State"); path != "" {
			j.breaks(Finite, m.Now, "%s is not finite", path)
		}
	}
}

func (j *judge) stageEnded(m *sim.Moment, e *controller.Event) {
	if e.By == controller.EndedBySkip || m.Inputs.Command.Kind == controller.Adjust { // at the word of a person, who may just have changed what it waits for
		return
	}
	stage := m.Before.CurrentStage(j.setup.Product)
	if stage == nil || m.Before.Stage != e.Stage {
		stage = &j.setup.Product.Stages[e.Stage]
	}
	if stage.Until.Any && e.By != controller.EndedByCore {
		return
	}
	core := m.World.Built().Core()
	for _, c := range stage.Until.Conditions {
		switch {
		case c.Kind == profile.CoreAtLeast && core < c.Core-quantity.Celsius(probeError):
			j.violates(Violation{
				Rule: CoreWasThere, At: m.Now, Text: fmt.Sprintf("stage %s ended at %s for %s", stage.Name, core, c.Core),
				Slight: core >= c.Core-quantity.Celsius(probeError+unnoticed),
			})
		case c.Kind == profile.CoreAtMost && core > c.Core+quantity.Celsius(coldProbeError):
			j.violates(Violation{
				Rule: CoreWasThere, At: m.Now, Text: fmt.Sprintf("stage %s ended at %s for %s", stage.Name, core, c.Core),
				Slight: core <= c.Core+quantity.Celsius(coldProbeError+unnoticed),
			})
		}
	}
}

// charred is how many times its heat food had, beyond which two parts in a hundred of it are
// nobody's question: that takes a core of 200 °C, behind a welded relay.
const charred = 1000

func (j *judge) claims(m *sim.Moment) {
	c := j.criterion
	if c == nil || m.Now%(10*sim.Step) != 0 {
		return
	}
	claimed, had := c.Fraction(m.After.Heat), j.cooked.Fraction(j.truth)
	if claimed > had*1.02+0.02 && had < charred {
		j.violates(Violation{
			Rule: ClaimIsTrue, At: m.Now, Slight: claimed <= j.nearly.Fraction(j.near)*1.02+0.02,
			Text: fmt.Sprintf("%.3f of what is required claimed, %.3f had, true core %s", claimed, had, m.World.Built().Core()),
		})
	}
}

// repeat gives the recorded inputs to the controller again. It doubles the work of a
// batch and asks of each the same, so every fourth has to do.
func (j *judge) repeat(m *sim.Moment) {
	if j.report.Seed%4 != 0 {
		return
	}
	if in := m.Before; !in.Begun {
		j.replay = *in
	}
	in := m.Inputs
	out, _ := j.machine.Advance(&j.replay, &in)
	if out != m.After.Out {
		j.breaks(Replays, m.Now, "outputs %+v, again %+v", m.After.Out, out)
	} else if m.Now%time.Minute == 0 && j.replay != *m.After {
		j.breaks(Replays, m.Now, "the state differs, or holds what is not a number")
	}
}

func (j *judge) end() {
	r := j.report.Result
	if !r.AsPlanned() {
		return
	}
	end := time.Duration(r.ElapsedSeconds * float64(time.Second))
	if c := j.cooked; c != nil {
		if !c.Met(j.truth) {
			j.violates(Violation{
				Rule: GoodIsSafe, At: end, Slight: j.nearly.Met(j.near),
				Text: fmt.Sprintf("the true core had %.3f of its heat", c.Fraction(j.truth)),
			})
		} else if !c.Met(j.cold) {
			j.report.WitnessCold = true
		}
	}
	if j.warm > tooWarmFor {
		j.breaks(GoodIsSafe, end, "fish smoked cold hung for %s in air above %s", j.warm, fish.ColdSmoked.Chamber+tooWarmBy)
	}
	if j.setup.Product.ComeUpApplies() && j.comeUp.Time > comeUp.Limit+2*time.Minute {
		j.breaks(GoodIsSafe, end, "the true core came up in %s", j.comeUp.Time)
	}
	if rule := j.chillRule(); rule != nil && rule.Failed(j.chill) {
		for _, leg := range rule.Legs(j.chill) {
			if leg.Took > leg.Within+leg.Within/50+2*time.Minute {
				j.breaks(GoodIsSafe, end, "the true core took %s from %s to %s", leg.Took, leg.From, leg.To)
			}
		}
	}
}
