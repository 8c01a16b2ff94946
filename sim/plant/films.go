package plant

import (
	"math"

	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/plant/film"
)

// films holds the coefficients that change slowly: W/K, and m³/s for vapour.
type films struct {
	element, tray, racks, lining, floor float64
	outer, under                        float64 // from the outside of the walls and of the floor to the room
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

	inner := func(w *wall) float64 {
		h := max(quietWall, freeWall*math.Cbrt(math.Abs(p.air.t-w.lining)))
		if speed > 0 {
			h = max(h, fanWall+fanWallSlope*speed)
		}
		return h
	}
	h := inner(&p.wall)
	f.lining, f.floor = h*p.wall.area, inner(&p.floor)*p.floor.area
	f.liningVapour = film.Between(lining, air, p.pressure).VapourTransfer(h) * p.wall.area

	outer := func(w *wall) float64 {
		shell := w.chain.Temperature(0)
		h := max(quietWall, freeWall*math.Cbrt(math.Abs(shell-p.ambient.t)))
		return (h + radiation(shell, p.ambient.t)) * w.area
	}
	f.outer, f.under = outer(&p.wall), outer(&p.floor)

	// What rises halfway up from fire, element, tray and floor comes down again beside it: both
	// go through the section.
	heat := float64(p.drive.Fire) + f.element*(p.element.t-p.air.t) + f.tray*(p.tray.t-p.air.t) + f.floor*(p.floor.lining-p.air.t)
	middle := math.Cbrt(p.height / 2)
	middle *= middle
	p.still = 2 * plume * math.Cbrt(max(heat, 0)/1000) * middle * p.height / 2 * p.volume / (p.air.dry + p.air.vapour) / p.section

	f.product, f.filmVapour, f.cellVapour = p.productFilm(&p.product)
	if p.wick.film > 0 { // most cabinets have none
		p.wick.refresh(p)
	}
	p.sight.refresh(p)
	p.factorWall()
}

// blows is how fast the air moves where the product hangs.
func (p *Plant) blows() float64 {
	if p.drive.Fan {
		return max(p.speed, p.still)
	}
	return p.still
}

// productFilm works out the coefficients of a load where the product is: W/K, and
// m³/s from its water film and through its casing.
func (p *Plant) productFilm(l *load) (heat, filmVapour, cellVapour float64) {
	medium, speed := p.air.t, p.blows()
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
