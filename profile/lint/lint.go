// Package lint says what looks unwise in a product that can be used all the same: smoke
// on a wet casing, fat that runs out, a stage that can never end, a published limit that
// no stage keeps. It holds the schedule against limits that stand in other rooms and
// against what the trade knows.
package lint

import (
	"fmt"
	"slices"
	"time"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/ferment"
	"fumarium/profile/fish"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// A Cabinet is what a cabinet adds to the judgement of a product. What is
// not known is left zero.
type Cabinet struct {
	Filling     time.Duration        // how long one of the smoke generator lasts; 0: 3 h assumed
	HasAmbient  bool                 // false: 15 °C assumed
	Ambient     quantity.Celsius     // the room around the cabinet
	ChamberHigh quantity.Celsius     // the cabinet's limit; 0: not judged
	Cools       bool                 // it has a cooler
	CoreError   quantity.Kelvin      // by which a core probe must show more than is asked, or less while it cools
	Where       profile.Jurisdiction // whose rules hold for a product that names none
}

// What is assumed while the cabinet says nothing, and how cold the places are
// taken to be; own magnitudes, no source.
const (
	assumedFilling                   = 3 * time.Hour
	assumedAmbient  quantity.Celsius = 15
	iceWaterCelsius quantity.Celsius = 0
	coldRoomCelsius quantity.Celsius = 2
)

// Limits of the trade: common practice, no source.
const (
	fatRunsOut        quantity.Celsius = 85
	cheeseSweats      quantity.Celsius = 30
	fatty             quantity.Ratio   = 0.10
	coldCore          quantity.Celsius = 50
	largestJump       quantity.Celsius = 20
	gentleRampPerHour                  = 60.0
	shortestDrying                     = 15 * time.Minute
	unheatedSlower                     = 4 // a surface dries so many times as slowly outside the chamber
	hotSmoke          quantity.Celsius = 95
	coreBelowChamber  quantity.Celsius = 2
)

// A rule is one thing that experience or a published limit says is wrong
// with a schedule although the file can be used.
type rule struct {
	code  string
	basis string // where the limit comes from
	check func(*linting) []finding
}

// graver are the codes of what no batch may be started with: the product would be held to a
// rule whose conditions it does not meet.
var graver = []string{"chill-cure"}

// A finding is one breach of a rule; stage is -1 for the product as a whole.
type finding struct {
	stage   int
	message string
	remedy  string
}

// trade is the basis of what no source says.
const trade = "common practice, no source"

// rules is every rule, in the order of a batch.
var rules = []rule{
	{"species", lethality.Guide2021, speciesOfCuts},
	{"cure-rest", "", cureRest},
	{"dry-first", trade, dryFirst},
	{"plastic-smoke", trade, plasticSmoke},
	{"filling", "one filling of the smoke generator", filling},
	{"hot-smoke", trade, smokeTooHot},
	{"fat-out", trade, fatOut},
	{"jump", trade, jump},
	{"chamber-limit", "the cabinet's limit", chamberLimit},
	{"below-ambient", "a heater cannot cool", belowAmbient},
	{"warm-room", "nothing cools below the room", warmRoom},
	{"uncured-warm", lethality.RawUncured.Source, uncuredWarm},
	{"come-up", lethality.ComeUpBand.Source, comeUp},
	{"cold-smoke", "", coldSmoke},
	{"parasites", fish.ParasiteSource, parasites},
	{"ferment-warm", "", fermentWarm},
	{"ferment-uncured", ferment.LeastSaltSource, fermentUncured},
	{"never-ends", "heat flows one way", neverEnds},
	{"no-within", trade, noWithin},
	{"within-short", "conduction alone", withinShort},
	{"core-low", "", coreLow},
	{"target-open", "what no stage waits for is left to luck", targetOpen},
	{"dry-cook", lethality.Guide2021 + ", humidity options 2 and 3", dryCook},
	{"no-chill", chilling.Source, noChill},
	{"chill-end", chilling.Source + ", Food Code 3-501.14", chillEnd},
	{"chill-cure", chilling.Source + ", option 3", chillCure},
	{"heat-after-chill", trade, heatAfterChill},
}

// A linting is one product under judgement.
type linting struct {
	*profile.Product
	filling     time.Duration
	ambient     quantity.Celsius
	chamberHigh quantity.Celsius
	cools       bool
	coreError   quantity.Celsius
	where       profile.Jurisdiction
	estimate    estimate
}

// Product says what looks wrong with a product that can be used all the same. It
// returns warnings, and few errors, in the order of the file. Times that a rule needs are
// estimated by conduction alone, which is shorter than any real batch.
func Product(p *profile.Product, file string, c Cabinet) source.Findings {
	l := &linting{Product: p, filling: c.Filling, ambient: c.Ambient, chamberHigh: c.ChamberHigh, cools: c.Cools, coreError: quantity.Celsius(c.CoreError), where: p.Where(c.Where)}
	if l.filling <= 0 {
		l.filling = assumedFilling
	}
	if !c.HasAmbient {
		l.ambient = assumedAmbient
	}
	l.estimate = estimateBatch(p, l.ambient)
	var found source.Findings
	for _, r := range rules {
		for _, f := range r.check(l) {
			one := source.Finding{
				File: file, Line: 1, Column: 1, Severity: source.Warning,
				Code: r.code, Message: f.message, Remedy: f.remedy,
			}
			if slices.Contains(graver, r.code) {
				one.Severity = source.Error
			}
			if r.basis != "" {
				one.Message += " (" + r.basis + ")"
			}
			if f.stage >= 0 {
				one.Line = max(1, p.Stages[f.stage].Line)
			}
			found = append(found, one)
		}
	}
	slices.SortStableFunc(found, func(a, b source.Finding) int { return a.Line - b.Line })
	return found
}

// smokes reports whether any stage smokes, and the first that does.
func (l *linting) smokes() (int, bool) {
	i := slices.IndexFunc(l.Stages, func(s profile.Stage) bool { return s.Smoke })
	return i, i >= 0
}

// cured reports whether nitrite is in it; nitrate alone protects nothing until bacteria
// have made nitrite of it.
func (l *linting) cured() bool { return l.Formula.NitriteMass() > 0 }

func (l *linting) stageName(i int) string { return fmt.Sprintf("stage %q", l.Stages[i].Name) }
