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

// A core that answers for the first time in the middle of a batch, and is as warm as the hot
// air, may be any probe: it proves nothing until a person says that it is in the meat. One
// that was as warm before its plug came loose is believed.
func TestACoreThatComesUpInHotAirProvesNothing(t *testing.T) {
	for name, c := range map[string]struct {
		before float64 // it read then; 0 is nothing
		out    bool
	}{"never read": {0, true}, "read 30 °C before": {30, true}, "was as warm before": {72, false}} {
		r := newRig(t).started(2)
		r.in.Core[0] = sensors.Fault(sensors.Open)
		r.run(20 * time.Minute)
		if c.before > 0 {
			r.coreIs(0, quantity.Celsius(c.before))
			r.run(5 * time.Minute)
			r.in.Core[0] = sensors.Fault(sensors.Open)
			r.run(5 * time.Minute)
		}
		require.Greater(t, r.chamber, 70.0)
		r.in.Core[0] = sensors.At(quantity.Celsius(r.chamber - 2))
		r.run(time.Minute)
		assert.Equal(t, c.out, r.s.Alarms[trip.CoreOut].Standing, name)
	}
}

// Beside a chamber that is not read nobody knows whether a core that begins to answer hangs
// in the air: it has no course there.
func TestACoreBesideAnUnreadChamberLearnsNothing(t *testing.T) {
	r := newRig(t).started(2)
	r.in.Core[0] = sensors.Fault(sensors.Open)
	r.run(20 * time.Minute)
	r.chamberIs(sensors.Fault(sensors.Open))
	r.in.Core[0] = sensors.At(71)
	r.run(2 * courseLearnt)
	assert.False(t, r.s.Core.coursesLearnt())
}

// A chamber that is not read as a stage ends leaves no setpoint of the hotter stage behind.
func TestASetpointEndsWithItsStage(t *testing.T) {
	r := newRig(t)
	r.p.Stages = []profile.Stage{
		{Name: "cook", Heat: true, ChamberSetpoint: 80, Place: profile.Chamber, Until: after(time.Hour)},
		{Name: "hold", Heat: true, ChamberSetpoint: 60, Place: profile.Chamber, Until: after(time.Hour)},
	}
	r.step(Start)
	r.run(time.Hour - 10*time.Second)
	require.Equal(t, 0, r.s.Stage)
	r.chamberIs(sensors.Fault(sensors.Open))
	r.run(20 * time.Second)
	require.Equal(t, 1, r.s.Stage)
	assert.LessOrEqual(t, r.s.Heater.Setpoint, quantity.Celsius(60))
}
