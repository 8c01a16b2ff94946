// Package composition turns what a food is made of into how it conducts and
// stores heat: density, specific heat, enthalpy, conductivity and diffusivity of
// a Mix, by the component functions of Choi and Okos (1986) and the mixing rules
// of the ASHRAE Handbook Refrigeration, "Thermal Properties of Foods". It knows
// no product by name, and no ice.
package composition

import "fumarium/profile/quantity"

// A Mix is a food's composition by mass. The fractions add up to one.
type Mix struct {
	Water, Protein, Fat, Carbohydrate, Fibre, Ash quantity.Ratio
}
