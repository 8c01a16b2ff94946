package profile

import (
	"slices"
	"strings"
	"unicode"

	"fumarium/profile/fish"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// What the names of cuts say that they are: whole words, singular or with an s. The birds
// are those of the Canadian agency's guideline on cooked meat and their common other names;
// the rest is common practice, no source.
var (
	chickenWords = []string{"chicken", "hen", "capon", "rooster", "cockerel", "poussin", "broiler"}
	turkeyWords  = []string{"turkey"}
	birdWords    = []string{"poultry", "duck", "duckling", "goose", "geese", "guineafowl", "guinea", "fowl", "ostrich", "ostriches", "emu", "rhea",
		"partridge", "pheasant", "pigeon", "squab", "quail", "grouse", "mallard"}
	fishWords = append([]string{"fish"}, fish.Names()...)
	meatWords = []string{"pork", "beef", "veal", "lamb", "mutton", "goat", "venison"}
	gameWords = []string{"wild", "boar", "hare", "elk", "moose", "bear", "game"}
	// doubtWords name what may be of a bird or not.
	doubtWords = []string{"bird", "wing", "drumstick", "giblet", "gizzard", "separated", "msm", "mdm"}
)

// named reports whether a name has one of the words.
func named(name string, words ...[]string) bool {
	for _, w := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) }) {
		for _, list := range words {
			if slices.Contains(list, w) || slices.Contains(list, strings.TrimSuffix(w, "s")) {
				return true
			}
		}
	}
	return false
}

// PoultryInIt reports whether there is any poultry in the product, by its species or by the
// name of a cut. However little it is, the poultry standard counts then (FSIS Cooking
// Guideline, 2021, pp. 18-20).
func (p *Product) PoultryInIt() bool {
	return p.Species == Poultry || slices.ContainsFunc(p.Formula.Cut, func(m Meat) bool { return named(m.Name, chickenWords, turkeyWords, birdWords) })
}

// partWords name parts of an animal that are meat, whatever they count as in the sums.
var partWords = []string{"skin", "fat", "liver", "heart", "gizzard", "giblet", "meat", "trim", "trimming", "blood", "mince"}

// birdMeat reports whether an ingredient is a raw part of a bird. Poultry seasoning is none.
func birdMeat(i Ingredient) bool {
	return named(i.Name, chickenWords, turkeyWords, birdWords) && (i.As == Fat || named(i.Name, partWords))
}

// Bird is the one that all cuts are named after, or AnyBird.
func (p *Product) Bird() lethality.Bird {
	all := func(words []string, others ...[]string) bool {
		return len(p.Formula.Cut) > 0 && !slices.ContainsFunc(p.Formula.Cut, func(m Meat) bool { return !named(m.Name, words) || named(m.Name, others...) })
	}
	switch {
	case all(chickenWords, turkeyWords, birdWords):
		return lethality.Chicken
	case all(turkeyWords, chickenWords, birdWords):
		return lethality.Turkey
	}
	return lethality.AnyBird
}

// lean reports whether the meat, with any fat that is added, goes by the lean rows.
func (f Formula) lean() bool {
	meat, fat := f.MeatMass(), quantity.Kilograms(0)
	for _, m := range f.Cut {
		fat += m.Mass * quantity.Kilograms(m.Fat)
	}
	added := f.MassOf(Fat)
	const slack = 1e-9 // of adding up
	return meat > 0 && float64(fat+added) <= float64(meat+added)*float64(lethality.LeanFat)+slack
}

// A Doubt is a cut whose name does not go with the species, and what to do about it.
type Doubt struct{ Cut, Says, Remedy string }

// Doubts are the cuts whose names do not go with the species of the product.
func (p *Product) Doubts() []Doubt {
	var found []Doubt
	for _, m := range p.Formula.Cut {
		add := func(says, remedy string) { found = append(found, Doubt{m.Name, says, remedy}) }
		switch bird := named(m.Name, chickenWords, turkeyWords, birdWords); {
		case p.Species == Poultry:
		case bird && (p.Species == RedMeat || p.Species == Game):
			add("is poultry, so the product is held to the poultry standard", "write species: poultry if that is meant, or name the cut for what it is")
		case p.Species == RedMeat && named(m.Name, gameWords):
			add("may be wild game", "write species: game if it is")
		case (p.Species == RedMeat || p.Species == Game) && named(m.Name, fishWords):
			add("may be fish, which red meat's rule is not for", "write species: fish, or name the cut for what it is")
		case (p.Species == RedMeat || p.Species == Game) && named(m.Name, doubtWords):
			add("may have poultry in it", "if it has, write species: poultry; if not, name the animal")
		}
	}
	return found
}

// contradicted finds a cut that cannot be of the species: then nothing it is held to
// would mean anything.
func (p *Product) contradicted() (name, of string, found bool) {
	for _, m := range p.Formula.Cut {
		switch {
		case p.Species != Dairy && p.Species != Fish:
		case named(m.Name, chickenWords, turkeyWords, birdWords):
			return m.Name, "poultry", true
		case named(m.Name, meatWords) && !named(m.Name, fishWords):
			return m.Name, "red meat or game", true
		case p.Species == Dairy && named(m.Name, fishWords):
			return m.Name, "fish", true
		}
	}
	return "", "", false
}

// FishKind is the fish that the file names, or that all cuts are named after.
func (p *Product) FishKind() fish.Kind {
	if p.Species != Fish || p.Fish.Kind != fish.Unnamed {
		return p.Fish.Kind
	}
	var cuts []string
	for _, m := range p.Formula.Cut {
		cuts = append(cuts, m.Name)
	}
	return fish.KindOf(cuts)
}
