package main

import (
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/sim"
)

// simulated lets the live loop run the simulated cabinet. Each batch is hung in a
// cabinet that has cooled down since the last.
type simulated struct {
	cabinet *cabinet.Cabinet
	world   *sim.World
	at      time.Duration // how far the world has been advanced
	seed    uint64
}

func newSimulated(p *profile.Product, c *cabinet.Cabinet) (*simulated, error) {
	s := &simulated{cabinet: c, seed: 1}
	world, err := s.build(p)
	s.world = world
	return s, err
}

func (s *simulated) build(p *profile.Product) (*sim.World, error) {
	return sim.NewWorld(sim.Setup{Product: p, Cabinet: s.cabinet, Seed: s.seed})
}

func (s *simulated) Sample(elapsed time.Duration) controller.Inputs {
	for ; s.at < elapsed; s.at += sim.Step {
		s.world.Advance()
	}
	return s.world.Sample(elapsed)
}

func (s *simulated) Drive(out controller.Outputs) error {
	s.world.Drive(out)
	return nil
}

func (s *simulated) Hang(p *profile.Product) error {
	s.seed++
	world, err := s.build(p)
	if err == nil {
		s.world = world
	}
	return err
}

func (s *simulated) Person(state *controller.State) controller.Command {
	return s.world.Answer(state)
}
