package sim

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// A damper that opens takes warm air at once, which no law can prevent; what holds the chamber
// with it open is known beforehand, so it is back sooner than where the integral has to learn
// that, and hardly over it.
func TestADamperThatOpensIsFedForward(t *testing.T) {
	long(t)
	const within = 1.5 // K
	for _, name := range []string{"plywood-cabinet", "fridge-body", "masonry-walk-in", "steel-box"} {
		c := builtCabinet(t, name)
		p := *product(t, "marjoram-ring")
		p.Stages = nil
		for i, damper := range []quantity.Ratio{0.25, 1} {
			p.Stages = append(p.Stages, profile.Stage{Name: "still", Heat: true, ChamberSetpoint: 55, Place: profile.Chamber,
				HasDamper: true, Damper: damper, Ask: []string{"", "Open the damper"}[i],
				Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 2 * time.Hour}}}})
		}
		m, err := controller.New(&p, c)
		require.NoError(t, err)
		opens := func(m *controller.Machine) (back int, over float64) {
			w, err := NewWorld(Setup{Product: &p, Cabinet: c, Seed: 1, Load: 1, Answer: Brisk})
			require.NoError(t, err)
			rest, _ := p.Rest()
			w.Order(controller.Command{Kind: controller.Start, Rested: rest, Excused: true})
			var s controller.State
			after := 0 // seconds that it is open
			require.NoError(t, Run(context.Background(), m, &s, w, func(o *Moment) bool {
				if s.Stage == 1 && !s.Asking {
					off := float64(w.plant.At(OnProbe) - 55)
					if after++; math.Abs(off) > within {
						back = after
					}
					over = max(over, off)
				}
				return after < 3600 && o.Now < 4*time.Hour
			}))
			require.Equal(t, 3600, after)
			return back, over
		}
		back, over := opens(m)
		before, _ := opens(m.Slack())
		t.Logf("%-16s back within %v K after %d s, %.1f K over; %d s where it is learned", name, within, back, over, before)
		assert.Less(t, float64(back), 0.92*float64(before), name)
		assert.LessOrEqual(t, over, 1.2, name)
	}
}
