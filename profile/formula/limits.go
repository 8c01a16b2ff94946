package formula

import (
	"strconv"
	"strings"

	"fumarium/profile"
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

// ppmRule is what the nitrite or the accelerator is held to.
type ppmRule struct {
	limit, floor Bound
	what         string // the product class in words
	source       string
}

const (
	handbook = "FSIS Directive 7620.3, rev. 1995, ch. 3"
	cfrBacon = "9 CFR 424.22(b)"
	// canadaManual was read in copies of its text, which name no edition.
	canadaManual = "CFIA Meat Hygiene Manual of Procedures, ch. 4, as quoted"
	memory       = "from memory"
	trade        = "common practice, no source"
)

// Limits on ingoing sodium nitrite, and the floor of anything cured that is kept
// cold (the handbook's page 12).
const (
	mincedPPM       = 156
	inPicklePPM     = 200 // immersed, pumped, massaged
	dryPPM          = 625
	baconPPM        = 120 // pumped, massaged, immersed
	baconDryPPM     = 200
	fishPPM         = 200 // 21 CFR 172.175
	floorPPM        = 120
	rindOn          = 0.9 // the rind takes up no cure: the handbook reduces by 10 %
	canadaPPM       = 200 // of the total formulation
	canadaBaconPPM  = 120
	canadaFloorPPM  = 100
	accelerationPPM = 547 // 7/8 oz per 100 lb is 546.9 ppm; the ounces are from memory
	baconAccelPPM   = 550 // required with pumped bacon
)

// nitriteRule picks the limit for the method, the class and the basis.
func nitriteRule(species profile.Species, class profile.Class, method profile.CureMethod, b Basis) ppmRule {
	bacon := class == profile.Bacon || class == profile.RindOnBacon
	if b == TotalFormulation {
		r := ppmRule{at(canadaPPM), at(canadaFloorPPM), "cured meat, on the total formulation", canadaManual}
		if bacon {
			r.limit, r.what = at(canadaBaconPPM), "bacon, on the total formulation"
		}
		return r
	}
	if species == profile.Fish {
		return ppmRule{limit: at(fishPPM), what: "smoked fish", source: "21 CFR 172.175"}
	}
	r := ppmRule{floor: at(floorPPM), what: method.String() + " cure", source: handbook}
	switch {
	case bacon && method == profile.DryRubbed:
		r.limit, r.what = at(baconDryPPM), "bacon, dry cured"
	case bacon:
		r.limit, r.what, r.source = at(baconPPM), "bacon, "+method.String(), cfrBacon
	case method == profile.DryRubbed:
		r.limit = at(dryPPM)
	case method == profile.Pumped, method == profile.Immersed:
		r.limit = at(inPicklePPM)
	default:
		r.limit = at(mincedPPM)
	}
	if class == profile.RindOnBacon {
		r.limit.PPM *= rindOn
		r.floor.PPM *= rindOn
		r.what = strings.Replace(r.what, "bacon", "bacon with its rind (10 % less)", 1)
	}
	return r
}

// acceleratorRule picks the limit on erythorbate or ascorbate, always on the green
// weight. With pumped bacon the amount is required: limit and floor are one.
func acceleratorRule(class profile.Class, method profile.CureMethod) ppmRule {
	r := ppmRule{limit: at(accelerationPPM), what: "erythorbate or ascorbate", source: "7/8 oz per 100 lb, " + memory}
	if method != profile.Pumped {
		return r
	}
	switch class {
	case profile.Bacon:
		r = ppmRule{at(baconAccelPPM), at(baconAccelPPM), "required with pumped bacon", cfrBacon}
	case profile.RindOnBacon:
		r = ppmRule{at(baconAccelPPM * rindOn), at(baconAccelPPM * rindOn), "required with pumped bacon, rind on", cfrBacon + ", less 10 % " + memory}
	}
	return r
}

// sausageRule is what a kind of sausage may hold, in percent; 0 is no limit.
type sausageRule struct {
	fat         float64
	fatAndWater float64 // fat and added water
	addedWater  float64 // by definition, of the finished product
	putWater    float64 // water put in, of all ingredients
	meat        float64 // at least
	source      string
}

// binderPercent holds for every sausage: 9 CFR 319.140 and 319.180.
const (
	binderPercent = 3.5
	binderSource  = "9 CFR 319.140, 319.180"
)

var sausageRules = map[profile.Class]sausageRule{
	profile.CookedSausage:    {addedWater: 10, source: "9 CFR 319.140"},
	profile.Frankfurter:      {fat: 30, fatAndWater: 40, source: "9 CFR 319.180"},
	profile.UncookedSausage:  {putWater: 3, source: "9 CFR 319.140"},
	profile.FreshPorkSausage: {fat: 50, putWater: 3, source: "9 CFR 319.141"},
	profile.FreshBeefSausage: {fat: 30, putWater: 3, source: "9 CFR 319.140; fat by FSIS, Sausages and Food Safety, from memory"},
	profile.ItalianSausage:   {fat: 35, putWater: 3, meat: 85, source: "9 CFR 319.140; fat by FSIS, Sausages and Food Safety, from memory"},
}

// Salt in cooked or smoked sausage, in percent of the meat; common practice, no
// source.
const (
	leastSaltPercent = 1.5
	mostSaltPercent  = 2.2
)

// Salt in the water of smoked fish, in percent: Maine ch. 359. The rule is for the
// finished fish, which has lost water.
const (
	FishInAirPercent  = 2.5 // packed in air
	fishPackedPercent = 3.5 // without it
	fishCuredPercent  = 3.0 // likewise, with 100 to 200 ppm nitrite
	fishCuredFromPPM  = 100
)

// usualLoss is what a batch loses in the smokehouse; common practice, no source.
const usualLoss = 0.15

// classOf is the class that the product is judged as. Where the file names none it
// is guessed, towards the stricter limit; why says from what.
func classOf(p *profile.Product) (class profile.Class, why string) {
	if p.Class != profile.NoClass {
		return p.Class, ""
	}
	switch p.Formula.Cure.Method {
	case profile.Comminuted:
		if cooked(p) {
			return profile.CookedSausage, "minced and cooked"
		}
		return profile.UncookedSausage, "minced and not cooked through"
	case profile.NoCure:
		return profile.NoClass, ""
	}
	if p.Species != profile.RedMeat && p.Species != profile.Game {
		return profile.WholeMuscle, "cured in the piece"
	}
	names := []string{p.Name}
	for _, m := range p.Formula.Cut {
		names = append(names, m.Name)
	}
	for _, name := range names {
		for word := range strings.FieldsFuncSeq(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" -,.;/()", r) }) {
			switch word {
			case "bacon", "belly", "bellies":
				return profile.Bacon, strconv.Quote(name) + " sounds like it"
			}
		}
	}
	return profile.WholeMuscle, "cured in the piece"
}

// cooked reports whether a heated stage has to bring the core to a temperature or a
// lethality.
func cooked(p *profile.Product) bool {
	if p.Targets.HasCore || p.Targets.HasLethality {
		return true
	}
	for _, s := range p.Stages {
		for _, c := range s.Until.Conditions {
			if s.Heat && (c.Kind == profile.CoreAtLeast || c.Kind == profile.LethalityAtLeast) {
				return true
			}
		}
	}
	return false
}
