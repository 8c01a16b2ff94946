package plant

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
)

func smoulderer(t *testing.T) *Plant {
	c := smallLoad()
	c.Generator = cabinet.Generator{
		Burn: 270 * time.Minute, Heat: 150, Air: 10. / 60_000, Moisture: 0.06, Lighting: 12 * time.Minute, TurnedDown: 0.6,
	}
	p := build(t, c)
	require.False(t, p.Lit(), "nothing burns that nobody has lit")
	p.Advance(time.Hour, Drive{Smoke: true})
	require.False(t, p.Lit(), "least of all by air alone")
	p.Light()
	return p
}

// tend runs the pump as a cabinet does: full for the lighting time, then 36 s of every
// minute. It returns how long the generator smouldered.
func tend(p *Plant, limit time.Duration) time.Duration {
	for d := time.Duration(0); d < limit; d += time.Second {
		p.Advance(time.Second, Drive{Smoke: d < 12*time.Minute || d%time.Minute < 36*time.Second})
		if !p.Lit() {
			return d
		}
	}
	return limit
}

// A filling burns four to five hours: common practice, no source. Then it is out for
// good, and cools.
func TestAFillingBurnsFourToFiveHours(t *testing.T) {
	p := smoulderer(t)
	lasted := tend(p, 8*time.Hour)
	assert.Greater(t, lasted, 4*time.Hour)
	assert.Less(t, lasted, 5*time.Hour)
	assert.InDelta(t, 270, lasted.Minutes(), 5, "as the cabinet file says")
	assert.Greater(t, p.Ember(), p.Chamber()+200)
	p.Advance(time.Hour, Drive{Smoke: true})
	assert.False(t, p.Lit())
	assert.Less(t, float64(p.Ember()), 30.0)
	p.Light()
	assert.Greater(t, tend(p, 5*time.Hour), 4*time.Hour, "a new filling")

	// More air burns it faster, and gives the same vapour in the end.
	p = smoulderer(t)
	p.Advance(2*time.Hour+30*time.Minute, Drive{Smoke: true})
	assert.True(t, p.Lit())
	p.Advance(30*time.Minute, Drive{Smoke: true})
	assert.False(t, p.Lit(), "at full air 2 h 47 min")
}

// Wood that smoulders has 300 to 600 °C: common practice, no source. Less air, less
// heat; no air, and it dies within ten minutes or so, not at once.
func TestAnEmberLivesOnAir(t *testing.T) {
	p := smoulderer(t)
	p.Advance(12*time.Minute, Drive{Smoke: true})
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
