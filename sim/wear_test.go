package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// A mechanical relay closes no more than 150 times in an hour in which its window heats, with
// noisy probes, by the file's constants and by learned ones, and the chamber is held no worse
// for it than by a kelvin.
func TestAMechanicalRelayIsSpared(t *testing.T) {
	long(t)
	for _, name := range []string{"plywood-cabinet", "fridge-body", "masonry-walk-in", "steel-box"} {
		c := builtCabinet(t, name)
		s := Setup{Product: product(t, "marjoram-ring"), Cabinet: c, Seed: 1, Answer: Brisk}
		before := rehearse(t, s)
		spared := *c
		spared.Heater.Kind, spared.Heater.Window, spared.Heater.MinOn, spared.Heater.MinOff = cabinet.Mechanical, 24*time.Second, 2*time.Second, 2*time.Second
		s.Cabinet = &spared
		for _, learns := range []bool{false, true} {
			if learns {
				_, learned, err := Tune(context.Background(), s)
				require.NoError(t, err)
				spared.Learned = learned
			}
			most, heated := 0, time.Duration(0)
			var hour []time.Duration // when it closed, within the last hour of heating
			was := false
			r, err := Watch(context.Background(), s, func(m *Moment) {
				if m.After.Heater.Demand > 0 {
					heated += Step
				}
				on := m.Out.On.Has(controller.Heater)
				if on && !was {
					hour = append(hour, heated)
					for heated-hour[0] >= time.Hour {
						hour = hour[1:]
					}
					most = max(most, len(hour))
				}
				was = on
			})
			require.NoError(t, err)
			assert.LessOrEqual(t, most, 151, "%s: one more where the hour begins with a pulse", name)
			assert.LessOrEqual(t, *r.Control.HoldRMSKelvin, *before.Control.HoldRMSKelvin+1, name)
			assert.Empty(t, r.Alarms, name)
			t.Logf("%-16s learned %v: at most %d in an hour of heating; rms %.2f K, with the file's window %.2f K; operations %d, before %d", name, learns, most, *r.Control.HoldRMSKelvin, *before.Control.HoldRMSKelvin, r.RelayOperations, before.RelayOperations)
		}
	}
}
