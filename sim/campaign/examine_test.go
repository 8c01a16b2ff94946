package campaign

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/sim"
)

// Good probes are never doubted, in rooms from 20 K below to 19 K above what the cabinet file
// expects.
func TestGoodProbesAreNotDoubted(t *testing.T) {
	long(t)
	stock, err := Shipped()
	require.NoError(t, err)
	coldest, warmest := 0.0, 0.0
	for seed := range uint64(2000) {
		setup := stock.Draw(seed)
		setup.Faults = nil
		w, err := sim.NewWorld(setup)
		require.NoError(t, err)
		m, err := controller.New(setup.Product, setup.Cabinet)
		require.NoError(t, err)
		s := sim.Examine(m, w)
		off := float64(*setup.Ambient - setup.Cabinet.Ambient)
		coldest, warmest = min(coldest, off), max(warmest, off)
		for _, d := range controller.Doubts(setup.Cabinet, &s) {
			assert.Fail(t, "a good probe is doubted", "seed %d: %s", seed, d.Text(setup.Cabinet))
		}
	}
	t.Logf("rooms from %.1f to %.1f K off what the file expects", coldest, warmest)
}
