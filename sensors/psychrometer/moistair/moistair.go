// Package moistair has the thermodynamic wet bulb and what goes with it, exact and slow.
// Only tests use it, to hold what the programs reckon against it.
package moistair

import (
	"math"

	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// HumidityRatio of air at a total pressure with the given vapour pressure.
func HumidityRatio(vapourPascal, totalPascal float64) float64 {
	return psychrometer.MassRatio * vapourPascal / (totalPascal - vapourPascal)
}

// VapourPressure in Pa is the inverse of HumidityRatio.
func VapourPressure(humidityRatio, totalPascal float64) float64 {
	return totalPascal * humidityRatio / (psychrometer.MassRatio + humidityRatio)
}

// RelativeHumidity of air at t that holds vapour at the given pressure.
func RelativeHumidity(t quantity.Celsius, vapourPascal float64) quantity.Ratio {
	return quantity.Ratio(vapourPascal / psychrometer.SaturationPressure(t))
}

// HumidityRatioAt is that of air whose thermodynamic wet bulb is known (ASHRAE
// Fundamentals 2017, chapter 1, equation 33). It is negative for a wet bulb that
// no air of that dry bulb can have.
func HumidityRatioAt(dry, wet quantity.Celsius, totalPascal float64) float64 {
	t, w := float64(dry), float64(wet)
	saturated := HumidityRatio(psychrometer.SaturationPressure(wet), totalPascal)
	return ((2501-2.326*w)*saturated - 1.006*(t-w)) / (2501 + 1.86*t - 4.186*w)
}

// WetBulb is the thermodynamic wet bulb of air with the given humidity ratio:
// the root of HumidityRatioAt, which rises with the wet bulb all the way to the
// boiling point.
func WetBulb(dry quantity.Celsius, humidityRatio, totalPascal float64) quantity.Celsius {
	low, high := -80.0, float64(dry)
	// A wet bulb cannot reach the boiling point, where the saturated humidity
	// ratio has no bound.
	if boiling := float64(psychrometer.DewPoint(totalPascal)); high >= boiling {
		high = boiling - 1e-6
	}
	if low > high {
		return dry
	}
	t := high
	for range 100 {
		excess := HumidityRatioAt(dry, quantity.Celsius(t), totalPascal) - humidityRatio
		if excess > 0 {
			high = t
		} else {
			low = t
		}
		if high-low < 1e-9 {
			break
		}
		// A secant through a close second point; halving when it leaves the bracket.
		const close = 1e-4
		slope := (HumidityRatioAt(dry, quantity.Celsius(t), totalPascal) -
			HumidityRatioAt(dry, quantity.Celsius(t-close), totalPascal)) / close
		next := t - excess/slope
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if math.Abs(next-t) < 1e-9 {
			t = next
			break
		}
		t = next
	}
	return quantity.Celsius(min(t, float64(dry)))
}
