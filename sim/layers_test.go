package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sim/fault"
)

// The plant has one air. That its layers differ by 2 K between the chamber probe and the
// product moves times and calls, and no answer of a verdict: so it was in all 52 pairs of a
// shipped product and a cabinet, of which a quarter is rehearsed here. At 5 K it trips a
// sausage that ferments, and holds a turkey roll in a box that hardly reaches its heat.
func TestLayersOfAirChangeNoVerdict(t *testing.T) {
	long(t)
	products, err := catalog.All()
	require.NoError(t, err)
	cabinets, err := shipped.All()
	require.NoError(t, err)
	for i, p := range products {
		for j, c := range cabinets {
			if (i+j)%quietEvery != 0 {
				continue
			}
			setup := Setup{Product: p.Value, Cabinet: c.Value, Seed: 1, Faults: []fault.Fault{}}
			even := rehearse(t, setup)
			for _, setup.Warmer = range []quantity.Kelvin{2, -2} {
				layered := rehearse(t, setup)
				assert.Equal(t, even.Outcome, layered.Outcome, "%s in %s, %v", p.Value.Name, c.Value.Name, setup.Warmer)
				for rule := range even.Verdict {
					assert.Equal(t, even.Verdict[rule].Answer, layered.Verdict[rule].Answer, "%s in %s, %v: rule %d", p.Value.Name, c.Value.Name, setup.Warmer, rule)
				}
			}
		}
	}
}
