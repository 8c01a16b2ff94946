// Package label makes what goes on the packs of a batch: what it is, what is in it in order
// of mass with its allergens marked, what it weighs, and what the maker says of keeping it,
// with a code that leads back to the record. It states nothing of its own about how long food
// keeps: what the maker has not said is left blank. A batch that is not good gets a tag to
// hold it instead. Who sells food answers for its label, by the rules of the place.
package label

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fumarium/controller/caution"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

// A Fact is something that the maker declares for the label, by its name in the record.
type Fact string

// The facts. Allergen comes once for each ingredient, the others once; a later one takes the
// place of an earlier one.
const (
	UseBy    Fact = "use-by"
	Storage  Fact = "storage"
	PackedOn Fact = "packed-on"
	Maker    Fact = "maker"
	Allergen Fact = "allergen"
)

// Facts lists them.
func Facts() []Fact { return []Fact{UseBy, Storage, PackedOn, Maker, Allergen} }

// mostFact bounds what is declared, in bytes: a label has no more room.
const mostFact = 200

// Check reads what a maker declares, as it is to be kept. Allergen wants the name of an
// ingredient, a colon, and what is in it.
func Check(f Fact, text string, p *profile.Product) (string, error) {
	text = strings.Join(strings.Fields(text), " ")
	if text == "" || len(text) > mostFact {
		return "", fmt.Errorf("%s needs a text of at most %d bytes", f, mostFact)
	}
	switch f {
	case UseBy, PackedOn:
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			return "", fmt.Errorf("%s: %q is no date; write it like 2026-12-20", f, text)
		}
	case Storage, Maker:
	case Allergen:
		what, in, ok := strings.Cut(text, ":")
		if in = strings.TrimSpace(in); !ok || in == "" {
			return "", fmt.Errorf("%s: %q; write the ingredient, a colon and what is in it, such as mustard paste: mustard, celery", f, text)
		}
		name, err := weighed.Find(p, what)
		if err != nil || slices.Contains(weighed.Moments(), name) {
			return "", fmt.Errorf("%s: %q is no ingredient of %s; take one of: %s", f, what, p.Name, strings.Join(append(weighed.Names(p), weighed.Casing), ", "))
		}
		return name + ": " + in, nil
	default:
		return "", fmt.Errorf("%q is nothing that a label has; declare one of %s", f, strings.Join(names(), ", "))
	}
	return text, nil
}

func names() (list []string) {
	for _, f := range Facts() {
		list = append(list, string(f))
	}
	return list
}

// Declared is what a maker declared for one batch.
type Declared struct {
	Said      map[Fact]string   // all but allergens
	Allergens map[string]string // by ingredient
}

// Add takes one more fact, later than those before.
func (d *Declared) Add(f Fact, text string) {
	if d.Said == nil {
		d.Said, d.Allergens = map[Fact]string{}, map[string]string{}
	}
	if f != Allergen {
		d.Said[f] = text
		return
	}
	what, in, _ := strings.Cut(text, ": ")
	d.Allergens[what] = in
}

// An Ingredient is one thing on the label.
type Ingredient struct {
	Name      string  `json:"name"`
	Kilograms float64 `json:"kg"`
	Holds     string  `json:"holds,omitempty"`     // what a cure is made of
	Allergens string  `json:"allergens,omitempty"` // what in it is one
}

// A Label is what all packs of a batch share, and the packs. It marshals to the keys of
// `label --json`.
type Label struct {
	Product string `json:"product"`
	Batch   string `json:"batch"`
	World   string `json:"world"`
	// Hold says why it must not be eaten or sold; empty is a label. Nothing else counts then.
	Hold        string       `json:"hold,omitempty"`
	Raw         string       `json:"raw,omitempty"` // what its eater must do
	Ingredients []Ingredient `json:"ingredients"`
	Casing      string       `json:"casing"`
	PackedOn    string       `json:"packed_on"` // as the maker said; empty is not stated
	UseBy       string       `json:"use_by"`
	Storage     string       `json:"storage"`
	Maker       string       `json:"maker"`
	Packs       []Pack       `json:"packs"`
	Missing     []string     `json:"missing"` // what the maker has yet to say
	Aid         string       `json:"aid"`
}

// A Pack is one label. Without a weight its number is 0: a blank.
type Pack struct {
	Number    int      `json:"pack"`
	Kilograms *float64 `json:"kg"`
	Code      string   `json:"code"`
	QR        string   `json:"qr"` // what its square says
}

// A Source is what a label is made of.
type Source struct {
	Batch, World string
	Head         string // of the record's chain
	Over, Good   bool
	Ending       string // how it ended, and why it is not good
	Product      *profile.Product
	Tally        *weighed.Tally // nil is nothing weighed
	Declared     Declared
	Only         int // this pack alone; 0 is all
}

// Make puts the label together.
func Make(s *Source) (*Label, error) {
	p := s.Product
	if s.Tally != nil {
		p = s.Tally.Product
	}
	said := s.Declared.Said
	l := &Label{
		Product: p.Name, Batch: s.Batch, World: s.World, Raw: raw(p), Casing: casing(p, s.Declared.Allergens[weighed.Casing]), Packs: []Pack{}, Missing: []string{},
		PackedOn: said[PackedOn], UseBy: said[UseBy], Storage: said[Storage], Maker: said[Maker], Aid: caution.Food,
	}
	switch {
	case !s.Over:
		l.Hold = "it is not over"
	case !s.Good:
		l.Hold = s.Ending
	}
	l.Ingredients = ingredients(p, s.Declared.Allergens)
	add := func(number int, kg *float64) {
		code := s.Batch
		if number > 0 {
			code = Code(s.Batch, number)
		}
		l.Packs = append(l.Packs, Pack{number, kg, code, code + " sha256:" + s.Head})
	}
	if s.Tally != nil {
		for _, pack := range s.Tally.Packs {
			if s.Only == 0 || pack.Number == s.Only {
				kg := pack.Kilograms
				add(pack.Number, &kg)
			}
		}
	}
	if s.Only > 0 && len(l.Packs) == 0 {
		return nil, fmt.Errorf("no pack %d was weighed; see fumarium weigh packed", s.Only)
	}
	if len(l.Packs) == 0 {
		add(0, nil)
		l.Missing = append(l.Missing, "what a pack weighs")
	}
	for _, m := range []struct{ what, said string }{
		{"use-by", l.UseBy}, {"storage", l.Storage}, {"packed-on", l.PackedOn}, {"maker", l.Maker},
	} {
		if m.said == "" {
			l.Missing = append(l.Missing, m.what)
		}
	}
	if l.UseBy != "" && l.PackedOn != "" && l.UseBy < l.PackedOn {
		return nil, fmt.Errorf("use-by %s is before packed-on %s; declare again the one that is wrong", l.UseBy, l.PackedOn)
	}
	return l, nil
}

// Code is what stands on a pack: the batch, and which one it is.
func Code(batch string, pack int) string { return fmt.Sprintf("%s/%d", batch, pack) }

// raw is what has to stand on what nothing has cooked.
func raw(p *profile.Product) string {
	switch p.Process {
	case profile.NotReadyToEat:
		return "NOT READY TO EAT: cook it through before you eat it"
	case profile.ColdSmoked:
		return "Smoked cold: raw"
	case profile.FermentedAndDried:
		return "Fermented and dried: raw"
	}
	return ""
}

func casing(p *profile.Product, allergens string) string {
	if p.Shape.Casing == profile.NoCasing {
		return ""
	}
	text := p.Shape.Casing.String() + " casing"
	if allergens != "" {
		text += " (" + strings.ToUpper(allergens) + ")"
	}
	return text
}

// ingredients lists all that goes in, the most first, as it was weighed in (Regulation (EU)
// 1169/2011, Article 18; 9 CFR 317.2(f) and 21 CFR 101.4 likewise). Of a pickle what the
// meat takes up counts.
func ingredients(p *profile.Product, declared map[string]string) []Ingredient {
	var list []Ingredient
	add := func(name string, mass quantity.Kilograms, holds string, fish bool) {
		if mass <= 0 {
			return
		}
		i := slices.IndexFunc(list, func(i Ingredient) bool { return strings.EqualFold(i.Name, name) })
		if i >= 0 {
			list[i].Kilograms += float64(mass)
			return
		}
		found := known(name)
		if fish && found == "" {
			found = "fish"
		}
		for more := range strings.SplitSeq(declared[name], ",") { // what a name tells stays told
			if more = strings.TrimSpace(more); more != "" && !strings.Contains(found, more) {
				found = strings.TrimPrefix(found+", "+more, ", ")
			}
		}
		list = append(list, Ingredient{name, float64(mass), holds, found})
	}
	f := p.Formula.TakenUp()
	for _, m := range f.Cut {
		add(m.Name, m.Mass, "", p.Species == profile.Fish)
	}
	for _, c := range f.AllCures() {
		add(c.Name, c.Mass, holds(&c), false)
	}
	for _, i := range f.Other {
		add(i.Name, i.Mass, "", false)
	}
	slices.SortStableFunc(list, func(a, b Ingredient) int {
		switch {
		case a.Kilograms > b.Kilograms:
			return -1
		case a.Kilograms < b.Kilograms:
			return 1
		}
		return 0
	})
	return list
}

// holds says what a cure is made of, by its shares.
func holds(c *profile.Cure) string {
	type part struct {
		name  string
		share quantity.Ratio
	}
	parts := []part{
		{"salt", c.Salt()}, {"sodium nitrite", c.Nitrite}, {"potassium nitrite", c.PotassiumNitrite}, {"sodium nitrate", c.Nitrate}, {"potassium nitrate", c.PotassiumNitrate},
	}
	slices.SortStableFunc(parts, func(a, b part) int {
		switch {
		case a.share > b.share:
			return -1
		case a.share < b.share:
			return 1
		}
		return 0
	})
	var texts []string
	for _, p := range parts {
		if p.share > 0 {
			texts = append(texts, p.name)
		}
	}
	return strings.Join(texts, ", ")
}

// List is the ingredients in words, allergens in capitals (Regulation (EU) 1169/2011,
// Article 21: set apart from the rest by how they are written).
func (l *Label) List() string {
	var texts []string
	for _, i := range l.Ingredients {
		text := i.Name
		if i.Holds != "" {
			text += " (" + i.Holds + ")"
		}
		if i.Allergens != "" {
			text += " [" + i.Upper() + "]"
		}
		texts = append(texts, text)
	}
	if l.Casing != "" {
		texts = append(texts, l.Casing)
	}
	return strings.Join(texts, ", ")
}

// Blank stands where the maker has to write.
const Blank = "____________"

func orBlank(text string) string {
	if text == "" {
		return Blank
	}
	return text
}

// Text is one pack's label as plain text.
func (l *Label) Text(p Pack) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	if l.Simulated() {
		line("SIMULATED: NO FOOD")
	}
	if l.Hold != "" {
		line("HOLD: DO NOT EAT, DO NOT SELL")
		line("%s", l.Product)
		line("Batch %s", p.Code)
		line("%s", l.Hold)
		return b.String()
	}
	line("%s", l.Product)
	if l.Raw != "" {
		line("%s", l.Raw)
	}
	line("Ingredients: %s", l.List())
	line("Weight: %s", l.Weight(p))
	line("Packed on: %s", orBlank(l.PackedOn))
	line("Use by: %s", orBlank(l.UseBy))
	line("Storage: %s", orBlank(l.Storage))
	line("Batch: %s", p.Code)
	line("Made by: %s", orBlank(l.Maker))
	return b.String()
}

// Simulated says that there is no food.
func (l *Label) Simulated() bool { return l.World == "simulated" }

// Weight is what the pack weighs, or a blank.
func (l *Label) Weight(p Pack) string {
	if p.Kilograms == nil {
		return Blank
	}
	return quantity.Kilograms(*p.Kilograms).String()
}

// Upper is how its allergens are marked.
func (i Ingredient) Upper() string { return strings.ToUpper(i.Allergens) }
