// Package quantity holds the physical quantities that the other rooms pass to
// each other, each as a type of its own, so that mixing two of them up does not
// compile. It reads them as people write them ("68 °C", "2 h 30 min") and writes
// them back. It knows nothing of smokehouses.
//
// Bare numbers inside the program are SI; temperatures are degrees Celsius.
package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

type (
	// Celsius is a temperature on the Celsius scale.
	Celsius float64
	// Kelvin is a temperature difference.
	Kelvin float64
	// KelvinPerSecond is a rate of temperature change.
	KelvinPerSecond float64
	// Meters is a length.
	Meters float64
	// SquareMeters is an area.
	SquareMeters float64
	// Kilograms is a mass.
	Kilograms float64
	// Watts is a power.
	Watts float64
	// Ratio is a dimensionless fraction: 0.6 stands for 60 %.
	Ratio float64
	// CubicMetersPerSecond is a volume flow.
	CubicMetersPerSecond float64
)

// AbsoluteZero is 0 K.
const AbsoluteZero Celsius = -273.15

// Fahrenheit reports t on the Fahrenheit scale.
func (t Celsius) Fahrenheit() float64 { return float64(t)*9/5 + 32 }

// FromFahrenheit converts a temperature on the Fahrenheit scale.
func FromFahrenheit(f float64) Celsius { return Celsius((f - 32) * 5 / 9) }

// Finite reports whether v is neither NaN nor infinite.
func Finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func (t Celsius) String() string   { return trim(float64(t), 1) + " °C" }
func (t Kelvin) String() string    { return trim(float64(t), 2) + " K" }
func (m Kilograms) String() string { return massText(float64(m)) }
func (l Meters) String() string    { return trim(float64(l)*1000, 1) + " mm" }
func (a SquareMeters) String() string {
	return trim(float64(a)*1e4, 1) + " cm²"
}
func (p Watts) String() string { return trim(float64(p), 0) + " W" }
func (r Ratio) String() string { return trim(float64(r)*100, 1) + " %" }
func (r KelvinPerSecond) String() string {
	return trim(float64(r)*3600, 1) + " °C/h"
}
func (q CubicMetersPerSecond) String() string {
	return trim(float64(q)*3600, 2) + " m³/h"
}

func massText(kg float64) string {
	if math.Abs(kg) < 1 {
		return trim(kg*1000, 1) + " g"
	}
	return trim(kg, 3) + " kg"
}

// trim prints v with at most digits decimals and no trailing zeros.
func trim(v float64, digits int) string {
	scale := math.Pow(10, float64(digits))
	rounded := math.Round(v*scale) / scale
	if rounded == 0 {
		rounded = 0 // no minus sign on a zero
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// Fixed prints v with so many decimals, and no minus sign on a zero: a sensor at
// -0.04 °C reads 0.0 °C, not -0.0 °C.
func Fixed(v float64, digits int) string {
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

// FormatDuration writes d for people: "2 h 30 min", "45 min", "20 s". It rounds
// to the minute from ten minutes on and to the second below.
func FormatDuration(d time.Duration) string {
	if d <= -time.Second/2 {
		return "-" + FormatDuration(-max(d, -math.MaxInt64)) // the smallest has no positive twin
	}
	if d < 10*time.Minute {
		d = d.Round(time.Second)
		minutes, seconds := int(d/time.Minute), int(d%time.Minute/time.Second)
		switch {
		case minutes == 0:
			return fmt.Sprintf("%d s", seconds)
		case seconds == 0:
			return fmt.Sprintf("%d min", minutes)
		}
		return fmt.Sprintf("%d min %d s", minutes, seconds)
	}
	d = d.Round(time.Minute)
	hours, minutes := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case hours == 0:
		return fmt.Sprintf("%d min", minutes)
	case minutes == 0:
		return fmt.Sprintf("%d h", hours)
	}
	return fmt.Sprintf("%d h %d min", hours, minutes)
}
