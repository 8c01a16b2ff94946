package sim

import (
	"time"

	"fumarium/controller"
	"fumarium/profile/quantity"
)

// A Turn is a change of the stage under way, at the place in the batch where a person has
// ordered it or would: once the stage's clock, or its core, has come so far. A rehearsal is
// never as fast as the batch, so whichever comes first counts.
type Turn struct {
	Stage   int
	Clock   time.Duration
	HasCore bool // of a stage that waits for a core that rises
	Core    quantity.Celsius
	Elapsed time.Duration      // since the start; above zero, it counts in place of clock and core
	Order   controller.Command // its kind, and what it changes; a Turn without an order only looks
}

// A Script is an Operator who makes turns, each once and in their order. It serves one
// rehearsal.
type Script struct {
	turns  []Turn
	made   []time.Duration // when each was
	missed bool
}

// NewScript writes one.
func NewScript(turns []Turn) *Script { return &Script{turns: turns} }

// Last is when the last of the turns was made, since the rehearsal began; false if it was
// not, or too late, because its stage was over before.
func (p *Script) Last() (time.Duration, bool) {
	if len(p.made) < len(p.turns) || len(p.made) == 0 || p.missed {
		return 0, false
	}
	return p.made[len(p.made)-1], true
}

// Order implements Operator.
func (p *Script) Order(now time.Duration, s *controller.State) (controller.Command, bool) {
	if len(p.made) == len(p.turns) || s.Batch != controller.Running {
		return controller.Command{}, false
	}
	t := &p.turns[len(p.made)]
	core, seen := s.Core.Coldest.Value()
	switch {
	case s.Stage < t.Stage, s.Stage == t.Stage && !t.due(now, s.StageClock, core, seen):
		return controller.Command{}, false
	case s.Stage > t.Stage: // too late: the rehearsed stage was over before
		p.made, p.missed = append(p.made, now), len(p.made) == len(p.turns)-1
		return controller.Command{}, false
	case s.Asking && s.Stage == 0 && t.Order.Kind != controller.Adjust: // not taken before the product hangs
		return controller.Command{}, false
	}
	p.made = append(p.made, now)
	if t.Order.Kind == controller.NoCommand {
		return controller.Command{}, false
	}
	order := t.Order
	order.Question, order.Excused = s.StageName(), true
	return order, true
}

func (t *Turn) due(now, clock time.Duration, core quantity.Celsius, seen bool) bool {
	if t.Elapsed > 0 {
		return now >= t.Elapsed
	}
	return clock >= t.Clock || t.HasCore && seen && core >= t.Core
}
