package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
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
