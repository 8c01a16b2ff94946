package plant

import (
	"math"

	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/plant/film"
)

// films holds the coefficients that change slowly: W/K, and m³/s for vapour.
type films struct {
	element, tray, racks, lining, outer float64
	product                             float64
	liningVapour                        float64
	filmVapour, cellVapour              float64 // from the product's water film, and through its casing
}

// refreshFilms works out the film coefficients anew.
func (p *Plant) refreshFilms() {
	air, lining := quantity.Celsius(p.air.t), quantity.Celsius(p.wall.lining)
	speed := 0.0
	if p.drive.Fan {
		speed = p.speed
	}
	rod := func(b *body) float64 {
		if b.area == 0 {
			return 0
		}
		between := film.Between(quantity.Celsius(b.t), air, p.pressure)
		h := between.FreeCylinder(quantity.Kelvin(b.t-p.air.t), b.diameter)
		if speed > 0 {
			h = film.Mixed(h, between.CrossCylinder(speed, b.diameter))
		}
		return h * b.area
	}
	f := &p.films
	f.element, f.racks = rod(&p.element), rod(&p.racks)

	f.tray = 0
	if b := &p.tray; b.area > 0 {
		between := film.Between(quantity.Celsius(b.t), air, p.pressure)
		h := between.FreePlate(quantity.Kelvin(b.t-p.air.t), b.diameter)
		if speed > 0 {
			h = film.Mixed(h, between.AlongPlate(speed, b.diameter))
		}
		f.tray = 2 * h * b.area
	}

	h := max(quietWall, freeWall*math.Cbrt(math.Abs(p.air.t-p.wall.lining)))
	if speed > 0 {
		h = max(h, fanWall+fanWallSlope*speed)
	}
	f.lining = h * p.wall.area
	f.liningVapour = film.Between(lining, air, p.pressure).VapourTransfer(h) * p.wall.area

	shell := p.wall.chain.Temperature(0)
	h = max(quietWall, freeWall*math.Cbrt(math.Abs(shell-p.ambient.t)))
	f.outer = (h + film.Radiative(emissivity, quantity.Celsius(shell), quantity.Celsius(p.ambient.t))) * p.wall.area

	f.product, f.filmVapour, f.cellVapour = p.productFilm(&p.product, speed)
	if p.wick.film > 0 { // most cabinets have none
		p.wick.refresh(p, speed)
	}
	p.factorWall()
}

// productFilm works out the coefficients of a load where the product is: W/K, and
// m³/s from its water film and through its casing.
func (p *Plant) productFilm(l *load, speed float64) (heat, filmVapour, cellVapour float64) {
	medium := p.air.t
	switch p.drive.Place {
	case profile.IceWater:
		return iceWaterFilm * l.factor * l.area, 0, 0
	case profile.Room:
		medium, speed = p.medium.t, 0
	case profile.ColdRoom:
		medium, speed = p.medium.t, coldRoomSpeed
	}
	between := film.Between(quantity.Celsius(l.surface), quantity.Celsius(medium), p.pressure)
	difference := quantity.Kelvin(medium - l.surface)
	var free, forced float64
	switch l.form {
	case profile.Cylinder:
		free = between.FreeCylinder(difference, l.diameter)
		if speed > 0 {
			forced = between.CrossCylinder(speed, l.diameter)
		}
	case profile.Slab:
		free = between.FreePlate(difference, l.height)
		if speed > 0 {
			forced = between.AlongPlate(speed, l.height)
		}
	default:
		free = between.FreeSphere(difference, l.diameter)
		if speed > 0 {
			forced = between.AcrossSphere(speed, l.diameter)
		}
	}
	h := film.Mixed(free, forced) * l.factor
	transfer := between.VapourTransfer(h)
	return h * l.area, transfer * l.area, l.area / (1/transfer + l.resistance)
}
