package controller

import (
	"fmt"
	"time"

	"fumarium/controller/trip"
	"fumarium/profile/quantity"
)

// What an absence of the controller means to a batch; common practice, no source.
const (
	ShortAbsence = 2 * time.Minute
	longAbsence  = 4 * time.Hour
)

// Evidence is how it is known for how long the controller was away.
type Evidence uint8

// The evidence. Records hold their numbers.
const (
	AwayAsGiven  Evidence = iota // Elapsed has it, and nobody said from where: records of before, simulated cabinets
	AwayByBoot                   // the computer was not restarted: its clock since boot, which counts its sleep
	AwayByClock                  // the time of day, which was synchronised both before and after
	AwayUnknown                  // nobody knows: Elapsed has only the least that it can have been
	AwayByPerson                 // a person said it
)

// absence is what the step remembers of one whose length nobody knows, until somebody
// does. Nothing heats and nothing is claimed meanwhile.
type absence struct {
	unknown bool          `record:"unknown"`
	number  int           `record:"number"` // of such absences, to tell an answer to an earlier one
	from    time.Duration `record:"from"`   // Elapsed in the last step before it
	back    time.Duration `record:"back"`   // and in the first after it
	ran     bool          `record:"ran"`    // the batch was running
}

// least is what it lasted at the least, by Elapsed.
func (a *absence) least() time.Duration { return a.back - a.from }

// AbsenceUnknown gives, while nobody knows for how long the controller was away, Elapsed
// in the last step before that absence and in the first after it.
func (s *State) AbsenceUnknown() (from, back time.Duration, unknown bool) {
	return s.Absence.from, s.Absence.back, s.Absence.unknown && s.Batch.Active()
}

// absent takes in what this step is told of an absence; was is Elapsed in the last step.
func (t *step) absent(was time.Duration) {
	s, a := t.s, &t.s.Absence
	switch {
	case !s.Batch.Active() || s.Batch == Stopping || s.Batch == Aborting:
	case t.in.PowerLost && t.in.Away == AwayUnknown:
		if !a.unknown {
			a.from, a.ran = was, s.Batch == Running || s.Batch == Restarting
		}
		a.unknown, a.back = true, t.in.Elapsed
		a.number++
		t.late = true // it may have been hours
		t.event(Event{Kind: WasAway, Away: AwayUnknown, For: a.least()})
	case t.in.PowerLost && t.in.Away != AwayAsGiven:
		t.event(Event{Kind: WasAway, Away: t.in.Away, For: t.dt})
	case t.in.Away == AwayByClock && a.unknown:
		t.settle(AwayByClock, t.in.AwayFor)
	}
}

// away decides what becomes of a batch that nobody watched: a short absence goes on
// by itself, a long one waits for the person, and after a very long one the batch is
// over. One of which nobody knows how long it was waits until somebody does. The alarm
// says so in every case, and what was not seen counts against the batch.
func (t *step) away() {
	s := t.s
	switch {
	case !s.Batch.Active() || s.Batch == Stopping || s.Batch == Aborting: // over already
	case s.Learns:
		t.abandon(EndedByAbsence)
	case t.dt <= ShortAbsence && t.in.Away != AwayUnknown:
	case t.dt > longAbsence:
		t.enter(Aborting)
	case s.Batch == Running || s.Batch == Restarting:
		t.enter(Holding)
	}
}

// settle takes in how long an unknown absence was after all. What follows is the same as
// if that had been known at once, but that a batch goes on by itself only if it has been
// without heat for a short time altogether: waiting for the answer cools as well.
func (t *step) settle(by Evidence, length time.Duration) {
	s, a := t.s, &t.s.Absence
	length = max(length, a.least())
	a.unknown = false
	t.hidden = length - a.least()
	t.event(Event{Kind: WasAway, Away: by, For: length})
	switch {
	case length > longAbsence:
		t.enter(Aborting)
	case a.ran && s.Tripped == trip.None && (s.Batch == Held || s.Batch == Holding) && t.in.Elapsed-a.from+t.hidden <= ShortAbsence:
		t.enter(Restarting)
	}
}

// mostAway bounds what a person says, so that no sum of times runs over.
const mostAway = 10000 * time.Hour

// sayAbsence takes a person's word for how long the controller was away.
func (t *step) sayAbsence() {
	waits, _ := t.s.Question()
	switch c := &t.in.Command; {
	case c.Question != waits:
		t.refuse(AnotherQuestion)
	case c.For < t.s.Absence.least():
		t.refuse(AwayTooShort)
	default:
		t.settle(AwayByPerson, min(c.For, mostAway))
		t.answered(trip.AbsenceUnknown)
	}
}

// text asks for how long it was.
func (a *absence) text() string {
	return "For how long was the controller away, from its last step to its return? The clock does not show it; it was at least " +
		quantity.FormatDuration(a.least()) + ". Say the longest that it may have been, or stop the batch; nothing heats until then"
}

// words of an event that is about an absence.
func (e *Event) absence() string {
	long := quantity.FormatDuration(e.For)
	switch e.Away {
	case AwayUnknown:
		return fmt.Sprintf("how long the controller was away is not known: the clock was not synchronised both before and after; at least %s. The batch waits for a person to say it", long)
	case AwayByBoot:
		return "the controller was away for " + long + ", by the computer's clock since boot"
	case AwayByClock:
		return "the controller was away for " + long + ", by the clock, synchronised before and after"
	case AwayByPerson:
		return "the controller was away for " + long + ", as a person says"
	}
	return "the controller was away for " + long
}
