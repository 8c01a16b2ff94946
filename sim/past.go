package sim

import (
	"time"

	"fumarium/controller"
)

// A Past is what a batch under way has been through, so that a rehearsal goes through the
// same before it goes on by itself. Times count from the start of the batch.
type Past struct {
	Until    time.Duration
	Answered []time.Duration // when somebody answered, hand step or question
	Held     []Interval      // nobody looks on; the last may have no end yet
	Door     []Interval      // open
}

// An Interval is from one moment to before another.
type Interval struct{ From, To time.Duration }

func (i Interval) has(t time.Duration) bool { return t >= i.From && t < i.To }

func within(all []Interval, t time.Duration) bool {
	for _, i := range all {
		if i.has(t) {
			return true
		}
	}
	return false
}

// remembers reports whether the world is still in what the batch has been through.
func (w *World) remembers() bool { return w.setup.Past != nil && w.now < w.setup.Past.Until }

// recall is what was ordered then: hold and restart, and an answer once there was one. A
// question that comes up later here than it was answered there is answered at once.
func (w *World) recall(s *controller.State) controller.Command {
	p := w.setup.Past
	held := within(p.Held, w.now)
	switch {
	case held && s.Batch == controller.Running:
		return controller.Command{Kind: controller.Hold}
	case !held && s.Batch == controller.Held:
		return controller.Command{Kind: controller.Restart}
	}
	asked, waiting := s.Question()
	if !waiting || s.Batch != controller.Running || w.answered >= len(p.Answered) || w.now < p.Answered[w.answered] {
		return controller.Command{}
	}
	w.answered++
	return controller.Command{Kind: controller.Confirm, Question: asked}
}
