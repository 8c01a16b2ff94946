package shipped

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/profile/catalog"
	"fumarium/profile/lint"
	"fumarium/profile/quantity"
)

func TestEveryCabinetParsesAndDiffers(t *testing.T) {
	all, err := All()
	require.NoError(t, err)
	require.Len(t, all, 4)
	names, windows, walls := map[string]bool{}, map[time.Duration]bool{}, map[string]bool{}
	rule, fanless, wetBulb, twoCores, ember := map[bool]bool{}, 0, 0, 0, 0
	for _, e := range all {
		c := e.Value
		assert.False(t, names[c.Name], "%s: the name %q is taken", e.Key, c.Name)
		names[c.Name] = true
		windows[c.Heater.Window] = true
		require.NotEmpty(t, c.Rehearsal.Wall, e.Key)
		walls[fmt.Sprint(c.Rehearsal.Wall)] = true
		rule[c.Rules.FanWithSmoke] = true
		if !c.Fan.Fitted {
			fanless++
		}
		cores := 0
		for _, p := range c.Probes {
			switch p.Role {
			case cabinet.WetBulbProbe:
				wetBulb++
			case cabinet.CoreProbe:
				cores++
			case cabinet.EmberProbe:
				ember++
			}
			assert.Equal(t, cabinet.Simulated, p.Chip, e.Key)
		}
		if cores > 1 {
			twoCores++
		}
		assert.NotEmpty(t, e.Data, e.Key)
	}
	assert.Len(t, windows, 4)
	assert.Len(t, walls, 4)
	assert.Len(t, rule, 2)
	assert.Equal(t, 1, fanless)
	assert.Equal(t, 3, wetBulb)
	assert.Equal(t, 3, twoCores)
	assert.Equal(t, 2, ember)
}

// No two generators are alike, what their files say follows from fuel and air is what
// Parse makes of them, and nothing about a shipped cabinet is unwise. Own magnitudes,
// no source.
func TestGeneratorsDifferAndSayWhatFollows(t *testing.T) {
	all, err := All()
	require.NoError(t, err)
	fuel, air, share, times := map[quantity.Kilograms]bool{}, map[quantity.CubicMetersPerSecond]bool{}, map[quantity.Ratio]bool{}, map[string]bool{}
	for _, e := range all {
		g := e.Value.Generator
		follows := fmt.Sprintf("its ember glows after %s, and a filling lasts %s",
			quantity.FormatDuration(g.FullAir.Round(30*time.Second)), quantity.FormatDuration(g.Lasts.Round(10*time.Minute)))
		assert.Contains(t, string(e.Data), "chips", e.Key)
		assert.Contains(t, string(e.Data), follows, e.Key)
		fuel[g.Fuel], air[g.Air], share[g.Share()], times[follows] = true, true, true, true
		assert.Empty(t, cabinet.Lint(e.Value, e.File), e.Key)
	}
	for _, different := range []int{len(fuel), len(air), len(share), len(times)} {
		assert.Equal(t, len(all), different)
	}
}

// The sizes and powers that the trade builds: volume 0.15 to 0.6 m³ and 800 to
// 2000 W at home, common practice, no source; a bare box is smaller, a walk-in
// larger.
func TestSizes(t *testing.T) {
	for key, want := range map[string]struct{ low, high, watts float64 }{
		"steel-box":       {0.05, 0.1, 800},
		"plywood-cabinet": {0.35, 0.45, 1500},
		"fridge-body":     {0.2, 0.3, 1200},
		"masonry-walk-in": {3, 4, 6000},
	} {
		e, err := Find(key)
		require.NoError(t, err)
		r := e.Value.Rehearsal
		volume := float64(r.Width * r.Depth * r.Height)
		assert.GreaterOrEqual(t, volume, want.low, key)
		assert.LessOrEqual(t, volume, want.high, key)
		assert.InDelta(t, want.watts, float64(e.Value.Heater.Power), 0.5, key)
	}
}

func TestFind(t *testing.T) {
	for wanted, key := range map[string]string{
		Default: Default, "Masonry WALK-in": "masonry-walk-in", "fridge": "fridge-body",
		"converted": "fridge-body", " sheet": "steel-box",
	} {
		e, err := Find(wanted)
		require.NoError(t, err, wanted)
		assert.Equal(t, key, e.Key, wanted)
	}
	for _, wanted := range []string{"", "barrel"} {
		_, err := Find(wanted)
		require.Error(t, err, wanted)
		for _, key := range Names() {
			assert.ErrorContains(t, err, key)
		}
	}
}

// Every shipped product can run in every shipped cabinet: what a cabinet knows
// adds no warning, and its heater can reach the hottest stage at all.
func TestEveryProductSuitsEveryCabinet(t *testing.T) {
	all, err := All()
	require.NoError(t, err)
	products, err := catalog.All()
	require.NoError(t, err)
	for _, e := range all {
		c := e.Value
		context := lint.Cabinet{
			Filling: c.Generator.Lasts, HasAmbient: true, Ambient: c.Ambient, ChamberHigh: c.Limits.ChamberHigh,
		}
		for _, p := range products {
			for _, f := range lint.Product(p.Value, p.File, context) {
				t.Errorf("%s: %v", e.Key, f)
			}
			for _, s := range p.Value.Stages {
				if s.Heat {
					assert.Less(t, float64(s.ChamberSetpoint-c.Ambient), float64(c.Response.Gain), "%s in %s: %s", p.Key, e.Key, s.Name)
				}
			}
		}
	}
}
