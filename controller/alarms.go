package controller

import (
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/sensors"
)

// trips are the alarms that trip; suppresses
// holds, for each alarm, every other that it makes meaningless.
var trips, suppresses = func() (trips trip.Set, suppresses [trip.Count]trip.Set) {
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		trips |= c.If(e.Trips)
		for _, other := range e.Suppresses {
			suppresses[c] |= other.If(true)
		}
	}
	return trips, suppresses
}()

// standing gives the alarms whose condition holds in this step.
func (t *step) standing() trip.Set {
	s, in := t.s, t.in
	stage := t.stage()
	active := s.Batch.Active()
	return s.Chamber.stands(t, stage) | s.Core.stands(t, stage) | s.Heater.stands(t) | s.Smoke.stands(t, stage) | s.Wick.stands(t, stage) |
		s.Air.stands(t, stage) | s.HeatTime.stands(t) | s.Balance.stands(t) | s.Evidence.stands() |
		t.proofStands() |
		trip.OutputFailed.If(in.DriveFailed) |
		trip.PowerLost.If(in.PowerLost && active) |
		trip.AbsenceUnknown.If(s.Absence.unknown && active) |
		trip.DoorOpen.If(t.doorOpen()) |
		trip.AmbientLost.If(in.Ambient.Status() != sensors.Good && t.m.ambient) |
		trip.RecordFailing.If(in.RecordFailing) |
		trip.DiskLow.If(in.DiskLow) |
		trip.ClockUnset.If(in.ClockUnset) |
		trip.ClockStepped.If(in.ClockStepped) |
		trip.DisplayDead.If(in.Panel&DisplayDead != 0) |
		trip.ButtonStuck.If(in.Panel&ButtonBad != 0) |
		trip.RelayWorn.If(in.RelayWorn) |
		trip.CopiesFailing.If(in.CopiesFail) |
		trip.CabinetDrifted.If(in.Drift.Beyond) |
		trip.StepLate.If(t.late) |
		trip.StageOvertime.If(stage != nil && stage.Within > 0 && s.StageClock > stage.Within) |
		trip.PromptWaiting.If(s.asks(stage))
}

// asks reports whether a hand step or a question keeps the batch waiting.
func (s *State) asks(stage *profile.Stage) bool {
	return s.Batch == Running && (s.Asking || s.Confirming > 0 && stage != nil && !stage.Until.Any)
}

// alarms holds every condition of the catalogue against this step. A trip holds
// the batch, and so does heat that has lasted for too long; with no batch a trip still
// latches the heater off.
func (t *step) alarms() {
	s, now := t.s, t.in.Elapsed
	s.HeatTime.judge(t)
	standing := t.standing()
	var suppressed trip.Set
	for c := range standing.Each { // before any of them comes up, so that their order does not matter
		if a := s.Alarms[c].Seen(now, true); a.Active(c, now) && a.Phase != trip.Shelved {
			suppressed |= suppresses[c]
		}
	}
	for c := range (standing | s.stirred).Each { // the others are quiet
		next, change := s.Alarms[c].Next(c, now, standing.Has(c), suppressed.Has(c))
		s.Alarms[c] = next
		if s.stirred |= c.If(true); next.Quiet() {
			s.stirred &^= c.If(true)
		}
		switch change {
		case trip.Raised:
			raised := Event{Kind: AlarmRaised, Alarm: c, Here: t.m.here}
			if c == trip.CabinetDrifted {
				raised.Drift = t.in.Drift
			}
			t.event(raised)
		case trip.Returned:
			t.event(Event{Kind: AlarmReturned, Alarm: c})
		}
		// Whatever became of the alarm, a cause that stands trips: also one that came
		// while another trip was latched.
		if next.Calls() {
			t.calling = more(t.calling, c.Entry().Priority)
		}
		t.pressing = t.pressing || next.Calls() || next.Phase == trip.Acknowledged
		if trips.Has(c) && s.Tripped == trip.None && next.Active(c, now) {
			s.Tripped = c
			t.event(Event{Kind: Tripped, Alarm: c})
		}
	}
	if (s.Tripped != trip.None || s.HeatTime.ended) && (s.Batch == Running || s.Batch == Restarting) {
		t.enter(Holding)
	}
	if t.in.PowerLost {
		t.away()
	}
}
