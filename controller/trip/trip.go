// Package trip is the catalogue of alarms and trips and the life of each alarm.
// One entry serves the log, the page, the metrics and the record. It decides
// nothing by itself: the controller says whether a condition stands, this room
// remembers what follows from that.
//
// Alarm states and priorities are those of ISA-18.2 / IEC 62682. A trip is an
// automatic action that latches (usage of IEC 61511): the heater stays off until
// a person resets it and the condition is gone.
package trip

import "time"

// A Code names one alarm of the catalogue.
type Code uint8

// The alarms. None is the zero value and never stands.
const (
	None Code = iota
	ChamberHigh
	ChamberLost
	CoreLost
	StepLate
	StageOvertime
	PromptWaiting
	HumidityUnmeasured
	ComeUpLong
	ComeUpOver
	ChillOver
	Count // number of codes, for arrays
)

// A Priority says how fast the person has to act.
type Priority uint8

// The priorities, in rising order.
const (
	Low Priority = iota + 1
	High
	Urgent
)

func (p Priority) String() string {
	switch p {
	case Low:
		return "low"
	case High:
		return "high"
	case Urgent:
		return "urgent"
	}
	return "none"
}

// An Entry is one alarm as people read it.
type Entry struct {
	Name     string // fixed name in records, metrics and rules
	Priority Priority
	Trips    bool          // the heater goes off and stays off until reset
	Delay    time.Duration // the condition must stand so long first
	Meaning  string
	Action   string
}

var catalogue = [Count]Entry{
	ChamberHigh: {
		Name: "chamber-high", Priority: Urgent, Trips: true,
		Meaning: "The chamber is hotter than the cabinet's limit. The heater is off.",
		Action:  "Keep the door shut, cut the mains if it still rises, look for fire, then reset.",
	},
	ChamberLost: {
		Name: "chamber-lost", Priority: Urgent, Trips: true, Delay: 30 * time.Second,
		Meaning: "No chamber probe gives a usable reading. The heater went off with the first missing one.",
		Action:  "Check the probe and its plug, then reset and resume.",
	},
	CoreLost: {
		Name: "core-lost", Priority: High, Delay: 30 * time.Second,
		Meaning: "A core probe that the batch relies on gives no usable reading. No stage can end by core.",
		Action:  "Check the probe and its plug; put it back into the middle of the piece.",
	},
	StepLate: {
		Name: "step-late", Priority: High,
		Meaning: "The controller was not called in time. The heater was off until it was.",
		Action:  "Look at the load of the computer; if it comes back, stop the batch.",
	},
	StageOvertime: {
		Name: "stage-overtime", Priority: Low,
		Meaning: "The stage lasts longer than its file expects. It goes on.",
		Action:  "Compare core and chamber with the rehearsal; check the load and the probes.",
	},
	PromptWaiting: {
		Name: "prompt-waiting", Priority: Low, Delay: 15 * time.Minute,
		Meaning: "A hand step has been waiting for its confirmation.",
		Action:  "Do it and confirm it.",
	},
	ComeUpLong: {
		Name: "come-up-long", Priority: High,
		Meaning: "The core has been between 10 °C and 54.4 °C for five of the six hours it may take.",
		Action:  "Raise the chamber now, or thin out the load; after six hours the batch needs an expert's eye or the bin.",
	},
	ComeUpOver: {
		Name: "come-up-over", Priority: High,
		Meaning: "The core took more than six hours from 10 °C to 54.4 °C. Toxin may have been made that no heat destroys.",
		Action:  "Do not eat or sell it on the word of this program; ask a process authority, or throw it away.",
	},
	ChillOver: {
		Name: "chill-over", Priority: High,
		Meaning: "The core cooled more slowly than the rule allows that the product is held to.",
		Action:  "Add ice and stir; keep the batch apart and ask a process authority, or throw it away.",
	},
	HumidityUnmeasured: {
		Name: "humidity-unmeasured", Priority: Low, Delay: 2 * time.Minute,
		Meaning: "The stage asks for a humidity, but no wet bulb gives a usable reading. The humidifier stays off.",
		Action:  "Wet the wick and fill its well, or leave humidity out of the product.",
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

// The ISA-18.2 states that this version knows.
const (
	Normal Phase = iota
	Unacknowledged
	Acknowledged
	ReturnedUnacknowledged
)

func (p Phase) String() string {
	switch p {
	case Unacknowledged:
		return "unacknowledged"
	case Acknowledged:
		return "acknowledged"
	case ReturnedUnacknowledged:
		return "returned unacknowledged"
	}
	return "normal"
}

// State is the life of one alarm so far. The zero value is normal.
type State struct {
	Phase    Phase
	Standing bool          // the condition holds now, perhaps still within its delay
	Since    time.Duration // when the condition last began to hold
	Raised   time.Duration // when the alarm last came up
}

// Change is what a step did to an alarm.
type Change uint8

// Unchanged is the zero value.
const (
	Unchanged Change = iota
	Raised
	Returned
)

// Next advances the alarm: now is the elapsed time, standing whether the
// condition holds in this step.
func (s State) Next(c Code, now time.Duration, standing bool) (State, Change) {
	if standing && !s.Standing {
		s.Since = now
	}
	s.Standing = standing
	switch {
	case standing && (s.Phase == Normal || s.Phase == ReturnedUnacknowledged):
		if now-s.Since < catalogue[c].Delay {
			return s, Unchanged
		}
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
