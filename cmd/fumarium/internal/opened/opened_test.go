package opened

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/relay"
)

func box() *cabinet.Cabinet {
	return &cabinet.Cabinet{
		LineChip: "pinctrl-bcm2711",
		Heater:   cabinet.Relay{Fitted: true, Pin: "GPIO17", Series: cabinet.Wire{Fitted: true, Pin: "GPIO27", ActiveLow: true}},
		Sounder:  cabinet.Relay{Fitted: true, Pin: "GPIO24"},
	}
}

// Chip, polarity and the series relay come back as they went.
func TestWhatIsWrittenIsRead(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "not", "there yet")
	none, err := Read(dir)
	require.NoError(t, err)
	assert.Equal(t, Opening{}, none)
	o := Of("/etc/box.yaml", box())
	require.NoError(t, Write(dir, o))
	is, err := Read(dir)
	require.NoError(t, err)
	assert.Equal(t, o, is)
	assert.Equal(t, []relay.Pin{
		{Output: "heater", Chip: "pinctrl-bcm2711", Pin: "GPIO17"},
		{Output: "heater 2", Chip: "pinctrl-bcm2711", Pin: "GPIO27", ActiveLow: true},
		{Output: "sounder", Chip: "pinctrl-bcm2711", Pin: "GPIO24"},
	}, is.Pins)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing but the file")

	c := box()
	c.Sounder.Pin, c.Heater.Series.ActiveLow = "GPIO25", false
	c.Heater.Feedback = cabinet.Wire{Fitted: true, Pin: "GPIO24"}
	assert.Empty(t, o.Beside("/etc/box.yaml", c), "the sounder's pin is an input now")
	c.Heater.Pin, c.LineChip = "17", ""
	assert.Empty(t, o.Beside("/etc/box.yaml", c), "the same lines, written otherwise")
	c.LineChip = "another"
	assert.Len(t, o.Beside("/etc/box.yaml", c), 3, "the same names on another chip")
	c = box()
	c.Heater.Series.ActiveLow = false
	assert.False(t, o.By(c)[1].ActiveLow)
	assert.True(t, o.Pins[1].ActiveLow)

	require.NoError(t, Forget(dir))
	require.NoError(t, Forget(dir))
	none, err = Read(dir)
	require.NoError(t, err)
	assert.Empty(t, none.Pins)
}

// A file cut at any byte, which only a broken disk makes, is an error and no smaller
// opening.
func TestATornOpeningIsNone(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, Write(dir, Of("/etc/box.yaml", box())))
	name := filepath.Join(dir, File)
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	for n := range len(data) - 1 { // without its last line's end it is whole
		require.NoError(t, os.WriteFile(name, data[:n], 0o600))
		o, err := Read(dir)
		require.ErrorContains(t, err, name, "%d bytes", n)
		require.Empty(t, o.Pins)
	}
	require.NoError(t, os.WriteFile(name, []byte(`{"outputs": [{"output": "heater"}]}`), 0o600))
	_, err = Read(dir)
	require.ErrorContains(t, err, "an output without a name or a pin")
	require.NoError(t, Write(dir, Of("/etc/box.yaml", box())), "which the next opening mends")
}
