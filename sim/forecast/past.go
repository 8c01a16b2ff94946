package forecast

import (
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/sim"
)

// PastOf is what a batch has been through, from its history: when somebody answered and
// when it was held. That a door stood open no history has; doors come from who saw them.
func PastOf(h *history.History, until time.Duration, doors []sim.Interval) *sim.Past {
	p := &sim.Past{Until: until, Door: doors}
	for _, s := range h.Stages() {
		for _, w := range s.Waits {
			if w.Done && w.Answered <= until {
				p.Answered = append(p.Answered, w.Answered)
			}
		}
	}
	holds := false
	for _, e := range h.BatchEvents() {
		if e.Kind != controller.BatchChanged || e.Elapsed > until {
			continue
		}
		switch still := e.Batch == controller.Running; {
		case !still && !holds && e.Elapsed > 0:
			p.Held = append(p.Held, sim.Interval{From: e.Elapsed, To: until})
			holds = true
		case still && holds:
			p.Held[len(p.Held)-1].To = e.Elapsed
			holds = false
		}
	}
	return p
}
