package sim

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/trip"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sim/fault"
)

// Front ends that report in steps of 0.25 K, with next to no noise, repeat a value for
// many minutes while all is well. That must not pass for a probe that stands still.
func TestQuietFrontEndsAreNotFrozen(t *testing.T) {
	products, err := catalog.All()
	require.NoError(t, err)
	cabinets, err := shipped.All()
	require.NoError(t, err)
	for i, p := range products {
		for j, c := range cabinets {
			if (i+j)%quietEvery != 0 {
				continue
			}
			for _, noise := range []float64{0.03, 0.1} {
				raised := map[string]int{}
				w, err := NewWorld(Setup{Product: p.Value, Cabinet: c.Value, Seed: 7, Faults: []fault.Fault{}})
				require.NoError(t, err)
				rest, _ := p.Value.Rest()
				command := controller.Command{Kind: controller.Start, Rested: rest}
				r := rand.New(rand.NewPCG(1, 2))
				quiet := func(v float64) sensors.Reading {
					return sensors.At(quantity.Celsius(math.Round((v+noise*r.NormFloat64())*4) / 4))
				}
				m, err := controller.New(p.Value, c.Value)
				require.NoError(t, err)
				var s controller.State
				for now := time.Duration(0); now < 24*time.Hour; now += Step {
					in := w.Sample(now)
					for n := range w.chamber {
						in.Chamber[n] = quiet(w.chamber[n].value)
					}
					for n := range w.core {
						in.Core[n] = quiet(w.core[n].value)
					}
					in.Command = command
					out, events := m.Advance(&s, &in)
					for _, e := range events {
						if e.Kind == controller.AlarmRaised {
							raised[e.Alarm.String()]++
						}
					}
					command = w.Answer(&s)
					if s.Begun && !s.Batch.Active() {
						break
					}
					w.Drive(out)
					w.Advance()
				}
				for _, code := range []trip.Code{trip.ChamberFrozen, trip.CoreFrozen, trip.CoreOut, trip.CoreTooHot} {
					assert.Zero(t, raised[code.String()], "%s in %s, noise %g K: %s", p.Value.Name, c.Value.Name, noise, code)
				}
			}
		}
	}
}

// quietEvery spares the tests most pairs of product and cabinet.
const quietEvery = 4
