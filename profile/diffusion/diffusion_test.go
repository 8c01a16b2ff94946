package diffusion_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"fumarium/profile/diffusion"
)

const day = 86400.0

var (
	slabBath = diffusion.Way{Body: diffusion.Slab, Supply: diffusion.Bath}
	cylBath  = diffusion.Way{Body: diffusion.Cylinder, Supply: diffusion.Bath}
	slabRub  = diffusion.Way{Body: diffusion.Slab, Supply: diffusion.Rub}
	cylRub   = diffusion.Way{Body: diffusion.Cylinder, Supply: diffusion.Rub}
	pickle   = diffusion.Way{Body: diffusion.Slab, Supply: diffusion.Pickle, Ratio: 1}
)

// A ham rubbed with salt is empty in the middle after two days.
func Example() {
	ham := diffusion.Way{Body: diffusion.Cylinder, Supply: diffusion.Rub}
	d := diffusion.Salt.D(2)
	fmt.Printf("after 48 h %.0f %%, 90 %% after %.0f days\n", 100*ham.Middle(d*2*day/(0.08*0.08)), ham.Fourier(0.9)*0.08*0.08/d/day)
	// Output: after 48 h 0 %, 90 % after 81 days
}

// Fourier numbers and days from the series of Crank; own arithmetic, done elsewhere than
// here.
func TestFourierNumbers(t *testing.T) {
	for _, c := range []struct {
		way           diffusion.Way
		share, wanted float64
	}{
		{slabBath, 0.80, 0.7502}, {slabBath, 0.90, 1.0311}, {slabBath, 0.95, 1.3120},
		{cylBath, 0.80, 0.3598}, {cylBath, 0.90, 0.4796}, {cylBath, 0.95, 0.5995},
		{slabRub, 0.80, 0.2332}, {slabRub, 0.90, 0.3035},
		{cylRub, 0.80, 0.1713}, {cylRub, 0.90, 0.2187},
		{pickle, 0.90, 0.6546}, {pickle, 0.95, 0.8230},
	} {
		assert.InDelta(t, c.wanted, c.way.Fourier(c.share), 1e-4, "%+v to %g", c.way, c.share)
	}
	for _, c := range []struct {
		way          diffusion.Way
		millimetres  float64
		daysToNinety float64
	}{
		{slabBath, 20, 5.97}, {slabBath, 42, 26.3}, {slabBath, 60, 53.7}, {slabRub, 20, 1.76}, {slabRub, 42, 7.75}, {slabRub, 60, 15.8},
		{cylBath, 60, 25.0}, {cylBath, 160, 177.6}, {cylRub, 60, 11.4}, {cylRub, 160, 81.0},
	} {
		half := c.millimetres / 2000
		assert.InEpsilon(t, c.daysToNinety, c.way.Fourier(0.9)*half*half/2e-10/day, 0.003, "%+v of %g mm", c.way, c.millimetres)
	}
	fo := 2e-10 * 6 * day / (0.021 * 0.021)
	assert.InDelta(t, 0.289, slabBath.Middle(fo), 5e-4)
	assert.InDelta(t, 0.804, slabRub.Middle(fo), 5e-4)
	assert.InDelta(t, 0, cylRub.Middle(2e-10*2*day/(0.08*0.08)), 1e-6, "the middle of a ham of 160 mm after two days")
	// First terms of tables of transient conduction for a fixed surface: 1.2732, (π/2)² and
	// 1.6021, 2.4048² (from memory).
	assert.InDelta(t, 1-1.2732*math.Exp(-math.Pi*math.Pi/4*0.8), slabBath.Middle(0.8), 1e-4)
	assert.InDelta(t, 1-1.6021*math.Exp(-2.4048*2.4048*0.8), cylBath.Middle(0.8), 1e-4)
}

// volumes steps the same problem in finite volumes, without a series.
func volumes(w diffusion.Way, fourier float64) float64 {
	const n = 80
	dx := 1.0 / n
	dt := 0.2 * dx * dx
	area := func(x float64) float64 { return 1 }
	if w.Body == diffusion.Cylinder {
		area = func(x float64) float64 { return x }
	}
	var c [n]float64
	volume := func(i int) float64 { return dx * area((float64(i)+0.5)*dx) }
	whole := 0.0
	for i := range c {
		whole += volume(i)
	}
	bath, last := 1.0, 1.0
	switch w.Supply {
	case diffusion.Rub:
		c[n-1], bath = whole/volume(n-1), 0
	case diffusion.Pickle:
		last = w.Ratio / (1 + w.Ratio)
	}
	for range int(math.Round(fourier / dt)) {
		var flow [n + 1]float64
		for i := 1; i < n; i++ {
			flow[i] = (c[i] - c[i-1]) / dx * area(float64(i)*dx)
		}
		if w.Supply != diffusion.Rub {
			flow[n] = (bath - c[n-1]) / (dx / 2) * area(1)
		}
		for i := range c {
			c[i] += dt * (flow[i+1] - flow[i]) / volume(i)
		}
		if w.Supply == diffusion.Pickle {
			bath -= dt * flow[n] / w.Ratio
		}
	}
	return c[0] / last
}

func TestSeriesAgreeWithFiniteVolumes(t *testing.T) {
	half := diffusion.Way{Body: diffusion.Slab, Supply: diffusion.Pickle, Ratio: 0.5}
	for _, w := range []diffusion.Way{slabBath, cylBath, slabRub, cylRub, pickle, half} {
		for _, fourier := range []float64{0.05, 0.2, 0.6} {
			// The rub starts in the outermost volume instead of on the surface.
			assert.InDelta(t, volumes(w, fourier), w.Middle(fourier), 8e-3, "%+v at %g", w, fourier)
		}
	}
}

// Gómez and others 2015: nitrite 4.58e-12 m²/s at 2 °C and 1.02e-11 at 12 °C (the second
// corrected for its exponent), 60.32 kJ/mol; 2017: nitrate across the fibre 0.89 to
// 1.41e-10, along it 0.007 to 0.034e-10, as their abstracts say.
func TestCoefficients(t *testing.T) {
	assert.InDelta(t, 4.58e-12, diffusion.Nitrite.D(2), 1e-18)
	assert.InDelta(t, 2.52, diffusion.Nitrite.D(12)/diffusion.Nitrite.D(2), 0.005)
	assert.InEpsilon(t, 1.02e-11, diffusion.Nitrite.D(12), 0.15)
	assert.InEpsilon(t, 1.41e-10, diffusion.NitrateAcross.D(12), 0.10)
	assert.InEpsilon(t, 0.034e-10, diffusion.NitrateAlong.D(12), 0.15)
	assert.Equal(t, diffusion.Salt.D(2), diffusion.Salt.D(10))
	// A slab of 50 mm in a bath at 12 °C wants two years: nitrite in its middle cannot be
	// shown so.
	assert.InDelta(t, 731, slabBath.Fourier(0.9)*0.025*0.025/1.02e-11/day, 1)
}

func TestMoreTimeIsNeverLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := diffusion.Way{Body: diffusion.Body(rapid.IntRange(0, 1).Draw(t, "body")), Supply: diffusion.Supply(rapid.IntRange(0, 2).Draw(t, "supply")),
			Ratio: rapid.Float64Range(0.05, 20).Draw(t, "ratio")}
		fourier := rapid.Float64Range(0, 3).Draw(t, "fourier")
		now, later := w.Middle(fourier), w.Middle(fourier+rapid.Float64Range(0, 1).Draw(t, "more"))
		if now < 0 || later > 1 || later < now-1e-9 {
			t.Fatalf("%+v: %g, later %g", w, now, later)
		}
		share := rapid.Float64Range(0.05, 0.98).Draw(t, "share")
		if got := w.Middle(w.Fourier(share)); math.Abs(got-share) > 1e-9 {
			t.Fatalf("%+v: %g at the time for %g", w, got, share)
		}
	})
}
