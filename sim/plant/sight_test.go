package plant

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/quantity"
	"fumarium/sim/plant/film"
)

// glow is what a square metre at a gives to one at b, W, by Stefan and Boltzmann
// (5.670374e-8 W/(m²·K⁴), CODATA 2018).
func glow(a, b float64) float64 {
	return 0.9 * 5.670374e-8 * (math.Pow(a+273.15, 4) - math.Pow(b+273.15, 4))
}

// At rest the floor gives off what it gets from element and tray: to the air, through the
// gap beside the tray to the walls, and through itself to the room. It is hotter than the
// walls, which see none of that.
func TestTheFloorGivesOffWhatItGets(t *testing.T) {
	p := build(t, Config{Build: woolCabinet(), HeaterPower: 400, Ambient: 15})
	p.Advance(24*time.Hour, Drive{Heater: true})
	got := glow(p.element.t, p.floor.lining)*p.element.area*min(p.pastTray, glowsDown) + glow(p.tray.t, p.floor.lining)*p.tray.area
	gives := p.films.floor*(p.floor.lining-p.air.t) + glow(p.floor.lining, p.wall.lining)*p.gap + p.films.under*(p.floor.chain.Temperature(0)-15)
	assert.InEpsilon(t, got, gives, 0.01)
	assert.Greater(t, p.floor.lining, p.wall.lining+10)
	t.Logf("floor %.0f °C, walls %.0f °C, air %.0f °C", p.floor.lining, p.wall.lining, p.air.t)
	assert.InEpsilon(t, 2*(0.36+2*0.6*1.2), p.floor.area+p.wall.area, 1e-12, "no wall is lost")
}

// A probe is where convection brings what radiation takes: solved here by halving, with the
// fourth powers. Where all is as warm as the air it reads the air.
func TestTheProbeFeelsWhatItSees(t *testing.T) {
	for _, row := range []struct {
		walls, tray, meat float64
		fan               bool
	}{{80, 80, 80, false}, {65, 80, 40, false}, {65, 80, 40, true}, {78, 150, 75, false}, {78, 150, 75, true}} {
		c := smallLoad()
		p := build(t, c)
		fix(p, 80, 0.1)
		p.wall.lining, p.floor.lining, p.tray.t, p.product.surface, p.element.t = row.walls, row.walls, row.tray, row.meat, row.walls
		p.drive.Fan = row.fan
		for range 3 {
			p.refreshFilms()
		}
		alone := film.DryAir(80, p.pressure)
		h := alone.FreeCylinder(quantity.Kelvin(p.Probe()-80), probeDiameter)
		if v := p.blows(); v > 0 {
			h = film.Mixed(h, alone.CrossCylinder(v, probeDiameter))
		}
		low, high := 0.0, 200.0
		for range 60 {
			t := (low + high) / 2
			gets := h*(80-t) + (glow(row.walls, t)*(p.wall.area+p.gap)+glow(row.tray, t)*p.tray.area+glow(row.meat, t)*p.product.area)/p.around
			if gets > 0 {
				low = t
			} else {
				high = t
			}
		}
		t.Logf("%+v: reads %.1f, by halving %.1f", row, float64(p.Probe()), low)
		assert.InDelta(t, low, float64(p.Probe()), 0.05+0.03*math.Abs(low-80), "%+v", row)
	}
}

// A sausage that has dried for half a day in hot air becomes as hot as what a probe reads
// there and not much hotter, in a cabinet whose element works hard against an open damper.
func TestADrySausageDoesNotOutrunTheProbe(t *testing.T) {
	entry, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	c := entry.Value
	p := build(t, Config{Build: c.Rehearsal, HeaterPower: c.Heater.Power, Generator: c.Generator, Ambient: c.Ambient, Load: Load{
		Shape: profile.Shape{Form: profile.Cylinder, Diameter: 0.06, Length: 0.4, Casing: profile.FibrousCasing},
		Mix:   composition.Mix{Water: .60, Protein: .16, Fat: .21, Ash: .03}, Mass: 4, Start: 8, Flesh: SaltedComminuted,
	}})
	over := quantity.Kelvin(-100)
	for range 12 * 3600 {
		p.Advance(time.Second, Drive{Heater: p.Probe() < 80, Damper: 1})
		over = max(over, quantity.Kelvin(p.Core()-p.Probe()))
	}
	t.Logf("core %.1f °C, probe %.1f, air %.1f: the core over the probe by %.1f K at most", p.Core(), p.Probe(), p.Chamber(), over)
	assert.Less(t, over, quantity.Kelvin(1.5))
	assert.Greater(t, over, quantity.Kelvin(-3), "it has come up")
	// The figure of hazards.md.
	assert.InDelta(t, 76, float64(p.Chamber()), 0.7)
	assert.InDelta(t, 80, float64(p.Probe()), 0.5)
}
