package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/psychrometer"
	"fumarium/sensors/psychrometer/moistair"
)

// wetRig has a wick and a chamber at 75 °C dry, 55 °C wet: psychrometer's tests hold
// the humidities of this pair against PsychroLib.
func wetRig(t *testing.T, wick cabinet.WickAir) *rig {
	r := newRig(t)
	r.c.Wick = wick
	r.p.Stages[0].Until = after(3 * time.Hour)
	r.p.Stages[0].ChamberSetpoint = 75
	r.chamberIs(sensors.At(75))
	r.started(0)
	r.in.WetBulb = sensors.At(55)
	return r
}

func (r *rig) percent(t *testing.T) float64 {
	require.True(t, r.s.Wick.HasHumidity)
	return 100 * float64(r.s.Wick.Humidity)
}

// Rows of the comparison that package psychrometer holds against PsychroLib 2.5.0:
// 75/55 °C is 37.23 % with the coefficient of WMO-No. 8, 36.64 % at 8.0e-4 and 34.54 %
// at 1.2e-3.
func TestHumidityKnowsTheWick(t *testing.T) {
	for _, row := range []struct {
		wick cabinet.WickAir
		fan  quantity.Ratio
		want float64
	}{
		{cabinet.WickOpen, 1, 36.64}, {cabinet.WickOpen, 0, 34.54},
		{cabinet.WickFanStream, 1, 37.23}, {cabinet.WickFanStream, 0, 34.54},
		{cabinet.WickOwnBlower, 1, 37.23}, {cabinet.WickOwnBlower, 0, 37.23},
	} {
		r := wetRig(t, row.wick)
		r.p.Stages[0].Fan = row.fan
		r.run(10 * time.Minute)
		assert.Equal(t, row.fan == 1, r.out.On.Has(Fan))
		assert.InDelta(t, row.want, r.percent(t), 0.01, "%v, fan %v", row.wick, row.fan)
	}
	// A fan that goes half of the time gives one figure in between.
	r := wetRig(t, cabinet.WickOpen)
	r.p.Stages[0].Fan = 0.5
	r.run(10 * time.Minute)
	low, high := 100.0, 0.0
	for range 4 * 60 {
		r.step()
		low, high = min(low, r.percent(t)), max(high, r.percent(t))
	}
	assert.Greater(t, low, 34.8)
	assert.Less(t, high, 36.4)
}

// The same pair is moister air high up: 37.96 % instead of 37.75 % at 500 m by the
// thermodynamic wet bulb (PsychroLib); the equation's difference is the same.
func TestHumidityKnowsTheAltitude(t *testing.T) {
	r := wetRig(t, cabinet.WickOwnBlower)
	r.c.Altitude, r.c.HasAltitude = 500, true
	r.run(time.Minute)
	assert.InDelta(t, 37.23+37.96-37.75, r.percent(t), 0.1)
}

// The pressure that a chip in the room measures counts before the altitude's, and one that
// no air has, or none, leaves that: the standard atmosphere has 95461 Pa at 500 m (ISO 2533,
// recalled from memory).
func TestHumidityKnowsTheMeasuredPressure(t *testing.T) {
	at := func(pascal float64) float64 {
		r := wetRig(t, cabinet.WickOwnBlower)
		r.in.AirPascal = pascal
		r.run(time.Minute)
		return r.percent(t)
	}
	assert.InDelta(t, 37.23+37.96-37.75, at(95_461), 0.1)
	for _, none := range []float64{0, 20_000, 200_000, -1} {
		assert.Equal(t, at(101_325), at(none), none)
	}
}

// Shown at all times; alarms and the humidifier are for a stage that asks for it.
func TestHumidityWithoutABatch(t *testing.T) {
	r := newRig(t)
	r.chamberIs(sensors.At(75))
	r.in.WetBulb = sensors.At(55)
	r.step()
	assert.InDelta(t, 34.54, r.percent(t), 0.01)
	r.in.WetBulb = sensors.Fault(sensors.Open)
	r.step()
	assert.False(t, r.s.Wick.HasHumidity)
	r.in.WetBulb = sensors.At(74.6)
	r.step()
	assert.False(t, r.s.Wick.HasHumidity, "a dry wick")
}

// In air drier than the coefficient is good for the humidity is 0 %, not unknown: the
// humidifier must be able to begin. In fog two probes' noise is no fault.
func TestHumidityAtItsEnds(t *testing.T) {
	r := wetRig(t, cabinet.WickOpen)
	wet := moistair.WetBulb(75, 0.001, psychrometer.StandardPressure)
	_, ok := psychrometer.Humidity(75, wet, psychrometer.StandardPressure, psychrometer.Unventilated)
	require.False(t, ok)
	r.in.WetBulb = sensors.At(wet + 6) // as a wick in still air
	r.step()
	assert.Zero(t, r.percent(t))
	r.in.WetBulb = sensors.At(10)
	r.step()
	assert.False(t, r.s.Wick.HasHumidity, "no air has that")
	r = newRig(t)
	r.chamberIs(sensors.At(30))
	r.in.WetBulb = sensors.At(30.3)
	r.run(time.Minute)
	assert.InDelta(t, 100, r.percent(t), 0.01)
	r.in.WetBulb = sensors.At(31)
	r.step()
	assert.False(t, r.s.Wick.HasHumidity)
}
