package profile

import "fumarium/profile/quantity"

// Molar masses in g/mol, from the standard atomic weights of IUPAC (N 14.007, O 15.999,
// Na 22.990, K 39.098); the sums are own arithmetic.
const (
	molNitriteIon       = 46.0055
	molNitrateIon       = 62.0049
	molSodiumNitrite    = 68.9953
	molPotassiumNitrite = 85.1038
	molSodiumNitrate    = 84.9947
	molPotassiumNitrate = 101.1032
)

// Curing is the ledger of the curing salts that end up in the meat, whatever mixes they
// came in.
type Curing struct {
	SodiumNitrite, PotassiumNitrite, SodiumNitrate, PotassiumNitrate quantity.Kilograms
}

// Curing adds up every cure of the formula; of those in a pickle, what the meat takes up.
func (f Formula) Curing() Curing {
	var all Curing
	for _, c := range f.TakenUp().AllCures() {
		all.SodiumNitrite += c.Mass * quantity.Kilograms(c.Nitrite)
		all.PotassiumNitrite += c.Mass * quantity.Kilograms(c.PotassiumNitrite)
		all.SodiumNitrate += c.Mass * quantity.Kilograms(c.Nitrate)
		all.PotassiumNitrate += c.Mass * quantity.Kilograms(c.PotassiumNitrate)
	}
	return all
}

// Nitrite is all nitrite as if it were sodium nitrite.
func (c Curing) Nitrite() quantity.Kilograms {
	return c.SodiumNitrite + c.PotassiumNitrite*(molSodiumNitrite/molPotassiumNitrite)
}

// NitriteSalts is the nitrite as it was weighed, of either salt.
func (c Curing) NitriteSalts() quantity.Kilograms { return c.SodiumNitrite + c.PotassiumNitrite }

// NitriteIon is all nitrite as the ion.
func (c Curing) NitriteIon() quantity.Kilograms {
	return c.Nitrite() * (molNitriteIon / molSodiumNitrite)
}

// Nitrate is all nitrate as if it were sodium nitrate.
func (c Curing) Nitrate() quantity.Kilograms {
	return c.SodiumNitrate + c.PotassiumNitrate*(molSodiumNitrate/molPotassiumNitrate)
}

// NitrateSalts is the nitrate as it was weighed, of either salt.
func (c Curing) NitrateSalts() quantity.Kilograms { return c.SodiumNitrate + c.PotassiumNitrate }

// NitrateAsPotassium is all nitrate as if it were saltpetre.
func (c Curing) NitrateAsPotassium() quantity.Kilograms {
	return c.Nitrate() * (molPotassiumNitrate / molSodiumNitrate)
}

// NitrateIon is all nitrate as the ion.
func (c Curing) NitrateIon() quantity.Kilograms {
	return c.Nitrate() * (molNitrateIon / molSodiumNitrate)
}

// Both is all nitrite and nitrate together as if they were sodium nitrite.
func (c Curing) Both() quantity.Kilograms {
	return c.Nitrite() + c.Nitrate()*(molSodiumNitrite/molSodiumNitrate)
}

// AllCures are the cures of the formula; none without the first.
func (f Formula) AllCures() []Cure {
	if f.Cure.Method == NoCure {
		return nil
	}
	return append([]Cure{f.Cure}, f.Cures...)
}

// NitriteMass is the nitrite that ends up in the meat, as sodium nitrite.
func (f Formula) NitriteMass() quantity.Kilograms { return f.Curing().Nitrite() }

// CuredBy reports whether one of the cures gets in by that method.
func (f Formula) CuredBy(m CureMethod) bool {
	for _, c := range f.AllCures() {
		if c.Method == m {
			return true
		}
	}
	return false
}

// Wet reports whether the cure is in the pickle, if there is one.
func (c Cure) Wet() bool { return c.Method == Pumped || c.Method == Immersed }

// Salt is the part of the mix that is salt.
func (c Cure) Salt() quantity.Ratio {
	return max(0, 1-c.Nitrite-c.PotassiumNitrite-c.Nitrate-c.PotassiumNitrate)
}
