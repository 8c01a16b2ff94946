// Package psychrometer relates dry bulb, wet bulb, dew point and humidity of
// moist air. It does sums only: it reads no probe and judges none, except that a
// pair of temperatures no air can have gives no humidity at all.
//
// The maths is that of the ASHRAE Handbook Fundamentals 2017, chapter 1: perfect
// gases, saturation pressure over liquid water by Hyland and Wexler (equation 6,
// stated for 0..200 °C). Nothing here freezes: below 0 °C a wet bulb is taken to
// carry supercooled water. Against tables for real moist air the perfect gas is
// up to 1.2 % low in humidity ratio at 85 °C and saturation.
//
// Bare pressures are pascals, bare humidity ratios kilograms of vapour per
// kilogram of dry air.
package psychrometer

import (
	"math"

	"fumarium/profile/quantity"
)

// StandardPressure is sea level, in Pa.
const StandardPressure = 101325.0

// Constants of moist air as ASHRAE and the psychrometric tables built on it use
// them.
const (
	// MassRatio is the molar mass of water over that of dry air.
	MassRatio = 0.621945
	// AirGasConstant is that of dry air in J/(kg·K).
	AirGasConstant = 287.042
	// VapourGasConstant is that of water vapour in J/(kg·K).
	VapourGasConstant = 461.52
	// AirSpecificHeat and VapourSpecificHeat are at constant pressure, J/(kg·K).
	AirSpecificHeat    = 1006.0
	VapourSpecificHeat = 1860.0
	// VapourEnthalpyAtZero is that of vapour over liquid water, both at 0 °C, J/kg.
	VapourEnthalpyAtZero = 2501e3
	kelvin               = 273.15
)

// Psychrometer coefficients in 1/K for the psychrometer equation.
//
// The wrong one costs, in %RH too much (TestWrongAssumptions), at sea level:
//
//	true air                              30 °C, 60 %   55 °C, 30 %   75 °C, 20 %   75 °C, 40 %   85 °C, 60 %
//	still air, Ventilated assumed                +6.4          +5.6          +3.7          +2.4          +1.0
//	still air, NaturallyVentilated               +4.8          +4.3          +2.9          +1.9          +0.8
//	1 m/s, Ventilated assumed                    +1.8          +1.5          +0.9          +0.5          +0.2
//	blown, Unventilated assumed                  -7.8          -6.3          -4.0          -2.5          -1.0
//	blown, at 1500 m, sea level assumed          -1.7          -1.4          -0.9          -0.6          -0.2
const (
	// Aspirated is for a wick in air of some 5 m/s (FAO 56, equation 16).
	Aspirated = 6.62e-4
	// NaturallyVentilated is for air of about 1 m/s (FAO 56, equation 16).
	NaturallyVentilated = 8.00e-4
	// Unventilated is for a wick in nearly still air (FAO 56, equation 16).
	Unventilated = 1.200e-3
)

// Ventilated is the coefficient for a ventilated psychrometer of the Assmann
// kind in 1/K; it grows a little with the wet bulb (WMO-No. 8, from memory).
func Ventilated(wet quantity.Celsius) float64 { return 6.53e-4 * (1 + 0.000944*float64(wet)) }

// SaturationPressure is the vapour pressure over liquid water in Pa (ASHRAE
// Fundamentals 2017, chapter 1, equation 6).
func SaturationPressure(t quantity.Celsius) float64 {
	k := float64(t) + kelvin
	return math.Exp(-5.8002206e3/k + 1.3914993 + k*(-4.8640239e-2+k*(4.1764768e-5-k*1.4452093e-8)) + 6.5459673*math.Log(k))
}

// logSlope is d ln p/dT of SaturationPressure in 1/K.
func logSlope(t float64) float64 {
	k := t + kelvin
	return 5.8002206e3/(k*k) - 4.8640239e-2 + k*(2*4.1764768e-5-3*k*1.4452093e-8) + 6.5459673/k
}

// HumidityRatio of air at a total pressure with the given vapour pressure.
func HumidityRatio(vapourPascal, totalPascal float64) float64 {
	return MassRatio * vapourPascal / (totalPascal - vapourPascal)
}

// VapourPressure in Pa is the inverse of HumidityRatio.
func VapourPressure(humidityRatio, totalPascal float64) float64 {
	return totalPascal * humidityRatio / (MassRatio + humidityRatio)
}

// RelativeHumidity of air at t that holds vapour at the given pressure.
func RelativeHumidity(t quantity.Celsius, vapourPascal float64) quantity.Ratio {
	return quantity.Ratio(vapourPascal / SaturationPressure(t))
}

// HighestHumidity is the relative humidity of pure steam at t, at most 1: above
// the boiling point air cannot be saturated.
func HighestHumidity(t quantity.Celsius, totalPascal float64) quantity.Ratio {
	return quantity.Ratio(min(1, totalPascal/SaturationPressure(t)))
}

// DewPoint is where air with the given vapour pressure starts to condense. A
// pressure that is not above zero has none and gives NaN.
func DewPoint(vapourPascal float64) quantity.Celsius {
	if !(vapourPascal > 0) {
		return quantity.Celsius(math.NaN())
	}
	goal := math.Log(vapourPascal)
	// The Magnus form is within 4 K over the whole range, and ln p is so nearly
	// straight over such a distance that a few Newton steps end at rounding.
	x := math.Log(vapourPascal / 611.2)
	t := min(max(243.12*x/(17.62-x), -100), 200)
	for range 8 {
		step := (math.Log(SaturationPressure(quantity.Celsius(t))) - goal) / logSlope(t)
		t -= step
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	return quantity.Celsius(t)
}

// HumidityRatioAt is that of air whose thermodynamic wet bulb is known (ASHRAE
// Fundamentals 2017, chapter 1, equation 33). It is negative for a wet bulb that
// no air of that dry bulb can have.
func HumidityRatioAt(dry, wet quantity.Celsius, totalPascal float64) float64 {
	t, w := float64(dry), float64(wet)
	saturated := HumidityRatio(SaturationPressure(wet), totalPascal)
	return ((2501-2.326*w)*saturated - 1.006*(t-w)) / (2501 + 1.86*t - 4.186*w)
}

// WetBulb is the thermodynamic wet bulb of air with the given humidity ratio:
// the root of HumidityRatioAt, which rises with the wet bulb all the way to the
// boiling point.
func WetBulb(dry quantity.Celsius, humidityRatio, totalPascal float64) quantity.Celsius {
	low, high := -80.0, float64(dry)
	// A wet bulb cannot reach the boiling point, where the saturated humidity
	// ratio has no bound.
	if boiling := float64(DewPoint(totalPascal)); high >= boiling {
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

// VapourPressureAt is the vapour pressure in Pa by the psychrometer equation
// e = e_s(wet) - A·p·(dry - wet), with the coefficient A of the wick and the air
// past it in 1/K. It is negative for a pair that no air can have.
func VapourPressureAt(dry, wet quantity.Celsius, totalPascal, coefficient float64) float64 {
	return SaturationPressure(wet) - coefficient*totalPascal*float64(dry-wet)
}

// Humidity is the relative humidity by the psychrometer equation. It reports
// false when there is none to report: the wet bulb above the dry one, a wet bulb
// lower than dry air would give, or a number that is not finite.
func Humidity(dry, wet quantity.Celsius, totalPascal, coefficient float64) (quantity.Ratio, bool) {
	e := VapourPressureAt(dry, wet, totalPascal, coefficient)
	h := e / SaturationPressure(dry)
	if !(h >= 0 && h <= 1) || e > totalPascal {
		return 0, false
	}
	return quantity.Ratio(h), true
}

// Enthalpy of moist air in J per kilogram of dry air, over dry air and liquid
// water at 0 °C.
func Enthalpy(t quantity.Celsius, humidityRatio float64) float64 {
	return AirSpecificHeat*float64(t) + humidityRatio*(VapourEnthalpyAtZero+VapourSpecificHeat*float64(t))
}

// Volume of moist air in m³ per kilogram of dry air.
func Volume(t quantity.Celsius, humidityRatio, totalPascal float64) float64 {
	return AirGasConstant * (float64(t) + kelvin) * (1 + 1.607858*humidityRatio) / totalPascal
}

// VapourDensity in kg/m³ of vapour at the given pressure and temperature.
func VapourDensity(vapourPascal float64, t quantity.Celsius) float64 {
	return vapourPascal / (VapourGasConstant * (float64(t) + kelvin))
}

// LatentHeat of evaporation in J/kg: 2501 - 2.36·t kJ/kg, within 0.2 % of the
// steam table from 20 to 80 °C.
func LatentHeat(t quantity.Celsius) float64 { return (2501 - 2.36*float64(t)) * 1e3 }

// PressureAt is the standard atmosphere's pressure in Pa at an altitude above
// the sea (ASHRAE Fundamentals 2017, chapter 1, equation 3).
func PressureAt(altitude quantity.Meters) float64 {
	return StandardPressure * math.Pow(1-2.25577e-5*float64(altitude), 5.2559)
}
