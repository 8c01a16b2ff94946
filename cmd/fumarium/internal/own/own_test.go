package own_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/own"
	"fumarium/profile/catalog"
)

func ring(t *testing.T) []byte {
	e, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	return e.Data
}

func TestAProductIsKeptAndFound(t *testing.T) {
	dir := t.TempDir()
	s := own.In(dir, catalog.Names)
	names, err := s.Names()
	require.NoError(t, err)
	assert.Empty(t, names)
	require.NoError(t, s.Add("my-ring", ring(t), false))
	require.NoError(t, s.Add("my-ring", ring(t), false), "the same again")
	item, ok, err := s.Find("my-ring")
	require.NoError(t, err)
	assert.True(t, ok)
	assert.Equal(t, "Marjoram ring sausage", item.Value.Name)
	assert.Equal(t, ring(t), item.Data)

	other := append(ring(t), "# mine\n"...)
	assert.ErrorIs(t, s.Add("my-ring", other, false), own.ErrTaken)
	item, _, _ = s.Find("my-ring")
	assert.Equal(t, ring(t), item.Data, "not written over in silence")
	require.NoError(t, s.Add("my-ring", other, true))
	item, _, _ = s.Find("my-ring")
	assert.Equal(t, other, item.Data)

	// What else lies there is not a product, and nothing half-written is left.
	require.NoError(t, os.WriteFile(filepath.Join(dir, own.Folder, "Notes.txt"), nil, 0o600))
	require.NoError(t, os.Symlink("/etc/passwd", filepath.Join(dir, own.Folder, "linked.yaml")))
	names, err = s.Names()
	require.NoError(t, err)
	assert.Equal(t, []string{"my-ring"}, names)
	_, _, err = s.Find("linked")
	assert.Error(t, err)
	entries, err := os.ReadDir(filepath.Join(dir, own.Folder))
	require.NoError(t, err)
	assert.Len(t, entries, 3)

	ok, err = s.Remove("my-ring")
	require.NoError(t, err)
	assert.True(t, ok)
	ok, err = s.Remove("my-ring")
	require.NoError(t, err)
	assert.False(t, ok)
}

func TestNames(t *testing.T) {
	s := own.In(t.TempDir(), catalog.Names)
	for _, bad := range []string{"", "-", "../x", "a/b", "A", "a b", "a.yaml", "ä", "-a", "a-", strings.Repeat("a", 61), "marjoram-ring"} {
		assert.Error(t, s.Add(bad, ring(t), true), bad)
		_, ok, err := s.Find(bad)
		assert.False(t, ok, bad)
		assert.NoError(t, err)
	}
	for text, want := range map[string]string{
		"/home/me/My Ring.yaml": "my-ring", `C:\x\Ring 2.YML`: "ring-2", "Wacholder-Schinken, groß": "wacholder-schinken-gross", "!!": "",
	} {
		assert.Equal(t, want, own.NameOf(text), text)
	}
	assert.Error(t, s.Add("big", make([]byte, own.MostBytes+1), false))
}

// Of many who add another file under one name at once, one gets it.
func TestWhoComesSecondLoses(t *testing.T) {
	s := own.In(t.TempDir(), catalog.Names)
	var kept atomic.Int64
	var wait sync.WaitGroup
	for i := range 16 {
		wait.Go(func() {
			err := s.Add("race", append(ring(t), strings.Repeat("#", i)+"\n"...), false)
			if err == nil {
				kept.Add(1)
			} else {
				assert.ErrorIs(t, err, own.ErrTaken)
			}
		})
	}
	wait.Wait()
	assert.EqualValues(t, 1, kept.Load())
}
