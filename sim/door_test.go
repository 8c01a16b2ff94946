package sim_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// A switch on the simulated door tells what the door really does; without one the
// controller knows of no door.
func TestTheDoorSwitchTellsTheTruth(t *testing.T) {
	product, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	box, err := shipped.Find("steel-box")
	require.NoError(t, err)
	for _, fitted := range []bool{false, true} {
		c := *box.Value
		c.Door.Fitted, c.Door.Pin = fitted, cabinet.Simulated
		open, shut, heated := 0, 0, false
		_, err := sim.Watch(t.Context(), sim.Setup{Product: product.Value, Cabinet: &c, Seed: 1, Longest: time.Hour,
			Faults: []fault.Fault{{Kind: fault.DoorOpen, At: 30 * time.Minute, For: 5 * time.Minute}}}, func(m *sim.Moment) {
			if !fitted {
				assert.Equal(t, controller.NoDoorSwitch, m.Inputs.Door)
				return
			}
			assert.Equal(t, m.World.Driven().DoorOpen, m.Inputs.Door == controller.DoorOpen)
			switch m.Inputs.Door {
			case controller.DoorOpen:
				open++
				heated = heated || m.After.Out.On.Has(controller.Heater)
			case controller.DoorShut:
				shut++
			}
		})
		require.NoError(t, err)
		if fitted {
			assert.Equal(t, 300, open)
			assert.Equal(t, 3301, shut)
			assert.False(t, heated)
		}
	}
}
