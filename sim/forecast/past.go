package forecast

import (
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/controller/trip"
	"fumarium/sim"
)

// PastOf is what a batch has been through, from its history: when somebody answered and
// when it was held. Doors are when one stood open.
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

// DoorsOf is when a door stood open for so long that it was said, by the history; one that
// still does is not among them.
func DoorsOf(h *history.History) (doors []sim.Interval) {
	opened, open := time.Duration(0), false
	for _, e := range h.BatchEvents() {
		switch {
		case e.Alarm != trip.DoorOpen:
		case e.Kind == controller.AlarmRaised && !open:
			opened, open = max(e.Elapsed-trip.DoorOpen.Entry().Delay, 0), true
		case e.Kind == controller.AlarmReturned && open:
			doors, open = append(doors, sim.Interval{From: opened, To: e.Elapsed}), false
		}
	}
	return doors
}
