package formula

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// Bacon is the cured belly of pork, whatever it is called: 9 CFR 319.107 (from memory).
// A cut is one by its name, or as fat as only a belly is: bellies have 35 to 55 % fat,
// shoulder 15 to 25 %, loin 5 to 10 % (common practice, no source).
const bellyFat quantity.Ratio = 0.28

// Names of the cut in the languages of those who make bacon, of other animals, and of
// other cuts of a pig.
var (
	bellyNames   = []string{"belly", "bellies", "streaky", "pancetta", "panceta", "poitrine", "ventrèche", "bauch", "schweinebauch", "boczek"}
	baconNames   = []string{"bacon", "rasher", "rashers"}
	otherAnimals = []string{"beef", "veal", "lamb", "mutton", "sheep", "goat", "horse", "venison", "deer", "elk", "bison"}
	otherCuts    = []string{"loin", "back", "shoulder", "ham", "leg", "jowl", "neck", "fatback"}
)

func words(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) })
}

func anyOf(of, found []string) bool {
	return slices.ContainsFunc(found, func(w string) bool { return slices.Contains(of, w) })
}

// belly reports whether a cut is pork belly, from what, and whether its name says so.
func belly(m profile.Meat) (why string, is, byName bool) {
	w := words(m.Name)
	switch {
	case anyOf(otherAnimals, w):
		return "", false, false
	case anyOf(bellyNames, w), anyOf(baconNames, w) && !anyOf(otherCuts, w), anyOf([]string{"side"}, w) && anyOf([]string{"pork"}, w):
		return strconv.Quote(m.Name) + " is belly", true, true
	case !anyOf(otherCuts, w) && m.Fat >= bellyFat:
		return fmt.Sprintf("%q has %v fat, as only belly has", m.Name, m.Fat), true, false
	}
	return "", false, false
}

// classOf is the class that the product is judged as. Where the file names none it
// is taken from what the product is, towards the stricter limit; why says from what. A
// class that denies a belly is not believed.
func classOf(p *profile.Product) (class profile.Class, why string, denied bool) {
	pieces := p.Formula.Cure.Method != profile.NoCure && p.Formula.Cure.Method != profile.Comminuted
	pork := p.Species == profile.RedMeat || p.Species == profile.Game
	if p.Class != profile.NoClass && (p.Class != profile.WholeMuscle || !pieces || !pork) {
		return p.Class, "", false
	}
	if !pieces {
		if p.Class != profile.NoClass {
			return p.Class, "", false
		}
		if p.Formula.Cure.Method == profile.NoCure {
			return profile.NoClass, "", false
		}
		if cooked(p) {
			return profile.CookedSausage, "minced and cooked", false
		}
		return profile.UncookedSausage, "minced and not cooked through", false
	}
	if !pork {
		return profile.WholeMuscle, "cured in the piece", false
	}
	for _, m := range p.Formula.Cut {
		why, is, byName := belly(m)
		if is && (byName || p.Class == profile.NoClass) {
			return profile.Bacon, why, p.Class == profile.WholeMuscle
		}
	}
	if w := words(p.Name); p.Class == profile.NoClass && !anyOf(otherCuts, w) && !anyOf(otherAnimals, w) && (anyOf(bellyNames, w) || anyOf(baconNames, w)) {
		return profile.Bacon, strconv.Quote(p.Name) + " sounds like it", false
	}
	return profile.WholeMuscle, "cured in the piece", false
}
