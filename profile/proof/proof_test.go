package proof_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
	// cooked: not shown, 0.0 log10 counted, 6.5 required
	// come-up: not shown, no core was seen
	// surface: not shown, nobody judges the humidity at the surface yet
	// chilled: not shown, option 3, cured: not yet
	// formula: met, within the limits of the make sheet
	// record: not shown, nobody has checked the record
}
