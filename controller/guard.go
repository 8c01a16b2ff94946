package controller

import (
	"time"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// CommandKind is what the operator wants.
type CommandKind uint8

// The commands. The zero value asks for nothing. Records hold their numbers.
const (
	NoCommand CommandKind = iota
	Start
	Confirm // the question that is named
	Hold
	Restart // a held batch, where it was held
	Stop
	Abort
	// oldAcknowledge is Acknowledge as records hold it that are older than Mended: by
	// name it was a claim once the alarm was known. It is replayed, and never sent.
	oldAcknowledge
	Shelve      // one alarm, for a while
	Reset       // a trip whose condition is gone
	Acknowledge // every alarm, or the one named: it ends the noise and claims nothing
	Mended      // what the catalogue says of the alarm named: a person's word, which is believed
	Absence     // for how long the controller was away: a person's word as well
	Ice         // the probe named is in ice water: a person's word, and what it reads is held against it
	Adjust      // the stage that is named, and no other
	Skip        // the rest of the stage that is named
	EndCooking  // in the stage that is named, and whatever else heats: on to what comes after the heat
	Tune        // an experiment by which the cabinet learns: see Experiment
	CommandKinds
)

// A Command is one operator command; a step takes at most one.
type Command struct {
	Kind     CommandKind   `record:"kind"`
	Alarm    trip.Code     `record:"alarm"` // for Acknowledge, where None means all, Shelve and Mended
	For      time.Duration `record:"for"`   // for Shelve and Absence
	Question Question      `record:"."`     // for Confirm and Absence; the stage that is meant, for Adjust, Skip and EndCooking
	Probe    uint8         `record:"probe"` // for Ice: one more than its slot
	// Rested is how long the cure has worked, for Start. A start before the
	// product's rest is over is refused unless the person gave a reason.
	Rested  time.Duration `record:"rested"`
	Excused bool          `record:"excused"` // a reason was given; it goes on the record
	Bend    Bend          `record:"bend"`    // for Adjust
	// CoreError is how far a core probe of the cabinet may be wrong, for Start. It comes
	// with the command, and not from the cabinet, so that a batch of before there was such
	// an error replays without.
	CoreError quantity.Kelvin `record:"core_error_kelvin"`
	// Unshown are the core probes that no calibration speaks for, a bit for each, for Start:
	// until one is shown in ice water, what it shows proves nothing. It comes with the
	// command for the same reason, and because only the caller knows what day it is.
	Unshown uint8 `record:"cores_unshown_mask"`
	// Where is the place whose rules the batch is held to, for Start: the product's own, or
	// the one that was set. It comes with the command, so that a batch is judged to its end,
	// and whenever it is replayed, by what was set when it began.
	Where profile.Jurisdiction `record:"jurisdiction"`
	// Edition is which rules of this program the batch is held to, for Start; with the
	// command for the same reason. Zero, in records from before, is the first.
	Edition proof.Edition `record:"rules_edition"`
}

// With is what goes with a command: a bit for each part.
type With uint8

// The parts.
const (
	WithProduct  With = 1 << iota // and when it was stuffed, or why it need not rest
	WithAlarm                     // its name
	WithDuration                  // for how long
	WithQuestion
	WithProbe  // its name
	WithStage  // the one that the person has read, so that no other is changed
	WithReason // which goes on the record
	WithBend   // what of the stage is to change
)

// A guard is what a command is called, what goes with it, and when it is of use. The
// step, the page, the API and the command line go by the same one.
type guard struct {
	name  string
	needs With      // without these it is not sent
	takes With      // and these may go with it
	in    batchSet  // the states that do not refuse it; zero is all
	trip  tripGuard // what it wants of a latched trip
	// of says which alarms it is for; without one it changes nothing and is not offered.
	// Nil is for a command that is not about alarms.
	of func(trip.Code, trip.State) bool
}

// batchSet is some states of a batch, a bit for each and one for all that there are not:
// a batch in a state that nobody knows can still be ended.
type batchSet uint16

func in(states ...BatchState) (set batchSet) {
	for _, b := range states {
		set |= 1 << b
	}
	return set
}

func (set batchSet) has(b BatchState) bool { return set == 0 || set>>min(b, BatchStates)&1 != 0 }

// tripGuard is what a command wants of a latched trip.
type tripGuard uint8

const (
	anyTrip tripGuard = iota
	untripped
	tripped
)

var guards = [CommandKinds]guard{
	NoCommand:      {name: "none"},
	Start:          {name: "start", needs: WithProduct, in: in(Idle, Stopped, Aborted, Complete), trip: untripped},
	Confirm:        {name: "confirm", needs: WithQuestion, in: in(Running)},
	Hold:           {name: "hold", in: in(Running, Restarting)},
	Restart:        {name: "restart", in: in(Held), trip: untripped},
	Stop:           {name: "stop", in: in(Running, Holding, Held, Restarting, BatchStates)},
	Abort:          {name: "abort", in: in(Running, Holding, Held, Restarting, Stopping, BatchStates)},
	oldAcknowledge: {name: "acknowledge"},
	Shelve:         {name: "shelve", needs: WithAlarm | WithDuration, of: func(c trip.Code, a trip.State) bool { return a.Phase != trip.Normal && !c.Entry().Trips }},
	Reset:          {name: "reset", trip: tripped},
	Acknowledge:    {name: "acknowledge", takes: WithAlarm, of: func(_ trip.Code, a trip.State) bool { return a.Calls() }},
	Mended:         {name: "mended", needs: WithAlarm, of: func(c trip.Code, a trip.State) bool { return a.Standing && c.Entry().Mended != "" }},
	Absence:        {name: "absence", needs: WithQuestion | WithDuration, in: in(Holding, Held)},
	Ice:            {name: "ice", needs: WithProbe}, // in a batch for a core that is not in the meat
	Adjust:         {name: "adjust", needs: WithStage | WithReason | WithBend, in: in(Running, Held)},
	Skip:           {name: "skip", needs: WithStage | WithReason, in: in(Running, Held)},
	EndCooking:     {name: "end-cooking", needs: WithStage | WithReason, in: in(Running, Held)},
	Tune:           {name: "tune", in: in(Idle, Stopped, Aborted, Complete), trip: untripped},
}

// Commands lists what a person can send, in the order in which it is shown.
func Commands() []CommandKind {
	return []CommandKind{Start, Confirm, Absence, Hold, Restart, Adjust, Skip, EndCooking, Stop, Abort, Acknowledge, Mended, Shelve, Reset, Ice, Tune}
}

// ParseCommand finds a command that a person can send by its name.
func ParseCommand(name string) (CommandKind, bool) {
	for _, k := range Commands() {
		if guards[k].name == name {
			return k, true
		}
	}
	return NoCommand, false
}

// Begins reports whether the command starts a batch.
func (k CommandKind) Begins() bool { return k == Start || k == Tune }

func (k CommandKind) String() string {
	if k < CommandKinds {
		return guards[k].name
	}
	return quantity.Unknown
}

// Needs is what has to go with the command.
func (k CommandKind) Needs() With {
	if k < CommandKinds {
		return guards[k].needs
	}
	return 0
}

// Takes is what may go with the command, needed or not.
func (k CommandKind) Takes() With {
	if k < CommandKinds {
		return guards[k].needs | guards[k].takes
	}
	return 0
}

// Refused is why the state alone refuses the command, whatever goes with it; zero if it
// does not.
func (k CommandKind) Refused(s *State) Refusal {
	if k >= CommandKinds {
		return UnknownCommand
	}
	g := &guards[k]
	q, waits := s.Question()
	switch {
	case k == Absence && q.Absence == 0:
		return AbsenceKnown
	case k == Confirm && q.Absence > 0:
		return NothingToConfirm
	case q.Absence > 0 && (k == Restart || g.needs&WithStage != 0):
		return AbsenceUnanswered
	case g.needs&WithQuestion != 0 && !(waits && g.in.has(s.Batch)):
		return NothingToConfirm
	case s.Learns && s.Batch.Active() && (k == Hold || k == Restart || g.needs&WithStage != 0):
		return NotWhileLearning
	case !g.in.has(s.Batch), k == Ice && s.Batch.Active() && !s.Core.anyOut() && !s.hanging():
		return NotInThisState
	case g.trip == untripped && s.Tripped != trip.None:
		return StillTripped
	case g.trip == tripped && s.Tripped == trip.None:
		return NotTripped
	}
	return 0
}

// Offered reports whether the command would be of use now. The step still judges it.
func (k CommandKind) Offered(s *State) bool {
	if k == NoCommand || k.Refused(s) != 0 {
		return false
	}
	of := guards[k].of
	for c := trip.None + 1; of != nil && c < trip.Count; c++ {
		if of(c, s.Alarms[c]) {
			return true
		}
	}
	return of == nil
}
