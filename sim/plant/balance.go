package plant

import "fumarium/profile/quantity"

// A Balance is what has gone into the plant and out of it since New, and what it
// holds more than then. Enthalpies count from dry air and liquid water at 0 °C;
// air of the room carries its own in and out, so that In and Out of heat are far
// larger than what the heater gave. What a step leaves over for the next one (see
// step) counts as stored. Residuals are In - Out - Stored: what the books are wrong
// by.
type Balance struct {
	InJoules, OutJoules, StoredJoules, ResidualJoules float64
	// Water only, in any state. Condensate that dripped off has gone out.
	In, Out, Stored, Residual quantity.Kilograms
	// Fat that ran out, and what the product holds less than then: none comes in.
	OutFat, StoredFat, ResidualFat quantity.Kilograms
}

type books struct {
	inJoules, outJoules         float64
	inKilograms, outKilograms   float64
	startJoules, startKilograms float64
	outFat                      float64
}

// stored is what the plant holds: enthalpy in J, water in kg.
func (p *Plant) stored() (joules, kilograms float64) {
	joules = p.element.capacity*p.element.t + p.tray.capacity*p.tray.t + p.racks.capacity*p.racks.t +
		p.floor.chain.Heat() + p.floor.capacity*p.floor.lining +
		p.wall.chain.Heat() + (p.wall.capacity+p.water*waterSpecificHeat)*p.wall.lining +
		p.air.dry*airHeat*p.air.t + p.air.vapour*vapourEnthalpy(p.air.t) + p.owed
	for i := range nodes {
		joules += p.product.held(i)
	}
	return joules, p.air.vapour + p.water + p.product.mass() + p.product.juices.lost
}

// Balance reports what went in and out.
func (p *Plant) Balance() Balance {
	joules, kilograms := p.stored()
	b := Balance{
		InJoules: p.books.inJoules, OutJoules: p.books.outJoules, StoredJoules: joules - p.books.startJoules,
		In: quantity.Kilograms(p.books.inKilograms), Out: quantity.Kilograms(p.books.outKilograms),
		Stored: quantity.Kilograms(kilograms - p.books.startKilograms),
	}
	b.ResidualJoules = b.InJoules - b.OutJoules - b.StoredJoules
	b.Residual = b.In - b.Out - b.Stored
	b.OutFat = quantity.Kilograms(p.books.outFat)
	for _, ran := range p.product.juices.ran {
		b.StoredFat -= quantity.Kilograms(ran)
	}
	b.ResidualFat = -b.OutFat - b.StoredFat
	return b
}
