package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/trip"
	"fumarium/sensors"
)

// away lets the controller miss so much time and makes the first step after it.
func (r *rig) away(d time.Duration) []Event {
	r.in.Elapsed += d
	r.in.PowerLost = true
	events := r.step()
	r.in.PowerLost = false
	return events
}

func raised(events []Event) (codes []trip.Code) {
	for _, e := range events {
		if e.Kind == AlarmRaised {
			codes = append(codes, e.Alarm)
		}
	}
	return codes
}

// A controller that is cut off twice in a row says it twice.
func TestASecondAbsenceIsSaidToo(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	for n := range 3 {
		assert.Contains(t, raised(r.away(10*time.Second)), trip.PowerLost, "absence %d", n+1)
	}
}

// The chips of a program that has just begun have not converted yet. When the power
// flickers, that must not look like a probe that was gone all the time between.
func TestADelayDoesNotRunThroughAnAbsence(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	good := r.in.Chamber
	r.chamberIs(sensors.Fault(sensors.Unread))
	r.away(10 * time.Second)
	r.away(time.Minute)
	assert.Equal(t, trip.None, r.s.Tripped)
	assert.False(t, r.out.On.Has(Heater))
	r.step()
	r.in.Chamber = good
	r.run(time.Minute)
	assert.Equal(t, trip.None, r.s.Tripped)

	r.chamberIs(sensors.Fault(sensors.Unread))
	r.away(10 * time.Second)
	r.until(trip.ChamberLost, 31*time.Second) // it is lost all the same
	assert.Equal(t, trip.ChamberLost, r.s.Tripped)
	r.in.Chamber = good
	r.run(5 * time.Second)
	r.away(time.Minute)
	assert.Equal(t, trip.ChamberLost, r.s.Tripped, "a latched trip stays")
}
