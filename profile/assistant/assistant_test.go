package assistant

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/quantity"
)

func choice() Choice {
	return Choice{Name: "Trial", Kind: Sausage, Place: "US", Meat: "pork-shoulder-lean", Fat: "pork-back-fat", Percent: "25", Casing: "hog-38", Cure: "no-1", Core: "70", Mass: "5 kg"}
}

func written(t *testing.T, c Choice) *profile.Product {
	t.Helper()
	text, err := Write(c)
	require.NoError(t, err)
	p, err := profile.Parse("x.yaml", []byte(text))
	require.NoError(t, err, text)
	return p
}

// The columns of a row of the table are printed to 0.01 g in 100 g and determined one by
// one: they add up to 100 to within 4 % at most, and each row is named by number.
func TestRowsAddUp(t *testing.T) {
	keys := map[string]bool{}
	for _, row := range trims {
		sum := row.Water + row.Protein + row.Fat + row.Carbohydrate + row.Ash
		assert.InDelta(t, 100, sum, 2, row.Key)
		assert.Regexp(t, `^\d{5} [A-Z]`, row.Row)
		assert.False(t, keys[row.Key], row.Key)
		keys[row.Key] = true
		left := 100 - row.Water - row.Protein - row.Fat - row.Carbohydrate
		assert.GreaterOrEqual(t, left, 0.0, row.Key)
		mix := composition.Mix{Water: quantity.Ratio(row.Water / 100), Protein: quantity.Ratio(row.Protein / 100), Fat: quantity.Ratio(row.Fat / 100),
			Carbohydrate: quantity.Ratio(row.Carbohydrate / 100), Ash: quantity.Ratio(left / 100)}
		assert.NoError(t, mix.Check(), row.Key)
	}
}

// ASHRAE Handbook Refrigeration, "Thermal Properties of Foods", table of unfrozen
// composition, prints the same table of the department; its rows here are from memory.
func TestRowsOfAnotherPrint(t *testing.T) {
	for key, want := range map[string][3]float64{ // water, protein, fat
		"pork-back-fat": {7.69, 2.92, 88.69}, "pork-belly": {36.74, 9.34, 53.01}, "pork-shoulder-lean": {72.63, 19.55, 7.14}, "lamb-leg-lean": {74.11, 20.56, 4.51},
		"whitefish": {72.77, 19.09, 5.86},
	} {
		row := trimOf(key)
		assert.Equal(t, want, [3]float64{row.Water, row.Protein, row.Fat}, key)
	}
}

// By hand (Pearson's square): 7.14 % and 88.69 % make 25 % with (25 - 7.14) / (88.69 - 7.14) =
// 0.2190 of the fat, so 1.095 kg of 5 kg; and 150 ppm of 5 kg are 12 g of cure with 6.25 %.
func TestByHand(t *testing.T) {
	p := written(t, choice())
	require.Len(t, p.Formula.Cut, 2)
	assert.InDelta(t, 1.095, float64(p.Formula.Cut[1].Mass), 0.001)
	assert.InDelta(t, 5, float64(p.Formula.MeatMass()), 0.001)
	fat := 0.0
	for _, m := range p.Formula.Cut {
		fat += float64(m.Mass) * float64(m.Fat)
	}
	assert.InDelta(t, 0.25, fat/5, 0.0005)
	assert.InDelta(t, 0.012, float64(p.Formula.Cure.Mass), 1e-6)
	assert.InDelta(t, 0.018, float64(p.Formula.SaltMass())/5, 0.0001, "the salt of the cure counts")

	c := choice()
	c.Kind, c.Meat, c.Fat, c.Percent, c.Casing = Piece, "pork-loin-lean", None, None, "fibrous-65"
	p = written(t, c)
	ppm := float64(p.Formula.TakenUp().Cure.Mass) * float64(p.Formula.Cure.Nitrite) / 5 * 1e6
	assert.InDelta(t, 150, ppm, 1, "a tenth of the green weight carries it in")
	assert.InDelta(t, 0.018, float64(p.Formula.SaltMass())/5, 0.0002)
}

// Any poultry makes it poultry (FSIS Cooking Guideline 2021), game stays game, and what is
// not cured says nothing of a cure.
func TestSpecies(t *testing.T) {
	c := choice()
	c.Meat, c.Fat, c.Percent, c.Core = "beef-90", "chicken-skin", "20", "74"
	assert.Equal(t, profile.Poultry, written(t, c).Species)
	c.Core = "70"
	_, err := Write(c)
	assert.ErrorContains(t, err, `core "70" is not offered; take one of 74, 75`)
	c = choice()
	c.Meat, c.Fat, c.Percent, c.Core = "deer", "pork-back-fat", "20", "74"
	assert.Equal(t, profile.Game, written(t, c).Species)
	c = choice()
	c.Cure = None
	p := written(t, c)
	assert.False(t, p.Formula.Cured())
	for _, s := range p.Stages {
		if s.Heat {
			assert.GreaterOrEqual(t, s.ChamberSetpoint, quantity.Celsius(60), s.Name)
		}
	}
}

// Whatever key is spoilt, the refusal names what is offered instead.
func TestRefusals(t *testing.T) {
	c := choice()
	for i := range c.Fields() {
		for _, bad := range []string{"", "x", "../x", "none ", "\x00"} {
			spoilt := c
			*spoilt.Fields()[i].Value = bad
			_, err := Write(spoilt)
			assert.Error(t, err, "%s %q", c.Fields()[i].Key, bad)
		}
	}
	for _, bad := range []string{"", "a", "a: b", "a\nproduct: b", "- a", "{a}", "a # b", "5 a"} {
		spoilt := c
		spoilt.Name = bad
		_, err := Write(spoilt)
		assert.Error(t, err, bad)
	}
	for _, mass := range []string{"", "5", "0.4 kg", "201 kg"} {
		spoilt := c
		spoilt.Mass = mass
		_, err := Write(spoilt)
		assert.Error(t, err, mass)
	}
}

func TestOffersGoWithTheChoice(t *testing.T) {
	o := OffersFor(Choice{})
	assert.Len(t, o.Kinds, 3)
	assert.Empty(t, o.Meats)
	c := Choice{Kind: Sausage, Meat: "pork-shoulder", Fat: "pork-belly"}
	for _, p := range OffersFor(c).Percents {
		var percent int
		_, err := fmt.Sscan(p.Key, &percent)
		require.NoError(t, err)
		share := shareOf(trimOf(c.Meat), trimOf(c.Fat), percent)
		assert.False(t, math.IsNaN(share) || share < 0.05 || share > 0.5)
	}
	assert.False(t, slices.ContainsFunc(OffersFor(Choice{Kind: Piece, Place: "Canada"}).Cures, func(o Offer) bool { return o.Key == "curing-salt" }))
	assert.True(t, slices.ContainsFunc(OffersFor(Choice{Kind: Piece, Place: "EU"}).Cures, func(o Offer) bool { return o.Key == "curing-salt" }))
}
