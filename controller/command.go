package controller

import (
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
)

// chamberMargin is how far every setpoint must stay below the cabinet's absolute
// limit, so that ordinary overshoot does not trip it. Common practice, no source.
const chamberMargin quantity.Kelvin = 5

func (t *step) refuse(why Refusal) {
	t.event(Event{Kind: Refused, Command: t.in.Command.Kind, Why: why})
}

func (t *step) command() {
	s := t.s
	switch t.in.Command.Kind {
	case NoCommand:
	case Start:
		t.start()
	case Confirm:
		t.confirm()
	case Hold:
		if s.Batch != Running && s.Batch != Restarting {
			t.refuse(NotInThisState)
			return
		}
		t.answered(trip.PromptWaiting)
		t.enter(Holding)
	case Restart:
		switch {
		case s.Batch != Held:
			t.refuse(NotInThisState)
		case s.Tripped != trip.None:
			t.refuse(StillTripped)
		default:
			t.enter(Restarting)
		}
	case Stop:
		if !s.Batch.Active() || s.Batch == Stopping || s.Batch == Aborting {
			t.refuse(NotInThisState)
			return
		}
		t.answered(trip.PromptWaiting, trip.StageOvertime)
		t.enter(Stopping)
	case Abort:
		if !s.Batch.Active() || s.Batch == Aborting {
			t.refuse(NotInThisState)
			return
		}
		t.answered(trip.PromptWaiting, trip.StageOvertime)
		t.enter(Aborting)
	case Acknowledge:
		named := t.in.Command.Alarm
		calls := named < trip.Count && s.Alarms[named].Calls()
		for c := trip.None + 1; c < trip.Count; c++ {
			if named == trip.None || named == c {
				s.Alarms[c] = s.Alarms[c].Acknowledge()
			}
		}
		if calls { // it is known now; that it is mended has to be said by itself
			return
		}
		switch named {
		case trip.CoreOut:
			s.Core.swear(t.in.Elapsed)
			s.proving.sworn, s.proving.swornAt = s.Proof, t.in.Elapsed
		case trip.CoreLost:
			s.Core.leaveOut(t)
		case trip.SmokeFuelLow, trip.EmberOut:
			s.Smoke.lit()
			t.answered(trip.SmokeFuelLow, trip.EmberOut) // it is filled and smoulders: that answers both
		case trip.EmberUnknown:
			s.Smoke.doubt, s.Smoke.seen = false, false
		}
	case Shelve:
		c := t.in.Command.Alarm
		if c == trip.None || c >= trip.Count {
			t.refuse(CannotShelve)
			return
		}
		if s.Alarms[c].Phase == trip.Normal {
			t.refuse(CannotShelve)
			return
		}
		next, ok := s.Alarms[c].Shelve(c, t.in.Elapsed, t.in.Elapsed+t.in.Command.For)
		if !ok {
			t.refuse(CannotShelve)
			return
		}
		s.Alarms[c] = next
	case Reset:
		if s.Tripped == trip.NoHeat { // the next full heat shows whether it is mended
			s.Heater.noHeat, s.Heater.fullFor = false, 0
		}
		switch {
		case s.Tripped == trip.None:
			t.refuse(NotTripped)
		case t.standing()&trips != 0:
			t.refuse(StillTripped)
		default:
			t.event(Event{Kind: TripReset, Alarm: s.Tripped})
			s.Alarms[s.Tripped] = s.Alarms[s.Tripped].Acknowledge()
			s.Tripped = trip.None
		}
	default:
		t.refuse(UnknownCommand)
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

func (t *step) start() {
	s := t.s
	switch {
	case s.Batch.Active():
		t.refuse(NotInThisState)
		return
	case s.Tripped != trip.None:
		t.refuse(StillTripped)
		return
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
	}
	*s = State{
		Begun: true, Elapsed: s.Elapsed, Started: t.in.Elapsed,
		// A cabinet may still be hot, and its relays' least on and off times and their
		// wear outlive a batch.
		Chamber: chamberMemory{Reading: s.Chamber.Reading, probes: s.Chamber.probes},
		Heater:  heaterMemory{Relay: s.Heater.Relay, walls: s.Heater.walls, hasWalls: s.Heater.hasWalls},
		Fan:     fanMemory{Relay: s.Fan.Relay}, Alarms: s.Alarms, stirred: s.stirred,
		Out: Outputs{Damper: 1}, // open until a stage says otherwise
	}
	t.enter(Running)
	t.enterStage(0)
}

func (t *step) confirm() {
	s := t.s
	if s.Batch != Running {
		t.refuse(NothingToConfirm)
		return
	}
	switch {
	case s.Asking:
		s.Asking = false
		t.answered(trip.PromptWaiting)
		t.event(Event{Kind: Answered, Stage: s.Stage})
	case s.Confirming > 0:
		s.met |= 1 << (s.Confirming - 1)
		s.Confirming = 0
		t.answered(trip.PromptWaiting)
		t.event(Event{Kind: Answered, Stage: s.Stage, By: EndedByPerson})
	default:
		t.refuse(NothingToConfirm)
	}
}
