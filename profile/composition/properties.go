package composition

import (
	"fmt"
	"math"

	"fumarium/profile/quantity"
)

// The component functions of Choi and Okos (1986), as printed in the ASHRAE
// Handbook Refrigeration, chapter "Thermal Properties of Foods": each property
// is a + b·t + c·t² with t in °C. They are stated for -40..150 °C, those of
// water for 0..150 °C. Nothing here freezes: below 0 °C the water functions are
// carried on as if the water stayed liquid.
//
// Two slopes are often copied wrongly: the conductivity of fat falls by
// 2.7604e-4 (not e-3) and its specific heat rises by 1.4733e-3 (not e-4).
type component struct {
	conductivity [3]float64 // W/(m·K)
	density      [3]float64 // kg/m³
	specificHeat [3]float64 // J/(kg·K)
}

// components stand in the order of the fields of Mix.
var components = [6]component{
	{ // water
		conductivity: [3]float64{0.57109, 1.7625e-3, -6.7036e-6},
		density:      [3]float64{997.18, 3.1439e-3, -3.7574e-3},
		specificHeat: [3]float64{4176.2, -9.0864e-2, 5.4731e-3},
	},
	{ // protein
		conductivity: [3]float64{0.17881, 1.1958e-3, -2.7178e-6},
		density:      [3]float64{1329.9, -0.5184, 0},
		specificHeat: [3]float64{2008.2, 1.2089, -1.3129e-3},
	},
	{ // fat
		conductivity: [3]float64{0.18071, -2.7604e-4, -1.7749e-7},
		density:      [3]float64{925.59, -0.41757, 0},
		specificHeat: [3]float64{1984.2, 1.4733, -4.8008e-3},
	},
	{ // carbohydrate
		conductivity: [3]float64{0.20141, 1.3874e-3, -4.3312e-6},
		density:      [3]float64{1599.1, -0.31046, 0},
		specificHeat: [3]float64{1548.8, 1.9625, -5.9399e-3},
	},
	{ // fibre
		conductivity: [3]float64{0.18331, 1.2497e-3, -3.1683e-6},
		density:      [3]float64{1311.5, -0.36589, 0},
		specificHeat: [3]float64{1845.9, 1.8306, -4.6509e-3},
	},
	{ // ash
		conductivity: [3]float64{0.32962, 1.4011e-3, -2.9069e-6},
		density:      [3]float64{2423.8, -0.28063, 0},
		specificHeat: [3]float64{1092.6, 1.8896, -3.6817e-3},
	},
}

func at(c *[3]float64, t float64) float64 { return c[0] + t*(c[1]+t*c[2]) }

func (m Mix) fractions() [6]float64 {
	return [6]float64{
		float64(m.Water), float64(m.Protein), float64(m.Fat),
		float64(m.Carbohydrate), float64(m.Fibre), float64(m.Ash),
	}
}

var names = [6]string{"water", "protein", "fat", "carbohydrate", "fibre", "ash"}

// sumTolerance is how far the fractions may miss one. Handbook rows are printed
// to 0.01 % a column.
const sumTolerance = 0.002

// Check reports the first fraction that cannot be, or a sum that is not one.
func (m Mix) Check() error {
	sum := 0.0
	for i, x := range m.fractions() {
		if !(x >= 0 && x <= 1) {
			return fmt.Errorf("composition: %s is %v of the mass; give a fraction from 0 to 1", names[i], x)
		}
		sum += x
	}
	if math.Abs(sum-1) > sumTolerance {
		return fmt.Errorf("composition: the fractions add up to %.4f of the mass; make them add up to 1", sum)
	}
	return nil
}

// Density in kg/m³, without pores: 1/ρ = Σ x/ρ (ASHRAE, as above).
func (m Mix) Density(t quantity.Celsius) float64 {
	volume := 0.0
	for i, x := range m.fractions() {
		volume += x / at(&components[i].density, float64(t))
	}
	return 1 / volume
}

// SpecificHeat in J/(kg·K): the mean by mass (ASHRAE, as above). The melting of
// fat is not in it; see the limits in the documentation of the simulated plant.
func (m Mix) SpecificHeat(t quantity.Celsius) float64 {
	c := m.SpecificHeatPolynomial()
	return at(&c, float64(t))
}

// SpecificHeatPolynomial holds a, b and c of SpecificHeat = a + b·t + c·t², for
// a caller that needs it often.
func (m Mix) SpecificHeatPolynomial() [3]float64 {
	var sum [3]float64
	for i, x := range m.fractions() {
		for j := range sum {
			sum[j] += x * components[i].specificHeat[j]
		}
	}
	return sum
}

// Enthalpy in J/kg above 0 °C: the integral of SpecificHeat.
func (m Mix) Enthalpy(t quantity.Celsius) float64 {
	c, x := m.SpecificHeatPolynomial(), float64(t)
	return x * (c[0] + x*(c[1]/2+x*c[2]/3))
}

// Conductivity in W/(m·K) of the components side by side along the heat flow,
// weighted by volume: the parallel model that ASHRAE uses for foods above
// freezing. It is the upper bound of what a mixture can have.
func (m Mix) Conductivity(t quantity.Celsius) float64 {
	volume, sum := 0.0, 0.0
	for i, x := range m.fractions() {
		v := x / at(&components[i].density, float64(t))
		volume += v
		sum += v * at(&components[i].conductivity, float64(t))
	}
	return sum / volume
}

// ConductivityAcross in W/(m·K) is that of the components one behind the other,
// the perpendicular model: the lower bound.
func (m Mix) ConductivityAcross(t quantity.Celsius) float64 {
	volume, sum := 0.0, 0.0
	for i, x := range m.fractions() {
		v := x / at(&components[i].density, float64(t))
		volume += v
		sum += v / at(&components[i].conductivity, float64(t))
	}
	return volume / sum
}

// Diffusivity in m²/s is k/(ρ·c) with the parallel Conductivity. The published
// polynomials for it are not used: copies of them disagree.
func (m Mix) Diffusivity(t quantity.Celsius) float64 {
	return m.Conductivity(t) / (m.Density(t) * m.SpecificHeat(t))
}
