package proof_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/catalog"
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
	r := proof.RulesOf(p.Value)
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
	for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Surface, proof.Chilled, proof.Recorded} {
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
	assert.False(t, v.Holds(proof.Cooked, proof.Surface), "nobody has measured it")

	c = cooked(t, r, 50, time.Hour)
	assert.Equal(t, proof.NotShown, proof.Judge(r, &c.Claim, false)[proof.Cooked].Answer, "it may yet be")
	assert.Equal(t, proof.NotMet, proof.Judge(r, &c.Claim, true)[proof.Cooked].Answer)
	c = cooked(t, r, 50, 7*time.Hour)
	assert.Equal(t, proof.NotMet, proof.Judge(r, &c.Claim, false)[proof.CameUp].Answer, "seven hours in the warm")
}

// The lethality of the species is a floor. A recorded file may name less, or nothing.
func TestAFileLowersNothing(t *testing.T) {
	p := *rules(t, "marjoram-ring").Product
	p.Targets.Lethality = 3
	r := proof.RulesOf(&p)
	c := cooked(t, &r, 60, 6*time.Minute) // half of the 12 min of 140 °F: FSIS Appendix A (1999)
	log10, required, ok := proof.Counts(&r, &c.Claim)
	assert.True(t, ok && log10 > 3 && log10 < 6.5, "%g", log10)
	assert.Equal(t, 6.5, required)
	v := proof.Judge(&r, &c.Claim, true)
	assert.Equal(t, proof.NotMet, v[proof.Cooked].Answer, "%s", v[proof.Cooked].Why)
	assert.Contains(t, v[proof.Cooked].Why, "no listed row was met, the nearest is")

	p.Targets.Lethality = 9 // more than its species asks for
	r = proof.RulesOf(&p)
	c = cooked(t, &r, 60, 13*time.Minute)
	assert.Equal(t, proof.NotMet, proof.Judge(&r, &c.Claim, true)[proof.Cooked].Answer)
	c = cooked(t, &r, 60, 17*time.Minute)
	assert.Equal(t, proof.Met, proof.Judge(&r, &c.Claim, true)[proof.Cooked].Answer)

	p.Targets.HasLethality, p.Targets.HasCore, p.Targets.Core = false, true, 45
	r = proof.RulesOf(&p)
	c = cooked(t, &r, 45, 8*time.Hour)
	assert.Equal(t, proof.NotMet, proof.Judge(&r, &c.Claim, true)[proof.Cooked].Answer, "a core of 45 °C is no lower standard")
	assert.Equal(t, proof.NotMet, proof.Judge(&r, &c.Claim, true)[proof.CameUp].Answer, "nor a way round the come-up")

	p.Targets, p.Stages = profile.Targets{}, nil
	r = proof.RulesOf(&p)
	assert.Equal(t, proof.NotShown, proof.Judge(&r, &proof.Claim{}, true)[proof.Cooked].Answer, "a file that names nothing shows nothing")
	p.Process = profile.NotReadyToEat
	r = proof.RulesOf(&p)
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

func TestWhatIsNotAskedDoesNotApply(t *testing.T) {
	r := rules(t, "barn-loft-cheese")
	v := proof.Judge(r, &proof.Claim{}, true)
	for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Surface, proof.Chilled} {
		assert.Equal(t, proof.DoesNotApply, v[rule].Answer, rule.String())
	}
	none := proof.RulesOf(nil)
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
	r := proof.RulesOf(p.Value)
	verdict := proof.Judge(&r, &proof.Claim{}, false)
	for rule, j := range verdict {
		fmt.Printf("%s: %s, %s\n", proof.Rule(rule), j.Answer, j.Why)
	}
	// Output:
	// cooked: not shown, 0.0 log10 counted, 6.5 required: no listed row was met, and none was reached
	// come-up: not shown, no core was seen
	// surface: not shown, nobody judges the humidity at the surface yet
	// chilled: not shown, option 3, cured: not yet
	// formula: met, within the limits of the make sheet
	// record: not shown, nobody has checked the record
}
