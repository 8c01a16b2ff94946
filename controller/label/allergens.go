package label

import (
	"slices"
	"strings"
	"unicode"
)

// allergens are the words in the names of ingredients that tell one of those which
// Regulation (EU) 1169/2011, Annex II lists; those of the United States (21 USC 321(qq),
// with sesame since 2023) are among them. Names are in English, as those of the shipped
// products. What a name does not tell, the maker declares.
var allergens = []struct {
	name  string
	words []string
}{
	{"wheat", []string{"wheat", "spelt", "flour", "breadcrumb", "breadcrumbs", "rusk", "semolina", "bread", "couscous", "bulgur", "farina"}},
	{"rye", []string{"rye"}},
	{"barley", []string{"barley", "malt", "beer"}},
	{"oats", []string{"oat", "oats", "oatmeal"}},
	{"gluten", []string{"gluten", "seitan"}},
	{"crustaceans", []string{"shrimp", "shrimps", "prawn", "prawns", "crab", "lobster", "crayfish", "crustacean", "crustaceans"}},
	{"egg", []string{"egg", "eggs", "albumen", "yolk", "mayonnaise"}},
	{"fish", []string{"fish", "anchovy", "anchovies", "cod", "salmon", "trout", "mackerel", "herring", "tuna", "eel", "worcester", "worcestershire", "roe"}},
	{"peanut", []string{"peanut", "peanuts", "groundnut", "groundnuts"}},
	{"soy", []string{"soy", "soya", "soybean", "tofu", "miso", "tamari"}},
	{"milk", []string{"milk", "cream", "butter", "whey", "lactose", "casein", "caseinate", "cheese", "yoghurt", "yogurt", "buttermilk", "quark"}},
	{"almond", []string{"almond", "almonds", "marzipan"}},
	{"nuts", []string{"nut", "nuts", "hazelnut", "hazelnuts", "walnut", "walnuts", "cashew", "cashews", "pecan", "pecans", "pistachio", "pistachios", "macadamia"}},
	{"celery", []string{"celery", "celeriac"}},
	{"mustard", []string{"mustard"}},
	{"sesame", []string{"sesame", "tahini"}},
	{"sulphites", []string{"sulphite", "sulphites", "sulfite", "sulfites", "metabisulphite", "metabisulfite", "wine"}},
	{"lupin", []string{"lupin", "lupine"}},
	{"molluscs", []string{"mussel", "mussels", "oyster", "oysters", "squid", "clam", "clams", "mollusc", "molluscs"}},
}

// harmless are names in which such a word means another thing.
var harmless = []string{"nutmeg", "coconut milk", "peanut free", "potato flour", "rice flour", "corn flour", "maize flour", "chickpea flour", "cocoa butter", "cream of tartar", "fish-free", "buckwheat flour"}

// known are the allergens that the name of an ingredient tells.
func known(name string) string {
	low := strings.ToLower(name)
	for _, h := range harmless {
		low = strings.ReplaceAll(low, h, " ")
	}
	words := strings.FieldsFunc(low, func(r rune) bool { return !unicode.IsLetter(r) })
	var found []string
	for _, a := range allergens {
		if slices.ContainsFunc(words, func(w string) bool { return slices.Contains(a.words, w) }) {
			found = append(found, a.name)
		}
	}
	return strings.Join(found, ", ")
}
