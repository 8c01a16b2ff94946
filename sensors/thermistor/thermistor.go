// Package thermistor turns the resistance of an NTC thermistor into a
// temperature and back, and the share of its supply that a divider shows into
// the resistance. It does sums only: it reads no chip, and a resistance or a share
// that no thermistor gives has no number rather than a guess.
//
// The maths is the Steinhart-Hart equation 1/T = A + B·ln R + C·(ln R)³, T in
// kelvin, R in ohms; the equation with a single beta is the same with C = 0.
// Parts sold under one name differ by up to 1 K at 100 °C, and a single beta is
// more than 1 K high there: give each probe the coefficients of its own part.
package thermistor

import (
	"fmt"
	"math"

	"fumarium/profile/quantity"
)

const zeroCelsius = 273.15

// A Curve holds Steinhart-Hart coefficients. The zero Curve gives no temperature.
type Curve struct{ A, B, C float64 }

// A Point is a resistance known at a temperature.
type Point struct {
	Temperature quantity.Celsius
	Ohms        float64
}

// FromBeta is the curve through one point with a single beta in kelvin. It is a
// rough one: some 1 K high at 100 °C for a common 3950 K part.
func FromBeta(at Point, betaKelvin float64) (Curve, error) {
	c := Curve{B: 1 / betaKelvin}
	c.A = 1/(float64(at.Temperature)+zeroCelsius) - c.B*math.Log(at.Ohms)
	if !(betaKelvin > 0) || !(at.Ohms > 0) || !(at.Temperature > quantity.AbsoluteZero) || !finite(c) {
		return Curve{}, fmt.Errorf("thermistor: beta %v K at %v Ω and %v makes no curve; use the figures of the data sheet",
			betaKelvin, at.Ohms, at.Temperature)
	}
	return c, nil
}

// Fit is the curve through three points, which must fall in resistance as they
// rise in temperature, in any order. Points 20 K or more apart make a good one.
func Fit(a, b, c Point) (Curve, error) {
	points := [3]Point{a, b, c}
	var l, y [3]float64
	for i, p := range points {
		if !(p.Ohms > 0) || !(p.Temperature > quantity.AbsoluteZero) || !quantity.Finite(p.Ohms) || !quantity.Finite(float64(p.Temperature)) {
			return Curve{}, fmt.Errorf("thermistor: %v Ω at %v is no point of a curve; correct it", p.Ohms, p.Temperature)
		}
		for _, q := range points[:i] {
			if (p.Ohms < q.Ohms) != (p.Temperature > q.Temperature) || p.Ohms == q.Ohms || p.Temperature == q.Temperature {
				return Curve{}, fmt.Errorf("thermistor: %v Ω at %v and %v Ω at %v: resistance must fall as temperature rises; correct one of them",
					q.Ohms, q.Temperature, p.Ohms, p.Temperature)
			}
		}
		l[i] = math.Log(p.Ohms)
		y[i] = 1 / (float64(p.Temperature) + zeroCelsius)
	}
	// Divided differences of three linear equations in A, B and C.
	g1 := (y[1] - y[0]) / (l[1] - l[0])
	g2 := (y[2] - y[0]) / (l[2] - l[0])
	var f Curve
	f.C = (g2 - g1) / (l[2] - l[1]) / (l[0] + l[1] + l[2])
	f.B = g1 - f.C*(l[0]*l[0]+l[0]*l[1]+l[1]*l[1])
	f.A = y[0] - l[0]*(f.B+l[0]*l[0]*f.C)
	if !finite(f) || f.B <= 0 || f.C < 0 {
		return Curve{}, fmt.Errorf("thermistor: a curve through %v Ω at %v, %v Ω at %v and %v Ω at %v would not fall all the way; measure again, further apart",
			a.Ohms, a.Temperature, b.Ohms, b.Temperature, c.Ohms, c.Temperature)
	}
	return f, nil
}

func finite(c Curve) bool {
	return quantity.Finite(c.A) && quantity.Finite(c.B) && quantity.Finite(c.C)
}

// Temperature is that of the thermistor when it has the given resistance. It
// reports false when the curve gives none.
func (c Curve) Temperature(ohms float64) (quantity.Celsius, bool) {
	l := math.Log(ohms) // no number, or infinite, unless there is a resistance
	t := 1/(c.A+l*(c.B+l*l*c.C)) - zeroCelsius
	if !(t > float64(quantity.AbsoluteZero)) || !quantity.Finite(t) {
		return 0, false
	}
	return quantity.Celsius(t), true
}

// Resistance in ohms is the inverse of Temperature; NaN when there is none.
func (c Curve) Resistance(t quantity.Celsius) float64 {
	y := c.A - 1/(float64(t)+zeroCelsius)
	if !(t > quantity.AbsoluteZero) || !(c.B > 0) || !(c.C >= 0) {
		return math.NaN()
	}
	// The only real root of C·x³ + B·x + y. A C too small to matter would overflow.
	if c.C < 1e-30 {
		return math.Exp(-y / c.B)
	}
	p, q := c.B/c.C, y/c.C
	x := -2 * math.Sqrt(p/3) * math.Sinh(math.Asinh(1.5*q/p*math.Sqrt(3/p))/3)
	return math.Exp(x)
}

// A Divider is a fixed resistor in series with the thermistor.
type Divider struct {
	Ohms float64 // of the fixed resistor
	// OnTop says that the thermistor is the upper part, towards the supply, and
	// the fixed resistor goes to ground. Zero is the thermistor to ground.
	OnTop bool
}

// Resistance of the thermistor in ohms, from the share 0..1 of the divider's
// supply that stands at its middle. It reports false for a share that is not
// strictly between 0 and 1.
func (d Divider) Resistance(share float64) (float64, bool) {
	if !(share > 0 && share < 1) || !(d.Ohms > 0) {
		return 0, false
	}
	if d.OnTop {
		return d.Ohms * (1 - share) / share, true
	}
	return d.Ohms * share / (1 - share), true
}

// Share is the inverse of Resistance.
func (d Divider) Share(ohms float64) float64 {
	if d.OnTop {
		return d.Ohms / (d.Ohms + ohms)
	}
	return ohms / (d.Ohms + ohms)
}
