package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile"
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
