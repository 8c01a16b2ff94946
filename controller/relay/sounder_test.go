package relay

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// Whatever cannot be switched off, a wanted sounder sounds, and nothing else is on.
func TestTheSounderSoundsAllTheSame(t *testing.T) {
	for name, c := range map[string]struct {
		series bool
		fault  func(*circuit)
		err    error // nil is another than these
	}{
		"the only contact welded": {false, func(c *circuit) { c.welded["H"] = true }, ErrLive},
		"the first of two welded": {true, func(c *circuit) { c.welded["H"] = true }, ErrWelded},
		"both welded":             {true, func(c *circuit) { c.welded["H"], c.welded["S"] = true, true }, ErrLive},
		"heater's line dead":      {false, func(c *circuit) { c.failing["H"] = true }, nil},
		"fan's line dead":         {false, func(c *circuit) { c.failing["F"] = true }, nil},
		"feedback unreadable":     {false, func(c *circuit) { c.unread["V"] = true }, nil},
	} {
		t.Run(name, func(t *testing.T) {
			cab, k := full(), newCircuit()
			if !c.series {
				cab.Heater.Series = cabinet.Wire{}
			}
			b, err := Open(cab, k, k.wait)
			require.NoError(t, err)
			require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan)}))
			c.fault(k)
			err = b.Drive(controller.Outputs{On: controller.SetOf(controller.Sounder, controller.Smoke)})
			if c.err != nil {
				require.ErrorIs(t, err, c.err)
			} else {
				require.Error(t, err)
				assert.NotEqual(t, ErrLive, err, "it is not the contact alone")
			}
			assert.True(t, k.on["B"])
			for pin, on := range k.on {
				assert.True(t, pin == "B" || !on || k.failing[pin], pin)
			}
			for range 3 { // it stays on from step to step
				k.log = nil
				_ = b.Drive(controller.Outputs{On: controller.SetOf(controller.Sounder)})
				assert.NotContains(t, k.took(), "B")
				assert.True(t, k.on["B"])
			}
		})
	}
}
