// Package trip is the catalogue of alarms and trips and the life of each alarm.
// One entry serves the log, the page, the metrics and the record. It decides
// nothing by itself: the controller says whether a condition stands, this room
// remembers what follows from that.
//
// Alarm states are those of ISA-18.2 / IEC 62682. The standard wants priorities by how
// soon a person must act and fixes no words for them; ours are now, soon and later. A
// trip is an automatic action that latches (usage of IEC 61511): the heater stays off
// until a person resets it and the condition is gone.
package trip

import (
	"math/bits"
	"time"
)

// A Code names one alarm of the catalogue.
type Code uint8

// The alarms. None is the zero value and never stands.
const (
	None Code = iota
	ChamberHigh
	StageHot
	HeatWhenOff
	HeaterWelded
	OutputFailed
	NoHeat
	ChamberLost
	ChamberFrozen
	ChamberDisagree
	ChamberDoubt
	CoreLost
	CoreOut
	CoreFrozen
	CoreTooHot
	StepLate
	PowerLost
	DoorOpen
	HeatShort
	StageOvertime
	PromptWaiting
	HumidityUnmeasured
	WickDry
	SmokeFuelLow
	ComeUpLong
	ComeUpOver
	ChillLong
	ChillOver
	RecordFailing
	DiskLow
	ClockUnset
	ClockStepped
	EmberOut // new codes go to the end: records hold their numbers
	EmberUnknown
	EmberBurning
	HeaterUnfed
	AmbientLost
	StageOverdue
	PromptOverdue
	HeatEnded
	AbsenceUnknown
	CalibrationOff
	HeatUnanswered
	CoreOutrunsChamber
	DisplayDead
	ButtonStuck
	RelayWorn
	CopiesFailing
	HumidityNotReached
	ChamberTooWarm
	CabinetDrifted
	Count // number of codes, for arrays
)

// A Set is any number of alarms, a bit for each code. Zero is none.
type Set uint64

// If is the alarm alone if that is true, and none otherwise.
func (c Code) If(stands bool) Set {
	if stands {
		return 1 << c
	}
	return 0
}

// Has reports whether the alarm is in the set.
func (s Set) Has(c Code) bool { return s>>c&1 != 0 }

// Each gives the alarms of the set in the order of their codes.
func (s Set) Each(yield func(Code) bool) {
	for ; s != 0; s &= s - 1 {
		if !yield(Code(bits.TrailingZeros64(uint64(s)))) {
			return
		}
	}
}

// A Priority says how soon the person has to act. Its number is the one that is shown.
type Priority uint8

// The priorities, the most pressing first. Zero is no alarm.
const (
	Now        Priority = iota + 1 // somebody or the batch is in danger
	Soon                           // the batch is in question
	Later                          // when you next come by
	Priorities                     // one past the last, for loops
)

func (p Priority) String() string {
	switch p {
	case Now:
		return "now"
	case Soon:
		return "soon"
	case Later:
		return "later"
	}
	return "none"
}

// Loud reports whether an alarm of this priority sounds the sounder and is loud in
// the chart.
func (p Priority) Loud() bool { return p == Now || p == Soon }

// An Entry is one alarm as people read it.
type Entry struct {
	Name     string // fixed name in records, metrics and rules
	Priority Priority
	Trips    bool          // the heater goes off and stays off until reset
	Delay    time.Duration // the condition must stand so long first
	// Suppresses lists alarms that mean nothing while this one stands. A trip is
	// never suppressed.
	Suppresses []Code
	Needs      Parts    // without these no cabinet has the alarm
	Meaning    string   // true of every cabinet that has it
	Action     string   // what can be done in each of them
	More       []Advice // what can be done besides in some
	// Mended is what a person claims who says that the alarm is mended, because no probe
	// can see it. Nobody makes that claim with the wish for silence: acknowledging only
	// ends the noise.
	Mended     string
	MendedWith Parts // where it can be claimed
}

// Entry looks the code up in the catalogue. An unknown code gives an empty one.
func (c Code) Entry() Entry {
	if c >= Count {
		return Entry{}
	}
	return catalogue[c]
}

func (c Code) String() string { return c.Entry().Name }

// Parse finds the code of an alarm's fixed name.
func Parse(name string) (Code, bool) {
	for c := None + 1; c < Count; c++ {
		if catalogue[c].Name == name {
			return c, true
		}
	}
	return None, false
}

// A Phase is the state of one alarm.
type Phase uint8

// The ISA-18.2 states. Out of service is not offered: a probe or an output that is
// not there is left out of the cabinet file.
const (
	Normal Phase = iota
	Unacknowledged
	Acknowledged
	ReturnedUnacknowledged
	Shelved
	SuppressedByDesign
	Phases // number of phases, for loops
)

func (p Phase) String() string {
	switch p {
	case Unacknowledged:
		return "unacknowledged"
	case Acknowledged:
		return "acknowledged"
	case ReturnedUnacknowledged:
		return "returned unacknowledged"
	case Shelved:
		return "shelved"
	case SuppressedByDesign:
		return "suppressed by design"
	}
	return "normal"
}

// LongestShelf is how long an alarm may be put aside; common practice, no source.
const LongestShelf = 8 * time.Hour

// State is the life of one alarm so far. The zero value is normal.
type State struct {
	Phase    Phase         `record:"phase"`
	Standing bool          `record:"standing"` // the condition holds now, perhaps still within its delay
	Since    time.Duration `record:"since"`    // when the condition last began to hold
	Raised   time.Duration `record:"raised"`   // when the alarm last came up; of a shelved one, when it comes back
}

// Unwatched is the alarm after a time in which nobody watched, which began at elapsed
// time then. A delay that was running starts again: a condition seen before and after
// need not have stood between. What has come up stays.
func (s State) Unwatched(c Code, then time.Duration) State {
	if !s.Active(c, then) {
		s.Standing = false
	}
	return s
}

// Change is what a step did to an alarm.
type Change uint8

// Unchanged is the zero value.
const (
	Unchanged Change = iota
	Raised
	Returned
)

// Quiet reports that nothing stands and nobody is called.
func (s State) Quiet() bool { return !s.Standing && s.Phase == Normal }

// Calls reports whether nobody has answered the alarm yet, though its condition may be
// gone.
func (s State) Calls() bool { return s.Phase == Unacknowledged || s.Phase == ReturnedUnacknowledged }

// Active reports whether the alarm's condition stands and has outlasted its delay,
// whoever knows of it.
func (s State) Active(c Code, now time.Duration) bool {
	return s.Standing && now-s.Since >= catalogue[c].Delay
}

// Seen takes in whether the condition holds in this step.
func (s State) Seen(now time.Duration, standing bool) State {
	if standing && !s.Standing {
		s.Since = now
	}
	s.Standing = standing
	return s
}

// Next advances the alarm: now is the elapsed time, standing whether the condition
// holds in this step, suppressed whether another alarm makes it meaningless.
func (s State) Next(c Code, now time.Duration, standing, suppressed bool) (State, Change) {
	s = s.Seen(now, standing)
	active := s.Active(c, now)
	switch s.Phase {
	case Shelved:
		if now < s.Raised {
			return s, Unchanged
		}
		s.Phase = Normal
	case SuppressedByDesign:
		if suppressed && active {
			return s, Unchanged
		}
		s.Phase, s.Since = Normal, now // its delay begins when it means something again
		active = s.Active(c, now)
	}
	if suppressed && active && !catalogue[c].Trips {
		s.Phase = SuppressedByDesign
		return s, Unchanged
	}
	switch {
	case active && (s.Phase == Normal || s.Phase == ReturnedUnacknowledged):
		s.Phase, s.Raised = Unacknowledged, now
		return s, Raised
	case !standing && s.Phase == Unacknowledged:
		s.Phase = ReturnedUnacknowledged
		return s, Returned
	case !standing && s.Phase == Acknowledged:
		s.Phase = Normal
		return s, Returned
	}
	return s, Unchanged
}

// Acknowledge is what the person does on reading it.
func (s State) Acknowledge() State {
	switch s.Phase {
	case Unacknowledged:
		s.Phase = Acknowledged
	case ReturnedUnacknowledged:
		s.Phase = Normal
	}
	return s
}

// Unshelve takes the alarm off the shelf, by a person who knows of it.
func (s State) Unshelve() State {
	if s.Phase != Shelved {
		return s
	}
	s.Phase = Normal
	if s.Standing {
		s.Phase = Acknowledged
	}
	return s
}

// Shelve puts the alarm aside until a time, no longer than LongestShelf from now.
// A trip cannot be shelved; ok is then false.
func (s State) Shelve(c Code, now, until time.Duration) (next State, ok bool) {
	if catalogue[c].Trips || until <= now || until > now+LongestShelf {
		return s, false
	}
	s.Phase, s.Raised = Shelved, until
	return s, true
}
