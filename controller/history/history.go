// Package history is the one fold over what a batch does. It takes each step's
// state, outputs and events, and keeps from them what people look at afterwards: the
// curve, the stages, and what happened, as structures with an id and a kind. Page,
// record, rehearsal, metrics and figure draw from it, so that they cannot tell
// different stories.
//
// It decides nothing, and knows no clock: the same steps give the same history to
// the last bit, in the daemon, in a rehearsal, and when a record is replayed after
// the program was lost.
package history

import (
	"fmt"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/trip"
	"fumarium/profile"
)

// MostEvents is how many events a History keeps, unless it shall keep all: a batch of
// twelve hours has about thirty. Beyond it the oldest go, a quarter at a time.
const MostEvents = 4096

// A History is what has happened in the batch under way or the last one, and the
// events before it since the program began. Its zero value is one of no batch.
//
// A copy is a picture of the moment: Add and the others change nothing that an
// earlier copy can see, so a copy may be read while the original goes on. Only one of
// them may go on.
type History struct {
	// KeepAll keeps every event, however many: for a batch that is read once.
	KeepAll bool

	batch   string
	product *profile.Product
	started time.Duration // on the cabinet's clock
	begun   bool          // there was a batch
	step    int64         // number of the next step
	said    int           // how often the program itself spoke since the last step
	elapsed time.Duration // of the last step
	seen    bool          // there was a last step, and nothing is missing since
	drawn   bool          // the batch was under way in it
	out     controller.Outputs

	events []Event
	stages []Stage
	curve  curve
	use    Use
}

// An ID names an event: the batch, the number of the step in it, and the place among
// the events of that step. It is the same after the program was lost and the record
// was read again. Without a batch it counts from the program's start.
type ID struct {
	Batch string
	Step  int64
	Place int
	// Said counts what the program itself said before that step, apart from the
	// step's own events.
	Said bool
}

func (id ID) String() string {
	if id.Said {
		return fmt.Sprintf("%s/%d.said.%d", id.Batch, id.Step, id.Place)
	}
	return fmt.Sprintf("%s/%d.%d", id.Batch, id.Step, id.Place)
}

// An Event is one thing that happened. Its own Kind is zero where the program itself
// had something to say; Said then holds the words.
type Event struct {
	controller.Event
	ID       ID
	Elapsed  time.Duration // since the batch was started; zero without one
	Wall     time.Time     // time of day, for people; zero where none was kept
	Priority trip.Priority // zero for what calls nobody
	Said     string

	product *profile.Product
}

// Text says the event in words. What the record says it was called then goes before
// what it would be called now.
func (e *Event) Text() string {
	if e.Said != "" {
		return e.Said
	}
	return e.Event.Text(e.product)
}

// Prompt is the hand step that an event is about.
func (e *Event) Prompt() string { return e.Event.Prompt(e.product) }

// StageName is the stage that the event is about, or empty.
func (e *Event) StageName() string { return StageName(e.Event, e.product) }

// StageName is the stage of p that an event is about, or empty.
func StageName(e controller.Event, p *profile.Product) string {
	switch e.Kind {
	case controller.StageBegan, controller.StageEnded, controller.Asked, controller.Answered, controller.Bent, controller.Abandoned:
		if p != nil && e.Stage >= 0 && e.Stage < len(p.Stages) {
			return p.Stages[e.Stage].Name
		}
	}
	return ""
}

// kinds are the kinds of events as record, API and command line call them.
var kinds = [...]string{
	0:                       "said",
	controller.BatchChanged: "batch state", controller.StageBegan: "stage began", controller.StageEnded: "stage ended",
	controller.Asked: "asked", controller.Answered: "answered", controller.AlarmRaised: "alarm raised",
	controller.AlarmReturned: "alarm returned", controller.Tripped: "tripped", controller.TripReset: "trip reset",
	controller.Refused: "refused", controller.WasAway: "was away", controller.Bent: "bent", controller.Abandoned: "abandoned",
	controller.Parted: "probe parted",
}

// KindName is the fixed name of a kind of event.
func KindName(k controller.EventKind) string {
	if int(k) < len(kinds) && kinds[k] != "" {
		return kinds[k]
	}
	return fmt.Sprintf("event %d", k)
}

// ParseKind finds the kind of that name, or false.
func ParseKind(name string) (controller.EventKind, bool) {
	i := slices.Index(kinds[:], name)
	return controller.EventKind(max(i, 0)), i >= 0
}

// PriorityOf is how soon an event calls a person; zero is not at all.
func PriorityOf(e controller.Event) trip.Priority {
	if e.Kind == controller.AlarmRaised || e.Kind == controller.Tripped {
		return e.Alarm.Entry().Priority
	}
	if e.Kind == controller.Parted {
		return trip.Later
	}
	return 0
}

// A Stage is one stage as it went. Times count from the start of the batch.
type Stage struct {
	Index int // in the product
	Name  string
	Began time.Duration
	Ended time.Duration
	Over  bool               // it has ended, or the batch has
	By    controller.EndedBy // what ended it; zero where the batch ended first
	Waits []Wait
}

// A Wait is a hand step that waited for the person.
type Wait struct {
	Prompt   string
	Asked    time.Duration
	Answered time.Duration
	Done     bool // it was answered
}

// Use is what was used since the History was made, for counters.
type Use struct {
	HeaterOn time.Duration
	Switched [controller.OutputCount]uint64 // how often each was switched on
}

// Begin begins the history of a batch, before Add of the step that started it. The
// events before it stay; curve and stages are those of the batch.
func (h *History) Begin(batch string, p *profile.Product, started time.Duration) {
	h.batch, h.product, h.started, h.begun = batch, p, started, true
	h.step, h.said = 0, 0
	h.stages = nil
	h.curve, h.drawn = curve{}, false
}

// Resume goes on with a history that was rebuilt from the record, at step number
// step. What the program that is gone has used counts no more.
func (h *History) Resume(step int64) {
	h.Skip(step)
	h.use, h.out, h.seen = Use{}, controller.Outputs{}, false
}

// Skip says that the next step is number step; what came between was not seen.
func (h *History) Skip(step int64) {
	if step != h.step {
		h.step, h.seen = step, false
	}
}

// Add takes one step: the outputs as they are after it, and its events. wall is the
// time of day, where there is one to show.
func (h *History) Add(wall time.Time, elapsed time.Duration, s *controller.State, out controller.Outputs, events []controller.Event) {
	h.follow(elapsed, out)
	if h.drawn = h.begun && s.Batch.Active(); h.drawn {
		h.curve.add(sampleOf(s, elapsed-h.started))
	}
	h.Happened(wall, events)
}

// Happened takes the events of one step alone, of a batch whose curve is told otherwise.
func (h *History) Happened(wall time.Time, events []controller.Event) {
	for i := range events {
		h.happened(Event{
			Event: events[i], ID: ID{Batch: h.batch, Step: h.step, Place: i}, Elapsed: h.since(events[i].At),
			Wall: wall, Priority: PriorityOf(events[i]), product: h.product,
		})
	}
	h.step++
	h.said = 0
}

// follow counts the time up to now: to the outputs as they were.
func (h *History) follow(elapsed time.Duration, out controller.Outputs) {
	passed := elapsed - h.elapsed
	heating := h.out.On.Has(controller.Heater)
	switch {
	case !h.drawn:
	case !h.seen || passed > controller.LateAfter:
		h.curve.tear(h.since(h.elapsed))
	case heating:
		h.curve.pass(passed, passed)
	default:
		h.curve.pass(passed, 0)
	}
	if heating && passed > 0 {
		h.use.HeaterOn += passed
	}
	if rose := out.On &^ h.out.On; rose != 0 {
		for o := range controller.OutputCount {
			if rose.Has(o) {
				h.use.Switched[o]++
			}
		}
	}
	h.elapsed, h.out, h.seen = elapsed, out, true
}

func (h *History) since(at time.Duration) time.Duration {
	if !h.begun {
		return 0
	}
	return at - h.started
}

// Say keeps what the program itself has to say, which is no event of a step.
func (h *History) Say(wall time.Time, elapsed time.Duration, text string, p trip.Priority) {
	h.happened(Event{
		Event: controller.Event{At: elapsed}, ID: ID{Batch: h.batch, Step: h.step, Place: h.said, Said: true},
		Elapsed: h.since(elapsed), Wall: wall, Priority: p, Said: text, product: h.product,
	})
	h.said++
}

// Excused is what is said of a start for which a person had to give a reason: the cure had
// not rested, or something spoke against it, which stands in the reason, too.
func Excused(reason string) string {
	return "started all the same, because: " + reason
}

// Because is what is said of a change of the stage under way: a person had to say why.
func Because(command, reason string) string {
	return "the person orders " + command + ", because: " + reason
}

// Worded gives the last events the words in which a record has them, where they are
// others than today's. Call it before the history is copied.
func (h *History) Worded(words []string) {
	last := h.events[max(0, len(h.events)-len(words)):]
	for i := range last {
		if last[i].Text() != words[i] {
			last[i].Said = words[i]
		}
	}
}

// Tell keeps an event as a record has it in words, of a batch that cannot be replayed.
func (h *History) Tell(e Event) {
	e.ID.Batch, e.product = h.batch, h.product
	e.At = h.started + e.Elapsed
	h.happened(e)
}

// Sketch keeps one sample of such a batch. duty is the heater's share of the time since
// the sample before; torn says that nobody looked meanwhile.
func (h *History) Sketch(s Sample, duty float64, torn bool) {
	passed := h.started + s.Elapsed - h.elapsed
	if torn {
		h.curve.tear(h.since(h.elapsed))
	} else {
		h.curve.pass(passed, time.Duration(duty*float64(passed)))
	}
	h.curve.add(s)
	h.elapsed = h.started + s.Elapsed
}

func (h *History) happened(e Event) {
	if !h.KeepAll && len(h.events) >= MostEvents {
		const oldest = MostEvents / 4
		h.events = slices.Clone(h.events[oldest:]) // earlier copies share the old ones
	}
	h.events = append(h.events, e)
	h.stage(&e)
}

// stage keeps the stages. Earlier copies share them, so they are changed in a new list.
func (h *History) stage(e *Event) {
	last := len(h.stages) - 1
	open := last >= 0 && !h.stages[last].Over
	change := func() *Stage {
		h.stages = slices.Clone(h.stages)
		s := &h.stages[last]
		s.Waits = slices.Clone(s.Waits)
		return s
	}
	switch e.Kind {
	case controller.StageBegan:
		h.stages = append(h.stages, Stage{Index: e.Stage, Name: e.StageName(), Began: e.Elapsed})
	case controller.StageEnded:
		if open {
			s := change()
			s.Ended, s.Over, s.By = e.Elapsed, true, e.By
		}
	case controller.Asked:
		if open {
			s := change()
			s.Waits = append(s.Waits, Wait{Prompt: e.Prompt(), Asked: e.Elapsed})
		}
	case controller.Answered:
		if !open {
			return
		}
		s := change()
		if n := len(s.Waits); n > 0 && !s.Waits[n-1].Done {
			w := &s.Waits[n-1]
			w.Prompt, w.Answered, w.Done = e.Prompt(), e.Elapsed, true
		}
	case controller.BatchChanged:
		if open && !e.Batch.Active() {
			s := change()
			s.Ended, s.Over = e.Elapsed, true
		}
	}
}

// Batch is the id of the batch, and false before the first.
func (h *History) Batch() (id string, begun bool) { return h.batch, h.begun }

// Elapsed is how old the batch was at the last step.
func (h *History) Elapsed() time.Duration { return h.since(h.elapsed) }

// Events are the events, oldest first, also those before the batch. They are shared:
// read them only.
func (h *History) Events() []Event { return h.events }

// BatchEvents are the events since the batch was started.
func (h *History) BatchEvents() []Event {
	if !h.begun {
		return nil
	}
	from := len(h.events)
	for from > 0 && h.events[from-1].At >= h.started && h.events[from-1].ID.Batch == h.batch {
		from--
	}
	return h.events[from:]
}

// Stages are the stages so far. They are shared: read them only.
func (h *History) Stages() []Stage { return h.stages }

// Use is what was used since the History was made or told to forget.
func (h *History) Use() Use { return h.use }
