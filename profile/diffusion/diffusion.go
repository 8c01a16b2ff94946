// Package diffusion says how far what a piece of meat takes up from outside has come to
// its middle: in one dimension, for a slab and a cylinder with a constant coefficient. It
// knows neither skin nor fat nor bone, which hold it up, and no figure for them was found.
//
// The series are those of Crank, The Mathematics of Diffusion (chapters 4 and 5; the
// chapters from memory).
package diffusion

import (
	"math"

	"fumarium/profile/quantity"
)

// A Body is a form for which diffusion is one-dimensional. A piece that is also reached
// from its ends, or a sphere, is done sooner than the body that it is taken for.
type Body uint8

// Slab and Cylinder are reached from both faces and from all round.
const (
	Slab Body = iota
	Cylinder
)

// A Supply is where it comes from.
type Supply uint8

// From a Bath so large that it stays what it is; from a Rub, all of which is on the surface
// at the start and none of which is lost; from a Pickle that loses what the meat gains.
const (
	Bath Supply = iota
	Rub
	Pickle
)

// A Way is how a piece is cured from outside. Ratio is the water of a Pickle over that
// of the meat; for a cylinder in a pickle there is no series here, and a bath, which is
// slower, is taken for it.
type Way struct {
	Body   Body
	Supply Supply
	Ratio  float64
}

const (
	terms = 60
	// nothing is the Fourier number below which the middle is empty: the largest error is
	// that of a slab in a bath, 2·erfc(1/(2·√0.01)) < 1e-11.
	nothing = 0.01
	forever = 200
)

var besselJ0, besselJ1 = zeros(math.J0, -0.5), zeros(math.J1, 0)

// zeros finds the first zeros of a Bessel function, the n-th between (n+from)·π and half a
// turn more.
func zeros(j func(float64) float64, from float64) (found [terms]float64) {
	for n := range found {
		low := (float64(n+1) + from) * math.Pi
		found[n] = root(j, low, low+math.Pi/2)
	}
	return found
}

// root halves until it is found; f changes its sign between low and high.
func root(f func(float64) float64, low, high float64) float64 {
	positive := f(low) > 0
	for range 80 {
		if middle := (low + high) / 2; f(middle) > 0 == positive {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// Middle is what the middle holds, of what it will hold at last, at a Fourier number
// D·t/L² with L the half thickness or the radius.
func (w Way) Middle(fourier float64) float64 { return w.middle(fourier, w.pickleRoots()) }

// pickleRoots are those of tan q = -Ratio·q, for a slab in a pickle.
func (w Way) pickleRoots() (found [terms]float64) {
	if w.Body != Slab || w.Supply != Pickle {
		return found
	}
	for n := range found {
		found[n] = root(func(q float64) float64 { return math.Sin(q) + w.Ratio*q*math.Cos(q) }, (float64(n)+0.5)*math.Pi, float64(n+1)*math.Pi)
	}
	return found
}

func (w Way) middle(fourier float64, roots [terms]float64) float64 {
	if !(fourier > nothing) {
		return 0
	}
	sum := 0.0
	switch {
	case w.Body == Slab && w.Supply == Rub:
		sum = 1
		for n := 1; n <= terms; n++ {
			sum += 2 * sign(n) * math.Exp(-square(float64(n)*math.Pi)*fourier)
		}
	case w.Body == Slab && w.Supply == Pickle && w.Ratio > 0:
		sum = 1
		a := w.Ratio
		for _, q := range roots {
			sum += 2 * (1 + a) * math.Exp(-q*q*fourier) / ((1 + a + square(a*q)) * math.Cos(q))
		}
	case w.Body == Slab:
		sum = 1
		for n := range terms {
			odd := float64(2*n + 1)
			sum -= 4 / math.Pi * sign(n) / odd * math.Exp(-square(odd*math.Pi)*fourier/4)
		}
	case w.Supply == Rub:
		sum = 1
		for _, a := range besselJ1 {
			sum += math.Exp(-a*a*fourier) / math.J0(a)
		}
	default:
		sum = 1
		for _, b := range besselJ0 {
			sum -= 2 * math.Exp(-b*b*fourier) / (b * math.J1(b))
		}
	}
	return min(1, max(0, sum))
}

func square(x float64) float64 { return x * x }

func sign(n int) float64 {
	if n%2 == 0 {
		return 1
	}
	return -1
}

// Fourier is the Fourier number at which the middle holds a share, below 1, of what it
// will hold at last.
func (w Way) Fourier(share float64) float64 {
	if share <= 0 {
		return 0
	}
	roots := w.pickleRoots()
	return root(func(fourier float64) float64 { return w.middle(fourier, roots) - share }, 0, forever)
}

// A Coefficient is how fast something diffuses in lean meat, by Arrhenius from one
// temperature.
type Coefficient struct {
	What       string
	At         quantity.Celsius
	SquareM    float64 // m²/s at that temperature
	Activation float64 // J/mol; 0 is none known
	Source     string
}

const gas = 8.314462618 // J/(mol·K)

// D is the coefficient at a temperature, in m²/s.
func (c Coefficient) D(t quantity.Celsius) float64 {
	const zero = 273.15
	return c.SquareM * math.Exp(c.Activation/gas*(1/(float64(c.At)+zero)-1/(float64(t)+zero)))
}

// Published coefficients for pork. Those of nitrite and nitrate are the values at 2 °C of
// abstracts, in a saturated brine; that of salt is a band without a source, which may
// warn and never decides.
var (
	Nitrite = Coefficient{"nitrite", 2, 4.58e-12, 60320, "Gómez and others 2015, J. Food Eng. 149:188, pork, along the fibre"}
	// NitrateAcross and NitrateAlong differ by a factor of a hundred: which way the fibre
	// lies decides.
	NitrateAcross = Coefficient{"nitrate", 2, 0.89e-10, 24700, "Gómez and others 2017, J. Food Eng. 214:69, pork, across the fibre"}
	NitrateAlong  = Coefficient{"nitrate", 2, 0.007e-10, 96400, "Gómez and others 2017, J. Food Eng. 214:69, pork, along the fibre"}
	Salt          = Coefficient{"salt", 2, 2e-10, 0, "salt in lean pork at 2 to 10 °C, from memory; 1e-10 to 5e-10 are told"}
)
