package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// smoker is a rig whose generator has just been lit; a probed one has an ember at
// 450 °C.
func smoker(t *testing.T, probed bool) *rig {
	r := newRig(t)
	r.c.Smoke = cabinet.Relay{Fitted: true, Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second}
	r.c.Generator = cabinet.Generator{Lasts: 200 * time.Minute, Heat: 110, FullAir: 8 * time.Minute, TurnedDown: 0.7}
	if probed {
		r.c.Generator.Ember = 200
		r.emberIs(450)
	}
	r.p.Stages[1].Until = after(10 * time.Hour)
	r.started(1)
	r.run(longestCoast) // the fan coasts meanwhile
	r.step(Confirm)
	require.False(t, r.s.Asking)
	return r
}

func (r *rig) emberIs(t quantity.Celsius) { r.in.Ember = sensors.At(t) }

// air is the share of the time that the pump ran, and how often it was switched on.
func (r *rig) air(d time.Duration) (share float64, switched int) {
	on, was := time.Duration(0), r.out.On.Has(Smoke)
	for end := r.in.Elapsed + d; r.in.Elapsed < end; {
		r.step()
		if r.out.On.Has(Smoke) {
			on += time.Second
			if !was {
				switched++
			}
		}
		was = r.out.On.Has(Smoke)
	}
	return on.Seconds() / d.Seconds(), switched
}

func TestFullAirUntilTheEmberGlowsThenLess(t *testing.T) {
	r := smoker(t, false)
	share, _ := r.air(8 * time.Minute)
	assert.Equal(t, 1.0, share)
	share, switched := r.air(2 * time.Hour)
	assert.InDelta(t, 0.7, share, 0.01)
	assert.InDelta(t, 120, switched, 2, "one pulse in each window")
}

// What the cabinet file asks for is what the pump does.
func TestAirAsTheFileSays(t *testing.T) {
	for name, c := range map[string]struct {
		fullAir time.Duration
		share   quantity.Ratio
		relay   cabinet.Relay
		want    float64
	}{
		"a quarter, in short windows": {5 * time.Minute, 0.25, cabinet.Relay{Window: 40 * time.Second, MinOn: 5 * time.Second, MinOff: 5 * time.Second}, 0.25},
		"hardly less":                 {19 * time.Minute, 0.95, cabinet.Relay{Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second}, 0.95},
		"never turned down":           {7 * time.Minute, 1, cabinet.Relay{Window: time.Minute}, 1},
		"turned down from the start":  {0, 0.5, cabinet.Relay{Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second}, 0.5},
		"nothing said":                {0, 0, cabinet.Relay{}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			r := smoker(t, false)
			c.relay.Fitted = true
			r.c.Smoke, r.c.Generator.FullAir, r.c.Generator.TurnedDown = c.relay, c.fullAir, c.share
			share, _ := r.air(c.fullAir + time.Second)
			if c.fullAir > 0 {
				assert.Equal(t, 1.0, share)
			}
			share, _ = r.air(2 * time.Hour)
			assert.InDelta(t, c.want, share, 0.01)
		})
	}
}

// The fan does not use the pauses of the pump: its pressure would turn the air around.
func TestFanStaysOffBetweenThePulses(t *testing.T) {
	r := smoker(t, false)
	r.run(9 * time.Minute)
	pulses := 0
	for range 3600 {
		r.step()
		require.False(t, r.out.On.Has(Fan))
		if r.out.On.Has(Smoke) {
			pulses++
		}
	}
	assert.InDelta(t, 0.7*3600, pulses, 40)
	r.c.Rules.FanWithSmoke = true // the file says that the pump has the greater pressure
	r.run(time.Minute)
	share, _ := r.air(10 * time.Minute)
	assert.InDelta(t, 0.7, share, 0.02)
	assert.True(t, r.out.On.Has(Fan))
}

// A quarter of an hour before the end of a filling, as it is run, the person is told.
func TestFuelIsCountedByTheAir(t *testing.T) {
	r := smoker(t, false)
	left, known := r.s.FuelLeft(r.p, r.c)
	assert.True(t, known)
	assert.Equal(t, quantity.Ratio(1), left)
	r.run(104 * time.Minute)
	left, _ = r.s.FuelLeft(r.p, r.c)
	// 8 min of full air and 96 min at 0.7 out of 8 min and 192 min at 0.7.
	assert.InDelta(t, 1-(8+0.7*96)/(8+0.7*192), float64(left), 0.01)
	took := r.until(trip.SmokeFuelLow, 3*time.Hour) + 104*time.Minute
	assert.InDelta(t, 185, took.Minutes(), 2)
	r.quietly(trip.SmokeFuelLow, true, 10*time.Minute) // not once for each pulse

	// What the pump did not blow has not burnt: held for an hour.
	r = smoker(t, false)
	r.run(time.Hour)
	before, _ := r.s.FuelLeft(r.p, r.c)
	r.step(Hold)
	r.run(time.Hour)
	r.step(Restart)
	left, _ = r.s.FuelLeft(r.p, r.c)
	assert.InDelta(t, float64(before), float64(left), 0.001)

	// Refilled and said so.
	r.mend(trip.SmokeFuelLow)
	left, _ = r.s.FuelLeft(r.p, r.c)
	assert.InDelta(t, 1, float64(left), 0.001)
	share, _ := r.air(8 * time.Minute)
	assert.InDelta(t, 1.0, share, 0.01, "what was refilled is lit again")

	r.c.Generator = cabinet.Generator{}
	_, known = r.s.FuelLeft(r.p, r.c)
	assert.False(t, known, "how long a filling lasts was never said")
}

// quietly steps and holds an alarm to one state.
func (r *rig) quietly(c trip.Code, active bool, d time.Duration) {
	r.t.Helper()
	for end := r.in.Elapsed + d; r.in.Elapsed < end; {
		r.step()
		require.Equal(r.t, active, r.s.Alarms[c].Active(c, r.s.Elapsed), "%s at %v", c, r.in.Elapsed)
	}
}

// What becomes of the time of full air when the pump has to rest in the middle of it.
func TestFullAirWaits(t *testing.T) {
	for name, pause := range map[string]struct {
		begin, end func(r *rig)
		length     time.Duration
		more       time.Duration // of full air afterwards
	}{
		"door open for a minute":                    {func(r *rig) { r.in.Door = DoorOpen }, func(r *rig) { r.in.Door = DoorShut }, time.Minute, 5 * time.Minute},
		"held for three minutes":                    {func(r *rig) { r.step(Hold) }, func(r *rig) { r.step(Restart) }, 3 * time.Minute, 5 * time.Minute},
		"held so long that the ember may have died": {func(r *rig) { r.step(Hold) }, func(r *rig) { r.step(Restart) }, 20 * time.Minute, 8 * time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			r := smoker(t, false)
			share, _ := r.air(3 * time.Minute)
			require.Equal(t, 1.0, share)
			pause.begin(r)
			r.step()
			share, _ = r.air(pause.length)
			assert.Zero(t, share)
			pause.end(r)
			for !r.out.On.Has(Smoke) {
				r.step()
			}
			share, _ = r.air(pause.more - 5*time.Second)
			assert.Equal(t, 1.0, share, "full air goes on")
			r.run(time.Minute)
			share, _ = r.air(10 * time.Minute)
			assert.InDelta(t, 0.7, share, 0.02)
		})
	}
}

// Without a probe nothing is inferred but from what is known: it had no air.
func TestALongPauseIsSaidWithoutAnEmberProbe(t *testing.T) {
	r := smoker(t, false)
	r.quietly(trip.EmberUnknown, false, 2*time.Hour)
	r.step(Hold)
	r.quietly(trip.EmberUnknown, false, 5*time.Minute)
	took := r.until(trip.EmberUnknown, 5*time.Minute)
	assert.Less(t, took, 2*time.Minute)
	assert.Equal(t, trip.Later, trip.EmberUnknown.Entry().Priority)
	r.step(Restart)
	r.quietly(trip.EmberUnknown, true, 10*time.Minute) // air proves nothing
	assert.False(t, r.s.Alarms[trip.EmberOut].Standing)
	r.mend(trip.EmberUnknown)
	r.quietly(trip.EmberUnknown, false, 10*time.Minute)

	// A probe knows better.
	r = smoker(t, true)
	r.run(20 * time.Minute)
	r.step(Hold)
	r.quietly(trip.EmberUnknown, false, 20*time.Minute)
}

// Two smoking stages with a pause between them and no hand step: the filling is the
// same, and its ember may have died.
func TestAPauseBetweenTwoSmokingStages(t *testing.T) {
	r := smoker(t, false)
	r.p.Stages[1].Until = after(2 * time.Hour)
	pause, again := r.p.Stages[0], r.p.Stages[1]
	again.Ask, again.Until = "", after(10*time.Hour)
	r.p.Stages = append(r.p.Stages[:2:2], pause, again)
	for r.s.Stage == 1 {
		r.step()
	}
	for r.step(); r.s.Stage == 2; r.step() {
		require.False(t, r.s.Alarms[trip.EmberUnknown].Standing, "nothing shall smoke now")
		_, known := r.s.FuelLeft(r.p, r.c)
		require.False(t, known)
	}
	left, _ := r.s.FuelLeft(r.p, r.c)
	assert.InDelta(t, 1-(8+0.7*112)/(8+0.7*192), float64(left), 0.01, "two hours of it have burnt")
	r.until(trip.EmberUnknown, 2*time.Minute)
	for !r.out.On.Has(Smoke) { // the fan coasts
		r.step()
	}
	share, _ := r.air(7 * time.Minute)
	assert.Equal(t, 1.0, share, "full air again")
}

func TestAnEmberThatWentOutIsSaid(t *testing.T) {
	r := smoker(t, true)
	r.quietly(trip.EmberOut, false, 2*time.Hour)
	assert.False(t, r.s.Alarms[trip.PromptWaiting].Standing)
	r.emberIs(190)
	r.run(time.Minute)
	r.emberIs(210)
	r.quietly(trip.EmberOut, false, 5*time.Minute) // a dip is none
	r.emberIs(190)
	took := r.until(trip.EmberOut, 5*time.Minute)
	assert.InDelta(t, 3, took.Minutes(), 0.1)
	assert.True(t, r.out.On.Has(Sounder), "somebody has to come")
	assert.Equal(t, Running, r.s.Batch, "and the batch goes on")
	share, _ := r.air(4 * time.Minute)
	assert.Equal(t, 1.0, share, "a weak ember gets all the air")

	r.step(Acknowledge) // heard is not lit
	r.quietly(trip.EmberOut, true, time.Minute)
	r.mend(trip.EmberOut)
	r.emberIs(100) // lit again, and not yet warm
	r.quietly(trip.EmberOut, false, 7*time.Minute)
	r.emberIs(400)
	r.quietly(trip.EmberOut, false, time.Hour)
	left, _ := r.s.FuelLeft(r.p, r.c)
	assert.Greater(t, float64(left), 0.6, "with a new filling")
}

// A probe that slipped out of the wood reads like an ember that is out. It gets full air
// for as long as an ember takes to glow and no longer, however the reading wavers, and
// again once somebody says that it is filled and lit.
func TestAnEmberProbeThatSlippedOutGivesNoFullAirForLong(t *testing.T) {
	r := smoker(t, true)
	r.run(time.Hour)
	r.emberIs(90)
	share, _ := r.air(8 * time.Minute)
	assert.Greater(t, share, 0.99)
	share, _ = r.air(4 * time.Hour)
	assert.InDelta(t, 0.7, share, 0.01, "then what the file says")
	assert.True(t, r.s.Alarms[trip.EmberOut].Standing)
	r.emberIs(450) // for a minute, and out again
	r.run(time.Minute)
	r.emberIs(90)
	share, _ = r.air(time.Hour)
	assert.InDelta(t, 0.7, share, 0.02)
	r.mend(trip.EmberOut)
	share, _ = r.air(8 * time.Minute)
	assert.Equal(t, 1.0, share)

	// One that reads well for as long is believed again.
	r.emberIs(450)
	r.run(20 * time.Minute)
	r.emberIs(90)
	share, _ = r.air(7 * time.Minute)
	assert.Greater(t, share, 0.99)
}

// It never caught: said when it has had full air for long enough.
func TestAGeneratorThatNeverCaughtIsSaid(t *testing.T) {
	r := smoker(t, true)
	r.emberIs(18)
	took := r.until(trip.EmberOut, time.Hour)
	assert.InDelta(t, 11, took.Minutes(), 0.2)
}

// Unknown is neither burning nor out.
func TestALostEmberProbeIsSaidAndProvesNothing(t *testing.T) {
	for _, status := range []sensors.Status{sensors.Unread, sensors.Open, sensors.BusError, sensors.Implausible} {
		r := smoker(t, true)
		r.run(20 * time.Minute)
		r.in.Ember = sensors.Fault(status)
		took := r.until(trip.EmberUnknown, 5*time.Minute)
		assert.InDelta(t, 1, took.Minutes(), 0.1, status)
		r.quietly(trip.EmberOut, false, 30*time.Minute)
		assert.False(t, r.s.Alarms[trip.EmberBurning].Standing)
		share, _ := r.air(10 * time.Minute)
		assert.InDelta(t, 0.7, share, 0.02, "and its pump goes on as ever")
		r.emberIs(450)
		r.run(2 * time.Second)
		assert.False(t, r.s.Alarms[trip.EmberUnknown].Standing)
	}
	// A cabinet without one does not miss it, nor does one that does not smoke.
	r := smoker(t, false)
	r.quietly(trip.EmberUnknown, false, time.Hour)
	r = newRig(t)
	r.c.Generator.Ember = 200
	r.started(0)
	r.quietly(trip.EmberUnknown, false, 5*time.Minute)
}

// A generator that burns on in the cabinet is a hazard, most of all when the batch is
// over and everybody leaves.
func TestAnEmberThatBurnsOnIsSaid(t *testing.T) {
	r := smoker(t, true)
	r.p.Stages[1].Until = after(time.Hour)
	for r.s.Stage == 1 {
		r.step()
	}
	assert.False(t, r.out.On.Has(Smoke))
	took := r.until(trip.EmberBurning, time.Hour)
	assert.InDelta(t, 20, took.Minutes(), 0.2, "what is cut from its air dies by itself")
	r.in.Ember = sensors.Fault(sensors.Open) // and now nobody knows
	r.until(trip.EmberUnknown, 5*time.Minute)
	assert.False(t, r.s.Alarms[trip.EmberBurning].Standing)
	r.emberIs(60)
	r.run(2 * time.Second)
	assert.False(t, r.s.Alarms[trip.EmberUnknown].Standing)
	r.in.Ember = sensors.Fault(sensors.Open) // pulled out when it was cold
	r.quietly(trip.EmberUnknown, false, 10*time.Minute)

	r = smoker(t, true)
	r.run(time.Hour)
	r.step(Stop)
	r.run(time.Minute)
	require.Equal(t, Stopped, r.s.Batch)
	assert.False(t, r.out.On.Has(Smoke))
	r.until(trip.EmberBurning, 30*time.Minute)
	r.emberIs(150)
	r.run(2 * time.Second)
	assert.False(t, r.s.Alarms[trip.EmberBurning].Standing)
}

// Time in which nobody called counts as time without air, not as fuel.
func TestAnAbsenceStarvesTheEmber(t *testing.T) {
	r := smoker(t, false)
	r.run(5 * time.Minute)
	before, _ := r.s.FuelLeft(r.p, r.c)
	r.in.Elapsed += 10 * time.Minute
	r.in.PowerLost = true
	r.step()
	r.in.PowerLost = false
	left, _ := r.s.FuelLeft(r.p, r.c)
	assert.Equal(t, before, left)
	r.until(trip.EmberUnknown, 2*time.Minute)
}

func TestSmokingStepAllocatesNothing(t *testing.T) {
	r := smoker(t, true)
	r.run(20 * time.Minute)
	in, s := r.in, r.s
	in.Command = Command{}
	m, err := New(r.p, r.c)
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(1000, func() {
		in.Elapsed += time.Second
		s, _, _ = m.Step(s, in)
	}))
	assert.Equal(t, 1, s.Stage)
}

func BenchmarkStepSmoking(b *testing.B) {
	p, c := testProduct(), testCabinet()
	p.Stages[1].Until = after(1e6 * time.Hour)
	p.Stages[1].Ask = ""
	c.Smoke = cabinet.Relay{Fitted: true, Window: time.Minute, MinOn: 10 * time.Second, MinOff: 10 * time.Second}
	c.Generator = cabinet.Generator{Lasts: 200 * time.Minute, FullAir: 8 * time.Minute, TurnedDown: 0.7, Ember: 200}
	m, err := New(p, c)
	require.NoError(b, err)
	s := State{}
	in := Inputs{Command: Command{Kind: Start}, Ember: sensors.At(450)}
	in.Chamber[0], in.Core[0] = sensors.At(61), sensors.At(20)
	s, _, _ = m.Step(s, in)
	in.Command = Command{}
	s.Stage = 1
	b.ReportAllocs()
	for b.Loop() {
		s.HeatTime = heatTime{}
		in.Elapsed += time.Second
		in.Chamber[0], in.Core[0] = flicker(sensors.At(61), in.Elapsed), flicker(sensors.At(20), in.Elapsed)
		s, _, _ = m.Step(s, in)
	}
	if s.Batch != Running {
		b.Fatalf("%s, tripped %s: this is not the step that was meant", s.Batch, s.Tripped)
	}
}
