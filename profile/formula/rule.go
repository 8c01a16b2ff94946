package formula

import (
	"fmt"
	"slices"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/quantity"
)

// SlackPPM is how far a limit may be passed by rounding alone: one ounce of 6.25 %
// cure on 25 lb of meat is 156.25 ppm, and meant to meet 156.
const SlackPPM = 0.5

// A Bound is a limit that may not be there.
type Bound struct {
	Set bool
	PPM float64
}

func at(ppm float64) Bound { return Bound{true, ppm} }

// A Measure is what a limit counts, and as what.
type Measure uint8

// Ounces and pounds in a rule are of the salt as it is weighed, sodium or potassium;
// others count one of them, or the ion.
const (
	NitriteSalts Measure = iota
	NitriteAsSodium
	NitriteIon
	NitrateSalts
	NitrateAsSodium
	NitrateAsPotassium
	NitrateIon
	BothAsSodiumNitrite
)

var measures = map[Measure]struct {
	name, words string
	of          func(profile.Curing) quantity.Kilograms
}{
	NitriteSalts:        {"nitrite", "nitrite, either salt as weighed", profile.Curing.NitriteSalts},
	NitriteAsSodium:     {"nitrite", "nitrite as NaNO2", profile.Curing.Nitrite},
	NitriteIon:          {"nitrite", "nitrite as the ion NO2", profile.Curing.NitriteIon},
	NitrateSalts:        {"nitrate", "nitrate, either salt as weighed", profile.Curing.NitrateSalts},
	NitrateAsSodium:     {"nitrate", "nitrate as NaNO3", profile.Curing.Nitrate},
	NitrateAsPotassium:  {"nitrate", "nitrate as KNO3", profile.Curing.NitrateAsPotassium},
	NitrateIon:          {"nitrate", "nitrate as the ion NO3", profile.Curing.NitrateIon},
	BothAsSodiumNitrite: {"nitrite and nitrate", "nitrite and nitrate together as NaNO2", profile.Curing.Both},
}

func (m Measure) String() string { return measures[m].words }

// isNitrate reports whether only nitrate is counted.
func (m Measure) isNitrate() bool { return m >= NitrateSalts && m <= NitrateIon }

// A Moment is when a limit is held.
type Moment uint8

// Ingoing is what is put in, which a recipe shows. Finished is what may be left in the
// finished product, and Residual what may be left while it is sold: those an analysis
// shows.
const (
	Ingoing Moment = iota
	Finished
	Residual
)

func (m Moment) String() string { return [...]string{"ingoing", "finished product", "residual"}[m] }

// A Mark says how sure a figure is.
type Mark uint8

// Read was read in the text itself, Quoted in another's quotation of it, Reckoned follows
// from such a text by own arithmetic. FromMemory may warn and never decides.
const (
	Read Mark = iota
	Quoted
	Reckoned
	FromMemory
)

func (m Mark) String() string {
	return [...]string{"read in the text", "read in a quotation", "own arithmetic on the text", memory}[m]
}

// A Rule is one published limit of one place.
type Rule struct {
	Where   profile.Jurisdiction
	Product string // what it is for, in words
	Of      Measure
	When    Moment
	Basis   Basis
	Most    Bound
	Least   Bound
	Text    string // the text cited
	Date    string // since when it holds, or of what date the text is
	Mark    Mark
	covers  func(subject) bool
}

// A subject is what decides which limit holds.
type subject struct {
	species profile.Species
	class   profile.Class
	formula profile.Formula
	heated  bool // towards a core, cooked through or not
	fish    fish.Kind
}

func (s subject) bacon() bool { return s.class == profile.Bacon || s.class == profile.RindOnBacon }
func (s subject) by(m profile.CureMethod) bool {
	return s.formula.CuredBy(m)
}
func (s subject) oneOf(kinds ...fish.Kind) bool {
	return s.species == profile.Fish && slices.Contains(kinds, s.fish)
}
func (s subject) meat() bool { return s.species != profile.Fish && s.species != profile.Dairy }

// rulesFor picks what holds for a product in one place: of each kind of limit the first
// that covers it.
func rulesFor(s subject, where profile.Jurisdiction) []Rule {
	type kind struct {
		nitrate bool
		when    Moment
	}
	seen := map[kind]bool{}
	var found []Rule
	for _, r := range Rules {
		k := kind{r.Of.isNitrate(), r.When}
		if r.Where != where || seen[k] || !r.covers(s) {
			continue
		}
		seen[k] = true
		found = append(found, r)
	}
	return found
}

// Over and under hold an amount against a rule with the slack of rounding.
func (r Rule) over(ppm float64) bool   { return r.Most.Set && ppm > r.Most.PPM+SlackPPM }
func (r Rule) under(ppm float64) bool  { return r.Least.Set && ppm < r.Least.PPM-SlackPPM }
func (r Rule) within(ppm float64) bool { return !r.over(ppm) && !r.under(ppm) }

// ppm is what the formula holds of what the rule counts.
func (r Rule) ppm(f profile.Formula) float64 {
	return perMillion(measures[r.Of].of(f.Curing()), base(f, r.Basis))
}

// source is the text and, where it is not the text that was read, how sure it is.
func (r Rule) source() string {
	switch r.Mark {
	case Reckoned:
		return r.Text + "; " + r.Mark.String()
	case FromMemory:
		return fmt.Sprintf("%s, %s", r.Text, memory)
	}
	return r.Text
}

// Limit is the rule's limit in words.
func (r Rule) Limit() string { return limitText(r.Most, r.Least) }

func limitText(most, least Bound) string {
	ppm := func(b Bound) string { return decimals(b.PPM, 2) + " ppm" }
	switch {
	case most.Set && most.PPM == 0:
		return "none"
	case most.Set && most == least:
		return "exactly " + ppm(most)
	case most.Set && least.Set:
		return "at most " + ppm(most) + ", at least " + ppm(least)
	case most.Set:
		return "at most " + ppm(most)
	}
	return "no limit"
}

// Line says a check in a line: how much there is, and what may be.
func (c Check) Line() string {
	text := fmt.Sprintf("%s %s ppm, %s", c.Name, decimals(c.PPM, 1), limitText(c.Limit, c.Floor))
	if c.Limit.Set && c.Limit.PPM == 0 {
		text = fmt.Sprintf("%s %s ppm, and none is allowed", c.Name, decimals(c.PPM, 1))
	}
	if c.When != Ingoing {
		text = fmt.Sprintf("%s in the %s, %s", c.Name, map[Moment]string{Finished: "finished product", Residual: "product while it is sold"}[c.When], limitText(c.Limit, c.Floor))
	}
	return text + ": " + c.Basis
}

// Word is what became of a check.
func (c Check) Word() string {
	switch {
	case !c.Pass:
		return "not allowed"
	case !c.Shown:
		return "not shown"
	}
	return "allowed"
}
