package proof_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// ride follows a core that jumps between temperatures and stays there, a step each second.
type ride struct {
	proof.Claiming
	line proof.Line
}

func newRide() *ride {
	return &ride{line: proof.Line{Step: time.Second, ColdSeen: true, HotSeen: true, Unbroken: true, Learnt: true, ColdTo: 4, HotTo: 4}}
}

// stay keeps the core at a temperature, in a chamber that was read.
func (c *ride) stay(r *proof.Rules, core, chamber quantity.Celsius, stay time.Duration) *ride {
	l := &c.line
	l.Air = proof.Air{Loaded: true, Seen: true, Chamber: chamber}
	for end := l.Now + stay; l.Now < end; {
		l.Now += l.Step
		l.ColdFrom, l.HotFrom, l.ColdTo, l.HotTo = l.ColdTo, l.HotTo, core, core
		c.Follow(r, l)
	}
	return c
}

// along brings the core along a straight line to another temperature.
func (c *ride) along(r *proof.Rules, core, chamber quantity.Celsius, took time.Duration) *ride {
	l := &c.line
	l.Air = proof.Air{Loaded: true, Seen: true, Chamber: chamber}
	from, steps := l.ColdTo, took/l.Step
	for i := range steps {
		l.Now += l.Step
		at := from + (core-from)*quantity.Celsius(i+1)/quantity.Celsius(steps)
		l.ColdFrom, l.HotFrom, l.ColdTo, l.HotTo = l.ColdTo, l.HotTo, at, at
		c.Follow(r, l)
	}
	return c
}

func (c *ride) over(r *proof.Rules, complete bool) proof.Verdict {
	c.line.Over, c.line.Complete = true, complete
	c.Follow(r, &c.line)
	return proof.Judge(r, &c.Claim, true)
}

// plain is a pork loin without a cure, cooked to 66 °C.
func plain(chill profile.ChillRule) *profile.Product {
	return &profile.Product{
		Species: profile.RedMeat, Targets: profile.Targets{HasCore: true, Core: 66, Chill: chill},
		Shape:   profile.Shape{Form: profile.Cylinder, Diameter: 0.08, Length: 0.3},
		Formula: profile.Formula{Cut: []profile.Meat{{Name: "loin of pork", Mass: 3, Water: .72, Protein: .21, Fat: .06}}},
		Stages:  []profile.Stage{{Name: "cook", Heat: true, ChamberSetpoint: 80}, {Name: "end"}},
	}
}

// Two hours between 4 and 60 °C are what FSIS allows raw meat ("Danger Zone"); counted is the
// product, and not what the chamber was set to: what is being cooked in a hotter chamber goes
// by the come-up.
func TestUncuredInTheWarm(t *testing.T) {
	for name, c := range map[string]struct {
		change  func(*profile.Product)
		run     func(*ride, *proof.Rules)
		answer  proof.Answer
		minutes float64
	}{
		"two hours":               {nil, func(c *ride, r *proof.Rules) { c.stay(r, 20, 30, 2*time.Hour) }, proof.Met, 120},
		"a minute more":           {nil, func(c *ride, r *proof.Rules) { c.stay(r, 20, 30, 121*time.Minute) }, proof.NotMet, 121},
		"cold in a warm chamber":  {nil, func(c *ride, r *proof.Rules) { c.stay(r, 3, 30, 5*time.Hour) }, proof.Met, 0},
		"set to 80, and not hot":  {nil, func(c *ride, r *proof.Rules) { c.stay(r, 20, 45, 3*time.Hour) }, proof.NotMet, 180},
		"cooked in a hot chamber": {nil, func(c *ride, r *proof.Rules) { c.stay(r, 40, 80, 5*time.Hour) }, proof.Met, 0},
		"twice an hour and a bit": {nil, func(c *ride, r *proof.Rules) {
			c.stay(r, 20, 30, time.Hour).stay(r, 20, 70, time.Hour).stay(r, 20, 30, 61*time.Minute)
		}, proof.NotMet, 121},
		"after it was cooked": {nil, func(c *ride, r *proof.Rules) { c.stay(r, 71, 80, time.Minute).stay(r, 30, 20, 5*time.Hour) }, proof.Met, 0.3},
		"cured": {func(p *profile.Product) {
			p.Formula.Cure = profile.Cure{Mass: 0.0075, Nitrite: 0.0625, Method: profile.DryRubbed}
		}, func(c *ride, r *proof.Rules) { c.stay(r, 20, 30, 5*time.Hour) }, proof.DoesNotApply, 300},
		"no core, no chamber read": {nil, func(c *ride, r *proof.Rules) {
			c.line.ColdSeen = false
			c.stay(r, 20, 90, 0)
			for range int((121 * time.Minute).Seconds()) {
				c.line.Now += time.Second
				c.line.Air = proof.Air{Loaded: true}
				c.Follow(r, &c.line)
			}
		}, proof.NotMet, 121},
	} {
		p := plain(profile.ChillUncured)
		if c.change != nil {
			c.change(p)
		}
		r := proof.RulesOf(p, profile.NoJurisdiction, 0)
		run := newRide()
		c.run(run, &r)
		v := run.over(&r, false)
		assert.Equal(t, c.answer, v[proof.Process].Answer, "%s: %s", name, v[proof.Process].Why)
		assert.InDelta(t, c.minutes, run.Warm.Minutes(), 0.5, name)
		if c.answer == proof.NotMet {
			assert.False(t, v.Good(), name)
		}
	}
	// The first edition counted none of it.
	p := plain(profile.ChillUncured)
	r := proof.First.RulesOf(p, profile.NoJurisdiction, 0)
	assert.Equal(t, proof.DoesNotApply, newRide().stay(&r, 20, 30, 3*time.Hour).over(&r, true)[proof.Process].Answer)
	// A pinch of cure protects nothing: 40 ppm have some effect (FSIS Directive 7620.3, p. 12).
	for grams, want := range map[quantity.Kilograms]bool{0.000119: true, 0.00012: false} {
		p.Formula.Cure = profile.Cure{Mass: grams, Nitrite: 1, Method: profile.DryRubbed} // on 3 kg
		assert.Equal(t, want, p.Uncured(), "%v", grams)
	}
	// Fish is protected by 2.5 % salt in its water (Maine ch. 359, packed in air).
	fish := plain(profile.ChillRetail)
	fish.Species = profile.Fish
	assert.True(t, fish.Uncured())
	fish.Formula.Other = []profile.Ingredient{{Name: "salt", Mass: 0.0554, As: profile.Salt}} // 55.4 / (55.4 + 2160) = 2.501 %
	assert.False(t, fish.Uncured())
	fish.Formula.Other[0].Mass = 0.0553
	assert.True(t, fish.Uncured())
}

// Kept at 57.2 °C (135 °F, the end of the Food Code's zone of danger) or eaten within two
// hours below; and a person has to say that it was eaten.
func TestServedHot(t *testing.T) {
	r := proof.RulesOf(plain(profile.ServedHot), profile.NoJurisdiction, 0)
	cooked := func() *ride { return newRide().stay(&r, 30, 80, time.Hour).stay(&r, 71, 80, 10*time.Minute) }
	for name, c := range map[string]struct {
		run      *ride
		complete bool
		want     proof.Answer
		why      string
	}{
		"held hot and eaten":       {cooked().stay(&r, 57.3, 80, 9*time.Hour), true, proof.Met, "a person said that it was eaten"},
		"eaten in two hours":       {cooked().stay(&r, 30, 20, 2*time.Hour), true, proof.Met, "2 h of 2 h below 57.2 °C"},
		"a minute later":           {cooked().stay(&r, 30, 20, 121*time.Minute), true, proof.NotMet, "2 h 1 min"},
		"hot again in between":     {cooked().stay(&r, 30, 20, 61*time.Minute).stay(&r, 65, 80, time.Hour).stay(&r, 30, 20, time.Hour), true, proof.NotMet, "2 h 1 min"},
		"nobody said so":           {cooked().stay(&r, 60, 80, time.Hour), false, proof.NotShown, "nobody said that it was eaten"},
		"raw":                      {newRide().stay(&r, 40, 80, time.Hour), true, proof.NotShown, "it is not cooked"},
		"the probe is out to eat":  {unseen(cooked(), &r, time.Hour), true, proof.Met, "1 h of 2 h"},
		"and nobody sees it for 3": {unseen(cooked(), &r, 3*time.Hour), true, proof.NotMet, "3 h of 2 h"},
	} {
		v := c.run.over(&r, c.complete)
		assert.Equal(t, c.want, v[proof.Chilled].Answer, "%s: %s", name, v[proof.Chilled].Why)
		assert.Contains(t, v[proof.Chilled].Why, c.why, name)
		assert.Equal(t, c.want == proof.Met, v.Holds(proof.Chilled), name)
	}
	// A probe that may read half a kelvin too much must show so much more.
	off := proof.RulesOf(plain(profile.ServedHot), profile.NoJurisdiction, 0.5)
	v := newRide().stay(&off, 30, 80, time.Hour).stay(&off, 71, 80, 10*time.Minute).stay(&off, 57.3, 80, 3*time.Hour).over(&off, true)
	assert.Equal(t, proof.NotMet, v[proof.Chilled].Answer)
}

func unseen(c *ride, r *proof.Rules, stay time.Duration) *ride {
	c.line.ColdSeen, c.line.HotSeen = false, false
	c.stay(r, 20, 20, stay)
	return c
}

// Spores live through the cook: what cools in a stage that still heats, and is warmed up
// before the chill, has cooled all the same.
func TestCoolingCountsFromTheCookedCoreOn(t *testing.T) {
	course := func(r *proof.Rules) proof.Verdict {
		c := newRide().stay(r, 30, 80, time.Hour).stay(r, 71, 80, 10*time.Minute)
		c.stay(r, 45, 45, 6*time.Hour) // smoked on, where C. perfringens grows fastest
		c.stay(r, 58, 80, 10*time.Minute)
		c.line.Chilling = true
		c.stay(r, 3, 1, 20*time.Minute)
		return c.over(r, true)
	}
	r := proof.RulesOf(plain(profile.ChillUncured), profile.NoJurisdiction, 0)
	v := course(&r)
	assert.Equal(t, proof.NotMet, v[proof.Chilled].Answer, v[proof.Chilled].Why)
	old := proof.First.RulesOf(plain(profile.ChillUncured), profile.NoJurisdiction, 0)
	v = course(&old)
	assert.Equal(t, proof.Met, v[proof.Chilled].Answer, "as it was judged when it was made")
}

// Which text holds where: package chilling cites them. Where a place has none, the verdict
// says whose it goes by.
// A core that by its probe was not quite cooked may have been: what it cools by then counts, and
// the come-up goes on beside it. FSIS Appendix B, option 1: 130 to 80 °F in 1.5 h.
func TestItCoolsOnceItMayHaveBeenCooked(t *testing.T) {
	rules := proof.RulesOf(plain(profile.ChillUncured), profile.UnitedStates, 0.5)
	ride := func(r proof.Rules, cold time.Duration) proof.Verdict {
		c := newRide().along(&r, 62.8, 80, 2*time.Hour).stay(&r, 62.8, 80, time.Minute) // of 145 °F, which asks for four
		c.along(&r, 40, 40, time.Hour).stay(&r, 40, 40, cold)
		c.along(&r, 70, 80, time.Hour).stay(&r, 70, 80, 10*time.Minute)
		c.line.Chilling = true
		c.along(&r, 20, 80, time.Hour).along(&r, 2, 80, 2*time.Hour).stay(&r, 2, 80, time.Hour)
		return c.over(&r, true)
	}
	v := ride(rules, 2*time.Hour)
	assert.Equal(t, proof.Met, v[proof.Cooked].Answer, v[proof.Cooked].Why)
	assert.Equal(t, proof.NotMet, v[proof.Chilled].Answer, v[proof.Chilled].Why)
	v = ride(rules, 0)
	assert.Equal(t, proof.Met, v[proof.Chilled].Answer, v[proof.Chilled].Why)
	before := proof.OneProbe.RulesOf(plain(profile.ChillUncured), profile.UnitedStates, 0.5)
	v = ride(before, 2*time.Hour)
	assert.Equal(t, proof.Met, v[proof.Chilled].Answer, "a batch that began before is held to what was so then: %s", v[proof.Chilled].Why)
}

func TestWhoseCoolingItIsHeldTo(t *testing.T) {
	intact, cured := plain(profile.ChillUncured), *rules(t, "marjoram-ring").Product
	pumped := plain(profile.ChillUncured)
	pumped.Formula.Cure = profile.Cure{Mass: 0.01, Nitrite: .0625, Method: profile.Pumped}
	fish := plain(profile.ChillUncured)
	fish.Species = profile.Fish
	for _, c := range []struct {
		product *profile.Product
		own     profile.Jurisdiction
		set     profile.Jurisdiction
		want    *chilling.Rule
		says    string
	}{
		{intact, profile.NoJurisdiction, profile.NoJurisdiction, chilling.Uncured(), "option 1:"},
		{intact, profile.NoJurisdiction, profile.Canada, chilling.CanadaIntact(), "Canada, intact muscle:"},
		{intact, profile.UnitedStates, profile.Canada, chilling.Uncured(), "option 1:"},
		{intact, profile.NoJurisdiction, profile.AustraliaNewZealand, chilling.ScarmUncured(), "SCARM, uncured:"},
		{intact, profile.AustraliaNewZealand, profile.UnitedStates, chilling.ScarmUncured(), "SCARM, uncured:"},
		{intact, profile.NoJurisdiction, profile.UnitedKingdom, chilling.ScarmUncured(), "SCARM, uncured:"},
		{intact, profile.NoJurisdiction, profile.EuropeanUnion, chilling.Uncured(), "option 1 of the US, as no figure of EU for such a product is known here:"},
		{intact, profile.NoJurisdiction, 200, chilling.Uncured(), "option 1 of the US, as no figure of none"},
		{pumped, profile.NoJurisdiction, profile.Canada, chilling.Uncured(), "option 1 of the US, as no figure of Canada"},
		{&cured, profile.NoJurisdiction, profile.Canada, chilling.CanadaCured(), "Canada, cured:"},
		{&cured, profile.NoJurisdiction, profile.UnitedKingdom, chilling.ScarmCured(), "SCARM, cured:"},
		{&cured, profile.NoJurisdiction, profile.UnitedStates, chilling.Cured(), "option 3, cured:"},
		{fish, profile.NoJurisdiction, profile.AustraliaNewZealand, chilling.Uncured(), "option 1 of the US"},
	} {
		p := *c.product
		p.Jurisdiction = c.own
		r := proof.RulesOf(&p, c.set, 0)
		assert.Same(t, c.want, r.Chill, "%+v", c)
		assert.Contains(t, proof.Judge(&r, &proof.Claim{}, true)[proof.Chilled].Why, c.says)
		book := proof.BookOf(&p)
		assert.Equal(t, r, book.Rules(proof.Current, c.set, 0), "%+v", c)
		first := proof.First.RulesOf(&p, c.set, 0.5)
		assert.Equal(t, first, book.Rules(proof.First, c.set, 0.5))
		assert.Equal(t, p.ChillRule(profile.UnitedStates), first.Chill, "batches of before go by the United States")
		later := book.Rules(250, c.set, 0)
		assert.Equal(t, proof.Current, later.Edition)
	}
}

// SCARM asks cured product for 2.5 % salt in its water: 18 g of salt on 1 kg of meat that is
// 70 % water are 2.51 %, 17 g are 2.37 % (own sums). A recipe with less does not show it.
func TestTheSaltThatAWayToChillAsksFor(t *testing.T) {
	for salt, want := range map[quantity.Kilograms]proof.Answer{0.0180: proof.Met, 0.0170: proof.NotShown} {
		p := &profile.Product{Species: profile.RedMeat, Jurisdiction: profile.AustraliaNewZealand, Targets: profile.Targets{HasCore: true, Core: 71, Chill: profile.ChillCured},
			Formula: profile.Formula{Cut: []profile.Meat{{Mass: 1, Water: .7, Protein: .2, Fat: .1}}, Cure: profile.Cure{Mass: 0.00012, Nitrite: 1, Method: profile.Comminuted},
				Other: []profile.Ingredient{{Mass: salt, As: profile.Salt}}}}
		r := proof.RulesOf(p, profile.NoJurisdiction, 0)
		claim := proof.Claim{Chill: r.Chill.Over([]chilling.Point{{At: 0, Temperature: 70}, {At: time.Hour, Temperature: 4}})}
		require.True(t, r.Chill.Pass(claim.Chill))
		j := proof.Judge(&r, &claim, true)[proof.Chilled]
		assert.Equal(t, want, j.Answer, "%v: %s", salt, j.Why)
	}
}

// What a heated stage brings to a core comes up, and is chilled, whatever the file aims at:
// a product that is not ready to eat is no way round either.
func TestAStageThatWaitsForACore(t *testing.T) {
	p := plain(profile.NoChillRule)
	p.Process, p.Targets = profile.NotReadyToEat, profile.Targets{}
	p.Stages[0].Until = profile.Until{Conditions: []profile.Condition{{Kind: profile.CoreAtLeast, Core: 50}}}
	r := proof.RulesOf(p, profile.NoJurisdiction, 0)
	v := newRide().stay(&r, 50, 70, 10*time.Hour).over(&r, true)
	assert.Equal(t, proof.NotMet, v[proof.CameUp].Answer)
	assert.Equal(t, proof.NotShown, v[proof.Chilled].Answer)
	assert.False(t, v.Good())
}

// A core that nobody has seen yet may be warm: time in the chamber before it counts in full.
// How one came to be warm that is warm when it is first seen, nobody knows.
func TestNobodySawItComeUp(t *testing.T) {
	r := proof.RulesOf(plain(profile.ChillUncured), profile.NoJurisdiction, 0)
	late := unseen(newRide(), &r, 5*time.Hour)
	late.line.ColdSeen, late.line.HotSeen, late.line.ColdTo, late.line.HotTo = true, true, 18, 18
	v := late.stay(&r, 18, 80, 61*time.Minute).stay(&r, 71, 80, 10*time.Minute).over(&r, false)
	assert.Equal(t, proof.NotMet, v[proof.CameUp].Answer, v[proof.CameUp].Why)
	assert.Contains(t, v[proof.CameUp].Why, "6 h 1 min of 6 h")

	warm := newRide()
	warm.line.ColdTo, warm.line.HotTo = 30, 30
	v = warm.stay(&r, 30, 80, time.Hour).stay(&r, 71, 80, 10*time.Minute).over(&r, false)
	assert.Equal(t, proof.NotShown, v[proof.CameUp].Answer, v[proof.CameUp].Why)
	assert.Contains(t, v[proof.CameUp].Why, "was warm when it was first seen")
	for celsius, want := range map[quantity.Celsius]proof.Answer{20: proof.Met, 20.6: proof.NotShown} { // 60 °F is 15.6 °C, and 5 K while the probe settles
		c := newRide()
		c.line.ColdTo, c.line.HotTo = celsius, celsius
		v = c.stay(&r, celsius, 80, time.Hour).stay(&r, 71, 80, 10*time.Minute).over(&r, false)
		assert.Equal(t, want, v[proof.CameUp].Answer, "%v", celsius)
	}
	// Batches of before are judged as they were.
	old := proof.First.RulesOf(plain(profile.ChillUncured), profile.NoJurisdiction, 0)
	c := newRide()
	c.line.ColdTo, c.line.HotTo = 30, 30
	v = c.stay(&old, 30, 80, time.Hour).stay(&old, 71, 80, 10*time.Minute).over(&old, false)
	assert.Equal(t, proof.Met, v[proof.CameUp].Answer)
}

// What is not ready to eat cools from the end of its come-up on, in stages that still heat, too.
func TestWhatIsHalfCookedCoolsAsWell(t *testing.T) {
	p := plain(profile.ChillUncured)
	p.Process = profile.NotReadyToEat
	r := proof.RulesOf(p, profile.NoJurisdiction, 0)
	c := newRide().stay(&r, 30, 80, time.Hour).stay(&r, 58, 80, 10*time.Minute).stay(&r, 45, 45, 6*time.Hour).stay(&r, 58, 80, 10*time.Minute)
	c.line.Chilling = true
	v := c.stay(&r, 3, 1, 20*time.Minute).over(&r, true)
	assert.Equal(t, proof.NotMet, v[proof.Chilled].Answer, v[proof.Chilled].Why)
}

// What was counted was counted by the plan: as it was weighed, a product may be held to
// another table, whose rows the count knows nothing of. 26 min at 137 °F are no row of
// chicken of 12 % fat, and not the 25.2 min at 140 °F of one of 1 %.
func TestWhatWasMadeIsNotWhatWasCounted(t *testing.T) {
	planned := plain(profile.ChillUncured)
	planned.Species, planned.Formula.Cut[0].Name, planned.Formula.Cut[0].Fat = profile.Poultry, "chicken", 0.12
	made := *planned
	made.Formula.Cut = []profile.Meat{{Name: "chicken", Mass: 3, Water: .75, Protein: .22, Fat: .01}}
	r := proof.RulesOf(planned, profile.NoJurisdiction, 0)
	at := quantity.FromFahrenheit(137)
	c := newRide().stay(&r, 40, 80, time.Hour).stay(&r, at, 80, 26*time.Minute)
	c.over(&r, true)
	weighed := r.MadeAs(&made)
	require.NotSame(t, planned.Criterion(), made.Criterion())
	v := proof.Judge(&weighed, &c.Claim, true)
	assert.Equal(t, proof.NotShown, v[proof.Cooked].Answer, v[proof.Cooked].Why)
	assert.Contains(t, v[proof.Cooked].Why, "as it was weighed it is held to another table (lean chicken, table row)")
	same := r.MadeAs(planned)
	assert.Equal(t, r, same)
	assert.Equal(t, r, r.MadeAs(nil))

	// A cure of which the scale shows a pinch has protected nothing, and the warmth counts.
	cured := plain(profile.ChillUncured)
	cured.Formula.Cure = profile.Cure{Mass: 0.0075, Nitrite: 0.0625, Method: profile.DryRubbed}
	pinch := *cured
	pinch.Formula.Cure.Mass = 0.0005
	r = proof.RulesOf(cured, profile.NoJurisdiction, 0)
	c = newRide().stay(&r, 20, 30, 3*time.Hour)
	assert.Equal(t, proof.DoesNotApply, c.over(&r, true)[proof.Process].Answer)
	weighed = r.MadeAs(&pinch)
	assert.Equal(t, proof.NotMet, proof.Judge(&weighed, &c.Claim, true)[proof.Process].Answer)
}
