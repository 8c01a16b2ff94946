package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/profile/proof"
)

// A rehearsal shows the warmth of the air. That the simulated person says yes to a pH and
// a water activity shows nothing.
func TestARehearsalMeasuresNothing(t *testing.T) {
	long(t)
	product, err := catalog.Find("winter-savory-sausage")
	require.NoError(t, err)
	box, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	r, err := Rehearse(t.Context(), Setup{Product: product.Value, Cabinet: box.Value, Seed: 1}, nil, nil)
	require.NoError(t, err)
	assert.True(t, r.Good(), "the schedule did what it is for")
	assert.Equal(t, proof.Met, r.Verdict[proof.Process].Answer)
	assert.Contains(t, r.Verdict[proof.Process].Why, "the pH is the simulated person's word")
	assert.Equal(t, proof.NotShown, r.Verdict[proof.Keeping].Answer, r.Verdict[proof.Keeping].Why)
	assert.Equal(t, proof.NotShown, r.Verdict[proof.Killed].Answer)
}
