package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/sim/fault"
)

// What is learned with noisy probes holds every cabinet closer than what its file has typed
// in, passes the setpoint by no more, and raises no alarm. Most of the error of a batch is in
// ramps that no law follows and in what is aimed lower for the damper: it is no larger by more
// than a tenth.
func TestWhatIsLearnedHoldsCloser(t *testing.T) {
	long(t)
	for _, name := range []string{"plywood-cabinet", "fridge-body", "masonry-walk-in", "steel-box"} {
		c := builtCabinet(t, name)
		s := Setup{Product: product(t, "marjoram-ring"), Cabinet: c, Seed: 1, Answer: Brisk}
		all, learned, err := Tune(context.Background(), s)
		require.NoError(t, err)
		require.NotEmpty(t, all)
		for _, l := range all {
			require.Empty(t, l.Refused, "%s, fan %v", name, l.Fan)
			assert.LessOrEqual(t, l.SlopeLeast, l.Slope)
			assert.GreaterOrEqual(t, l.SlopeMost, l.Slope)
		}
		before := rehearse(t, s)
		c.Learned = learned
		after := rehearse(t, s)
		assert.Less(t, *after.Control.HoldRMSKelvin, *before.Control.HoldRMSKelvin, name)
		assert.LessOrEqual(t, *after.Control.IAEKelvinSeconds, 1.1**before.Control.IAEKelvinSeconds, name)
		assert.LessOrEqual(t, *after.Control.OvershootKelvin, *before.Control.OvershootKelvin, name)
		most := 1.0
		if c.Damper.Fitted {
			most = 2 // each time that it shuts
		}
		assert.Less(t, *after.Control.OvershootKelvin, most, name)
		assert.Equal(t, controller.Complete.String(), after.Outcome)
		assert.Empty(t, after.Alarms, name)
		t.Logf("%-16s error %.1f to %.1f K·h, rms %.2f to %.2f K, over %.1f to %.1f K, relay %d to %d", name, *before.Control.IAEKelvinSeconds/3600, *after.Control.IAEKelvinSeconds/3600,
			*before.Control.HoldRMSKelvin, *after.Control.HoldRMSKelvin, *before.Control.OvershootKelvin, *after.Control.OvershootKelvin, before.RelayOperations, after.RelayOperations)
	}
}

// Every trip lives while a cabinet learns, and of a record that one ended nothing is
// learned.
func TestLearningTrips(t *testing.T) {
	for spec, why := range map[string]string{
		"chamber-open@8m": "chamber-lost",
		"heater-dead@0s":  "heat-unanswered",
	} {
		f, err := fault.Parse(spec)
		require.NoError(t, err, spec)
		all, _, err := Tune(context.Background(), Setup{
			Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1, Faults: []fault.Fault{f}, Answer: time.Hour,
		})
		require.NoError(t, err)
		for _, l := range all {
			assert.Contains(t, l.Refused, why, spec)
			assert.Zero(t, l.Gain)
		}
	}
}
