package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/sim/fault"
)

// Front ends that report in steps of 0.25 K, with next to no noise, repeat a value for
// many minutes while all is well. That must not pass for a probe that stands still.
func TestQuietFrontEndsAreNotFrozen(t *testing.T) {
	long(t)
	pairs(t, 1, func(p *profile.Product, c *cabinet.Cabinet) {
		for _, noise := range []float64{0.03, 0.1} {
			raised := map[string]int{}
			w, err := NewWorld(Setup{Product: p, Cabinet: c, Seed: 7, Faults: []fault.Fault{}})
			require.NoError(t, err)
			w.noise, w.perKelvin = noise, 4
			rest, _ := p.Rest()
			w.Order(controller.Command{Kind: controller.Start, Rested: rest})
			m, err := controller.New(p, c)
			require.NoError(t, err)
			var s controller.State
			require.NoError(t, Run(t.Context(), m, &s, w, func(m *Moment) bool {
				for _, e := range m.Events {
					if e.Kind == controller.AlarmRaised {
						raised[e.Alarm.String()]++
					}
				}
				return m.Now < 24*time.Hour
			}))
			for _, code := range []trip.Code{trip.ChamberFrozen, trip.HeatUnanswered, trip.CoreFrozen, trip.CoreOut, trip.CoreTooHot} {
				assert.Zero(t, raised[code.String()], "%s in %s, noise %g K: %s", p.Name, c.Name, noise, code)
			}
		}
	})
}

// quarter is every fourth pair of a shipped product and a cabinet, so that each of either is
// among them.
func quarter(t *testing.T, do func(p *profile.Product, c *cabinet.Cabinet)) { pairs(t, 4, do) }

// pairs is every pair of them, or one of so many.
func pairs(t *testing.T, of int, do func(p *profile.Product, c *cabinet.Cabinet)) {
	products, err := catalog.All()
	require.NoError(t, err)
	cabinets, err := shipped.All()
	require.NoError(t, err)
	for i, p := range products {
		for j, c := range cabinets {
			if (i+j)%of == 0 {
				do(p.Value, c.Value)
			}
		}
	}
}
