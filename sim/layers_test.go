package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/fault"
)

// The plant has one air. That its layers differ by 2 K between the chamber probe and the
// product moves times and calls, and no answer of a verdict: so it was in all 52 pairs of a
// shipped product and a cabinet, of which a quarter is rehearsed here. At 5 K it trips a
// sausage that ferments, and holds a turkey roll in a box that hardly reaches its heat.
func TestLayersOfAirChangeNoVerdict(t *testing.T) {
	long(t)
	quarter(t, func(p *profile.Product, c *cabinet.Cabinet) {
		setup := Setup{Product: p, Cabinet: c, Seed: 1, Faults: []fault.Fault{}}
		even := rehearse(t, setup)
		for _, setup.Warmer = range []quantity.Kelvin{2, -2} {
			layered := rehearse(t, setup)
			assert.Equal(t, even.Outcome, layered.Outcome, "%s in %s, %v", p.Name, c.Name, setup.Warmer)
			for rule := range even.Verdict {
				assert.Equal(t, even.Verdict[rule].Answer, layered.Verdict[rule].Answer, "%s in %s, %v: rule %d", p.Name, c.Name, setup.Warmer, rule)
			}
		}
	})
}
