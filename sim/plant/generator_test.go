package plant

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
)

// smoulderer has a generator of 240 g at 5 L/min, own magnitudes, no source. Own
// arithmetic: 5 L/min are 360 g of air an hour, for 73.5 g of wood, so a filling
// smoulders for 3 h 16 min at full air; its ember warms with a lag of 2 min 41 s and
// glows after 8 min 3 s; at 45 % of the air a filling lasts 7 h 5 min in all.
func smoulderer(t *testing.T) *Plant {
	c := smallLoad()
	c.Generator = cabinet.Generator{
		Fuel: 0.24, Air: 5. / 60_000, Heat: 80, Moisture: 0.04, FullAir: fullAir, TurnedDown: 0.45, Lasts: lasts,
	}
	p := build(t, c)
	require.False(t, p.Lit(), "nothing burns that nobody has lit")
	p.Advance(time.Hour, Drive{Smoke: true})
	require.False(t, p.Lit(), "least of all by air alone")
	p.Light()
	return p
}

const (
	fullAir = 483 * time.Second
	lasts   = 425 * time.Minute
)

// tend runs the pump as a cabinet does: full until the ember glows, then 27 s of every
// minute. It returns how long the generator smouldered.
func tend(p *Plant, limit time.Duration) time.Duration {
	for d := time.Duration(0); d < limit; d += time.Second {
		p.Advance(time.Second, Drive{Smoke: d < fullAir || d%time.Minute < 27*time.Second})
		if !p.Lit() {
			return d
		}
	}
	return limit
}

// The cabinet file's time of full air is when the ember has come to nineteen twentieths
// of its rise, and not much sooner.
func TestTheEmberGlowsWhenFullAirEnds(t *testing.T) {
	p := smoulderer(t)
	risen := func() float64 { return float64(p.Ember()-20) / (emberRise + breathRise) }
	p.Advance(fullAir/2, Drive{Smoke: true})
	assert.Less(t, risen(), 0.8)
	p.Advance(fullAir/2, Drive{Smoke: true})
	assert.InDelta(t, 0.95, risen(), 0.01)
	assert.InDelta(t, 161, p.generator.lag, 1)
}

// A filling smoulders as long as its fuel and air say. Then it is out for good, and
// cools.
func TestAFillingLastsAsFuelAndAirSay(t *testing.T) {
	p := smoulderer(t)
	lasted := tend(p, 10*time.Hour)
	assert.InDelta(t, lasts.Minutes(), lasted.Minutes(), 8)
	assert.Greater(t, p.Ember(), p.Chamber()+200)
	p.Advance(time.Hour, Drive{Smoke: true})
	assert.False(t, p.Lit())
	assert.Less(t, float64(p.Ember()), 30.0)
	p.Light()
	assert.InDelta(t, lasts.Minutes(), tend(p, 10*time.Hour).Minutes(), 8, "a new filling")

	// More air burns it faster, and gives the same vapour in the end.
	p = smoulderer(t)
	p.Advance(3*time.Hour, Drive{Smoke: true})
	assert.True(t, p.Lit())
	p.Advance(30*time.Minute, Drive{Smoke: true})
	assert.False(t, p.Lit(), "at full air 3 h 16 min")
}

// Wood that smoulders has 300 to 600 °C (from memory). Less air, less heat; no air, and
// it dies within ten minutes or so, not at once (own magnitude, no source).
func TestAnEmberLivesOnAir(t *testing.T) {
	p := smoulderer(t)
	p.Advance(2*fullAir, Drive{Smoke: true})
	full := float64(p.Ember())
	assert.True(t, full > 450 && full < 620, "%v °C", full)
	tend(p, time.Hour)
	turned := float64(p.Ember())
	assert.True(t, turned > 350 && turned < full-30, "%v °C", turned)

	pause := *p
	pause.Advance(5*time.Minute, Drive{})
	assert.True(t, pause.Lit(), "five minutes of an open door")
	tend(&pause, 15*time.Minute)
	assert.True(t, pause.Lit())
	assert.Greater(t, float64(pause.Ember()), turned-20, "it comes back")

	died := time.Duration(0)
	for ; p.Lit(); died += time.Second {
		p.Advance(time.Second, Drive{})
	}
	assert.True(t, died > 7*time.Minute && died < 15*time.Minute, "%v", died)
	p.Advance(time.Hour, Drive{Smoke: true})
	assert.False(t, p.Lit(), "air does not bring back what is out")
}

func TestAGeneratorThatDrawsByItselfBurnsOn(t *testing.T) {
	p := smoulderer(t)
	p.Advance(20*time.Minute, Drive{Smoke: true})
	p.Advance(time.Hour, Drive{Draught: true})
	assert.True(t, p.Lit())
	assert.Greater(t, float64(p.Ember()), 300.0)
	p.Advance(4*time.Hour, Drive{Draught: true})
	assert.False(t, p.Lit(), "until its filling is gone")
}

// What goes out takes its heat and its vapour with it.
func TestAGeneratorThatGoesOutOnlyBlows(t *testing.T) {
	p := smoulderer(t)
	p.Advance(30*time.Minute, Drive{Smoke: true})
	p.Advance(time.Second, Drive{Smoke: true, Unlit: true})
	assert.False(t, p.Lit())
	burning, out := *p, *p
	burning.Light()
	burning.Advance(time.Hour, Drive{Smoke: true})
	out.Advance(time.Hour, Drive{Smoke: true})
	assert.Greater(t, burning.Chamber(), out.Chamber()+1)
	assert.Less(t, float64(out.Ember()), 40.0)
	p.Light()
	p.Advance(time.Second, Drive{Smoke: true, Unlit: true})
	p.Advance(time.Second, Drive{Smoke: true})
	assert.False(t, p.Lit(), "nor can it be lit meanwhile")
}
