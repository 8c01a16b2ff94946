package bench

import (
	"context"
	"fmt"
	"math"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/plant"
)

// The step of the setpoint, and what counts as having come there.
const (
	Rise   = 55.0 // K above the room
	Band   = 1.0  // K
	minute = 60
	Damper = 0.25
	// thermostat is what it lets the chamber swing by: on this much below, off as much above.
	thermostat quantity.Celsius = 1
)

// A Case is one cell of the table: a cabinet with the constants that it goes by, and how
// what is truly there differs from them.
type Case struct {
	Cabinet *cabinet.Cabinet
	Product *profile.Product // that hangs in it
	Load    quantity.Kilograms
	Fan     bool
	Power   float64 // times what the file says; zero is one
	Sheath  float64 // of the chamber probes, times; zero is one
	Plant   sim.Plant
	Seed    uint64
}

// A Score is how a step went.
type Score struct {
	Seconds float64 // until the minute's mean is within the band for good; NaN is never
	Over    float64 // K, of the minute's mean over the setpoint
	Alarms  []string
}

// setup is a chamber at rest, whose setpoint is stepped and stays.
func (c *Case) setup() sim.Setup {
	cab, p := *c.Cabinet, *c.Product
	cab.Probes = append([]cabinet.Probe(nil), cab.Probes...)
	for i := range cab.Probes {
		if cab.Probes[i].Role == cabinet.ChamberProbe && c.Sheath > 0 {
			cab.Probes[i].Sheath = time.Duration(float64(cab.Probes[i].Sheath) * c.Sheath)
		}
	}
	cab.Limits.Ramp = 0
	goal := cab.Ambient + Rise
	cab.Limits.ChamberHigh = max(cab.Limits.ChamberHigh, goal+40)
	stage := profile.Stage{Name: "step", Heat: true, ChamberSetpoint: goal, Place: profile.Chamber, HasDamper: true, Damper: Damper,
		Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 2 * Longest}}}}
	if c.Fan {
		stage.Fan = 1
	}
	p.Stages = []profile.Stage{stage}
	s := sim.Setup{Product: &p, Cabinet: &cab, Load: c.Load, Power: c.Power, Seed: c.Seed, Longest: Longest, Excused: true, Answer: time.Second}
	if c.Plant != nil {
		s.Plant = c.Plant.Copy()
	}
	return s
}

func (c *Case) goal() Goal {
	return Goal{At: float64(c.Cabinet.Ambient) + Rise, Band: Band, Mean: minute}
}

func (c *Case) drive() plant.Drive {
	return plant.Drive{Fan: c.Fan, Damper: Damper, Place: profile.Chamber}
}

// Bound is the fastest that the plant of the case allows.
func (c *Case) Bound() (Bound, error) {
	w, err := sim.NewWorld(c.setup())
	if err != nil {
		return Bound{}, err
	}
	return Fastest(w.Plant(), c.drive(), c.goal()), nil
}

// scorer books the air of a step.
type scorer struct {
	goal Goal
	f    follower
	out  int // the last second outside the band
	over float64
}

func (s *scorer) see(air float64) {
	f := &s.f
	f.sum += air - f.last[f.n%len(f.last)]
	f.last[f.n%len(f.last)] = air
	f.n++
	mean := f.sum / float64(min(f.n, len(f.last)))
	if math.Abs(mean-s.goal.At) > s.goal.Band {
		s.out = f.n
	}
	s.over = max(s.over, mean-s.goal.At)
}

func (s *scorer) score() Score {
	r := Score{Seconds: float64(s.out + 1), Over: s.over}
	if s.out+minute >= s.f.n {
		r.Seconds = math.NaN()
	}
	return r
}

func (c *Case) scorer() scorer {
	return scorer{goal: c.goal(), f: follower{last: make([]float64, minute)}}
}

// Step lets the controller take the step.
func (c *Case) Step(ctx context.Context) (Score, error) {
	s := c.scorer()
	r, err := sim.Watch(ctx, c.setup(), func(m *sim.Moment) { s.see(float64(m.World.Plant().At(sim.OnProbe))) })
	if err != nil {
		return Score{}, err
	}
	score := s.score()
	for _, a := range r.Alarms {
		score.Alarms = append(score.Alarms, a.Code)
	}
	if r.Outcome != controller.Running.String() {
		return score, fmt.Errorf("bench: %s: the step is %s (%s) after %v s, alarms %v", c.Cabinet.Name, r.Outcome, r.Reason, r.ElapsedSeconds, score.Alarms)
	}
	return score, nil
}

// Thermostat lets a thermostat of 2 K take it.
func (c *Case) Thermostat() (Score, error) {
	w, err := sim.NewWorld(c.setup())
	if err != nil {
		return Score{}, err
	}
	s, on := c.scorer(), false
	for now := time.Duration(0); now < Longest; now += sim.Step {
		in := w.Sample(now)
		out := controller.Outputs{Damper: Damper}
		on = switched(on, in.Chamber[0], quantity.Celsius(s.goal.At))
		out.On.Set(controller.Heater, on)
		out.On.Set(controller.Fan, c.Fan)
		w.Drive(out)
		w.Advance()
		s.see(float64(w.Plant().At(sim.OnProbe)))
	}
	return s.score(), nil
}
