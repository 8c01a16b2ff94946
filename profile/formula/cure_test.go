package formula_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// cures gives a formula its cures, the first of them first.
func cures(f profile.Formula, all ...profile.Cure) profile.Formula {
	f.Cure, f.Cures = all[0], all[1:]
	return f
}

func cureOne(grams float64, m profile.CureMethod) profile.Cure {
	return profile.Cure{Name: "cure no. 1", Mass: quantity.Kilograms(grams / 1000), Nitrite: 0.0625, Method: m}
}

func cureTwo(grams float64, m profile.CureMethod) profile.Cure {
	return profile.Cure{Name: "cure no. 2", Mass: quantity.Kilograms(grams / 1000), Nitrite: 0.0625, Nitrate: 0.04, Method: m}
}

func saltpetre(grams float64, m profile.CureMethod) profile.Cure {
	return profile.Cure{Name: "saltpetre", Mass: quantity.Kilograms(grams / 1000), PotassiumNitrate: 1, Method: m}
}

// ingoing gives the check on what goes in, of nitrite or nitrate.
func ingoing(v formula.Verdict, name string) formula.Check {
	for _, c := range append([]formula.Check{v.Nitrite}, v.More...) {
		if c.Name == name && c.When == formula.Ingoing {
			return c
		}
	}
	return formula.Check{}
}

// Ratios of the salts and ions, from the atomic weights of IUPAC (own arithmetic):
// NO2/NaNO2 0.6668, KNO2/NaNO2 1.2335, NaNO3/NaNO2 1.2319, KNO3/NaNO3 1.1895, NO3/NaNO3
// 0.7295. The European Union's text prints 0.67 and 0.73.
func TestSaltsAndIons(t *testing.T) {
	one := func(c profile.Cure) profile.Curing {
		c.Name, c.Mass, c.Method = "c", 1, profile.Comminuted
		return cures(meat(1), c).Curing()
	}
	assert.InDelta(t, 0.6668, float64(one(profile.Cure{Nitrite: 1}).NitriteIon()), 5e-5)
	assert.InDelta(t, 1/1.2335, float64(one(profile.Cure{PotassiumNitrite: 1}).Nitrite()), 5e-5)
	assert.InDelta(t, 1/1.2319, float64(one(profile.Cure{Nitrate: 1}).Both()), 5e-5)
	assert.InDelta(t, 1.1895, float64(one(profile.Cure{Nitrate: 1}).NitrateAsPotassium()), 5e-5)
	assert.InDelta(t, 1/1.1895, float64(one(profile.Cure{PotassiumNitrate: 1}).Nitrate()), 5e-5)
	assert.InDelta(t, 0.7295, float64(one(profile.Cure{Nitrate: 1}).NitrateIon()), 5e-5)
	// 148 ppm of the potassium salt is what 9 CFR 424.22(b) allows beside 120 of the other.
	assert.InDelta(t, 120, float64(one(profile.Cure{PotassiumNitrite: 148e-6}).Nitrite())*1e6, 0.05)
}

// Limits of 9 CFR 424.21(c) and 424.22(b) as quoted from eCFR, the nitrate ones in ounces
// per 100 lb; the sums are own arithmetic.
func TestTheLedgerOfCures(t *testing.T) {
	for _, c := range []struct {
		name             string
		class            profile.Class
		f                profile.Formula
		nitrite, nitrate float64
		codes            []string
	}{
		{"two cures on 5 kg of minced meat", profile.CookedSausage, cures(meat(5), cureOne(12, profile.Comminuted), cureTwo(12, profile.Comminuted)),
			300, 96, []string{"nitrite-high"}},
		{"either of them alone", profile.CookedSausage, cures(meat(5), cureTwo(12, profile.Comminuted)), 150, 96, nil},
		{"10 g of saltpetre on 5 kg of minced meat", profile.UncookedSausage, cures(meat(5), saltpetre(10, profile.Comminuted)),
			0, 2000, []string{"nitrate-high", "nitrite-low"}},
		{"8.5 g of it with cure no. 1", profile.CookedSausage, cures(meat(5), cureOne(12, profile.Comminuted), saltpetre(8.5, profile.Comminuted)), 150, 1700, nil},
		{"dry cured", profile.WholeMuscle, cures(meat(5), cureTwo(40, profile.DryRubbed)), 500, 320, nil},
		{"dry cured, with too much nitrate", profile.WholeMuscle, cures(meat(5), cureOne(40, profile.DryRubbed), saltpetre(11, profile.DryRubbed)), 500, 2200, []string{"nitrate-high"}},
		{"immersed, with too much nitrate", profile.WholeMuscle, cures(meat(5), cureOne(12, profile.Immersed), saltpetre(4, profile.Immersed)), 150, 800, []string{"nitrate-high"}},
		{"pumped and rubbed: the stricter limit for both together", profile.WholeMuscle, cures(meat(5), cureOne(10, profile.Pumped), cureOne(10, profile.DryRubbed)),
			250, 0, []string{"nitrite-high"}},
		{"bacon with cure no. 2", profile.Bacon, cures(meat(5), cureTwo(12, profile.DryRubbed)), 150, 96, []string{"nitrate-high"}},
		{"bacon, immersed, not more than 120", profile.Bacon, cures(meat(5), cureOne(5, profile.Immersed)), 62.5, 0, nil},
		{"bacon, immersed, more", profile.Bacon, cures(meat(5), cureOne(10, profile.Immersed)), 125, 0, []string{"nitrite-high"}},
		{"bacon, immersed, next to none", profile.Bacon, cures(meat(5), cureOne(3, profile.Immersed)), 37.5, 0, []string{"nitrite-low"}},
		{"bacon, pumped, less than what shall be used", profile.Bacon, with(cures(meat(5), cureOne(5, profile.Pumped)), item(profile.Accelerator, 0.00275)), 62.5, 0, []string{"nitrite-low"}},
	} {
		v := formula.Judge(&profile.Product{Name: "p", Species: profile.RedMeat, Class: c.class, Formula: c.f}, profile.UnitedStates)
		assert.InDelta(t, c.nitrite, v.Nitrite.PPM, 0.01, c.name)
		assert.InDelta(t, c.nitrate, ingoing(v, "nitrate").PPM, 0.01, c.name)
		var codes []string
		for _, code := range []string{"nitrate-high", "nitrite-high", "nitrite-low"} {
			if _, found := finding(v, code); found {
				codes = append(codes, code)
			}
		}
		assert.Equal(t, c.codes, codes, c.name)
		assert.Equal(t, c.codes == nil, v.Pass(), c.name)
	}
}

// Method 2 of the handbook for a leg that lies long; the sum is own arithmetic.
func TestALegInItsPickle(t *testing.T) {
	f := longCure(cures(meat(6), cureOne(24, profile.Immersed)), item(profile.Water, 3), item(profile.Salt, 0.3), item(profile.Accelerator, 0.004))
	assert.InDelta(t, 160.8, formula.NitritePPM(f, formula.GreenWeight), 0.05)
}

// "Not more than 200 ppm in the finished product" is for an analysis, unless even all of
// what went in keeps it (9 CFR 424.21(c)); bacon has limits of its own.
func TestFinishedProduct(t *testing.T) {
	shown := func(class profile.Class, m profile.CureMethod, grams float64) (formula.Verdict, bool) {
		p := &profile.Product{Name: "p", Species: profile.RedMeat, Class: class, Targets: profile.Targets{HasCore: true, Core: 70}, Formula: cures(meat(5), cureOne(grams, m))}
		v := formula.Judge(p, profile.UnitedStates)
		_, warned := finding(v, "finished-nitrite")
		assert.Equal(t, v.Shown(), !warned)
		return v, v.Shown()
	}
	v, ok := shown(profile.CookedSausage, profile.Comminuted, 11.5)
	assert.True(t, ok)
	require.Len(t, v.More, 1)
	assert.Equal(t, formula.Finished, v.More[0].When)
	assert.Equal(t, 200., v.More[0].Limit.PPM)
	v, ok = shown(profile.WholeMuscle, profile.DryRubbed, 48) // 600 ppm, within 625
	assert.False(t, ok)
	assert.True(t, v.Pass(), "nothing is broken that a recipe shows")
	assert.Contains(t, v.More[0].Why, "analysis")
	_, ok = shown(profile.Bacon, profile.DryRubbed, 14)
	assert.True(t, ok)
}

// elsewhere gives the checks of one place on what goes in.
func elsewhere(t *testing.T, p *profile.Product, where profile.Jurisdiction) []formula.Check {
	t.Helper()
	v := formula.Judge(p, where)
	own := append([]formula.Check{v.Nitrite}, v.More...)
	for _, other := range profile.Jurisdictions() {
		if other == where {
			continue
		}
		for _, place := range formula.Judge(p, other).Elsewhere {
			if place.Where == where {
				assert.Equal(t, own, place.Checks, "a place says the same of itself and when %v rules", other)
			}
		}
	}
	return own
}

// Sums own arithmetic; limits as the rules cite them: Regulation (EU) 2023/2108 as quoted,
// SI 2007/1778, the Canadian manual as quoted. From memory: Australia and New Zealand.
func TestRulesOfOtherPlaces(t *testing.T) {
	minced := func(c ...profile.Cure) *profile.Product {
		return &profile.Product{Name: "p", Species: profile.RedMeat, Class: profile.CookedSausage, Formula: cures(meat(5), c...),
			Targets: profile.Targets{HasCore: true, Core: 70}}
	}
	raw := func(m profile.CureMethod, class profile.Class, c ...profile.Cure) *profile.Product {
		for i := range c {
			c[i].Method = m
		}
		return &profile.Product{Name: "p", Species: profile.RedMeat, Class: class, Formula: cures(meat(5), c...)}
	}
	salt := cureOne(1000*5*150e-6/0.0625, profile.Comminuted) // 150 ppm
	one, two := cureOne(12.5, profile.Comminuted), cureTwo(12.5, profile.Comminuted)
	for _, c := range []struct {
		name  string
		p     *profile.Product
		where profile.Jurisdiction
		check string
		when  formula.Moment
		ppm   float64
		word  string
	}{
		{"150 ppm in the EU", minced(salt), profile.EuropeanUnion, "nitrite", formula.Ingoing, 100.02, "not allowed"},
		{"156.25 ppm in the EU", minced(one), profile.EuropeanUnion, "nitrite", formula.Ingoing, 104.19, "not allowed"},
		{"80 of the ion is 119.98 ppm", minced(cureOne(1000*5*119.98e-6/0.0625, profile.Comminuted)), profile.EuropeanUnion, "nitrite", formula.Ingoing, 80, "allowed"},
		{"150 ppm in the UK", minced(salt), profile.UnitedKingdom, "nitrite", formula.Ingoing, 150, "allowed"},
		{"156.25 ppm in the UK", minced(one), profile.UnitedKingdom, "nitrite", formula.Ingoing, 156.25, "not allowed"},
		{"nitrate in cooked sausage in the UK", minced(two), profile.UnitedKingdom, "nitrate", formula.Ingoing, 100, "not allowed"},
		{"nitrate in raw sausage in the UK", raw(profile.Comminuted, profile.UncookedSausage, two), profile.UnitedKingdom, "nitrate", formula.Ingoing, 100, "allowed"},
		{"dry cured bacon in the UK goes by what is left", raw(profile.DryRubbed, profile.Bacon, cureOne(14, 0)), profile.UnitedKingdom, "nitrite", formula.Residual, 174.51, "not shown"},
		{"cure no. 2 in Canada", raw(profile.DryRubbed, profile.WholeMuscle, two), profile.Canada, "nitrite and nitrate", formula.Ingoing, 236.83, "not allowed"},
		{"cure no. 2 on bacon in Canada", raw(profile.DryRubbed, profile.Bacon, two), profile.Canada, "nitrite and nitrate", formula.Ingoing, 236.83, "not allowed"},
		{"saltpetre in Canada", raw(profile.DryRubbed, profile.WholeMuscle, saltpetre(10, 0)), profile.Canada, "nitrate", formula.Ingoing, 1996.01, "not allowed"},
		{"little of it", raw(profile.DryRubbed, profile.WholeMuscle, saltpetre(1, 0)), profile.Canada, "nitrate", formula.Ingoing, 199.96, "allowed"},
		{"little of it, pumped", raw(profile.Pumped, profile.WholeMuscle, saltpetre(1, 0)), profile.Canada, "nitrate", formula.Ingoing, 199.96, "not allowed"},
		{"cooked sausage in Canada", minced(salt), profile.Canada, "nitrite and nitrate", formula.Ingoing, 149.64, "allowed"},
		{"from memory, and so not shown", minced(cureOne(9, profile.Comminuted)), profile.AustraliaNewZealand, "nitrite", formula.Ingoing, 112.5, "not shown"},
		{"over what is from memory", minced(one), profile.AustraliaNewZealand, "nitrite", formula.Ingoing, 156.25, "not shown"},
	} {
		found := false
		for _, got := range elsewhere(t, c.p, c.where) {
			if got.Name != c.check || got.When != c.when || found {
				continue
			}
			found = true
			assert.InDelta(t, c.ppm, got.PPM, 0.01, c.name)
			assert.Equal(t, c.word, got.Word(), c.name)
		}
		assert.True(t, found, c.name)
	}
	// What is from memory warns.
	v := formula.Judge(minced(one), profile.AustraliaNewZealand)
	assert.True(t, v.Pass())
	assert.False(t, v.Shown())
	f, warned := finding(v, "nitrite-high")
	assert.True(t, warned)
	assert.Equal(t, source.Warning, f.Severity)
	assert.False(t, formula.Judge(minced(one), profile.EuropeanUnion).Pass())
	// A place without a rule for it says so.
	trout := &profile.Product{Name: "p", Species: profile.Fish, Formula: cures(meat(5), cureOne(12, profile.DryRubbed))}
	v = formula.Judge(trout, profile.EuropeanUnion)
	assert.False(t, v.Shown())
	assert.Contains(t, v.Nitrite.Why, "no rule of EU is known")
}
