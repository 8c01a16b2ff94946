package record

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The check of FORMAT.md shares nothing with this package: Python's hashlib and the
// system's own SQLite.
func TestFormatPageChecksTheChain(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("python3 is not on PATH; install it: apt-get install -y python3")
		}
		t.Skip("python3 is not on PATH; apt-get install -y python3 runs this test")
	}
	script := formatScript(t)
	run := func(file string) (string, error) {
		out, err := exec.Command(python, "-c", script, file).CombinedOutput()
		return string(out), err
	}
	file, id := chained(t)
	r, err := OpenReader(file)
	require.NoError(t, err)
	v, err := r.Verify(context.Background(), id)
	require.NoError(t, err)
	require.NoError(t, r.Close())
	out, err := run(file)
	require.NoError(t, err, out)
	assert.Contains(t, out, id)
	assert.Contains(t, out, v.Head.String())

	out, err = run(copyOf(t, filepath.Join("testdata", "version-1.db")))
	require.NoError(t, err, out)
	out, err = run(copyOf(t, filepath.Join("testdata", "flipped-byte.db")))
	require.Error(t, err)
	assert.Contains(t, out, "link 1 of 2026-11-25-1")
}

// formatScript is the check that FORMAT.md has.
func formatScript(t *testing.T) string {
	t.Helper()
	page, err := os.ReadFile("FORMAT.md")
	require.NoError(t, err)
	_, rest, ok := strings.Cut(string(page), "```python\n")
	require.True(t, ok)
	script, _, ok := strings.Cut(rest, "```")
	require.True(t, ok)
	return script
}
