package controller

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// Of a cabinet whose build is not known, too, less is aimed at before a hand step closes the
// damper: when the stage can end soon, while its question waits, while the hand step does,
// and no more once the damper is shut.
func TestLessIsAimedAtUntilTheDamperIsClosed(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Until.Conditions = append(r.p.Stages[0].Until.Conditions, profile.Condition{Kind: profile.Confirmed, Confirm: "dry?"})
	r.started(0)
	lower := func() float64 { return float64(r.s.Heater.AimsLower()) }
	r.run(4 * time.Minute)
	assert.Zero(t, lower(), "six minutes before the stage can end")
	r.run(90 * time.Second)
	// A quarter of the rise for the whole way of the damper: share s of it gives s/(1+s).
	const share = 0.25 * 0.75
	want := 25 * share / (1 + share) // 45 °C over the 20 °C of the room
	assert.InDelta(t, want, lower(), 0.02)
	r.run(30 * time.Minute)
	assert.InDelta(t, want, lower(), 0.02, "for as long as the question waits")
	assert.InDelta(t, 45-want, r.chamber, 0.1)
	r.step(Confirm)
	assert.Equal(t, 1, r.s.Stage)
	r.run(time.Hour)
	assert.InDelta(t, 40*share/(1+share), lower(), 0.02, "the setpoint has gone up to 60 °C meanwhile")
	r.step(Confirm)
	assert.Equal(t, 0.25, float64(r.out.Damper))
	r.run(20 * time.Minute)
	assert.Zero(t, lower())
}

// The heater rests for as long as the element is too hot for still air, which depends on
// what it gave before.
func TestTheHeaterRestsByTheHeatOfItsElement(t *testing.T) {
	rests := func(full time.Duration) (rests time.Duration) {
		r := newRig(t)
		r.p.Stages[0].Until = after(full)
		r.p.Stages[1] = profile.Stage{Name: "still", Heat: true, ChamberSetpoint: 45, Place: profile.Chamber, Until: after(time.Hour)}
		r.started(0)
		r.chamberIs(r.in.Chamber[0]) // stays cold, so the heat is full
		r.started(1)
		for ; r.out.On.Has(Fan); rests += time.Second {
			r.step()
		}
		assert.Zero(t, r.s.Heater.rests)
		return rests
	}
	short, long := rests(10*time.Second), rests(4*time.Minute)
	assert.Less(t, short, long)
	assert.Greater(t, long, time.Minute)
	assert.Less(t, long, 8*time.Minute)
}

// What holds with the damper open is fed forward when a hand step has opened it; what the
// integral has learned of it by then is not learned twice, and a fan that starts adds nothing.
func TestAnOpenedDamperIsFedForwardOnce(t *testing.T) {
	opened := func(damper quantity.Ratio, fan bool, learned float64) (ratio float64) {
		r := newRig(t)
		r.c.Rehearsal.Vent, r.c.Rehearsal.Height, r.c.Rehearsal.FanExchange = 0.01, 1.2, 0.003
		r.p.Stages = r.p.Stages[:2]
		for i := range r.p.Stages {
			r.p.Stages[i] = profile.Stage{Name: "still", Heat: true, ChamberSetpoint: 45, Place: profile.Chamber, HasDamper: true, Until: after(time.Hour)}
		}
		r.p.Stages[1].Ask, r.p.Stages[1].Damper = "open it", damper
		if fan {
			r.p.Stages[1].Fan = 1
		}
		r.started(0)
		r.run(45 * time.Minute)
		r.s.Heater.PID.Integral = 0.2
		for r.s.Stage == 0 {
			r.s.Heater.PID.Integral = 0.2
			r.step()
		}
		r.run(time.Minute)
		r.s.Heater.PID.Integral = learned
		r.step(Confirm)
		require.False(t, r.s.Asking)
		return r.s.Heater.PID.Integral / 0.2
	}
	// 10 W/K by the response; 1100·StackSpeed·0.01·0.5·√(1.2·25) W/K by the stack at a half.
	want := 1 + 1100*cabinet.StackSpeed*0.01*0.5*math.Sqrt(1.2*25)/10
	assert.InDelta(t, want, opened(0.5, false, 0.2), 0.01)
	assert.InDelta(t, want, opened(0.5, false, 0.15), want*0.26, "fallen meanwhile")
	assert.InDelta(t, want, opened(0.5, false, 0.2*want-0.01), 0.01, "nearly learned")
	assert.InDelta(t, 1.2*want, opened(0.5, false, 1.2*0.2*want), 0.01, "more than learned")
	assert.InDelta(t, 1, opened(0, true, 0.2), 0.01)
	assert.InDelta(t, 5, opened(1, true, 0.8), 1.01, "never more than full power")
}

// What was recorded before fan and stack shared one opening is replayed with the sum of both,
// also where nothing else of it is older, and knows nothing of what walls bring back.
func TestOlderMachinesAddDraughts(t *testing.T) {
	c := everyCabinet(t)["plywood-cabinet"]
	m, err := New(testProduct(), c)
	require.NoError(t, err)
	most := m.balance.mostDraught(0.5, 50, true)
	assert.Less(t, m.balance.draught(0.5, 50, true), most)
	for name, before := range map[string]*Machine{"slack": m.Slack(), "tightly tuned": m.TightlyTuned()} {
		assert.Equal(t, most, before.balance.draught(0.5, 50, true), name)
		assert.True(t, before.forgets, name)
	}
}
