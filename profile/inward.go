package profile

import (
	"time"

	"fumarium/profile/diffusion"
	"fumarium/profile/quantity"
)

// RestsAt is how cold it rests: the colder end of what is asked for, since the warmer
// is faster.
const RestsAt quantity.Celsius = 2

// enough is the part of what the middle will hold at last that counts as having come to
// it; own choice.
const enough = 0.90

// Inward is how far the cure comes in from outside.
type Inward struct {
	Way  diffusion.Way
	Half quantity.Meters // half thickness or radius
	// Start is the part of the salt that was pumped in and is everywhere from the start.
	Start float64
	// Needed is how long salt takes to the middle.
	Needed time.Duration
}

// CuredFromOutside reckons how the cure comes to the middle of the product, and false
// where it need not: minced, or only pumped, or with a form that is not known.
func (p *Product) CuredFromOutside() (Inward, bool) {
	f := p.Formula
	lies := f.CuredBy(Immersed) || f.Pickle.Pump > 0
	in := Inward{Half: p.Shape.HalfThickness()}
	if !f.Cured() || !lies && !f.CuredBy(DryRubbed) || in.Half <= 0 {
		return Inward{}, false
	}
	if p.Shape.Form != Slab {
		in.Way.Body = diffusion.Cylinder // a sphere is sooner done
	}
	switch {
	case !lies:
		in.Way.Supply = diffusion.Rub
	case f.Pickle.LongCure:
		in.Way.Supply, in.Way.Ratio = diffusion.Pickle, f.pickleToMeat()
	}
	in.Start = f.pumpedSalt()
	in.Needed = in.Takes(diffusion.Salt)
	return in, true
}

// Takes is how long one of what diffuses takes to come to the middle: until enough of
// what will be there at last is, what was pumped in with it.
func (in Inward) Takes(c diffusion.Coefficient) time.Duration {
	if in.Start >= enough {
		return 0
	}
	fourier := in.Way.Fourier((enough - in.Start) / (1 - in.Start))
	seconds := fourier * float64(in.Half) * float64(in.Half) / c.D(RestsAt)
	const longest = 100 * 365 * 24 * time.Hour
	if seconds > longest.Seconds() {
		return longest
	}
	return time.Duration(seconds) * time.Second
}

// Middle is the part of what the middle will hold at last that is there after a rest.
func (in Inward) Middle(c diffusion.Coefficient, rest time.Duration) float64 {
	fourier := c.D(RestsAt) * rest.Seconds() / (float64(in.Half) * float64(in.Half))
	return in.Start + (1-in.Start)*in.Way.Middle(fourier)
}

// pickleToMeat is the water of the pickle over that of the meat.
func (f Formula) pickleToMeat() float64 {
	var pickle, meat quantity.Kilograms
	for _, i := range f.Pickle.Items {
		if i.As == Water {
			pickle += i.Mass
		}
	}
	for _, m := range f.Cut {
		meat += m.Mass * quantity.Kilograms(m.Water)
	}
	if meat <= 0 {
		return 0
	}
	return float64(pickle / meat)
}

// PumpedNitrite reports whether some of the nitrite is pumped in.
func (f Formula) PumpedNitrite() bool {
	for _, c := range f.AllCures() {
		if c.Method == Pumped && c.Nitrite+c.PotassiumNitrite > 0 {
			return true
		}
	}
	return false
}

// pumpedSalt is the part of all salt that is pumped in.
func (f Formula) pumpedSalt() float64 {
	if !f.CuredBy(Pumped) || len(f.Pickle.Items) == 0 {
		return 0
	}
	pumped := Formula{Cut: f.Cut, Pickle: Pickle{Items: f.Pickle.Items, Uptake: f.Pickle.Uptake}}
	if f.Pickle.Pump > 0 {
		pumped.Pickle.Uptake = f.Pickle.Pump
	}
	for _, c := range f.AllCures() {
		switch {
		case !c.Wet():
		case pumped.Cure.Method == NoCure:
			pumped.Cure = c
		default:
			pumped.Cures = append(pumped.Cures, c)
		}
	}
	all := f.SaltMass()
	if all <= 0 {
		return 0
	}
	return min(1, float64(pumped.SaltMass()/all))
}
