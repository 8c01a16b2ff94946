package lint

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/conduction"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// solid is a piece as the estimate divides it, of 0.45 W/(m·K) and 1.35e-7 m²/s.
func solid(t *testing.T, form profile.Form, half quantity.Meters, start quantity.Celsius) *conduction.Body {
	t.Helper()
	const density, specificHeat = 1000, 0.45 / 1.35e-7 / 1000
	b, err := conduction.NewBody(nodes, form.Exponent(), half, conduction.Properties{Conductivity: 0.45, Density: density, SpecificHeat: specificHeat}, start)
	require.NoError(t, err)
	return b
}

// Centre temperatures of a body of uniform start in a medium of one temperature,
// as θ = (T - medium)/(start - medium) at Fo = αt/R²: full series of 45 terms,
// computed with mpmath outside this project (the first roots agree with Çengel
// table 4-2 and Incropera table 5.1).
func TestEstimateMeetsTheSeriesSolution(t *testing.T) {
	const (
		conductivity = 0.45
		diffusivity  = 1.35e-7
		radius       = 0.025
	)
	for _, c := range []struct {
		form  profile.Form
		biot  float64
		fo    float64
		theta float64
	}{
		{profile.Slab, 0.7, 0.5, 0.8234}, {profile.Slab, 0.7, 2, 0.353878}, {profile.Slab, 2, 1, 0.369556}, {profile.Slab, 10, 0.5, 0.454641},
		{profile.Cylinder, 0.7, 0.5, 0.638883}, {profile.Cylinder, 0.7, 2, 0.108489}, {profile.Cylinder, 2, 0.5, 0.372397}, {profile.Cylinder, 10, 0.5, 0.1458},
		{profile.Sphere, 0.7, 0.5, 0.47988}, {profile.Sphere, 1, 1, 0.107977}, {profile.Sphere, 2, 0.5, 0.188932}, {profile.Sphere, 10, 0.1, 0.795759},
	} {
		t.Run(fmt.Sprint(c.form, c.biot, c.fo), func(t *testing.T) {
			p := solid(t, c.form, radius, 0)
			seconds := c.fo * radius * radius / diffusivity
			steps := int(math.Round(seconds / estimateStep.Seconds()))
			for range steps {
				p.Step(estimateStep, c.biot*conductivity/radius, 1)
			}
			assert.InDelta(t, c.theta, 1-float64(p.Core()), 0.006)
		})
	}
}

// Minutes until the centre of a long cylinder from 10 °C reaches its target,
// k 0.45 W/(m·K), α 1.35e-7 m²/s: Bessel series of eight terms, computed outside
// this project.
func TestEstimateMeetsTheBesselTimes(t *testing.T) {
	for _, c := range []struct {
		diameter, film, air, core, minutes float64
	}{
		{0.021, 15, 75, 68, 48.9}, {0.021, 25, 80, 72, 30.8}, {0.026, 25, 75, 68, 40.8},
		{0.043, 15, 80, 72, 109.6}, {0.050, 25, 75, 68, 94.5}, {0.065, 25, 80, 72, 132.8}, {0.075, 25, 75, 68, 167.3},
	} {
		p := solid(t, profile.Cylinder, quantity.Meters(c.diameter/2), 10)
		var took time.Duration
		for float64(p.Core()) < c.core && took < estimateLimit {
			p.Step(estimateStep, c.film, quantity.Celsius(c.air))
			took += estimateStep
		}
		assert.InEpsilon(t, c.minutes, took.Minutes(), 0.015, "%v", c)
	}
}

// After the start the centre of a cylinder follows air that rises at a constant
// rate with a lag of (R²/α)·(1/(2 Bi) + 1/4): closed form.
func TestEstimateMeetsTheRampLag(t *testing.T) {
	const radius, conductivity, diffusivity, biot, perSecond = 0.016, 0.45, 1.35e-7, 0.7, 0.2 / 60
	p := solid(t, profile.Cylinder, radius, 10)
	air := 10.0
	for range int(5 * time.Hour / estimateStep) {
		air += perSecond * estimateStep.Seconds()
		p.Step(estimateStep, biot*conductivity/radius, quantity.Celsius(air))
	}
	lag := radius * radius / diffusivity * (1/(2*biot) + 0.25)
	assert.InEpsilon(t, lag, (air-float64(p.Core()))/perSecond, 0.01)
}

func TestEstimateBatchGoesThroughTheStages(t *testing.T) {
	p := ringSausage()
	e := estimateBatch(p, 15)
	for i, s := range e.stages {
		if i > 0 {
			assert.Equal(t, e.stages[i-1].endCore, s.startCore)
		}
		assert.False(t, s.cut)
	}
	assert.Equal(t, 40*time.Minute, e.stages[0].took)
	assert.GreaterOrEqual(t, float64(e.stages[2].endCore), 70.0)
	assert.LessOrEqual(t, float64(e.stages[3].endCore), 6.0)
	assert.Greater(t, e.comeUp, 30*time.Minute)
	assert.Less(t, e.comeUp, 3*time.Hour)

	warm := estimateBatch(p, 15).comeUp
	p.Shape.Diameter = 0.08
	assert.Greater(t, estimateBatch(p, 15).comeUp, warm, "a thicker piece comes up later")
}

func TestEstimateOfAlternatives(t *testing.T) {
	after := profile.Condition{Kind: profile.After, After: time.Hour}
	core := profile.Condition{Kind: profile.CoreAtLeast, Core: 60}
	asked := profile.Condition{Kind: profile.Confirmed, Confirm: "done?"}
	for _, c := range []struct {
		name  string
		until profile.Until
		took  time.Duration
		core  quantity.Celsius
		met   bool
	}{
		{"all, one missing", profile.Until{Conditions: []profile.Condition{after, core}}, time.Hour, 50, false},
		{"all", profile.Until{Conditions: []profile.Condition{after, core}}, time.Hour, 60, true},
		{"any, none", profile.Until{Any: true, Conditions: []profile.Condition{after, core}}, time.Minute, 50, false},
		{"any, one", profile.Until{Any: true, Conditions: []profile.Condition{after, core}}, time.Minute, 60, true},
		{"the person takes no time", profile.Until{Conditions: []profile.Condition{asked}}, 0, 4, true},
		{"the person adds no time", profile.Until{Conditions: []profile.Condition{after, asked}}, time.Hour, 4, true},
		{"the person is not counted on", profile.Until{Any: true, Conditions: []profile.Condition{after, asked}}, 0, 4, false},
		{"only persons", profile.Until{Any: true, Conditions: []profile.Condition{asked, asked}}, 0, 4, true},
	} {
		assert.Equal(t, c.met, estimatedMet(c.until, c.took, c.core, lethality.Count{}, lethality.RedMeatCriterion()), c.name)
	}
}
