package campaign

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// Stock is what batches are drawn from.
type Stock struct {
	Products []catalog.Entry
	Cabinets []shipped.Entry
	Kinds    []fault.Kind // all when empty
	// Faultless leaves all faults out of the batches of the seeds; doors that people open stay.
	Faultless bool
}

// Shipped is every shipped product and cabinet.
func Shipped() (Stock, error) {
	products, err := catalog.All()
	if err != nil {
		return Stock{}, err
	}
	cabinets, err := shipped.All()
	return Stock{Products: products, Cabinets: cabinets}, err
}

// longest is when a batch is given up: well after the slowest shipped product is
// done without a fault. Common practice, no source.
const longest = 30 * time.Hour

// shortRest is what is left of stages that only let time pass when all heat and all
// chilling is over: nothing happens in them that a campaign could learn from.
const shortRest = 20 * time.Minute

// brief is the product with short stages of rest at its end.
func brief(p *profile.Product) *profile.Product {
	short := *p
	short.Stages = slices.Clone(p.Stages)
	for i := len(short.Stages) - 1; i > 0; i-- {
		stage := &short.Stages[i]
		c := stage.Until.Conditions
		if stage.Heat || stage.Smoke || len(c) != 1 || c[0].Kind != profile.After {
			break
		}
		stage.Until.Conditions = []profile.Condition{{Kind: profile.After, After: min(c[0].After, shortRest)}}
	}
	return &short
}

// added are products that came when seeds had been noted. They are drawn apart, as often as
// the others, so that of other seeds the batch stays what it was.
var added = []string{"yarrow-salmon"}

func (s Stock) product(r draws, seed uint64) catalog.Entry {
	var before, after []catalog.Entry
	for _, p := range s.Products {
		if slices.Contains(added, p.Key) {
			after = append(after, p)
		} else {
			before = append(before, p)
		}
	}
	if len(before) == 0 {
		return after[r.IntN(len(after))]
	}
	drawn := before[r.IntN(len(before))]
	apart := draws{rand.New(rand.NewPCG(seed&^Operated&^Paired&^Bending, 0x6164646564))}
	if i := apart.IntN(len(s.Products)); i < len(after) {
		return after[i]
	}
	return drawn
}

// Draw makes the batch of a seed. Ranges are wider than what a careful maker would
// meet; common practice, no source.
func (s Stock) Draw(seed uint64) sim.Setup {
	r := draws{rand.New(rand.NewPCG(seed&^Operated&^Paired&^Bending, 0x63616d706169676e))}
	product := brief(s.product(r, seed).Value)
	box := stated(s.Cabinets[r.IntN(len(s.Cabinets))].Value)
	b := box.Rehearsal
	// A cabinet takes about twenty kilograms for each cubic meter; a small one is
	// loaded lightly.
	room := 20 * float64(b.Width*b.Depth*b.Height)
	load := quantity.Kilograms(min(max(room*r.between(0.3, 1.5), 0.3), 60))
	size := 2 * product.Shape.HalfThickness()
	ambient := box.Ambient + quantity.Celsius(6*r.NormFloat64())
	ambient = min(max(ambient, -20), 40)
	start := quantity.Celsius(r.between(1, 15))
	setup := sim.Setup{
		Product: product, Cabinet: box, Seed: r.Uint64(), Load: load, Ambient: &ambient, Start: &start,
		Diameter: size * quantity.Meters(r.between(0.8, 1.2)), FilmFactor: r.between(0.7, 1.3),
		Longest: longest, // and how long each answer takes the setup's seed draws
	}
	setup.Examine, setup.Excused = true, true // whatever a probe has shown, someone has a reason to start
	r.Float64()                               // which was the answer of all once; seeds keep their product, cabinet and faults
	kinds := s.Kinds
	if len(kinds) == 0 {
		kinds = ofTheBatch()
	}
	for range r.IntN(4) {
		setup.Faults = append(setup.Faults, r.fault(kinds[r.IntN(len(kinds))], box))
	}
	if len(s.Kinds) == 0 {
		setup.Faults = append(setup.Faults, besides(seed)...)
		setup.Faults = append(setup.Faults, airs(seed, box)...)
	}
	if s.Faultless {
		setup.Faults = nil
	}
	if seed&Operated != 0 {
		operate(&setup, seed)
	}
	if seed&Bending != 0 {
		bend(&setup, seed)
	}
	return setup
}

// beside are the kinds of what hangs at the front, and of chips and their bus. They come in
// one batch of four beside the others, drawn apart from them, so that a seed keeps its batch.
var beside = []fault.Kind{fault.AmbientStale, fault.DisplayUnplugged, fault.ButtonStuck, fault.ButtonChattering, fault.BusStuck}

// ofTheBatch are all the others.
func ofTheBatch() []fault.Kind {
	return slices.DeleteFunc(paired(), func(k fault.Kind) bool { return slices.Contains(beside, k) })
}

// ofTheAir are those of damper, moisture and cooling. They come in one batch of four beside the
// others, drawn apart from them likewise, and where the cabinet has what fails; a damper stands
// wrong also where a person sets it.
var ofTheAir = []fault.Kind{fault.DamperOpen, fault.DamperShut, fault.HumidifierEmpty, fault.CoolerDead, fault.HumidifierStuck, fault.CoolerStuck}

func airs(seed uint64, c *cabinet.Cabinet) []fault.Fault {
	r := draws{rand.New(rand.NewPCG(seed&^Operated&^Paired, 0x6f66746865616972))}
	if r.IntN(4) > 0 {
		return nil
	}
	fits := slices.DeleteFunc(slices.Clone(ofTheAir), func(k fault.Kind) bool {
		moistens, cools := k == fault.HumidifierEmpty || k == fault.HumidifierStuck, k == fault.CoolerDead || k == fault.CoolerStuck
		return moistens && !c.Humidifier.Fitted || cools && !c.Cooler.Fitted
	})
	return []fault.Fault{r.fault(fits[r.IntN(len(fits))], c)}
}

// paired are those of the matrix.
func paired() []fault.Kind {
	return slices.DeleteFunc(fault.All(), func(k fault.Kind) bool { return slices.Contains(ofTheAir, k) })
}

func besides(seed uint64) []fault.Fault {
	r := draws{rand.New(rand.NewPCG(seed&^Operated&^Paired, 0x626573696465))}
	if r.IntN(4) > 0 {
		return nil
	}
	return []fault.Fault{r.fault(beside[r.IntN(len(beside))], nil)}
}

// statedError is what the files of drawn cabinets say that a core probe may be wrong by: what
// a careful maker finds. What it is wrong beyond that must show, or nothing is called good.
const statedError quantity.Kelvin = 0.5

func stated(c *cabinet.Cabinet) *cabinet.Cabinet {
	box := *c
	box.Probes = slices.Clone(c.Probes)
	for i := range box.Probes {
		if p := &box.Probes[i]; p.Role == cabinet.CoreProbe {
			p.Error, p.HasError = statedError, true
		}
	}
	return &box
}

type draws struct{ *rand.Rand }

func (r draws) between(low, high float64) float64 { return low + (high-low)*r.Float64() }

// log is drawn so that each doubling is as likely as the next.
func (r draws) log(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }

func (r draws) fault(k fault.Kind, c *cabinet.Cabinet) fault.Fault {
	f := fault.Fault{Kind: k}
	if r.IntN(10) > 0 {
		f.At = time.Duration(r.between(0, 12*3600)) * time.Second
	}
	if r.IntN(5) > 0 {
		f.For = time.Duration(r.log(1, 3*3600)) * time.Second
	}
	if n := k.Probes(); n > 0 && r.IntN(2) == 0 {
		f.Probe = 1 + r.IntN(fitted(c, n))
	}
	least, most, takes := k.Range()
	if !takes {
		return f
	}
	switch k {
	case fault.ChamberOffset, fault.CoreOffset:
		least, most = 0.5, 60
	case fault.ChamberNoise, fault.CoreNoise:
		return withValue(f, r.log(0.2, 20))
	case fault.ChamberDrift:
		least, most = 1, 60
	case fault.ChamberWire, fault.CoreWire:
		f.Value = least + float64(r.IntN(int(most-least)+1))
		return f
	case fault.Fire:
		return withValue(f, r.log(100, 6000))
	case fault.AmbientStep:
		least, most = 2, 30
	case fault.AmbientRamp:
		least, most = 1, 15
	}
	v := r.log(max(least, 0.1), most)
	if r.IntN(2) == 0 {
		v = -v
	}
	return withValue(f, v)
}

// withValue keeps two decimals, so that the fault written down is the fault drawn.
func withValue(f fault.Fault, v float64) fault.Fault {
	f.Value = math.Round(v*100) / 100
	return f
}

// fitted is how many probes of the role that has most there are, so that few
// faults fall on probes that nobody has.
func fitted(c *cabinet.Cabinet, most int) int {
	chambers, cores := 0, 0
	for _, p := range c.Probes {
		switch p.Role {
		case cabinet.ChamberProbe:
			chambers++
		case cabinet.CoreProbe:
			cores++
		}
	}
	if most == cabinet.MaxChamberProbes {
		return max(chambers, 1)
	}
	return max(cores, 1)
}

// Describe says in a line what a setup is.
func Describe(s sim.Setup) string {
	text := fmt.Sprintf("%s, %s, %s, %s, room %s", s.Product.Name, s.Cabinet.Name, s.Load, s.Diameter, *s.Ambient)
	for _, f := range s.Faults {
		text += ", " + f.String()
	}
	if o, ok := s.Operator.(fmt.Stringer); ok {
		text += ", " + o.String()
	}
	return text
}
