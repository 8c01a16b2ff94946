package bootclock

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheMarkIsOfThisBoot(t *testing.T) {
	dir := t.TempDir()
	at := func(boot string) *Clock { return &Clock{Boot: boot, Mark: filepath.Join(dir, "synchronised")} }
	assert.False(t, at("a").Synced(), "no mark")
	require.NoError(t, at("a").Leave())
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "whole or not at all")
	assert.True(t, at("a").Synced())
	assert.False(t, at("b").Synced(), "a run folder that was not emptied")
	assert.False(t, at("").Synced(), "a system that tells no boot from another")
	for _, other := range []string{"", "\n", "a b\n", "aa\n"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "synchronised"), []byte(other), 0o644))
		assert.False(t, at("a").Synced(), "%q", other)
	}
	seen := at("a")
	require.NoError(t, seen.Leave())
	assert.True(t, seen.Synced())
	require.NoError(t, os.Remove(seen.Mark))
	assert.True(t, seen.Synced(), "what was seen once holds")
	assert.Error(t, at("").Leave())
	assert.ErrorContains(t, (&Clock{Boot: "a", Mark: filepath.Join(dir, "none", "m")}).Leave(), "--mark")
}
