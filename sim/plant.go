package sim

import (
	"time"

	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/plant"
)

// A Spot is where a temperature is.
type Spot uint8

// The spots.
const (
	InChamber     Spot = iota // the chamber air
	OnProbe                   // what a chamber probe comes to: it sees what glows, and not air alone
	InCore                    // the middle of a piece
	OnSurface                 // of a piece
	BesideProduct             // what is around it, wherever it is: what a probe that slips out of it touches
	InWick                    // a wet wick in the chamber air
	InRoom                    // where the cabinet stands
	InEmber                   // the wood of the smoke generator
)

// A Plant is a cabinet with product as nature has it: it takes what the relays and the
// person do and gives what is true. Probes, controller, person and faults are made
// elsewhere, and the same for each, so that one of quite another structure can be run and
// scored beside the one of package sim/plant.
type Plant interface {
	// Advance lets dt pass under an unchanging drive.
	Advance(dt time.Duration, d plant.Drive)
	// SetAmbient changes the temperature of the room.
	SetAmbient(room quantity.Celsius)
	// At is the true temperature of a spot; not a number where there is no such spot.
	At(Spot) quantity.Celsius
	// Copy is another plant in the same state.
	Copy() Plant
}

// A Smoker is a Plant with a smoke generator that somebody fills and lights.
type Smoker interface {
	Light()
	Lit() bool
}

// A Moist is a Plant that knows of water: the relative humidity of the chamber air, and
// what is left of the mass of the product.
type Moist interface {
	Humidity() quantity.Ratio
	Yield() quantity.Ratio
	Losses() plant.Losses
}

// leastSalt makes meat hold its water as cured or sausage meat does; common practice, no
// source.
const leastSalt = 0.01

// Flesh is what the simulated cabinet takes a product for: ground when its class or cure
// says so, or when nothing else goes into its casing; cured when a cure or enough salt is
// in it.
func Flesh(p *profile.Product) plant.Flesh {
	if p.Species == profile.Dairy {
		return plant.Keeps
	}
	ground := false
	switch p.Class {
	case profile.CookedSausage, profile.Frankfurter, profile.UncookedSausage, profile.FreshPorkSausage, profile.FreshBeefSausage, profile.ItalianSausage:
		ground = true
	case profile.NoClass:
		switch p.Shape.Casing {
		case profile.NaturalCasing, profile.CollagenCasing, profile.CelluloseCasing:
			ground = true
		}
	}
	cures := p.Formula.AllCures()
	for i := range cures {
		ground = ground || cures[i].Method == profile.Comminuted
	}
	salted := float64(p.Formula.SaltMass()) >= leastSalt*float64(p.Formula.Mass())
	switch {
	case ground && salted:
		return plant.SaltedComminuted
	case ground:
		return plant.Ground
	case salted || len(cures) > 0:
		return plant.CuredMuscle
	}
	return plant.RawMuscle
}

// built is the plant of package sim/plant.
type built struct{ *plant.Plant }

func (b built) Copy() Plant {
	p := *b.Plant
	return built{&p}
}

func (b built) At(spot Spot) quantity.Celsius {
	switch spot {
	case InChamber:
		return b.Chamber()
	case OnProbe:
		return b.Probe()
	case InCore:
		return b.Core()
	case OnSurface:
		return b.Surface()
	case BesideProduct:
		return b.Surroundings()
	case InWick:
		return b.Wick()
	case InRoom:
		return b.Ambient()
	default:
		return b.Ember()
	}
}
