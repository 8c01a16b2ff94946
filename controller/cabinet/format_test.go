package cabinet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A cabinet file of this format is what one without a word of it is; a newer one is
// refused before anything in it can be misunderstood.
func TestFormatOfTheFile(t *testing.T) {
	text := "cabinet: Box\nambient: 15 °C\nprobes: [{name: chamber, role: chamber, chip: simulated}]\nheater: {pin: simulated, power: 1 kW}\n" +
		"limits: {chamber: 100 °C}\nresponse: {gain: 120 K, lag: 20 min, second lag: 2 min, dead time: 30 s}\n"
	plain, err := Parse("box.yaml", []byte(text))
	require.NoError(t, err)
	said, err := Parse("box.yaml", []byte("format: 1\n"+text))
	require.NoError(t, err)
	assert.Equal(t, plain.Response, said.Response)
	_, err = Parse("box.yaml", []byte("format: 2\n"+strings.ReplaceAll(text, "heater", "element")))
	require.Error(t, err)
	assert.Contains(t, err.Error(), "box.yaml:1:9: format: the file is of format 2, and this program knows formats up to 1; use the newer program")
	assert.NotContains(t, err.Error(), "element: {", "one fault")
}
