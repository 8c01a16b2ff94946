// Package thermocouple turns the voltage of a thermocouple into a temperature
// and back, by the reference functions of ITS-90, adds the cold junction's share
// as a voltage, and straightens what a front end shows that took the curve for a
// straight line. It does sums only: it reads no chip, and a voltage or a
// temperature outside the type's range gives no number rather than a guess.
//
// The maths is that of NIST Monograph 175 (1993), the same as IEC 60584-1:2013.
// The inverse is a root of the direct function, so the two agree to rounding; the
// published inverse polynomials, up to 0.06 K off, only say where to start.
package thermocouple

import (
	"fmt"
	"math"
	"strings"

	"fumarium/profile/quantity"
)

// A Type is a pair of thermocouple metals. The zero Type is none and has no range.
type Type uint8

// The base-metal types of which a cabinet may have probes.
const (
	K Type = iota + 1
	J
	T
	N
	E
)

type (
	// Millivolts is a thermocouple voltage.
	Millivolts float64
	// MicrovoltsPerKelvin is a sensitivity.
	MicrovoltsPerKelvin float64
)

// A polynomial holds from low to high, in °C or mV.
type polynomial struct {
	low, high float64
	c         []float64
}

// A curve is one type's reference functions, pieces from cold to hot.
type curve struct{ direct, inverse []polynomial }

const letters = " KJTNE"

// Letters are those of all types.
func Letters() []string { return strings.Split(strings.TrimSpace(letters), "") }

// ParseType reads a type's letter.
func ParseType(s string) (Type, error) {
	if i := strings.Index(letters, strings.ToUpper(s)); len(s) == 1 && i > 0 {
		return Type(i), nil
	}
	return 0, fmt.Errorf("thermocouple: type %q is not known; use K, J, T, N or E", s)
}

func (t Type) String() string {
	if !t.Known() {
		return "no type"
	}
	return letters[t : t+1]
}

// Known reports whether t is one of the types of this package.
func (t Type) Known() bool { return t >= K && t <= E }

// Range is where the type's functions hold.
func (t Type) Range() (low, high quantity.Celsius) {
	if !t.Known() {
		return quantity.Celsius(math.NaN()), quantity.Celsius(math.NaN())
	}
	d := curves[t].direct
	return quantity.Celsius(d[0].low), quantity.Celsius(d[len(d)-1].high)
}

// ends are the voltages at both ends of each type's range.
var ends = func() (e [len(curves)]struct{ low, high float64 }) {
	for t := K; t <= E; t++ {
		low, high := t.Range()
		e[t].low, _ = emf(t, float64(low))
		e[t].high, _ = emf(t, float64(high))
	}
	return e
}()

// emf is the direct function E(t) in mV and its slope dE/dt. Type K above 0 °C
// adds a0·exp(a1·(t - a2)²).
func emf(t Type, x float64) (e, slope float64) {
	pieces := curves[t].direct
	c := pieces[0].c
	if x > pieces[0].high {
		c = pieces[1].c
	}
	for i := len(c) - 1; i >= 0; i-- {
		slope = slope*x + e
		e = e*x + c[i]
	}
	if t == K && x > 0 {
		const a0, a1, a2 = 0.1185976, -1.183432e-4, 126.9686
		bump := a0 * math.Exp(a1*(x-a2)*(x-a2))
		e += bump
		slope += 2 * a1 * (x - a2) * bump
	}
	return e, slope
}

// Voltage is what a thermocouple with its hot junction at x gives when its
// reference junction is at 0 °C. It reports false outside the type's range.
func (t Type) Voltage(x quantity.Celsius) (Millivolts, bool) {
	low, high := t.Range()
	if !(x >= low && x <= high) {
		return 0, false
	}
	e, _ := emf(t, float64(x))
	return Millivolts(e), true
}

// Seebeck is the slope of Voltage at x. It reports false outside the type's range.
func (t Type) Seebeck(x quantity.Celsius) (MicrovoltsPerKelvin, bool) {
	low, high := t.Range()
	if !(x >= low && x <= high) {
		return 0, false
	}
	_, slope := emf(t, float64(x))
	return MicrovoltsPerKelvin(slope * 1000), true
}

// Temperature is the inverse of Voltage. It reports false for a voltage that the
// type does not give within its range.
func (t Type) Temperature(v Millivolts) (quantity.Celsius, bool) {
	if !t.Known() {
		return 0, false
	}
	e := float64(v)
	if !(e >= ends[t].low && e <= ends[t].high) {
		return 0, false
	}
	// Newton's rule takes two or three steps in a chamber's range and never more than
	// eight; near -270 °C the curves are so flat that rounding shows at 1e-8 K.
	x := guess(t, e)
	for range 12 {
		at, slope := emf(t, x)
		next := x - (at-e)/slope
		near := math.Abs(next-x) < 1e-7
		x = next
		if near {
			low, high := t.Range()
			return min(max(quantity.Celsius(x), low), high), true // the ends, to rounding
		}
	}
	return 0, false
}

// guess is the published inverse, drawn on below its range.
func guess(t Type, e float64) float64 {
	pieces := curves[t].inverse
	i := 0
	for i < len(pieces)-1 && e > pieces[i].high {
		i++
	}
	x := 0.0
	for k := len(pieces[i].c) - 1; k >= 0; k-- {
		x = x*e + pieces[i].c[k]
	}
	return x
}

// Compensate is the temperature of the hot junction, from the voltage measured
// at the terminals and the temperature of the terminals. Voltages add up;
// temperatures do not.
func (t Type) Compensate(measured Millivolts, cold quantity.Celsius) (quantity.Celsius, bool) {
	share, ok := t.Voltage(cold)
	if !ok {
		return 0, false
	}
	return t.Temperature(measured + share)
}

// Measured is the inverse of Compensate: the voltage at terminals that are cold
// themselves.
func (t Type) Measured(hot, cold quantity.Celsius) (Millivolts, bool) {
	h, okHot := t.Voltage(hot)
	c, okCold := t.Voltage(cold)
	return h - c, okHot && okCold
}

// Straighten is the temperature of the hot junction behind a front end that took
// the curve for a straight line: it shows cold + V/line for the voltage V at its
// terminals. The voltage is recovered from what it shows and compensated anew.
func (t Type) Straighten(line MicrovoltsPerKelvin, shown, cold quantity.Celsius) (quantity.Celsius, bool) {
	return t.Compensate(Millivolts(float64(line)*float64(shown-cold)/1000), cold)
}

// Straight is the inverse of Straighten: what such a front end shows.
func (t Type) Straight(line MicrovoltsPerKelvin, hot, cold quantity.Celsius) (quantity.Celsius, bool) {
	v, ok := t.Measured(hot, cold)
	if !ok || !(line > 0) {
		return 0, false
	}
	return cold + quantity.Celsius(float64(v)*1000/float64(line)), true
}
