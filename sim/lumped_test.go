package sim_test

import (
	"io"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/plant"
)

// lumped is a plant of another make: air, wall and meat as three lumps, each with one heat
// capacity and one conductance to its neighbour, no water, no wood. Temperatures in °C,
// W/K and J/K; magnitudes of a light cabinet with some kilograms in it, no source.
type lumped struct {
	air, wall, meat, room, around float64
	power                         float64 // W
}

const (
	lumpAir, lumpWall, lumpMeat  = 6e3, 40e3, 20e3 // J/K
	airToWall, wallToRoom, toAir = 25.0, 4.0, 6.0  // W/K
	leaks                        = 3.0             // W/K, from the air to the room
	inIceWater                   = 40.0            // W/K
)

func (l *lumped) Advance(dt time.Duration, d plant.Drive) {
	for left := dt.Seconds(); left > 0; left-- {
		step := min(left, 1)
		heat, touches := 0.0, toAir
		if d.Heater {
			heat = l.power
		}
		into := 0.0 // W that the meat takes from the air
		switch l.around = l.air; d.Place {
		case profile.IceWater:
			l.around, touches = 0, inIceWater
		case profile.ColdRoom:
			l.around = 3
		case profile.Room:
			l.around = l.room
		default:
			into = touches * (l.around - l.meat)
		}
		toWall, toRoom := airToWall*(l.air-l.wall), wallToRoom*(l.wall-l.room)
		l.meat += step * touches * (l.around - l.meat) / lumpMeat
		l.air += step * (heat - toWall - into - leaks*(l.air-l.room)) / lumpAir
		l.wall += step * (toWall - toRoom) / lumpWall
	}
}

func (l *lumped) SetAmbient(t quantity.Celsius) { l.room = float64(t) }

func (l *lumped) At(s sim.Spot) quantity.Celsius {
	t, known := map[sim.Spot]float64{sim.InChamber: l.air, sim.OnProbe: l.air, sim.InCore: l.meat, sim.BesideProduct: l.around, sim.InRoom: l.room}[s]
	if !known {
		t = math.NaN()
	}
	return quantity.Celsius(t)
}

func (l *lumped) Copy() sim.Plant {
	c := *l
	return &c
}

// A plant of quite another structure runs a whole batch under the same controller, probes
// and person, and is scored by the same code; what it does not know is null.
func TestAPlantOfAnotherMake(t *testing.T) {
	product, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	box, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	other := &lumped{air: 15, wall: 15, meat: 8, power: float64(box.Value.Heater.Power)}
	var trace sim.Trace
	setup := sim.Setup{Product: product.Value, Cabinet: box.Value, Seed: 1, Plant: other, Answer: sim.Brisk}
	r, err := sim.Rehearse(t.Context(), setup, &trace, nil)
	require.NoError(t, err)
	assert.Equal(t, "complete", r.Outcome, "%s %+v", r.Reason, r.Alarms)
	assert.True(t, r.Good())
	require.NotNil(t, r.Lethality.Log10Reduction)
	assert.Greater(t, *r.Lethality.Log10Reduction, *r.Lethality.RequiredLog10)
	require.NotNil(t, r.Control.HoldRMSKelvin)
	assert.Greater(t, *r.Control.IAEKelvinSeconds, 0.0)
	assert.Greater(t, r.Core.PeakCelsius, 71.0)
	assert.Len(t, r.Stages, len(product.Value.Stages))
	assert.Nil(t, r.YieldPercent)
	assert.True(t, *r.Chill.Pass)
	assert.NoError(t, trace.Figure(setup, r).WriteSVG(io.Discard))
	t.Logf("%.0f s, %+.2f K over, %.2f K rms, core peak %.1f °C", r.ElapsedSeconds, *r.Control.OvershootKelvin, *r.Control.HoldRMSKelvin, r.Core.PeakCelsius)
}
