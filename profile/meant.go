package profile

import (
	"slices"
	"strings"
	"unicode"
)

// A meaning is what an ingredient of such a name is taken for by whoever reads it.
type meaning struct {
	as    string // the word of the file; empty for a cure, which has a key of its own
	kind  IngredientKind
	names []string // whole words of its name, in lower case
}

// meanings are in the order in which they are looked for. What is a binder by law
// differs between countries; these are the common ones. Common practice, no source.
var meanings = []meaning{
	{"accelerator", Accelerator, []string{"erythorbate", "isoascorbate", "ascorbate", "accelerator"}},
	{"", Spice, []string{"cure", "curing salt", "nitrite", "nitrate", "saltpetre", "saltpeter"}},
	{"salt", Salt, []string{"salt"}},
	{"water", Water, []string{"water", "ice"}},
	{"ascorbic acid", AscorbicAcid, []string{"ascorbic acid", "erythorbic acid", "vitamin c"}},
	{"isolated soy protein", SoyIsolate, []string{"isolated soy protein", "soy protein isolate", "soy isolate"}},
	{"binder", Binder, []string{"binder", "milk powder", "powdered milk", "dried milk", "dry milk", "skim milk", "whey", "casein", "caseinate",
		"soy protein", "soya protein", "soy flour", "soya flour", "flour", "starch", "rusk", "breadcrumbs", "crumbs", "cereal"}},
}

// meantAs finds what the name of an ingredient says that it is. Whole words count,
// and not what it is said to be free of.
func meantAs(name string) (meaning, bool) {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && r != '\'' })
	for _, m := range meanings {
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
