package controller

import (
	"fmt"
	"math"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/controller/tune"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// A cabinet learns in a batch of its own, with a pan of water in place of food: Tune starts
// it. Its stages that heat are experiments of package tune, with every trip as in any
// batch. It is never held: whatever would hold a batch, and an open door, ends it, for
// nothing can be learned of a record with a hole.

// What an experiment is. Own magnitudes, no source.
const (
	// rested is how much warmer than the room a chamber may be that has rested: nobody
	// measures the room in most cabinets, and the file may be off by the season.
	rested      quantity.Kelvin = seasons
	learnBelow  quantity.Kelvin = profile.ChamberMargin + 5 // the cabinet's limit
	learnLeast  quantity.Kelvin = 15                        // above the chamber at rest
	coolBetween                 = 45 * time.Minute
	learnMargin                 = 10 * time.Minute // beyond what an experiment takes at most
)

// panOfWater is the product file of such a batch: the fan's stage, then the one without.
const panOfWater = `# What the cabinet heats while it learns how its chamber answers: nothing but a pan of water.
product: Pan of water
shape: {form: slab, thickness: 30 mm, length: 300 mm, width: 200 mm}
species: dairy
formula:
  cut: [{name: water, mass: 1 kg, water: 95 %%, protein: 5 %%, fat: 0 %%}] # a rehearsal takes no more water than that
stages:
  - name: prepare
    heater: off
    fan: off
    ask: Take all food and fuel out. Stand a wide pan with a litre of water on the middle rack, with the tips of the core probes in it. Shut the damper and the door
    until: {confirm: "The independent cut-out is wired, somebody stays in the house, and the door stays shut to the end, which takes hours. The chamber gets to %[1]v, with the fan and without"}
%[2]s`

const learnWithFan = `  - {name: learn with the fan, chamber: %[1]v, fan: full, damper: shut, until: {after: %[2]s}}
  - {name: cool, heater: off, fan: full, until: {after: %[3]s}}
`

const learnWithout = `  - {name: learn without the fan, chamber: %[1]v, fan: off, damper: shut, until: {after: %[2]s}}
`

// Experiment is the batch in which a cabinet learns whose chamber reads that at rest, and
// its product file. It refuses a cabinet that leaves too little room below its limit.
func Experiment(c *cabinet.Cabinet, chamber quantity.Celsius) (*profile.Product, []byte, error) {
	target := quantity.Celsius(math.Floor(float64(min(chamber+quantity.Celsius(tune.Rise), c.Limits.ChamberHigh-quantity.Celsius(learnBelow)))))
	if !(target >= chamber+quantity.Celsius(learnLeast)) {
		return nil, nil, fmt.Errorf("the chamber reads %v, and %v below the limit of %v is as hot as it may get to learn; let it cool down to %v",
			chamber, learnBelow, c.Limits.ChamberHigh, c.Limits.ChamberHigh-quantity.Celsius(learnBelow+learnLeast))
	}
	longest := quantity.FormatDuration(tune.Longest)
	stages := fmt.Sprintf(learnWithout, target, longest)
	if c.Fan.Fitted {
		stages = fmt.Sprintf(learnWithFan, target, longest, quantity.FormatDuration(coolBetween)) + stages
	}
	file := fmt.Appendf(nil, panOfWater, target, stages)
	p, err := profile.Parse(ExperimentFile, file)
	return p, file, err
}

// ExperimentFile is what the product file of an experiment is called.
const ExperimentFile = "pan-of-water.yaml"

// experiment reports whether a product is one to learn by: nothing is cooked in it, and
// nobody is asked while it heats.
func experiment(p *profile.Product) bool {
	heats := false
	for i := range p.Stages {
		stage := &p.Stages[i]
		if stage.Smoke || stage.Heat && stage.Ask != "" {
			return false
		}
		for _, c := range stage.Until.Conditions {
			if stage.Heat && c.Kind != profile.After {
				return false
			}
		}
		heats = heats || stage.Heat
	}
	return heats && p.Targets == (profile.Targets{})
}

// tune starts an experiment.
func (t *step) tune() {
	chamber, known := t.s.Chamber.Reading.Value()
	switch {
	case t.m.product == nil || !experiment(t.m.product):
		t.refuse(NothingToLearn)
	case known && chamber > t.room()+quantity.Celsius(rested):
		t.refuse(ChamberWarm)
	default:
		t.start()
		t.s.Learns = t.s.Batch == Running
	}
}

// learn moves an experiment on, and reports whether it is over, well or not.
func (t *step) learn(stage *profile.Stage) (over bool) {
	s := t.s
	if !s.Learns || !stage.Heat {
		return false
	}
	switch {
	case t.doorOpen():
		t.abandon(EndedByDoor)
	case s.Heater.Tune.Phase == tune.Failed:
		t.abandon(EndedByTime)
	case s.Heater.Tune.Phase == tune.Done:
		t.event(Event{Kind: StageEnded, Stage: s.Stage, By: EndedByShown})
		t.goOn(s.Stage + 1)
	default:
		return false
	}
	return true
}

// abandon ends an experiment that nothing can be learned of.
func (t *step) abandon(by EndedBy) {
	t.event(Event{Kind: Abandoned, Stage: t.s.Stage, By: by})
	t.enter(Aborting)
}

// held says why a batch that learns would be held now.
func (t *step) held() EndedBy {
	switch {
	case t.in.PowerLost:
		return EndedByAbsence
	case t.s.Tripped != 0:
		return EndedByTrip
	}
	return EndedByTime
}

// Lessons collects of every step what an experiment has shown.
type Lessons struct {
	All     []Lesson
	at      time.Duration
	on, was bool
	tripped trip.Code
}

// A Lesson is the record of one state of the fan.
type Lesson struct {
	Stage  int
	Fan    bool
	Target quantity.Celsius
	State  tune.State // at its end
	Record []tune.Sample
	broken string // off, by what
}

// See takes a step in: what it was told, and what it made of that.
func (l *Lessons) See(p *profile.Product, in *Inputs, s *State, out Outputs, events []Event) {
	for _, e := range events {
		switch n := len(l.All); {
		case e.Kind == Tripped:
			l.tripped = e.Alarm
		case e.Kind == Abandoned && n > 0 && l.All[n-1].Stage == e.Stage:
			l.All[n-1].broken = e.By.words()
			if e.By == EndedByTrip {
				l.All[n-1].broken += ", " + l.tripped.String()
			}
		}
	}
	on, dt := l.on, in.Elapsed-l.at
	l.on, l.at = out.On.Has(Heater), in.Elapsed // what is put out now heats until the next step
	stage := s.CurrentStage(p)
	if !s.Learns || stage == nil || !stage.Heat {
		l.was = false
		return
	}
	if n := len(l.All); !l.was || l.All[n-1].Stage != s.Stage {
		l.All = append(l.All, Lesson{Stage: s.Stage, Fan: stage.Fan > 0, Target: stage.ChamberSetpoint})
		dt = time.Second
	}
	l.was = true
	now := &l.All[len(l.All)-1]
	chamber, known := s.Chamber.Reading.Value()
	sample := tune.Sample{Chamber: chamber, Known: known, On: on, Door: in.Door == DoorOpen || in.Door == DoorUnread, Cycling: s.Heater.Tune.Cycling()}
	late := sample
	late.Known, late.Late = false, true
	for missed := dt - 3*time.Second/2; missed > 0 && dt <= time.Hour; missed -= time.Second { // seconds without a step
		now.Record = append(now.Record, late)
	}
	now.Record = append(now.Record, sample)
	now.State = s.Heater.Tune
}

// A Finding is what one state of the fan has shown, or why nothing can be learned of it.
type Finding struct {
	Lesson
	tune.Learned
	Refused error
}

// Fit makes constants of the lessons.
func (l *Lessons) Fit() (all []Finding) {
	for _, lesson := range l.All {
		learned, err := tune.Fit(lesson.State, lesson.Record)
		if lesson.broken != "" {
			learned, err = tune.Learned{}, fmt.Errorf("it was broken off in %s: %s", lesson.State.Phase, lesson.broken)
		}
		all = append(all, Finding{Lesson: lesson, Learned: learned, Refused: err})
	}
	return all
}

// LearnedOf is what the findings say for a cabinet file. What is refused is not in it.
func LearnedOf(all []Finding) (l cabinet.Learned) {
	for i := range all {
		f := &all[i]
		switch r := (cabinet.Response{Gain: f.Gain, Lag: f.Lag, SecondLag: f.SecondLag, DeadTime: f.DeadTime}); {
		case f.Refused != nil:
		case f.Fan:
			l.FanOn = r
		default:
			l.FanOff = r
		}
	}
	return l
}
