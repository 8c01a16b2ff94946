package plant

import (
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// The density of saturated vapour is needed three times in every simulated
// second, so it is tabulated once from the exact formula and read off in straight
// lines. With eight points to the kelvin the error is below 1e-5 of the value
// (tested). Outside the table its ends hold.
const (
	tableLow  = -40.0
	tableHigh = 200.0
	perKelvin = 8
)

var saturated = tabulate()

func tabulate() (table [(tableHigh-tableLow)*perKelvin + 1]float64) {
	for i := range table {
		t := quantity.Celsius(tableLow + float64(i)/perKelvin)
		table[i] = psychrometer.VapourDensity(psychrometer.SaturationPressure(t), t)
	}
	return table
}

// saturation is the density of saturated vapour in kg/m³ and its slope with
// temperature.
func saturation(celsius float64) (density, slope float64) {
	x := (celsius - tableLow) * perKelvin
	if !(x > 0) {
		return saturated[0], 0
	}
	if x >= float64(len(saturated)-1) {
		return saturated[len(saturated)-1], 0
	}
	i := int(x)
	rise := saturated[i+1] - saturated[i]
	return saturated[i] + rise*(x-float64(i)), rise * perKelvin
}
