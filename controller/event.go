package controller

import (
	"fmt"
	"time"

	"fumarium/controller/trip"
	"fumarium/profile"
)

// EventKind is what happened in a step.
type EventKind uint8

// The events. Each step reports its own, oldest first.
const (
	BatchChanged  EventKind = iota + 1 // Batch holds the new state
	StageBegan                         // Stage
	StageEnded                         // Stage, By
	Asked                              // Stage: a hand step waits for the person
	Answered                           // Stage: the person confirmed
	AlarmRaised                        // Alarm
	AlarmReturned                      // Alarm: its condition is gone
	Tripped                            // Alarm: the heater is latched off
	TripReset                          // Alarm
	Refused                            // Command, Why
	WasAway                            // Away, For: how long the controller was, as far as it is known
	Bent                               // Stage, Bend: what a person has changed of it
	Abandoned                          // Stage, By: an experiment by which the cabinet would have learned
	Parted                             // Probe, For: a core probe was out of sight for so long, and may be another now
)

// Refusal says why a command was refused.
type Refusal uint8

// The refusals.
const (
	NotInThisState Refusal = iota + 1
	NothingToConfirm
	StillTripped
	NotTripped
	ChamberUnread
	ChamberTooHotForCabinet
	NothingToRun
	UnknownCommand
	RestNotOver
	RecordNotKept
	CannotShelve
	LastCore
	AnotherQuestion
	NotToMend
	NotStanding
	LastChamber
	NoneLost
	PutAside
	AbsenceKnown
	AbsenceUnanswered
	AwayTooShort
	ProbesDoubted
	NoSuchProbe
	NotStill
	InTheMeat
	BoardTooCold
	NoReason
	AnotherStage
	NothingBent
	NotInThisStage
	ChamberOutOfBounds
	CoreOutOfBounds
	TimeOutOfBounds
	SmokeOutOfBounds
	HandStepFirst
	NothingHeats
	NothingToLearn
	ChamberWarm
	NotWhileLearning
)

var refusalText = [...]string{
	NotInThisState:          "not possible in this state of the batch",
	NothingToConfirm:        "nothing waits for a confirmation",
	StillTripped:            "a trip is latched; remove its cause and reset it first",
	NotTripped:              "no trip is latched",
	ChamberUnread:           "no chamber probe gives a usable reading; check the probe first",
	ChamberTooHotForCabinet: "a stage asks for a chamber within " + profile.ChamberMargin.String() + " of this cabinet's limit; lower it, or take another cabinet",
	NothingToRun:            "no product with stages is loaded",
	UnknownCommand:          "no such command",
	LastCore:                "no other core probe answers; mend this one, or stop the batch",
	RecordNotKept:           "the record cannot be written; free the disk first",
	CannotShelve:            "only an alarm that has come up can be shelved, no trip, and none for more than eight hours",
	AnotherQuestion:         "another question waits now; read it first",
	NotToMend:               "this alarm needs nobody's word: it ends by itself when its cause is gone",
	AbsenceKnown:            "nobody asks for how long the controller was away",
	AbsenceUnanswered:       "nobody knows for how long the controller was away; say that first (absence), or stop the batch",
	AwayTooShort:            "the computer itself has been up for longer than that; say for how long the controller was away altogether",
	NotStanding:             "this alarm does not stand, so there is nothing to say of it",
	LastChamber:             "no other chamber probe answers; mend this one, or stop the batch",
	NoneLost:                "every probe that is in use has answered within the last half minute; unplug the one that is to be left out",
	PutAside:                "this alarm is put aside; acknowledge it by its name, look at it, and say so again",
	ProbesDoubted:           "a probe does not read what it should before a start; mend it, or give a reason to start nevertheless",
	NoSuchProbe:             "there is no chamber or core probe of that name",
	NotStill:                "the probe's reading has not stood still for half a minute; stir the ice water and wait",
	InTheMeat:               "in a batch only a core probe that is out of the meat, or not in it yet, is judged in ice water; the others wait until it is over",
	BoardTooCold:            "it reads right, but the board of its front end is about as cold as the ice, or nobody knows how warm it is: a wrong wire does not show there. Warm the room and show it again, or calibrate it (wiring calibrate)",
	NoReason:                "say why; the reason goes on the record",
	AnotherStage:            "another stage is under way now; look at it first",
	NothingBent:             "nothing of the stage is to change; say what: its chamber, its core, its time or its smoke",
	NotInThisStage:          "this stage has none of what is to change: a chamber to heat, a core or a time that it waits for, or a smoke pump and product in the chamber",
	ChamberOutOfBounds:      "the chamber must stay hotter than the core that the stage waits for, " + profile.ChamberMargin.String() + " below this cabinet's limit, and within what the product's process allows",
	CoreOutOfBounds:         "a core gets no hotter than the chamber around it, and no file asks for more than 100 °C",
	TimeOutOfBounds:         "the stage would outlast the end of its heat, or last for no time; make it shorter, and restart the batch should its heat end",
	SmokeOutOfBounds:        "an ember needs more air than that; take more, or none",
	HandStepFirst:           "the product is still being hung; answer that first, or stop the batch",
	NothingHeats:            "nothing heats in this stage or after it, so there is no cooking to end",
	NothingToLearn:          "this product is none to learn by: start it as a batch",
	ChamberWarm:             "the chamber is warmer than the room: let it and its walls cool down, best overnight, then it can learn",
	NotWhileLearning:        "a cabinet that learns is neither held nor changed; stop it, and begin anew",
	RestNotOver:             "the cure has not rested long enough; say when the product was stuffed, wait, or give a reason",
}

func (r Refusal) String() string {
	if int(r) < len(refusalText) {
		return refusalText[r]
	}
	return "refused"
}

// EndedBy is what ended a stage.
type EndedBy uint8

// The things that end a stage.
const (
	EndedByTime EndedBy = iota + 1
	EndedByCore
	EndedByLethality
	EndedByPerson
	EndedBySkip // a person ended it before its time
	EndedByShown
	EndedByDoor
	EndedByTrip
	EndedByAbsence
)

func (e EndedBy) String() string {
	switch e {
	case EndedByTime:
		return "after"
	case EndedByCore:
		return "core"
	case EndedByLethality:
		return "lethality"
	case EndedByPerson:
		return "confirm"
	case EndedBySkip:
		return "skip"
	case EndedByShown:
		return "shown"
	case EndedByDoor:
		return "door"
	case EndedByTrip:
		return "trip"
	case EndedByAbsence:
		return "absence"
	}
	return ""
}

func (e EndedBy) words() string {
	switch e {
	case EndedByTime:
		return "its time is over"
	case EndedByCore:
		return "the core has reached its target"
	case EndedByLethality:
		return "the lethality is reached"
	case EndedByPerson:
		return "the person confirmed"
	case EndedBySkip:
		return "a person ended it before its time"
	case EndedByShown:
		return "the chamber has shown how it answers"
	case EndedByDoor:
		return "the door was opened, or its switch could not be read"
	case EndedByTrip:
		return "it tripped"
	case EndedByAbsence:
		return "the controller was away meanwhile"
	}
	return "its conditions are met"
}

// An Event is one thing that happened, for log, page and record. Which fields
// mean something depends on Kind.
type Event struct {
	At      time.Duration `record:"at"`
	Kind    EventKind     `record:"kind"`
	Batch   BatchState    `record:"batch"`
	Stage   int           `record:"stage"`
	By      EndedBy       `record:"by"`
	Alarm   trip.Code     `record:"alarm"`
	Command CommandKind   `record:"command"`
	Why     Refusal       `record:"why"`
	Part    QuestionPart  `record:"question"` // of the stage, that is asked or answered
	Here    trip.Parts    `record:"parts"`    // of the cabinet: what an alarm may ask for
	Away    Evidence      `record:"away"`
	For     time.Duration `record:"for"` // of an absence; of a stage that a person bends or ends, by its own clock; of a probe out of sight
	Bend    Bend          `record:"bend"`
	Probe   uint8         `record:"probe"` // of the core, from 1
	Drift   Drift         `record:"drift"` // of the cabinet
}

// Text says the event in words; p is the product of the batch and may be nil.
func (e Event) Text(p *profile.Product) string {
	stage := fmt.Sprintf("stage %d", e.Stage+1)
	if p != nil && e.Stage >= 0 && e.Stage < len(p.Stages) {
		stage = "stage " + p.Stages[e.Stage].Name
	}
	switch e.Kind {
	case BatchChanged:
		return "batch " + e.Batch.String()
	case StageBegan:
		return stage + " begins"
	case StageEnded:
		return stage + " ends: " + e.By.words()
	case Asked:
		return stage + " waits for the person: " + e.Prompt(p)
	case Answered:
		return stage + " confirmed by the person"
	case AlarmRaised:
		entry := e.Alarm.Entry()
		return fmt.Sprintf("alarm %s (%s): %s %s", entry.Name, entry.Priority, e.Drift.Beside(entry.Meaning), entry.Do(e.Here))
	case AlarmReturned:
		return "alarm " + e.Alarm.String() + " over"
	case Tripped:
		return "trip " + e.Alarm.String() + ": heater latched off until reset"
	case TripReset:
		return "trip " + e.Alarm.String() + " reset by the person"
	case Refused:
		return e.Command.String() + " refused: " + e.Why.String()
	case Bent:
		return stage + " changed by the person: " + e.Bend.String()
	case WasAway:
		return e.absence()
	case Parted:
		return e.parted()
	case Abandoned:
		return stage + " abandoned, and nothing is learned of it: " + e.By.words() + "; the heater is off"
	}
	return "unknown event"
}

// Prompt is the text of the hand step that an Asked or Answered event is about; p is
// the product of the batch and may be nil.
func (e Event) Prompt(p *profile.Product) string {
	if p == nil || e.Stage < 0 || e.Stage >= len(p.Stages) {
		return "see the product file"
	}
	stage := &p.Stages[e.Stage]
	if i := int(e.Part) - int(firstCondition); i >= 0 && i < len(stage.Until.Conditions) {
		return stage.Until.Conditions[i].Confirm
	}
	if e.By == EndedByPerson { // as events were recorded that do not say which
		for _, c := range stage.Until.Conditions {
			if c.Kind == profile.Confirmed {
				return c.Confirm
			}
		}
	}
	return stage.Ask
}
