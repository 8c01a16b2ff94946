package controller

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/conduction"
	"fumarium/profile/quantity"
)

// The last mode of slab, cylinder and sphere under a surface of fixed temperature is the
// first zero of cos, J0 and sin(x)/x (Carslaw and Jaeger, Conduction of Heat in Solids,
// 1959; from memory). J0 is the standard library's.
func TestTheLastModeIsTheFirstZero(t *testing.T) {
	assert.InDelta(t, 0, math.Cos(math.Sqrt(lastMode(profile.Slab))), 1e-3)
	assert.InDelta(t, 0, math.J0(math.Sqrt(lastMode(profile.Cylinder))), 1e-3)
	assert.InDelta(t, 0, math.Sin(math.Sqrt(lastMode(profile.Sphere))), 1e-3)
}

// First roots at Bi = 1 and 100 (Incropera and DeWitt, Fundamentals of Heat and Mass
// Transfer, table 5.1; from memory). A sphere's at 1 is a quarter turn.
func TestTheSlowestModeIsTheHandbooks(t *testing.T) {
	for _, c := range []struct {
		form     profile.Form
		one, big float64
	}{{profile.Slab, 0.8603, 1.5552}, {profile.Cylinder, 1.2558, 2.3809}, {profile.Sphere, math.Pi / 2, 3.1102}} {
		assert.InDelta(t, c.one, slowestMode(c.form, 1), 1e-4, c.form)
		assert.InDelta(t, c.big, slowestMode(c.form, 100), 1e-3, c.form)
	}
}

// No core of a piece as thick as the file says, or a fifth thinner, in air as hot as the
// reading, is ahead of the bound: in air that is hot from the start and in air that
// follows a ramp, in every film up to the fastest. The pieces are worked out by finite
// volumes (profile/conduction, held to closed forms there).
func TestNoCoreIsAheadOfItsBound(t *testing.T) {
	const heatCapacity = leastHeatCapacity
	for _, form := range []profile.Form{profile.Slab, profile.Cylinder, profile.Sphere} {
		for _, half := range []float64{0.008, 0.02, 0.05} {
			shape := profile.Shape{Form: form, Diameter: quantity.Meters(2 * half), Thickness: quantity.Meters(2 * half), Length: 0.3}
			bound := leastLag(shape, fanFilm)
			for _, thinner := range []float64{coreThinner, 1} {
				for _, film := range []float64{6, 20, fanFilm} {
					for _, ramp := range []float64{30. / 3600, math.Inf(1)} { // K/s
						b, err := conduction.NewBody(conduction.MaxNodes, form.Exponent(), quantity.Meters(half*thinner),
							conduction.Properties{Conductivity: fastestDiffusivity * heatCapacity, Density: 1000, SpecificHeat: heatCapacity / 1000}, 5)
						require.NoError(t, err)
						before := b.Core()
						for s := 1; s <= 8*3600; s++ {
							air := quantity.Celsius(math.Min(80, 15+ramp*float64(s)))
							b.Step(time.Second, film, air)
							rate := float64(b.Core() - before)
							before = b.Core()
							ahead := float64(b.Core()-air) + rate*bound
							if time.Duration(s)*time.Second > coreTrendKnown && ahead > 0.05 {
								t.Fatalf("%v of %.0f mm, film %.0f, ramp %g K/s: %.2f K ahead after %d s", form, 2000*half*thinner, film, ramp, ahead, s)
							}
						}
					}
				}
			}
		}
	}
}
