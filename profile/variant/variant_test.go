package variant_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/catalog"
	"fumarium/profile/variant"
)

func TestOneChange(t *testing.T) {
	e, err := catalog.Find("marjoram-ring") // 5 kg of meat, 75 g of salt
	require.NoError(t, err)
	for change, want := range map[string]string{
		"salt: 1.7 %":            "salt: 15.00 g to a kilogram of meat → 17.00 g to a kilogram of meat",
		"Salt:90 g":              "salt: 15.00 g to a kilogram of meat → 18.00 g to a kilogram of meat",
		"cure no. 1: 11 g":       "cure no. 1: 2.40 g to a kilogram of meat → 2.20 g to a kilogram of meat",
		"cook.chamber: 78 °C":    "stage cook, chamber: 80 °C → 78 °C",
		"smoke.after: 2 h":       "stage smoke, ends: 1 h 30 min → 2 h",
		"targets.core: 72 °C":    "core target: 71 °C → 72 °C",
		"shape.casing: collagen": "casing: natural → collagen",
	} {
		data, p, err := variant.Of(e.File, e.Data, []string{change})
		require.NoError(t, err, change)
		found := variant.Differences(e.Value, p)
		if assert.Len(t, found, 1, "%s: %v", change, found) {
			assert.Equal(t, want, found[0].String())
		}
		assert.InDelta(t, len(e.Data), len(data), 20, "all else stays as it is written")
	}
	same, p, err := variant.Of(e.File, e.Data, nil)
	require.NoError(t, err)
	assert.Equal(t, e.Data, same)
	assert.Empty(t, variant.Differences(e.Value, p))
	_, p, err = variant.Of(e.File, e.Data, []string{"salt: 1.7 %", "marjoram: 12 g", "cook.chamber: 76 °C"})
	require.NoError(t, err)
	assert.Len(t, variant.Differences(e.Value, p), 3)
	for change, why := range map[string]string{
		"salt": "is no change", "sage: 3 g": "stands nowhere", "salt: lots": "salt: lots", "cook.chamber: hot": "hot", "salt: 170 %": "more than the meat",
		"cook.damp: 3": "stands nowhere", "cook: 3": "cannot be changed", "product: ": "is no change", "cook.until: 3 h": "cannot be changed",
	} {
		_, _, err := variant.Of(e.File, e.Data, []string{change})
		assert.ErrorContains(t, err, why, change)
	}
}

// Whatever is asked for, what comes out is a product that differs in what is told, or an
// error.
func FuzzOf(f *testing.F) {
	e, err := catalog.Find("juniper-ham")
	require.NoError(f, err)
	for _, seed := range []string{"salt: 1.7 %", "cook.chamber: 78 °C", "salt: \"1\", x: 2", "product: a\\\"b", "source: x # y", "fresh ham: 3 kg"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, change string) {
		data, p, err := variant.Of(e.File, e.Data, []string{change})
		if err != nil {
			return
		}
		again, q, err := variant.Of(e.File, data, nil)
		if err != nil || string(again) != string(data) || len(variant.Differences(p, q)) > 0 {
			t.Fatalf("%q: %v", change, err)
		}
	})
}
