package sim

import (
	"time"

	"fumarium/controller"
)

// How a cabinet is examined before a batch; common practice, no source.
const (
	inIce     = 10 * time.Minute
	atRest    = 2 * time.Hour
	examining = 5 * time.Second // between two looks: nothing moves
)

// Examine is what an idle machine has seen of a world in which nothing has happened yet:
// first somebody holds each probe of chamber and core in ice water and says so, then all
// hang in a cabinet that stands still without meat. The world is as it was afterwards, and no fault's time has begun.
func Examine(m *controller.Machine, w *World) controller.State {
	var s controller.State
	b := w.Copy()
	now := time.Duration(0)
	look := func(c controller.Command) {
		var in controller.Inputs
		b.sample(&in, now)
		b.through(&in, now)
		in.Command = c
		m.Advance(&s, &in)
		now += examining
	}
	probes := [][]probe{b.chamber, b.core}
	for _, of := range probes {
		for i := range of {
			of[i].value = 0
		}
	}
	for now < inIce {
		look(controller.Command{})
	}
	for slot := range controller.Slots {
		if controller.Slot(w.setup.Cabinet, slot) != nil {
			look(controller.Command{Kind: controller.Ice, Probe: uint8(slot + 1)})
		}
	}
	copy(b.chamber, w.chamber)
	for i := range b.core { // they hang in the chamber until the meat comes
		b.core[i].value = float64(b.plant.At(InRoom))
	}
	b.met = false // it has stood there for long
	for end := now + atRest; now < end; {
		look(controller.Command{})
	}
	return controller.State{Evidence: s.Evidence}
}
