package profile

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/diffusion"
	"fumarium/profile/quantity"
)

// Days to the middle from the series of Crank at 2e-10 m²/s, own arithmetic.
func TestCuredFromOutside(t *testing.T) {
	const day = 24 * time.Hour
	product := func(s Shape, f Formula) *Product {
		f.Cut = []Meat{{Name: "leg", Mass: 6, Water: 0.72}}
		return &Product{Shape: s, Formula: f}
	}
	slab := func(mm float64) Shape { return Shape{Form: Slab, Thickness: quantity.Meters(mm / 1000)} }
	round := func(mm float64) Shape { return Shape{Form: Cylinder, Diameter: quantity.Meters(mm / 1000)} }
	cure := func(m CureMethod) Cure { return Cure{Mass: 0.02, Nitrite: 0.0625, Method: m} }
	water := Ingredient{Name: "water", Mass: 6 * 0.72, As: Water}
	for _, c := range []struct {
		name string
		p    *Product
		days float64 // 0: nothing to wait for
	}{
		{"rubbed slab", product(slab(42), Formula{Cure: cure(DryRubbed)}), 7.75},
		{"rubbed ham", product(round(160), Formula{Cure: cure(DryRubbed)}), 81.0},
		{"a ball, taken for the slower cylinder", product(Shape{Form: Sphere, Diameter: 0.16}, Formula{Cure: cure(DryRubbed)}), 81.0},
		{"immersed slab", product(slab(42), Formula{Cure: cure(Immersed), Pickle: Pickle{Items: []Ingredient{water}, Uptake: 0.08}}), 26.3},
		{"immersed ham", product(round(160), Formula{Cure: cure(Immersed)}), 177.6},
		// As much water as the meat has: Fourier number 0.6546.
		{"slab in a pickle of its own water", product(slab(42), Formula{Cure: cure(Immersed), Pickle: Pickle{Items: []Ingredient{water}, LongCure: true}}), 0.6546 * 0.021 * 0.021 / 2e-10 / 86400},
		{"pumped", product(round(160), Formula{Cure: cure(Pumped)}), 0},
		{"minced", product(round(160), Formula{Cure: cure(Comminuted)}), 0},
		{"no cure", product(round(160), Formula{}), 0},
	} {
		in, ok := c.p.CuredFromOutside()
		assert.Equal(t, c.days > 0, ok, c.name)
		if ok {
			assert.InEpsilon(t, c.days, in.Needed.Hours()/24, 0.003, c.name)
			assert.InDelta(t, 0.9, in.Middle(diffusion.Salt, in.Needed), 1e-4, c.name)
		}
	}
	ham := product(round(160), Formula{Cure: cure(DryRubbed)})
	in, _ := ham.CuredFromOutside()
	assert.InDelta(t, 0, in.Middle(diffusion.Salt, 48*time.Hour), 1e-6)
	least, why := ham.Rest()
	assert.InEpsilon(t, 81.0, least.Hours()/24, 0.003)
	assert.Contains(t, why, "from memory")
	assert.Zero(t, least%time.Hour)
	thin, _ := product(slab(20), Formula{Cure: cure(DryRubbed)}).LeastRest()
	assert.Equal(t, 2*day, thin, "the trade's two days hold where diffusion wants less")
	assert.Greater(t, in.Takes(diffusion.Nitrite), 5*365*day, "nitrite in the middle is not shown by waiting")

	// What is pumped in is there from the start: half of the salt, and the rest has to come
	// to 80 % of itself, Fourier number 0.1713.
	pumped := product(round(160), Formula{Cure: Cure{Mass: 0.1, Nitrite: 0.01, Method: Pumped}, Cures: []Cure{{Mass: 0.1, Nitrite: 0.01, Method: DryRubbed}},
		Pickle: Pickle{Items: []Ingredient{{Name: "water", Mass: 0.9, As: Water}}, Uptake: 1. / 6}})
	in, ok := pumped.CuredFromOutside()
	require.True(t, ok)
	assert.InDelta(t, 0.5, in.Start, 1e-9)
	assert.InEpsilon(t, 0.1713*0.08*0.08/2e-10/86400, in.Needed.Hours()/24, 0.003)
	assert.InDelta(t, 0.5, in.Middle(diffusion.Salt, 0), 1e-9)
	pumped.Formula.Cures = nil
	pumped.Formula.Pickle.Pump, pumped.Formula.Pickle.Uptake = 1./12, 1./6 // as much again as it lies
	in, ok = pumped.CuredFromOutside()
	require.True(t, ok)
	assert.InDelta(t, 0.5, in.Start, 1e-9)
}
