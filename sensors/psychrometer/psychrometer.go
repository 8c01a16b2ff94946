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
