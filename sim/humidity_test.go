package sim_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// humidityError is how far the step's humidity is from the plant's in the second half
// of two hours at 60 °C, in %RH: on average, and the largest.
func humidityError(t *testing.T, wick cabinet.WickAir, fan quantity.Ratio, altitude quantity.Meters, faults ...fault.Fault) (mean, most, humidity float64) {
	product, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	box, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	p, c := *product.Value, *box.Value
	p.Stages = []profile.Stage{{
		Name: "dry", Place: profile.Chamber, Heat: true, ChamberSetpoint: 60, Fan: fan, HasDamper: true, Damper: 0.3,
		Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 2 * time.Hour}}},
	}}
	p.Shape, p.Formula = product.Value.Shape, product.Value.Formula
	c.Wick, c.Altitude, c.HasAltitude = wick, altitude, altitude != 0
	sum, n := 0.0, 0.0
	_, err = sim.Watch(t.Context(), sim.Setup{Product: &p, Cabinet: &c, Seed: 3, Load: 3, Faults: faults}, func(m *sim.Moment) {
		if m.Now < time.Hour || !m.After.Batch.Active() {
			return
		}
		require.True(t, m.After.Wick.HasHumidity, "at %v", m.Now)
		truth := 100 * float64(m.World.Built().Humidity())
		off := 100*float64(m.After.Wick.Humidity) - truth
		sum, n, humidity, most = sum+off, n+1, humidity+truth, max(most, math.Abs(off))
	})
	require.NoError(t, err)
	require.Greater(t, n, 3000.0)
	return sum / n, most, humidity / n
}

// The step's humidity against the truth of a plant that knows no psychrometer
// coefficient; the table in controller/humidity.go comes from here.
func TestHumidityAgainstThePlant(t *testing.T) {
	dead := fault.Fault{Kind: fault.FanDead}
	// A dry probe sees walls that are colder than the air, and its reading makes the air
	// moister than it is.
	const seesWalls = 1.2
	for _, row := range []struct {
		name     string
		wick     cabinet.WickAir
		fan      quantity.Ratio
		altitude quantity.Meters
		faults   []fault.Fault
		low      float64 // the mean lies between these, %RH
		high     float64
		most     float64
	}{
		{"own blower, fan off", cabinet.WickOwnBlower, 0, 0, nil, -1.5, seesWalls, 3},
		{"own blower, fan half the time", cabinet.WickOwnBlower, 0.5, 0, nil, -1.5, seesWalls, 4},
		{"own blower, fan on", cabinet.WickOwnBlower, 1, 0, nil, -1.5, seesWalls, 3},
		{"own blower, fan on, 1500 m", cabinet.WickOwnBlower, 1, 1500, nil, -1.5, seesWalls, 3},
		{"fan stream, fan off", cabinet.WickFanStream, 0, 0, nil, -5, -1, 6},
		{"fan stream, fan half the time", cabinet.WickFanStream, 0.5, 0, nil, -3.5, 0, 6},
		{"fan stream, fan on", cabinet.WickFanStream, 1, 0, nil, -1.5, seesWalls, 3},
		{"fan stream, fan stuck", cabinet.WickFanStream, 1, 0, []fault.Fault{dead}, 1, 4, 5},
		{"open, fan off", cabinet.WickOpen, 0, 0, nil, -5, -1, 6},
		{"open, fan half the time", cabinet.WickOpen, 0.5, 0, nil, -3.5, 0, 6},
		{"open, fan on", cabinet.WickOpen, 1, 0, nil, -2, 0, 3},
		{"open, fan stuck", cabinet.WickOpen, 1, 0, []fault.Fault{dead}, 0.5, 3, 4},
	} {
		t.Run(row.name, func(t *testing.T) {
			mean, most, humidity := humidityError(t, row.wick, row.fan, row.altitude, row.faults...)
			t.Logf("%-30s mean %+.1f, most %.1f %%RH of %.0f", row.name, mean, most, humidity)
			assert.GreaterOrEqual(t, mean, row.low)
			assert.LessOrEqual(t, mean, row.high)
			assert.LessOrEqual(t, most, row.most)
		})
	}
}
