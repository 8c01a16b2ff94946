// Package fish is what published rules ask of smoked fish besides its cooking: which fish
// it is, what was done about parasites, histamine, how warm and how long it is smoked cold,
// the salt in its water, how it is packed and how cold it is kept. Its nitrite stands in
// package formula, its lethality in package lethality.
package fish

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"fumarium/profile/quantity"
)

// Kind is which fish it is, as far as a rule tells them apart.
type Kind uint8

// The kinds. Unnamed is what nobody has named, Other what no rule here names.
const (
	Unnamed Kind = iota
	Salmon
	Trout
	Char
	Whitefish
	Chub
	Mackerel
	Herring
	Sardine
	Anchovy
	Tuna // of the genus Thunnus
	MahiMahi
	Marlin
	Bluefish
	Eel
	Cod
	CodRoe
	Haddock
	Sablefish
	Shad
	Sturgeon
	Carp
	Catfish
	Other
)

// What says that histamine is to be looked for in a fish.
const (
	fdaHistamine = "FDA Fish and Fishery Products Hazards and Controls, ch. 7"
	faoHistamine = "FAO on histamine in fish"
	faoMemory    = faoHistamine + ", from memory"
)

// kinds are the words of the file and how a cut is named after it.
var kinds = [...]struct {
	text, names string
	histamine   string // who says that it gathers in it
}{
	Unnamed: {"unnamed", "", ""}, Salmon: {"salmon", "salmon sockeye coho chinook", ""}, Trout: {"trout", "trout", ""}, Char: {"char", "char", ""},
	Whitefish: {"whitefish", "whitefish", ""}, Chub: {"chub", "chub", ""}, Mackerel: {"mackerel", "mackerel", faoHistamine},
	Herring: {"herring", "herring kipper", faoMemory}, Sardine: {"sardine", "sardine pilchard", faoHistamine}, Anchovy: {"anchovy", "anchovy anchovies", faoHistamine},
	Tuna: {"tuna", "tuna albacore", fdaHistamine}, MahiMahi: {"mahi-mahi", "mahi", fdaHistamine}, Marlin: {"marlin", "marlin", fdaHistamine}, Bluefish: {"bluefish", "bluefish", fdaHistamine},
	Eel: {"eel", "eel", ""}, Cod: {"cod", "cod", ""}, CodRoe: {"cod roe", "", ""}, Haddock: {"haddock", "haddock", ""}, Sablefish: {"sablefish", "sablefish", ""},
	Shad: {"shad", "shad", ""}, Sturgeon: {"sturgeon", "sturgeon", ""}, Carp: {"carp", "carp", ""}, Catfish: {"catfish", "catfish", ""}, Other: {"other", "", ""},
}

// Kinds are all that a file can name.
func Kinds() []Kind {
	all := make([]Kind, 0, len(kinds)-1)
	for k := Salmon; int(k) < len(kinds); k++ {
		all = append(all, k)
	}
	return all
}

// Names are the words that say of a cut which fish it is.
func Names() (names []string) {
	for _, k := range kinds {
		names = append(names, strings.Fields(k.names)...)
	}
	return names
}

func (k Kind) String() string {
	if int(k) < len(kinds) {
		return kinds[k].text
	}
	return quantity.Unknown
}

// Histamine says who names the fish among those in which histamine gathers; empty for
// those that nobody here does.
func (k Kind) Histamine() string { return kinds[k].histamine }

// KindOf is the fish that all of the cuts are named after, or Unnamed. Words are whole,
// singular or with an s; common practice, no source.
func KindOf(cuts []string) Kind {
	found := Unnamed
	for i, cut := range cuts {
		k := named(cut)
		if k == Unnamed || i > 0 && k != found {
			return Unnamed
		}
		found = k
	}
	return found
}

func named(cut string) Kind {
	words := strings.FieldsFunc(strings.ToLower(cut), func(r rune) bool { return !unicode.IsLetter(r) })
	found := Unnamed
	for _, w := range words {
		for _, k := range Kinds() {
			names := strings.Fields(kinds[k].names)
			if !slices.Contains(names, w) && !slices.Contains(names, strings.TrimSuffix(w, "s")) {
				continue
			}
			if found != Unnamed && found != k {
				return Unnamed // such as salmon trout
			}
			found = k
		}
	}
	if found == Cod && slices.Contains(words, "roe") {
		return CodRoe
	}
	return found
}

// A Safeguard is what was done about parasites in fish that is eaten raw or smoked cold.
type Safeguard uint8

// The safeguards of the Food Code. NoSafeguard is what nobody has named.
const (
	NoSafeguard Safeguard = iota
	Frozen
	Farmed     // on pellets
	ExemptTuna // of the six species of tuna that need none
	RinsedRoe
)

// ParasiteSource is where the safeguards are read.
const ParasiteSource = "Food Code 3-402.11, read as WAC 246-215-03425"

// A Freezing is how fish was frozen: to what temperature, and how long it was then kept at
// another. Below -35 °C the time begins when it is solid.
type Freezing struct {
	To, Kept quantity.Celsius
	For      time.Duration
}

// FreezingWays are the three that kill parasites.
const FreezingWays = "-20 °C or colder for 168 h, -35 °C until solid and then -35 °C for 15 h, or -35 °C until solid and then -20 °C for 24 h"

// Kills reports whether it is one of the ways.
func (f Freezing) Kills() bool {
	const freezer, blast quantity.Celsius = -20, -35
	switch {
	case f.To <= blast && f.Kept <= blast && f.For >= 15*time.Hour,
		f.To <= blast && f.Kept <= freezer && f.For >= 24*time.Hour,
		f.To <= freezer && f.Kept <= freezer && f.For >= 168*time.Hour:
		return true
	}
	return false
}

// Decomposed is the histamine, in ppm, at which fish counts as spoilt.
const (
	Decomposed      = 50
	HistamineSource = "FDA CPG 540.525"
)

// Packing is what keeps the air from the finished fish, or does not.
type Packing uint8

// Packings. NoPacking is what nobody has named.
const (
	NoPacking Packing = iota
	InAir
	InVacuum // or in gas: without air
)

// Salt in the water of smoked fish, in percent of salt and water: Maine ch. 359. Michigan
// R 285.569 asks for 3 % in air.
const (
	InAirPercent  = 2.5
	PackedPercent = 3.5
	CuredPercent  = 3.0 // packed without air, with 100 to 200 ppm of nitrite in it
	CuredFromPPM  = 100
	CuredToPPM    = 200
	SaltSource    = "Maine ch. 359"
)

// Water-phase salt: the part of salt in salt and water together.
func SaltInWater(salt, water quantity.Ratio) quantity.Ratio {
	if salt+water <= 0 {
		return 0
	}
	return salt / (salt + water)
}

// Limits of cold and storage.
var (
	// StoredAt is how cold smoked fish is kept, from the end of its smoking on.
	StoredAt = quantity.FromFahrenheit(38)
	// BrinedAt is how warm a brine may be at the start, ThenBrinedAt what it must come to
	// when it takes longer than BrineShort.
	BrinedAt     = quantity.FromFahrenheit(60)
	ThenBrinedAt = quantity.FromFahrenheit(38)
)

// BrineShort is how long a brine may stay as warm as BrinedAt.
const BrineShort = 4 * time.Hour

// Where the limits of cold are read.
const (
	StorageSource = "Michigan R 285.569; Maine ch. 359"
	BrineSource   = "1 NYCRR 262.5; Michigan R 285.569"
)

// A Smoking is a way to smoke fish cold: the chamber no warmer, and no longer.
type Smoking struct {
	Chamber quantity.Celsius
	Within  time.Duration
}

// The two ways.
var (
	ColdSmoked   = Smoking{quantity.FromFahrenheit(90), 20 * time.Hour}
	ColderSmoked = Smoking{quantity.FromFahrenheit(50), 24 * time.Hour}
)

// SmokingSource is where they are read.
const SmokingSource = "Maine ch. 359"

// unseenAllowed is how long the chamber may go unseen in all before nothing is shown;
// own choice.
const unseenAllowed = 5 * time.Minute

// A Course is the time that fish has hung in the chamber, drying included. Zero has seen
// nothing.
type Course struct {
	Hung   time.Duration `record:"hung"`
	Warm   time.Duration `record:"warm"`   // of it above the colder way's limit
	Hot    time.Duration `record:"hot"`    // above the other's
	Unseen time.Duration `record:"unseen"` // with a chamber that could not be read
}

// Add counts a step.
func (c Course) Add(chamber quantity.Celsius, seen bool, dt time.Duration) Course {
	c.Hung += dt
	const hair = 1e-9 // of converting
	switch {
	case !seen:
		c.Unseen += dt
	case chamber > ColdSmoked.Chamber+hair:
		c.Hot += dt
		c.Warm += dt
	case chamber > ColderSmoked.Chamber+hair:
		c.Warm += dt
	}
	return c
}

// Broken says which limit is over for good, or nothing.
func (c Course) Broken() string {
	switch {
	case c.Hot > 0:
		return fmt.Sprintf("the chamber was above %v for %s", ColdSmoked.Chamber, quantity.FormatDuration(c.Hot))
	case c.Hung > ColdSmoked.Within && c.Warm > 0, c.Hung > ColderSmoked.Within:
		return fmt.Sprintf("it hung for %s, of which %s above %v", quantity.FormatDuration(c.Hung), quantity.FormatDuration(c.Warm), ColderSmoked.Chamber)
	}
	return ""
}

// Seen reports whether enough of it was seen to say that no limit is broken.
func (c Course) Seen() bool { return c.Hung > 0 && c.Unseen <= unseenAllowed }

// Ways says the limits.
func Ways() string {
	return fmt.Sprintf("at most %v for %s, or %v for %s (%s)", ColdSmoked.Chamber, quantity.FormatDuration(ColdSmoked.Within),
		ColderSmoked.Chamber, quantity.FormatDuration(ColderSmoked.Within), SmokingSource)
}
