package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/own"
)

// A file is kept once nothing is wrong with it, all that is wrong is said at once, and what
// is kept is listed, shown, sheeted and rehearsed by its name.
func TestOwnProducts(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	good := file(t, "My Ring.yaml", goodRing(t))
	status, out, errText := call(t, "products", "add", good)
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, "kept as my-ring;")
	dir, err := stateDir("")
	require.NoError(t, err)
	written, err := os.ReadFile(filepath.Join(dir, own.Folder, "my-ring.yaml"))
	require.NoError(t, err)
	assert.Equal(t, goodRing(t), string(written))

	status, out, _ = call(t, "products", "--json")
	require.Equal(t, exitGood, status)
	var list []listedProduct
	require.NoError(t, json.Unmarshal([]byte(out), &list))
	assert.True(t, list[0].Own)
	assert.Equal(t, "My own ring", list[0].Product)
	assert.False(t, list[1].Own)
	for _, args := range [][]string{{"sheet", "my-ring", "--meat", "2kg"}, {"rehearse", "my-ring"}, {"products", "--show", "my-ring"}} {
		status, out, errText = call(t, args...)
		assert.Equal(t, exitGood, status, errText)
		assert.Contains(t, out, "My own ring")
	}

	// Two faults of the formula and one of a stage: all are said, and nothing is kept.
	bad := strings.NewReplacer("mass: 12 g", "mass: 60 g", "diameter: 38 mm", "diameter: 380 mm").Replace(goodRing(t))
	for name, text := range map[string]string{"bad": bad, "broken": strings.NewReplacer("species: red meat", "species: red mead", "chamber: 80 °C", "chamber: 800 °C").Replace(goodRing(t))} {
		status, out, errText = call(t, "products", "add", file(t, name+".yaml", text))
		assert.Equal(t, exitBad, status)
		assert.Contains(t, errText, "was not kept")
		assert.GreaterOrEqual(t, strings.Count(out, "error: "), 1, out)
		_, out, _ = call(t, "products")
		assert.NotContains(t, out, name)
	}
	assert.Contains(t, func() string {
		_, out, _ := call(t, "products", "add", file(t, "two.yaml", strings.NewReplacer("species: red meat", "species: red mead", "chamber: 80 °C", "chamber: 800 °C").Replace(goodRing(t))))
		return out
	}(), "2 errors")

	// Nothing is written over in silence, and no shipped name is taken.
	changed := file(t, "my-ring.yaml", goodRing(t)+"# changed\n")
	status, _, errText = call(t, "products", "add", changed)
	assert.Equal(t, exitBad, status)
	assert.Contains(t, errText, "--replace")
	status, _, errText = call(t, "products", "add", changed, "--replace")
	assert.Equal(t, exitGood, status, errText)
	for _, as := range []string{"marjoram-ring", "../x", "My Ring"} {
		status, _, errText = call(t, "products", "add", changed, "--as", as)
		assert.Equal(t, exitUsage, status, errText)
	}
	cabinet := file(t, "cabinet.yaml", "cabinet: A box\n")
	status, out, _ = call(t, "products", "add", cabinet)
	assert.Equal(t, exitBad, status)
	assert.Contains(t, out, "file of a cabinet")

	status, _, _ = call(t, "products", "remove", "my-ring")
	assert.Equal(t, exitGood, status)
	status, _, _ = call(t, "products", "remove", "my-ring")
	assert.Equal(t, exitBad, status)
}
