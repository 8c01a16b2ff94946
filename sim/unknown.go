package sim

import (
	"math"
	"math/rand/v2"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
)

// An unknown is a number that a rehearsal needs and that nobody has measured, or not well.
type unknown struct {
	what      string
	low, high string // its ends, in words; empty where the maker knows better than the model
	// vary changes a setup by z standard deviations, at most furthest either way. At none
	// the setup stays as it is: half of what is drawn is on either side of it.
	vary func(s *Setup, z float64)
}

// furthest is how many standard deviations away anything is drawn, and where the ends are.
const furthest = 2

// unknowns are what is drawn for a Spread. Where an end has no source beside it, it is
// common practice, no source.
var unknowns = []unknown{
	{"load", "", "", func(s *Setup, z float64) {
		s.Load = loadOf(*s) * quantity.Kilograms(between(z, 0.9, 1/0.9))
	}},
	// Casings are sold in classes of two to three millimetres.
	{"diameter", "", "", func(s *Setup, z float64) {
		s.Diameter = sizeOf(*s) * quantity.Meters(between(z, 0.94, 1/0.94))
	}},
	{"room", "", "", func(s *Setup, z float64) {
		room := roomOf(*s) + quantity.Celsius(2*z)
		s.Ambient = &room
	}},
	// Air at the product moves 5 to 15 W/(m²·K) in a still cabinet and 20 to 40 with a fan
	// (from memory); here come 5 to 13 in a still one and 10 to 26 with the fan. Along one
	// cylinder it is so uneven that times differ by up to 43 % (Burfoot and James, J. Food
	// Eng. 8, 1988).
	{"air speed at the product, as its film coefficient", "0.7 times", "3 times", func(s *Setup, z float64) {
		s.FilmFactor = or1(s.FilmFactor) * between(z, 0.7, 3)
	}},
	{"how much juice heat squeezes out", "0.6 times", "1.4 times", func(s *Setup, z float64) {
		s.Doubt.Juice = or1(s.Doubt.Juice) * between(z, 0.6, 1.4)
	}},
	{"how much of it drips instead of wetting the surface", "40 %", "80 %", func(s *Setup, z float64) {
		s.Doubt.Drip = or1(s.Doubt.Drip) * between(z, 0.67, 1.33)
	}},
	// At 60 °C beef has 8.7e-10 m²/s (Trujillo, Wiangkaew and Pham, J. Food Eng. 78, 2007,
	// drawn out from 40 °C), up to 12.0e-10 (Ismail and Kocabay, Heat Transf. Res. 49,
	// 2018) and as little as 0.4e-10 to 5.6e-10 in thin slices (Mewa et al., 2018); fish
	// 0.8e-10 to 3.4e-10 (Zogzas). Plain is 4.6e-10 of lean
	// beef from 40 °C on.
	{"how fast moisture moves inside", "half", "twice", func(s *Setup, z float64) {
		s.Doubt.Diffusivity = or1(s.Doubt.Diffusivity) * between(z, 0.5, 2)
	}},
	// Meat emulsions conduct 0.26 to 0.48 W/(m·K) (Marcotte, Taherian and Karimi, J. Food
	// Eng. 88, 2008), where the parallel mixture of the rehearsal, an upper bound, has 0.42
	// to 0.56.
	{"how well the product conducts heat", "0.75 times", "1.1 times", func(s *Setup, z float64) {
		s.Doubt.Conductivity = or1(s.Doubt.Conductivity) * between(z, 0.75, 1.1)
	}},
	{"how far the core probe is from the middle", "in it", "0.3 of the way to the surface", func(s *Setup, z float64) {
		s.OffCentre = min(1, s.OffCentre+quantity.Ratio(0.3*max(z, 0)/furthest))
	}},
	{"cracks of the cabinet", "half", "4 times, a gasket that gapes", func(s *Setup, z float64) {
		s.rebuild(func(b *cabinet.Rehearsal) { b.Leak *= quantity.SquareMeters(between(z, 0.5, 4)) })
	}},
	// A fan moves what its label says only against no resistance.
	{"what the fan moves", "0.6 times", "1.3 times", func(s *Setup, z float64) {
		s.rebuild(func(b *cabinet.Rehearsal) {
			f := quantity.CubicMetersPerSecond(between(z, 0.6, 1.3))
			b.FanFlow, b.FanExchange = b.FanFlow*f, b.FanExchange*f
		})
	}},
	{"what of the element's glow misses the tray", "none", "twice as much, at most all", func(s *Setup, z float64) {
		s.rebuild(func(b *cabinet.Rehearsal) { b.PastTray = min(1, b.PastTray*quantity.Ratio(1+z/furthest)) })
	}},
	// What goes up over the element carries the heat that the walls lose: 300 W by convection
	// lift 20 g/s of air half a meter (NFPA 92; from memory), which 250 W cool by 12 K on the
	// way down again, half of it above and half below the middle; a fan of 150 m³/h makes 5 K
	// of it. A probe that hangs as high as the product, as it should, is off by a third of
	// that. The model has one air for all.
	{"how much warmer the air is at the chamber probe than at the product", "2 K colder", "2 K warmer", func(s *Setup, z float64) {
		s.Warmer += quantity.Kelvin(2 * z / furthest)
	}},
}

// between is a factor: 1 in the middle, low and high at the ends, and on either side each
// doubling as far as the next.
func between(z, low, high float64) float64 {
	if z < 0 {
		return math.Pow(low, -z/furthest)
	}
	return math.Pow(high, z/furthest)
}

// rebuild changes what the cabinet is built of, and leaves the setup's own as it is.
func (s *Setup) rebuild(change func(*cabinet.Rehearsal)) {
	c := *s.Cabinet
	change(&c.Rehearsal)
	s.Cabinet = &c
}

func loadOf(s Setup) quantity.Kilograms {
	if s.Load != 0 {
		return s.Load
	}
	return s.Product.Formula.Mass()
}

func sizeOf(s Setup) quantity.Meters {
	if s.Diameter != 0 {
		return s.Diameter
	}
	return 2 * s.Product.Shape.HalfThickness()
}

func roomOf(s Setup) quantity.Celsius {
	if s.Ambient != nil {
		return *s.Ambient
	}
	return s.Cabinet.Ambient
}

func or1(factor float64) float64 {
	if factor == 0 {
		return 1
	}
	return factor
}

// Vary is the setup of run i of a Spread, with all that is unknown drawn from normal
// distributions; run 0 is the setup itself.
func Vary(s Setup, i int) Setup {
	if i == 0 {
		return s
	}
	r := rand.New(rand.NewPCG(s.Seed, uint64(i)))
	for _, u := range unknowns {
		z := r.NormFloat64()
		for math.Abs(z) > furthest {
			z = r.NormFloat64()
		}
		u.vary(&s, z)
	}
	s.Seed = r.Uint64()
	return s
}
