package wiring

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/sensors"
	"fumarium/sim"
)

// The live loop's cabinet and the rehearsal's come to the same readings to the last bit:
// what the one does with them, the other does.
func TestRehearsalReadsWhatTheCabinetReads(t *testing.T) {
	entry, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	all, err := shipped.All()
	require.NoError(t, err)
	for _, c := range all {
		live, err := Open(c.Value, Options{Product: entry.Value, Seed: 6})
		require.NoError(t, err)
		rehearsed, err := sim.NewWorld(sim.Setup{Product: entry.Value, Cabinet: c.Value, Seed: 7}) // every batch takes the next seed
		require.NoError(t, err)
		out := controller.Outputs{On: controller.SetOf(controller.Heater), Damper: 1}
		for now := time.Duration(0); now < 10*time.Minute; now += time.Second {
			a, b := live.Sample(now), rehearsed.Sample(now)
			require.Equal(t, a, b, "%s at %s", c.Value.Name, now)
			require.NoError(t, live.Drive(out))
			rehearsed.Drive(out)
			rehearsed.Advance()
		}
		require.NoError(t, live.Close())
	}
}

// The next batch hangs in a cabinet that has cooled down: what the probes read in it is
// no jump from what they read at the end of the last.
func TestNextBatchIsReadAtOnce(t *testing.T) {
	entry, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	for name, c := range map[string]string{"chips": onChips, "no chips": ""} {
		bench := parse(t, onChips)
		if c == "" {
			bench = withoutChips(bench)
		}
		w, err := Open(bench, Options{Product: entry.Value})
		require.NoError(t, err)
		now := time.Duration(0)
		sample := func() controller.Inputs {
			now += time.Second
			return w.Sample(now)
		}
		for range 3600 {
			sample()
			require.NoError(t, w.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}))
		}
		hot, ok := sample().Chamber[0].Value()
		require.True(t, ok, name)
		require.Greater(t, hot, bench.Ambient+40, name)
		require.NoError(t, w.Hang(entry.Value))
		for range 60 {
			in := sample()
			for _, r := range []sensors.Reading{in.Chamber[0], in.Core[0]} {
				require.Equal(t, sensors.Good, r.Status(), name)
			}
			cold, _ := in.Chamber[0].Value()
			assert.InDelta(t, float64(bench.Ambient), float64(cold), 3, name)
		}
		require.NoError(t, w.Close())
	}
}
