// Package sim rehearses batches: the same controller step that runs the cabinet
// is called on virtual time against the simulated one. A World stands in for the
// cabinet, its probes and the person; Rehearse runs a whole batch in it; Spread
// runs many and says how much they differ.
package sim

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/channel"
	"fumarium/sim/fault"
	"fumarium/sim/plant"
)

// Defaults of a Setup; common practice, no source.
const (
	// DefaultStart is the core of product that comes from its rest in the cold.
	DefaultStart quantity.Celsius = 8
	// DefaultAnswer is how long the simulated person takes for a hand step.
	DefaultAnswer = 2 * time.Minute
	// DefaultNoise is the standard deviation of one probe sample.
	DefaultNoise quantity.Kelvin = 0.1
	// resolution is the step in which a front end reports.
	resolution = 0.0625
	// Step is the time between two controller steps, as on the real cabinet.
	Step = time.Second
)

// A Setup says what is rehearsed. Zero fields take the product's, the cabinet's
// or the package's default.
type Setup struct {
	Product *profile.Product
	Cabinet *cabinet.Cabinet

	Load       quantity.Kilograms // the whole formula when zero
	Diameter   quantity.Meters    // or thickness of a slab
	Ambient    *quantity.Celsius
	Start      *quantity.Celsius // core when hung
	FilmFactor float64           // multiplies the film coefficients
	Seed       uint64
	Answer     time.Duration // how long the person takes for a hand step, or to look after an alarm
	Pressure   float64       // Pa; that of the cabinet's altitude when zero
	Faults     []fault.Fault // times count from the first step
	Operator   Operator      // someone else at the cabinet; may be nil
	Longest    time.Duration // virtual time after which a rehearsal gives up; zero is the package's
}

// An Operator is someone who gives orders beside the simulated person.
type Operator interface {
	// Order is called once after every step. When taken is true, the order goes into
	// the next step in place of the person's, also one that says nothing.
	Order(now time.Duration, s *controller.State) (order controller.Command, taken bool)
}

// A World is a simulated cabinet with product, probes and a person. It is not
// safe for concurrent use.
type World struct {
	setup   Setup
	plant   *plant.Plant
	random  *rand.Rand
	chamber []probe
	core    []probe
	wet     []probe
	ambient []probe
	ember   []probe
	began   bool // a batch has
	stage   int  // as last seen
	asking  bool // its hand step waited then
	place   profile.Place
	drive   plant.Drive
	asked   time.Duration // when the prompt that waits now was first seen
	waiting bool
	room    quantity.Celsius

	now     time.Duration // since the world began
	inject  *fault.Injector
	felt    quantity.Celsius // the room as the plant knows it
	read    bool             // its probes have been
	away    bool             // the controller was not called because the mains had failed
	alarmed time.Duration    // since when something waits for the person to look after it
	looking bool
	tries   int // resets since the faults last changed
}

// probe is a sensor in its sheath, a first-order lag, and its front end with an error
// that the cabinet file's calibration undoes, noise and a resolution. Behind it is the
// channel that the cabinet's probe has, too.
type probe struct {
	keep     float64 // share of the old value kept over one Step
	value    float64
	warm     bool // value holds a temperature
	settings channel.Settings
	memory   channel.Memory
}

// NewWorld builds the world of a setup. Errors say which number is wrong.
func NewWorld(s Setup) (*World, error) {
	switch {
	case s.Product == nil:
		return nil, errors.New("sim: no product; name one of `fumarium products`")
	case s.Cabinet == nil:
		return nil, errors.New("sim: no cabinet; name a cabinet file or a shipped one")
	case s.Cabinet.Rehearsal.Width == 0:
		return nil, fmt.Errorf("sim: cabinet %q has no rehearsal section; add what it is built of to its file", s.Cabinet.Name)
	}
	shape := s.Product.Shape
	if s.Diameter != 0 {
		if s.Diameter < 0.005 || s.Diameter > 0.3 || !quantity.Finite(float64(s.Diameter)) {
			return nil, fmt.Errorf("sim: diameter %v is outside 5 mm to 300 mm", s.Diameter)
		}
		if shape.Form == profile.Slab {
			shape.Thickness = s.Diameter
		} else {
			shape.Diameter = s.Diameter
		}
	}
	load := s.Load
	if load == 0 {
		load = s.Product.Formula.Mass()
	}
	if load < 0.1 || load > 100 || !quantity.Finite(float64(load)) {
		return nil, fmt.Errorf("sim: load %v is outside 100 g to 100 kg", load)
	}
	start, ambient := DefaultStart, s.Cabinet.Ambient
	if s.Start != nil {
		start = *s.Start
	}
	if s.Ambient != nil {
		ambient = *s.Ambient
	}
	if !(ambient >= -30 && ambient <= 45) {
		return nil, fmt.Errorf("sim: ambient %v is outside -30 °C to 45 °C", ambient)
	}
	if !(start >= 0 && start <= 60) {
		return nil, fmt.Errorf("sim: product temperature at the start %v is outside 0 °C to 60 °C", start)
	}
	pressure := s.Pressure
	if pressure == 0 {
		pressure = s.Cabinet.Pressure()
	}
	p, err := plant.New(plant.Config{
		Build: s.Cabinet.Rehearsal, HeaterPower: s.Cabinet.Heater.Power, Generator: s.Cabinet.Generator,
		Load: plant.Load{
			Shape: shape, Mix: s.Product.Formula.Composition(), Mass: load,
			Start: start, FilmFactor: s.FilmFactor,
		},
		Ambient: ambient, PressurePascal: pressure, Wick: s.Cabinet.Wick,
	})
	if err != nil {
		return nil, fmt.Errorf("sim: %w", err)
	}
	w := &World{
		setup: s, plant: p, room: ambient, felt: ambient, place: profile.Chamber,
		random: rand.New(rand.NewPCG(s.Seed, 0x66756d6172697565)),
	}
	for _, fitted := range s.Cabinet.Probes {
		pr := probe{settings: s.Cabinet.Channel(&fitted)}
		if fitted.Sheath > 0 {
			pr.keep = math.Exp(-Step.Seconds() / fitted.Sheath.Seconds())
		}
		switch fitted.Role {
		case cabinet.ChamberProbe:
			w.chamber = append(w.chamber, pr)
		case cabinet.CoreProbe:
			w.core = append(w.core, pr)
		case cabinet.WetBulbProbe:
			w.wet = append(w.wet, pr)
		case cabinet.AmbientProbe:
			w.ambient = append(w.ambient, pr)
		case cabinet.EmberProbe:
			w.ember = append(w.ember, pr)
		}
	}
	if w.setup.Answer == 0 {
		w.setup.Answer = DefaultAnswer
	}
	if len(s.Faults) > 0 || s.Operator != nil { // what an operator holds someone must restart
		w.inject = fault.New(s.Faults, s.Seed)
	}
	w.follow()
	return w, nil
}

// Plant gives the true values behind the probes.
func (w *World) Plant() *plant.Plant { return w.plant }

// Driven is what really drives the cabinet, faults included.
func (w *World) Driven() plant.Drive { return w.drive }

// follow lets every probe follow the truth by one Step.
func (w *World) follow() {
	truth := func(probes []probe, t quantity.Celsius) {
		for i := range probes {
			pr := &probes[i]
			if !pr.warm {
				pr.value, pr.warm = float64(t), true
				continue
			}
			pr.value = float64(t) + (pr.value-float64(t))*pr.keep
		}
	}
	var coresOut uint8
	wickDry, room := false, w.room
	if w.inject != nil {
		coresOut, wickDry = w.inject.Truth(w.now)
		room = w.inject.Room(w.now, room)
	}
	truth(w.chamber, w.plant.Chamber())
	if coresOut == 0 {
		truth(w.core, w.plant.Core())
	} else {
		for i := range w.core {
			touches := w.plant.Core()
			if coresOut&(1<<i) != 0 {
				touches = w.plant.Surroundings()
			}
			truth(w.core[i:i+1], touches)
		}
	}
	switch {
	case len(w.wet) == 0: // a wet bulb costs an iteration; spare it where none is fitted
	case wickDry:
		truth(w.wet, w.plant.Chamber())
	default:
		truth(w.wet, w.plant.Wick())
	}
	truth(w.ambient, room)
	truth(w.ember, w.plant.Ember())
}

// Sample reads every probe and gives what the controller may go by. After a pause, as
// after one in a cabinet, it takes three of them until there is a reading.
func (w *World) Sample(elapsed time.Duration) (in controller.Inputs) {
	w.sample(&in, elapsed)
	for i := range w.chamber {
		w.condition(&w.chamber[i], &in.Chamber[i], in.PowerLost)
	}
	for i := range w.core {
		w.condition(&w.core[i], &in.Core[i], in.PowerLost)
	}
	if len(w.wet) > 0 {
		w.condition(&w.wet[0], &in.WetBulb, in.PowerLost)
	}
	if len(w.ambient) > 0 {
		w.condition(&w.ambient[0], &in.Ambient, in.PowerLost)
	}
	if len(w.ember) > 0 {
		w.condition(&w.ember[0], &in.Ember, in.PowerLost)
	}
	w.read = true
	return in
}

// condition sends a reading through the channel of its probe. The cabinet has stood for
// long when the first comes; a program that begins anew remembers nothing.
func (w *World) condition(pr *probe, r *sensors.Reading, anew bool) {
	switch {
	case !w.read:
		pr.memory = pr.settings.Settled(w.now, *r)
	case anew:
		pr.memory = channel.Memory{}
	}
	*r = pr.settings.Read(&pr.memory, w.now, *r)
}

// Feel is Sample for one who has channels of his own: the readings are as the front ends
// give them.
func (w *World) Feel(elapsed time.Duration) (in controller.Inputs) {
	w.sample(&in, elapsed)
	return in
}

// feel is what the front end of a probe reads.
func (w *World) feel(pr *probe) sensors.Reading {
	v := pr.settings.Calibration.Undo(quantity.Celsius(pr.value + float64(DefaultNoise)*w.random.NormFloat64()))
	return sensors.At(quantity.Celsius(math.Round(float64(v)/resolution) * resolution))
}

// sample reads every front end.
func (w *World) sample(in *controller.Inputs, elapsed time.Duration) {
	in.Elapsed = elapsed
	for i := range w.chamber {
		in.Chamber[i] = w.feel(&w.chamber[i])
	}
	for i := range w.core {
		in.Core[i] = w.feel(&w.core[i])
	}
	if len(w.wet) > 0 {
		in.WetBulb = w.feel(&w.wet[0])
	}
	if len(w.ambient) > 0 {
		in.Ambient = w.feel(&w.ambient[0])
	}
	if len(w.ember) > 0 {
		in.Ember = w.feel(&w.ember[0])
	}
	if w.setup.Cabinet.Door.Fitted {
		in.Door = controller.DoorShut
		if w.drive.DoorOpen {
			in.Door = controller.DoorOpen
		}
	}
	if w.setup.Cabinet.Heater.Feedback.Fitted {
		in.Heater = controller.FeedbackOff
		if w.drive.Heater {
			in.Heater = controller.FeedbackOn
		}
	}
	if w.inject != nil {
		w.inject.Readings(w.now, in)
		in.PowerLost, w.away = w.away, false
	}
}

// Call says whether the controller is called now. When it is not, Sample, Feel and Answer
// are not to be called either.
func (w *World) Call() fault.Call {
	if w.inject == nil {
		return fault.Made
	}
	call := w.inject.Call(w.now)
	w.away = w.away || call == fault.Cut
	return call
}

// Drive sets the outputs.
func (w *World) Drive(out controller.Outputs) {
	w.drive = plant.Drive{
		Heater: out.On.Has(controller.Heater), Fan: out.On.Has(controller.Fan), Smoke: out.On.Has(controller.Smoke), Humidifier: out.On.Has(controller.Humidifier),
		Damper: out.Damper, Place: w.place,
	}
	if w.inject != nil {
		w.inject.Drive(w.now, &w.drive)
	}
}

// Answer is the simulated person: it returns Confirm once a hand step has waited
// for Setup.Answer. Carrying the product from place to place is part of a stage's
// hand step, or happens as the stage begins if the stage asks for none.
func (w *World) Answer(s *controller.State) controller.Command {
	p := w.setup.Product
	stage := s.CurrentStage(p)
	if stage == nil {
		w.waiting = false
		return controller.Command{}
	}
	if !s.Asking {
		w.place = stage.Place
	}
	w.tend(s, stage)
	if w.setup.Operator != nil {
		if order, taken := w.setup.Operator.Order(w.now, s); taken {
			return order
		}
	}
	if w.inject != nil {
		person := w.inject.Person(w.now)
		if person.Away {
			w.waiting, w.looking = false, false
			return controller.Command{}
		}
		if c := w.lookAfter(s, person); c.Kind != controller.NoCommand {
			return c
		}
	}
	asked, waiting := s.Question()
	if !waiting || s.Batch != controller.Running {
		w.waiting = false
		return controller.Command{}
	}
	if !w.waiting {
		w.waiting, w.asked = true, s.Elapsed
	}
	if s.Elapsed+Step-w.asked < w.setup.Answer { // the answer reaches the next step
		return controller.Command{}
	}
	w.waiting = false
	return controller.Command{Kind: controller.Confirm, Question: asked}
}

// tend lights the smoke generator when the hand step of a smoking stage is done, or
// as the first smoking stage begins if that asks for none. A batch that comes to this
// world in the middle of its smoke comes with the generator lit.
func (w *World) tend(s *controller.State, stage *profile.Stage) {
	before := w.setup.Product.Stages[:s.Stage]
	begins := s.Stage != w.stage && !slices.ContainsFunc(before, func(p profile.Stage) bool { return p.Smoke })
	if stage.Smoke && !s.Asking && (w.asking || begins || !w.began) {
		w.plant.Light()
	}
	w.stage, w.asking, w.began = s.Stage, s.Asking, true
}

// lookAfter is the person who, Setup.Answer after a batch was held or an alarm
// called, looks what is wrong, and when it is mended acknowledges, resets and
// restarts. A careless one does so without looking.
func (w *World) lookAfter(s *controller.State, person fault.Person) controller.Command {
	calling := false
	// A probe that left the meat is put back, and said to be; to acknowledge everything
	// is not enough.
	out := s.Alarms[trip.CoreOut].Standing
	cold := s.Alarms[trip.EmberOut].Active(trip.EmberOut, s.Elapsed)
	for c := trip.None + 1; c < trip.Count; c++ {
		a := &s.Alarms[c]
		calling = calling || c.Entry().Priority.Loud() && a.Calls()
	}
	waits := person.Waits && !person.Careless
	if waits || !calling && !out && !cold && s.Batch != controller.Held {
		w.looking = false
		return controller.Command{}
	}
	if person.News {
		w.tries = 0 // what does not help now may help then
	}
	if !w.looking {
		w.looking, w.alarmed = true, s.Elapsed
	}
	if s.Elapsed+Step-w.alarmed < w.setup.Answer {
		return controller.Command{}
	}
	switch {
	case person.Finds && !person.Careless: // it cannot be mended: leave the batch as it is
		w.tries = mostTries
		return controller.Command{}
	case calling:
		w.alarmed = s.Elapsed - w.setup.Answer + 10*Step // and on with the next
		return controller.Command{Kind: controller.Acknowledge}
	case out:
		return controller.Command{Kind: controller.Mended, Alarm: trip.CoreOut}
	case cold:
		w.plant.Light()
		return controller.Command{Kind: controller.Mended, Alarm: trip.EmberOut}
	case s.Batch != controller.Held || w.Hopeless(s):
		return controller.Command{}
	case s.Tripped == trip.None:
		w.looking = false
		return controller.Command{Kind: controller.Restart}
	}
	w.tries++
	w.alarmed = s.Elapsed // another try, should this one be refused
	return controller.Command{Kind: controller.Reset}
}

// mostTries is how often the person tries again what did not help.
const mostTries = 6

// Hopeless reports whether the batch is held and the person has given up.
func (w *World) Hopeless(s *controller.State) bool {
	if s.Batch != controller.Held {
		return false
	}
	if w.inject == nil {
		return true // nobody watches a rehearsal in which nothing should go wrong
	}
	return w.tries >= mostTries
}

// Advance lets one Step of time pass.
func (w *World) Advance() {
	if w.inject != nil {
		if room := w.inject.Room(w.now, w.room); room != w.felt {
			w.felt = room
			w.plant.SetAmbient(room)
		}
	}
	w.plant.Advance(Step, w.drive)
	w.now += Step
	w.follow()
}
