package controller

import (
	"time"

	"fumarium/controller/trip"
	"fumarium/profile/quantity"
)

func (t *step) refuse(why Refusal) {
	t.event(Event{Kind: Refused, Command: t.in.Command.Kind, Why: why})
}

func (t *step) command() {
	s, k := t.s, t.in.Command.Kind
	if k == NoCommand {
		return
	}
	if k == Reset && s.Tripped == trip.NoHeat { // the next full heat shows whether it is mended
		s.Heater.noHeat, s.Heater.fullFor = false, 0
	}
	if why := k.Refused(s); why != 0 {
		t.refuse(why)
		return
	}
	switch k {
	case Start:
		t.start()
	case Confirm:
		t.confirm()
	case Hold:
		s.HeatTime.unanswered = 0
		t.answered(trip.PromptWaiting, trip.PromptOverdue)
		t.enter(Holding)
	case Restart:
		s.HeatTime.again(t)
		t.answered(trip.PromptOverdue, trip.StageOverdue, trip.HeatEnded)
		t.enter(Restarting)
	case Stop:
		t.answered(trip.PromptWaiting, trip.PromptOverdue, trip.StageOvertime, trip.StageOverdue, trip.HeatEnded)
		t.enter(Stopping)
	case Abort:
		t.answered(trip.PromptWaiting, trip.PromptOverdue, trip.StageOvertime, trip.StageOverdue, trip.HeatEnded)
		t.enter(Aborting)
	case oldAcknowledge:
		t.oldAcknowledge()
	case Shelve:
		t.shelve()
	case Reset:
		t.reset()
	case Acknowledge:
		t.acknowledge()
	case Mended:
		t.mended()
	case Absence:
		t.sayAbsence()
	case Ice:
		t.ice()
	case Adjust, Skip, EndCooking:
		t.bend()
	case Tune:
		t.tune()
	}
}

// answered ends the call of alarms whose cause the person removes by this very command:
// there is nothing left to come for. One that they did not know of yet counts as
// acknowledged by it.
func (t *step) answered(codes ...trip.Code) {
	for _, c := range codes {
		t.s.Alarms[c] = t.s.Alarms[c].Acknowledge()
	}
}

// acknowledge ends the noise of one alarm, or of all, and takes one that is named off the
// shelf. Said again it changes nothing.
func (t *step) acknowledge() {
	named := t.in.Command.Alarm
	if named != trip.None && named < trip.Count {
		t.s.Alarms[named] = t.s.Alarms[named].Unshelve()
	}
	t.acknowledgeAll(named)
}

// acknowledgeAll ends the noise of the alarm named, or of all.
func (t *step) acknowledgeAll(named trip.Code) {
	for c := trip.None + 1; c < trip.Count; c++ {
		if named == trip.None || named == c {
			t.s.Alarms[c] = t.s.Alarms[c].Acknowledge()
		}
	}
}

// mended takes a person's word for what no probe can see. It is a command of its own,
// so that neither the wish for silence nor a retry can be taken for it.
func (t *step) mended() {
	c := t.in.Command.Alarm
	switch {
	case c.Entry().Mended == "":
		t.refuse(NotToMend)
	case !t.mendable(c):
		t.refuse(NotStanding)
	case leavesOut.Has(c) && t.s.Alarms[c].Phase == trip.Shelved:
		t.refuse(PutAside)
	default:
		if why := t.claim(c, leftOutAfter); why != 0 {
			t.refuse(why)
			return
		}
		t.answered(c)
	}
}

// leavesOut are the alarms with which a person gives up a probe. That takes an alarm that
// has come up and was not put aside: nobody gives one up for a plug that is loose for a
// moment, nor in passing.
var leavesOut = trip.CoreLost.If(true) | trip.ChamberDoubt.If(true) | trip.ChamberDisagree.If(true)

// leftOutAfter is for how long a probe must have been silent to be left out: until the
// loss of it would have come up by itself.
var leftOutAfter = trip.CoreLost.Entry().Delay

// mendable reports whether it means something now to say that the alarm is mended: it
// stands, or it is about a smoke generator that shall smoulder, which may be filled
// before it is low.
func (t *step) mendable(c trip.Code) bool {
	fill := c == trip.SmokeFuelLow || c == trip.EmberOut
	if leavesOut.Has(c) {
		return t.s.Alarms[c].Active(c, t.in.Elapsed)
	}
	return t.s.Alarms[c].Standing || fill && t.s.smoking(t.stage(), t.m.cabinet)
}

// claim carries out what the catalogue says of an alarm that is mended, or refuses it. A
// probe that was silent for less than that is kept.
func (t *step) claim(c trip.Code, silent time.Duration) Refusal {
	s := t.s
	switch c {
	case trip.CoreOut:
		s.Core.reseat(t.in.Elapsed)
		s.Evidence.reseated(&s.Core)
		s.Reseat(t.in.Elapsed)
	case trip.CoreLost:
		return s.Core.leaveOut(t.in, silent)
	case trip.ChamberDoubt, trip.ChamberDisagree:
		return s.Chamber.leaveOut(t.in, silent)
	case trip.SmokeFuelLow, trip.EmberOut:
		s.Smoke.lit()
		t.answered(trip.SmokeFuelLow, trip.EmberOut) // it is filled and smoulders: that answers both
	case trip.CalibrationOff:
		s.Evidence.mended()
	case trip.EmberUnknown:
		s.Smoke.doubt, s.Smoke.seen = false, false
	}
	return 0
}

// oldAcknowledge acknowledges as programs did before there was Mended: to name an alarm
// that did not call, or not any more, was to claim that it is mended.
func (t *step) oldAcknowledge() {
	named := t.in.Command.Alarm
	calls := named < trip.Count && t.s.Alarms[named].Calls()
	t.acknowledgeAll(named)
	if calls || named == trip.ChamberDoubt || named == trip.ChamberDisagree {
		return
	}
	if why := t.claim(named, 0); why != 0 && why != NoneLost {
		t.refuse(why)
	}
}

func (t *step) shelve() {
	s, c := t.s, t.in.Command.Alarm
	if c == trip.None || c >= trip.Count || s.Alarms[c].Phase == trip.Normal {
		t.refuse(CannotShelve)
		return
	}
	next, ok := s.Alarms[c].Shelve(c, t.in.Elapsed, t.in.Elapsed+t.in.Command.For)
	if !ok {
		t.refuse(CannotShelve)
		return
	}
	s.Alarms[c] = next
}

func (t *step) reset() {
	s := t.s
	if t.standing()&trips != 0 {
		t.refuse(StillTripped)
		return
	}
	t.event(Event{Kind: TripReset, Alarm: s.Tripped})
	s.Alarms[s.Tripped] = s.Alarms[s.Tripped].Acknowledge()
	s.Tripped = trip.None
}

func (t *step) start() {
	s := t.s
	switch {
	case t.m.cannot == NothingToRun:
		t.refuse(NothingToRun)
		return
	case !s.Chamber.seen():
		t.refuse(ChamberUnread)
		return
	case t.in.RecordFailing:
		t.refuse(RecordNotKept)
		return
	case t.in.Command.Rested < t.m.rest && !t.in.Command.Excused:
		t.refuse(RestNotOver)
		return
	case t.m.cannot != 0:
		t.refuse(t.m.cannot)
		return
	case !t.in.Command.Excused && len(Doubts(t.m.cabinet, s)) > 0:
		t.refuse(ProbesDoubted)
		return
	}
	*s = State{
		Begun: true, Elapsed: s.Elapsed, Started: t.in.Elapsed,
		// A cabinet may still be hot, and its relays' least on and off times and their
		// wear outlive a batch.
		Chamber: chamberMemory{Reading: s.Chamber.Reading, probes: s.Chamber.probes},
		Heater:  heaterMemory{Relay: s.Heater.Relay, walls: s.Heater.walls, hasWalls: s.Heater.hasWalls},
		Balance: balanceMemory{heated: s.Balance.heated, rise: s.Balance.rise, room: s.Balance.room, hasRoom: s.Balance.hasRoom},
		Fan:     fanMemory{Relay: s.Fan.Relay}, Air: airMemory{asked: 1, Damper: s.Air.Damper, Cooler: s.Air.Cooler}, Alarms: s.Alarms, stirred: s.stirred,
		Evidence:  s.Evidence.ofToday(),
		Out:       Outputs{Damper: 1}, // open until a stage says otherwise
		CoreError: believable(t.in.Command.CoreError), unshown: t.in.Command.Unshown,
		Where: t.in.Command.Where, Edition: t.in.Command.Edition,
	}
	t.enter(Running)
	t.enterStage(0)
}

// confirm answers the question that waits, if it is the one that the person has read.
func (t *step) confirm() {
	s := t.s
	waits, _ := s.Question()
	if !t.in.Command.Question.answers(waits) {
		t.refuse(AnotherQuestion)
		return
	}
	s.HeatTime.unanswered = 0
	t.answered(trip.PromptWaiting, trip.PromptOverdue)
	if s.Asking {
		s.Asking = false
		t.event(Event{Kind: Answered, Stage: s.Stage, Part: HandStep})
		return
	}
	s.met |= 1 << (s.Confirming - 1)
	s.Confirming = 0
	t.event(Event{Kind: Answered, Stage: s.Stage, By: EndedByPerson, Part: waits.Part})
}

// mostCoreError is more than any cabinet file may say; common practice, no source.
const mostCoreError quantity.Kelvin = 20

// believable is an error as it was said, or the most for what is none.
func believable(e quantity.Kelvin) quantity.Kelvin {
	if e >= 0 && e <= mostCoreError {
		return e
	}
	return mostCoreError
}
