// Package film holds what happens between a surface and the air around it: film
// coefficients of free and forced convection, radiation to surroundings, and the
// transfer of vapour by the Lewis analogy. It keeps no state and knows no cabinet.
//
// The convection correlations are textbook ones, recalled from memory and held
// in the tests to separately computed values: Churchill and Chu (1975) for free
// convection on a horizontal cylinder and a vertical plate, Churchill and
// Bernstein (1977) for a cylinder in cross flow, Churchill (1983) and Ranz and
// Marshall (1952) for a sphere, Pohlhausen for a plate in laminar flow. Dry air
// follows Sutherland's law; vapour in the air is left out of its properties.
//
// Speeds are m/s, pressures Pa, film coefficients W/(m²·K), vapour transfer
// coefficients m/s.
package film

import (
	"math"

	"fumarium/profile/quantity"
)

const (
	kelvin        = 273.15
	gravity       = 9.80665
	gasConstant   = 287.05      // of dry air, J/(kg·K)
	specificHeat  = 1007.0      // of dry air near 50 °C, J/(kg·K)
	stefan        = 5.670374e-8 // W/(m²·K⁴)
	coldestKelvin = 150.0
)

// Air is the state of dry air that a correlation needs.
type Air struct {
	Kelvin       float64 // absolute temperature
	Density      float64 // kg/m³
	Conductivity float64 // W/(m·K)
	Viscosity    float64 // kinematic, m²/s
}

// DryAir at a temperature and pressure.
func DryAir(t quantity.Celsius, pascal float64) Air {
	k := max(float64(t)+kelvin, coldestKelvin)
	root := k * math.Sqrt(k)
	density := pascal / (gasConstant * k)
	const (
		viscosityScale    = 1.716e-5 * (kelvin + 110.4) / (kelvin * 16.527250225) // 16.527... = √273.15
		conductivityScale = 0.0241 * (273 + 194) / (273 * 16.522711641858304)     // √273
	)
	return Air{
		Kelvin:       k,
		Density:      density,
		Viscosity:    viscosityScale * root / (k + 110.4) / density,
		Conductivity: conductivityScale * root / (k + 194),
	}
}

// Diffusivity of heat in m²/s.
func (a Air) Diffusivity() float64 { return a.Conductivity / (a.Density * specificHeat) }

// Prandtl number.
func (a Air) Prandtl() float64 { return a.Viscosity / a.Diffusivity() }

// VapourDiffusivity of water vapour in air in m²/s: 2.56e-5 at 25 °C and sea
// level, rising with T^1.75 (from memory).
func (a Air) VapourDiffusivity() float64 {
	r := a.Kelvin / 298.15
	pascal := a.Density * gasConstant * a.Kelvin
	return 2.56e-5 * r * math.Sqrt(r) * math.Sqrt(math.Sqrt(r)) * 101325 / pascal
}

// Lewis number: diffusivity of heat over that of vapour.
func (a Air) Lewis() float64 { return a.Diffusivity() / a.VapourDiffusivity() }

// Between is the air halfway between a surface and the medium: the film
// temperature at which the correlations want their properties.
func Between(surface, medium quantity.Celsius, pascal float64) Air {
	return DryAir((surface+medium)/2, pascal)
}

// VapourTransfer turns a film coefficient into a vapour transfer coefficient in
// m/s by the Lewis analogy, h/h_m = ρ·c·Le^(2/3).
func (a Air) VapourTransfer(film float64) float64 {
	le := math.Cbrt(a.Lewis())
	return film / (a.Density * specificHeat * le * le)
}

func (a Air) rayleigh(difference float64, length quantity.Meters) float64 {
	l := float64(length)
	return gravity / a.Kelvin * math.Abs(difference) * l * l * l / (a.Viscosity * a.Diffusivity())
}

func (a Air) reynolds(speed float64, length quantity.Meters) float64 {
	return max(speed, 0) * float64(length) / a.Viscosity
}

// nineSixteenths is x to that power, several times as fast as math.Pow.
func nineSixteenths(x float64) float64 {
	root := math.Sqrt(x)
	return root * math.Sqrt(math.Sqrt(math.Sqrt(root)))
}

func twoThirds(x float64) float64 {
	root := math.Cbrt(x)
	return root * root
}

// sixth is the sixth root.
func sixth(x float64) float64 { return math.Sqrt(math.Cbrt(x)) }

// FreeCylinder is free convection around a horizontal cylinder (Churchill and
// Chu).
func (a Air) FreeCylinder(difference quantity.Kelvin, diameter quantity.Meters) float64 {
	n := 0.60 + 0.387*sixth(a.rayleigh(float64(difference), diameter))/
		math.Pow(1+nineSixteenths(0.559/a.Prandtl()), 8./27)
	return n * n * a.Conductivity / float64(diameter)
}

// FreePlate is free convection on a vertical plate (Churchill and Chu).
func (a Air) FreePlate(difference quantity.Kelvin, height quantity.Meters) float64 {
	n := 0.825 + 0.387*sixth(a.rayleigh(float64(difference), height))/
		math.Pow(1+nineSixteenths(0.492/a.Prandtl()), 8./27)
	return n * n * a.Conductivity / float64(height)
}

// FreeSphere is free convection around a sphere (Churchill).
func (a Air) FreeSphere(difference quantity.Kelvin, diameter quantity.Meters) float64 {
	n := 2 + 0.589*math.Sqrt(math.Sqrt(a.rayleigh(float64(difference), diameter)))/
		math.Pow(1+nineSixteenths(0.469/a.Prandtl()), 4./9)
	return n * a.Conductivity / float64(diameter)
}

// CrossCylinder is a cylinder in cross flow (Churchill and Bernstein).
func (a Air) CrossCylinder(speed float64, diameter quantity.Meters) float64 {
	re, pr := a.reynolds(speed, diameter), a.Prandtl()
	turbulent := math.Sqrt(re / 282000)
	turbulent *= math.Sqrt(math.Sqrt(math.Sqrt(re / 282000))) // to the power 5/8
	n := 0.3 + 0.62*math.Sqrt(re)*math.Cbrt(pr)/
		math.Sqrt(math.Sqrt(1+twoThirds(0.4/pr)))*math.Pow(1+turbulent, 0.8)
	return n * a.Conductivity / float64(diameter)
}

// AlongPlate is laminar flow along a plate (Pohlhausen).
func (a Air) AlongPlate(speed float64, length quantity.Meters) float64 {
	n := 0.664 * math.Sqrt(a.reynolds(speed, length)) * math.Cbrt(a.Prandtl())
	return n * a.Conductivity / float64(length)
}

// AcrossSphere is a sphere in a stream (Ranz and Marshall).
func (a Air) AcrossSphere(speed float64, diameter quantity.Meters) float64 {
	n := 2 + 0.6*math.Sqrt(a.reynolds(speed, diameter))*math.Cbrt(a.Prandtl())
	return n * a.Conductivity / float64(diameter)
}

// Mixed joins free and forced convection by the cube rule, h³ = h1³ + h2³ (common
// practice for flows that help each other; from memory).
func Mixed(free, forced float64) float64 {
	return math.Cbrt(free*free*free + forced*forced*forced)
}

// Radiative coefficient in W/(m²·K) between a small body and a large enclosure,
// h_r = ε·σ·(T1 + T2)·(T1² + T2²).
func Radiative(emissivity float64, t1, t2 quantity.Celsius) float64 {
	a, b := float64(t1)+kelvin, float64(t2)+kelvin
	return emissivity * stefan * (a + b) * (a*a + b*b)
}
