package forecast_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/sim"
	"fumarium/sim/forecast"
)

// What a library costs a member, and what a forecast a minute; deploy/footprint.md has the
// figures.
func BenchmarkDraw(b *testing.B) {
	setup := cookingSetup(b)
	for i := range b.N {
		_, err := forecast.Draw(context.Background(), setup, i, 1, nil)
		require.NoError(b, err)
	}
}

func BenchmarkAt(b *testing.B) {
	const size = 64 // of a library, as the daemon has it
	setup := cookingSetup(b)
	members, err := forecast.Draw(context.Background(), setup, 0, 4, nil)
	require.NoError(b, err)
	l := &forecast.Library{Product: setup.Product}
	for len(l.Members) < size {
		l.Members = append(l.Members, members...)
	}
	cook, _ := members[0].Stage(2)
	now := members[0].Until((cook.Began + cook.Ended) / 2)
	require.Empty(b, l.At(now).Missing)
	b.ResetTimer()
	for range b.N {
		l.At(now)
	}
}

func cookingSetup(b *testing.B) sim.Setup {
	p, err := catalog.Find("marjoram-ring")
	require.NoError(b, err)
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(b, err)
	return sim.Setup{Product: p.Value, Cabinet: c.Value, Seed: 1, Excused: true}
}
