// Package lethality counts how many tenfold reductions of a pathogen a
// temperature history is worth, and holds the count against the published criterion
// for a kind of food: an integral, a table of holding times, or both. It also counts
// the come-up time. It reads no file and knows nothing of a batch.
//
// The kill rate at temperature T, as minutes at the reference temperature per
// minute, is 10^((T - Tref)/z). Its integral is F; F divided by the decimal
// reduction time D at Tref is the log10 reduction (American Meat Institute
// Foundation, Process Lethality Determination worksheet, August 2010: the AMI
// worksheet below).
package lethality

import (
	"math"
	"time"

	"fumarium/profile/quantity"
)

// Kinetics are the constants of one organism in one food.
type Kinetics struct {
	Reference quantity.Celsius
	Z         quantity.Kelvin // rise that makes the kill ten times as fast
	D         time.Duration   // time at Reference for one log10 reduction
}

// RedMeat is Salmonella in meat patties: Tref 150 °F, z 10 °F, D 0.172 min
// (Scott and Weddig 1998, as listed in the AMI worksheet). With 6.5 log10 it
// reproduces the red-meat table of FSIS Appendix A (1999) to its rounding.
var RedMeat = Kinetics{
	Reference: 590.0 / 9, // 150 °F, written as a constant for exactness
	Z:         50.0 / 9,  // 10 °F
	D:         10320 * time.Millisecond,
}

// Segment is the equivalent time at the reference temperature, in seconds, of a
// straight line from temperature from to temperature to lasting dt. It is the
// exact integral: the trapezoid of the rates would be too large, which is the
// unsafe side, because the rate is convex in temperature.
func (k Kinetics) Segment(from, to quantity.Celsius, dt time.Duration) (seconds float64) {
	if dt <= 0 {
		return 0
	}
	perKelvin := math.Ln10 / float64(k.Z)
	rate := math.Exp(perKelvin * float64(from-k.Reference))
	x := perKelvin * float64(to-from)
	mean := 1 + x/2 + x*x/6 // (e^x - 1)/x for a nearly flat line
	if math.Abs(x) > 1e-4 {
		mean = math.Expm1(x) / x
	}
	return rate * mean * dt.Seconds()
}

// Log10 is the reduction that an accumulated equivalent time is worth.
func (k Kinetics) Log10(seconds float64) float64 { return seconds / k.D.Seconds() }
