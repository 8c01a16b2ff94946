// Package sheet makes the sheet that hangs on the wall while a batch is made: what
// to weigh out, whether the cure is within its limits, the steps by hand, the rest,
// and the stages of the chamber. It prints what package formula reckons; it decides
// nothing itself and starts nothing.
package sheet

import (
	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Options say for what the sheet is made.
type Options struct {
	Meat  quantity.Kilograms   // meat in hand; 0 takes the amounts as the file has them
	Where profile.Jurisdiction // whose rules; none takes those of the product
}

// A Sheet is one batch ready to be made. It marshals to the keys of `sheet --json`.
type Sheet struct {
	Meat  float64 `json:"meat_kg"`  // green weight
	Total float64 `json:"total_kg"` // the raw batch; of a pickle only what the meat takes up
	Items []Item  `json:"items"`    // what to weigh out, a pickle's items in full

	Jurisdiction string  `json:"jurisdiction"` // whose rules
	Nitrite      *Check  `json:"nitrite"`      // nil without a cure
	More         []Check `json:"more"`         // nitrate, and what the finished product may hold
	Elsewhere    []Place `json:"elsewhere"`    // what other places would say; empty without a cure
	Erythorbate  *Check  `json:"erythorbate"`  // nil without a cure or an accelerator

	SaltPercent       float64 `json:"salt_percent"`        // of the green weight, that of the cure included
	FatPercent        float64 `json:"fat_percent"`         // of the raw batch, like those below
	AddedWaterPercent float64 `json:"added_water_percent"` // water put in as an ingredient
	BinderPercent     float64 `json:"binder_percent"`

	Composition Composition     `json:"composition"`
	Findings    source.Findings `json:"findings"` // errors first; empty, never null

	product *profile.Product // scaled
	verdict formula.Verdict
}

// An Item is one thing to weigh out.
type Item struct {
	Name      string  `json:"name"`
	Kilograms float64 `json:"kg"`
}

// A Check is an amount against its limits, in parts per million. A limit that does not
// apply is null. Pass is that no limit is broken, Shown that a recipe can show it.
type Check struct {
	Name  string   `json:"name"`
	When  string   `json:"when"`
	PPM   float64  `json:"ppm"`
	Limit *float64 `json:"limit_ppm"`
	Floor *float64 `json:"floor_ppm"`
	Basis string   `json:"basis"`
	Pass  bool     `json:"pass"`
	Shown bool     `json:"shown"`
	Why   string   `json:"why"`
}

// A Place is what another place would say.
type Place struct {
	Jurisdiction string  `json:"jurisdiction"`
	Pass         bool    `json:"pass"`
	Checks       []Check `json:"checks"`
}

// Composition is the raw batch in fractions of its mass.
type Composition struct {
	Water        float64 `json:"water"`
	Protein      float64 `json:"protein"`
	Fat          float64 `json:"fat"`
	Carbohydrate float64 `json:"carbohydrate"`
	Ash          float64 `json:"ash"`
}

// Make works the sheet out. It does not change the product. Meat below zero is a
// mistake of the caller and panics.
func Make(p *profile.Product, o Options) Sheet {
	scaled := *p
	if o.Meat != 0 {
		scaled.Formula = formula.Scale(p.Formula, o.Meat)
	}
	if o.Where == profile.NoJurisdiction {
		o.Where = p.Where(o.Where)
	}
	v := formula.Judge(&scaled, o.Where)
	percent := func(r quantity.Ratio) float64 { return float64(r) * 100 }
	s := Sheet{
		Jurisdiction: o.Where.String(), More: []Check{}, Elsewhere: []Place{},
		Meat: float64(v.Meat), Total: float64(v.Total), Items: items(scaled.Formula),
		SaltPercent: percent(v.Shares.Salt), FatPercent: percent(v.Shares.Fat),
		AddedWaterPercent: percent(v.Shares.PutWater), BinderPercent: percent(v.Shares.Binder),
		Composition: Composition{
			Water: float64(v.Composition.Water), Protein: float64(v.Composition.Protein), Fat: float64(v.Composition.Fat),
			Carbohydrate: float64(v.Composition.Carbohydrate), Ash: float64(v.Composition.Ash),
		},
		Findings: append(source.Findings{}, v.Findings...),
		product:  &scaled, verdict: v,
	}
	if v.Cured {
		s.Nitrite = check(v.Nitrite)
		for _, c := range v.More {
			s.More = append(s.More, *check(c))
		}
		for _, p := range v.Elsewhere {
			place := Place{Jurisdiction: p.Where.String(), Pass: p.Pass(), Checks: []Check{}}
			for _, c := range p.Checks {
				place.Checks = append(place.Checks, *check(c))
			}
			s.Elsewhere = append(s.Elsewhere, place)
		}
	}
	if v.Cured || v.Accelerated {
		s.Erythorbate = check(v.Accelerator)
	}
	return s
}

// Pass reports whether no finding is an error.
func (s Sheet) Pass() bool { return s.verdict.Pass() }

func check(c formula.Check) *Check {
	bound := func(b formula.Bound) *float64 {
		if !b.Set {
			return nil
		}
		return &b.PPM
	}
	return &Check{Name: c.Name, When: c.When.String(), Shown: c.Shown, Why: c.Why, PPM: c.PPM, Limit: bound(c.Limit), Floor: bound(c.Floor), Basis: c.Basis, Pass: c.Pass}
}

func items(f profile.Formula) []Item {
	all := []Item{}
	add := func(name string, m quantity.Kilograms) { all = append(all, Item{name, float64(m)}) }
	for _, m := range f.Cut {
		add(m.Name, m.Mass)
	}
	for _, c := range f.AllCures() {
		add(c.Name, c.Mass)
	}
	for _, i := range f.Pickle.Items {
		add(i.Name, i.Mass)
	}
	for _, i := range f.Other {
		add(i.Name, i.Mass)
	}
	return all
}
