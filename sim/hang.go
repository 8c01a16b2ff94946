package sim

import (
	"errors"
	"time"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/plant"
)

// Hang takes the product out and hangs another load of it, so cold, for another batch in
// the cabinet as it stands. A person who knows of nothing before minds it.
func (w *World) Hang(load quantity.Kilograms, start quantity.Celsius) error {
	p := w.Built()
	if p == nil {
		return errors.New("sim: nothing can be hung in a plant of another make")
	}
	w.setup.Load, w.setup.Start = load, &start
	watches := w.person.watches
	w.person, w.place, w.order = NewPerson(w.setup.Product, w.setup.Answer, w.setup.Seed+1), profile.Chamber, controller.Command{}
	w.person.watches = watches
	return p.Hang(hung(&w.setup, load, start))
}

// hung is the product as the plant takes it.
func hung(s *Setup, load quantity.Kilograms, start quantity.Celsius) plant.Load {
	shape := s.Product.Shape
	if s.Diameter != 0 {
		if shape.Form == profile.Slab {
			shape.Thickness = s.Diameter
		} else {
			shape.Diameter = s.Diameter
		}
	}
	return plant.Load{
		Shape: shape, Mix: s.Product.Formula.Composition(), Mass: load,
		Start: start, FilmFactor: s.FilmFactor, Flesh: Flesh(s.Product), Doubt: s.Doubt,
	}
}

// Open has the door stand open for so long from now on.
func (w *World) Open(d time.Duration) { w.open = w.now + d }
