package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// What is said beforehand not to be reached is not reached in a rehearsal either, and what is
// not said is.
func TestReachSaysWhatARehearsalThenShows(t *testing.T) {
	long(t)
	said := 0
	for _, name := range []string{"plywood-cabinet", "fridge-body", "masonry-walk-in", "steel-box"} {
		c := builtCabinet(t, name)
		for _, key := range []string{"marjoram-ring", "hayloft-chicken"} {
			p := product(t, key)
			s := Setup{Product: p, Cabinet: c, Seed: 1, Answer: time.Second}
			short, err := Reach(t.Context(), s)
			require.NoError(t, err)
			misses := map[int]*Short{}
			for i := range short {
				misses[short[i].Stage] = &short[i]
				t.Logf("%s, %s: %s", name, key, short[i].Finding(p, "").Message)
				said++
			}
			came := make([]float64, len(p.Stages))
			_, err = Watch(context.Background(), s, func(m *Moment) {
				if m.After.Batch.Active() {
					came[m.After.Stage] = max(came[m.After.Stage], float64(m.World.Plant().At(OnProbe)))
				}
			})
			require.NoError(t, err)
			for i := range p.Stages {
				asked, m := &p.Stages[i], misses[i]
				if asked.Place != profile.Chamber || !asked.Heat {
					continue
				}
				if m != nil && m.Behind == 0 {
					assert.Less(t, came[i], float64(asked.ChamberSetpoint), "%s, %s, %s", name, key, asked.Name)
					assert.Less(t, came[i], float64(m.Came)+1, "%s, %s, %s: no law gives more", name, key, asked.Name)
					assert.Greater(t, came[i], float64(m.Came)-12, "%s, %s, %s: less is aimed at before the damper closes", name, key, asked.Name)
				} else if m == nil {
					assert.Greater(t, came[i], float64(asked.ChamberSetpoint)-4, "%s, %s, %s", name, key, asked.Name)
				}
			}
		}
	}
	assert.Positive(t, said)
}

// More food than a cabinet's file says it is meant for is noted, and only that.
func TestTooMuchFoodIsNoted(t *testing.T) {
	p := *product(t, "hayloft-chicken")
	c := *builtCabinet(t, "masonry-walk-in")
	mass := p.Formula.Mass()
	for load, noted := range map[quantity.Kilograms]bool{0: false, mass * 0.99: true, mass * 1.01: false} {
		c.Load = load
		found, ok := TooMuch(&p, &c, "mine.yaml")
		assert.Equal(t, noted, ok, "%v", load)
		if ok {
			assert.Contains(t, found.Message, mass.String())
			assert.Contains(t, found.Message, load.String())
		}
	}
}
