package plant

import (
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/plant/film"
)

// probeDiameter is that of a chamber probe's sheath, which hangs across the air; common
// practice, no source. It is as black as all that hangs in smoke.
const probeDiameter = 6e-3

// sight is what a chamber probe feels, in W/(m²·K): the air by its film, and by radiation
// what there is to be seen from where the product hangs.
type sight struct{ air, lining, floor, tray, element, product float64 }

// refresh works out the coefficients anew, for a probe about as warm as the air.
func (s *sight) refresh(p *Plant) {
	air := quantity.Celsius(p.air.t)
	alone := film.DryAir(air, p.pressure)
	s.air = alone.FreeCylinder(quantity.Kelvin(p.Probe()-air), probeDiameter)
	if speed := p.blows(); speed > 0 {
		s.air = film.Mixed(s.air, alone.CrossCylinder(speed, probeDiameter))
	}
	seen := 1 / p.around
	s.lining = radiation(p.air.t, p.wall.lining) * p.wall.area * seen
	s.floor = radiation(p.air.t, p.floor.lining) * p.gap * seen
	s.tray = radiation(p.air.t, p.tray.t) * p.tray.area * seen
	s.element = radiation(p.air.t, p.element.t) * p.shines() * seen
	s.product = 0
	if p.drive.Place == profile.Chamber {
		s.product = radiation(p.air.t, p.product.surface) * p.product.area * seen
	}
}

// shines is how much of the element's area gives its glow to what is above the tray: of what
// the tray does not catch, half a rod's goes down to the floor.
func (p *Plant) shines() float64 { return p.element.area * max(0, p.pastTray-glowsDown) }

// Probe is what a chamber probe comes to, its lag apart: it hangs in the air, and sees
// walls, tray and product as well.
func (p *Plant) Probe() quantity.Celsius {
	s, t := &p.sight, p.air.t
	sum := s.air + s.lining + s.floor + s.tray + s.element + s.product
	if sum == 0 { // not yet worked out
		return quantity.Celsius(t)
	}
	seen := s.lining*(p.wall.lining-t) + s.floor*(p.floor.lining-t) + s.tray*(p.tray.t-t) + s.element*(p.element.t-t) + s.product*(p.product.surface-t)
	return quantity.Celsius(t + seen/sum)
}
