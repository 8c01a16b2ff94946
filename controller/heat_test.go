package controller

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// blown moves a chamber on its way to goal by one second.
func (r *rig) blown(t *float64, goal, lag float64) {
	*t += (goal - *t) / lag
	r.chamberIs(sensors.At(quantity.Celsius(*t)))
	r.step()
}

// The door is opened while the product is carried into the ice, and what the walls
// have kept warms the chamber when it is shut. The chill goes on to its end.
func TestUnloadingIsNoWeld(t *testing.T) {
	for _, fitted := range []bool{false, true} {
		r := newRig(t).started(2)
		r.coreIs(0, 40)
		r.run(20 * time.Minute)
		r.coreIs(0, 71)
		for r.s.Stage == 2 {
			r.step()
		}
		air, core := r.chamber, 71.0
		for i := 0; r.s.Batch.Active() && i < 3*3600; i++ {
			wall := 25 + 50*math.Exp(-float64(i)/7200)
			r.in.Door = NoDoorSwitch
			if fitted {
				r.in.Door = DoorShut
			}
			if i > 300 && i < 1200 {
				wall = 25
				if fitted {
					r.in.Door = DoorOpen
				}
			}
			core += (2 - core) / 1200
			r.in.Core[0] = sensors.At(quantity.Celsius(core))
			r.blown(&air, wall, 60)
			require.Equal(t, trip.None, r.s.Tripped, "%d s after the cook", i)
		}
		assert.Equal(t, Complete, r.s.Batch)
	}
}

// What has tripped is reset once the chamber cools: a weld and a fire do not. While
// nobody can see the chamber it has not gone.
func TestWhatCoolsCanBeReset(t *testing.T) {
	r := newRig(t)
	air := 20.0
	r.chamberIs(sensors.At(20))
	r.run(20 * time.Minute)
	for r.s.Tripped == trip.None {
		r.blown(&air, air+5, 100)
		require.Less(t, air, 30.0)
	}
	for range 1200 {
		r.blown(&air, 60, 300)
	}
	assert.Equal(t, []Refusal{StillTripped}, refusals(r.step(Reset)))
	r.in.Chamber[0] = sensors.Fault(sensors.Open)
	r.run(time.Minute)
	assert.Equal(t, []Refusal{StillTripped}, refusals(r.step(Reset)))
	for range 35 * 60 {
		r.blown(&air, 20, 7200)
	}
	assert.Greater(t, air, 40.0, "still far hotter than before")
	assert.Empty(t, refusals(r.step(Reset)))
	for from := air; r.s.Tripped == trip.None; {
		r.blown(&air, air+5, 100)
		require.Less(t, air, from+25, "heat that comes back trips again")
	}
	assert.Equal(t, trip.HeatWhenOff, r.s.Tripped)
}

// A setpoint that falls takes its ceiling along, but not down through an open door.
func TestTheCeilingDoesNotFollowAnOpenDoor(t *testing.T) {
	r := newRig(t)
	r.p.Stages = []profile.Stage{
		{Name: "cook", Heat: true, ChamberSetpoint: 88, Place: profile.Chamber, Until: after(time.Hour)},
		{Name: "hold", Heat: true, ChamberSetpoint: 60, Place: profile.Chamber, Until: after(6 * time.Hour)},
	}
	r.step(Start)
	for r.s.Stage == 0 {
		r.step()
	}
	air := r.chamber
	for i := range 3600 {
		wall := 60 + 26*math.Exp(-float64(i)/7200)
		if i > 600 && i < 840 {
			wall = 20
		}
		r.blown(&air, wall, 90)
		require.Equal(t, trip.None, r.s.Tripped, "%d s", i)
	}
	for range 3 * 3600 {
		r.blown(&air, 60, 1200)
	}
	for r.s.Tripped == trip.None {
		r.blown(&air, air+5, 100)
		require.Less(t, air, 60.0+8+15+4, "and comes down all the same")
	}
}

// A door that is open for a few minutes at full heat is no dead element; one that
// stays open is.
func TestABriefDoorIsNoDeadElement(t *testing.T) {
	for _, open := range []int{120, 240, 3600} {
		r := newRig(t)
		r.p.Stages = []profile.Stage{{Name: "cook", Heat: true, ChamberSetpoint: 100, Place: profile.Chamber, Until: after(5 * time.Hour)}}
		air := 60.0
		r.chamberIs(sensors.At(60))
		r.step(Start)
		for i := 0; i < 2700 && r.s.Tripped == trip.None; i++ {
			switch {
			case i <= 900 || i > 900+open+180:
				r.blown(&air, 130, 6000)
			case i < 900+open:
				r.blown(&air, 20, 90)
			default:
				r.blown(&air, 70, 90)
			}
		}
		if open > 300 {
			assert.Equal(t, trip.NoHeat, r.s.Tripped)
			continue
		}
		assert.Equal(t, trip.None, r.s.Tripped, "%d s", open)
	}
}
