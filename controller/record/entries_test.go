package record

import (
	"context"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/weighed"
)

// A file of a program that knew no entries gets some. What stood in it keeps its hashes, and
// stays as it was for who only reads.
func TestEntriesInAnOlderFile(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	old, err := os.ReadFile(filepath.Join("testdata", "layout-2.db"))
	require.NoError(t, err)
	file := filepath.Join(dir, Real.File())
	require.NoError(t, os.WriteFile(file, old, 0o644))
	before, err := OpenReader(file)
	require.NoError(t, err)
	batches, err := before.List(ctx)
	require.NoError(t, err)
	id := batches[0].ID
	was, err := before.Verify(ctx, id)
	require.NoError(t, err)
	require.True(t, was.Whole, was.String())
	notes, err := before.Notes(ctx, id)
	require.NoError(t, err)
	none, err := before.Entries(ctx, id)
	require.NoError(t, err)
	assert.Empty(t, none)
	uses, err := before.Uses(ctx, "P-77")
	require.NoError(t, err)
	assert.Empty(t, uses)
	require.NoError(t, before.Close())

	r := open(t, options(dir))
	m := Moment{Wall: time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC), ClockSet: true}
	said := []Entry{
		{Who: "Ada", Kind: Weighed, Subject: "salt", Value: .085, HasValue: true, Lot: "P-77"},
		{Who: "Ada", Kind: Weighed, Subject: weighed.Packed, Number: 2, Value: .4, HasValue: true},
		{Who: "Ada", Kind: Weighed, Subject: "juniper", Lot: "p-77"},
	}
	require.NoError(t, r.AddEntries(ctx, m, id, said))
	now, err := r.Verify(ctx, id)
	require.NoError(t, err)
	assert.True(t, now.Whole, now.String())
	assert.Equal(t, was.Links+1, now.Links, "all of them are one link")
	got, err := r.Entries(ctx, id)
	require.NoError(t, err)
	for i := range got {
		assert.True(t, got[i].Wall.Equal(m.Wall))
		got[i].Wall = time.Time{}
	}
	assert.Equal(t, said, got)
	after, err := r.Notes(ctx, id)
	require.NoError(t, err)
	assert.Equal(t, notes, after, "an entry is no note")
	uses, err = r.Uses(ctx, "P-77")
	require.NoError(t, err)
	require.Len(t, uses, 1, "one batch, however often")
	assert.Equal(t, id, uses[0].Batch)
	assert.Len(t, uses[0].Entries, len(said))

	require.Error(t, r.AddEntries(ctx, m, id, nil))
	require.Error(t, r.AddEntries(ctx, m, id, []Entry{{Kind: Weighed}}))
	require.Error(t, r.AddEntries(ctx, m, id, []Entry{said[0], {Kind: Weighed, Subject: "salt", Value: math.NaN(), HasValue: true}}))
	require.ErrorIs(t, r.AddEntries(ctx, m, "1999", said), ErrNoBatch)
	got, err = r.Entries(ctx, id)
	require.NoError(t, err)
	assert.Len(t, got, len(said), "all or none")
	shut(t, r)

	// The script of FORMAT.md knows nothing of entries, and takes every column.
	if python, err := exec.LookPath("python3"); err == nil {
		out, err := exec.Command(python, "-c", formatScript(t), file).CombinedOutput()
		require.NoError(t, err, "%s", out)
		assert.Contains(t, string(out), now.Head.String())
	}
	tamper(t, file, "UPDATE note SET value = 0.0085 WHERE subject = 'salt'")
	changed, err := OpenReader(file)
	require.NoError(t, err)
	defer changed.Close()
	broken, err := changed.Verify(ctx, id)
	require.NoError(t, err)
	assert.False(t, broken.Whole)
}
