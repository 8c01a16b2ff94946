package sim

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
)

// figures are those of so many batches of one product in a cabinet that has learned, as life
// has them: with another load, size, room, air and mains voltage each, and a person who comes
// when they come; or with what has become of the cabinet besides.
func figures(t *testing.T, c *cabinet.Cabinet, key string, batches int, changed func(*Setup)) []controller.HeldFigure {
	all := make([]controller.HeldFigure, batches)
	var wg sync.WaitGroup
	for worker := range 2 {
		wg.Go(func() {
			for i := worker; i < batches; i += 2 {
				r := rand.New(rand.NewPCG(uint64(i), 0x6472696674))
				between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
				s := Setup{Product: product(t, key), Cabinet: c, Seed: uint64(i) + 1}
				room, start := quantity.Celsius(between(5, 25)), quantity.Celsius(between(2, 12))
				s.Ambient, s.Start = &room, &start
				s.Load = s.Product.Formula.Mass() * quantity.Kilograms(between(0.6, 1.1))
				s.Diameter = 2 * s.Product.Shape.HalfThickness() * quantity.Meters(between(0.95, 1.05))
				s.Humidity = quantity.Ratio(between(0.4, 0.8))
				s.Power = 1 + 0.03*r.NormFloat64() // of 1.5 % of the mains voltage
				if changed != nil {
					changed(&s)
				}
				h := controller.NewHeldHeat(s.Product, c)
				_, err := Watch(context.Background(), s, func(m *Moment) { h.See(s.Product, &m.Inputs, m.After, m.Out) })
				f, ok := h.Figure()
				assert.NoError(t, err)
				assert.True(t, ok, "%s, batch %d", key, i)
				assert.InDelta(t, float64(room), float64(f.Room), 3, "the chamber at rest is the room, with an offset of its probe")
				all[i] = f
			}
		})
	}
	wg.Wait()
	return all
}

// halved is with half of what insulates.
func halved(s *Setup) {
	s.rebuild(func(b *cabinet.Rehearsal) {
		b.Wall = slices.Clone(b.Wall)
		for i, layer := range b.Wall {
			if cabinet.Materials[layer.Material].Conductivity < 0.1 {
				b.Wall[i].Thickness /= 2
			}
		}
	})
}

func cracked(times quantity.SquareMeters) func(*Setup) {
	return func(s *Setup) { s.rebuild(func(b *cabinet.Rehearsal) { b.Leak *= times }) }
}

func middleOf(all []controller.HeldFigure) float64 {
	var ratios []float64
	for _, f := range all {
		ratios = append(ratios, f.Ratio)
	}
	slices.Sort(ratios)
	return quantile(ratios, 0.5)
}

// A life is the batches of a cabinet, drawn from figures at random or as the seasons have the
// room.
type life struct {
	*rand.Rand
	phase, period float64 // of the seasons, in batches; none at zero
	all           []controller.HeldFigure
}

func (l *life) batch(c *cabinet.Cabinet, pool []controller.HeldFigure) controller.Drift {
	if l.period > 0 {
		room := 15 + 10*math.Sin(l.phase+2*math.Pi*float64(len(l.all))/l.period)
		apart := func(f controller.HeldFigure) float64 { return math.Abs(float64(f.Room) - room) }
		pool = slices.SortedFunc(slices.Values(pool), func(a, b controller.HeldFigure) int { return cmp.Compare(apart(a), apart(b)) })[:8]
	}
	l.all = append(l.all, pool[l.IntN(len(pool))])
	return controller.DriftOf(c, l.all)
}

// What becomes of a cabinet shows in the heat that holds its chamber, in ordinary batches and
// with noisy probes: an element that gives a fifth less, insulation that is half gone, and
// mostly a gasket that gapes by ten times the cracks of before. Four times the cracks do not.
// In cabinets that are well it is said of fewer than one batch of a thousand, whatever the
// season.
func TestACabinetsDriftIsFound(t *testing.T) {
	long(t)
	const batches, lives = 24, 200 // of what has changed
	c := builtCabinet(t, "plywood-cabinet")
	const key = "marjoram-ring"
	_, learned, err := Tune(context.Background(), Setup{Product: product(t, key), Cabinet: c, Seed: 1, Answer: Brisk})
	require.NoError(t, err)
	c.Learned = learned
	well := figures(t, c, key, 60, nil) // enough for each season
	r := rand.New(rand.NewPCG(1, 2))
	for _, period := range []float64{0, 20, 40} {
		said, seen := 0, 0
		for range lives {
			l := life{Rand: r, phase: 2 * math.Pi * r.Float64(), period: period}
			for n := range 60 {
				d := l.batch(c, well)
				assert.False(t, n < 9 && d != controller.Drift{}, "it takes ten batches")
				if d != (controller.Drift{}) {
					seen++
				}
				if d.Beyond {
					said++
				}
			}
		}
		assert.Less(t, said*1000, seen, "seasons of %.0f batches", period)
		t.Logf("well, a year of %.0f batches: said of %d of %d batches that could be judged", period, said, seen)
	}
	other := *c
	other.Learned.FanOn.Gain++
	assert.Equal(t, controller.Drift{}, controller.DriftOf(&other, well), "it has learned anew")

	for _, kind := range []struct {
		what    string
		changed func(*Setup)
		within  float64 // batches, nine of ten lives
	}{
		{"element that gives a fifth less", func(s *Setup) { s.Power *= 0.8 }, 20},
		{"insulation half gone", halved, 15},
		{"cracks ten times", cracked(10), 0},
		{"cracks four times", cracked(4), 0},
		{"element that gives a fifth more", func(s *Setup) { s.Power *= 1.2 }, 0},
	} {
		after := figures(t, c, key, batches, kind.changed)
		const most = 40
		var took []float64
		never := 0
		for range lives {
			l, n := life{Rand: r}, 0
			for range 10 {
				l.batch(c, well)
			}
			for said := false; n < most && !said; n++ {
				said = l.batch(c, after).Beyond
			}
			if !controller.DriftOf(c, l.all).Beyond {
				never++
			}
			took = append(took, float64(n))
		}
		slices.Sort(took)
		t.Logf("%s: takes %.2f of before; said after %.0f batches in the middle, in nine of ten after %.0f, not within %d in %d of %d",
			kind.what, middleOf(after)/middleOf(well), quantile(took, 0.5), quantile(took, 0.9), most, never, lives)
		if kind.within > 0 {
			assert.LessOrEqual(t, quantile(took, 0.9), kind.within, kind.what)
		}
	}
}
