package controller

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/conduction"
	"fumarium/profile/quantity"
	"fumarium/sensors"
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
	long(t)
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

// A chamber without heat cools, and a reading that does not is none of it. It trips a batch
// that is held, and after a trip of a probe that stood still no reset gives heat again
// before the reading has fallen. One that falls is let alone.
func TestAReadingThatDoesNotCoolGetsNoHeat(t *testing.T) {
	for name, c := range map[string]struct {
		falls float64 // K/s while nothing heats
		trips bool
	}{"creeps up by 2 K/h": {-2. / 3600, true}, "stands still": {0, true}, "falls by a kelvin in a quarter of an hour": {1. / 900, true},
		"falls by a kelvin in 8 min": {1. / 480, false}, "falls by 1 K/min": {1. / 60, false}} {
		r := newRig(t).started(2)
		r.run(20 * time.Minute)
		require.Greater(t, r.chamber, 70.0)
		m, err := New(r.p, r.c)
		require.NoError(t, err)
		at := r.chamber
		step := func(k CommandKind) (events []Event) {
			at -= c.falls
			r.in.Command = Command{Kind: k}
			r.in.Chamber[0] = flicker(sensors.At(quantity.Celsius(at)), r.in.Elapsed)
			_, events = m.Advance(&r.s, &r.in)
			r.in.Elapsed += time.Second
			return events
		}
		step(Hold)
		tripped := time.Duration(0)
		for i := range 30 * 60 {
			if step(NoCommand); r.s.Tripped == trip.HeatUnanswered && tripped == 0 {
				tripped = time.Duration(i) * time.Second
			}
		}
		assert.Equal(t, c.trips, tripped > 0, name)
		if c.trips {
			assert.InDelta(t, (coolsAfter + coolsWithin).Seconds(), tripped.Seconds(), 120, name)
		}
	}

	r := newRig(t).started(2)
	r.run(20 * time.Minute)
	m, err := New(r.p, r.c)
	require.NoError(t, err)
	r.s.Tripped = trip.ChamberFrozen
	r.s.Batch = Held
	reads := r.chamber
	step := func(k CommandKind) []Event {
		r.in.Command = Command{Kind: k}
		r.in.Chamber[0] = flicker(sensors.At(quantity.Celsius(reads)), r.in.Elapsed)
		_, events := m.Advance(&r.s, &r.in)
		r.in.Elapsed += time.Second
		return events
	}
	for range 60 {
		step(NoCommand)
	}
	assert.Equal(t, []Refusal{StillTripped}, refusals(step(Reset)), "it has not been seen to cool")
	for range 300 {
		reads -= 0.02
		step(NoCommand)
	}
	assert.Empty(t, refusals(step(Reset)))
	assert.Equal(t, trip.None, r.s.Tripped)
}
