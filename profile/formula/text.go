package formula

import (
	"math"
	"strconv"

	"fumarium/profile/quantity"
)

// decimals writes v with at most digits decimals. A hair is added before rounding
// so that 156.25 reckoned as 156.24999999999997 is written as 156.3.
func decimals(v float64, digits int) string {
	scale := math.Pow(10, float64(digits))
	return plain(math.Round(v*scale*(1+1e-12)) / scale)
}

// exact writes a mass with the six digits that a sum by hand wants, in g below 1 kg.
func exact(m quantity.Kilograms) string {
	if math.Abs(float64(m)) < 1 {
		return sixDigits(float64(m)*1000) + " g"
	}
	return sixDigits(float64(m)) + " kg"
}

func percentExact(r quantity.Ratio) string { return sixDigits(float64(r)*100) + " %" }

func sixDigits(v float64) string {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	if err != nil { // what was just written can be read
		panic(err)
	}
	return plain(rounded)
}

// tenths writes a mass to the tenth of a gram.
func tenths(m quantity.Kilograms) string {
	if math.Abs(float64(m)) < 1 {
		return decimals(float64(m)*1000, 1) + " g"
	}
	return decimals(float64(m), 4) + " kg"
}

// downTo rounds a most down to a tenth of a gram.
func downTo(m quantity.Kilograms) quantity.Kilograms {
	return quantity.Kilograms(floor(float64(m)*1e4) / 1e4)
}

// floor rounds down, but not a whole number with a hair missing.
func floor(v float64) float64 { return math.Floor(v + 1e-9*math.Max(1, math.Abs(v))) }

func plain(v float64) string {
	return strconv.FormatFloat(v+0, 'f', -1, 64) // no minus sign on a zero
}
