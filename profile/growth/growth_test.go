package growth

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

var all = []Organism{ClostridiumPerfringens, Salmonella, StaphylococcusAureus}

// What the model's authors ask of it: nothing at both limits, the fastest at the optimum and
// a slope of nothing there (Rosso et al. 1993, from memory).
func TestTheModelKeepsItsCardinalPoints(t *testing.T) {
	for _, o := range all {
		assert.Zero(t, o.Rate(o.Min), o.Name)
		assert.Zero(t, o.Rate(o.Max), o.Name)
		assert.InDelta(t, math.Log10(2)/o.Doubling.Hours(), o.Rate(o.Optimum), 1e-12, o.Name)
		const h = 1e-4
		assert.InDelta(t, 0, (o.Rate(o.Optimum+h)-o.Rate(o.Optimum-h))/(2*h), 1e-3, o.Name)
		assert.Greater(t, o.Optimum, (o.Min+o.Max)/2, "what the model asks of %s", o.Name)
	}
	// By hand: 7 min are 60/7 doublings an hour, of log10 2 each.
	assert.InDelta(t, 2.5802, ClostridiumPerfringens.Fastest(), 1e-4)
	// By hand, for 25 °C: (25-52)(15)^2 / (35(35(-20) + 7(45+10-50))) = -6075/-23275.
	assert.InDelta(t, 0.26101*2.5802, ClostridiumPerfringens.Rate(25), 1e-4)
}

func TestNothingGrowsFasterThanTheBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := rapid.SampledFrom(all).Draw(t, "organism")
		low := rapid.Float64Range(-20, 90).Draw(t, "low")
		high := low + rapid.Float64Range(0, 40).Draw(t, "span")
		within := quantity.Celsius(rapid.Float64Range(low, high).Draw(t, "within"))
		bound := o.Between(quantity.Celsius(low), quantity.Celsius(high))
		assert.GreaterOrEqual(t, bound+1e-9, o.Rate(within))
		assert.GreaterOrEqual(t, o.Rate(within), 0.0)
		assert.LessOrEqual(t, bound, o.Fastest()+1e-9)
	})
}

// What was measured must lie below. Cured beef, 51 to 11 °C in 8 h in a straight line of the
// logarithm of the temperature: 0.50 log10, at the upper 95 % 0.93 (Juneja et al. 2001,
// abstract). Uncured turkey, 48.9 to 26.7 °C in 2 h: more than 1 log10 (Glass et al.,
// abstract).
func TestTheBoundLiesAboveWhatWasMeasured(t *testing.T) {
	grown := func(at func(minute float64) float64, minutes int) (log10 float64) {
		for m := range minutes {
			log10 += ClostridiumPerfringens.Between(quantity.Celsius(at(float64(m+1))), quantity.Celsius(at(float64(m)))) * time.Minute.Hours()
		}
		return log10
	}
	assert.Greater(t, grown(func(m float64) float64 { return 51 * math.Pow(11./51, m/480) }, 480), 0.93)
	assert.Greater(t, grown(func(m float64) float64 { return 48.9 - 22.2*m/120 }, 120), 1.0)
}
