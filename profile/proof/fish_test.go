package proof_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// coldSide is fish that is smoked cold, with what the file says of it.
func coldSide(facts profile.FishFacts) *profile.Product {
	return &profile.Product{Species: profile.Fish, Process: profile.ColdSmoked, Fish: facts, Formula: profile.Formula{Cut: []profile.Meat{{Name: "side", Mass: 1, Water: .68, Protein: .2}}}}
}

func judged(p *profile.Product, c *proof.Claim) proof.Verdict {
	r := proof.RulesOf(p, profile.NoJurisdiction, 0)
	return proof.Judge(&r, c, true)
}

// Parasites: Food Code 3-402.11 as WAC 246-215-03425. Histamine: FDA ch. 7 and CPG 540.525.
func TestRawFish(t *testing.T) {
	frozen := fish.Freezing{To: -20, Kept: -20, For: 168 * time.Hour}
	for name, c := range map[string]struct {
		facts profile.FishFacts
		want  proof.Answer
		why   string
	}{
		"nothing said":           {profile.FishFacts{Kind: fish.Salmon}, proof.NotShown, "neither a freezing nor what exempts it"},
		"frozen":                 {profile.FishFacts{Kind: fish.Salmon, Parasites: fish.Frozen, Freezing: frozen}, proof.Met, "keep the record"},
		"frozen too short":       {profile.FishFacts{Kind: fish.Salmon, Parasites: fish.Frozen, Freezing: fish.Freezing{To: -20, Kept: -20, For: time.Hour}}, proof.NotMet, "none of -20 °C"},
		"farmed":                 {profile.FishFacts{Kind: fish.Salmon, Parasites: fish.Farmed}, proof.Met, "farmed on pellets, as the file says"},
		"tuna":                   {profile.FishFacts{Kind: fish.Tuna}, proof.NotShown, "a tuna that needs no freezing"},
		"tuna, histamine":        {profile.FishFacts{Kind: fish.Tuna, Parasites: fish.ExemptTuna}, proof.NotShown, "histamine: it gathers in tuna"},
		"tuna, measured":         {profile.FishFacts{Kind: fish.Tuna, Parasites: fish.ExemptTuna, HasHistamine: true, Histamine: 20}, proof.Met, "20 ppm measured"},
		"mackerel, spoilt":       {profile.FishFacts{Kind: fish.Mackerel, Parasites: fish.Farmed, HasHistamine: true, Histamine: 50}, proof.NotMet, "counts as spoilt"},
		"nobody says which":      {profile.FishFacts{Parasites: fish.Farmed}, proof.NotShown, "does not say which fish it is"},
		"none that a text names": {profile.FishFacts{Kind: fish.Other, Parasites: fish.Farmed}, proof.NotShown, "does not say which fish"},
	} {
		j := judged(coldSide(c.facts), &proof.Claim{})[proof.RawFish]
		assert.Equal(t, c.want, j.Answer, "%s: %s", name, j.Why)
		assert.Contains(t, j.Why, c.why, name)
	}
	hot := coldSide(profile.FishFacts{Kind: fish.Mackerel})
	hot.Process = profile.FullyCooked
	assert.Equal(t, proof.NotShown, judged(hot, &proof.Claim{})[proof.RawFish].Answer, "no heat destroys histamine")
	hot.Fish.Kind = fish.Trout
	hot.Targets = profile.Targets{HasCore: true, Core: 63}
	raw := judged(hot, &proof.Claim{})[proof.RawFish]
	assert.Equal(t, proof.NotShown, raw.Answer, "no heat has killed anything yet")
	assert.Contains(t, raw.Why, "the heat would kill them, and it is not cooked")
	k := hot.Criterion()
	assert.Equal(t, proof.Met, judged(hot, &proof.Claim{Heat: k.Add(lethality.Count{}, 63, 63, 30*time.Minute)})[proof.RawFish].Answer)
	assert.Equal(t, proof.DoesNotApply, judged(rules(t, "marjoram-ring").Product, &proof.Claim{})[proof.RawFish].Answer)
}

// Salt in the water of the loin: Maine ch. 359; cold: 38 °F, Michigan R 285.569 and Maine.
func TestKeepingFish(t *testing.T) {
	loin := profile.Loin{Measured: true, Salt: .023, Water: .66} // 3.367 %
	for name, c := range map[string]struct {
		facts profile.FishFacts
		want  proof.Answer
		why   string
	}{
		"nothing said":   {profile.FishFacts{}, proof.NotShown, "does not say how it is packed"},
		"not measured":   {profile.FishFacts{Packed: fish.InAir, HasKeep: true}, proof.NotShown, "packed in air it wants 2.50 % of salt in the water of its loin (Maine ch. 359), and that was not measured"},
		"without air":    {profile.FishFacts{Packed: fish.InVacuum, Loin: loin, HasKeep: true}, proof.NotMet, "is 3.37 %, and 3.50 % is asked"},
		"in air, how":    {profile.FishFacts{Packed: fish.InAir, Loin: loin}, proof.NotShown, "does not say how cold it is kept: 3.3 °C or colder"},
		"in air":         {profile.FishFacts{Packed: fish.InAir, Loin: loin, HasKeep: true, Keep: 3}, proof.Met, "kept at 3 °C"},
		"measured alone": {profile.FishFacts{Loin: loin}, proof.NotShown, "does not say how it is packed"},
	} {
		j := judged(coldSide(c.facts), &proof.Claim{})[proof.Keeping]
		assert.Equal(t, c.want, j.Answer, "%s: %s", name, j.Why)
		assert.Contains(t, j.Why, c.why, name)
	}
}

// How warm and how long it hung, followed step by step whether a core is seen or not: at most
// 90 °F for 20 h, or 50 °F for 24 h (Maine ch. 359).
func TestSmokedCold(t *testing.T) {
	facts := profile.FishFacts{Parasites: fish.Farmed}
	hang := func(celsius quantity.Celsius, stay time.Duration, seen bool) proof.Verdict {
		p := coldSide(facts)
		r := proof.RulesOf(p, profile.NoJurisdiction, 0)
		var c proof.Claiming
		line := proof.Line{Step: 10 * time.Second, Air: proof.Air{Loaded: true, Seen: seen, Chamber: celsius}}
		for line.Now < stay {
			line.Now += line.Step
			c.Follow(&r, &line)
		}
		return proof.Judge(&r, &c.Claim, true)
	}
	for _, c := range []struct {
		at   quantity.Celsius
		stay time.Duration
		seen bool
		want proof.Answer
	}{
		{24, 19 * time.Hour, true, proof.Met}, {24, 21 * time.Hour, true, proof.NotMet}, {9, 23 * time.Hour, true, proof.Met}, {9, 25 * time.Hour, true, proof.NotMet},
		{33, time.Minute, true, proof.NotMet}, {24, time.Hour, false, proof.NotShown}, {24, 0, true, proof.NotShown},
	} {
		v := hang(c.at, c.stay, c.seen)
		assert.Equal(t, c.want, v[proof.Process].Answer, "%v for %v: %s", c.at, c.stay, v[proof.Process].Why)
		assert.Equal(t, proof.DoesNotApply, v[proof.Cooked].Answer, "it stays raw")
		assert.Contains(t, v[proof.Cooked].Why, "stays raw")
	}
	// It stays raw: of fish of which nobody says what was done about parasites, the process is
	// not shown, and the batch is not good.
	facts = profile.FishFacts{}
	v := hang(24, time.Hour, true)
	assert.Equal(t, proof.NotShown, v[proof.Process].Answer)
	assert.Contains(t, v[proof.Process].Why, "neither a freezing nor what exempts it")
	assert.False(t, v.Good())
}
