package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile"
)

// smoked is a ring sausage in a cabinet with an ember probe, lit a little after 54
// minutes and smoked for an hour and a half.
func smoked(t testing.TB, specs ...string) Setup {
	s := faulty(t, specs...)
	s.Product, s.Cabinet, s.Longest = product(t, "marjoram-ring"), builtCabinet(t, "fridge-body"), 24*time.Hour
	s.Answer = Brisk // the faults below are timed by it
	return s
}

func codes(r *Result) map[string]time.Duration {
	first := map[string]time.Duration{}
	for _, a := range r.Alarms {
		if _, known := first[a.Code]; !known {
			first[a.Code] = time.Duration(a.AtSeconds * float64(time.Second))
		}
	}
	return first
}

// A whole batch with every way that a generator goes wrong.
func TestARehearsalSaysWhatBecameOfTheEmber(t *testing.T) {
	long(t)
	out := time.Hour + 30*time.Minute
	for _, c := range []struct {
		spec, alarm      string
		from, to         time.Duration // when the alarm comes
		smoulder, atMost float64       // minutes
	}{
		{"", "", 0, 0, 89, 91},
		{"generator-out@1h30m", "ember-out", out, out + 10*time.Minute, 30, 40},
		{"generator-out@1h30m+1m", "ember-out", out, out + 10*time.Minute, 75, 85}, // somebody lights it again
		{"smoke-dead@1h30m+30m", "ember-out", out, out + 20*time.Minute, 50, 75},
		{"ember-open@1h30m+10m", "ember-unknown", out, out + 2*time.Minute, 89, 91},
		{"ember-slipped@1h30m", "ember-out", out, out + 5*time.Minute, 89, 91},
		{"generator-burning@1h", "ember-burning", 2*time.Hour + 40*time.Minute, 3 * time.Hour, 89, 91},
	} {
		t.Run(c.spec, func(t *testing.T) {
			var specs []string
			if c.spec != "" {
				specs = append(specs, c.spec)
			}
			r := rehearse(t, smoked(t, specs...))
			assert.True(t, r.Good(), "an ember is no matter of safety for the meat: %s %s %+v", r.Outcome, r.Reason, r.Alarms)
			at := codes(r)
			if c.alarm == "" {
				assert.Empty(t, at)
			} else if assert.Contains(t, at, c.alarm) {
				assert.Len(t, at, 1)
				assert.GreaterOrEqual(t, at[c.alarm], c.from)
				assert.LessOrEqual(t, at[c.alarm], c.to)
			}
			require.NotNil(t, r.Smoke.SmoulderedSeconds)
			assert.GreaterOrEqual(t, *r.Smoke.SmoulderedSeconds/60, c.smoulder)
			assert.LessOrEqual(t, *r.Smoke.SmoulderedSeconds/60, c.atMost)
			assert.InDelta(t, 90, *r.Smoke.AskedSeconds/60, 0.5)
		})
	}
}

// A probe that slipped out reads like an ember that is out. What it costs is full air for
// as long as an ember takes to glow, and not for the rest of the stage.
func TestASlippedEmberProbeCostsLittleAir(t *testing.T) {
	pumped := func(specs ...string) (d time.Duration) {
		_, err := Watch(context.Background(), smoked(t, specs...), func(m *Moment) {
			if m.After.Stage == 1 && m.After.Out.On.Has(controller.Smoke) {
				d += Step
			}
		})
		require.NoError(t, err)
		return d
	}
	more := pumped("ember-slipped@1h10m", "away@1h10m+3h") - pumped("away@1h10m+3h")
	full := builtCabinet(t, "fridge-body").Generator.FullAir
	assert.InDelta(t, full.Minutes()/2, more.Minutes(), 1, "it is turned down to a half anyway")
}

// More chips hold more heat.
func TestALargerEmberIsMissedLater(t *testing.T) {
	s := smoked(t, "generator-out@1h30m")
	s.Cabinet = builtCabinet(t, "masonry-walk-in")
	after := codes(rehearse(t, s))["ember-out"] - 90*time.Minute
	assert.Greater(t, after, 10*time.Minute)
	assert.Less(t, after, 16*time.Minute)
}

// Without an ember probe nothing says that it went out: that is what the hazard table
// owns up to.
func TestWithoutAnEmberProbeItGoesOutUnseen(t *testing.T) {
	s := smoked(t, "generator-out@1h30m")
	s.Cabinet = builtCabinet(t, "plywood-cabinet")
	r := rehearse(t, s)
	assert.Empty(t, codes(r))
	assert.Less(t, *r.Smoke.SmoulderedSeconds, 40*60.0)
}

// Full air until the ember glows, then what the file turns it down to; the ember lives
// on that for as long as the file's fuel and air say, and not longer; the chamber fan
// runs with the pump only where the file says that the pump's pressure is the greater.
func TestAWholeFillingGoesAsTheFileSays(t *testing.T) {
	long := *product(t, "marjoram-ring")
	long.Stages = append([]profile.Stage(nil), long.Stages[:3]...)
	smoke := &long.Stages[1]
	require.True(t, smoke.Smoke)
	smoke.Until, smoke.Fan = profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 7 * time.Hour}}}, 1
	for name, strong := range map[string]bool{"plywood-cabinet": false, "fridge-body": true} {
		c := builtCabinet(t, name)
		require.Equal(t, strong, c.Rules.FanWithSmoke)
		var lit, last time.Duration
		full, later, laterOn, together := 0, 0, 0, 0
		pumping := false
		r, err := Watch(context.Background(), Setup{Product: &long, Cabinet: c, Seed: 4, Longest: 12 * time.Hour}, func(m *Moment) {
			out := m.After.Out
			if out.On.Has(controller.Fan) && out.On.Has(controller.Smoke) {
				together++
			}
			if m.After.Stage != 1 || m.After.Asking {
				return
			}
			if lit == 0 && out.On.Has(controller.Smoke) { // the fan has coasted
				lit, pumping = m.Now, true
			}
			if lit == 0 {
				return
			}
			if m.World.Built().Lit() {
				last = m.Now
			}
			pumping = pumping && out.On.Has(controller.Smoke)
			switch since := m.Now - lit; {
			case pumping:
				full++
			case since < 3*time.Hour:
				later++
				if out.On.Has(controller.Smoke) {
					laterOn++
				}
			}
		})
		require.NoError(t, err)
		assert.InDelta(t, c.Generator.FullAir.Seconds(), full, 60, "%s: full air", name)
		share := float64(laterOn) / float64(later)
		assert.InDelta(t, float64(c.Generator.TurnedDown), share, 0.02, "%s: then a share of it", name)
		lasted := last - lit
		assert.InEpsilon(t, c.Generator.Lasts.Minutes(), lasted.Minutes(), 0.04, "%s: how long a filling lasts", name)
		assert.Equal(t, strong, together > 0, "%s: fan and pump together for %d s", name, together)
		at := codes(r)
		assert.Contains(t, at, "smoke-fuel-low")
		before := lit + c.Generator.Lasts - at["smoke-fuel-low"]
		assert.InDelta(t, 15, before.Minutes(), 3, "%s: said a quarter of an hour before", name)
		assert.Equal(t, name == "fridge-body", at["ember-out"] > 0, "an ember probe sees the end")
	}
}

// The probe in the wood is a probe like the others.
func TestEmberProbeIsSampled(t *testing.T) {
	w, err := NewWorld(smoked(t))
	require.NoError(t, err)
	cold, ok := w.Sample(0).Ember.Value()
	require.True(t, ok)
	assert.InDelta(t, 18, float64(cold), 1)
	w.Built().Light()
	w.Drive(controller.Outputs{On: controller.SetOf(controller.Smoke)})
	for range 900 {
		w.Advance()
	}
	w.Sample(15 * time.Minute)
	w.Sample(15 * time.Minute)
	hot, ok := w.Sample(15 * time.Minute).Ember.Value()
	require.True(t, ok, "three readings after a pause")
	assert.InDelta(t, float64(w.Built().Ember()), float64(hot), 10)
	assert.Greater(t, hot, w.setup.Cabinet.Generator.Ember)

	bare := smoked(t)
	bare.Cabinet = builtCabinet(t, "plywood-cabinet")
	w, err = NewWorld(bare)
	require.NoError(t, err)
	_, ok = w.Sample(0).Ember.Value()
	assert.False(t, ok, "a probe that is not fitted reads nothing")
	for _, p := range bare.Cabinet.Probes {
		assert.NotEqual(t, cabinet.EmberProbe, p.Role)
	}
}
