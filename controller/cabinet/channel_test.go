package cabinet

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/sensors/channel"
)

// What the file says of a probe and of the cabinet is what its channel does.
func TestChannelOfAProbe(t *testing.T) {
	c := &Cabinet{Limits: Limits{ChamberHigh: 110}}
	p := Probe{Role: ChamberProbe, Offset: -0.4, Stretch: 0.01, Damping: 3 * time.Second}
	s := c.Channel(&p)
	assert.Equal(t, channel.Calibration{Offset: -0.4, Stretch: 0.01}, s.Calibration)
	assert.Equal(t, 4*time.Second, s.Lag(time.Second))
	assert.Equal(t, channel.Jump{Most: 15, Stays: 32 * time.Second, Hot: 110, HotStays: 5 * time.Second}, s.Jump)
	for _, role := range []Role{CoreProbe, WetBulbProbe, AmbientProbe} {
		s := c.Channel(&Probe{Role: role})
		assert.Equal(t, channel.Jump{Most: 20, Stays: 5 * time.Second}, s.Jump, role.String())
		assert.True(t, s.Lowest == -40 && s.Highest == 300, role.String())
	}
	s = c.Channel(&Probe{Role: EmberProbe})
	assert.Zero(t, s.Jump, "a torch is held to it")
	assert.Greater(t, float64(s.Highest), 1000.0)
}
