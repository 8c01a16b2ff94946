// Package assistant writes a product file from a few choices: which meat, how fat, in what,
// cured how, cooked how far, by whose rules. What comes out is a file like any other, which
// the parser, lint and the rules of the place are then asked about; it is a beginning to
// change, and holds no recipe that anybody published. What it does not know how to make safe
// it does not offer, and says so.
package assistant

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// Kind is how the product is made.
type Kind string

// What can be made. Bare meat is not among it: heat kills less on a dry surface, and no
// schedule here shows that the surface stayed moist (see lint's dry-cook).
const (
	Sausage Kind = "sausage" // minced, stuffed and cooked
	Piece   Kind = "piece"   // a whole muscle, pumped and cooked in its casing
	Sides   Kind = "sides"   // of fish, brined and smoked hot
)

// Kinds are all of them.
var Kinds = []Kind{Sausage, Piece, Sides}

// A Choice is what a maker says. Each but the name is the key of something offered.
type Choice struct {
	Name    string
	Kind    Kind
	Meat    string
	Fat     string // trim that is added for its fat; none leaves the meat as it is
	Percent string // how fat the meat shall be with it, in percent
	Casing  string
	Cure    string
	Core    string // target, in °C
	Place   string
	Mass    string // of meat, with unit
}

// None is the key of nothing.
const None = "none"

// A Field is one of the choices, in the order in which they are asked: what a later one
// offers hangs on those before it.
type Field struct {
	Key, Words string // the words are a question's
	Value      *string
	Offers     func(Offers) []Offer
}

// Fields are those of a choice that are picked from what is offered.
func (c *Choice) Fields() []Field {
	return []Field{
		{"kind", "What is made", (*string)(&c.Kind), func(o Offers) []Offer { return o.Kinds }},
		{"place", "By whose rules", &c.Place, func(o Offers) []Offer { return o.Places }},
		{"meat", "Of which meat", &c.Meat, func(o Offers) []Offer { return o.Meats }},
		{"fat", "With which fat", &c.Fat, func(o Offers) []Offer { return o.Fats }},
		{"percent", "How fat with it", &c.Percent, func(o Offers) []Offer { return o.Percents }},
		{"casing", "In which casing, or how thick", &c.Casing, func(o Offers) []Offer { return o.Casings }},
		{"cure", "Cured with what", &c.Cure, func(o Offers) []Offer { return o.Cures }},
		{"core", "Cooked to which core", &c.Core, func(o Offers) []Offer { return o.Cores }},
	}
}

// An Offer is one thing that can be chosen.
type Offer struct {
	Key    string `json:"key"`
	Words  string `json:"words"`
	Source string `json:"source,omitempty"`
}

// Offers are what can be chosen of one field, given what is chosen already.
type Offers struct {
	Kinds    []Offer `json:"kinds"`
	Meats    []Offer `json:"meats"`
	Fats     []Offer `json:"fats"`
	Percents []Offer `json:"percents"`
	Casings  []Offer `json:"casings"`
	Cures    []Offer `json:"cures"`
	Cores    []Offer `json:"cores"`
	Places   []Offer `json:"places"`
}

// The meat that a file is written for; common practice, no source.
const (
	leastMass quantity.Kilograms = 0.5
	mostMass  quantity.Kilograms = 200
)

var kindWords = map[Kind]string{Sausage: "sausage, minced and stuffed", Piece: "a whole piece in a casing, pumped", Sides: "fish sides, smoked hot"}

// OffersFor is what goes with the choices made; a field that does not fit any more has
// other offers. Nothing is offered that cannot be written.
func OffersFor(c Choice) Offers {
	var o Offers
	for _, k := range Kinds {
		o.Kinds = append(o.Kinds, Offer{Key: string(k), Words: kindWords[k]})
	}
	for i := range trims {
		t := &trims[i]
		if slices.Contains(t.Of, c.Kind) && !t.Fatty {
			o.Meats = append(o.Meats, Offer{t.Key, t.Name, t.Source()})
		}
	}
	o.Fats = []Offer{{Key: None, Words: "none, the meat as it is"}}
	o.Percents = []Offer{{Key: None, Words: "as it is"}}
	meat := trimOf(c.Meat)
	if c.Kind == Sausage && meat != nil {
		for i := range trims {
			if t := &trims[i]; t.Fatty && len(fatsWith(meat, t)) > 0 {
				o.Fats = append(o.Fats, Offer{t.Key, t.Name, t.Source()})
			}
		}
		if fat := trimOf(c.Fat); fat != nil {
			o.Percents = nil
			for _, percent := range fatsWith(meat, fat) {
				o.Percents = append(o.Percents, Offer{Key: fmt.Sprint(percent), Words: fmt.Sprintf("%d %% fat", percent)})
			}
		}
	}
	for _, x := range casings {
		if x.of == c.Kind {
			o.Casings = append(o.Casings, Offer{Key: x.key, Words: x.words})
		}
	}
	for _, x := range curesFor(c) {
		o.Cures = append(o.Cures, Offer{Key: x.key, Words: x.words, Source: x.source})
	}
	for _, core := range coresFor(c) {
		o.Cores = append(o.Cores, Offer{Key: fmt.Sprint(core), Words: fmt.Sprintf("%d °C", core)})
	}
	for _, j := range profile.Jurisdictions() {
		o.Places = append(o.Places, Offer{Key: j.String(), Words: j.String()})
	}
	return o
}

// fatPercents are how fat sausage is made; common practice, no source. 9 CFR 319.180 has 30 %
// as the most in some.
var fatPercents = []int{15, 20, 25, 30}

// fatsWith are those of them that the two trims can be mixed to, with at least a twentieth
// and at most half of the fatter.
func fatsWith(meat, fat *Trim) (percents []int) {
	for _, f := range fatPercents {
		if share := shareOf(meat, fat, f); share >= 0.05 && share <= 0.5 {
			percents = append(percents, f)
		}
	}
	return percents
}

// shareOf is the part of the fatter trim in a mix with so much fat.
func shareOf(meat, fat *Trim, percent int) float64 {
	return (float64(percent) - meat.Fat) / (fat.Fat - meat.Fat)
}

// species is what the product is held to: any poultry makes it poultry, game stays game
// with another animal's fat in it.
func species(c Choice) profile.Species {
	meat, fat := trimOf(c.Meat), trimOf(c.Fat)
	switch {
	case meat == nil:
		return 0
	case fat != nil && fat.Species == profile.Poultry:
		return profile.Poultry
	}
	return meat.Species
}

// coresFor are the targets in °C that a species is cooked to: red meat with a lethality,
// which lint asks for under 70 °C; poultry and game above the 165 °F of Food Code 3-401.11;
// fish above the 145 °F that it is held at. Which ones besides is common practice, no source.
func coresFor(c Choice) []int {
	switch species(c) {
	case profile.RedMeat:
		return []int{68, 70, 72}
	case profile.Poultry, profile.Game:
		return []int{74, 75}
	case profile.Fish:
		return []int{64}
	}
	return nil
}

// named reports whether a product may be called so here: the name stands in the file without
// quotes.
func named(name string) bool {
	runes := []rune(name)
	if len(runes) < 2 || len(runes) > 60 || !unicode.IsLetter(runes[0]) {
		return false
	}
	return !slices.ContainsFunc(runes, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsNumber(r) && !strings.ContainsRune(" ,'()-", r)
	})
}

// recipe is a choice that was looked up.
type recipe struct {
	Choice
	meat, fat *Trim
	share     float64 // of the fatter trim
	casing    casing
	cure      cure
	core      int
	place     profile.Jurisdiction
	mass      quantity.Kilograms
	species   profile.Species
}

// Write gives the file of a choice, or says which choice is not offered and what is.
func Write(c Choice) (string, error) {
	r, err := lookUp(c)
	if err != nil {
		return "", err
	}
	return r.file(), nil
}

func lookUp(c Choice) (recipe, error) {
	r := recipe{Choice: c, species: species(c)}
	if !named(c.Name) {
		return r, fmt.Errorf("%q is no name for a product; write letters, digits and spaces, 2 to 60", c.Name)
	}
	var err error
	if r.mass, err = quantity.ParseMass(c.Mass); err != nil {
		return r, fmt.Errorf("the mass of meat: %w", err)
	}
	if !(r.mass >= leastMass && r.mass <= mostMass) {
		return r, fmt.Errorf("%v of meat is outside %v to %v", r.mass, leastMass, mostMass)
	}
	o := OffersFor(c)
	for _, f := range c.Fields() {
		if offers := f.Offers(o); !slices.ContainsFunc(offers, func(o Offer) bool { return o.Key == *f.Value }) {
			return r, refused(c, f.Key, *f.Value, offers)
		}
	}
	r.meat, r.fat = trimOf(c.Meat), trimOf(c.Fat)
	if r.fat != nil {
		var percent int
		if _, err := fmt.Sscan(c.Percent, &percent); err != nil {
			return r, err
		}
		r.share = shareOf(r.meat, r.fat, percent)
	}
	r.casing = casings[slices.IndexFunc(casings, func(x casing) bool { return x.key == c.Casing && x.of == c.Kind })]
	for _, x := range curesFor(c) {
		if x.key == c.Cure {
			r.cure = x
		}
	}
	r.place, _ = profile.ParseJurisdiction(c.Place)
	_, err = fmt.Sscan(c.Core, &r.core)
	return r, err
}

// refused says what is not offered, why where that is known, and what is.
func refused(c Choice, what, key string, offers []Offer) error {
	var keys []string
	for _, o := range offers {
		keys = append(keys, o.Key)
	}
	why := ""
	switch {
	case what == "casing" && c.Kind != Sides && (key == None || key == "bare" || key == "net"):
		why = "; meat without a casing is not written here, because its surface stays dry and no schedule of this assistant shows that it was cooked"
	case what == "cure" && c.Kind == Piece && key == None:
		why = "; a whole piece warms for hours, which is not safe without nitrite"
	}
	if len(keys) == 0 {
		return fmt.Errorf("%s %q is not offered with what was chosen before%s", what, key, why)
	}
	return fmt.Errorf("%s %q is not offered%s; take one of %s", what, key, why, strings.Join(keys, ", "))
}
