package plant

import (
	"fmt"
	"math"

	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/conduction"
	"fumarium/profile/quantity"
)

// nodes from the middle of a piece to its surface.
const nodes = 20

// A load is all pieces together as one body of many square metres: heat and
// moisture move from the middle to the surface only. Ends of cylinders and edges
// of slabs are left out.
//
// What is conserved is kept apart from what is convenient: water in kilograms and
// enthalpy in joules for each node are the state; temperatures follow from them,
// exactly every settling interval and with constant heat capacities in between.
type load struct {
	chain   conduction.Chain
	grid    conduction.Grid
	area    float64 // m²
	surface float64 // temperature, °C
	end     float64 // heat capacity of the surface node with its film, J/K

	solids [nodes]float64 // kg
	water  [nodes]float64 // kg, without the film
	energy [nodes]float64 // J above 0 °C at the last settling
	anchor [nodes]float64 // °C at the last settling
	basis  [nodes]float64 // moisture diffusivity at the node's temperature, m²/s
	film   float64        // water on the outside, kg
	gone   float64        // kg evaporated since the last settling
	liquid float64        // enthalpy of the water that goes, J/kg, fixed between settlings

	dry        composition.Mix // what is not water
	dryHeat    [3]float64
	drySolids  float64 // kg
	startMass  float64 // kg
	resistance float64 // of the casing against vapour, s/m; infinite is tight
	diameter   quantity.Meters
	height     quantity.Meters // of a hanging slab
	form       profile.Form
	factor     float64 // on film coefficients
	mobility   float64 // on the diffusivity of moisture
	conducts   float64 // on the conductivity
	juices     juices
}

// waterHeat holds the specific heat polynomial of water.
var waterHeat = composition.Mix{Water: 1}.SpecificHeatPolynomial()

// hottestProperties is where the property functions end; beyond it they hold.
const hottestProperties = 150.0

// enthalpy integrates a specific heat polynomial from 0 °C.
func enthalpy(c *[3]float64, t float64) float64 {
	if t > hottestProperties {
		return enthalpy(c, hottestProperties) + (t-hottestProperties)*heatCapacity(c, hottestProperties)
	}
	return t * (c[0] + t*(c[1]/2+t*c[2]/3))
}

func heatCapacity(c *[3]float64, t float64) float64 {
	t = min(t, hottestProperties)
	return c[0] + t*(c[1]+t*c[2])
}

// Figures of moisture in the product: published ones scatter over a decade.
const (
	// Raw lean beef, in m²/s: 4.6e-10 at 40 °C (Trujillo, Wiangkaew and Pham 2007, J. Food
	// Eng. 78:74, as quoted by Feyissa and others 2009). It was measured up to measuredTo
	// °C. What is reckoned on beyond that, 8.7e-10 at 60 °C, holds the juice that heat
	// squeezes out, which goes its own way here: with it a piece of beef loses 14 % where
	// 10.5 % were measured. So it rises no further; what boils off above 100 °C is left out.
	leanDiffusivity  = 2.23e-5
	activationKelvin = 3382.2
	measuredTo       = 40.0
	// fatHinders is how fat falls into its way, so that a sausage of 25 % fat has 1e-10
	// (own magnitude, no source).
	fatHinders = 6.1
	// halfMoisture is where drying out has halved the diffusivity: fish at 30 °C has 0.8e-10
	// at 0.05 and 3.4e-10 at 0.3 (Zogzas, in Jangam and Mujumdar), which this meets within a
	// third.
	// sorptionMoisture is where the water activity is one half; both in kg water for
	// each kg of the rest. The sorption curve is Oswin's with exponent 1/2:
	// a_w = X²/(X² + X_half²).
	halfMoisture     = 0.15
	sorptionMoisture = 0.13
	// Water that condensed: from coveringFilm on it wets all of a surface, what is
	// above drippingFilm drips off. kg/m².
	coveringFilm = 0.02
	drippingFilm = 0.10
)

// casingResistance against vapour in s/m, beside some 50 to 100 s/m of the air
// film. Common practice, no source.
func casingResistance(c profile.Casing) float64 {
	switch c {
	case profile.NaturalCasing:
		return 30
	case profile.CollagenCasing:
		return 40
	case profile.CelluloseCasing:
		return 20
	case profile.FibrousCasing:
		return 80
	case profile.PlasticCasing:
		return math.Inf(1)
	}
	return 0
}

func newLoad(l Load) (load, error) {
	if l.Mass == 0 {
		// An empty chamber: a grain of protein in a tight casing, which takes part in
		// nothing and reads the air.
		l = Load{
			Shape: profile.Shape{Form: profile.Sphere, Diameter: 1e-3, Casing: profile.PlasticCasing},
			Mix:   composition.Mix{Water: 0.5, Protein: 0.5}, Mass: 1e-9, Start: l.Start, FilmFactor: l.FilmFactor,
		}
	}
	if !(l.Mass > 0) || !quantity.Finite(float64(l.Mass)) {
		return load{}, fmt.Errorf("plant: Load.Mass %v kg; it must be zero (nothing hung) or more", float64(l.Mass))
	}
	if err := l.Mix.Check(); err != nil {
		return load{}, fmt.Errorf("plant: Load.Mix: %w", err)
	}
	if l.Mix.Water > 0.95 {
		return load{}, fmt.Errorf("plant: Load.Mix: water is %v of the mass; a product has at most 95 %%", l.Mix.Water)
	}
	if !(l.Start > -2 && l.Start < 100) {
		return load{}, fmt.Errorf("plant: Load.Start %v °C; it must be between -2 °C (nothing here freezes) and 100 °C", float64(l.Start))
	}
	if l.FilmFactor == 0 {
		l.FilmFactor = 1
	}
	if !(l.FilmFactor > 0 && l.FilmFactor <= 10) {
		return load{}, fmt.Errorf("plant: Load.FilmFactor %v; it must be zero (for 1) or above zero, up to 10", l.FilmFactor)
	}
	switch l.Shape.Form {
	case profile.Slab, profile.Cylinder, profile.Sphere:
	default:
		return load{}, fmt.Errorf("plant: Load.Shape.Form %d is not known; use cylinder, slab or sphere", l.Shape.Form)
	}
	if err := l.Doubt.check(); err != nil {
		return load{}, err
	}
	exponent := l.Shape.Form.Exponent()
	radius := l.Shape.HalfThickness()
	if !(radius >= 0.5e-3 && radius <= 0.5) {
		what := "Diameter"
		if l.Shape.Form == profile.Slab {
			what = "Thickness"
		}
		return load{}, fmt.Errorf("plant: Load.Shape.%s %v m; it must be between 1 mm and 1 m", what, 2*float64(radius))
	}

	p := load{
		grid: conduction.NewGrid(nodes, exponent, radius), form: l.Shape.Form, diameter: 2 * radius,
		factor: l.FilmFactor, mobility: or1(l.Doubt.Diffusivity) * math.Exp(-fatHinders*float64(l.Mix.Fat)), conducts: or1(l.Doubt.Conductivity), resistance: casingResistance(l.Shape.Casing),
		startMass: float64(l.Mass), surface: float64(l.Start), height: l.Shape.Length,
	}
	if !(p.height > 0) {
		p.height = slabHeight
	}
	p.chain.Resize(nodes-1, l.Start)
	rest := 1 - l.Mix.Water
	p.dry = composition.Mix{
		Protein: l.Mix.Protein / rest, Fat: l.Mix.Fat / rest,
		Carbohydrate: l.Mix.Carbohydrate / rest, Fibre: l.Mix.Fibre / rest, Ash: l.Mix.Ash / rest,
	}
	p.dryHeat = p.dry.SpecificHeatPolynomial()
	p.drySolids = float64(l.Mass * quantity.Kilograms(rest))
	volume := float64(l.Mass) / l.Mix.Density(l.Start)
	p.area = volume * (exponent + 1) / float64(radius)
	for i := range nodes {
		share := p.grid.Volume[i] * p.area / volume
		p.solids[i] = share * float64(l.Mass) * float64(rest)
		p.water[i] = share * float64(l.Mass) * float64(l.Mix.Water)
		p.anchor[i] = float64(l.Start)
		p.energy[i] = p.solids[i]*enthalpy(&p.dryHeat, p.anchor[i]) + p.water[i]*enthalpy(&waterHeat, p.anchor[i])
	}
	flesh := l.Flesh
	if math.IsInf(p.resistance, 1) {
		flesh = Keeps // what a tight casing catches stays in it
	}
	p.juices = newJuices(flesh, float64(p.dry.Fat), float64(l.Mix.Water/rest), &p.water)
	p.juices.part *= or1(l.Doubt.Juice)
	p.juices.drips = min(1, p.juices.drips*or1(l.Doubt.Drip))
	p.refreshCapacities()
	p.refreshProperties()
	return p, nil
}

// blocks is the share of a section in m² that the pieces take, hung side by side.
func (p *load) blocks(section float64) float64 {
	tall := float64(p.height)
	if p.form == profile.Sphere {
		tall = float64(p.diameter)
	}
	volume := p.area * float64(p.diameter) / 2 / (p.form.Exponent() + 1)
	return min(volume/(tall*section), mostBlocked)
}

// temperature of node i, the surface included.
func (p *load) temperature(i int) float64 {
	if i == nodes-1 {
		return p.surface
	}
	return p.chain.Temperature(i)
}

// held is the enthalpy of node i now, in J.
func (p *load) held(i int) float64 {
	if i == nodes-1 {
		return p.energy[i] + p.end*(p.surface-p.anchor[i]) - p.gone*p.liquid
	}
	return p.energy[i] + p.chain.Capacity(i)*(p.chain.Temperature(i)-p.anchor[i])
}

func (p *load) mass() float64 {
	sum := p.drySolids + p.film - p.juices.lost
	for _, w := range p.water {
		sum += w
	}
	return sum
}

// activity is the water activity at the surface and its slope with the surface
// node's moisture in kg/kg.
func (p *load) activity() (activity, slope float64) {
	x := max(p.water[nodes-1], 0) / p.solids[nodes-1]
	const half = sorptionMoisture * sorptionMoisture
	d := 1 / (x*x + half)
	return x * x * d, 2 * x * half * d * d
}

// outside is the water activity of the surface, with the film that covers part of it.
func (p *load) outside() float64 {
	bare, _ := p.activity()
	cover := min(1, p.film/(coveringFilm*p.area))
	return cover + (1-cover)*bare
}

// settle brings the books up to date after some seconds: enthalpy from the
// temperatures, juice that came out, film that drips off, moisture that moved, and
// temperatures from the enthalpy. It reports the water that dripped, the fat that ran out
// and the enthalpy they took.
func (p *load) settle(seconds float64) (dripped, fat, joules float64) {
	const last = nodes - 1
	for i := range nodes {
		p.energy[i] = p.held(i)
	}
	p.gone = 0
	if p.juices.part > 0 {
		dripped, fat, joules = p.squeeze(seconds)
	}
	if limit := drippingFilm * p.area; p.film > limit {
		over := p.film - limit
		heat := over * enthalpy(&waterHeat, p.surface)
		p.film = limit
		p.energy[last] -= heat
		dripped, joules = dripped+over, joules+heat
	}
	p.juices.fallen += dripped
	p.diffuse(seconds)
	for i := range nodes {
		// One Newton step from the old temperature, which is within a hundredth of a
		// kelvin, ends at rounding; the enthalpy stays what it is in any case.
		liquid := p.water[i]
		if i == last {
			liquid += p.film
		}
		t := p.temperature(i)
		var c [3]float64
		for j := range c {
			c[j] = p.solids[i]*p.dryHeat[j] + liquid*waterHeat[j] - p.juices.ran[i]*fatHeat[j]
		}
		t -= (enthalpy(&c, t) - p.energy[i]) / heatCapacity(&c, t)
		p.anchor[i] = t
		if i == last {
			p.surface, p.end = t, heatCapacity(&c, t)
		} else {
			p.chain.SetTemperature(i, t)
			p.chain.SetCapacity(i, heatCapacity(&c, t))
		}
	}
	p.liquid = enthalpy(&waterHeat, p.surface)
	return dripped, fat, joules
}

// diffuse moves moisture within the product, implicitly, and with it its
// enthalpy.
func (p *load) diffuse(seconds float64) {
	var moisture, ratio, conduct [nodes]float64
	for i := range nodes {
		moisture[i] = p.water[i] / p.solids[i]
	}
	// Solids in kg/m³ are the same all over: a piece keeps its size while it dries.
	density := p.solids[0] / (p.grid.Volume[0] * p.area)
	scale := seconds * density * p.area
	hard := func(i int) float64 { // diffusivity, less where it is dry
		x := max(moisture[i], 0)
		return p.basis[i] * x / (x + halfMoisture)
	}
	here := hard(0)
	for i := range nodes - 1 {
		next := hard(i + 1)
		conduct[i] = scale * p.grid.Shape[i] * (here + next) / 2
		here = next
	}
	// Elimination from the middle outwards.
	before, carry, d := 0.0, 0.0, 0.0
	for i := range nodes {
		m := 1 / (p.solids[i] + before*(1-carry) + conduct[i])
		d = (p.water[i] + before*d) * m
		moisture[i] = d
		carry = conduct[i] * m
		ratio[i] = carry
		before = conduct[i]
	}
	for i := nodes - 2; i >= 0; i-- {
		moisture[i] += ratio[i] * moisture[i+1]
	}
	for i := range nodes - 1 {
		moved := conduct[i] * (moisture[i] - moisture[i+1]) // kg outwards
		from := i
		if moved < 0 {
			from = i + 1
		}
		carried := moved * enthalpy(&waterHeat, p.temperature(from))
		p.water[i] -= moved
		p.energy[i] -= carried
		p.water[i+1] += moved
		p.energy[i+1] += carried
	}
}

func (p *load) refreshCapacities() {
	for i := range nodes - 1 {
		t := p.chain.Temperature(i)
		p.chain.SetCapacity(i, p.solids[i]*heatCapacity(&p.dryHeat, t)+p.water[i]*heatCapacity(&waterHeat, t)-p.juices.ran[i]*heatCapacity(&fatHeat, t))
	}
	const last = nodes - 1
	p.end = p.solids[last]*heatCapacity(&p.dryHeat, p.surface) + (p.water[last]+p.film)*heatCapacity(&waterHeat, p.surface) -
		p.juices.ran[last]*heatCapacity(&fatHeat, p.surface)
	p.liquid = enthalpy(&waterHeat, p.surface)
}

// refreshProperties follows temperature and moisture with what conducts heat and
// water. It is dear and what it follows is slow.
func (p *load) refreshProperties() {
	conductivity := func(i int) float64 {
		t := p.temperature(i)
		p.basis[i] = p.mobility * leanDiffusivity * math.Exp(-activationKelvin/(min(t, measuredTo)+kelvin))
		rest := quantity.Ratio(p.solids[i] / (p.solids[i] + max(p.water[i], 0)))
		m := composition.Mix{
			Water: 1 - rest, Protein: rest * p.dry.Protein, Fat: rest * p.dry.Fat,
			Carbohydrate: rest * p.dry.Carbohydrate, Fibre: rest * p.dry.Fibre, Ash: rest * p.dry.Ash,
		}
		return p.conducts * m.Conductivity(quantity.Celsius(min(t, hottestProperties)))
	}
	here := conductivity(0)
	for i := range nodes - 1 {
		next := conductivity(i + 1)
		p.chain.SetConductance(i, p.grid.Shape[i]*p.area*(here+next)/2)
		here = next
	}
}
