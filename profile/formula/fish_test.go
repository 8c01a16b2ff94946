package formula_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Nitrite and nitrate are for the fish that 21 CFR 172.170, .175 and .177 name: tuna 10 ppm,
// sablefish, salmon and shad 200 with 500 ppm of nitrate, chub 100 to 200, cod roe 200 ppm of
// saltpetre. Trout, eel, mackerel and catfish are not named.
func TestNitriteInFish(t *testing.T) {
	for name, c := range map[string]struct {
		kind             fish.Kind
		cut              string
		nitrite, nitrate float64 // ppm, of the sodium salts
		want             string  // code of the error; empty for none
		remedy           string
	}{
		"salmon":             {fish.Salmon, "sides", 199, 0, "", ""},
		"salmon by its name": {fish.Unnamed, "salmon sides", 199, 0, "", ""},
		"salmon, too much":   {fish.Salmon, "sides", 210, 0, "nitrite-high", "weigh"},
		"salmon and nitrate": {fish.Salmon, "sides", 100, 499, "", ""},
		"salmon, nitrate":    {fish.Salmon, "sides", 100, 510, "nitrate-high", "weigh"},
		"shad":               {fish.Shad, "sides", 199, 0, "", ""},
		"sablefish":          {fish.Sablefish, "sides", 199, 0, "", ""},
		"tuna":               {fish.Tuna, "loins", 10, 0, "", ""},
		"tuna, too much":     {fish.Tuna, "loins", 11, 0, "nitrite-high", "weigh"},
		"tuna and nitrate":   {fish.Tuna, "loins", 10, 10, "nitrate-high", "leave the nitrate out"},
		"chub":               {fish.Chub, "sides", 150, 0, "", ""},
		"chub, too little":   {fish.Chub, "sides", 90, 0, "nitrite-low", "weigh at least"},
		"cod roe":            {fish.CodRoe, "roe", 0, 165, "", ""}, // 196.3 ppm as saltpetre
		"cod roe, too much":  {fish.CodRoe, "roe", 0, 170, "nitrate-high", "weigh"},
		"trout":              {fish.Trout, "sides", 50, 0, "nitrite-high", "leave the nitrite out and brine the fish with salt alone"},
		"trout by its name":  {fish.Unnamed, "trout sides", 50, 0, "nitrite-high", "leave the nitrite out"},
		"eel":                {fish.Eel, "eel", 50, 0, "nitrite-high", "leave the nitrite out"},
		"mackerel":           {fish.Mackerel, "mackerel", 50, 0, "nitrite-high", "leave the nitrite out"},
		"catfish":            {fish.Catfish, "catfish", 50, 0, "nitrite-high", "leave the nitrite out"},
		"nobody says which":  {fish.Unnamed, "sides", 50, 0, "nitrite-high", "name the fish: fish: {kind: salmon}"},
		"two kinds":          {fish.Unnamed, "salmon and trout sides", 50, 0, "nitrite-high", "name the fish"},
	} {
		f := meat(10)
		f.Cut[0].Name = c.cut
		f.Cure = profile.Cure{Name: "mix", Mass: 0.1, Nitrite: quantity.Ratio(c.nitrite * 1e-4), Nitrate: quantity.Ratio(c.nitrate * 1e-4), Method: profile.DryRubbed}
		v := formula.Judge(&profile.Product{Name: "p", Species: profile.Fish, Formula: f, Fish: profile.FishFacts{Kind: c.kind}}, profile.UnitedStates)
		var got source.Finding
		for _, one := range v.Findings {
			if one.Severity == source.Error {
				got = one
			}
		}
		assert.Equal(t, c.want, got.Code, "%s: %s", name, got.Message)
		assert.Contains(t, got.Remedy, c.remedy, name)
		assert.Equal(t, c.want == "", v.Pass(), name)
	}
}

// What is left in the finished fish is for an analysis where the raw batch does not show it.
func TestNitriteLeftInFishIsNotShown(t *testing.T) {
	f := meat(10)
	f.Cure = profile.Cure{Name: "mix", Mass: 0.1, Nitrite: 0.019, Method: profile.DryRubbed} // 190 ppm
	p := &profile.Product{Name: "p", Species: profile.Fish, Formula: f, Fish: profile.FishFacts{Kind: fish.Salmon}}
	v := formula.Judge(p, profile.UnitedStates)
	assert.True(t, v.Pass())
	assert.False(t, v.Shown())
	p.Formula.Cure.Nitrite = 0.010 // 100 ppm: even with half of its weight lost it is 200
	assert.True(t, formula.Judge(p, profile.UnitedStates).Shown())
	p.Fish.Kind = fish.Chub // at least 100 ppm in the loin, which only an analysis shows
	assert.False(t, formula.Judge(p, profile.UnitedStates).Shown())
}

// The salt in the water of the finished loin: Maine ch. 359, 3.5 % without air, 2.5 % in air,
// 3.0 % with 100 to 200 ppm of nitrite in it, which only some fish may have. The sums are own.
func TestLoinSalt(t *testing.T) {
	for name, c := range map[string]struct {
		pack        fish.Packing
		kind        fish.Kind
		salt, water quantity.Ratio
		nitrite     float64
		enough      bool
		remedy      string
	}{
		"3.683 % without air":      {fish.InVacuum, fish.Trout, .026, .68, 0, true, ""},
		"3.367 % without air":      {fish.InVacuum, fish.Trout, .023, .66, 0, false, "at 66 % water the loin wants 2.39 % of salt"},
		"3.367 % in air":           {fish.InAir, fish.Trout, .023, .66, 0, true, ""},
		"3.561 % without air":      {fish.InVacuum, fish.Trout, .024, .65, 0, true, ""},
		"2.511 % in air":           {fish.InAir, fish.Trout, .017, .66, 0, true, ""},
		"2.511 % without air":      {fish.InVacuum, fish.Trout, .017, .66, 0, false, "or pack it in air, with pack: air"},
		"2.2 % in air":             {fish.InAir, fish.Trout, .015, .667, 0, false, "brine it longer"},
		"salmon with nitrite":      {fish.InVacuum, fish.Salmon, .0202, .65, 120, true, ""}, // 3.0 % of 65 % is 2.010
		"salmon without":           {fish.InVacuum, fish.Salmon, .0202, .65, 0, false, "2.36 % of salt"},
		"salmon with too little":   {fish.InVacuum, fish.Salmon, .0202, .65, 99, false, ""},
		"trout may have none":      {fish.InVacuum, fish.Trout, .0202, .65, 120, false, ""},
		"nobody says how packed":   {fish.NoPacking, fish.Trout, .017, .66, 0, true, ""},
		"salt without any water":   {fish.InVacuum, fish.Trout, .017, 0, 0, true, ""},
		"2.358 % of 65 % is 3.5 %": {fish.InVacuum, fish.Trout, .02358, .65, 0, true, ""},
	} {
		p := &profile.Product{Name: "p", Species: profile.Fish, Formula: meat(10), Fish: profile.FishFacts{
			Kind: c.kind, Packed: c.pack, Loin: profile.Loin{Measured: true, Salt: c.salt, Water: c.water, NitritePPM: c.nitrite}}}
		assert.Equal(t, c.enough, formula.FishSaltOf(p).Enough(), name)
		v := formula.Judge(p, profile.UnitedStates)
		got, found := finding(v, "loin-salt")
		assert.Equal(t, !c.enough, found, name)
		assert.Equal(t, c.enough, v.Pass(), name)
		assert.Contains(t, got.Remedy, c.remedy, name)
	}
	// A recipe shows what is put on and not what is in the loin: 3 kg of 68 % water and 80 g of
	// salt are 3.77 % if all of it stays, and 2.28 % of the raw fish if three fifths do.
	p := &profile.Product{Name: "p", Species: profile.Fish, Formula: with(profile.Formula{Cut: []profile.Meat{{Name: "salmon", Mass: 3, Water: .68, Protein: .2, Fat: .11}}}, item(profile.Salt, .080))}
	assert.InDelta(t, 0.0377, float64(formula.FishSaltOf(p).Recipe), 5e-5)
	assert.False(t, formula.FishSaltOf(p).Enough())
	p.Fish.Packed = fish.InVacuum
	_, found := finding(formula.Judge(p, profile.UnitedStates), "loin-open")
	assert.True(t, found)
}

// Fermented sausage: 2.5 % of salt besides the nitrite (CFIA, as quoted). Canada decides by
// it, elsewhere it is advice. What dries by more holds more nitrite in the end.
func TestFermentedFormula(t *testing.T) {
	make := func(salt float64) *profile.Product {
		f := with(cured(meat(5), profile.Comminuted, 0.0098, 0.0625), item(profile.Salt, salt))
		return &profile.Product{Name: "p", Species: profile.RedMeat, Process: profile.FermentedAndDried, Formula: f}
	}
	for _, c := range []struct {
		salt       float64
		where      profile.Jurisdiction
		found, bad bool
	}{{0.130, profile.Canada, false, false}, {0.110, profile.Canada, true, true}, {0.110, profile.UnitedStates, true, false}, {0.130, profile.UnitedStates, false, false}} {
		v := formula.Judge(make(c.salt), c.where)
		got, found := finding(v, "ferment-salt")
		assert.Equal(t, c.found, found, "%+v", c)
		assert.Equal(t, c.bad, got.Code != "" && got.Severity == source.Error, "%+v", c)
	}
	// Without nitrite Canada has none, and elsewhere it is for the verdict to say.
	for where, bad := range map[profile.Jurisdiction]bool{profile.Canada: true, profile.UnitedStates: false} {
		p := make(0.140)
		p.Formula.Cure = profile.Cure{}
		v := formula.Judge(p, where)
		_, found := finding(v, "ferment-uncured")
		assert.Equal(t, bad, found, where.String())
		assert.Equal(t, !bad, v.Pass(), where.String())
	}
	// (2.5 % of 5.1198 kg - 119.19 g) / 97.5 % is 9.03 g
	got, _ := finding(formula.Judge(make(0.110), profile.Canada), "ferment-salt")
	assert.Contains(t, got.Remedy, "9 g more salt")

	p := make(0.130) // 119.2 ppm of the raw batch: 200 ppm when 40.4 % of it is gone
	assert.False(t, formula.Judge(p, profile.UnitedStates).Shown(), "it may lose 45 %")
	p.Stages = []profile.Stage{{Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.Confirmed, Measured: profile.DriedTo, AtMost: .66}}}}}
	assert.True(t, formula.Judge(p, profile.UnitedStates).Shown(), "it loses 34 %, and 5 % more if nobody looks")
	p.Stages[0].Until.Conditions[0].AtMost = .60
	assert.False(t, formula.Judge(p, profile.UnitedStates).Shown())
}

// A sausage that is fermented until its core is warm enough is not cooked by that: it was
// taken for cooked sausage, whose limits are others, and in the EU for heated meat.
func TestWhatIsFermentedWarmIsNotCooked(t *testing.T) {
	for process, want := range map[profile.Process]profile.Class{
		profile.FullyCooked: profile.CookedSausage, profile.NotReadyToEat: profile.UncookedSausage,
		profile.ColdSmoked: profile.UncookedSausage, profile.FermentedAndDried: profile.UncookedSausage,
	} {
		p := &profile.Product{
			Name: "p", Species: profile.RedMeat, Process: process, Formula: cured(meat(5), profile.Comminuted, 0.0098, 0.0625),
			Stages: []profile.Stage{{Name: "ripen", Heat: true, ChamberSetpoint: 24, Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.CoreAtLeast, Core: 22}}}}},
		}
		assert.Equal(t, want, formula.Judge(p, profile.UnitedStates).Class, process)
	}
}
