package plant

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
)

// batch drives a plant through drying, smoking, cooking and chilling, with
// witnesses beside the product.
func batch(p *Plant, see func(Drive), witnesses ...*Witness) {
	for s := range 6 * 3600 {
		d := Drive{Damper: 0.3, Place: profile.Chamber, Fan: s < 3600, Smoke: s >= 3600 && s < 7200}
		d.Heater = p.Chamber() < 78
		if s > 5*3600 {
			d = Drive{Place: profile.IceWater}
		}
		if s > 5*3600+1800 {
			d = Drive{Place: profile.ColdRoom}
		}
		p.Advance(time.Second, d)
		for _, w := range witnesses {
			w.Follow(p, time.Second)
		}
		see(d)
	}
}

// A witness like the product must go where the product goes: it is the same piece,
// solved by itself.
func TestWitnessLikeTheProduct(t *testing.T) {
	for name, config := range map[string]Config{"small sticks": smallLoad(), "large pieces": largeLoad()} {
		p := build(t, config)
		like := config.Load
		like.Mass /= 7 // its mass does not matter
		w, err := NewWitness(like)
		require.NoError(t, err)
		worst, worstSurface := 0.0, 0.0
		batch(p, func(Drive) {
			worst = max(worst, abs(w.Core()-float64(p.Core())))
			worstSurface = max(worstSurface, abs(w.Surface()-float64(p.Surface())))
		}, &w)
		assert.Less(t, worst, 0.1, "%s: core, K", name)
		assert.Less(t, worstSurface, 1.0, "%s: surface, K", name)
		t.Logf("%s: core within %.3f K, surface within %.3f K", name, worst, worstSurface)
	}
}

// A thicker piece in stiller air lags behind: colder while heat comes, warmer while
// it goes. The plant does not feel it.
func TestThickerWitnessLags(t *testing.T) {
	alone, watched := build(t, smallLoad()), build(t, smallLoad())
	thick := smallLoad().Load
	thick.Shape.Diameter *= 1.1
	thick.Shape.Thickness *= 1.1
	thick.FilmFactor = 0.8
	w, err := NewWitness(thick)
	require.NoError(t, err)
	heating, chilled := 0.0, 0.0
	batch(alone, func(Drive) {})
	n := 0
	batch(watched, func(d Drive) {
		n++
		switch {
		case n == 3600:
			heating = float64(watched.Core()) - w.Core()
		case n == 5*3600+120:
			chilled = w.Core() - float64(watched.Core())
		}
	}, &w)
	assert.Greater(t, heating, 0.5, "K colder after an hour of heat")
	assert.Greater(t, chilled, 0.5, "K warmer after two minutes in ice water")
	assert.Equal(t, *alone, *watched)
}

func abs(v float64) float64 { return max(v, -v) }

func BenchmarkWitness(b *testing.B) {
	p := build(b, smallLoad())
	w, err := NewWitness(smallLoad().Load)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		w.Follow(p, time.Second)
	}
}

// Something that burns warms the chamber by what it gives; a generator that has gone
// out only blows.
func TestFireAndUnlitGenerator(t *testing.T) {
	after := func(d Drive) float64 {
		p := build(t, smallLoad())
		p.Light()
		for range 600 {
			p.Advance(time.Second, d)
		}
		return float64(p.Chamber())
	}
	cold := after(Drive{Unlit: true})
	assert.Greater(t, after(Drive{Fire: 1000}), cold+20)
	assert.Greater(t, after(Drive{Smoke: true}), after(Drive{Smoke: true, Unlit: true})+1)
	assert.InDelta(t, cold, after(Drive{Unlit: true, Fire: -1000}), 1e-9, "a fire takes no heat away")
}
