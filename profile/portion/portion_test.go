package portion_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/formula"
	"fumarium/profile/portion"
	"fumarium/profile/quantity"
)

// Every shipped product, for less and for more meat: parts per million and shares stay what
// they were, by package formula, which knows nothing of the text; nothing but masses differs.
func TestEveryProductForAnotherMass(t *testing.T) {
	all, err := catalog.All()
	require.NoError(t, err)
	for _, e := range all {
		for _, meat := range []quantity.Kilograms{0.5, 1.234, 17, 500} {
			p, data, err := portion.File(e.File, e.Data, meat)
			require.NoError(t, err, e.Key)
			assert.InEpsilon(t, float64(meat), float64(p.Formula.MeatMass()), 1e-4, e.Key)
			if e.Value.Formula.Cured() {
				assert.InEpsilon(t, formula.NitritePPM(e.Value.Formula, formula.GreenWeight), formula.NitritePPM(p.Formula, formula.GreenWeight), 2e-4, e.Key)
			}
			assert.Equal(t, e.Value.Stages, p.Stages, e.Key)
			assert.Equal(t, e.Value.Shape, p.Shape, e.Key)
			was, is := strings.Split(string(e.Data), "\n"), strings.Split(string(data), "\n")
			require.Len(t, is, len(was))
			for i := range was {
				if was[i] != is[i] {
					assert.Contains(t, was[i], "mass: ", e.Key)
				}
			}
		}
		_, data, err := portion.File(e.File, e.Data, e.Value.Formula.MeatMass())
		require.NoError(t, err)
		assert.Equal(t, string(e.Data), string(data), "%s: as it is", e.Key)
	}
}

// The files that have every key there is, spoons and comments among them.
func TestEveryKey(t *testing.T) {
	names, err := filepath.Glob("../../cmd/fumarium/internal/keys/complete/product-*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(names), 4)
	for _, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		before, err := profile.Parse(name, data)
		require.NoError(t, err)
		after, _, err := portion.File(name, data, 2*before.Formula.MeatMass())
		require.NoError(t, err, name)
		assert.InEpsilon(t, 2*float64(before.Formula.Mass()), float64(after.Formula.Mass()), 1e-4, name)
	}
}

// By hand: 5 kg of meat with 12 g of cure, made for 1 kg, wants 2.4 g.
func TestByHand(t *testing.T) {
	e, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	noted := strings.Replace(string(e.Data), "mass: 12 g,", `mass: "0.4233 oz",`, 1) + "# mass: 5 kg of nothing\n"
	for _, text := range []string{string(e.Data), noted} {
		_, data, err := portion.File("ring.yaml", []byte(text), 1)
		require.NoError(t, err)
		assert.Contains(t, string(data), "{name: cure no. 1, mass: 2.4")
		assert.Contains(t, string(data), "{name: pork shoulder, mass: 840 g,")
	}
	_, data, err := portion.File("ring.yaml", []byte(noted), 1)
	require.NoError(t, err)
	assert.Contains(t, string(data), "# mass: 5 kg of nothing", "a comment is not of the formula")
}

func TestRefuses(t *testing.T) {
	e, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	for _, meat := range []quantity.Kilograms{0, -1, 0.09, 501} {
		_, _, err := portion.File("ring.yaml", e.Data, meat)
		assert.Error(t, err)
	}
	// Keys in quotes are good YAML and not seen here: refused, not half done.
	quoted := strings.Replace(string(e.Data), "mass: 12 g,", `"mass": 12 g,`, 1)
	_, err = profile.Parse("ring.yaml", []byte(quoted))
	require.NoError(t, err)
	_, _, err = portion.File("ring.yaml", []byte(quoted), 1)
	assert.ErrorContains(t, err, "change its masses in the file")
	for _, text := range []string{"", "5", "0.05 kg", "1 t", "501 kg", "3 cm"} {
		_, err := portion.ParseMeat(text)
		assert.Error(t, err, text)
	}
	meat, err := portion.ParseMeat("11 lb 4 oz") // the international pound is 0.45359237 kg
	require.NoError(t, err)
	assert.InDelta(t, 11.25*0.45359237, float64(meat), 1e-9)
}
