package proof_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// What nobody saw never shows what would not have been shown had it been seen: any stretch
// of any course but the first, which tells how the product came in, may go unseen, and no
// rule is met by that. Nor does it help that the probe may be wrong. No core rises faster than chilling.UnseenRise, which is what an unseen one
// may have done at most.
func TestUnseenNeverShows(t *testing.T) {
	type leg struct {
		core, chamber quantity.Celsius
		stay          time.Duration
	}
	rapid.Check(t, func(t *rapid.T) {
		p := plain(rapid.SampledFrom([]profile.ChillRule{profile.ChillUncured, profile.ChillRetail, profile.ServedHot}).Draw(t, "chill"))
		where := rapid.SampledFrom(profile.Jurisdictions()).Draw(t, "place")
		r := proof.RulesOf(p, where, quantity.Kelvin(rapid.SampledFrom([]float64{0, 0.5, 2}).Draw(t, "error")))
		temperature := rapid.Map(rapid.IntRange(0, 95), func(i int) quantity.Celsius { return quantity.Celsius(i) })
		const cold = 7.5 // above the end of every rule
		var legs []leg
		hot := false
		for range rapid.IntRange(2, 7).Draw(t, "legs") {
			l := leg{temperature.Draw(t, "core"), temperature.Draw(t, "chamber"), time.Duration(rapid.IntRange(1, 200).Draw(t, "minutes")) * time.Minute}
			if last := len(legs) - 1; last >= 0 {
				l.core = min(l.core, legs[last].core+quantity.Celsius(0.95*chilling.UnseenRise*l.stay.Minutes()))
				if hot = hot || legs[last].core > 40; hot && legs[last].core <= cold {
					l.core = min(l.core, cold) // what is chilled is not warmed again: its store is nobody's claim
				}
			}
			legs = append(legs, l)
		}
		chilled := rapid.IntRange(1, len(legs)).Draw(t, "chilled from")
		for i := chilled; i < len(legs); i++ {
			legs[i].core = min(legs[i].core, legs[i-1].core)
		}
		hidden := rapid.IntRange(1, len(legs)-1).Draw(t, "hidden")
		exact := proof.RulesOf(p, where, 0)
		type moments struct{ maybe, surely time.Duration } // until which it was not cooked
		run := func(r proof.Rules, hide int) (v proof.Verdict, cooked moments) {
			c := newRide()
			c.line.Step = 10 * time.Second
			c.line.ColdTo, c.line.HotTo = legs[0].core, legs[0].core
			for i, l := range legs {
				c.line.Chilling = i >= chilled
				c.line.ColdSeen, c.line.HotSeen = i != hide, i != hide
				before, minutes := c.line.ColdTo, l.stay/time.Minute
				for m := range minutes {
					c.along(&r, before+(l.core-before)*quantity.Celsius(m+1)/quantity.Celsius(minutes), l.chamber, time.Minute)
					if proof.Judge(&r, &c.Claim, false)[proof.Cooked].Answer != proof.Met {
						cooked.surely = c.line.Now
					}
					if c.Claim.Most < 1 {
						cooked.maybe = c.line.Now
					}
				}
				if i == hide { // seen again, from where it has come to
					c.line.ColdSeen, c.line.HotSeen = true, true
				}
			}
			return c.over(&r, true), cooked
		}
		seen, from := run(r, -1)
		unseen, late := run(r, hidden)
		right, first := run(exact, -1)
		for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Chilled, proof.Process} {
			// What is not cooked yet is still coming up, and CameUp counts its time, seen or not:
			// Chilled is compared where both may be cooked from the same minute on, and surely are.
			if !(rule == proof.Chilled && late != from) && unseen[rule].Answer == proof.Met && seen[rule].Answer != proof.Met {
				t.Fatalf("%s: met with leg %d unseen (%s), and %s when it was seen (%s)", rule, hidden, unseen[rule].Why, seen[rule].Answer, seen[rule].Why)
			}
			if !(rule == proof.Chilled && from.surely != first.surely) && seen[rule].Answer == proof.Met && right[rule].Answer != proof.Met {
				t.Fatalf("%s: met by a probe that may be wrong (%s), and %s by one that is right (%s)", rule, seen[rule].Why, right[rule].Answer, right[rule].Why)
			}
		}
	})
}
