package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

func TestADoorThatStaysOpenIsSaid(t *testing.T) {
	for _, door := range []DoorStatus{DoorOpen, DoorUnread} {
		r := newRig(t)
		r.in.Door = DoorShut
		r.started(0)
		r.run(time.Minute)
		r.in.Door = door
		took := r.until(trip.DoorOpen, 3*time.Minute)
		assert.InDelta(t, 2*time.Minute, took, float64(2*time.Second))
		assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.DoorOpen].Phase)
		assert.Equal(t, trip.None, r.s.Tripped)
		r.in.Door = DoorShut
		r.step()
		assert.Equal(t, trip.ReturnedUnacknowledged, r.s.Alarms[trip.DoorOpen].Phase)
	}
}

// Lost, the room is as the file says; that is said, with a batch or without.
func TestALostRoomProbeIsSaid(t *testing.T) {
	for _, status := range []sensors.Status{sensors.Unread, sensors.Open, sensors.Stale, sensors.Implausible} {
		for _, running := range []bool{false, true} {
			r := newRig(t)
			r.c.Probes = append(r.c.Probes, cabinet.Probe{Name: "yard", Role: cabinet.AmbientProbe})
			r.in.Ambient = sensors.At(4)
			if running {
				r.started(0)
			}
			r.quiet(trip.AmbientLost, 5*time.Minute)
			r.in.Ambient = sensors.Fault(status)
			took := r.until(trip.AmbientLost, 2*time.Minute)
			assert.InDelta(t, 61, took.Seconds(), 1, status)
			assert.Equal(t, running, r.s.Batch == Running, "the batch goes on")
			assert.Equal(t, trip.None, r.s.Tripped)
			assert.False(t, r.out.On.Has(Sounder), "it can wait")
			r.in.Ambient = sensors.At(4)
			r.step()
			assert.False(t, r.s.Alarms[trip.AmbientLost].Standing, "a reading of this very second counts")
		}
	}
	r := newRig(t) // without one
	r.started(0)
	r.quiet(trip.AmbientLost, 5*time.Minute)
}

// Six hours from 50 to 130 °F: FSIS Cooking Guideline, 2021, as profile/lethality has
// it. The warning an hour before is common practice, no source.
func TestASlowComeUpIsSaidBeforeItIsTooLongAndThen(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Until = after(12 * time.Hour)
	r.started(0)
	core := 10.5
	long, over := time.Duration(0), time.Duration(0)
	from := r.in.Elapsed
	for over == 0 {
		core += 0.001 // 3.6 K/h: thirty degrees in eight hours
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.step()
		if long == 0 && r.s.Alarms[trip.ComeUpLong].Phase == trip.Unacknowledged {
			long = r.in.Elapsed - from
		}
		if r.s.Alarms[trip.ComeUpOver].Phase == trip.Unacknowledged {
			over = r.in.Elapsed - from
		}
		require.Less(t, r.in.Elapsed-from, 7*time.Hour)
	}
	assert.InDelta(t, 5*time.Hour, long, float64(time.Minute))
	assert.InDelta(t, 6*time.Hour, over, float64(time.Minute))
	r.step()
	assert.Equal(t, trip.SuppressedByDesign, r.s.Alarms[trip.ComeUpLong].Phase, "the graver one says it all")
	assert.Equal(t, Running, r.s.Batch, "the batch goes on; its verdict is bad")
}

// Who does what an alarm asks for has answered it, and need not acknowledge what is
// gone.
func TestTheActItselfAnswersItsAlarm(t *testing.T) {
	asked := func(t *testing.T) *rig {
		r := newRig(t).started(1)
		require.True(t, r.s.Asking)
		return r
	}
	finished := func(t *testing.T) *rig {
		r := newRig(t)
		r.p.Stages[0].Until = profile.Until{Conditions: []profile.Condition{{Kind: profile.Confirmed, Confirm: "dry?"}}}
		r.p.Stages[0].Within = 15 * time.Minute
		r.started(0)
		r.run(2 * time.Second)
		require.NotZero(t, r.s.Confirming)
		return r
	}
	last := func(t *testing.T) *rig {
		r := finished(t)
		r.p.Stages = r.p.Stages[:1]
		return r
	}
	for name, c := range map[string]struct {
		rig   func(*testing.T) *rig
		alarm trip.Code
		act   CommandKind
	}{
		"the step confirmed":                {asked, trip.PromptWaiting, Confirm},
		"the end of the stage confirmed":    {finished, trip.PromptWaiting, Confirm},
		"the end of the batch confirmed":    {last, trip.PromptWaiting, Confirm},
		"held":                              {asked, trip.PromptWaiting, Hold},
		"stopped":                           {asked, trip.PromptWaiting, Stop},
		"aborted":                           {asked, trip.PromptWaiting, Abort},
		"an overlong stage confirmed":       {finished, trip.StageOvertime, Confirm},
		"an overlong stage's batch stopped": {finished, trip.StageOvertime, Stop},
		"an overlong stage's batch aborted": {finished, trip.StageOvertime, Abort},
	} {
		t.Run(name, func(t *testing.T) {
			for _, known := range []bool{false, true} {
				r := c.rig(t)
				r.until(c.alarm, 20*time.Minute)
				require.Equal(t, trip.Unacknowledged, r.s.Alarms[c.alarm].Phase)
				if known {
					r.step(Acknowledge)
				}
				from := len(r.events)
				r.step(c.act)
				r.run(5 * time.Second)
				assert.Equal(t, trip.Normal, r.s.Alarms[c.alarm].Phase)
				over := 0
				for _, e := range r.events[from:] {
					if e.Kind == AlarmReturned && e.Alarm == c.alarm {
						over++
					}
				}
				assert.Equal(t, 1, over, "and the log says that it is over")
			}
		})
	}
	// A prompt that waits on after the hold calls again, after its whole time.
	r := asked(t)
	r.until(trip.PromptWaiting, 20*time.Minute)
	r.step(Hold)
	r.run(time.Hour)
	r.step(Restart)
	r.quiet(trip.PromptWaiting, 14*time.Minute)
	r.until(trip.PromptWaiting, 2*time.Minute)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.PromptWaiting].Phase)
	// What no person did stays to be seen.
	r.in.DriveFailed = true
	r.run(2 * time.Second)
	require.Equal(t, trip.OutputFailed, r.s.Tripped)
	assert.Equal(t, trip.ReturnedUnacknowledged, r.s.Alarms[trip.PromptWaiting].Phase)
}

// "It is filled and smoulders" answers the alarm that it is said to, and the other that
// asked for the same.
func TestAFilledGeneratorAnswersBothOfItsAlarms(t *testing.T) {
	for _, said := range []trip.Code{trip.EmberOut, trip.SmokeFuelLow} {
		r := smoker(t, true)
		r.until(trip.SmokeFuelLow, 5*time.Hour)
		r.emberIs(100)
		r.until(trip.EmberOut, 5*time.Minute)
		r.mend(said)
		r.run(2 * time.Second)
		for _, c := range []trip.Code{trip.EmberOut, trip.SmokeFuelLow} {
			assert.Equal(t, trip.Normal, r.s.Alarms[c].Phase, "%s, told of %s", c, said)
		}
	}
}

// What makes another alarm meaningless silences it from the first step on, in whatever
// order the catalogue has them: a power cut is no slow computer.
func TestAnAbsenceIsNoLateStep(t *testing.T) {
	r := newRig(t).started(1)
	r.run(time.Minute)
	r.in.Elapsed += time.Minute
	r.in.PowerLost = true
	events := r.step()
	r.in.PowerLost = false
	events = append(events, r.step()...)
	var raised []trip.Code
	for _, e := range events {
		if e.Kind == AlarmRaised {
			raised = append(raised, e.Alarm)
		}
	}
	assert.Equal(t, []trip.Code{trip.PowerLost}, raised)
	r.in.Elapsed += time.Minute
	events = r.step()
	require.NotEmpty(t, events)
	assert.Equal(t, trip.StepLate, events[0].Alarm, "but a stall is one")
}
