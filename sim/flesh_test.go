package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/profile"
	"fumarium/sim/plant"
)

// What each shipped product is taken for, and what salt and cure make of the same meat.
func TestFlesh(t *testing.T) {
	for name, want := range map[string]plant.Flesh{
		"barn-loft-cheese": plant.Keeps, "bramble-deer-links": plant.SaltedComminuted, "caraway-sticks": plant.SaltedComminuted,
		"dill-trout-sides": plant.CuredMuscle, "yarrow-salmon": plant.CuredMuscle, "hayloft-chicken": plant.CuredMuscle, "heather-loin": plant.CuredMuscle,
		"lovage-turkey-roll": plant.CuredMuscle, "marjoram-ring": plant.SaltedComminuted, "mustard-slicer": plant.SaltedComminuted,
		"orchard-bacon": plant.CuredMuscle, "sorrel-mackerel": plant.CuredMuscle, "winter-savory-sausage": plant.SaltedComminuted,
	} {
		assert.Equal(t, want, Flesh(product(t, name)), name)
	}
	meat := profile.Formula{Cut: []profile.Meat{{Name: "thighs", Mass: 1, Water: .74, Protein: .2, Fat: .05}}}
	p := &profile.Product{Species: profile.Poultry, Formula: meat}
	assert.Equal(t, plant.RawMuscle, Flesh(p))
	p.Shape.Casing = profile.NaturalCasing
	assert.Equal(t, plant.Ground, Flesh(p))
	p.Formula.Other = []profile.Ingredient{{Name: "salt", Mass: 0.015, As: profile.Salt}}
	assert.Equal(t, plant.SaltedComminuted, Flesh(p))
	p.Shape.Casing = profile.NetCasing
	assert.Equal(t, plant.CuredMuscle, Flesh(p))
}
