package cabinet

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestDamping(t *testing.T) {
	with := func(text, after, damping string) (*Cabinet, error) {
		require.Contains(t, text, after)
		return Parse("box.yaml", []byte(strings.Replace(text, after, after+", damping: "+damping, 1)))
	}
	c, err := with(niche, "offset: -0.4 K", "3 s")
	require.NoError(t, err)
	assert.Equal(t, 3*time.Second, c.Probes[0].Damping)
	assert.Zero(t, c.Probes[1].Damping)
	_, err = with(niche, "offset: -0.4 K", "31 s")
	assert.ErrorContains(t, err, "a slower reading would hide an overheating chamber")
	_, err = with(niche, "offset: -0.4 K", "3")
	assert.ErrorContains(t, err, "unit")
	_, err = with(least, "chip: simulated", "3 s")
	assert.ErrorContains(t, err, "a probe without a chip has no damping; remove the key, or name a chip")
}
