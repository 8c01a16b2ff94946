package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// until steps until an alarm is active and returns how long that took; it fails
// after the limit.
func (r *rig) until(c trip.Code, limit time.Duration) time.Duration {
	r.t.Helper()
	from := r.in.Elapsed
	for !r.s.Alarms[c].Active(c, r.s.Elapsed) {
		r.step()
		require.LessOrEqual(r.t, r.in.Elapsed-from, limit, "%s never came", c)
	}
	return r.in.Elapsed - from
}

func (r *rig) quiet(c trip.Code, d time.Duration) {
	r.t.Helper()
	for end := r.in.Elapsed + d; r.in.Elapsed < end; {
		r.step()
		require.False(r.t, r.s.Alarms[c].Active(c, r.s.Elapsed), "%s came after %v", c, r.in.Elapsed)
	}
}

func TestAStageFarTooHotTrips(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 40)
	r.run(20 * time.Minute) // at 80 °C
	r.chamberIs(sensors.At(94))
	r.quiet(trip.StageHot, 5*time.Minute)
	r.chamberIs(sensors.At(96))
	took := r.until(trip.StageHot, 2*time.Minute)
	assert.LessOrEqual(t, took, 62*time.Second)
	assert.Equal(t, trip.StageHot, r.s.Tripped)
	assert.False(t, r.out.On.Has(Heater))
}

func TestHeatWithTheHeaterOffTrips(t *testing.T) {
	r := newRig(t).started(2)
	r.run(20 * time.Minute)
	r.step(Hold)
	temperature := 80.0
	for range 40 * 60 { // cooling
		temperature -= 0.01
		r.chamberIs(sensors.At(quantity.Celsius(temperature)))
		r.step()
	}
	// The door is opened and shut again: the chamber recovers from its hot walls.
	r.chamberIs(sensors.At(quantity.Celsius(temperature - 14)))
	r.run(3 * time.Minute)
	r.chamberIs(sensors.At(quantity.Celsius(temperature)))
	r.quiet(trip.HeatWhenOff, 10*time.Minute)
	from := temperature
	for r.s.Tripped == trip.None && temperature < from+30 {
		temperature += 0.05
		r.chamberIs(sensors.At(quantity.Celsius(temperature)))
		r.step()
	}
	assert.Equal(t, trip.HeatWhenOff, r.s.Tripped)
	assert.Less(t, temperature-from, 20.0, "above the highest of the last half hour, not above the lowest")
	assert.Contains(t, trip.HeatWhenOff.Entry().Action, "Cut the mains")
}

func TestFeedbackOfAWeldedRelayTrips(t *testing.T) {
	r := newRig(t)
	r.in.Heater = FeedbackOff
	r.started(0)
	r.run(time.Minute)
	r.step(Hold)
	r.in.Heater = FeedbackOn
	assert.LessOrEqual(t, r.until(trip.HeaterWelded, 10*time.Second), 5*time.Second)
	assert.Equal(t, trip.HeaterWelded, r.s.Tripped)
}

// A chamber probe that hangs outside, or a dead element: full heat and no answer.
func TestFullHeatWithoutAnswerTrips(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Until = after(2 * time.Hour)
	r.chamberIs(sensors.At(20))
	r.started(0)
	took := r.until(trip.NoHeat, 40*time.Minute)
	assert.Less(t, took, 20*time.Minute)
	assert.Equal(t, trip.NoHeat, r.s.Tripped)
	assert.False(t, r.out.On.Has(Heater))
	// Fully on, warm, and simply not strong enough: that is said, and goes on.
	r = newRig(t).started(2)
	r.coreIs(0, 40)
	r.run(10 * time.Minute)
	r.chamberIs(sensors.At(70))
	r.until(trip.HeatShort, time.Hour)
	assert.Equal(t, trip.None, r.s.Tripped)
	// A door that stands open lets the chamber fall at full heat.
	fall := 70.0
	for r.s.Tripped == trip.None && fall > 40 {
		fall -= 0.01
		r.chamberIs(sensors.At(quantity.Celsius(fall)))
		r.step()
	}
	assert.Equal(t, trip.NoHeat, r.s.Tripped)
}

// What stands is said once, however long it stands: also when its cause is slow drift.
func TestAWeakHeaterIsSaidOnce(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 40)
	r.run(10 * time.Minute)
	r.chamberIs(sensors.At(70))
	full := r.in.Elapsed
	r.until(trip.HeatShort, time.Hour)
	assert.LessOrEqual(t, r.in.Elapsed-full, 14*time.Minute, "as hazards.md says")
	raised := len(r.events)
	warmer := 70.0
	for range 5400 {
		warmer += 0.0003 // a kelvin an hour
		r.chamberIs(sensors.At(quantity.Celsius(warmer)))
		r.step()
		require.True(t, r.s.Alarms[trip.HeatShort].Standing, "%v %s %s %v %v", r.s.Elapsed, r.s.Batch, r.s.Tripped, warmer, r.s.Heater.Demand)
	}
	for _, e := range r.events[raised:] {
		require.False(t, e.Kind == AlarmRaised && e.Alarm == trip.HeatShort, "raised again at %v", e.At)
	}
	r.chamberIs(sensors.At(quantity.Celsius(warmer + 7)))
	r.run(30 * time.Minute)
	assert.False(t, r.s.Alarms[trip.HeatShort].Standing)
}

// The cut-out has opened, or a fuse has blown.
func TestAHeaterThatGetsNothingIsSaid(t *testing.T) {
	r := newRig(t)
	r.in.Heater = FeedbackOff
	r.started(0)
	r.in.Heater = FeedbackOff
	assert.LessOrEqual(t, r.until(trip.HeaterUnfed, time.Minute), 15*time.Second)
	assert.Equal(t, Running, r.s.Batch, "the chamber shows soon enough whether it matters")
	r.in.Heater = FeedbackOn
	r.quiet(trip.HeaterUnfed, 20*time.Second)
}

func TestAFrozenChamberProbeTrips(t *testing.T) {
	r := newRig(t).started(2)
	r.run(20 * time.Minute)
	frozen := sensors.At(79.5)
	r.chamber = 79.5
	from := r.in.Elapsed
	for r.s.Tripped == trip.None && r.in.Elapsed < from+2*time.Hour {
		in := r.in
		in.Chamber[0] = frozen // no flicker
		in.Core[0] = flicker(in.Core[0], in.Elapsed)
		r.s, r.out, _ = stepped(r.p, r.c, r.s, in)
		r.in.Elapsed += time.Second
	}
	assert.Equal(t, trip.ChamberFrozen, r.s.Tripped)
	assert.Less(t, r.in.Elapsed-from, time.Hour)
}

func TestDisagreeingChamberProbesTrip(t *testing.T) {
	r := newRig(t)
	r.in.Chamber[1] = sensors.At(20)
	r.started(0)
	r.run(30 * time.Second)
	r.in.Chamber[1] = sensors.At(quantity.Celsius(r.chamber - 14))
	r.quiet(trip.ChamberDisagree, 30*time.Second)
	r.in.Chamber[1] = sensors.At(quantity.Celsius(r.chamber - 25))
	r.run(3 * time.Minute)
	assert.NotEqual(t, trip.None, r.s.Tripped)
}

func TestOneOfTwoChamberProbesLost(t *testing.T) {
	r := newRig(t)
	r.in.Chamber[1] = sensors.At(20)
	r.started(0)
	r.in.Chamber[1] = sensors.Fault(sensors.Open)
	r.until(trip.ChamberDoubt, time.Minute)
	assert.Equal(t, Running, r.s.Batch)
}

// The probe falls out of the meat and reads the hot chamber: nothing may end.
func TestAProbeOutOfTheMeatEndsNothing(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 50)
	r.run(10 * time.Minute)
	core := 50.0
	for range 120 { // sheath of 8 s
		core += (80 - core) / 8
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.step()
	}
	r.run(time.Hour)
	assert.Equal(t, 2, r.s.Stage)
	assert.Equal(t, sensors.Unread, r.s.Core.Coldest.Status())
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
	assert.Equal(t, trip.SuppressedByDesign, r.s.Alarms[trip.CoreLost].Phase, "one thing is wrong, one thing is said")
	heat := r.s.Heat
	r.run(time.Minute)
	assert.True(t, heat == r.s.Heat, "and nothing counts")
	// Put back and acknowledged.
	r.in.Core[0] = sensors.At(55)
	r.step(Acknowledge)
	r.run(10 * time.Second)
	assert.Equal(t, sensors.Unread, r.s.Core.Coldest.Status(), "to acknowledge everything is not to have seen to the probe")
	r.mend(trip.CoreOut)
	r.run(10 * time.Second)
	assert.Equal(t, sensors.Good, r.s.Core.Coldest.Status())
	r.run(courseLearnt)
	r.coreIs(0, 70.5)
	r.run(Dwell + 2*time.Second)
	assert.Equal(t, 3, r.s.Stage)
}

func TestAProbeOutOfTheMeatInTheIceEndsNothing(t *testing.T) {
	r := newRig(t).started(3)
	r.coreIs(0, 60)
	r.run(3 * time.Minute)
	core := 60.0
	for range 60 {
		core += (0.5 - core) / 2
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.step()
	}
	assert.Equal(t, Running, r.s.Batch)
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
}

// In the first hand step the probe is put in. Later it may only be moved by somebody
// who says so: the likeliest moment for it to slip out is when product is carried.
func TestOnlyTheFirstHandStepMayMoveTheProbe(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the links and put the probe in"
	r.in.Core[0] = sensors.At(25)
	r.step(Start)
	r.run(time.Minute)
	r.in.Core[0] = sensors.At(6)
	r.step(Confirm)
	r.quiet(trip.CoreOut, 5*time.Minute)

	r = newRig(t)
	r.p.Stages[3].Ask = "into the ice"
	r.started(3)
	require.True(t, r.s.Asking)
	r.coreIs(0, 60)
	r.run(3 * time.Minute)
	r.step(Confirm)
	r.in.Core[0] = sensors.At(1)
	r.run(5 * time.Minute)
	assert.Equal(t, Running, r.s.Batch, "the ice's own temperature must not end the chill")
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
}

// mend makes an alarm known and then says that it is mended.
func (r *rig) mend(c trip.Code) {
	for _, k := range []CommandKind{Acknowledge, Mended} {
		in := r.in
		in.Command = Command{Kind: k, Alarm: c}
		r.s, r.out, _ = stepped(r.p, r.c, r.s, in)
		r.in.Elapsed += time.Second
	}
}

// Who silences an alarm, even by its name, has not said that it is mended.
func TestSilenceIsNoClaim(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 50)
	r.run(time.Minute)
	r.in.Core[0] = sensors.At(78)
	r.until(trip.CoreOut, time.Minute)
	r.send(Acknowledge, trip.CoreOut)
	r.run(time.Minute)
	r.in.Core[0] = sensors.At(52)
	silenced := r.s.Core
	for range 3 { // a retry says no more than the first time
		assert.Empty(t, r.send(Acknowledge, trip.CoreOut))
	}
	assert.Equal(t, silenced.moved, r.s.Core.moved)
	r.in.Core[0] = sensors.At(78)
	r.run(10 * time.Minute)
	assert.Equal(t, trip.Acknowledged, r.s.Alarms[trip.CoreOut].Phase)
	assert.Equal(t, sensors.Unread, r.s.Core.Coldest.Status())
	r.in.Core[0] = sensors.At(52)
	r.mend(trip.CoreOut)
	r.run(5 * time.Minute)
	assert.Equal(t, sensors.Good, r.s.Core.Coldest.Status())
}

func TestASecondTripIsNotForgotten(t *testing.T) {
	for _, acknowledged := range []bool{false, true} {
		r := newRig(t)
		r.in.Heater = FeedbackOff
		r.started(0)
		r.run(time.Minute)
		r.in.DriveFailed = true
		r.step()
		require.Equal(t, trip.OutputFailed, r.s.Tripped)
		r.in.DriveFailed, r.in.Heater = false, FeedbackOn
		r.run(10 * time.Second)
		if acknowledged {
			r.step(Acknowledge)
		}
		assert.Equal(t, []Refusal{StillTripped}, refusals(r.step(Reset)))
		r.step(Restart)
		r.run(time.Minute)
		assert.False(t, r.out.On.Has(Heater))
		r.in.Heater = FeedbackOff
		r.run(time.Second)
		r.step(Reset)
		r.step(Restart)
		r.run(30 * time.Second)
		assert.True(t, r.out.On.Has(Heater))
	}
}

func TestResetNeedsTheCauseGone(t *testing.T) {
	// No heat can only be judged by heating again.
	r := newRig(t)
	r.p.Stages[0].Until = after(5 * time.Hour)
	r.chamberIs(sensors.At(20))
	r.started(0)
	r.until(trip.NoHeat, 40*time.Minute)
	assert.Empty(t, refusals(r.step(Reset)))
	r.step(Restart)
	r.run(time.Minute)
	assert.True(t, r.out.On.Has(Heater))
	r.until(trip.NoHeat, 40*time.Minute)
	assert.Equal(t, trip.NoHeat, r.s.Tripped)

	// A stage that is still far too hot is not over because the batch is held.
	r = newRig(t).started(2)
	r.coreIs(0, 40)
	r.run(20 * time.Minute)
	r.chamberIs(sensors.At(94))
	r.run(time.Second)
	r.chamberIs(sensors.At(100))
	r.until(trip.StageHot, 2*time.Minute)
	r.run(10 * time.Minute)
	assert.Equal(t, []Refusal{StillTripped}, refusals(r.step(Reset)))
	r.chamberIs(sensors.At(88))
	r.run(time.Minute)
	assert.Empty(t, refusals(r.step(Reset)))
}

func TestWhatHeatedByItselfIsNotForgottenByWaiting(t *testing.T) {
	r := newRig(t)
	hot := 20.0
	r.chamberIs(sensors.At(20))
	r.run(20 * time.Minute)
	for range 600 {
		hot += 0.05
		r.chamberIs(sensors.At(quantity.Celsius(hot)))
		r.step()
	}
	require.Equal(t, trip.HeatWhenOff, r.s.Tripped)
	r.run(3 * time.Hour)
	assert.Equal(t, []Refusal{StillTripped}, refusals(r.step(Reset)))
}

func TestAbsenceHoldsOrEndsTheBatch(t *testing.T) {
	for _, c := range []struct {
		gap  time.Duration
		want BatchState
	}{{time.Minute, Running}, {30 * time.Minute, Held}, {5 * time.Hour, Aborted}} {
		r := newRig(t).started(2)
		r.coreIs(0, 30)
		r.run(time.Minute)
		comeUp := r.s.ComeUp.Time
		r.in.Elapsed += c.gap
		r.in.PowerLost = true
		r.step()
		r.in.PowerLost = false
		r.run(3 * time.Second)
		assert.Equal(t, c.want, r.s.Batch, "%v", c.gap)
		if c.want != Aborted {
			assert.GreaterOrEqual(t, r.s.ComeUp.Time, comeUp+c.gap, "unseen time counts against the batch")
		}
	}
}

func TestTheNextHandStepWaitsAfresh(t *testing.T) {
	r := newRig(t)
	r.p.Stages[2].Until = profile.Until{Any: true, Conditions: []profile.Condition{
		{Kind: profile.CoreAtLeast, Core: 70}, {Kind: profile.Confirmed, Confirm: "done?"}}}
	r.p.Stages[3].Ask = "into the ice"
	r.started(2)
	r.coreIs(0, 40)
	r.quiet(trip.PromptWaiting, 30*time.Minute) // an offer, not a demand
	r.coreIs(0, 71)
	r.run(Dwell + 2*time.Second)
	require.True(t, r.s.Asking)
	prompt, _ := r.s.Waiting(r.p)
	assert.Less(t, r.s.Elapsed-prompt.Since, time.Minute)
	r.until(trip.PromptWaiting, 20*time.Minute)
}

// A probe that was never in the meat is as warm as the air, and goes along with it.
func TestAProbeThatHangsInTheAirEndsNothing(t *testing.T) {
	r := newRig(t)
	r.started(0)
	for range 40 * 60 {
		if r.s.Asking {
			r.step(Confirm)
		}
		r.in.Core[0] = sensors.At(quantity.Celsius(r.chamber - 1))
		r.step()
	}
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
	assert.Equal(t, sensors.Unread, r.s.Core.Coldest.Status())
}

func TestAFrozenCoreProbeDoesNotCount(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 40)
	r.run(time.Minute)
	for range 38 * 60 {
		in := r.in
		in.Chamber[0] = flicker(sensors.At(80), in.Elapsed)
		r.s, r.out, _ = stepped(r.p, r.c, r.s, in)
		r.in.Elapsed += time.Second
	}
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreFrozen].Phase)
	assert.Equal(t, sensors.Unread, r.s.Core.Coldest.Status())
}

func TestACoreHotterThanTheChamberEverWasDoesNotCount(t *testing.T) {
	r := newRig(t)
	r.p.Stages[2].Until = core(profile.CoreAtLeast, 88)
	r.started(2)
	r.coreIs(0, 60)
	r.run(20 * time.Minute)
	r.s.Core.highest = quantity.Celsius(r.chamber)
	r.in.Core[0], r.s.Core.probes[0].course = sensors.At(90), course{level: 90, smooth: 90, known: time.Hour}
	r.run(2 * time.Minute)
	assert.Equal(t, 2, r.s.Stage)
	assert.Equal(t, sensors.Unread, r.s.Core.Coldest.Status())
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreTooHot].Phase)
}

func TestAnOpenDoorIsAnInterlock(t *testing.T) {
	r := newRig(t)
	r.in.Door = DoorShut
	r.started(0)
	r.run(time.Minute)
	require.True(t, r.out.On.Has(Heater) && r.out.On.Has(Fan))
	for _, door := range []DoorStatus{DoorOpen, DoorUnread} {
		r.in.Door = door
		r.step()
		assert.False(t, r.out.On.Has(Heater) || r.out.On.Has(Fan) || r.out.On.Has(Smoke))
		assert.Equal(t, Running, r.s.Batch)
		r.in.Door = DoorShut
		r.run(30 * time.Second)
		assert.True(t, r.out.On.Has(Heater))
	}
}

func TestADryWickDoesNotCount(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].HasHumidity, r.p.Stages[0].Humidity = true, 0.5
	r.p.Stages[0].ChamberSetpoint = 60
	r.p.Stages[0].Until = after(3 * time.Hour)
	r.started(0)
	r.run(15 * time.Minute)
	r.in.WetBulb = sensors.At(59.8)
	r.until(trip.WickDry, 12*time.Minute)
	assert.False(t, r.s.Wick.HasHumidity)
	assert.False(t, r.out.On.Has(Humidifier))
}

func TestSmokeFuelRunsLow(t *testing.T) {
	r := newRig(t)
	r.c.Generator.Lasts = time.Hour
	r.p.Stages[1].Until = after(3 * time.Hour)
	r.started(1)
	r.run(5 * time.Minute)
	r.step(Confirm)
	took := r.until(trip.SmokeFuelLow, 2*time.Hour)
	assert.InDelta(t, 45, took.Minutes(), 3) // the pump waits for the fan
}

func TestARecordThatCannotBeKeptStartsNothing(t *testing.T) {
	r := newRig(t)
	r.in.RecordFailing = true
	assert.Equal(t, []Refusal{RecordNotKept}, refusals(r.step(Start)))
	r.in.RecordFailing = false
	r.started(2)
	r.run(5 * time.Minute)
	r.in.RecordFailing = true
	r.until(trip.RecordFailing, time.Minute)
	assert.Equal(t, Running, r.s.Batch, "food half cooked is no safer for a full disk")
}

func TestPowerAndClockAreSaid(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	r.in.Elapsed += 20 * time.Minute
	r.in.PowerLost, r.in.ClockStepped = true, true
	r.step()
	r.in.PowerLost, r.in.ClockStepped = false, false
	assert.False(t, r.out.On.Has(Heater))
	r.step()
	assert.Equal(t, trip.ReturnedUnacknowledged, r.s.Alarms[trip.PowerLost].Phase)
	assert.Equal(t, trip.ReturnedUnacknowledged, r.s.Alarms[trip.ClockStepped].Phase)
	r.in.DiskLow, r.in.ClockUnset = true, true
	r.run(time.Minute)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.DiskLow].Phase)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.ClockUnset].Phase)
}

func TestAWornRelayIsSaidForLater(t *testing.T) {
	r := newRig(t).started(0)
	r.in.RelayWorn = true
	r.run(time.Minute)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.RelayWorn].Phase)
	assert.Equal(t, trip.Later, trip.RelayWorn.Entry().Priority)
	assert.Equal(t, Running, r.s.Batch)
}

func TestADriftedCabinetIsSaidForLaterWithItsFigure(t *testing.T) {
	r := newRig(t).started(0)
	r.in.Drift = Drift{Ratio: 1.1}
	r.run(time.Minute)
	assert.Equal(t, trip.Normal, r.s.Alarms[trip.CabinetDrifted].Phase, "batches scatter by that")
	before := r.s.Heater.Demand
	r.in.Drift = Drift{Ratio: 1.243, Beyond: true}
	r.step()
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.CabinetDrifted].Phase)
	assert.Equal(t, trip.Later, trip.CabinetDrifted.Entry().Priority)
	assert.InDelta(t, before, r.s.Heater.Demand, 0.05)
	assert.Equal(t, Running, r.s.Batch)
	var said string
	for _, e := range r.events {
		if e.Alarm == trip.CabinetDrifted {
			said = e.Text(nil)
		}
	}
	assert.Contains(t, said, "It takes 24 % more heat than it did. If it takes more: look at the gasket")
	r.in.Drift = Drift{} // it has learned anew
	r.step()
	assert.Equal(t, trip.ReturnedUnacknowledged, r.s.Alarms[trip.CabinetDrifted].Phase)
	assert.Equal(t, "It takes 20 % less heat than it did.", Drift{Ratio: 0.8}.String())
	assert.Empty(t, Drift{}.String())
}

func TestCopiesThatFailAreSaidForLater(t *testing.T) {
	r := newRig(t).started(0)
	r.in.CopiesFail = true
	r.run(time.Minute)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.CopiesFailing].Phase)
	assert.Equal(t, trip.Later, trip.CopiesFailing.Entry().Priority)
	assert.Equal(t, Running, r.s.Batch)
	r.in.CopiesFail = false
	r.step()
	assert.Equal(t, trip.ReturnedUnacknowledged, r.s.Alarms[trip.CopiesFailing].Phase)
}

func TestAnOutputThatCannotBeSetTrips(t *testing.T) {
	r := newRig(t).started(0)
	r.run(time.Minute)
	r.in.DriveFailed = true
	r.step()
	assert.Equal(t, trip.OutputFailed, r.s.Tripped)
	assert.False(t, r.out.On.Has(Heater))
	r.in.DriveFailed = false
	r.run(time.Minute)
	assert.False(t, r.out.On.Has(Heater), "latched")
}

func TestShelving(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 40)
	r.run(65 * time.Minute)
	require.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.StageOvertime].Phase)
	shelve := func(c trip.Code, d time.Duration) []Refusal {
		in := r.in
		in.Command = Command{Kind: Shelve, Alarm: c, For: d}
		var events []Event
		r.s, r.out, events = stepped(r.p, r.c, r.s, in)
		r.in.Elapsed += time.Second
		return refusals(events)
	}
	assert.Equal(t, []Refusal{CannotShelve}, shelve(trip.ChamberHigh, time.Hour))
	assert.Equal(t, []Refusal{CannotShelve}, shelve(trip.StageOvertime, 9*time.Hour))
	assert.Equal(t, []Refusal{CannotShelve}, shelve(trip.None, time.Hour))
	assert.Empty(t, shelve(trip.StageOvertime, 30*time.Minute))
	r.run(29 * time.Minute)
	assert.Equal(t, trip.Shelved, r.s.Alarms[trip.StageOvertime].Phase)
	r.run(2 * time.Minute)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.StageOvertime].Phase)
}

func TestSlowChillingIsSaidBeforeItIsTooLate(t *testing.T) {
	r := newRig(t)
	r.p.Targets.Chill = profile.ChillUncured // 54.4 to 26.7 °C in 90 min
	r.started(3)
	core := 60.0
	r.coreIs(0, quantity.Celsius(core))
	long, over := time.Duration(0), time.Duration(0)
	for range 3 * 3600 {
		core -= 10.0 / 3600
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.step()
		if long == 0 && r.s.Alarms[trip.ChillLong].Phase == trip.Unacknowledged {
			long = r.in.Elapsed
		}
		if over == 0 && r.s.Alarms[trip.ChillOver].Phase == trip.Unacknowledged {
			over = r.in.Elapsed
		}
	}
	require.NotZero(t, long)
	require.NotZero(t, over)
	assert.InDelta(t, 18, (over - long).Minutes(), 1)
}

// A probe that slips out while the air is only a few kelvin warmer makes a small step.
func TestASmallSlipIsSeen(t *testing.T) {
	r := newRig(t).started(2)
	r.p.Stages[2].Until = core(profile.CoreAtLeast, 78)
	r.coreIs(0, 74)
	core := 74.0
	for range 10 * 60 {
		core += 0.3 / 60 // meat creeping up
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.step()
	}
	require.Equal(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
	heat, out := r.s.Heat, core+2
	for range 30 { // sheath of 8 s
		core += (out - core) / 8
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.step()
	}
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
	claimed := r.p.Criterion().Fraction(r.s.Heat) - r.p.Criterion().Fraction(heat)
	honest := r.p.Criterion().Fraction(r.p.Criterion().Add(heat, 77, 77, 40*time.Second)) - r.p.Criterion().Fraction(heat)
	assert.Less(t, claimed, honest, "no more than the meat can have had")
}

// Until a probe that was put in anew has shown a course of its own, nobody would see
// that it slips out again, so it may end nothing.
func TestAProbeJustPutInEndsNothing(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 75)
	r.s.Core.probes[0].course = course{}
	r.run(courseLearnt)
	assert.Equal(t, 2, r.s.Stage)
	r.run(Dwell + 3*time.Second)
	assert.Equal(t, 3, r.s.Stage)
}

func TestAProbeNeverPutInIsSaid(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the links and put the probe in"
	r.p.Stages[0].Until = after(2 * time.Hour)
	r.step(Start)
	for range 20 * 60 {
		r.in.Core[0] = sensors.At(quantity.Celsius(r.chamber - 1))
		r.step()
	}
	require.Equal(t, quantity.Celsius(45), r.s.Heater.Setpoint)
	r.step(Confirm)
	for range 3 * 60 {
		r.in.Core[0] = sensors.At(quantity.Celsius(r.chamber - 1))
		r.step()
	}
	assert.NotEqual(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
}

// Whatever a probe is called: inside the chamber nothing may reach its limit.
func TestACoreAtTheChambersLimitTrips(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 60)
	r.run(time.Minute)
	r.in.Core[0] = sensors.At(r.c.Limits.ChamberHigh)
	r.step()
	assert.False(t, r.out.On.Has(Heater))
	r.in.Core[0] = sensors.At(60)
	r.run(30 * time.Second)
	assert.Equal(t, trip.None, r.s.Tripped, "a single wild sample does not hold the batch")
	r.in.Core[0] = sensors.At(r.c.Limits.ChamberHigh)
	r.run(2 * time.Second)
	assert.Equal(t, trip.ChamberHigh, r.s.Tripped)
	assert.False(t, r.out.On.Has(Heater))

	r = newRig(t).started(3) // in ice water the cabinet's limit says nothing
	r.in.Core[0] = sensors.At(r.c.Limits.ChamberHigh)
	r.step()
	assert.Equal(t, trip.None, r.s.Tripped)
}

// Core and chamber change places: the heater follows the cold core until the true
// chamber, which the core now reads, is hotter than it ever was.
func TestSwappedProbesTrip(t *testing.T) {
	r := newRig(t).started(2)
	r.p.Stages[2].Until = core(profile.CoreAtLeast, 90)
	r.coreIs(0, 70)
	r.run(20 * time.Minute)
	r.s.Core.highest = 80
	chamber := r.chamber
	r.chamberIs(sensors.At(70))
	for range 20 * 60 {
		chamber = min(chamber+0.05, 92)
		r.in.Core[0] = sensors.At(quantity.Celsius(chamber))
		r.chamberIs(flicker(sensors.At(70), r.in.Elapsed))
		r.step()
		if r.s.Tripped != trip.None {
			break
		}
	}
	assert.Equal(t, trip.CoreTooHot, r.s.Tripped)
	assert.Less(t, chamber, 80.0+6+0.05*65)
	assert.False(t, r.out.On.Has(Heater))
}

// Frozen a little under the setpoint, the heat creeps up and the reading does not
// follow: known long before the three quarters of an hour.
func TestAChamberThatDoesNotFollowItsHeatTrips(t *testing.T) {
	r := newRig(t).started(2)
	r.run(40 * time.Minute)
	require.Equal(t, trip.None, r.s.Tripped)
	from, heated := r.in.Elapsed, r.in.Elapsed
	for r.s.Tripped == trip.None && r.in.Elapsed < from+time.Hour {
		in := r.in
		in.Chamber[0] = sensors.At(77)
		in.Core[0] = flicker(in.Core[0], in.Elapsed)
		r.s, r.out, _ = stepped(r.p, r.c, r.s, in)
		r.in.Elapsed += time.Second
		if r.out.On.Has(Heater) {
			heated = r.in.Elapsed
		}
	}
	assert.Equal(t, trip.ChamberFrozen, r.s.Tripped)
	assert.Less(t, heated-from, 3*time.Minute, "then the heater rests, and nothing moves")
	assert.Less(t, r.in.Elapsed-from, 8*time.Minute)
}

// A front end of coarse steps stands still at a steady hold. It is asked: the heater rests, and
// goes on with the first step that the reading moves by. As programs were, that was a trip.
func TestAChamberThatStandsStillIsAskedFirst(t *testing.T) {
	p, c := testProduct(), testCabinet()
	p.Stages[2].Until = core(profile.CoreAtLeast, 90)
	m, err := New(p, c)
	require.NoError(t, err)
	for name, m := range map[string]*Machine{"asked": m.Unbalanced(), "unasked": m.Unbalanced().Unasked()} {
		r := newRig(t).started(2)
		r.run(40 * time.Minute)
		s, in, off, asked := r.s, r.in, time.Duration(0), 0
		for range 3 * 3600 {
			in.Elapsed += time.Second
			// With no heat it falls, by a step in 20 s.
			in.Chamber[0] = sensors.At(80 - 0.25*quantity.Celsius(off/(20*time.Second)))
			in.Core[0] = flicker(r.in.Core[0], in.Elapsed)
			stood := s.Chamber.asks()
			var out Outputs
			s, out, _ = m.Step(s, in)
			if off += time.Second; out.On.Has(Heater) {
				off = 0
			}
			if s.Chamber.asks() {
				require.False(t, out.On.Has(Heater), "at %v", in.Elapsed)
				if !stood {
					asked++
				}
			}
			if s.Tripped != trip.None {
				break
			}
		}
		if name == "unasked" {
			assert.Equal(t, trip.ChamberFrozen, s.Tripped)
			assert.Zero(t, asked)
			continue
		}
		assert.Equal(t, trip.None, s.Tripped)
		assert.Positive(t, asked)
	}
}

// A core that creeps towards the end of its come-up is not there because one noisy
// sample is.
func TestNoiseDoesNotEndTheComeUp(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 54)
	for i := range 600 {
		r.in.Core[0] = sensors.At([]quantity.Celsius{54, 54.4, 53.7, 54.5, 53.6}[i%5])
		r.step()
	}
	assert.False(t, r.s.ComeUp.Done)
	r.coreIs(0, 54.6)
	r.run(time.Minute)
	assert.True(t, r.s.ComeUp.Done)
}
