package profile

import "time"

// How long a cure works at least where the product file does not say. A rest that
// the file names counts as it stands; lint says when it looks too short.
const (
	restOvernight = 12 * time.Hour // common practice, no source
	restSettle    = 2 * time.Hour  // cooked sausage 2 to 3 h at 2 to 8 °C: Vinnikova, Technology of Meat Products
)

// The shortest rests that are not called too short: common practice, no source.
const (
	restAccelerated = time.Hour
	restMinced      = 8 * time.Hour
	restPumped      = 12 * time.Hour
	restSoaked      = 48 * time.Hour
)

// trade is the basis of what no source says.
const trade = "common practice, no source"

// Rest is how long the made product must lie in the cold before it may be heated,
// and the reason in words. It is zero for a product without cure.
func (p *Product) Rest() (least time.Duration, why string) {
	c := p.Formula.Cure
	switch {
	case c.Method == NoCure || c.Mass <= 0:
		return 0, "there is no cure to wait for"
	case c.Rest > 0:
		return c.Rest, "the product file names it"
	case c.Method == Pumped:
		return restPumped, "pumped pickle has to spread (" + trade + ")"
	case c.Method == Immersed, c.Method == DryRubbed:
		return restSoaked, "the cure has to come in from outside (" + trade + "); thick pieces want days more"
	case p.Formula.accelerated():
		return restSettle, "minced with an accelerator it may be smoked the same day, once it has settled in the casing"
	}
	return restOvernight, "overnight, for minced meat without an accelerator (" + trade + ")"
}

// ShortestRest is the shortest rest in the cold that the trade gives such a cure, and what
// it is the rest of.
func (f Formula) ShortestRest() (time.Duration, string) {
	switch f.Cure.Method {
	case Pumped:
		return restPumped, "pumped meat"
	case Immersed, DryRubbed:
		return restSoaked, "meat cured from outside"
	case Comminuted:
		if f.accelerated() {
			return restAccelerated, "minced meat with an accelerator"
		}
	}
	return restMinced, "minced meat without an accelerator"
}

// accelerated reports whether erythorbate, ascorbate or their acid is in it.
func (f Formula) accelerated() bool { return f.MassOf(Accelerator)+f.MassOf(AscorbicAcid) > 0 }
