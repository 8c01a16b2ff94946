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

// everyRig has all outputs on: a chamber at work that is too dry, with a damper that is driven
// shut; or one that is too warm.
func everyRig(t *testing.T, cold bool) *rig {
	r := newRig(t)
	r.c.Damper = cabinet.Relay{Fitted: true, Window: 3 * time.Minute, MinOn: 30 * time.Second, MinOff: 30 * time.Second}
	r.c.Cooler = cabinet.Relay{Fitted: true, Window: 10 * time.Minute, MinOn: 3 * time.Minute, MinOff: 5 * time.Minute}
	stage := &r.p.Stages[0]
	stage.Until = after(3 * time.Hour)
	stage.ChamberSetpoint, stage.HasHumidity, stage.Humidity, stage.HasDamper = 60, true, 0.6, true
	r.chamberIs(sensors.At(58))
	r.in.WetBulb = sensors.At(40)
	if cold {
		stage.Heat, stage.HasHumidity, stage.HasNotAbove, stage.NotAbove = false, false, true, 25
		r.chamberIs(sensors.At(26))
	}
	r.started(0)
	r.run(2 * time.Minute)
	require.True(t, r.out.On.Has(DamperDrive))
	require.Equal(t, cold, r.out.On.Has(Cooler))
	require.Equal(t, !cold, r.out.On.Has(Humidifier))
	return r
}

// Whatever ends or holds a batch lets go of damper, humidifier and cooler in the same step, and
// says that the damper is open.
func TestAirOutputsAreOffOnAnyTripOrStop(t *testing.T) {
	for name, end := range map[string]func(*rig){
		"hold":          func(r *rig) { r.step(Hold) },
		"stop":          func(r *rig) { r.step(Stop) },
		"abort":         func(r *rig) { r.step(Abort) },
		"output failed": func(r *rig) { r.in.DriveFailed = true; r.step() },
		"power lost":    func(r *rig) { r.in.PowerLost = true; r.in.Elapsed += 10 * time.Minute; r.step() },
		"chamber lost":  func(r *rig) { r.chamberIs(sensors.Fault(sensors.Open)); r.run(time.Minute) },
		"chamber hot":   func(r *rig) { r.chamberIs(sensors.At(140)); r.run(3 * time.Second) },
	} {
		for _, cold := range []bool{false, true} {
			r := everyRig(t, cold)
			end(r)
			assert.NotEqual(t, Running, r.s.Batch, name)
			assert.Zero(t, r.out.On&^SetOf(Sounder, Light), "%s: %v", name, r.out)
			assert.EqualValues(t, 1, r.out.Damper, name)
		}
	}
}

// An open door stops humidifier and cooler at once, and so does a chamber that cannot be read,
// before anything trips.
func TestAirOutputsRestWithoutAReading(t *testing.T) {
	for _, cold := range []bool{false, true} {
		r := everyRig(t, cold)
		r.in.Door = DoorOpen
		r.step()
		assert.Zero(t, r.out.On&SetOf(Heater, Humidifier, Cooler))
		r = everyRig(t, cold)
		r.chamberIs(sensors.Fault(sensors.Open))
		r.step()
		assert.Equal(t, Running, r.s.Batch)
		assert.Zero(t, r.out.On&SetOf(Heater, Humidifier, Cooler))
	}
	r := everyRig(t, false) // and without a wick the damper opens, after its least time
	r.in.WetBulb = sensors.Fault(sensors.Open)
	r.step()
	assert.False(t, r.out.On.Has(Humidifier))
	r.run(time.Minute)
	assert.False(t, r.out.On.Has(DamperDrive))
	assert.EqualValues(t, 1, r.out.Damper)
}

// What is cooled warms up to its room by itself: no weld. What gets far warmer than that is one.
func TestWarmingToTheRoomIsNoWeld(t *testing.T) {
	for _, row := range []struct {
		to   float64
		trip bool
	}{{31, false}, {45, true}} {
		r := everyRig(t, true)
		r.in.Ambient = sensors.At(33)
		r.chamberIs(sensors.At(20))
		r.run(40 * time.Minute)
		for at := 20.0; at < row.to; at += 0.1 {
			r.chamberIs(sensors.At(quantity.Celsius(at)))
			r.run(3 * time.Second)
		}
		r.run(time.Minute)
		assert.Equal(t, row.trip, r.s.Tripped != 0, "%v: %v", row.to, r.s.Tripped)
	}
}

// Below 40 °C a dry wick may be fog for all that the step can see: it does what it does for
// fog, which is the safe side, and only a driven damper lets it say that something is wrong.
func TestADryWickInAColdChamberReadsLikeFog(t *testing.T) {
	for _, driven := range []bool{true, false} {
		r := newRig(t)
		r.c.Damper = cabinet.Relay{Fitted: driven, Window: 3 * time.Minute, MinOn: 30 * time.Second, MinOff: 30 * time.Second}
		stage := &r.p.Stages[0]
		stage.Until, stage.ChamberSetpoint, stage.HasHumidity, stage.Humidity, stage.HasDamper = after(3*time.Hour), 24, true, 0.8, true
		r.chamberIs(sensors.At(24))
		r.in.WetBulb = sensors.At(23.9)
		r.started(0)
		r.run(31 * time.Minute)
		assert.True(t, r.s.Wick.HasHumidity)
		assert.False(t, r.out.On.Has(Humidifier))
		assert.Equal(t, driven, r.out.Damper == 1, "%v", r.out)
		assert.Equal(t, driven, r.s.Alarms[trip.HumidityNotReached].Calls())
	}
}

// Whoever holds a batch lets go of its damper, and walls that had no air warm it again when the
// batch goes on: that is no heat of a relay that has welded. What comes out hotter than it was
// is, and so is what rises on later.
func TestAirBehindADamperThatShutsAgainIsNoWeld(t *testing.T) {
	held := func(t *testing.T) *rig {
		r := newRig(t)
		r.c.Damper = cabinet.Relay{Fitted: true, Window: 20 * time.Second, MinOn: 3 * time.Second, MinOff: 3 * time.Second}
		r.p.Stages = []profile.Stage{{Name: "rest", Place: profile.Chamber, HasDamper: true, Until: after(6 * time.Hour)}}
		r.chamberIs(sensors.At(70))
		r.started(0)
		r.run(20 * time.Minute)
		r.step(Hold)
		for at := 70.0; at > 43; at -= 0.005 {
			r.chamberIs(sensors.At(quantity.Celsius(at)))
			r.step()
		}
		r.step(Restart)
		return r
	}
	// rises is how far the reading gets, in kelvin a second, before it trips.
	rises := func(r *rig, from, to, rate float64) float64 {
		for at := from; at < to; at += rate {
			r.chamberIs(sensors.At(quantity.Celsius(at)))
			if r.step(); r.s.Tripped == trip.HeatWhenOff {
				return at
			}
		}
		return to
	}
	r := held(t)
	require.Less(t, float64(r.s.Heater.walls), 58.0)
	assert.Equal(t, 69.0, rises(r, 43, 69, 0.05))
	assert.InDelta(t, 78, rises(r, 69, 100, 0.05), 1, "hotter than it was")
	r = held(t)
	assert.Equal(t, 60.0, rises(r, 43, 60, 0.05))
	r.run(weldSlot)
	assert.InDelta(t, 68, rises(r, 60, 100, 0.05), 1, "later")

	r = held(t) // by hand it has stayed where it was, and nothing comes back
	r.c.Damper = cabinet.Relay{}
	assert.Less(t, rises(r, 43, 100, 0.05), 66.0)
}

// Nor is it waited for with the heat: a ramp that begins anew where the reading is goes along
// with what the walls bring back, and nobody takes the rest of that time for a reading that
// does not cool.
func TestARampGoesAlongWithWhatWallsBringBack(t *testing.T) {
	ramp := func(forgets bool) (at, falls quantity.Celsius) {
		r := newRig(t)
		r.p.Stages = []profile.Stage{{Name: "cook", Heat: true, ChamberSetpoint: 80, Ramp: 20. / 3600, Place: profile.Chamber, Until: after(20 * time.Hour)}}
		m, err := New(r.p, r.c)
		require.NoError(t, err)
		if forgets {
			m = m.Forgetful()
		}
		step := func(v float64, k CommandKind) {
			r.in.Command = Command{Kind: k}
			r.in.Chamber[0] = flicker(sensors.At(quantity.Celsius(v)), r.in.Elapsed)
			m.Advance(&r.s, &r.in)
			r.in.Elapsed += time.Second
		}
		step(15, Start)
		for v := 15.0; v < 75; v += 20. / 3600 {
			step(v, NoCommand)
		}
		require.Equal(t, Running, r.s.Batch)
		step(75, Hold)
		for v := 75.0; v > 55; v -= 0.1 {
			step(v, NoCommand)
		}
		step(55, Restart)
		for v := 55.0; v < 65; v += 0.1 {
			step(v, NoCommand)
		}
		for range 3 * 60 {
			step(65, NoCommand)
		}
		require.Equal(t, Running, r.s.Batch, "%v", r.s.Tripped)
		at = r.s.Heater.Setpoint
		for v := 65.0; v > 60; v -= 0.1 {
			step(v, NoCommand)
		}
		return at, r.s.Heater.Setpoint
	}
	at, falls := ramp(false)
	assert.InDelta(t, 65, float64(at), 0.5)
	assert.GreaterOrEqual(t, falls, at)
	before, _ := ramp(true)
	assert.InDelta(t, 55+280*20./3600, float64(before), 0.5)
}
