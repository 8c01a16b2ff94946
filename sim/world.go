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
	"fumarium/profile"
	"fumarium/profile/proof"
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
	// DefaultNoise is the standard deviation of one probe sample.
	DefaultNoise quantity.Kelvin = 0.1
	// resolution is the step in which a front end reports.
	resolution = 0.0625
	// Step is the time between two controller steps, as on the real cabinet.
	Step = time.Second
	// Stride is the time between two that a Rehearse and a Spread make while the product
	// lies in a room or a cold room for some time, nothing can be switched on and nobody
	// is asked.
	Stride = 5 * time.Second
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
	Doubt      plant.Doubt       // of the model
	OffCentre  quantity.Ratio    // how far the tips of core probes are from the middle, as a share of the way to the surface
	Warmer     quantity.Kelvin   // the air where the chamber probes hang than where the product does
	Power      float64           // multiplies what the heater gives, whatever the file says
	Learned    *Learned          // what batches have told; Learned.Of sets it
	Seed       uint64
	Answer     time.Duration        // how long the person takes for everything; when zero the seed draws it each time
	Pressure   float64              // Pa; that of the cabinet's altitude when zero
	Humidity   quantity.Ratio       // of the room's air; the plant's own default when zero
	Faults     []fault.Fault        // times count from the first step
	Past       *Past                // what the batch has been through already; may be nil
	Later      *Later               // what shall be otherwise from some moment on; may be nil
	Operator   Operator             // someone else at the cabinet; may be nil
	Longest    time.Duration        // virtual time after which a rehearsal gives up; zero is the package's
	Examine    bool                 // the cabinet has stood for hours and its probes were shown in ice water before the start
	Excused    bool                 // the person has a reason to start whatever they have shown
	Where      profile.Jurisdiction // whose rules hold for a product that names none
	Plant      Plant                // one of another make, with product; load, diameter, core, film factor, pressure and where its core probe is are its own matter
}

// An Operator is someone who gives orders beside the simulated person.
type Operator interface {
	// Order is called once after every step. When taken is true, the order goes into
	// the next step in place of the person's, also one that says nothing.
	Order(now time.Duration, s *controller.State) (order controller.Command, taken bool)
}

// A World is a simulated cabinet: a plant with product, its probes, what goes wrong with
// them, and a person. It is not safe for concurrent use.
type World struct {
	setup   Setup
	plant   Plant
	source  rand.PCG
	random  *rand.Rand
	chamber []probe
	core    []probe
	wet     []probe
	ambient []probe
	ember   []probe
	person  Person
	place   profile.Place
	drive   plant.Drive
	room    quantity.Celsius

	noise, perKelvin float64 // of the front ends: K, and steps to the kelvin

	now    time.Duration // since the world began
	inject *fault.Injector
	felt   quantity.Celsius // the room as the plant knows it
	met    bool             // its probes have been read
	away   bool             // the controller was not called because it was off
	dark   bool             // because the mains had failed

	answered int // questions of the past

	// Where Run is: what it will step with next.
	clock time.Duration // the controller's
	lasts time.Duration // of the step that is made; zero before the first
	out   controller.Outputs
	order controller.Command

	strides bool // may be made

	open time.Duration // the door is, until then; see Open
}

// NewWorld builds the world of a setup. Errors say which number is wrong.
func NewWorld(s Setup) (*World, error) {
	switch {
	case s.Product == nil:
		return nil, errors.New("sim: no product; name one of `fumarium products`")
	case s.Cabinet == nil:
		return nil, errors.New("sim: no cabinet; name a cabinet file or a shipped one")
	case s.Cabinet.Rehearsal.Width == 0 && s.Plant == nil:
		return nil, fmt.Errorf("sim: cabinet %q has no rehearsal section; add what it is built of to its file", s.Cabinet.Name)
	}
	if s.Diameter != 0 && (s.Diameter < 0.005 || s.Diameter > 0.3 || !quantity.Finite(float64(s.Diameter))) {
		return nil, fmt.Errorf("sim: diameter %v is outside 5 mm to 300 mm", s.Diameter)
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
	if !(s.OffCentre >= 0 && s.OffCentre <= 1) {
		return nil, fmt.Errorf("sim: core probes %v of the way from the middle to the surface; it is 0 to 1", float64(s.OffCentre))
	}
	if !(math.Abs(float64(s.Warmer)) <= 30) {
		return nil, fmt.Errorf("sim: air %v warmer at the chamber probes than at the product; it is -30 K to 30 K", s.Warmer)
	}
	p := s.Plant
	if p == nil {
		pressure := s.Pressure
		if pressure == 0 {
			pressure = s.Cabinet.Pressure()
		}
		ours, err := plant.New(plant.Config{
			Build: s.Cabinet.Rehearsal, HeaterPower: s.Cabinet.Heater.Power * quantity.Watts(or1(s.Power)), Generator: s.Cabinet.Generator,
			Load:    hung(&s, load, start),
			Ambient: ambient, AmbientHumidity: s.Humidity, PressurePascal: pressure, Wick: s.Cabinet.Wick,
		})
		if err != nil {
			return nil, fmt.Errorf("sim: %w", err)
		}
		p = built{ours}
	}
	w := &World{
		setup: s, plant: p, room: ambient, felt: ambient, place: profile.Chamber,
		source: *rand.NewPCG(s.Seed, 0x66756d6172697565), person: NewPerson(s.Product, s.Answer, s.Seed),
		noise: float64(DefaultNoise), perKelvin: 1 / resolution,
	}
	if s.Plant != nil {
		p.SetAmbient(ambient)
	}
	w.random = rand.New(&w.source)
	for _, fitted := range s.Cabinet.Probes {
		pr := probe{settings: s.Cabinet.Channel(&fitted), i2c: fitted.OnI2C()}
		if fitted.Sheath > 0 {
			pr.keep = math.Exp(-Step.Seconds() / fitted.Sheath.Seconds())
			pr.keepLong = math.Exp(-Stride.Seconds() / fitted.Sheath.Seconds())
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
	if len(s.Faults) > 0 || s.Operator != nil { // what an operator holds someone must restart
		w.inject = fault.New(s.Faults, s.Seed)
		w.person.watches = true
	}
	w.follow(Step)
	return w, nil
}

// Plant gives the true values behind the probes.
func (w *World) Plant() Plant { return w.plant }

// Built is the plant of package sim/plant, or nil where the setup brought another.
func (w *World) Built() *plant.Plant {
	b, _ := w.plant.(built)
	return b.Plant
}

// Copy is another world in the same state. Only an operator is one and the same.
func (w *World) Copy() *World {
	b := *w
	b.plant = w.plant.Copy()
	b.random = rand.New(&b.source)
	if w.inject != nil {
		b.inject = w.inject.Copy()
	}
	for _, probes := range []*[]probe{&b.chamber, &b.core, &b.wet, &b.ambient, &b.ember} {
		*probes = slices.Clone(*probes)
	}
	return &b
}

// Order gives a command that the next step of Run takes.
func (w *World) Order(c controller.Command) {
	if c.Kind == controller.Start {
		c.Edition, c.Where, c.CoreError = proof.Current, w.setup.Product.Where(w.setup.Where), w.setup.Cabinet.CoreError()
		if w.setup.Examine { // else every probe is taken for right
			c.Unshown = w.setup.Cabinet.Undated()
		}
	}
	w.order = c
}

// Driven is what really drives the cabinet, faults included.
func (w *World) Driven() plant.Drive { return w.drive }

// follow lets every probe follow the truth.
func (w *World) follow(dt time.Duration) {
	var misplaced fault.Misplaced
	if w.inject != nil {
		misplaced = w.inject.Truth(w.now)
	}
	w.feels(w.chamber, misplaced.Chambers, OnProbe, InRoom, dt)
	w.feels(w.core, misplaced.Cores, InCore, BesideProduct, dt)
	switch {
	case len(w.wet) == 0: // a wet bulb costs an iteration; spare it where none is fitted
	case misplaced.WickDry:
		feels(w.wet, w.plant.At(OnProbe), dt)
	default:
		feels(w.wet, w.plant.At(InWick), dt)
	}
	room := w.room
	if l := w.setup.Later; l != nil && w.now >= l.At {
		room += quantity.Celsius(l.Room)
	}
	if w.inject != nil {
		room = w.inject.Room(w.now, room)
	}
	if room != w.felt {
		w.felt = room
		w.plant.SetAmbient(room)
	}
	feels(w.ambient, w.plant.At(InRoom), dt)
	if len(w.ember) > 0 {
		w.feels(w.ember, misplaced.Ember, InEmber, InRoom, dt)
	}
}

// Sample reads every probe and gives what the controller may go by. After a pause, as
// after one in a cabinet, it takes three of them until there is a reading.
func (w *World) Sample(elapsed time.Duration) (in controller.Inputs) {
	w.read(&in, elapsed)
	return in
}

func (w *World) read(in *controller.Inputs, elapsed time.Duration) {
	w.sample(in, elapsed)
	w.through(in, w.now)
}

// through sends what the front ends gave through the channels.
func (w *World) through(in *controller.Inputs, now time.Duration) {
	for i := range w.chamber {
		w.condition(&w.chamber[i], &in.Chamber[i], now, in.PowerLost)
	}
	for i := range w.core {
		w.condition(&w.core[i], &in.Core[i], now, in.PowerLost)
	}
	if len(w.wet) > 0 {
		w.condition(&w.wet[0], &in.WetBulb, now, in.PowerLost)
	}
	if len(w.ambient) > 0 {
		w.condition(&w.ambient[0], &in.Ambient, now, in.PowerLost)
	}
	if len(w.ember) > 0 {
		w.condition(&w.ember[0], &in.Ember, now, in.PowerLost)
	}
	w.met = true
}

// condition sends a reading through the channel of its probe. The cabinet has stood for
// long when the first comes; a program that begins anew remembers nothing.
func (w *World) condition(pr *probe, r *sensors.Reading, now time.Duration, anew bool) {
	switch {
	case !w.met:
		pr.memory = pr.settings.Settled(now, *r)
	case anew:
		pr.memory = channel.Memory{}
	}
	*r = pr.settings.Read(&pr.memory, now, *r)
}

// Feel is Sample for one who has channels of his own: the readings are as the front ends
// give them.
func (w *World) Feel(elapsed time.Duration) (in controller.Inputs) {
	w.sample(&in, elapsed)
	return in
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
	in.Board = sensors.At(w.plant.At(InRoom))
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
		w.apart(in)
		if in.PowerLost = w.away; w.away && !w.dark { // the watchdog started the program anew, not the computer
			in.Away = controller.AwayByBoot
		}
		w.away, w.dark = false, false
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
	w.dark = w.dark || w.inject.Dark(w.now)
	return call
}

// Drive sets the outputs.
func (w *World) Drive(out controller.Outputs) {
	w.drive = plant.Drive{
		Heater: out.On.Has(controller.Heater), Fan: out.On.Has(controller.Fan), Smoke: out.On.Has(controller.Smoke), Humidifier: out.On.Has(controller.Humidifier),
		Cooler: out.On.Has(controller.Cooler), Damper: out.Damper, Place: w.place,
	}
	if w.setup.Cabinet.Damper.Fitted {
		w.drive.Damper = 1
		if out.On.Has(controller.DamperDrive) {
			w.drive.Damper = 0
		}
	}
	w.drive.DoorOpen = w.now < w.open
	if l := w.setup.Later; l != nil && l.HasDamper && w.now >= l.At && w.place == profile.Chamber {
		w.drive.Damper = l.Damper
	}
	if w.remembers() {
		w.drive.DoorOpen = within(w.setup.Past.Door, w.now)
	}
	if w.inject != nil {
		w.inject.Drive(w.now, &w.drive)
	}
}

// Answer lets the person see the state after a step, and do by hand what is to be done. It
// returns what the person, or else the operator, orders for the next step.
func (w *World) Answer(s *controller.State) controller.Command {
	w.Hands(s)
	if w.remembers() {
		if w.setup.Operator != nil && s.CurrentStage(w.setup.Product) != nil {
			if order, taken := w.setup.Operator.Order(w.now, s); taken && order.Kind != controller.NoCommand {
				return order
			}
		}
		return w.recall(s)
	}
	manner := fault.Person{}
	if w.inject != nil && s.CurrentStage(w.setup.Product) != nil {
		if w.setup.Operator != nil {
			if order, taken := w.setup.Operator.Order(w.now, s); taken {
				return order
			}
		}
		manner = w.inject.Person(w.now)
	}
	order, light := w.person.Answer(s, manner)
	w.light(light)
	return order
}

// Hands lets the person see the state after a step and do by hand what it takes, and say
// nothing: for a world in which somebody else gives the orders.
func (w *World) Hands(s *controller.State) {
	place, light := w.person.Hands(s)
	w.place = place
	w.light(light)
}

func (w *World) light(light bool) {
	if !light {
		return
	}
	if smoker, fitted := w.plant.(Smoker); fitted {
		smoker.Light()
	}
}

// Hopeless reports whether the batch is held and the person has given up.
func (w *World) Hopeless(s *controller.State) bool { return !w.remembers() && w.person.Hopeless(s) }

// Advance lets one Step of time pass.
func (w *World) Advance() { w.advance(Step) }

func (w *World) advance(dt time.Duration) {
	w.plant.Advance(dt, w.drive)
	w.now += dt
	w.follow(dt)
}

// stride is how long the step that is made shall last. What a stage could switch on, a
// person could be asked or someone watches second by second is not stepped over, nor is a
// core that a stage waits for: it has to hold for so many readings.
func (w *World) stride(s *controller.State, now time.Duration) time.Duration {
	if !w.strides || w.out.On != 0 || w.place != profile.Room && w.place != profile.ColdRoom || w.inject != nil || now%Stride != 0 {
		return Step
	}
	stage := s.CurrentStage(w.setup.Product)
	_, asked := s.Question()
	if stage == nil || stage.Heat || stage.Smoke || stage.Fan > 0 || stage.AsksMoisture() || stage.HasNotAbove || asked || s.Batch != controller.Running || w.order.Kind != controller.NoCommand {
		return Step
	}
	for i := range stage.Until.Conditions {
		if stage.Until.Conditions[i].Kind != profile.After {
			return Step
		}
	}
	return Stride
}
