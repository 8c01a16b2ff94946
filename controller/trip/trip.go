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
	Meaning    string
	Action     string
	// Mended is what a person claims who says that the alarm is mended, because no probe
	// can see it. Nobody makes that claim with the wish for silence: acknowledging only
	// ends the noise.
	Mended string
}

// Delays are common practice, no source.
var catalogue = [Count]Entry{
	ChamberHigh: {
		Name: "chamber-high", Priority: Now, Trips: true, Delay: time.Second, // two samples, not one
		Meaning: "The chamber is hotter than the cabinet's limit. The heater is off.",
		Action:  "If it burns: cut the mains, leave the door shut, call the fire service. Otherwise cut the mains if it still rises; reset when it has cooled.",
	},
	StageHot: {
		Name: "stage-hot", Priority: Now, Trips: true, Delay: time.Minute,
		Meaning: "The chamber is far hotter than the stage asks for. The heater is off.",
		Action:  "Look for burning fat and at the smoke generator, door shut; cut the mains if it still rises; then reset.",
	},
	HeatWhenOff: {
		Name: "heat-when-off", Priority: Now, Trips: true,
		Meaning: "The chamber gets hotter although the heater is switched off: a welded relay, or a fire.",
		Action:  "Cut the mains by hand now. This program cannot: only the thermal cut-out or the main switch can.",
	},
	HeaterWelded: {
		Name: "heater-welded", Priority: Now, Trips: true, Delay: 3 * time.Second,
		Meaning: "The heater's feedback says on although it is switched off: its relay is welded.",
		Action:  "Cut the mains by hand now and have the relay replaced by someone qualified.",
	},
	OutputFailed: {
		Name: "output-failed", Priority: Now, Trips: true,
		Meaning: "An output could not be set, so nobody knows what is on. Everything is being switched off.",
		Action:  "Look whether the heater is cold; if not, cut the mains. Check the relay's wiring, then reset.",
	},
	NoHeat: {
		Name: "no-heat", Priority: Now, Trips: true, Suppresses: []Code{HeatShort, StageOvertime, StageOverdue},
		Meaning: "The heater has been fully on and the chamber does not follow: a dead element or fuse, an open door, or a chamber probe that hangs outside or in the meat.",
		Action:  "See that the chamber probe hangs in the chamber, the door is shut and the element gets warm, then reset.",
	},
	ChamberLost: {
		Name: "chamber-lost", Priority: Now, Trips: true, Delay: 30 * time.Second, Suppresses: []Code{ChamberDoubt, HumidityUnmeasured, WickDry},
		Meaning: "No chamber probe gives a usable reading. The heater went off with the first missing one.",
		Action:  "Check the probe and its plug, then reset it and restart the batch.",
	},
	ChamberFrozen: {
		Name: "chamber-frozen", Priority: Now, Trips: true,
		Meaning: "A chamber probe has reported exactly the same value although the heater gave enough more or less than before to move it, or was on and off for three quarters of an hour.",
		Action:  "Unplug and check the probe and its front end, then reset.",
	},
	ChamberDisagree: {
		Name: "chamber-disagree", Priority: Now, Trips: true, Delay: time.Minute,
		Meaning: "Two chamber probes differ so much that one of them lies.",
		Action:  "Hang them side by side, find the wrong one and mend it; both must answer and agree before the reset. Or end the batch.",
	},
	ChamberDoubt: {
		Name: "chamber-doubt", Priority: Soon, Delay: 30 * time.Second,
		Meaning: "One of the chamber probes gives no usable reading. Another still does.",
		Action:  "Check the probe and its plug before the other one fails too.",
	},
	CoreLost: {
		Name: "core-lost", Priority: Soon, Delay: 30 * time.Second,
		Meaning: "A core probe that the batch relies on gives no usable reading. No stage can end by core.",
		Action:  "Check the probe and its plug; put it back into the middle of the piece. If it cannot be mended and another core probe sits in a piece as thick, say that you go on without it (mended core-lost).",
		Mended:  "Go on without the lost probe",
	},
	CoreOut: {
		Name: "core-out", Priority: Soon, Suppresses: []Code{CoreLost, CoreFrozen},
		Meaning: "A core reading jumped as no meat can: the probe has left it. Its readings do not count.",
		Action:  "Put the probe back into the middle of the thickest piece, then say so (mended core-out).",
		Mended:  "The probe is back in the meat",
	},
	CoreFrozen: {
		Name: "core-frozen", Priority: Soon, Suppresses: []Code{CoreLost},
		Meaning: "A core probe has reported exactly the same value for longer than its piece can stand still, half an hour at the least, although the air around it is much hotter or colder.",
		Action:  "Unplug and check the probe and its front end.",
	},
	CoreTooHot: {
		Name: "core-too-hot", Priority: Now, Trips: true, Delay: time.Minute, Suppresses: []Code{CoreLost},
		Meaning: "A core is hotter than the chamber has ever been in this batch: core and chamber probe are swapped, or one is wrong. Nobody knows how hot the chamber is; the heater is off.",
		Action:  "Check which probe is which, then reset.",
	},
	StepLate: {
		Name: "step-late", Priority: Soon,
		Meaning: "The controller was not called in time. The heater was off until it was.",
		Action:  "Look at the load of the computer; if it comes back, stop the batch.",
	},
	PowerLost: {
		Name: "power-lost", Priority: Soon, Suppresses: []Code{StepLate},
		Meaning: "The controller was away during the batch: power, a crash, or the program was started anew. What the core did meanwhile was not seen.",
		Action:  "Look at core and come-up. After more than two minutes the batch waits for you to restart it, after four hours it is over; unseen time counts against it.",
	},
	DoorOpen: {
		Name: "door-open", Priority: Later, Delay: 2 * time.Minute,
		Meaning: "The door is open. Heater, fan, smoke and humidifier wait.",
		Action:  "Shut the door.",
	},
	HeatShort: {
		Name: "heat-short", Priority: Soon,
		Meaning: "The heater is fully on and the chamber does not get any warmer, short of its setpoint.",
		Action:  "Close the damper, look at the door's seal and the mains voltage, or lower the setpoint.",
	},
	StageOvertime: {
		Name: "stage-overtime", Priority: Later,
		Meaning: "The stage lasts longer than its file expects. It goes on.",
		Action:  "Compare core and chamber with the rehearsal; check the load and the probes.",
	},
	PromptWaiting: {
		Name: "prompt-waiting", Priority: Later, Delay: 15 * time.Minute,
		Meaning: "A hand step has been waiting for its confirmation.",
		Action:  "Do it and confirm it.",
	},
	HumidityUnmeasured: {
		Name: "humidity-unmeasured", Priority: Later, Delay: 2 * time.Minute,
		Meaning: "The stage asks for a humidity, but no wet bulb gives a usable reading. The humidifier stays off.",
		Action:  "Wet the wick and fill its well, or leave humidity out of the product.",
	},
	WickDry: {
		Name: "wick-dry", Priority: Later, Delay: 10 * time.Minute, Suppresses: []Code{HumidityUnmeasured},
		Meaning: "The wet bulb reads like the dry one in a hot chamber: its wick is dry. Its readings do not count.",
		Action:  "Fill the well and change the wick.",
	},
	SmokeFuelLow: {
		Name: "smoke-fuel-low", Priority: Later,
		Meaning: "The smoke generator has had almost as much air as one filling lasts for.",
		Action:  "Refill it and say so (mended smoke-fuel-low), or let it go out.",
		Mended:  "It is filled and smoulders",
	},
	ComeUpLong: {
		Name: "come-up-long", Priority: Soon,
		Meaning: "The core has been between 10 °C and 54.4 °C for five of the six hours it may take.",
		Action:  "Raise the chamber now, or thin out the load; after six hours the batch needs an expert's eye or the bin.",
	},
	ComeUpOver: {
		Name: "come-up-over", Priority: Soon, Suppresses: []Code{ComeUpLong},
		Meaning: "The core took more than six hours from 10 °C to 54.4 °C. Toxin may have been made that no heat destroys.",
		Action:  "Do not eat or sell it on the word of this program; ask a process authority, or throw it away.",
	},
	ChillLong: {
		Name: "chill-long", Priority: Soon,
		Meaning: "The core has used four fifths of the time that its cooling rule gives it.",
		Action:  "Add ice, stir, spread the pieces; have colder air or water at hand.",
	},
	ChillOver: {
		Name: "chill-over", Priority: Soon, Suppresses: []Code{ChillLong},
		Meaning: "The core cooled more slowly than the rule allows that the product is held to.",
		Action:  "Add ice and stir; keep the batch apart and ask a process authority, or throw it away.",
	},
	RecordFailing: {
		Name: "record-failing", Priority: Soon, Delay: 30 * time.Second,
		Meaning: "The batch record cannot be written. The batch goes on, but what happens now is not kept.",
		Action:  "Free space on the disk or replace it; no new batch starts meanwhile.",
	},
	DiskLow: {
		Name: "disk-low", Priority: Later,
		Meaning: "The disk that keeps the batch records is nearly full.",
		Action:  "Move old records away before the next batch.",
	},
	ClockUnset: {
		Name: "clock-unset", Priority: Later,
		Meaning: "The computer does not know the time of day. Timers are not affected; dates in the record are wrong.",
		Action:  "Give it a network or a clock chip.",
	},
	ClockStepped: {
		Name: "clock-stepped", Priority: Later,
		Meaning: "The computer's time of day was changed during the batch. Timers are not affected.",
		Action:  "Mind it when you read times in the record.",
	},
	EmberOut: {
		Name: "ember-out", Priority: Soon, Delay: 3 * time.Minute,
		Meaning: "The smoke generator has gone out, or never caught: its ember is colder than wood that smoulders.",
		Action:  "Look at it; fill it, light it again and say so (mended ember-out). The stage's time runs on: hold the batch if it must not.",
		Mended:  "It is filled and smoulders",
	},
	EmberUnknown: {
		Name: "ember-unknown", Priority: Later, Delay: time.Minute,
		Meaning: "Nobody knows whether the smoke generator smoulders: its ember probe gives no usable reading, or it has none and was without air for so long that it may have gone out.",
		Action:  "Look at it. Light it again if it is out, check its probe, and say that it smoulders (mended ember-unknown).",
		Mended:  "It smoulders",
	},
	HeaterUnfed: {
		Name: "heater-unfed", Priority: Soon, Delay: 10 * time.Second,
		Meaning: "The heater is told on and its feedback says off: the cut-out or the limiter has opened, a fuse has blown, its relay is dead, or the feedback itself is.",
		Action:  "If the cut-out has opened, find out why before you reset it. Otherwise have fuse, relay and feedback looked at by someone qualified.",
	},
	AmbientLost: {
		Name: "ambient-lost", Priority: Later, Delay: time.Minute,
		Meaning: "The probe in the room gives no usable reading. The room is taken to be as warm as the cabinet file says, also where it is judged whether the heater works and whether something heats by itself.",
		Action:  "Check the probe and its plug. If it is gone for good, take it out of the cabinet file between two batches, and write there how warm the room is.",
	},
	StageOverdue: {
		Name: "stage-overdue", Priority: Soon, Suppresses: []Code{StageOvertime},
		Meaning: "The stage, or all heat of the batch, has lasted far longer than its file expects. Where it heats, the heat ends in an hour.",
		Action:  "See that the core probe sits in the meat and why the core does not get there. Hold and restart the batch if it shall have two hours from then.",
	},
	PromptOverdue: {
		Name: "prompt-overdue", Priority: Soon, Suppresses: []Code{PromptWaiting},
		Meaning: "A hand step has been waiting for its confirmation for an hour. Where it heats, the heat ends an hour from now.",
		Action:  "Do it and confirm it.",
	},
	HeatEnded: {
		Name: "heat-ended", Priority: Now, Suppresses: []Code{StageOverdue, StageOvertime, PromptOverdue, PromptWaiting},
		Meaning: "A hand step has waited for two hours while it heated, or the stage or the batch has heated far longer than its file expects. The heater is off and the batch is held.",
		Action:  "Look at the product: what lies half warm for hours spoils. Restart the batch, which gives two hours more, and confirm the hand step or mend what keeps the core back; or stop it.",
	},
	AbsenceUnknown: {
		Name: "absence-unknown", Priority: Soon,
		Meaning: "The controller was away during the batch, and nobody knows for how long: the clock was not synchronised both before and after. The heater is off and the batch is held.",
		Action:  "Look at the product and its core. Say for how long the controller was away, the longest that it may have been (absence); more than four hours end the batch, after less restart it. Or stop it.",
	},
	EmberBurning: {
		Name: "ember-burning", Priority: Later, Delay: 20 * time.Minute,
		Meaning: "The smoke generator still smoulders although nothing shall smoke.",
		Action:  "Do not leave it alone: put it out, or carry it outdoors onto something that cannot burn. It gives off carbon monoxide until it is cold.",
	},
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

// Next advances the alarm: now is the elapsed time, standing whether the condition
// holds in this step, suppressed whether another alarm makes it meaningless.
func (s State) Next(c Code, now time.Duration, standing, suppressed bool) (State, Change) {
	if standing && !s.Standing {
		s.Since = now
	}
	s.Standing = standing
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

// Shelve puts the alarm aside until a time, no longer than LongestShelf from now.
// A trip cannot be shelved; ok is then false.
func (s State) Shelve(c Code, now, until time.Duration) (next State, ok bool) {
	if catalogue[c].Trips || until <= now || until > now+LongestShelf {
		return s, false
	}
	s.Phase, s.Raised = Shelved, until
	return s, true
}
