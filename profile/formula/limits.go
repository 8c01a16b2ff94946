package formula

import (
	"fmt"

	"fumarium/profile"
)

const (
	handbook = "FSIS Directive 7620.3, rev. 1995, ch. 3"
	cfrBacon = "9 CFR 424.22(b)"
	cfrOther = "9 CFR 424.21(c)"
	// canadaManual was read in copies of its text, which name no edition.
	canadaManual = "CFIA Meat Hygiene Manual of Procedures, ch. 4, as quoted"
	cfrFish      = "21 CFR 172.175"
	cfrChub      = "21 CFR 172.177"
	cfrNitrate   = "21 CFR 172.170"
	// asMuch says that what may be in the finished product is held against what goes in.
	asMuch = ": no more goes in than may be left"
	memory = "from memory"
	trade  = "common practice, no source"
)

const (
	rindOn          = 0.9 // the rind takes up no cure: the handbook reduces by 10 %
	accelerationPPM = 547 // 7/8 oz per 100 lb is 546.9 ppm; the ounces are from memory
	baconAccelPPM   = 550 // required with pumped bacon
)

// ppmRule is what the accelerator is held to.
type ppmRule struct {
	limit, floor Bound
	what         string // the product class in words
	source       string
}

// within holds ppm against a rule with the slack of rounding.
func (r ppmRule) within(ppm float64) bool { return !r.over(ppm) && !r.under(ppm) }
func (r ppmRule) over(ppm float64) bool   { return r.limit.Set && ppm > r.limit.PPM+SlackPPM }
func (r ppmRule) under(ppm float64) bool  { return r.floor.Set && ppm < r.floor.PPM-SlackPPM }

func (r ppmRule) check(ppm float64, arithmetic []string) Check {
	return Check{Name: "erythorbate", PPM: ppm, Limit: r.limit, Floor: r.floor, Pass: r.within(ppm), Shown: true, Arithmetic: arithmetic,
		Basis: fmt.Sprintf("%s, on the %s (%s)", r.what, GreenWeight, r.source)}
}

// acceleratorRule picks the limit on erythorbate or ascorbate, always on the green
// weight. With pumped bacon the amount is required: limit and floor are one.
func acceleratorRule(s subject) ppmRule {
	r := ppmRule{limit: at(accelerationPPM), what: "erythorbate or ascorbate", source: "7/8 oz per 100 lb, " + memory}
	if !s.by(profile.Pumped) {
		return r
	}
	switch s.class {
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

// usualLoss is what a batch loses in the smokehouse; common practice, no source.
const usualLoss = 0.15

// cooked reports whether it is meant to be cooked through: heated towards a core, and by a
// process that cooks.
func cooked(p *profile.Product) bool { return p.Process == profile.FullyCooked && heated(p) }

// heated reports whether a heated stage has to bring the core to a temperature or a
// lethality, cooked through or not. What is smoked cold, or fermented and dried, stays raw,
// however warm its fermenting stage waits for the core to be.
func heated(p *profile.Product) bool {
	if p.Process == profile.ColdSmoked || p.Process == profile.FermentedAndDried {
		return false
	}
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
