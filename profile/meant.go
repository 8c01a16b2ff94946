package profile

import (
	"slices"
	"strings"
	"unicode"
)

// A meaning is what an ingredient of such a name is taken for by whoever reads it.
type meaning struct {
	as    string // the word of the file; empty for a cure, which has a key of its own
	cure  bool
	kind  IngredientKind
	names []string // whole words of its name, in lower case
}

// meanings are in the order in which they are looked for. What is a binder by law
// differs between countries; these are the common ones. E 249 to E 252 are the numbers
// of nitrites and nitrates on labels in the European Union. Vegetables are those that
// nitrite for labels without nitrite is made of. Common practice, no source.
var meanings = []meaning{
	{as: "accelerator", kind: Accelerator, names: []string{"cure accelerator", "curing accelerator"}}, // there is no nitrite in it
	{cure: true, kind: Spice, names: []string{"cure", "cures", "curing", "pink salt", "pink cure", "tinted salt", "prague powder", "nitrite", "nitrites", "nitrate", "nitrates",
		"saltpetre", "saltpeter", "salpetre", "salpeter", "salnitre", "nitre", "niter", "pökelsalz", "nitritpökelsalz",
		"e 249", "e 250", "e 251", "e 252"}},
	{as: "accelerator", kind: Accelerator, names: []string{"erythorbate", "isoascorbate", "ascorbate", "accelerator"}},
	{as: "salt", kind: Salt, names: []string{"salt"}},
	{as: "water", kind: Water, names: []string{"water", "ice"}},
	{as: "ascorbic acid", kind: AscorbicAcid, names: []string{"ascorbic acid", "erythorbic acid", "vitamin c"}},
	{as: "isolated soy protein", kind: SoyIsolate, names: []string{"isolated soy protein", "soy protein isolate", "soy isolate"}},
	{as: "binder", kind: Binder, names: []string{"binder", "milk powder", "powdered milk", "dried milk", "dry milk", "skim milk", "whey", "casein", "caseinate",
		"soy protein", "soya protein", "soy flour", "soya flour", "flour", "starch", "rusk", "breadcrumbs", "crumbs", "cereal"}},
}

// A vegetable that is rich in nitrate, in a form that is used as a cure. Celery seed and
// celery leaves are spice.
var (
	nitrateVegetables = []string{"celery", "celeriac", "beet", "beets", "beetroot", "spinach", "chard", "lettuce", "rocket", "arugula", "vegetable", "vegetables"}
	nitrateForms      = []string{"powder", "powdered", "juice", "extract", "concentrate", "cultured", "fermented", "ferment"}
)

// wordsOf splits a name where letters, digits and everything else meet.
func wordsOf(name string) []string {
	class := func(r rune) int {
		switch {
		case unicode.IsLetter(r), r == '\'':
			return 1
		case unicode.IsDigit(r):
			return 2
		}
		return 0
	}
	var words []string
	last := 0
	for _, r := range strings.ToLower(name) {
		now := class(r)
		switch {
		case now == 0:
		case now == last:
			words[len(words)-1] += string(r)
		default:
			words = append(words, string(r))
		}
		last = now
	}
	return words
}

// meantAs finds what the name of an ingredient says that it is. Whole words count,
// and not what it is said to be free of.
func meantAs(name string) (meaning, bool) {
	words := wordsOf(name)
	for _, m := range meanings {
		if m.cure && vegetableCure(words) {
			return m, true
		}
		for _, n := range m.names {
			part := strings.Fields(n)
			for i := range words {
				rest := words[i:]
				if len(rest) >= len(part) && slices.Equal(rest[:len(part)], part) && (len(rest) == len(part) || rest[len(part)] != "free") {
					return m, true
				}
			}
		}
	}
	return meaning{}, false
}

// meantNitrate reports whether the name of a cure says that there is nitrate in it: no. 2
// is sold with it everywhere (common practice, no source).
func meantNitrate(name string) bool {
	words := wordsOf(name)
	for i, w := range words {
		switch w {
		case "nitrate", "saltpetre", "saltpeter", "salpetre", "salpeter", "salnitre", "nitre", "niter":
			if i+1 == len(words) || words[i+1] != "free" {
				return true
			}
		case "2":
			if before := words[:i]; slices.Contains(before, "cure") || slices.Contains(before, "curing") {
				return true
			}
		}
	}
	return false
}

func vegetableCure(words []string) bool {
	is := func(of []string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return slices.Contains(of, w) })
	}
	return is(nitrateVegetables) && is(nitrateForms)
}
