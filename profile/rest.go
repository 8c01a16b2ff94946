package profile

import (
	"fmt"
	"time"

	"fumarium/profile/diffusion"
)

// How long a cure works at least; common practice, no source, but for the one named.
const (
	restOvernight = 12 * time.Hour
	restSettle    = 2 * time.Hour // cooked sausage 2 to 3 h at 2 to 8 °C: Vinnikova, Technology of Meat Products
	restPumped    = 12 * time.Hour
	restSoaked    = 48 * time.Hour
)

// trade is the basis of what no source says.
const trade = "common practice, no source"

// Rest is how long the made product must lie in the cold before it may be heated,
// and the reason in words. A rest that the file names counts as it stands. It is zero
// for a product without cure.
func (p *Product) Rest() (least time.Duration, why string) {
	if named := p.Formula.NamedRest(); named > 0 && p.Formula.Cured() {
		return named, "the product file names it"
	}
	return p.LeastRest()
}

// LeastRest is the rest where the file names none, and the one that lint holds a named
// one against: what is advised and what a start waits for must not differ. What comes in
// from outside must have come to the middle.
func (p *Product) LeastRest() (least time.Duration, why string) {
	f := p.Formula
	if in, ok := p.CuredFromOutside(); ok {
		needed := ceil(in.Needed, time.Hour)
		if needed > restSoaked {
			return needed, fmt.Sprintf("salt has to come to the middle of %.0f mm: %.0f %% of it is there after that, by diffusion (%s)",
				float64(2*p.Shape.HalfThickness())*1000, enough*100, diffusion.Salt.Source)
		}
	}
	switch {
	case !f.Cured():
		return 0, "there is no cure to wait for"
	case f.CuredBy(Immersed), f.CuredBy(DryRubbed):
		return restSoaked, "the cure has to come in from outside (" + trade + "); thick pieces want days more"
	case f.CuredBy(Pumped):
		return restPumped, "pumped pickle has to spread (" + trade + ")"
	case f.accelerated():
		return restSettle, "minced with an accelerator it may be smoked the same day, once it has settled in the casing (Vinnikova, Technology of Meat Products)"
	}
	return restOvernight, "overnight, for minced meat without an accelerator (" + trade + ")"
}

func ceil(d, to time.Duration) time.Duration {
	if down := d.Truncate(to); down < d {
		return down + to
	}
	return d
}

// NamedRest is the longest rest that the file names for one of its cures; 0 if it names
// none.
func (f Formula) NamedRest() (longest time.Duration) {
	for _, c := range f.AllCures() {
		longest = max(longest, c.Rest)
	}
	return longest
}

// Cured reports whether any cure is in it.
func (f Formula) Cured() bool { return f.Cure.Method != NoCure && f.Cure.Mass > 0 }

// accelerated reports whether erythorbate, ascorbate or their acid is in it.
func (f Formula) accelerated() bool { return f.MassOf(Accelerator)+f.MassOf(AscorbicAcid) > 0 }
