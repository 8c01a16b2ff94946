package lint

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// ringSausage is a sound product; every case below breaks one thing in it.
func ringSausage() *profile.Product {
	return &profile.Product{
		Name:    "Test ring",
		Shape:   profile.Shape{Form: profile.Cylinder, Diameter: 0.036, Length: 0.4, Casing: profile.NaturalCasing},
		Species: profile.RedMeat,
		Formula: profile.Formula{
			Cut: []profile.Meat{
				{Name: "shoulder", Mass: 4, Water: 0.66, Protein: 0.18, Fat: 0.15},
				{Name: "back fat", Mass: 1, Water: 0.08, Protein: 0.03, Fat: 0.88},
			},
			Cure: profile.Cure{Name: "cure", Mass: 0.012, Nitrite: 0.0625, Method: profile.Comminuted, Rest: 12 * time.Hour},
			Other: []profile.Ingredient{
				{Name: "salt", Mass: 0.075, As: profile.Salt},
				{Name: "ice", Mass: 0.3, As: profile.Water},
			},
		},
		Targets: profile.Targets{HasCore: true, Core: 70, HasLethality: true, Lethality: 6.5, Chill: profile.ChillCured},
		Stages: []profile.Stage{
			{Name: "dry", Line: 10, Heat: true, ChamberSetpoint: 50, Fan: 1, Place: profile.Chamber, Until: all(after(40 * time.Minute))},
			{Name: "smoke", Line: 11, Heat: true, ChamberSetpoint: 61, Smoke: true, Place: profile.Chamber, Until: all(after(90 * time.Minute))},
			{Name: "cook", Line: 12, Heat: true, ChamberSetpoint: 77, Fan: 1, HasDamper: true, Place: profile.Chamber,
				Until: all(coreAtLeast(70), profile.Condition{Kind: profile.LethalityAtLeast, Lethality: 6.5}), Within: 6 * time.Hour},
			{Name: "chill", Line: 13, Place: profile.IceWater, Until: all(coreAtMost(6)), Within: 2 * time.Hour},
			{Name: "bloom", Line: 14, Place: profile.ColdRoom, Until: all(after(5 * time.Hour))},
		},
	}
}

// coldSide makes it a side of fish that hangs at so much for so long.
func coldSide(p *profile.Product, chamber quantity.Celsius, stay time.Duration) {
	p.Species, p.Process, p.Targets = profile.Fish, profile.ColdSmoked, profile.Targets{}
	p.Formula.Cure = profile.Cure{}
	p.Formula.Other[0].Mass = 0.2
	p.Stages = []profile.Stage{{Name: "smoke", Line: 10, Heat: true, ChamberSetpoint: chamber, Smoke: true, Place: profile.Chamber, Until: all(after(stay))}}
}

// dried makes it a sausage that is fermented at so much and waits so long for its pH.
func dried(p *profile.Product, chamber quantity.Celsius, within time.Duration) {
	p.Process, p.Targets = profile.FermentedAndDried, profile.Targets{}
	sour := profile.Condition{Kind: profile.Confirmed, Measured: profile.SourTo, AtMost: 5.2}
	p.Stages = []profile.Stage{
		{Name: "ferment", Line: 10, Heat: true, ChamberSetpoint: chamber, Place: profile.Chamber, Until: all(after(30*time.Hour), sour), Within: within},
		{Name: "dry", Line: 11, Place: profile.ColdRoom, Until: all(after(100 * time.Hour))},
	}
}

func all(c ...profile.Condition) profile.Until    { return profile.Until{Conditions: c} }
func either(c ...profile.Condition) profile.Until { return profile.Until{Any: true, Conditions: c} }
func after(d time.Duration) profile.Condition {
	return profile.Condition{Kind: profile.After, After: d}
}
func coreAtLeast(c quantity.Celsius) profile.Condition {
	return profile.Condition{Kind: profile.CoreAtLeast, Core: c}
}
func coreAtMost(c quantity.Celsius) profile.Condition {
	return profile.Condition{Kind: profile.CoreAtMost, Core: c}
}
func logs(l float64) profile.Condition {
	return profile.Condition{Kind: profile.LethalityAtLeast, Lethality: l}
}
func coreOnly(p *profile.Product, c quantity.Celsius) {
	p.Stages[2].Until = all(coreAtLeast(c))
	p.Targets.Core = c
	p.Targets.HasLethality = false
}
func uncured(p *profile.Product) {
	p.Formula.Cure = profile.Cure{}
	p.Targets.Chill = profile.ChillUncured
	p.Stages[3].Until = all(coreAtMost(4))
}
func insert(p *profile.Product, at int, s profile.Stage) {
	p.Stages = append(p.Stages[:at:at], append([]profile.Stage{s}, p.Stages[at:]...)...)
}
func slab(p *profile.Product, s profile.Species, t quantity.Meters) {
	p.Species, p.Shape = s, profile.Shape{Form: profile.Slab, Thickness: t, Length: 0.3, Width: 0.2}
}

// hold adds a heated stage after the cook.
func hold(p *profile.Product, chamber quantity.Celsius, until ...profile.Condition) {
	insert(p, 3, profile.Stage{Name: "hold", Heat: true, ChamberSetpoint: chamber, Place: profile.Chamber, Until: all(until...)})
}

func reset(p *profile.Product, s profile.Species, core quantity.Celsius) {
	p.Species = s
	coreOnly(p, core)
}

// changes are ways to alter the sound product, by name.
type changes map[string]func(*profile.Product, *Cabinet)

// lintCases has for every rule products that break it and neighbours that do not.
var lintCases = []struct {
	code string
	bad  changes
	good changes
}{
	{
		"cure-rest",
		changes{
			"none":             func(p *profile.Product, _ *Cabinet) { p.Formula.Cure.Rest = 0 },
			"short":            func(p *profile.Product, _ *Cabinet) { p.Formula.Cure.Rest = 12*time.Hour - time.Minute },
			"rubbed overnight": func(p *profile.Product, _ *Cabinet) { p.Formula.Cure.Method = profile.DryRubbed },
			// 160 mm of ham, rubbed, is empty in the middle after two days.
			"a ham after two days": func(p *profile.Product, _ *Cabinet) {
				p.Shape = profile.Shape{Form: profile.Cylinder, Diameter: 0.16, Length: 0.3}
				p.Formula.Cure.Method, p.Formula.Cure.Rest = profile.DryRubbed, 48*time.Hour
			},
			"a ham a day too soon": func(p *profile.Product, _ *Cabinet) {
				p.Shape = profile.Shape{Form: profile.Cylinder, Diameter: 0.16, Length: 0.3}
				p.Formula.Cure.Method, p.Formula.Cure.Rest = profile.DryRubbed, 80*24*time.Hour
			},
			"pumped, soon": func(p *profile.Product, _ *Cabinet) {
				p.Formula.Cure.Method = profile.Pumped
				p.Formula.Cure.Rest = 6 * time.Hour
			},
			"accelerated, at once": func(p *profile.Product, _ *Cabinet) {
				p.Formula.Cure.Rest = 90 * time.Minute
				p.Formula.Other = append(p.Formula.Other, profile.Ingredient{Name: "erythorbate", Mass: 0.002, As: profile.Accelerator})
			},
		},
		changes{
			"accelerated": func(p *profile.Product, _ *Cabinet) {
				p.Formula.Cure.Rest = 2 * time.Hour
				p.Formula.Other = append(p.Formula.Other, profile.Ingredient{Name: "erythorbate", Mass: 0.002, As: profile.Accelerator})
			},
			"no cure": func(p *profile.Product, _ *Cabinet) { uncured(p) },
			"a ham in time": func(p *profile.Product, _ *Cabinet) {
				p.Shape = profile.Shape{Form: profile.Cylinder, Diameter: 0.16, Length: 0.3}
				p.Formula.Cure.Method, p.Formula.Cure.Rest = profile.DryRubbed, 82*24*time.Hour
			},
		},
	},
	{
		"dry-first",
		changes{
			"smoke first":  func(p *profile.Product, _ *Cabinet) { p.Stages = p.Stages[1:] },
			"smoky drying": func(p *profile.Product, _ *Cabinet) { p.Stages[0].Smoke = true },
			"five minutes": func(p *profile.Product, _ *Cabinet) { p.Stages[0].Until = all(after(5 * time.Minute)) },
			"half an hour in the cold": func(p *profile.Product, _ *Cabinet) {
				p.Stages[0] = profile.Stage{Name: "hang", Place: profile.ColdRoom, Until: all(after(30 * time.Minute))}
			},
			"shut in without fan": func(p *profile.Product, _ *Cabinet) {
				p.Stages[0] = profile.Stage{Name: "hang", Place: profile.Chamber, Until: all(after(time.Hour))}
			},
		},
		changes{
			"no smoke at all": func(p *profile.Product, _ *Cabinet) { p.Stages = p.Stages[2:] },
			"a night in the cold": func(p *profile.Product, _ *Cabinet) {
				p.Stages[0] = profile.Stage{Name: "hang", Place: profile.ColdRoom, Until: all(after(9 * time.Hour))}
			},
			"cold, with fan": func(p *profile.Product, _ *Cabinet) {
				p.Stages[0] = profile.Stage{Name: "hang", Place: profile.Chamber, Fan: 1, Until: all(after(time.Hour))}
			},
		},
	},
	{
		"plastic-smoke",
		changes{"plastic": func(p *profile.Product, _ *Cabinet) { p.Shape.Casing = profile.PlasticCasing }},
		changes{
			"fibrous": func(p *profile.Product, _ *Cabinet) { p.Shape.Casing = profile.FibrousCasing },
			"without smoke": func(p *profile.Product, _ *Cabinet) {
				p.Shape.Casing = profile.PlasticCasing
				p.Stages[1].Smoke = false
			},
		},
	},
	{
		"filling",
		changes{
			"assumed": func(p *profile.Product, _ *Cabinet) { p.Stages[1].Until = all(after(5 * time.Hour)) },
			"known":   func(_ *profile.Product, c *Cabinet) { c.Filling = time.Hour },
			"two in a row": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].Until = all(after(150 * time.Minute))
				insert(p, 2, p.Stages[1])
			},
		},
		changes{
			"long burner": func(p *profile.Product, c *Cabinet) {
				p.Stages[1].Until = all(after(5 * time.Hour))
				c.Filling = 6 * time.Hour
			},
			"filled again": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].Until = all(after(150 * time.Minute))
				insert(p, 2, p.Stages[1])
				p.Stages[2].Ask = "Fill the generator again"
			},
		},
	},
	{
		"hot-smoke",
		changes{"100 °C": func(p *profile.Product, _ *Cabinet) { p.Stages[1].ChamberSetpoint = 100 }},
		changes{
			"95 °C":          func(p *profile.Product, _ *Cabinet) { p.Stages[1].ChamberSetpoint = 95 },
			"hot without it": func(p *profile.Product, _ *Cabinet) { p.Stages[2].ChamberSetpoint = 100 },
		},
	},
	{
		"fat-out",
		changes{
			"hot sausage": func(p *profile.Product, _ *Cabinet) { p.Stages[2].ChamberSetpoint = 92 },
			"warm cheese": func(p *profile.Product, _ *Cabinet) { p.Species = profile.Dairy; p.Shape.Casing = profile.NoCasing },
		},
		changes{
			"at the limit": func(p *profile.Product, _ *Cabinet) { p.Stages[2].ChamberSetpoint = 85 },
			"lean": func(p *profile.Product, _ *Cabinet) {
				p.Stages[2].ChamberSetpoint = 92
				p.Formula.Cut = []profile.Meat{{Name: "lean", Mass: 5, Water: 0.75, Protein: 0.22, Fat: 0.02}}
			},
			"bare": func(p *profile.Product, _ *Cabinet) {
				p.Stages[2].ChamberSetpoint = 92
				p.Shape.Casing = profile.NoCasing
			},
		},
	},
	{
		"jump",
		changes{
			"straight to the cook": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].Until = all(after(time.Minute))
				p.Stages[1].ChamberSetpoint = 50
			},
			"a ramp in name only": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].Until = all(after(time.Minute))
				p.Stages[1].ChamberSetpoint = 50
				p.Stages[2].Ramp = 200. / 3600
			},
		},
		changes{
			"ramp": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].Until = all(after(time.Minute))
				p.Stages[1].ChamberSetpoint = 50
				p.Stages[2].Ramp = 30. / 3600
			},
			"set core": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].ChamberSetpoint = 56
				p.Stages[1].Until = all(after(4 * time.Hour))
				p.Stages[2].ChamberSetpoint = 80
			},
			"bare": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].Until = all(after(time.Minute))
				p.Stages[1].ChamberSetpoint = 50
				p.Shape.Casing = profile.NetCasing
			},
		},
	},
	{
		"chamber-limit",
		changes{"too near": func(_ *profile.Product, c *Cabinet) { c.ChamberHigh = 81 }},
		changes{"far enough": func(_ *profile.Product, c *Cabinet) { c.ChamberHigh = 82 }},
	},
	{
		"below-ambient",
		changes{
			"hot day": func(p *profile.Product, c *Cabinet) {
				p.Stages[0].ChamberSetpoint = 28
				c.HasAmbient, c.Ambient = true, 31
			},
			"assumed": func(p *profile.Product, _ *Cabinet) { p.Stages[0].ChamberSetpoint = 12 },
		},
		changes{"cold day": func(p *profile.Product, c *Cabinet) { p.Stages[0].ChamberSetpoint = 12; c.HasAmbient = true }},
	},
	{
		"warm-room",
		changes{
			"hot day": func(p *profile.Product, c *Cabinet) {
				p.Stages[0].HasNotAbove, p.Stages[0].NotAbove = true, 25
				c.HasAmbient, c.Ambient = true, 25
			},
			"smoke on a mild day": func(p *profile.Product, c *Cabinet) {
				p.Stages[1].HasNotAbove, p.Stages[1].NotAbove = true, 25
				c.HasAmbient, c.Ambient = true, 20
			},
		},
		changes{
			"cool day": func(p *profile.Product, c *Cabinet) {
				p.Stages[0].HasNotAbove, p.Stages[0].NotAbove = true, 25
				c.HasAmbient, c.Ambient = true, 24
			},
			"cooler": func(p *profile.Product, c *Cabinet) {
				p.Stages[0].HasNotAbove, p.Stages[0].NotAbove = true, 25
				c.HasAmbient, c.Ambient, c.Cools = true, 31, true
			},
			"any heat may be": func(_ *profile.Product, c *Cabinet) { c.HasAmbient, c.Ambient = true, 31 },
		},
	},
	{
		"uncured-warm",
		changes{
			"slow smoke": func(p *profile.Product, _ *Cabinet) { uncured(p); p.Stages[1].ChamberSetpoint = 55 },
			"cold smoke": func(p *profile.Product, _ *Cabinet) {
				uncured(p)
				p.Stages[1] = profile.Stage{Name: "smoke", Smoke: true, Place: profile.Chamber, Until: all(after(3 * time.Hour))}
			},
			"fish, no brine": func(p *profile.Product, _ *Cabinet) {
				uncured(p)
				p.Species = profile.Fish
				p.Formula.Other = nil
				p.Stages[1].ChamberSetpoint = 55
			},
		},
		changes{
			"cured":      func(p *profile.Product, _ *Cabinet) { p.Stages[1].ChamberSetpoint = 55 },
			"hot enough": func(p *profile.Product, _ *Cabinet) { uncured(p); p.Stages[1].ChamberSetpoint = 60 },
			"fish, brine": func(p *profile.Product, _ *Cabinet) {
				uncured(p)
				p.Species = profile.Fish
				p.Formula.Other[0].Mass = 0.2
				p.Stages[1].ChamberSetpoint = 55
			},
			"cold": func(p *profile.Product, c *Cabinet) {
				uncured(p)
				c.HasAmbient, c.Ambient = true, 2
				p.Stages[1] = profile.Stage{Name: "smoke", Smoke: true, Place: profile.Chamber, Until: all(after(3 * time.Hour))}
			},
		},
	},
	{
		"cold-smoke",
		changes{
			"21 h at 20 °C":  func(p *profile.Product, _ *Cabinet) { coldSide(p, 20, 21*time.Hour) },
			"25 h at 9 °C":   func(p *profile.Product, _ *Cabinet) { coldSide(p, 9, 25*time.Hour) },
			"1 h at 33 °C":   func(p *profile.Product, _ *Cabinet) { coldSide(p, 33, time.Hour) },
			"in a warm room": func(p *profile.Product, c *Cabinet) { coldSide(p, 9, 21*time.Hour); c.HasAmbient, c.Ambient = true, 18 },
		},
		changes{
			"20 h at 32 °C": func(p *profile.Product, c *Cabinet) { coldSide(p, 32, 20*time.Hour) },
			"24 h at 9 °C":  func(p *profile.Product, c *Cabinet) { coldSide(p, 9, 24*time.Hour); c.HasAmbient, c.Ambient = true, 5 },
			"cooked":        func(p *profile.Product, c *Cabinet) { coldSide(p, 33, time.Hour); p.Process = profile.FullyCooked },
		},
	},
	{
		"parasites",
		changes{"nothing said": func(p *profile.Product, _ *Cabinet) { coldSide(p, 20, time.Hour) }},
		changes{
			"frozen": func(p *profile.Product, _ *Cabinet) { coldSide(p, 20, time.Hour); p.Fish.Parasites = fish.Frozen },
			"farmed": func(p *profile.Product, _ *Cabinet) { coldSide(p, 20, time.Hour); p.Fish.Parasites = fish.Farmed },
			"cooked": func(p *profile.Product, _ *Cabinet) { coldSide(p, 20, time.Hour); p.Process = profile.FullyCooked },
		},
	},
	{
		"ferment-warm", // sums: FSIS 1200 °F·h below 90 °F, CFIA 665 °C·h below 33 °C
		changes{
			"80 h at 24 °C":              func(p *profile.Product, _ *Cabinet) { dried(p, 24, 80*time.Hour) },
			"no within":                  func(p *profile.Product, _ *Cabinet) { dried(p, 24, 0) },
			"a warm room":                func(p *profile.Product, c *Cabinet) { dried(p, 24, 72*time.Hour); c.HasAmbient, c.Ambient = true, 26 },
			"EU as set, 36 h at 32.5 °C": func(p *profile.Product, c *Cabinet) { dried(p, 32.5, 36*time.Hour); c.Where = profile.EuropeanUnion },
			"Canada, 47 h at 30 °C": func(p *profile.Product, _ *Cabinet) {
				dried(p, 30, 47*time.Hour)
				p.Jurisdiction = profile.Canada
			},
		},
		changes{
			"78 h at 24 °C":                  func(p *profile.Product, _ *Cabinet) { dried(p, 24, 78*time.Hour) },
			"cooked":                         func(p *profile.Product, _ *Cabinet) { dried(p, 24, 80*time.Hour); p.Process = profile.NotReadyToEat },
			"Canada as set, 36 h at 32.5 °C": func(p *profile.Product, c *Cabinet) { dried(p, 32.5, 36*time.Hour); c.Where = profile.Canada }, // warm from 33 °C, FSIS 90 °F
			"Canada, 46 h at 30 °C": func(p *profile.Product, _ *Cabinet) {
				dried(p, 30, 46*time.Hour)
				p.Jurisdiction = profile.Canada
			},
		},
	},
	{
		"ferment-uncured",
		changes{"no cure": func(p *profile.Product, _ *Cabinet) { dried(p, 24, 50*time.Hour); p.Formula.Cure = profile.Cure{} }},
		changes{
			"cured":  func(p *profile.Product, _ *Cabinet) { dried(p, 24, 50*time.Hour) },
			"cooked": func(p *profile.Product, _ *Cabinet) { uncured(p) },
		},
	},
	{
		"come-up",
		changes{
			"as thick as a ham": func(p *profile.Product, _ *Cabinet) { p.Shape.Diameter = 0.2 },
			"too cool for long": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].ChamberSetpoint = 45
				p.Stages[1].Until = all(after(7 * time.Hour))
			},
		},
		changes{
			"thick and hot": func(p *profile.Product, _ *Cabinet) { p.Shape.Diameter = 0.09 },
			"cheese":        func(p *profile.Product, _ *Cabinet) { p.Species = profile.Dairy; p.Shape.Diameter = 0.2 },
		},
	},
	{
		"never-ends",
		changes{
			"core above chamber":  func(p *profile.Product, _ *Cabinet) { p.Stages[2].ChamberSetpoint = 70 },
			"core beside chamber": func(p *profile.Product, _ *Cabinet) { p.Stages[2].ChamberSetpoint = 71.5 },
			"as cold as ice":      func(p *profile.Product, _ *Cabinet) { p.Stages[3].Until = all(coreAtMost(0)) },
			"cold in a warm room": func(p *profile.Product, _ *Cabinet) { p.Stages[3].Place = profile.Room },
			"smoke alone": func(p *profile.Product, _ *Cabinet) {
				p.Stages[1].Heat = false
				p.Stages[1].Until = all(coreAtLeast(60))
			},
			"lukewarm lethality": func(p *profile.Product, _ *Cabinet) {
				p.Stages[2].ChamberSetpoint = 54
				p.Stages[2].Until = all(logs(6.5))
			},
			"uncounted species": func(p *profile.Product, _ *Cabinet) { p.Species = profile.Fish },
			"two impossible": func(p *profile.Product, _ *Cabinet) {
				p.Stages[2].ChamberSetpoint = 54
				p.Stages[2].Until = either(logs(6.5), coreAtLeast(70))
			},
		},
		changes{
			"time is enough": func(p *profile.Product, _ *Cabinet) {
				p.Stages[2].ChamberSetpoint = 70
				p.Stages[2].Until = either(coreAtLeast(70), after(time.Hour))
			},
			"cold in a cold room": func(p *profile.Product, c *Cabinet) { p.Stages[3].Place = profile.Room; c.HasAmbient = true },
			"game counts":         func(p *profile.Product, _ *Cabinet) { p.Species = profile.Game },
		},
	},
	{
		"no-within",
		changes{
			"cook":  func(p *profile.Product, _ *Cabinet) { p.Stages[2].Within = 0 },
			"chill": func(p *profile.Product, _ *Cabinet) { p.Stages[3].Within = 0 },
		},
		changes{"by time": func(p *profile.Product, _ *Cabinet) {
			p.Stages[2].Within = 0
			p.Stages[2].Until = all(after(time.Hour))
		}},
	},
	{
		"within-short",
		changes{
			"cook":  func(p *profile.Product, _ *Cabinet) { p.Stages[2].Within = 10 * time.Minute },
			"chill": func(p *profile.Product, _ *Cabinet) { p.Stages[3].Within = 5 * time.Minute },
		},
		changes{
			"air dries and cools": func(p *profile.Product, _ *Cabinet) {
				p.Stages[3].Place, p.Stages[3].Within = profile.ColdRoom, time.Hour
			},
		},
	},
	{
		"core-low",
		changes{
			"red meat, core alone": func(p *profile.Product, _ *Cabinet) { coreOnly(p, 65) },
			"red meat, five logs":  func(p *profile.Product, _ *Cabinet) { p.Stages[2].Until = all(logs(5)) },
			"red meat, by time":    func(p *profile.Product, _ *Cabinet) { p.Stages[2].Until = all(after(2 * time.Hour)) },
			"red meat, any": func(p *profile.Product, _ *Cabinet) {
				p.Stages[2].Until = either(coreAtLeast(72), after(2*time.Hour))
			},
			"red meat, short hold": func(p *profile.Product, _ *Cabinet) {
				coreOnly(p, 60)
				hold(p, 62, coreAtLeast(60), after(11*time.Minute))
			},
			"red meat, cool hold": func(p *profile.Product, _ *Cabinet) {
				coreOnly(p, 60)
				hold(p, 58, after(time.Hour))
			},
			"red meat, 54 °C for a day": func(p *profile.Product, _ *Cabinet) {
				coreOnly(p, 54)
				hold(p, 56, after(24*time.Hour))
			},
			"cured poultry":   func(p *profile.Product, _ *Cabinet) { reset(p, profile.Poultry, 71) },
			"uncured poultry": func(p *profile.Product, _ *Cabinet) { uncured(p); reset(p, profile.Poultry, 73) },
			"fish, no hold":   func(p *profile.Product, _ *Cabinet) { reset(p, profile.Fish, 64) },
			"fish, short hold": func(p *profile.Product, _ *Cabinet) {
				reset(p, profile.Fish, 64)
				hold(p, 70, coreAtLeast(63), after(20*time.Minute))
			},
			"game": func(p *profile.Product, _ *Cabinet) { reset(p, profile.Game, 70) },
		},
		changes{
			"red meat, instant": func(p *profile.Product, _ *Cabinet) { coreOnly(p, 70) },
			"red meat, held": func(p *profile.Product, _ *Cabinet) {
				coreOnly(p, 60)
				hold(p, 63, coreAtLeast(60), after(12*time.Minute))
			},
			"red meat, lethality": func(p *profile.Product, _ *Cabinet) { p.Stages[2].Until = all(logs(6.5)) },
			"cured poultry":       func(p *profile.Product, _ *Cabinet) { reset(p, profile.Poultry, 71.2) },
			"uncured poultry":     func(p *profile.Product, _ *Cabinet) { uncured(p); reset(p, profile.Poultry, 74) },
			"uncured poultry, held": func(p *profile.Product, _ *Cabinet) {
				uncured(p)
				reset(p, profile.Poultry, 71.2)
				hold(p, 77, coreAtLeast(71.2), after(time.Minute))
			},
			"fish, held": func(p *profile.Product, _ *Cabinet) {
				reset(p, profile.Fish, 63)
				hold(p, 70, coreAtLeast(63), after(30*time.Minute))
			},
			"game": func(p *profile.Product, _ *Cabinet) { reset(p, profile.Game, 74) },
			"cheese": func(p *profile.Product, _ *Cabinet) {
				p.Species = profile.Dairy
				p.Stages[2].Until = all(after(time.Hour))
			},
		},
	},
	{
		"target-open",
		changes{
			"core":      func(p *profile.Product, _ *Cabinet) { p.Targets.Core = 72 },
			"lethality": func(p *profile.Product, _ *Cabinet) { p.Targets.Core = 66; p.Stages[2].Until = all(coreAtLeast(66)) },
		},
		changes{
			"hot core covers it": func(p *profile.Product, _ *Cabinet) { p.Stages[2].Until = all(coreAtLeast(70)) },
		},
	},
	{
		"species",
		changes{
			"chicken as red meat": func(p *profile.Product, _ *Cabinet) { p.Formula.Cut[1].Name = "Chicken thighs" },
			"goose fat":           func(p *profile.Product, _ *Cabinet) { p.Formula.Cut[1].Name = "goose fat" },
			"wild boar":           func(p *profile.Product, _ *Cabinet) { p.Formula.Cut[0].Name = "boar shoulder" },
			"of what":             func(p *profile.Product, _ *Cabinet) { p.Formula.Cut[0].Name = "mechanically separated meat" },
			"eel":                 func(p *profile.Product, _ *Cabinet) { p.Formula.Cut[0].Name = "smoked eel" },
		},
		changes{
			"as it is":         func(*profile.Product, *Cabinet) {},
			"chicken":          func(p *profile.Product, _ *Cabinet) { p.Species = profile.Poultry; p.Formula.Cut[0].Name = "chicken" },
			"pork in turkey":   func(p *profile.Product, _ *Cabinet) { p.Species = profile.Poultry; p.Formula.Cut[0].Name = "pork" },
			"venison as game":  func(p *profile.Product, _ *Cabinet) { p.Species = profile.Game; p.Formula.Cut[0].Name = "venison" },
			"a lookalike word": func(p *profile.Product, _ *Cabinet) { p.Formula.Cut[0].Name = "chickling shoulder" },
		},
	},
	{
		"dry-cook",
		changes{
			"open":      func(p *profile.Product, _ *Cabinet) { slab(p, profile.RedMeat, 0.04); p.Stages[2].Damper = 1 },
			"never set": func(p *profile.Product, _ *Cabinet) { slab(p, profile.RedMeat, 0.04); p.Stages[2].HasDamper = false },
			"brief":     func(p *profile.Product, _ *Cabinet) { slab(p, profile.RedMeat, 0.01) },
			"all of the cook, less than half since loading": func(p *profile.Product, _ *Cabinet) {
				slab(p, profile.RedMeat, 0.04)
				p.Stages[2].Until.Conditions = append(p.Stages[2].Until.Conditions, after(90*time.Minute))
			},
		},
		changes{
			"shut": func(p *profile.Product, _ *Cabinet) {
				slab(p, profile.RedMeat, 0.04)
				p.Stages[2].Until.Conditions = append(p.Stages[2].Until.Conditions, after(150*time.Minute))
			},
			"moist": func(p *profile.Product, _ *Cabinet) {
				slab(p, profile.RedMeat, 0.04)
				p.Stages[2].HasDamper = false
				p.Stages[2].HasHumidity, p.Stages[2].Humidity = true, 0.92
				p.Stages[2].Until.Conditions = append(p.Stages[2].Until.Conditions, after(90*time.Minute))
			},
			"casing": func(p *profile.Product, _ *Cabinet) { p.Stages[2].HasDamper = false },
			"fish":   func(p *profile.Product, _ *Cabinet) { slab(p, profile.Fish, 0.04); p.Stages[2].Damper = 1 },
		},
	},
	{
		"no-chill",
		changes{
			"none":         func(p *profile.Product, _ *Cabinet) { p.Stages = p.Stages[:3] },
			"by the clock": func(p *profile.Product, _ *Cabinet) { p.Stages[3].Until = all(after(20 * time.Minute)) },
			"no limits":    func(p *profile.Product, _ *Cabinet) { p.Targets.Chill = profile.NoChillRule },
		},
		changes{
			"cheese": func(p *profile.Product, _ *Cabinet) { p.Species = profile.Dairy; p.Stages = p.Stages[:2] },
		},
	},
	{
		"chill-end",
		changes{
			"cured":   func(p *profile.Product, _ *Cabinet) { p.Stages[3].Until = all(coreAtMost(8)) },
			"uncured": func(p *profile.Product, _ *Cabinet) { p.Targets.Chill = profile.ChillUncured },
			"retail":  func(p *profile.Product, _ *Cabinet) { p.Targets.Chill = profile.ChillRetail },
		},
		changes{
			"cured": func(p *profile.Product, _ *Cabinet) { p.Stages[3].Until = all(coreAtMost(7.2)) },
			"uncured": func(p *profile.Product, _ *Cabinet) {
				p.Targets.Chill = profile.ChillUncured
				p.Stages[3].Until = all(coreAtMost(4.4))
			},
			"two steps": func(p *profile.Product, _ *Cabinet) {
				p.Stages[3].Until = all(coreAtMost(20))
				p.Stages[4].Until = all(coreAtMost(5))
			},
		},
	},
	{
		"chill-cure",
		changes{
			"no cure":     func(p *profile.Product, _ *Cabinet) { p.Formula.Cure = profile.Cure{} },
			"little cure": func(p *profile.Product, _ *Cabinet) { p.Formula.Cure.Mass = 0.007 },
		},
		changes{
			"enough":  func(p *profile.Product, _ *Cabinet) { p.Formula.Cure.Mass = 0.0081 },
			"uncured": func(p *profile.Product, _ *Cabinet) { uncured(p) },
		},
	},
	{
		"heat-after-chill",
		changes{
			"warmed again": func(p *profile.Product, _ *Cabinet) { insert(p, 4, p.Stages[1]) },
		},
		changes{
			"cold before": func(p *profile.Product, _ *Cabinet) {
				insert(p, 0, profile.Stage{Name: "hang", Place: profile.ColdRoom, Until: all(after(9 * time.Hour))})
			},
		},
	},
}

func codesOf(p *profile.Product, c Cabinet) map[string]bool {
	codes := map[string]bool{}
	for _, f := range Product(p, "test.yaml", c) {
		codes[f.Code] = true
	}
	return codes
}

func TestLintFindsNothingInASoundProduct(t *testing.T) {
	assert.Empty(t, Product(ringSausage(), "test.yaml", Cabinet{}))
}

func TestLintRules(t *testing.T) {
	tested := map[string]bool{}
	for _, c := range lintCases {
		tested[c.code] = true
		require.NotEmpty(t, c.bad, c.code)
		for name, change := range c.bad {
			t.Run(c.code+"/finds "+name, func(t *testing.T) {
				p, context := ringSausage(), Cabinet{}
				change(p, &context)
				assert.True(t, codesOf(p, context)[c.code], "found only %v", Product(p, "test.yaml", context))
			})
		}
		for name, change := range c.good {
			t.Run(c.code+"/passes "+name, func(t *testing.T) {
				p, context := ringSausage(), Cabinet{}
				change(p, &context)
				assert.False(t, codesOf(p, context)[c.code], "%v", Product(p, "test.yaml", context))
			})
		}
	}
	for _, rule := range rules {
		assert.True(t, tested[rule.code], "rule %s has no case", rule.code)
	}
	assert.Len(t, tested, len(rules), "two rules of one code, or a case without a rule")
}

// Minutes and seconds of FSIS Appendix A (1999), 6.5-log column, by °F.
func TestLintHoldsRedMeatToTheTable(t *testing.T) {
	for fahrenheit, want := range map[float64]time.Duration{
		130: 112 * time.Minute, 133: 56 * time.Minute, 138: 18 * time.Minute, 140: 12 * time.Minute, 145: 4 * time.Minute,
		147: 134 * time.Second, 150: 67 * time.Second, 153: 34 * time.Second, 157: 14 * time.Second,
	} {
		assert.Equal(t, want, lethality.RedMeatCriterion().HoldAt(quantity.FromFahrenheit(fahrenheit)), "%v °F", fahrenheit)
	}
	assert.Greater(t, lethality.RedMeatCriterion().HoldAt(54), 1000*time.Hour, "below the first row no time counts")
}

// What is advised is what a start waits for where the file names nothing, to the minute,
// and the advice says so.
func TestCureRestIsWhatAStartWaitsFor(t *testing.T) {
	for _, m := range []profile.CureMethod{profile.Comminuted, profile.Pumped, profile.Immersed, profile.DryRubbed} {
		for _, other := range [][]profile.Ingredient{nil, {{Name: "sodium erythorbate", Mass: 0.0025, As: profile.Accelerator}},
			{{Name: "ascorbic acid", Mass: 0.002, As: profile.AscorbicAcid}}} {
			p := &profile.Product{Formula: profile.Formula{Cut: []profile.Meat{{Mass: 5}},
				Cure: profile.Cure{Mass: 0.0125, Nitrite: 0.0625, Method: m}, Other: other}}
			d, why := p.Rest()
			found := cureRest(&linting{Product: p})
			if assert.Len(t, found, 1, m) {
				assert.Contains(t, found[0].message, "at least "+quantity.FormatDuration(d)+": "+why)
			}
			p.Formula.Cure.Rest = d
			assert.Empty(t, cureRest(&linting{Product: p}), m)
			p.Formula.Cure.Rest = d - time.Minute
			assert.Len(t, cureRest(&linting{Product: p}), 1, m)
		}
	}
}

func TestCureRestSaysWhatIsInTheMiddle(t *testing.T) {
	p := &profile.Product{Shape: profile.Shape{Form: profile.Cylinder, Diameter: 0.16}, Formula: profile.Formula{Cut: []profile.Meat{{Mass: 5, Water: 0.7}},
		Cure: profile.Cure{Mass: 0.02, Nitrite: 0.0625, Method: profile.DryRubbed, Rest: 48 * time.Hour}}}
	found := cureRest(&linting{Product: p})
	require.Len(t, found, 1)
	assert.Contains(t, found[0].message, "salt has to come to the middle of 160 mm")
	assert.Contains(t, found[0].message, "after 48 h the middle has 0 %")
}

func TestLintSaysWhereAndWhat(t *testing.T) {
	p := ringSausage()
	p.Stages[2].Within = 0
	p.Formula.Cure.Rest = 0
	faults := Product(p, "ring.yaml", Cabinet{})
	require.Len(t, faults, 2)
	assert.Equal(t, 1, faults[0].Line)
	assert.Equal(t, 12, faults[1].Line, "the line of the stage")
	for _, f := range faults {
		assert.Equal(t, "ring.yaml", f.File)
		assert.Equal(t, source.Warning, f.Severity)
		assert.Equal(t, 1, f.Column)
	}
}

// Whatever a product file may hold, lint answers in whole sentences.
func TestLintOfAnyProduct(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ringSausage()
		p.Shape = profile.Shape{
			Form: profile.Form(rapid.IntRange(1, 3).Draw(t, "form")), Casing: profile.Casing(rapid.IntRange(0, 6).Draw(t, "casing")),
			Diameter: 0.02, Thickness: quantity.Meters(rapid.Float64Range(0.005, 0.3).Draw(t, "thickness")), Length: 0.4, Width: 0.4,
		}
		p.Species = profile.Species(rapid.IntRange(1, 5).Draw(t, "species"))
		p.Formula.Cure.Method = profile.CureMethod(rapid.IntRange(0, 4).Draw(t, "method"))
		if rapid.Bool().Draw(t, "only water") {
			p.Formula = profile.Formula{Cut: []profile.Meat{{Name: "water", Mass: 1, Water: 1}}}
		}
		for i := range p.Stages {
			s := &p.Stages[i]
			s.Heat = rapid.Bool().Draw(t, "heat")
			s.Smoke = rapid.Bool().Draw(t, "smoke")
			s.Place = profile.Place(rapid.IntRange(1, 4).Draw(t, "place"))
			s.ChamberSetpoint = quantity.Celsius(rapid.Float64Range(0, 130).Draw(t, "chamber"))
			s.Until.Any = rapid.Bool().Draw(t, "any")
			s.Until.Conditions = nil
			for range rapid.IntRange(1, 3).Draw(t, "conditions") {
				s.Until.Conditions = append(s.Until.Conditions, profile.Condition{
					Kind: profile.ConditionKind(rapid.IntRange(1, 5).Draw(t, "kind")), Core: quantity.Celsius(rapid.Float64Range(0, 100).Draw(t, "core")),
					Lethality: 6.5, After: time.Hour, Confirm: "done?",
				})
			}
		}
		last := 0
		for _, f := range Product(p, "any.yaml", Cabinet{}) {
			if f.Line < last || f.Severity != map[bool]source.Severity{true: source.Error, false: source.Warning}[f.Code == "chill-cure"] || f.Message == "" || f.Remedy == "" || strings.Contains(f.Error(), "%!") {
				t.Fatalf("%+v", f)
			}
			last = f.Line
		}
	})
}

func ExampleProduct() {
	p := ringSausage()
	p.Stages[2].ChamberSetpoint = 88
	for _, f := range Product(p, "ring.yaml", Cabinet{Filling: time.Hour}) {
		fmt.Println(f)
	}
	// Output:
	// ring.yaml:11:1: filling: by the end of stage "smoke" the generator has to smoke for 1 h 30 min in one go, but a filling lasts 1 h (one filling of the smoke generator); shorten the smoke, or split it and ask for a new filling with ask
	// ring.yaml:12:1: fat-out: stage "cook" heats the chamber to 88 °C; above about 85 °C fat runs out of a sausage (common practice, no source); lower the chamber and give the stage more time
}
