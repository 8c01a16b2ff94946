package controller

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// send makes a step with a command that names an alarm.
func (r *rig) send(k CommandKind, c trip.Code) []Event {
	in := r.in
	in.Command = Command{Kind: k, Alarm: c}
	in.Core[0] = flicker(in.Core[0], in.Elapsed)
	var events []Event
	r.s, r.out, events = stepped(r.p, r.c, r.s, in)
	r.events = append(r.events, events...)
	r.in.Elapsed += time.Second
	return events
}

// The cabinet is still hot from the batch before, and the probe hangs in it until the
// person has hung the product and puts it in. The meat never gets over 45 °C.
func TestNothingIsProvenBeforeTheProbeIsIn(t *testing.T) {
	for _, name := range []string{"marjoram-ring", "hayloft-chicken", "caraway-sticks", "heather-loin"} {
		entry, err := catalog.Find(name)
		require.NoError(t, err)
		r := newRig(t)
		r.p = entry.Value
		r.chamberIs(sensors.At(75))
		r.in.Core[0] = sensors.At(74)
		r.in.Command = Command{Kind: Start, Excused: true}
		r.s, r.out, _ = stepped(r.p, r.c, r.s, r.in)
		r.in.Elapsed += time.Second
		probe := 74.0
		for i := range 390 {
			probe = 74 - float64(i)*0.01
			if i > 300 {
				probe = 8 + 63*math.Exp(-float64(i-300)/12)
			}
			r.in.Chamber[0] = sensors.At(quantity.Celsius(75 - float64(i)*0.01))
			r.in.Core[0] = sensors.At(quantity.Celsius(probe))
			r.step()
		}
		r.step(Confirm)
		core := 8.0
		for i := range 3600 {
			core += (45 - core) / 4000
			r.in.Core[0] = sensors.At(quantity.Celsius(core))
			r.in.Chamber[0] = sensors.At(quantity.Celsius(70 - float64(i)*0.003))
			r.step()
		}
		c := r.p.Criterion()
		require.NotNil(t, c)
		assert.Less(t, c.Fraction(r.s.Heat), 0.02, name)
		assert.False(t, r.s.ComeUp.Done, name)
		assert.False(t, r.s.ComeUp.Unproven, name)
		assert.Equal(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase, name)
	}
}

// The person says that the probe is back and puts it back afterwards, sooner or later.
func TestAWordTooEarlyProvesNothing(t *testing.T) {
	long(t)
	for _, late := range []int{10, 30, 60, 150, 300} {
		r := newRig(t).started(2)
		r.p.Stages[2].Until = core(profile.CoreAtLeast, 70)
		r.coreIs(0, 40)
		r.run(20 * time.Minute)
		meat, probe := 40.0, 40.0
		for i := range 3600 {
			meat += (75 - meat) / 9000
			switch {
			case i < 600:
				probe = meat
			case i < 660+late:
				probe += (79.5 - probe) / 12 // in the air
			default:
				probe += (meat - probe) / 12
			}
			r.in.Core[0] = sensors.At(quantity.Celsius(probe))
			r.chamberIs(sensors.At(quantity.Celsius(80 + 0.02*float64(i%3))))
			if i == 660 || i == 661 {
				r.send([]CommandKind{Acknowledge, Mended}[i-660], trip.CoreOut)
				continue
			}
			r.step()
		}
		require.Less(t, meat, 55.0)
		assert.Equal(t, 2, r.s.Stage, "%d s", late)
		assert.Less(t, r.p.Criterion().Fraction(r.s.Heat), 0.05, "%d s", late)
		assert.False(t, r.s.ComeUp.Done, "%d s", late)
	}
}

// A spare probe hung in the room when the batch started, or a cable broke.
func TestABrokenCoreCanBeLeftOut(t *testing.T) {
	r := newRig(t)
	r.in.Core[1] = sensors.At(20)
	r.started(2)
	r.coreIs(0, 60)
	r.coreIs(1, 60)
	r.run(time.Minute)
	r.in.Core[1] = sensors.Fault(sensors.Open)
	r.until(trip.CoreLost, time.Minute)
	r.mend(trip.CoreLost)
	r.run(time.Minute)
	assert.Equal(t, sensors.Good, r.s.Core.Coldest.Status())
	r.in.Core[0] = sensors.Fault(sensors.Open)
	r.run(time.Minute)
	r.send(Acknowledge, trip.CoreLost)
	assert.Equal(t, []Refusal{LastCore}, refusals(r.send(Mended, trip.CoreLost)))
	r.in.Core[0] = sensors.At(60)
	r.in.Core[1] = sensors.At(55)
	r.run(time.Minute)
	v, ok := r.s.Core.Coldest.Value()
	assert.True(t, ok)
	assert.InDelta(t, 55, float64(v), 0.1, "what answers again counts again")
}

// Nobody knows what the heater did while the controller was away, so it cannot be held
// against the probe.
func TestAnAbsenceFreezesNoProbe(t *testing.T) {
	long(t)
	for away := 10 * time.Second; away < 20*time.Minute; away += 45 * time.Second {
		r := newRig(t).started(2)
		r.coreIs(0, 40)
		r.run(20 * time.Minute)
		for range 200 {
			if r.step(); r.out.On.Has(Heater) {
				break
			}
		}
		r.in.Elapsed += away
		r.in.PowerLost = true
		r.chamberIs(sensors.At(quantity.Celsius(80 - 0.05*away.Seconds())))
		r.step()
		r.in.PowerLost = false
		r.run(time.Minute)
		assert.NotEqual(t, trip.ChamberFrozen, r.s.Tripped, "%s", away)
	}
}

// Cold smoked in winter and carried into a warm room; or warm meat hung in the cold.
func TestWarmerThanTheChamberIsNoSwapOutsideOrFromTheStart(t *testing.T) {
	long(t)
	r := newRig(t)
	r.p.Stages = []profile.Stage{
		{Name: "cold smoke", Place: profile.Chamber, Until: after(time.Hour)},
		{Name: "rest", Place: profile.Room, Until: after(10 * time.Hour)},
	}
	core := 6.0
	r.in.Core[0] = sensors.At(6)
	r.chamberIs(sensors.At(5))
	r.step(Start)
	for range 5 * 3600 {
		goal := 5.0
		if r.s.Stage == 1 {
			goal = 20
		}
		core += (goal - core) / 3600
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.chamberIs(sensors.At(5))
		r.step()
	}
	require.Greater(t, core, 15.0)
	assert.Equal(t, trip.None, r.s.Tripped)
	assert.Equal(t, Running, r.s.Batch)

	r = newRig(t)
	r.p.Stages = []profile.Stage{{Name: "cold smoke", Place: profile.Chamber, Until: after(10 * time.Hour)}}
	r.chamberIs(sensors.At(12))
	r.in.Core[0] = sensors.At(12)
	r.step(Start)
	r.run(3 * time.Minute)
	core = 28
	for i := range 2 * 3600 {
		core += (12 - core) / 7200
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		switch i {
		case 600, 601:
			r.send([]CommandKind{Acknowledge, Mended}[i-600], trip.CoreOut) // put in after three minutes
		case 602:
			assert.Equal(t, trip.CoreTooHot, r.s.Tripped, "so it might be swapped")
			assert.Empty(t, refusals(r.step(Reset)), "but then the person has said how it is")
		case 603:
			r.step(Restart)
		default:
			r.step()
		}
	}
	assert.Equal(t, trip.None, r.s.Tripped)
	assert.Equal(t, Running, r.s.Batch)
	assert.Equal(t, sensors.Good, r.s.Core.Coldest.Status())
}

// Cores that truly follow the air: slow drying, a long warm first stage, a night.
func TestMeatMayFollowTheAir(t *testing.T) {
	long(t)
	for _, rate := range []float64{3, 6, 10} { // K/h
		r := newRig(t).started(2)
		r.p.Stages[2].Until = after(10 * time.Hour)
		core := 45.0
		r.coreIs(0, 45)
		for i := range 5 * 3600 {
			chamber := 45 + rate*float64(i)/3600
			core += (chamber - 0.5 - core) / 900
			r.in.Core[0] = sensors.At(quantity.Celsius(core))
			r.chamberIs(sensors.At(quantity.Celsius(chamber)))
			r.step()
		}
		assert.Equal(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase, "%g K/h", rate)
	}

	r := newRig(t)
	r.p.Stages = []profile.Stage{{Name: "cold smoke", Place: profile.Chamber, Until: after(24 * time.Hour)}}
	core := 16.0
	r.in.Core[0] = sensors.At(16)
	r.chamberIs(sensors.At(16))
	r.step(Start)
	for i := range 20 * 3600 {
		chamber := 14 + 6*math.Cos(2*math.Pi*float64(i)/86400) + 0.3*math.Sin(float64(i)/97)
		core += (chamber - core) / 2400
		r.in.Core[0] = sensors.At(quantity.Celsius(math.Round(core*16) / 16))
		r.chamberIs(sensors.At(quantity.Celsius(chamber)))
		r.step()
	}
	assert.Equal(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
}

// With the product in ice and the cabinet off, a broken chamber probe stops nothing.
func TestAChamberProbeMayDieWhileNothingHangsOnIt(t *testing.T) {
	r := newRig(t).started(3)
	r.coreIs(0, 60)
	r.run(3 * time.Minute)
	r.chamberIs(sensors.Fault(sensors.Open))
	core := 60.0
	for range 2 * 3600 {
		core += (2 - core) / 1200
		r.in.Core[0] = sensors.At(quantity.Celsius(core))
		r.step()
	}
	assert.Equal(t, Complete, r.s.Batch)
}

// Two samples over the target with a hold between them are no twenty seconds.
func TestAHoldBreaksTheDwell(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 69.9)
	r.run(10 * time.Minute)
	r.coreIs(0, 70.1)
	r.step()
	r.step(Hold)
	r.coreIs(0, 69.8)
	r.run(30 * time.Second)
	r.step(Restart)
	r.step()
	r.coreIs(0, 70.1)
	r.run(5 * time.Second)
	assert.Equal(t, 2, r.s.Stage)
}

// A stage that a confirmation may end is an offer and does not beep.
func TestAnOfferDoesNotBeep(t *testing.T) {
	r := newRig(t)
	r.p.Stages = []profile.Stage{{Name: "smoke", Heat: true, ChamberSetpoint: 45, Place: profile.Chamber,
		Until: profile.Until{Any: true, Conditions: []profile.Condition{{Kind: profile.After, After: 6 * time.Hour}, {Kind: profile.Confirmed, Confirm: "brown enough"}}}}}
	r.step(Start)
	for range 10 * 60 {
		r.step()
		require.False(t, r.out.On.Has(Sounder))
	}
}
