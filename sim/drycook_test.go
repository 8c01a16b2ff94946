package sim

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// A sausage that hangs in dry air of 80 °C for half a day is long dry at its surface, which
// then gets what walls and tray shine on it: no core outruns the reading by that.
func TestALongDryCookTripsNothing(t *testing.T) {
	p, err := profile.Parse("long.yaml", []byte(`product: Long batch
shape: {form: cylinder, diameter: 60 mm, length: 400 mm, casing: fibrous}
species: red meat
formula:
  cut: [{name: pork trim, mass: 4 kg, water: 60 %, protein: 17 %, fat: 22 %}]
  other: [{name: salt, mass: 80 g, as: salt}]
stages:
  - {name: cook, chamber: 80 °C, smoke: on, until: {after: 12 h}}
`))
	require.NoError(t, err)
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	beyond := quantity.Kelvin(-1000)
	r, err := Watch(context.Background(), Setup{Product: p, Cabinet: c.Value, Seed: 1}, func(m *Moment) {
		if _, core := m.After.Unanswered(); core != 0 {
			beyond = max(beyond, core)
		}
	})
	require.NoError(t, err)
	assert.Equal(t, "complete", r.Outcome, r.Reason)
	t.Logf("the least air by the core comes to %.1f K over the reading", float64(beyond))
}
