package sim

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/sim/fault"
)

// How long people take to answer: half of them no longer than typicalAnswer, nine of ten
// no longer than lateAnswer, and nobody longer than LatestAnswer. Common practice, no
// source.
const (
	typicalAnswer = 4 * time.Minute
	lateAnswer    = 15 * time.Minute
	// LatestAnswer is the longest that is drawn.
	LatestAnswer = time.Hour
	// Brisk is how long someone takes who stands by; for a Setup that shall not draw.
	Brisk = 2 * time.Minute
)

// mostTries is how often a Person tries again what did not help.
const mostTries = 6

// A Person stands in for whoever minds a batch: carries the product from place to place,
// lights the wood, does the hand steps and, where it is expected that something goes wrong,
// looks after alarms. It knows the controller's state, which the page shows, and no more;
// what it orders goes the way of every order. A copy is another person in the same state.
type Person struct {
	product *profile.Product
	answer  time.Duration // that everything takes; zero draws it anew each time
	watches bool          // looks after alarms
	source  rand.PCG

	began   bool // a batch has
	stage   int  // as last seen
	asking  bool // its hand step waited then
	place   profile.Place
	waiting bool          // a question has been seen
	due     time.Duration // and is answered then
	looking bool          // an alarm or a hold has been seen
	there   time.Duration // and is looked after then
	tries   int           // resets since the faults last changed
}

// NewPerson makes the person for a batch of p. One who takes a fixed time for everything
// has an answer above zero; otherwise each time is drawn by the seed.
func NewPerson(p *profile.Product, answer time.Duration, seed uint64) Person {
	return Person{product: p, answer: answer, place: profile.Chamber, source: *rand.NewPCG(seed, 0x706572736f6e)}
}

// takes is how long the person will take for what comes up now. A logarithmic normal
// distribution: most answer soon, and some are long in coming.
func (p *Person) takes() time.Duration {
	if p.answer > 0 {
		return p.answer
	}
	const ninetieth = 1.2815515655446004 // of the standard normal distribution
	deviation := math.Log(lateAnswer.Minutes()/typicalAnswer.Minutes()) / ninetieth
	for r := rand.New(&p.source); ; {
		d := time.Duration(float64(typicalAnswer) * math.Exp(deviation*r.NormFloat64()))
		if d <= LatestAnswer {
			return d.Round(Step)
		}
	}
}

// Hands is what the person does by hand after a step: where the product is now, and
// whether the smoke generator is filled and lit. Carrying the product from place to place
// is part of a stage's hand step, or happens as the stage begins if the stage asks for
// none; so is lighting the generator for the first smoke. A batch that comes to this
// person in the middle of its smoke comes with the generator lit.
func (p *Person) Hands(s *controller.State) (place profile.Place, light bool) {
	stage := s.CurrentStage(p.product)
	if stage == nil {
		return p.place, false
	}
	if !s.Asking {
		p.place = stage.Place
	}
	before := p.product.Stages[:s.Stage]
	begins := s.Stage != p.stage && !slices.ContainsFunc(before, func(p profile.Stage) bool { return p.Smoke })
	light = stage.Smoke && !s.Asking && (p.asking || begins || !p.began)
	p.stage, p.asking, p.began = s.Stage, s.Asking, true
	return p.place, light
}

// Answer is what the person orders after a step, to reach the next one, and whether the
// generator is lit for it. The manner counts for one who watches.
func (p *Person) Answer(s *controller.State, manner fault.Person) (order controller.Command, light bool) {
	if s.CurrentStage(p.product) == nil {
		p.waiting = false
		return order, false
	}
	if p.watches {
		if manner.Away {
			p.waiting, p.looking = false, false
			return order, false
		}
		if order, light = p.lookAfter(s, manner); order.Kind != controller.NoCommand {
			return order, light
		}
	}
	asked, waiting := s.Question()
	if !waiting || s.Batch != controller.Running {
		p.waiting = false
		return order, false
	}
	if !p.waiting {
		p.waiting, p.due = true, s.Elapsed+p.takes()
	}
	if s.Elapsed+Step < p.due { // the answer reaches the next step
		return order, false
	}
	p.waiting = false
	return controller.Command{Kind: controller.Confirm, Question: asked}, false
}

// lookAfter comes some time after a batch was held or an alarm called, looks what is
// wrong, and when it is mended acknowledges, resets and restarts. A careless person does
// so without looking.
func (p *Person) lookAfter(s *controller.State, manner fault.Person) (order controller.Command, light bool) {
	calling := false
	// A probe that left the meat is put back, and said to be; to acknowledge everything
	// is not enough.
	out := s.Alarms[trip.CoreOut].Standing
	cold := s.Alarms[trip.EmberOut].Active(trip.EmberOut, s.Elapsed)
	for c := trip.None + 1; c < trip.Count; c++ {
		a := &s.Alarms[c]
		calling = calling || c.Entry().Priority.Loud() && a.Calls()
	}
	waits := manner.Waits && !manner.Careless
	if waits || !calling && !out && !cold && s.Batch != controller.Held {
		p.looking = false
		return order, false
	}
	if manner.News {
		p.tries = 0 // what does not help now may help then
	}
	if !p.looking {
		p.looking, p.there = true, s.Elapsed+p.takes()
	}
	if s.Elapsed+Step < p.there {
		return order, false
	}
	switch {
	case manner.Finds && !manner.Careless: // it cannot be mended: leave the batch as it is
		p.tries = mostTries
		return order, false
	case calling:
		p.there = s.Elapsed + 10*Step // and on with the next
		return controller.Command{Kind: controller.Acknowledge}, false
	case out:
		return controller.Command{Kind: controller.Mended, Alarm: trip.CoreOut}, false
	case cold:
		return controller.Command{Kind: controller.Mended, Alarm: trip.EmberOut}, true
	case s.Batch != controller.Held || p.Hopeless(s):
		return order, false
	case s.Tripped == trip.None:
		if s.HeatEnded() {
			p.tries++ // another stretch of heat, and no more than so many
		}
		p.looking = false
		return controller.Command{Kind: controller.Restart}, false
	}
	p.tries++
	p.there = s.Elapsed + p.takes() // another try, should this one be refused
	return controller.Command{Kind: controller.Reset}, false
}

// Hopeless reports whether the batch is held and the person has given up. Nobody watches
// a rehearsal in which nothing should go wrong.
func (p *Person) Hopeless(s *controller.State) bool {
	return s.Batch == controller.Held && (!p.watches || p.tries >= mostTries)
}
