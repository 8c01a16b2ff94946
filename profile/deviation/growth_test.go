package deviation

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/chilling"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// curedBeef is the published cooling of cured beef, 51 to 11 °C in 8 h in a straight line of
// the logarithm (Juneja et al. 2001, abstract), at another pace, a sample each minute.
func curedBeef(pace float64) Course {
	c := Course{{At: 0, Coldest: 70, Hottest: 70, Known: true}}
	for m := 1.0; ; m++ {
		t := quantity.Celsius(51 * math.Pow(11./51, m/480/pace))
		c = append(c, Sample{At: time.Duration(m * float64(time.Minute)), Coldest: t, Hottest: t, Known: true, Watched: true})
		if t < 10.5 {
			return c
		}
	}
}

// The figures of the abstract: 3.17 times is 0.50 log10, 8.50 times 0.93.
func TestWhatCuredBeefGrew(t *testing.T) {
	assert.Equal(t, "0.50", quantity.Fixed(math.Log10(curedGrew), 2))
	assert.Equal(t, "0.93", quantity.Fixed(math.Log10(curedUpper), 2))
	assert.InDelta(t, 8, published(11, 51).Hours(), 1e-9)
	// ln(51/26) / ln(51/11) of 8 h, reckoned apart.
	assert.InDelta(t, 3.5138, published(26, 51).Hours(), 1e-4)
}

// Growth adds up: a chill that is nowhere slower than a published one grew no more. Of a
// slower one, one that was not seen as a whole, or meat of less nitrite, that says nothing.
func TestWhatIsPublishedBounds(t *testing.T) {
	cured := func(c Course) string {
		b := failed(proof.Chilled, c)
		b.HasCure, b.NitritePPM = true, 140
		return found(Work(b))
	}
	text := cured(curedBeef(0.95))
	assert.Contains(t, text, "its hottest core was nowhere longer at a temperature than in a published chill of cured beef")
	assert.Contains(t, text, "from 50.6 °C (123 °F) to 13.5 °C (56 °F), where it grows in cured pork (Juneja et al. 2006, abstract): 6 h 33 min")
	assert.Contains(t, text, "A bound for what a second cook must kill, not a prediction to release by")
	assert.NotContains(t, text, "bounds nothing")
	text = cured(curedBeef(1.1))
	assert.Contains(t, text, "it stayed 1.1 times as long, so that this bounds nothing")
	// Three hours at 35 °C, and in a hurry otherwise: quicker in all, and slower at one place.
	slow := course([2]float64{0, 160}, [2]float64{10, 96}, [2]float64{190, 95}, [2]float64{230, 40})
	assert.Contains(t, cured(slow), "near 35.0 °C (95 °F) it stayed")

	gap := curedBeef(0.9)
	gap[200].Watched = false
	text = cured(gap)
	assert.Contains(t, text, "and 1 min that nobody saw")
	assert.Contains(t, text, "bounds only a chill that was seen as a whole")
	assert.NotContains(t, text, "nowhere longer")
	text = cured(curedBeef(0.9)[:200])
	assert.Contains(t, text, "bounds only a chill that was seen as a whole", "it is warm still")
	assert.Contains(t, text, "until it was last seen, at 25.2 °C (77 °F), and not after it: grown by the cores at most")

	text = cured(course([2]float64{0, 41}, [2]float64{10, 40}))
	assert.Contains(t, text, "and it was seen from 5.0 °C (41 °F) on only")
	assert.NotContains(t, text, "nowhere longer", "what was cold when the record began shows no chill")

	// Without a cure: the legs of a published chill of turkey (Glass et al., abstract).
	turkey := course([2]float64{0, 140}, [2]float64{20, 120}, [2]float64{80, 80}, [2]float64{380, 55}, [2]float64{680, 40})
	text = found(Work(failed(proof.Chilled, turkey)))
	assert.Contains(t, text, "less than 1 log10 at pH 5.8 to 6.6")
	late := course([2]float64{0, 140}, [2]float64{20, 120}, [2]float64{82, 80}, [2]float64{380, 55}, [2]float64{680, 40})
	text = found(Work(failed(proof.Chilled, late)))
	assert.Contains(t, text, "just over the limit is not shown to be safe")
	assert.NotContains(t, text, "less than 1 log10 at pH 5.8 to 6.6")
}

// An hour at 40 °C is 4 doublings of S. aureus and 3.75 of Salmonella, 1.204 and 1.129 log10:
// rounded up, and the larger one is added to what a second cook must kill. What nobody saw
// counts as if it had been there, a growth from a model comes before the bound, and what is
// more than is ever credited gets no second cook.
func TestWhatCanHaveGrownAtMost(t *testing.T) {
	batch := func(minutes float64) Batch {
		return failed(proof.CameUp, course([2]float64{0, 35}, [2]float64{1, 104}, [2]float64{1 + minutes, 104}, [2]float64{2 + minutes, 125}))
	}
	text := found(Work(batch(60)))
	assert.Contains(t, text, "grown by the cores at most 1.3 log10 of Staphylococcus aureus and 1.2 log10 of Salmonella")
	assert.Contains(t, text, "for the 1.3 log10 that can have grown by the cores at most: 7.8 log10")
	unseen := batch(60)
	for i := 20; i < 40; i++ {
		unseen.Course[i].Coldest, unseen.Course[i].Hottest, unseen.Course[i].Known = 0, 0, false
	}
	assert.Equal(t, text[strings.Index(text, "grown by"):strings.Index(text, "grown by")+90], func() string {
		u := found(Work(unseen))
		return u[strings.Index(u, "grown by"):][:90]
	}())
	modelled := batch(60)
	modelled.HasGrown, modelled.Grown = true, 0.4
	assert.NotContains(t, found(Work(modelled)), "that can have grown")
	assert.NotContains(t, text, "no second cook destroys its toxins")
	assert.Contains(t, found(Work(batch(150))), "no second cook destroys its toxins")
	assert.Contains(t, found(Work(batch(700))), "no second cook is worked out for so much")
	// The probe's error widens what is bounded; a long step bounds no more than its pieces.
	off := batch(60)
	for i := range off.Course {
		off.Course[i].Coldest, off.Course[i].Hottest = off.Course[i].Coldest-3, off.Course[i].Hottest-3
	}
	low := newWork(&off).grownAtMost()
	off.CoreError = 3
	assert.Greater(t, newWork(&off).grownAtMost(), low)
	fine := course([2]float64{0, 32}, [2]float64{120, 122})
	coarse := Course{fine[0], fine[len(fine)-1]}
	a, b := newWork(&Batch{Course: fine}).grownAtMost(), newWork(&Batch{Course: coarse}).grownAtMost()
	assert.GreaterOrEqual(t, b, a)
	assert.Less(t, b, 1.1*a)
}

// What somebody's model says has grown is added to the target: the guideline's own example
// has 3.0 log10 grown, which makes 9.5 of 6.5.
func TestWhatHasGrownIsKilledAsWell(t *testing.T) {
	b := failed(proof.CameUp, course([2]float64{0, 40}, [2]float64{500, 135}))
	b.HasGrown, b.Grown = true, 3
	text := found(Work(b))
	assert.Contains(t, text, "for 3 log10 grown: 9.5 log10")
	assert.NotContains(t, text, "for 1 log10 grown")
}

// A way that counts from the end of the cook counts from the last of the hottest samples,
// unless it had cooled before: then from the first.
func TestTheEndOfTheCook(t *testing.T) {
	rule := chilling.ScarmUncured()
	once := course([2]float64{0, 150}, [2]float64{60, 150}, [2]float64{200, 122}, [2]float64{400, 53.6}, [2]float64{480, 41})
	legs := rule.Legs(once.Chilled(rule, 0))
	assert.Equal(t, 140*time.Minute, legs[0].Took, "122 °F is 50 °C")
	twice := course([2]float64{0, 150}, [2]float64{60, 120}, [2]float64{120, 160}, [2]float64{200, 122}, [2]float64{400, 53.6}, [2]float64{480, 41})
	assert.Equal(t, 200*time.Minute, rule.Legs(twice.Chilled(rule, 0))[0].Took)
	unseen := course([2]float64{0, 150}, [2]float64{60, 150}, [2]float64{200, 122})
	unseen[30].Known = false
	assert.Equal(t, 200*time.Minute, rule.Legs(unseen.Chilled(rule, 0))[0].Took)
	require.False(t, rule.Pass(unseen.Chilled(rule, 0)))
}

// What was uncured in the warm, and what was served hot, have steps of their own.
func TestWarmAndServedHot(t *testing.T) {
	b := failed(proof.Process, nil)
	b.Uncured = true
	assert.Contains(t, found(Work(b)), "without nitrite Clostridium botulinum")
	b = failed(proof.Chilled, course([2]float64{0, 40}, [2]float64{60, 160}))
	b.ServedHot = true
	assert.Contains(t, found(Work(b)), "never below 57.2 °C (135 °F) for longer than 2 h")
}
