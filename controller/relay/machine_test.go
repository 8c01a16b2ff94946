//go:build linux && machine

package relay

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// TestOnMachine runs on a line of a real kernel. It is built with the tag machine
// only, and switches line 0 of the chip whose label FUMARIUM_GPIO_LABEL gives: name
// one made for tests, of the kernel's gpio-sim or gpio-mockup.
//
//	FUMARIUM_GPIO_LABEL=gpio-sim.0-node0 go test -tags machine ./controller/relay
func TestOnMachine(t *testing.T) {
	label := os.Getenv("FUMARIUM_GPIO_LABEL")
	require.NotEmpty(t, label, "set FUMARIUM_GPIO_LABEL to the label of a chip made for tests")
	l, err := NewKernel().Output(Opts{Chip: label, Pin: "0", User: "fumarium test"})
	require.NoError(t, err)
	_, err = NewKernel().Output(Opts{Chip: label, Pin: "0"})
	require.ErrorIs(t, err, unix.EBUSY)
	assert.ErrorContains(t, err, "fumarium test")
	is, err := l.Read()
	require.NoError(t, err)
	assert.False(t, is, "off from the start")
	for _, on := range []bool{true, false, true} {
		require.NoError(t, l.Set(on))
		is, err := l.Read()
		require.NoError(t, err)
		assert.Equal(t, on, is)
	}
	require.NoError(t, l.Close())
	_, err = NewKernel().Output(Opts{Chip: "no such label", Pin: "0"})
	assert.ErrorContains(t, err, "no GPIO chip is labelled")
}
