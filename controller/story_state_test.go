package controller_test

import (
	"math"
	"strconv"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// This file is the only one of the stories that knows what the step is called, what it
// takes and what it remembers. Everything else goes by the words in here, and so does
// the fingerprint of a story: whoever moves a field or splits a type adapts this file,
// and if a fingerprint changes then, the machine behaves differently.

// machine is the step with what it runs and what it remembers.
type machine struct {
	product *profile.Product
	cabinet *cabinet.Cabinet
	state   controller.State
}

// order is what the person wants of one step.
type order struct {
	verb     string // one of the keys of verbs; empty is nothing
	alarm    string // empty is all
	question string // empty is the one that waits
	shelve   time.Duration
	rested   time.Duration
	probe    string // name in the cabinet file
	excused  bool
}

// verbs are the commands as the stories spell them.
var verbs = func() map[string]controller.CommandKind {
	all := map[string]controller.CommandKind{"nonsense": controller.CommandKinds}
	for _, k := range controller.Commands() {
		all[k.String()] = k
	}
	return all
}()

// question is the one that waits, or the one that is named; unnamed names none, as
// records of old do.
func (m *machine) question(name string) controller.Question {
	switch name {
	case "unnamed":
		return controller.Question{}
	case "":
		if q, ok := m.state.Question(); ok {
			return q
		}
		return controller.Question{Stage: m.state.Stage, Part: controller.HandStep}
	}
	q, _ := controller.ParseQuestion(name)
	return q
}

func knownQuestion(name string) bool {
	_, ok := controller.ParseQuestion(name)
	return ok || name == "unnamed"
}

func verbOf(k controller.CommandKind) string {
	for verb, have := range verbs {
		if have == k {
			return verb
		}
	}
	return "unknown"
}

var (
	doors     = map[string]controller.DoorStatus{"none": controller.NoDoorSwitch, "shut": controller.DoorShut, "open": controller.DoorOpen, "unread": controller.DoorUnread}
	feedbacks = map[string]controller.Feedback{"none": controller.NoFeedback, "off": controller.FeedbackOff, "on": controller.FeedbackOn}
	statuses  = map[string]sensors.Status{
		"unread": sensors.Unread, "open": sensors.Open, "short": sensors.ShortToGround, "supply": sensors.ShortToSupply,
		"range": sensors.OutOfRange, "stale": sensors.Stale, "bus": sensors.BusError, "implausible": sensors.Implausible,
	}
)

// aware is what the machine is told of the world in one step.
type aware struct {
	elapsed                                                                                                                  time.Duration
	chamber                                                                                                                  [cabinet.MaxChamberProbes]sensors.Reading
	core                                                                                                                     [cabinet.MaxCoreProbes]sensors.Reading
	wetBulb, ambient, ember, board                                                                                           sensors.Reading
	door, feedback, balance                                                                                                  string
	driveFailed, recordFailing, diskLow, worn, drifted, copiesFail, displayDead, buttonStuck, powerLost, clockUnset, stepped bool
	awayUnknown                                                                                                              bool
	awayFor                                                                                                                  time.Duration // that the clock shows now; zero is nothing
}

// An output is one thing that the machine switches or sets.
type output struct {
	name  string
	value float64 // 0 and 1 are off and on; of the damper how far it is open
}

// outputs lists them in a fixed order; a new output goes to the end, and into the
// fingerprint only when it is not at rest, so that stories without it keep theirs.
func outputs(o controller.Outputs) []output {
	return []output{
		{"heater", bit(o.On.Has(controller.Heater))}, {"fan", bit(o.On.Has(controller.Fan))}, {"smoke", bit(o.On.Has(controller.Smoke))}, {"humidifier", bit(o.On.Has(controller.Humidifier))},
		{"sounder", bit(o.On.Has(controller.Sounder))}, {"damper", float64(o.Damper)}, {"light", bit(o.On.Has(controller.Light))},
		{"damper drive", bit(o.On.Has(controller.DamperDrive))}, {"cooler", bit(o.On.Has(controller.Cooler))},
	}
}

// An event is one thing that the machine said, in the words of the stories.
type event struct {
	kind  string
	alarm string // of those that are about one
	stage string
	batch string
	text  string // for the reader
	canon string // for the fingerprint
}

var eventKinds = map[controller.EventKind]string{
	controller.BatchChanged: "batch", controller.StageBegan: "begins", controller.StageEnded: "ends",
	controller.Asked: "asks", controller.Answered: "answered", controller.AlarmRaised: "raised",
	controller.AlarmReturned: "over", controller.Tripped: "trip", controller.TripReset: "reset", controller.Refused: "refused", controller.WasAway: "away",
}

func (m *machine) event(e controller.Event, full bool) event {
	said := event{kind: eventKinds[e.Kind], text: e.Text(m.product)}
	said.canon = said.kind + " " + e.At.String()
	switch said.kind {
	case "batch":
		said.batch = e.Batch.String()
		said.canon += " " + said.batch
	case "begins", "ends", "asks", "answered":
		if m.product != nil && e.Stage < len(m.product.Stages) {
			said.stage = m.product.Stages[e.Stage].Name
		}
		said.canon += " " + strconv.Itoa(e.Stage) + " " + e.By.String()
	case "raised", "over", "trip", "reset":
		said.alarm = e.Alarm.String()
		said.canon += " " + said.alarm
		if said.kind == "raised" && !full {
			said.text = "alarm " + said.alarm + " raised (" + e.Alarm.Entry().Priority.String() + ")"
		}
		if said.kind == "over" {
			said.text += ", " + m.state.Alarms[e.Alarm].Phase.String()
		}
	case "away":
		said.canon += " " + strconv.Itoa(int(e.Away)) + " " + e.For.String()
	case "refused":
		said.canon += " " + verbOf(e.Command) + " " + e.Why.String()
	}
	return said
}

// view is what everybody may see of the machine after a step.
type view struct {
	batch, tripped         string
	stage                  string
	place                  string // where the product is
	index                  int
	clock                  time.Duration
	prompt                 string // empty is none
	asked                  time.Duration
	setpoint               quantity.Celsius
	regulates              bool
	demand                 float64
	chamber, coldest, most sensors.Reading
	humidity               quantity.Ratio
	humidityKnown          bool
	log10                  float64
	log10Known             bool
	cooked                 float64 // share of the criterion; NaN without one
	comeUp                 comeUp
	legs                   []leg
	fuel                   quantity.Ratio
	fuelKnown              bool
	phases                 []phase // of the alarms that are not at rest
}

type comeUp struct {
	took                  time.Duration
	begun, done, unproven bool
}

type leg struct {
	from, to           quantity.Celsius
	took, within       time.Duration
	begun, ended, pass bool
}

type phase struct {
	alarm, phase string
	standing     bool
}

// step tells the machine of the world and of the person and hears what it says.
func (m *machine) step(a aware, o order, full bool) ([]output, []event, view) {
	in := controller.Inputs{
		Elapsed: a.elapsed, Chamber: a.chamber, Core: a.core, WetBulb: a.wetBulb, Ambient: a.ambient, Ember: a.ember, Board: a.board,
		Door: doors[a.door], Heater: feedbacks[a.feedback], DriveFailed: a.driveFailed, RecordFailing: a.recordFailing,
		DiskLow: a.diskLow, RelayWorn: a.worn, CopiesFail: a.copiesFail, PowerLost: a.powerLost, ClockUnset: a.clockUnset, ClockStepped: a.stepped,
	}
	if a.drifted {
		in.Drift = controller.Drift{Ratio: 1.243, Beyond: true}
	}
	if a.displayDead {
		in.Panel |= controller.DisplayDead
	}
	if a.buttonStuck {
		in.Panel |= controller.ButtonBad
	}
	if a.awayUnknown {
		in.Away = controller.AwayUnknown
	} else if a.awayFor > 0 {
		in.Away, in.AwayFor = controller.AwayByClock, a.awayFor
	}
	if o.verb != "" {
		code, _ := trip.Parse(o.alarm)
		if o.alarm == "unknown" {
			code = trip.Count
		}
		in.Command = controller.Command{Kind: verbs[o.verb], Alarm: code, For: o.shelve, Rested: o.rested, Excused: o.excused}
		if in.Command.Kind.Needs()&controller.WithQuestion != 0 {
			in.Command.Question = m.question(o.question)
		}
		if slot, ok := controller.SlotOf(m.cabinet, strings.ReplaceAll(o.probe, "-", " ")); ok {
			in.Command.Probe = uint8(slot + 1)
		}
	}
	var out controller.Outputs
	var events []controller.Event
	machine, err := controller.New(m.product, m.cabinet)
	if err != nil {
		panic(err)
	}
	if a.balance == "off" {
		machine = machine.Unbalanced()
	}
	m.state, out, events = machine.Step(m.state, in)
	var said []event
	for _, e := range events {
		said = append(said, m.event(e, full))
	}
	return outputs(out), said, m.look()
}

func (m *machine) look() view {
	s := &m.state
	v := view{
		batch: s.Batch.String(), tripped: s.Tripped.String(), index: s.Stage, clock: s.StageClock, setpoint: s.Heater.Setpoint,
		regulates: s.Heater.HasSetpoint, demand: s.Heater.Demand, chamber: s.Chamber.Reading, coldest: s.Core.Coldest, most: s.Core.Hottest,
		humidity: s.Wick.Humidity, humidityKnown: s.Wick.HasHumidity, cooked: math.NaN(), place: "chamber",
		comeUp: comeUp{s.ComeUp.Time, s.ComeUp.Begun, s.ComeUp.Done, s.ComeUp.Unproven},
	}
	if stage := s.CurrentStage(m.product); stage != nil {
		v.stage, v.place = stage.Name, places[stage.Place]
	}
	if p, ok := s.Waiting(m.product); ok {
		v.prompt, v.asked = p.Text, p.Since
	}
	v.log10, v.log10Known = s.LethalityLog10(m.product)
	v.fuel, v.fuelKnown = s.FuelLeft(m.product, m.cabinet)
	if m.product != nil {
		if c := m.product.Criterion(); c != nil {
			v.cooked = c.Fraction(s.Heat)
		}
		if r := m.product.ChillRule(profile.UnitedStates); r != nil {
			for _, l := range r.Legs(s.Chill) {
				v.legs = append(v.legs, leg{l.From, l.To, l.Took, l.Within, l.Begun, l.Ended, l.Pass})
			}
		}
	}
	for c := trip.None + 1; c < trip.Count; c++ {
		if a := s.Alarms[c]; a.Phase != trip.Normal || a.Standing {
			v.phases = append(v.phases, phase{c.String(), a.Phase.String(), a.Standing})
		}
	}
	return v
}

var places = map[profile.Place]string{profile.Chamber: "chamber", profile.IceWater: "ice water", profile.Room: "room", profile.ColdRoom: "cold room"}

// canon writes one step down for the fingerprint: names as they are stored, and every
// bit of every number. Texts for people stay out, as does how soon an alarm wants somebody.
func canon(to []byte, elapsed time.Duration, out []output, said []event, v view) []byte {
	whole := func(n int64) { to = strconv.AppendInt(append(to, ' '), n, 10) }
	float := func(f float64) { to = strconv.AppendUint(append(to, ' '), math.Float64bits(f), 16) }
	word := func(s string) { to = append(append(to, ' '), s...) }
	flags := func(flags ...bool) {
		to = append(to, ' ')
		for _, f := range flags {
			to = append(to, '0'+byte(bit(f)))
		}
	}
	reading := func(r sensors.Reading) {
		word(r.Status().String())
		if t, ok := r.Value(); ok {
			float(float64(t))
		}
	}
	to = append(to, "step"...)
	whole(int64(elapsed))
	for i, o := range out {
		if i > 5 && o.value == 0 {
			continue
		}
		word(o.name)
		float(o.value)
	}
	for _, e := range said {
		to = append(append(to, "\nsaid "...), e.canon...)
	}
	to = append(to, "\nbatch "...)
	word(v.batch)
	whole(int64(v.index))
	word(v.stage)
	whole(int64(v.clock))
	word(v.prompt)
	whole(int64(v.asked))
	word("trip " + v.tripped)
	word("heat")
	flags(v.regulates)
	if v.regulates {
		float(float64(v.setpoint))
	}
	float(v.demand)
	to = append(to, "\nread "...)
	reading(v.chamber)
	reading(v.coldest)
	reading(v.most)
	flags(v.humidityKnown, v.fuelKnown)
	float(float64(v.humidity))
	float(float64(v.fuel))
	to = append(to, "\nproof "...)
	flags(v.log10Known, v.comeUp.begun, v.comeUp.done, v.comeUp.unproven)
	float(v.log10)
	if !math.IsNaN(v.cooked) {
		float(v.cooked)
	}
	whole(int64(v.comeUp.took))
	for _, l := range v.legs {
		flags(l.begun, l.ended, l.pass)
		whole(int64(l.took))
	}
	to = append(to, "\nalarms"...)
	for _, p := range v.phases {
		word(p.alarm + ":" + p.phase)
		flags(p.standing)
	}
	return append(to, '\n')
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// alarms are the names of all of them.
func alarms() (names []string) {
	for c := trip.None + 1; c < trip.Count; c++ {
		names = append(names, c.String())
	}
	return names
}
