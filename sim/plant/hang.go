package plant

// Hang takes the product out and hangs another load in the chamber as it stands. The door
// is the caller's to open, see Drive.
func (p *Plant) Hang(l Load) error {
	product, err := newLoad(l)
	if err != nil {
		return err
	}
	joules, kilograms := p.stored()
	p.product = product
	newJoules, newKilograms := p.stored()
	p.books.startJoules += newJoules - joules
	p.books.startKilograms += newKilograms - kilograms
	p.factorProduct()
	p.refreshFilms()
	return nil
}
