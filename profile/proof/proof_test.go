package proof_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/chilling"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// cooked lets every core rise from 4 °C, one kelvin a minute, and stay at top.
func cooked(t testing.TB, rules *proof.Rules, top quantity.Celsius, stay time.Duration) *proof.Claiming {
	t.Helper()
	var c proof.Claiming
	line := proof.Line{Step: time.Second, ColdSeen: true, HotSeen: true, Unbroken: true, Learnt: true}
	at := quantity.Celsius(4)
	for left := stay; left > 0; {
		line.Now += line.Step
		line.ColdFrom, line.HotFrom = at, at
		if at = min(at+1./60, top); at == top {
			left -= line.Step
		}
		line.ColdTo, line.HotTo = at, at
		c.Follow(rules, &line)
	}
	return &c
}

func rules(t testing.TB, name string) *proof.Rules {
	t.Helper()
	p, err := catalog.Find(name)
	require.NoError(t, err)
	r := proof.RulesOf(p.Value, profile.NoJurisdiction, 0)
	return &r
}

func TestNothingIsShownOfNothing(t *testing.T) {
	var v proof.Verdict
	for r := range proof.RuleCount {
		assert.Equal(t, proof.NotShown, v[r].Answer)
		assert.False(t, v.Holds(r))
	}
	r := rules(t, "marjoram-ring")
	v = proof.Judge(r, &proof.Claim{}, false)
	for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Chilled, proof.Recorded} {
		assert.Equal(t, proof.NotShown, v[rule].Answer, rule.String())
	}
	assert.Equal(t, proof.Met, v[proof.Formula].Answer, "the paper alone shows it")
	v = proof.Judge(r, &proof.Claim{}, true)
	assert.Equal(t, proof.NotMet, v[proof.Cooked].Answer, "it is over, and was not cooked")
	assert.Equal(t, proof.NotShown, v[proof.CameUp].Answer)
}

func TestMetIsWhatWasShown(t *testing.T) {
	r := rules(t, "marjoram-ring")
	c := cooked(t, r, 71, 10*time.Minute)
	v := proof.Judge(r, &c.Claim, false)
	assert.Equal(t, proof.Met, v[proof.Cooked].Answer, v[proof.Cooked].Why)
	assert.Equal(t, proof.Met, v[proof.CameUp].Answer, v[proof.CameUp].Why)
	assert.Equal(t, proof.NotShown, v[proof.Chilled].Answer)
	assert.True(t, v.Holds(proof.Cooked, proof.CameUp))
	assert.True(t, v.Holds(proof.Cooked, proof.Surface), "it is in a casing")
	assert.False(t, v.Holds(proof.Cooked, proof.Recorded), "nobody has checked it")

	c = cooked(t, r, 50, time.Hour)
	assert.Equal(t, proof.NotShown, proof.Judge(r, &c.Claim, false)[proof.Cooked].Answer, "it may yet be")
	assert.Equal(t, proof.NotMet, proof.Judge(r, &c.Claim, true)[proof.Cooked].Answer)
	c = cooked(t, r, 50, 7*time.Hour)
	assert.Equal(t, proof.NotMet, proof.Judge(r, &c.Claim, false)[proof.CameUp].Answer, "seven hours in the warm")
}

// The error of the probe is added to every limit: with ± 2.2 K the row of 145 °F takes a
// reading of 149.0 °F and the one of 136 °F, the lowest of turkey and chicken, 140.0 °F
// (FSIS Cooking Guideline 2021, p. 20: 165 °F with ± 1 °F is no lower than 166 °F).
func TestTheProbesErrorCountsAgainstTheBatch(t *testing.T) {
	r := rules(t, "marjoram-ring")
	r.CoreError = 2.2
	for fahrenheit, want := range map[float64]proof.Answer{149.0: proof.Met, 148.9: proof.NotMet} {
		c := cooked(t, r, quantity.FromFahrenheit(fahrenheit), 4*time.Minute+30*time.Second) // 145 °F asks for 4 min, 144 °F for 5
		v := proof.Judge(r, &c.Claim, true)
		assert.Equal(t, want, v[proof.Cooked].Answer, "%v: %s", fahrenheit, v[proof.Cooked].Why)
		assert.Contains(t, v[proof.Cooked].Why, "the core counts 2.2 K colder than it reads")
	}
	without := rules(t, "marjoram-ring")
	c := cooked(t, without, quantity.FromFahrenheit(148.9), 4*time.Minute+30*time.Second)
	assert.Equal(t, proof.Met, proof.Judge(without, &c.Claim, true)[proof.Cooked].Answer)

	// The come-up ends, and its band begins, later and sooner by that.
	wide, narrow := cooked(t, r, 70, time.Minute), cooked(t, without, 70, time.Minute)
	assert.Greater(t, wide.ComeUp.Time, narrow.ComeUp.Time)
	// 45 °F with ± 2.2 K is 41.0 °F as read.
	rule := r.Chilling()
	for fahrenheit, want := range map[float64]bool{41.0: true, 41.1: false} {
		s := rule.Over([]chilling.Point{{At: 0, Temperature: 70}, {At: time.Hour, Temperature: quantity.FromFahrenheit(fahrenheit)}})
		assert.Equal(t, want, rule.Pass(s), fahrenheit)
	}
}

// The lethality of the species is a floor. A recorded file may name less, or nothing.
func TestAFileLowersNothing(t *testing.T) {
	p := *rules(t, "marjoram-ring").Product
	p.Targets.Lethality = 3
	r := proof.RulesOf(&p, profile.NoJurisdiction, 0)
	c := cooked(t, &r, 60, 6*time.Minute) // half of the 12 min of 140 °F: FSIS Appendix A (1999)
	log10, required, ok := proof.Counts(&r, &c.Claim)
	assert.True(t, ok && log10 > 3 && log10 < 6.5, "%g", log10)
	assert.Equal(t, 6.5, required)
	v := proof.Judge(&r, &c.Claim, true)
	assert.Equal(t, proof.NotMet, v[proof.Cooked].Answer, "%s", v[proof.Cooked].Why)
	assert.Contains(t, v[proof.Cooked].Why, "no listed row was met, the nearest is")

	p.Targets.Lethality = 9 // more than its species asks for
	r = proof.RulesOf(&p, profile.NoJurisdiction, 0)
	c = cooked(t, &r, 60, 13*time.Minute)
	assert.Equal(t, proof.NotMet, proof.Judge(&r, &c.Claim, true)[proof.Cooked].Answer)
	c = cooked(t, &r, 60, 17*time.Minute)
	assert.Equal(t, proof.Met, proof.Judge(&r, &c.Claim, true)[proof.Cooked].Answer)

	p.Targets.HasLethality, p.Targets.HasCore, p.Targets.Core = false, true, 45
	r = proof.RulesOf(&p, profile.NoJurisdiction, 0)
	c = cooked(t, &r, 45, 8*time.Hour)
	assert.Equal(t, proof.NotMet, proof.Judge(&r, &c.Claim, true)[proof.Cooked].Answer, "a core of 45 °C is no lower standard")
	assert.Equal(t, proof.NotMet, proof.Judge(&r, &c.Claim, true)[proof.CameUp].Answer, "nor a way round the come-up")

	p.Targets, p.Stages = profile.Targets{}, nil
	r = proof.RulesOf(&p, profile.NoJurisdiction, 0)
	assert.Equal(t, proof.NotShown, proof.Judge(&r, &proof.Claim{}, true)[proof.Cooked].Answer, "a file that names nothing shows nothing")
	p.Process = profile.NotReadyToEat
	r = proof.RulesOf(&p, profile.NoJurisdiction, 0)
	j := proof.Judge(&r, &proof.Claim{}, true)[proof.Cooked]
	assert.Equal(t, proof.DoesNotApply, j.Answer)
	assert.Contains(t, j.Why, "must cook it")
}

// A row that was missed by a minute is not met, whatever the integral says: the log R3 of the
// tests of package lethality, 56.7 °C (134 °F) for 44 of 45 min.
func TestTheIntegralDecidesNothing(t *testing.T) {
	r := rules(t, "marjoram-ring")
	var c proof.Claim
	corners := []struct{ minute, fahrenheit float64 }{{0, 40}, {150, 120}, {200, 134}, {244, 134}, {260, 115}}
	for i := 1; i < len(corners); i++ {
		a, b := corners[i-1], corners[i]
		c.Heat = r.Criterion.Add(c.Heat, quantity.FromFahrenheit(a.fahrenheit), quantity.FromFahrenheit(b.fahrenheit), time.Duration((b.minute-a.minute)*float64(time.Minute)))
	}
	j := proof.Judge(r, &c, true)[proof.Cooked]
	assert.Equal(t, proof.NotMet, j.Answer)
	assert.Contains(t, j.Why, "no listed row was met, the nearest is 56.7 °C (134 °F) for 44 min of 45 min; by the integral 8.1 log10, which only a process authority may go by")
}

// The come-up goes on until it is cooked: up for a moment, down into the band and up again.
func TestComingUpTwice(t *testing.T) {
	r := rules(t, "marjoram-ring")
	var c proof.Claiming
	line := proof.Line{Step: time.Second, ColdSeen: true, HotSeen: true, Unbroken: true, Learnt: true}
	course := func(to quantity.Celsius, stay time.Duration) {
		for end := line.Now + stay; line.Now < end; {
			line.Now += line.Step
			line.ColdFrom, line.HotFrom = line.ColdTo, line.HotTo
			line.ColdTo, line.HotTo = to, to
			c.Follow(r, &line)
		}
	}
	line.ColdTo, line.HotTo = 4, 4
	course(4, time.Minute)
	course(30, 2*time.Hour)
	course(55, time.Minute)
	assert.Equal(t, proof.Met, proof.Judge(r, &c.Claim, false)[proof.CameUp].Answer)
	course(50, 5*time.Hour)
	assert.Equal(t, proof.NotMet, proof.Judge(r, &c.Claim, false)[proof.CameUp].Answer, "seven hours in the band, and not cooked")
}

// The shares of the humidity options count from loading, drying and smoking included; the
// cases are own sums by FSIS Cooking Guideline 2021, Table 1 and p. 25. 30 % is what an oven
// that is shut is believed to hold (p. 27).
func TestShareOfTheHumidity(t *testing.T) {
	m := func(minutes float64) time.Duration { return time.Duration(minutes * float64(time.Minute)) }
	for _, c := range []struct {
		name                     string
		cook, seen, humid, moist float64 // min
		fahrenheit               float64 // of the row that was met
		want                     proof.Answer
		why                      string
	}{
		{"shut in the cook alone: 265 of 409 min, 64.8 %", 409, 409, 0, 265, 145, proof.Met, "options 1 and 2"},
		{"shut for 90 of 250 min: 125 are asked", 250, 250, 0, 90, 145, proof.NotMet, "and 2 h 5 min is asked"},
		{"shut for 55 of 100 min: 60 are asked", 100, 100, 0, 55, 145, proof.NotMet, "and 1 h is asked"},
		{"shut for all of 55 min", 55, 55, 0, 55, 150, proof.NotMet, "only 90 % humidity throughout counts"},
		{"humid for all of 55 min", 55, 55, 55, 55, 140, proof.Met, "option 4"},
		{"humid for 65 of 270 min: 67.5 are asked", 270, 270, 65, 65, 150, proof.NotMet, "1 h 5 min, and 1 h 8 min is asked"},
		{"humid for 67.5 of 270 min", 270, 270, 67.5, 67.5, 140, proof.Met, "option 3"},
		{"shut, and cooked at 144 °F", 409, 409, 0, 265, 144, proof.NotMet, "count from a row of 62.8 °C on, and none was met"},
		{"nothing measured", 409, 0, 0, 0, 150, proof.NotShown, "a wet bulb, a casing or immersion would show it"},
		{"measured for a part", 409, 200, 0, 150, 150, proof.NotShown, "measured for 3 h 20 min of 6 h 49 min from loading to lethality"},
		{"measured for a part that is enough", 409, 300, 0, 265, 150, proof.Met, "options 1 and 2"},
	} {
		r := rules(t, "orchard-bacon")
		at := quantity.FromFahrenheit(c.fahrenheit)
		claim := proof.Claim{Surface: proof.Moisture{Cook: m(c.cook), Seen: m(c.seen), Humid: m(c.humid), Moist: m(c.moist)}}
		claim.Heat = r.Criterion.Add(claim.Heat, at, at, r.Criterion.HoldAt(at))
		j := proof.Judge(r, &claim, true)[proof.Surface]
		assert.Equal(t, c.want, j.Answer, "%s: %s", c.name, j.Why)
		assert.Contains(t, j.Why, c.why, c.name)
	}
	r := rules(t, "orchard-bacon")
	assert.Equal(t, proof.NotShown, proof.Judge(r, &proof.Claim{}, true)[proof.Surface].Answer, "it was not cooked")
	for _, name := range []string{"marjoram-ring", "lovage-turkey-roll", "dill-trout-sides"} { // cased, cased, fish
		assert.Equal(t, proof.DoesNotApply, proof.Judge(rules(t, name), &proof.Claim{}, true)[proof.Surface].Answer, name)
	}
}

// The air counts from loading until the product is cooked, whatever stage it is in.
func TestTheAirCountsFromLoading(t *testing.T) {
	r := rules(t, "orchard-bacon")
	var c proof.Claiming
	line := proof.Line{Step: time.Second, ColdSeen: true, HotSeen: true, Unbroken: true, Learnt: true}
	run := func(at quantity.Celsius, stay time.Duration, air proof.Air) {
		line.Air = air
		for end := line.Now + stay; line.Now < end; {
			line.Now += line.Step
			line.ColdFrom, line.HotFrom, line.ColdTo, line.HotTo = at, at, at, at
			c.Follow(r, &line)
		}
	}
	run(4, time.Hour, proof.Air{}) // waits for the first hand step
	run(20, 50*time.Minute, proof.Air{Loaded: true})
	run(40, 30*time.Minute, proof.Air{Loaded: true, Measured: true, Humidity: 0.2})
	run(50, 30*time.Minute, proof.Air{Loaded: true, Measured: true, Humidity: 0.35, Kept: true})
	run(50, 30*time.Minute, proof.Air{Loaded: true, Measured: true, Humidity: 0.95})
	run(70, time.Hour, proof.Air{Loaded: true, Measured: true, Humidity: 0.95, Kept: true})
	got, near := c.Claim.Surface, float64(30*time.Second) // the claim is up to two lags old
	assert.InDelta(t, float64(140*time.Minute), float64(got.Cook), near, "the hour at 70 °C is after the lethality")
	assert.InDelta(t, float64(90*time.Minute), float64(got.Seen), near)
	assert.InDelta(t, float64(30*time.Minute), float64(got.Humid), near)
	assert.InDelta(t, float64(30*time.Minute), float64(got.Moist), near)
	// Time in which the core was not seen is time in the chamber all the same.
	line.ColdSeen, line.HotSeen = false, false
	c = proof.Claiming{}
	run(4, time.Hour, proof.Air{Loaded: true, Measured: true, Humidity: 0.95})
	assert.Equal(t, time.Hour, c.Claim.Surface.Cook)
	assert.Equal(t, time.Hour, c.Claim.Surface.Humid)
}

// The slow way to chill is for a cure of at least 100 ppm nitrite, with erythorbate or
// ascorbate (FSIS Appendix B, option 3; Cooking Guideline 2021, gap 6).
func TestTheSlowChillAsksForACure(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*profile.Product)
		want   proof.Answer
	}{
		"as shipped":          {func(*profile.Product) {}, proof.Met},
		"too little nitrite":  {func(p *profile.Product) { p.Formula.Cure.Mass /= 2 }, proof.NotMet},
		"no cure":             {func(p *profile.Product) { p.Formula.Cure = profile.Cure{} }, proof.NotMet},
		"without erythorbate": {func(p *profile.Product) { p.Formula.Other = p.Formula.Other[:3] }, proof.NotShown},
	} {
		p := *rules(t, "marjoram-ring").Product
		c.change(&p)
		r := proof.RulesOf(&p, profile.NoJurisdiction, 0)
		claim := proof.Claim{Chill: r.Chill.Over([]chilling.Point{{At: 0, Temperature: 70}, {At: time.Hour, Temperature: 4}})}
		assert.Equal(t, c.want, proof.Judge(&r, &claim, true)[proof.Chilled].Answer, name)
	}
}

func TestWhatIsNotAskedDoesNotApply(t *testing.T) {
	r := rules(t, "barn-loft-cheese")
	v := proof.Judge(r, &proof.Claim{}, true)
	for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Surface, proof.Chilled} {
		assert.Equal(t, proof.DoesNotApply, v[rule].Answer, rule.String())
	}
	none := proof.RulesOf(nil, profile.NoJurisdiction, 0)
	assert.Equal(t, proof.DoesNotApply, proof.Judge(&none, &proof.Claim{}, true)[proof.Formula].Answer)
}

// What a probe reads while it slips out is never claimed: the claim is one to two lags
// old, and a doubt takes back what came since.
func TestTheClaimWaitsForDoubts(t *testing.T) {
	r := rules(t, "marjoram-ring")
	c := cooked(t, r, 60, 3*time.Minute)
	before := c.Heat
	line := proof.Line{Step: time.Second, ColdSeen: true, HotSeen: true, Unbroken: true, Learnt: true, ColdFrom: 80, ColdTo: 80, HotFrom: 80, HotTo: 80}
	for range int(proof.Lag/time.Second) - 1 {
		line.Now += time.Second
		c.Follow(r, &line)
	}
	line.Doubted = true
	c.Follow(r, &line)
	assert.LessOrEqual(t, r.Criterion.Log10(c.Heat), r.Criterion.Log10(before)+0.2, "nine seconds at 80 °C would be more than sixty log10")
	line.Doubted, line.Over = false, true
	c.Follow(r, &line)
	assert.LessOrEqual(t, r.Criterion.Log10(c.Heat), r.Criterion.Log10(before)+0.2)
}

func ExampleJudge() {
	p, _ := catalog.Find("marjoram-ring")
	r := proof.RulesOf(p.Value, profile.NoJurisdiction, 0)
	verdict := proof.Judge(&r, &proof.Claim{}, false)
	for rule, j := range verdict {
		fmt.Printf("%s: %s, %s\n", proof.Rule(rule), j.Answer, j.Why)
	}
	// Output:
	// cooked: not shown, 0.0 log10 counted, 6.5 required: no listed row was met, and none was reached
	// come-up: not shown, no core was seen
	// surface: does not apply, a casing (natural) keeps the surface moist
	// chilled: not shown, option 3, cured: not yet
	// formula: met, within the limits of the make sheet by the rules of US
	// process: does not apply, it names no process with rules for the chamber
	// kill: does not apply, it names no process that kills other than by its table
	// raw fish: does not apply, it is no fish
	// keeping: does not apply, no rule on keeping it is held here
	// record: not shown, nobody has checked the record
}

// Limits as profile/formula cites them: 156 ppm of sodium nitrite, 120 ppm at least, of what
// is kept cold (FSIS Directive 7620.3); 80 ppm of the ion, which is 119.98 ppm of the salt
// (Regulation (EU) 2023/2108), and what is left while it is sold, which no recipe shows.
func TestWhoseRulesTheFormulaIsHeldTo(t *testing.T) {
	for _, c := range []struct {
		cure     quantity.Kilograms // cure no. 1 in 5 kg of meat
		own, set profile.Jurisdiction
		want     proof.Answer
		where    string
	}{
		{0.012, profile.NoJurisdiction, profile.NoJurisdiction, proof.Met, "US"},
		{0.012, profile.NoJurisdiction, profile.UnitedStates, proof.Met, "US"},
		{0.012, profile.NoJurisdiction, profile.EuropeanUnion, proof.NotMet, "EU"},
		{0.0096, profile.NoJurisdiction, profile.UnitedStates, proof.Met, "US"},
		{0.0096, profile.NoJurisdiction, profile.EuropeanUnion, proof.NotShown, "EU"},
		{0.012, profile.UnitedStates, profile.EuropeanUnion, proof.Met, "US"}, // its own word goes first
		{0.012, profile.EuropeanUnion, profile.UnitedStates, proof.NotMet, "EU"},
		{0.012, profile.NoJurisdiction, 200, proof.NotShown, "none"}, // of a later program: no rule is known
	} {
		p := *rules(t, "marjoram-ring").Product
		p.Jurisdiction, p.Formula.Cure.Mass = c.own, c.cure
		r := proof.RulesOf(&p, c.set, 0)
		got := proof.Judge(&r, &proof.Claim{}, true)[proof.Formula]
		assert.Equal(t, c.want, got.Answer, "%+v", c)
		assert.Contains(t, got.Why, "by the rules of "+c.where, "%+v", c)
	}
}

// Good is what lacks nothing: not met of any rule is a lack, and not shown of those that the
// core and the air around it have to show.
func TestWhatKeepsAVerdictFromBeingGood(t *testing.T) {
	var whole proof.Verdict
	for r := range whole {
		whole[r] = proof.Judgement{Answer: proof.Met, Why: "shown"}
	}
	assert.True(t, whole.Good())
	assert.Empty(t, whole.Lacks())
	for r := range whole {
		rule := proof.Rule(r)
		for _, a := range []proof.Answer{proof.NotMet, proof.NotShown, proof.DoesNotApply} {
			v := whole
			v[r] = proof.Judgement{Answer: a, Why: "why"}
			good := a == proof.DoesNotApply || rule == proof.Recorded ||
				a == proof.NotShown && slices.Contains([]proof.Rule{proof.Formula, proof.Killed, proof.RawFish, proof.Keeping}, rule)
			assert.Equal(t, good, v.Good(), "%s %s", rule, a)
			if !good {
				assert.Equal(t, []string{rule.String() + " " + a.String() + ": why"}, v.Lacks())
			}
		}
	}
	var nothing proof.Verdict
	assert.Len(t, nothing.Lacks(), 5)
}

// The step follows the claim every second, with an error and while it chills as well: no
// copy of a rule may live on the heap.
func TestFollowingAllocatesNothing(t *testing.T) {
	r := rules(t, "marjoram-ring")
	r.CoreError = 0.5
	c := cooked(t, r, 71, 10*time.Minute)
	line := proof.Line{Now: time.Hour, Step: time.Second, ColdFrom: 60, ColdTo: 59.9, HotFrom: 60, HotTo: 59.9, ColdSeen: true, HotSeen: true, Unbroken: true, Learnt: true, Chilling: true}
	assert.Zero(t, testing.AllocsPerRun(100, func() { c.Follow(r, &line) }))
	line.ColdSeen = false
	assert.Zero(t, testing.AllocsPerRun(100, func() { c.Follow(r, &line) }))
}

// Spores live through a cook and grow while it cools (FSIS Appendix B 2021): what was heated
// towards a core and names no way of chilling has not shown that it was chilled.
func TestNoWayOfChillingIsNotShown(t *testing.T) {
	p := *rules(t, "marjoram-ring").Product
	p.Targets.Chill = profile.NoChillRule
	for _, process := range []profile.Process{profile.FullyCooked, profile.NotReadyToEat} {
		p.Process = process
		r := proof.RulesOf(&p, profile.NoJurisdiction, 0)
		v := proof.Judge(&r, &proof.Claim{}, true)
		assert.Equal(t, proof.NotShown, v[proof.Chilled].Answer, process.String())
		assert.Contains(t, v[proof.Chilled].Why, "chill: under targets")
		for rule := range v { // whatever else was shown
			if proof.Rule(rule) != proof.Chilled {
				v[rule].Answer = proof.Met
			}
		}
		assert.False(t, v.Good(), process.String())
	}
	cheese := rules(t, "barn-loft-cheese")
	v := proof.Judge(cheese, &proof.Claim{}, true)
	assert.Equal(t, proof.DoesNotApply, v[proof.Chilled].Answer)
}
