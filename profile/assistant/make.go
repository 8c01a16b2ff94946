package assistant

import (
	"fmt"
	"math"
	"strings"
	"time"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// trade is the basis of what no source says.
const trade = "common practice, no source"

// A casing is what the product hangs in, or how thick a side of fish is. Widths are common
// practice, no source.
type casing struct {
	key, words string
	of         Kind
	material   string // as the product file has it
	across     float64
	length     float64 // mm
	width      float64 // mm, of a side
}

var casings = []casing{
	{"sheep-22", "sheep casing, 22 mm", Sausage, "natural", 22, 150, 0},
	{"collagen-21", "collagen casing, 21 mm", Sausage, "collagen", 21, 220, 0},
	{"hog-32", "hog casing, 32 mm", Sausage, "natural", 32, 300, 0},
	{"hog-38", "hog casing, 38 mm", Sausage, "natural", 38, 400, 0},
	{"beef-43", "beef round, 43 mm", Sausage, "natural", 43, 400, 0},
	{"fibrous-50", "fibrous casing, 50 mm", Sausage, "fibrous", 50, 350, 0},
	{"fibrous-60", "fibrous casing, 60 mm", Sausage, "fibrous", 60, 350, 0},
	{"fibrous-75", "fibrous casing, 75 mm", Sausage, "fibrous", 75, 350, 0},
	{"fibrous-65", "fibrous casing, 65 mm", Piece, "fibrous", 65, 350, 0},
	{"fibrous-80", "fibrous casing, 80 mm", Piece, "fibrous", 80, 400, 0},
	{"side-15", "15 mm thick", Sides, "none", 15, 250, 90},
	{"side-22", "22 mm thick", Sides, "none", 22, 280, 110},
	{"side-26", "26 mm thick", Sides, "none", 26, 320, 120},
}

// A cure is what is cured with, and how.
type cure struct {
	key, words, source string
	nitrite            float64 // percent of the mix
}

var (
	noOne     = cure{"no-1", "cure no. 1 (6.25 % nitrite)", "", 6.25}
	curedSalt = cure{"curing-salt", "curing salt (0.5 % nitrite)", "", 0.5}
	noCure    = cure{None, "none", "", 0}
	brine     = cure{"brine", "salt brine", "", 0}
)

// curesFor are the ones that a kind can be made with. A whole piece without nitrite warms
// too slowly, and is not offered; nor is curing salt where a cured product has to hold more
// nitrite than comes with its salt.
func curesFor(c Choice) []cure {
	little := c.Place == profile.UnitedStates.String() || c.Place == profile.Canada.String()
	switch {
	case c.Kind == Sausage && little:
		return []cure{noOne, noCure}
	case c.Kind == Sausage:
		return []cure{noOne, curedSalt, noCure}
	case c.Kind == Piece && little:
		return []cure{noOne}
	case c.Kind == Piece:
		return []cure{noOne, curedSalt}
	case c.Kind == Sides:
		return []cure{brine}
	}
	return nil
}

// What goes in for each kilogram of meat, in grams; common practice, no source. Nitrite is
// under the limit of each place for what is minced and what is pumped: package formula has
// them, with their texts.
const (
	saltGrams        = 18.0
	waterGrams       = 60.0
	acceleratorGrams = 0.45
	spiceGrams       = 4.0
	pump             = 0.10 // of the green weight
	brinedPercent    = 4.2  // salt in the water of fish: above the 3.5 % of Maine ch. 359
)

// nitritePPM is the ingoing sodium nitrite of what is cured with cure no. 1.
var nitritePPM = map[profile.Jurisdiction]float64{
	profile.UnitedStates: 150, profile.EuropeanUnion: 110, profile.UnitedKingdom: 110, profile.Canada: 150, profile.AustraliaNewZealand: 110,
}

// file writes the product.
func (r *recipe) file() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("# Written by the product assistant as a beginning: spice, fuel and times are for you to change.")
	line("# Check it again after each change: fumarium check.")
	line("product: %s", r.Name)
	line("source: Product assistant; stages and amounts %s; composition %s; %s", trade, table, r.basis())
	if r.Kind == Sides {
		line("shape: {form: slab, thickness: %g mm, length: %g mm, width: %g mm, casing: none}", r.casing.across, r.casing.length, r.casing.width)
	} else {
		line("shape: {form: cylinder, diameter: %g mm, length: %g mm, casing: %s}", r.casing.across, r.casing.length, r.casing.material)
	}
	line("species: %s", r.species)
	line("jurisdiction: %s", r.place)
	line("formula:")
	line("  cut:")
	r.cut(line, r.meat, 1-r.share)
	if r.fat != nil {
		r.cut(line, r.fat, r.share)
	}
	r.ingredients(line)
	r.schedule(line)
	return b.String()
}

func (r *recipe) basis() string {
	switch r.species {
	case profile.Fish:
		return "30 min at 145 °F AFDO 1991 and Maine ch. 359, cooling Food Code 3-501.14"
	case profile.RedMeat:
		return "lethality and come-up FSIS Cooking Guideline 2021, cooling FSIS Appendix B 2021"
	}
	return "core above 165 °F of Food Code 3-401.11, come-up FSIS Cooking Guideline 2021, cooling FSIS Appendix B 2021"
}

// cut writes one trim with its source beside it.
func (r *recipe) cut(line func(string, ...any), t *Trim, share float64) {
	line("    # %s", t.Source())
	carbohydrate := ""
	if t.Carbohydrate > 0 {
		carbohydrate = fmt.Sprintf(", carbohydrate: %g %%", t.Carbohydrate)
	}
	line("    - {name: %s, mass: %s, water: %g %%, protein: %g %%, fat: %g %%%s}", t.Name, grams(float64(r.mass)*1000*share), t.Water, t.Protein, t.Fat, carbohydrate)
}

// grams writes a mass as a scale shows it: to 0.1 g, and no finer than 1 in 5,000 above.
func grams(g float64) string {
	if g >= 1000 {
		return fmt.Sprintf("%g kg", math.Round(g)/1000)
	}
	return fmt.Sprintf("%g g", math.Round(g*10)/10)
}

func (r *recipe) ingredients(line func(string, ...any)) {
	kg := float64(r.mass)
	mixGrams := nitritePPM[r.place] / 1e6 * 1000 / (r.cure.nitrite / 100) // for a kilogram
	mixSalt := mixGrams * (1 - r.cure.nitrite/100)
	if r.cure.key == curedSalt.key { // all the salt comes with it
		mixGrams = saltGrams / (1 - curedSalt.nitrite/100)
		mixSalt = saltGrams
	}
	cured := func(method, rest string, of float64) {
		line("  cure: {name: %s, mass: %s, nitrite: %g %%, method: %s, rest: %s}", strings.SplitN(r.cure.words, " (", 2)[0], grams(mixGrams*of), r.cure.nitrite, method, rest)
	}
	item := func(indent, name string, g float64, as string) {
		if g >= 0.1 {
			line("%s- {name: %s, mass: %s, as: %s}", indent, name, grams(g), as)
		}
	}
	switch r.Kind {
	case Sausage:
		salt := saltGrams
		if r.cure.nitrite > 0 {
			cured("comminuted", "12 h", kg)
			salt -= mixSalt
		}
		line("  other:")
		item("    ", "salt", salt*kg, "salt")
		item("    ", "crushed ice", waterGrams*kg, "water")
		if r.cure.nitrite > 0 {
			item("    ", "sodium erythorbate", acceleratorGrams*kg, "accelerator")
		}
		item("    ", "spice", spiceGrams*kg, "spice")
	case Piece:
		// The pickle is made three times as large as what is pumped, so that the needles stay covered.
		const times = 3.0
		of := kg * times
		cured("pumped", "48 h", of)
		line("  pickle:")
		line("    pump: %g %%", pump*100)
		line("    items:")
		salt, sugar := saltGrams-mixSalt, 5.0
		item("      ", "water", (pump*1000-mixGrams-salt-sugar-acceleratorGrams)*of, "water")
		item("      ", "salt", salt*of, "salt")
		item("      ", "sugar", sugar*of, "sugar")
		item("      ", "sodium erythorbate", acceleratorGrams*of, "accelerator")
	case Sides:
		line("  other: # what the sides take up from the brine")
		item("    ", "salt", r.meat.Water*10*brinedPercent/(100-brinedPercent)*kg, "salt")
		item("    ", "sugar", 8*kg, "sugar")
	}
}

// schedule writes the targets and the stages: how warm and how long goes by how thick the
// piece is, and without nitrite the chamber stays above 60 °C from the start.
func (r *recipe) schedule(line func(string, ...any)) {
	if r.Kind == Sides {
		r.sides(line)
		return
	}
	across := r.casing.across
	dry, dried, smoke, smoked := 48, 40*time.Minute, 58, 90*time.Minute
	switch {
	case r.cure.nitrite == 0:
		dry, dried, smoke, smoked = 66, 35*time.Minute, 70, 70*time.Minute
	case across > 45:
		dry, dried, smoke, smoked = 58, 50*time.Minute, 68, 80*time.Minute
	case across > 26:
		dry, dried, smoke, smoked = 52, 50*time.Minute, 62, 90*time.Minute
	}
	cook := 82
	if r.core >= 74 {
		cook = 84
	}
	square := math.Pow(across/25, 2)
	lethality := ""
	if r.species != profile.Poultry {
		lethality = ", lethality: 6.5"
	}
	// Ice water is fast enough for the faster rule of every place, cured or not.
	line("targets: {core: %d °C%s, chill: uncured}", r.core, lethality)
	line("stages:")
	r.stage(line, "dry", dry, false, "full", "open", "Hang the pieces without touching, put a core probe into the middle of the thickest and open the damper",
		fmt.Sprintf("{after: %s, confirm: The casings are dry to the touch}", quantity.FormatDuration(dried)), 0)
	line("  - name: smoke\n    chamber: %d °C\n    ramp: 30 °C/h\n    smoke: on\n    damper: 25 %%\n    ask: Light the smoke generator and close the damper to a quarter\n    until: {after: %s}",
		smoke, quantity.FormatDuration(smoked))
	r.stage(line, "cook", cook, true, "full", "shut", "See that the smoke generator is out and shut the damper",
		fmt.Sprintf("{core: %d °C%s}", r.core, lethality), 5*time.Hour+time.Duration(square*1.25*float64(time.Hour)))
	line("  - name: chill\n    heater: off\n    place: ice water\n    ask: Move the pieces into ice water with the probe still in and keep ice floating\n    until: {core: 4 °C}\n    within: %s",
		span(45*time.Minute+time.Duration(square*float64(30*time.Minute))))
	line("  - name: bloom\n    heater: off\n    place: cold room\n    ask: Wipe the pieces dry and hang them in the cold room\n    until: {after: 8 h}")
}

func (r *recipe) stage(line func(string, ...any), name string, chamber int, ramp bool, fan, damper, ask, until string, within time.Duration) {
	line("  - name: %s\n    chamber: %d °C", name, chamber)
	if ramp {
		line("    ramp: 30 °C/h")
	}
	line("    fan: %s\n    damper: %s\n    ask: %s\n    until: %s", fan, damper, ask, until)
	if within > 0 {
		line("    within: %s", span(within))
	}
}

// span writes a time in quarters of an hour.
func span(d time.Duration) string {
	const grain = 15 * time.Minute
	return quantity.FormatDuration((d + grain - 1) / grain * grain)
}

// sides are the stages of fish: the fish is held half an hour at its core.
func (r *recipe) sides(line func(string, ...any)) {
	line("targets: {core: 63 °C, chill: retail}")
	line("stages:")
	r.stage(line, "dry", 30, false, "full", "open", "Rinse and pat the brined sides dry, lay them skin down on the racks, put a core probe into the thickest and open the damper",
		"{after: 55 min, confirm: A dry shiny skin has formed on the flesh}", 0)
	line("  - name: smoke\n    chamber: 46 °C\n    ramp: 30 °C/h\n    smoke: on\n    damper: 50 %%\n    ask: Light the smoke generator and close the damper to half\n    until: {after: 1 h 20 min}")
	line("  - name: cook\n    chamber: 80 °C\n    ramp: 60 °C/h\n    fan: full\n    damper: shut\n    ask: See that the smoke generator is out and shut the damper\n    until: {core: %d °C}\n    within: %s", r.core, span(5*time.Hour+time.Duration(math.Pow(r.casing.across/22, 2)*float64(time.Hour))))
	line("  - name: hold\n    chamber: 80 °C\n    fan: full\n    damper: shut\n    until: {core: 63 °C, after: 30 min}\n    within: 2 h")
	line("  - name: chill\n    heater: off\n    place: cold room\n    ask: Lay the sides in the cold room with the probe still in, uncovered, one layer deep\n    until: {core: 5 °C}\n    within: 7 h")
	line("  - name: rest\n    heater: off\n    place: cold room\n    ask: Cover the sides loosely, leave them in the cold room and keep them below 3 °C afterwards\n    until: {after: 8 h}")
}
