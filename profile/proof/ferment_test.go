package proof_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// drySausage waits for a pH, then for a water activity.
func drySausage(activity float64) *profile.Product {
	measured := func(name string, what profile.Measured, most float64) profile.Stage {
		return profile.Stage{Name: name, Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.Confirmed, Measured: what, AtMost: most}}}}
	}
	cured := profile.Formula{Cut: []profile.Meat{{Name: "pork", Mass: 5, Water: .7, Protein: .2, Fat: .1}}, Cure: profile.Cure{Mass: 0.0098, Nitrite: 0.0625, Method: profile.Comminuted}}
	return &profile.Product{Species: profile.RedMeat, Process: profile.FermentedAndDried, Vacuum: true, Formula: cured, Stages: []profile.Stage{
		measured("ferment", profile.SourTo, 5.2), measured("dry", profile.WaterActivity, activity), {Name: "pack"},
	}}
}

// Degree-hours: FSIS-GD-2023-0002 and CFIA, both as quoted; sums own. Water activity 0.85 in
// air, 0.91 without.
func TestFermentedAndDried(t *testing.T) {
	type leg struct {
		celsius quantity.Celsius
		stay    time.Duration
		stage   int
		seen    bool
	}
	f := quantity.FromFahrenheit
	h := time.Hour
	for name, c := range map[string]struct {
		change         func(*profile.Product)
		legs           []leg
		process, keeps proof.Answer
		why            string
	}{
		"80 °F for 55 h":         {nil, []leg{{f(80), 55 * h, 0, true}, {14, h, 1, true}, {14, h, 2, true}}, proof.Met, proof.Met, "1100 of 1200 °F·h in 55 h"},
		"90 °F for 40 h":         {nil, []leg{{f(90), 40 * h, 0, true}, {14, h, 1, true}, {14, h, 2, true}}, proof.NotMet, proof.Met, "1200 of 1000 °F·h"},
		"warm after it was sour": {nil, []leg{{f(80), 55 * h, 0, true}, {35, 40 * h, 1, true}}, proof.Met, proof.NotShown, "1100 of 1200"},
		"never measured":         {nil, []leg{{f(80), 55 * h, 0, true}}, proof.NotShown, proof.NotShown, "a pH of 5.3 was never measured"},
		"never, and too long":    {nil, []leg{{f(80), 61 * h, 0, true}}, proof.NotMet, proof.NotShown, "before a pH of 5.3 was measured"},
		// CFIA asks fermented sausage for 100 ppm, against Clostridium botulinum.
		"without a cure": {func(p *profile.Product) { p.Formula.Cure = profile.Cure{} }, []leg{{f(80), 55 * h, 0, true}, {14, h, 1, true}, {14, h, 2, true}}, proof.NotShown, proof.Met, "nothing holds back Clostridium botulinum"},
		"not read":       {nil, []leg{{24, 10 * h, 0, true}, {0, h, 0, false}, {14, h, 1, true}}, proof.NotShown, proof.NotShown, "could not be read for 1 h of 11 h"},
		"Canada": {func(p *profile.Product) { p.Jurisdiction = profile.Canada }, []leg{{24, 10 * h, 0, true}, {30, 10 * h, 0, true}, {35, 18 * h, 0, true}, {14, h, 1, true}},
			proof.NotMet, proof.NotShown, "577 of 555 °C·h"},
		"in air":          {func(p *profile.Product) { p.Vacuum = false }, []leg{{24, 30 * h, 0, true}, {14, h, 1, true}, {14, h, 2, true}}, proof.Met, proof.NotShown, "Staphylococcus aureus only"},
		"weight is no aw": {func(p *profile.Product) { p.Stages[1].Until.Conditions[0].Measured = profile.DriedTo }, []leg{{24, 30 * h, 0, true}, {14, h, 2, true}}, proof.Met, proof.NotShown, ""},
	} {
		p := drySausage(0.91)
		if c.change != nil {
			c.change(p)
		}
		r := proof.RulesOf(p, profile.NoJurisdiction, 0)
		var claiming proof.Claiming
		line := proof.Line{Step: time.Minute}
		for _, l := range c.legs {
			line.Air = proof.Air{Loaded: l.stage == 0, Seen: l.seen, Chamber: l.celsius, Passed: l.stage}
			for end := line.Now + l.stay; line.Now < end; {
				line.Now += line.Step
				claiming.Follow(&r, &line)
			}
		}
		v := proof.Judge(&r, &claiming.Claim, true)
		assert.Equal(t, c.process, v[proof.Process].Answer, "%s: %s", name, v[proof.Process].Why)
		assert.Contains(t, v[proof.Process].Why, c.why, name)
		assert.Equal(t, c.keeps, v[proof.Keeping].Answer, "%s: %s", name, v[proof.Keeping].Why)
		assert.Equal(t, proof.NotShown, v[proof.Killed].Answer, "degree-hours are not enough for Salmonella")
		assert.Equal(t, proof.DoesNotApply, v[proof.Cooked].Answer)
		assert.Equal(t, proof.DoesNotApply, v[proof.CameUp].Answer)
	}
	assert.Equal(t, proof.DoesNotApply, judged(rules(t, "marjoram-ring").Product, &proof.Claim{})[proof.Killed].Answer)

	// The place that is set chooses the table of a sausage that names none.
	for set, unit := range map[profile.Jurisdiction]string{profile.UnitedStates: "°F·h", profile.EuropeanUnion: "°F·h", profile.Canada: "°C·h"} {
		r := proof.RulesOf(drySausage(0.91), set, 0)
		assert.Contains(t, proof.Judge(&r, &proof.Claim{}, false)[proof.Process].Why, unit, set.String())
	}
}
