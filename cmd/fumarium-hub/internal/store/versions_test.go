package store_test

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/record"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

// Records that boards of earlier versions wrote, which controller/record keeps for ever, arrive
// at this hub, come back bit for bit and verify.
func TestBoardsOfEarlierVersions(t *testing.T) {
	s := opened(t, postgrestest.Fresh(t))
	for _, name := range []string{"version-1.db", "layout-1.db", "layout-2.db"} {
		data, err := os.ReadFile(filepath.Join("../../../../controller/record/testdata", name))
		require.NoError(t, err)
		file := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.WriteFile(file, data, 0o600))
		links := recordtest.Read(t, file)
		require.NotEmpty(t, links, name)
		told, err := links[0].Told(0)
		require.NoError(t, err)
		code, err := s.Code(ctx, name, string(told.Batch.World), false)
		require.NoError(t, err)
		_, _, key, err := s.Join(ctx, code)
		require.NoError(t, err)
		id, _, err := s.Known(ctx, key)
		require.NoError(t, err)
		_, err = s.Accept(ctx, id, links)
		require.NoError(t, err, name)
		var back []record.Link
		heads, err := s.Heads(ctx, id)
		require.NoError(t, err)
		for _, h := range heads {
			for l, err := range s.All(ctx, id, h.Batch) {
				require.NoError(t, err)
				back = append(back, l)
			}
			rebuilt := filepath.Join(t.TempDir(), fmt.Sprintf("%s-%d.db", name, len(back)))
			_, err = record.Rebuild(ctx, rebuilt, s.All(ctx, id, h.Batch), time.Now(), "")
			require.NoError(t, err)
			r, err := record.OpenReader(rebuilt)
			require.NoError(t, err)
			v, err := r.Verify(ctx, h.Batch)
			require.NoError(t, err)
			assert.True(t, v.Whole, "%s: %v", name, v)
			require.NoError(t, r.Close())
		}
		assert.Equal(t, links, back, name)
	}
	_, _, faults, err := s.Check(ctx)
	require.NoError(t, err)
	assert.Empty(t, faults)
}

// A board of a newer version, whose rows have a column that this hub does not know, is refused
// with what to do; what it sent before stays, and an updated hub could go on from there.
func TestABoardOfANewerVersion(t *testing.T) {
	s := opened(t, postgrestest.Fresh(t))
	id := joined(t, s, "Barn")
	links := recordtest.Links(t, 1)
	_, err := s.Accept(ctx, id, links[:10])
	require.NoError(t, err)
	newer := links[10] // FORMAT.md: a column is its name behind a length, a tag and eight bytes; an empty name and tag 0 end a row
	end := len(newer.Rows) - 2
	require.Equal(t, []byte{0, 0}, newer.Rows[end:])
	newer.Rows = slices.Concat(newer.Rows[:end], []byte("\x05later\x02\x00\x00\x00\x00\x00\x00\x00\x07"), newer.Rows[end:])
	newer.Hash = sha256.Sum256(append(links[9].Hash[:], newer.Rows...))
	_, err = s.Accept(ctx, id, []record.Link{newer})
	conflict := (*store.Conflict)(nil)
	require.ErrorAs(t, err, &conflict)
	assert.Equal(t, store.Newer, conflict.Kind)
	assert.Contains(t, conflict.Error(), "update the hub")
	heads, err := s.Heads(ctx, id)
	require.NoError(t, err)
	assert.EqualValues(t, 10, heads[0].Links)
	_, err = s.Accept(ctx, id, links[10:])
	require.NoError(t, err)
	whole(t, s, 1, int64(len(links)))
}
