// Package conduction carries heat through a body in one dimension: implicitly,
// so that no time step is too long for it, and so that not a joule is lost. A
// Chain is the numerical core that the simulated walls and product share; a Body
// is a solid with constant properties, for comparison with closed forms and for
// anyone who needs no more. It knows neither air nor moisture.
//
// Finite volumes on the heat equation c·dT/dt = (1/A)·d/dx(k·A·dT/dx), area
// A ~ x^b, backward Euler in time.
package conduction

import (
	"errors"
	"fmt"
	"math"
	"time"

	"fumarium/profile/quantity"
)

// MaxNodes is how many nodes a Chain can have: a Chain has no pointers, so that
// copying what contains one copies it.
const MaxNodes = 64

type link struct {
	t    float64 // temperature, °C
	p, q float64 // forward: d = p·t + q·d(before)
	c    float64 // backward: t = d + c·t(after)
	d    float64
}

// A Chain is a row of nodes, each with a heat capacity, joined by conductances.
// Node 0 may be joined to something of known temperature beyond; after the last
// node comes the end, whose temperature the caller works out together with
// whatever else touches it. One step is Forward, the caller's sum for the end,
// Back.
type Chain struct {
	n        int
	node     [MaxNodes]link
	capacity [MaxNodes]float64 // J/K
	conduct  [MaxNodes]float64 // from node i to i+1 or the end, W/K
}

// Resize empties the chain and gives it n nodes at temperature t.
func (c *Chain) Resize(n int, t quantity.Celsius) {
	*c = Chain{n: n}
	for i := range c.node[:n] {
		c.node[i].t = float64(t)
	}
}

// Len is the number of nodes.
func (c *Chain) Len() int { return c.n }

// Temperature of node i.
func (c *Chain) Temperature(i int) float64 { return c.node[i].t }

// SetTemperature of node i.
func (c *Chain) SetTemperature(i int, celsius float64) { c.node[i].t = celsius }

// SetCapacity of node i in J/K. It counts from the next Factor on.
func (c *Chain) SetCapacity(i int, joulesPerKelvin float64) { c.capacity[i] = joulesPerKelvin }

// Capacity of node i in J/K.
func (c *Chain) Capacity(i int) float64 { return c.capacity[i] }

// SetConductance in W/K from node i to the next, or to the end. It counts from
// the next Factor on.
func (c *Chain) SetConductance(i int, wattsPerKelvin float64) { c.conduct[i] = wattsPerKelvin }

// Factor prepares steps of the given length, with node 0 joined by a conductance
// in W/K to what is beyond it; zero isolates it.
func (c *Chain) Factor(seconds, beyond float64) {
	before, carry := beyond, 0.0
	for i := range c.node[:c.n] {
		store := c.capacity[i] / seconds
		after := c.conduct[i]
		// The conductance backwards is before·(1-carry): what is left of it once
		// the nodes before have been eliminated.
		m := 1 / (store + before*(1-carry) + after)
		c.node[i].p = store * m
		c.node[i].q = before * m
		c.node[i].c = after * m
		before, carry = after, after*m
	}
}

// Forward eliminates the nodes. The heat that flows from the chain into the end
// during the step is then source - pull·T watts, T being the end's temperature
// after the step.
func (c *Chain) Forward(beyondCelsius float64) (pull, source float64) {
	d := beyondCelsius
	nodes := c.node[:c.n]
	for i := range nodes {
		n := &nodes[i]
		d = n.p*n.t + n.q*d
		n.d = d
	}
	last := c.conduct[c.n-1]
	return last * (1 - nodes[c.n-1].c), last * d
}

// Back finishes the step with the end's temperature after it.
func (c *Chain) Back(endCelsius float64) {
	t := endCelsius
	nodes := c.node[:c.n]
	for i := len(nodes) - 1; i >= 0; i-- {
		n := &nodes[i]
		t = n.d + n.c*t
		n.t = t
	}
}

// Heat stored in the nodes above 0 °C in J, for constant capacities.
func (c *Chain) Heat() float64 {
	sum := 0.0
	for i := range c.node[:c.n] {
		sum += c.capacity[i] * c.node[i].t
	}
	return sum
}

// A Grid places nodes from the middle of a body to its surface, closer together
// towards the surface, and owns to each a share of the volume. Numbers are for
// one square metre of surface.
type Grid struct {
	N      int                   // nodes, the surface included
	X      [MaxNodes + 1]float64 // distance from the middle, m
	Volume [MaxNodes + 1]float64 // m³ for each m² of surface
	Shape  [MaxNodes + 1]float64 // area over distance between node i and i+1, 1/m
}

// grading is how much wider the spacing in the middle is than at the surface.
const grading = 6.0

// NewGrid divides a body of the given half thickness or radius. Exponent b says
// how area grows with the distance from the middle, A ~ x^b: 0 slab, 1 cylinder,
// 2 sphere, and anything between for bodies that are neither.
func NewGrid(nodes int, exponent float64, radius quantity.Meters) Grid {
	g := Grid{N: nodes}
	gaps := nodes - 1
	ratio := math.Pow(grading, -1/float64(gaps-1))
	x, gap := 0.0, 1.0
	for i := 1; i < nodes; i++ {
		x += gap
		g.X[i] = x
		gap *= ratio
	}
	for i := range g.X[:nodes] {
		g.X[i] *= float64(radius) / x
	}
	r := float64(radius)
	inside := 0.0 // volume from the middle to the face before this node
	for i := range g.X[:nodes] {
		face := r
		if i < gaps {
			face = (g.X[i] + g.X[i+1]) / 2
			g.Shape[i] = math.Pow(face/r, exponent) / (g.X[i+1] - g.X[i])
		}
		v := r / (exponent + 1) * math.Pow(face/r, exponent+1)
		g.Volume[i] = v - inside
		inside = v
	}
	return g
}

// Properties of a solid that does not change.
type Properties struct {
	Conductivity float64 // W/(m·K)
	Density      float64 // kg/m³
	SpecificHeat float64 // J/(kg·K)
}

// A Body is one square metre of surface of a solid with constant properties.
type Body struct {
	chain   Chain
	grid    Grid
	surface float64
	end     float64 // heat capacity of the surface node, J/K
	seconds float64 // that the chain is prepared for
}

// NewBody makes a body of uniform temperature. See NewGrid for the exponent.
func NewBody(nodes int, exponent float64, radius quantity.Meters, p Properties, start quantity.Celsius) (*Body, error) {
	switch {
	case nodes < 4 || nodes > MaxNodes:
		return nil, fmt.Errorf("conduction: %d nodes; use 4 to %d", nodes, MaxNodes)
	case !(exponent >= 0 && exponent <= 2):
		return nil, fmt.Errorf("conduction: exponent %v; use 0 (slab) to 2 (sphere)", exponent)
	case !(radius > 0) || !quantity.Finite(float64(radius)):
		return nil, fmt.Errorf("conduction: radius %v; it must be above zero", float64(radius))
	case !(p.Conductivity > 0 && p.Density > 0 && p.SpecificHeat > 0):
		return nil, errors.New("conduction: conductivity, density and specific heat must be above zero")
	case !quantity.Finite(float64(start)):
		return nil, errors.New("conduction: the start temperature is not a number")
	}
	b := &Body{grid: NewGrid(nodes, exponent, radius), surface: float64(start)}
	b.chain.Resize(nodes-1, start)
	for i := range nodes - 1 {
		b.chain.SetCapacity(i, b.grid.Volume[i]*p.Density*p.SpecificHeat)
		b.chain.SetConductance(i, b.grid.Shape[i]*p.Conductivity)
	}
	b.end = b.grid.Volume[nodes-1] * p.Density * p.SpecificHeat
	return b, nil
}

// Step moves the body on by dt in a medium, with a film coefficient in W/(m²·K).
func (b *Body) Step(dt time.Duration, film float64, medium quantity.Celsius) {
	seconds := dt.Seconds()
	if seconds <= 0 {
		return
	}
	if seconds != b.seconds {
		b.chain.Factor(seconds, 0)
		b.seconds = seconds
	}
	pull, source := b.chain.Forward(0)
	store := b.end / seconds
	b.surface = (store*b.surface + source + film*float64(medium)) / (store + pull + film)
	b.chain.Back(b.surface)
}

// Core is the temperature in the middle.
func (b *Body) Core() quantity.Celsius { return quantity.Celsius(b.chain.Temperature(0)) }
