// Package weighed is what really went into a batch, beside what its make sheet asks for:
// the weights taken of each ingredient and their lots, and the batch on the scale, raw,
// hung, cooked and packed. It works out by how much a weight is off the sheet for the meat
// that was weighed, judges the formula as it was weighed, and reckons yields. What nobody
// weighed counts as the sheet has it, and is said to be so.
package weighed

import (
	"fmt"
	"slices"
	"strings"

	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Moments at which the batch as a whole is weighed, in their order.
const (
	Raw    = "raw"
	Hung   = "hung"
	Cooked = "cooked"
	Packed = "packed" // a pack at a time
)

// Moments lists them.
func Moments() []string { return []string{Raw, Hung, Cooked, Packed} }

// Casing is what the product hangs in, which the formula does not list.
const Casing = "casing"

// An Entry is one thing that a person said. Mass counts if it is Known; a lot may be noted
// without one.
type Entry struct {
	What  string // a moment, Casing, or an ingredient by its name in Names
	Pack  int    // which pack, from 1; of Packed only
	Mass  quantity.Kilograms
	Known bool
	Lot   string
}

// tooFar is how far a weight may be off its sheet before it is called a deviation; common
// practice, no source. A tenth of the cure is more than any scale for it is wrong by.
const tooFar = 0.1

// A Portion is what was taken of one lot. An empty lot is not known, nor is a nil mass.
type Portion struct {
	Lot       string   `json:"lot"`
	Kilograms *float64 `json:"kg"`
}

// An Item is one line of the sheet with what was taken for it.
type Item struct {
	Name     string    `json:"name"`
	SheetKg  float64   `json:"sheet_kg"` // for the meat that was weighed
	TakenKg  *float64  `json:"taken_kg"` // null where nobody weighed it
	Portions []Portion `json:"portions"`
	Off      bool      `json:"off"` // farther from the sheet than a tenth
	cure     bool
	meat     bool
}

// A Pack is one that was weighed.
type Pack struct {
	Number    int     `json:"pack"`
	Kilograms float64 `json:"kg"`
}

// A Tally is all that is known of one batch's weights and lots.
type Tally struct {
	Items    []Item    `json:"items"`
	Casing   []Portion `json:"casing"`
	MeatKg   float64   `json:"meat_kg"`      // that the sheet is made for
	OfMeat   bool      `json:"meat_weighed"` // otherwise as the product file has it
	RawKg    *float64  `json:"raw_kg"`
	HungKg   *float64  `json:"hung_kg"`
	CookedKg *float64  `json:"cooked_kg"`
	PackedKg *float64  `json:"packed_kg"` // all packs
	Packs    []Pack    `json:"packs"`
	// Uptake is what was taken up of a pickle, in words; empty where that is not known.
	Uptake string `json:"uptake"`
	// Deviations are what is off, the cure first, each in words.
	Deviations []string `json:"deviations"`

	// Product is what was made: its formula has what was weighed.
	Product *profile.Product `json:"-"`
	judged  *proof.Judgement
	cured   bool // a cure, or what was taken up of one, was weighed
}

// slot is one line of a formula.
type slot struct {
	name       string
	mass       *quantity.Kilograms
	meat, cure bool
}

// slots gives the lines of a formula in the order of the sheet. A name that comes twice
// gets a number.
func slots(f *profile.Formula) []slot {
	var all []slot
	seen := map[string]int{}
	add := func(s slot) {
		key := strings.ToLower(s.name)
		if seen[key]++; seen[key] > 1 {
			s.name = fmt.Sprintf("%s (%d)", s.name, seen[key])
		}
		all = append(all, s)
	}
	for i := range f.Cut {
		add(slot{name: f.Cut[i].Name, mass: &f.Cut[i].Mass, meat: true})
	}
	if f.Cure.Method != profile.NoCure {
		add(slot{name: f.Cure.Name, mass: &f.Cure.Mass, cure: true})
	}
	for i := range f.Cures {
		add(slot{name: f.Cures[i].Name, mass: &f.Cures[i].Mass, cure: true})
	}
	for _, list := range [][]profile.Ingredient{f.Pickle.Items, f.Other} {
		for i := range list {
			add(slot{name: list[i].Name, mass: &list[i].Mass})
		}
	}
	return all
}

// apart is a formula that shares no slice with its origin.
func apart(f profile.Formula) profile.Formula {
	f.Cut, f.Cures, f.Other = slices.Clone(f.Cut), slices.Clone(f.Cures), slices.Clone(f.Other)
	f.Pickle.Items = slices.Clone(f.Pickle.Items)
	return f
}

// Names lists the ingredients of a product as entries name them.
func Names(p *profile.Product) (names []string) {
	f := apart(p.Formula)
	for _, s := range slots(&f) {
		names = append(names, s.name)
	}
	return names
}

// Find is the name of what a person means: a moment, the casing, or an ingredient by its
// name or a part of it that no other has. Capitals do not matter.
func Find(p *profile.Product, what string) (string, error) {
	names := append(Names(p), Casing)
	all := append(names, Moments()...)
	said := strings.ToLower(strings.TrimSpace(what))
	var like []string
	for _, n := range all {
		switch low := strings.ToLower(n); {
		case low == said:
			return n, nil
		case said != "" && strings.Contains(low, said):
			like = append(like, n)
		}
	}
	switch len(like) {
	case 1:
		return like[0], nil
	case 0:
		return "", fmt.Errorf("%q is nothing that goes into %s; weigh one of: %s; or the batch: %s", what, p.Name, strings.Join(names, ", "), strings.Join(Moments(), ", "))
	}
	return "", fmt.Errorf("%q may be %s; write more of it", what, strings.Join(like, " or "))
}

// Of folds what was said, the oldest first. The same ingredient of the same lot weighed
// again takes the place of the weight before; of another lot it comes on top. A weight of
// no lot gives way to the first of a known one. Moments and packs are held by the last
// word; a pack of nothing is taken back.
func Of(p *profile.Product, where profile.Jurisdiction, entries []Entry) Tally {
	t := Tally{Items: []Item{}, Casing: []Portion{}, Packs: []Pack{}, Deviations: []string{}}
	portions := Portions(entries)
	for _, e := range entries {
		switch e.What {
		case Raw:
			t.RawKg = said(e)
		case Hung:
			t.HungKg = said(e)
		case Cooked:
			t.CookedKg = said(e)
		case Packed:
			t.pack(e)
		}
	}
	t.Casing = append(t.Casing, portions[Casing]...)
	t.sum()
	t.lines(p, portions)
	t.uptake(p)
	t.judge(where)
	return t
}

// Portions is what was taken of each ingredient and the casing, by its name.
func Portions(entries []Entry) map[string][]Portion {
	portions := map[string][]Portion{}
	for _, e := range entries {
		if !slices.Contains(Moments(), e.What) {
			portions[e.What] = take(portions[e.What], e)
		}
	}
	return portions
}

func said(e Entry) *float64 {
	if !e.Known {
		return nil
	}
	v := float64(e.Mass)
	return &v
}

func take(list []Portion, e Entry) []Portion {
	mass := said(e)
	of := func(lot string) int {
		return slices.IndexFunc(list, func(p Portion) bool { return strings.EqualFold(p.Lot, lot) })
	}
	i := of(e.Lot)
	if unnamed := of(""); e.Lot != "" && mass != nil && unnamed >= 0 && (i < 0 || list[i].Kilograms == nil) {
		list = slices.Delete(list, unnamed, unnamed+1)
		i = of(e.Lot)
	}
	switch {
	case i < 0 && mass != nil && *mass == 0:
		return list
	case i < 0:
		return append(list, Portion{e.Lot, mass})
	case mass != nil && *mass == 0:
		return slices.Delete(list, i, i+1)
	case mass != nil: // the lot alone leaves the weight
		list[i].Kilograms = mass
	}
	return list
}

func (t *Tally) pack(e Entry) {
	i := slices.IndexFunc(t.Packs, func(p Pack) bool { return p.Number == e.Pack })
	switch {
	case !e.Known:
	case i >= 0 && e.Mass == 0:
		t.Packs = slices.Delete(t.Packs, i, i+1)
	case i >= 0:
		t.Packs[i].Kilograms = float64(e.Mass)
	case e.Mass > 0:
		t.Packs = append(t.Packs, Pack{e.Pack, float64(e.Mass)})
	}
}

// NextPack is the number of the pack after the last.
func (t *Tally) NextPack() int {
	next := 1
	for _, p := range t.Packs {
		next = max(next, p.Number+1)
	}
	return next
}

func (t *Tally) sum() {
	if len(t.Packs) == 0 {
		return
	}
	sum := 0.0
	for _, p := range t.Packs {
		sum += p.Kilograms
	}
	t.PackedKg = &sum
}

// lines puts beside each line of the sheet what was taken for it, and makes the formula
// that this comes to.
func (t *Tally) lines(p *profile.Product, portions map[string][]Portion) {
	made := *p
	made.Formula = apart(p.Formula)
	taken := func(name string) (sum float64, known bool) {
		for _, portion := range portions[name] {
			if portion.Kilograms != nil {
				sum, known = sum+*portion.Kilograms, true
			}
		}
		return sum, known
	}
	meat, all := 0.0, true
	for _, s := range slots(&made.Formula) {
		if s.meat {
			sum, known := taken(s.name)
			meat, all = meat+sum, all && known
		}
	}
	if t.OfMeat = all && meat > 0; t.OfMeat {
		made.Formula = apart(formula.Scale(made.Formula, quantity.Kilograms(meat)))
	}
	t.MeatKg = float64(made.Formula.MeatMass())
	for _, s := range slots(&made.Formula) {
		i := Item{Name: s.name, SheetKg: float64(*s.mass), Portions: append([]Portion{}, portions[s.name]...), cure: s.cure, meat: s.meat}
		if sum, known := taken(s.name); known {
			i.TakenKg = &sum
			*s.mass = quantity.Kilograms(sum)
			t.cured = t.cured || s.cure
			by := sum - i.SheetKg
			i.Off = by > tooFar*i.SheetKg || -by > tooFar*i.SheetKg
		}
		t.Items = append(t.Items, i)
	}
	t.Product = &made
}

// Known reports whether anything was weighed or its lot noted.
func (t *Tally) Known() bool {
	return t.RawKg != nil || t.HungKg != nil || t.CookedKg != nil || len(t.Packs) > 0 || len(t.Casing) > 0 ||
		slices.ContainsFunc(t.Items, func(i Item) bool { return len(i.Portions) > 0 })
}

// judge says what is off the sheet. A cure that is, is a deviation whatever the limits say:
// it was not made as it was judged.
func (t *Tally) judge(where profile.Jurisdiction) {
	var cure, other []string
	for _, i := range t.Items {
		switch {
		case i.Off && i.cure:
			cure = append(cure, "CURE "+t.off(i))
		case i.Off:
			other = append(other, t.off(i))
		}
	}
	t.Deviations = append(slices.Insert(t.Deviations, 0, cure...), other...)
	var over []string
	if t.weighedAny() || t.cured {
		for _, f := range formula.Judge(t.Product, where).Findings {
			if f.Severity == source.Error {
				over = append(over, "as weighed, "+f.Message)
			}
		}
	}
	if against := slices.Concat(cure, over); len(against) > 0 {
		t.judged = &proof.Judgement{Answer: proof.NotMet, Why: strings.Join(against, "; ")}
		t.Deviations = append(t.Deviations, over...)
	}
}

func (t *Tally) weighedAny() bool {
	return slices.ContainsFunc(t.Items, func(i Item) bool { return i.TakenKg != nil })
}

func (t *Tally) off(i Item) string {
	of := fmt.Sprintf("for %v of meat has", quantity.Kilograms(t.MeatKg))
	if !t.OfMeat {
		of = "as the product file has it has"
	}
	text := fmt.Sprintf("%s: %v weighed, and the sheet %s %v", i.Name, quantity.Kilograms(*i.TakenKg), of, quantity.Kilograms(i.SheetKg))
	if i.SheetKg > 0 {
		text += fmt.Sprintf(": %s times as much", quantity.Fixed(*i.TakenKg/i.SheetKg, 2))
	}
	return text
}

// Bad reports whether what was weighed speaks against the batch, and why.
func (t *Tally) Bad() (why string, bad bool) {
	if t == nil || t.judged == nil {
		return "", false
	}
	return t.judged.Why, true
}

// Amend puts into a verdict what the weights say of the formula. The verdict is of the
// tally's own product.
func (t *Tally) Amend(v *proof.Verdict) {
	switch {
	case t == nil:
	case t.judged != nil:
		v[proof.Formula] = *t.judged
	case t.cured && v[proof.Formula].Answer != proof.DoesNotApply:
		v[proof.Formula].Why += ", with the cure as it was weighed"
	}
}

// A Yield is one weight as a part of an earlier one.
type Yield struct {
	What  string  `json:"what"`
	Of    string  `json:"of"`
	Ratio float64 `json:"ratio"`
}

// Yields are the parts that can be told, each of the weight before and of the raw one. What
// went in counts as raw when every line of it was weighed and the raw batch was not.
func (t *Tally) Yields() []Yield {
	raw, name := t.RawKg, Raw
	if raw == nil && len(t.Product.Formula.Pickle.Items) == 0 && !slices.ContainsFunc(t.Items, func(i Item) bool { return i.TakenKg == nil }) {
		sum := 0.0
		for _, i := range t.Items {
			sum += *i.TakenKg
		}
		raw, name = &sum, "all that went in"
	}
	type weight struct {
		name string
		kg   *float64
	}
	known := []weight{}
	for _, w := range []weight{{name, raw}, {Hung, t.HungKg}, {Cooked, t.CookedKg}, {Packed, t.PackedKg}} {
		if w.kg != nil && *w.kg > 0 {
			known = append(known, w)
		}
	}
	yields := []Yield{}
	for i := 1; i < len(known); i++ {
		before := known[i-1]
		yields = append(yields, Yield{known[i].name, before.name, *known[i].kg / *before.kg})
		if first := known[0]; i > 1 {
			yields = append(yields, Yield{known[i].name, first.name, *known[i].kg / *first.kg})
		}
	}
	return yields
}

// Heavier says which weights are more than the one before them, which no cabinet does; a
// pickle does that to the raw weight.
func (t *Tally) Heavier() (texts []string) {
	for _, y := range t.Yields() {
		if y.Ratio > 1.005 && (y.Of != Raw || len(t.Product.Formula.Pickle.Items) == 0) {
			texts = append(texts, fmt.Sprintf("%s weighs more than %s, %s %% of it: weigh both again", y.What, y.Of, quantity.Fixed(y.Ratio*100, 1)))
		}
	}
	return texts
}
