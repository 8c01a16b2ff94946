package store_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/record"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

func TestMain(m *testing.M) { postgrestest.Main(m) }

var ctx = context.Background()

func opened(t testing.TB, url string) *store.Store {
	s, err := store.Open(ctx, url, time.Now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(s.Close)
	return s
}

// joined lets a cabinet join and gives its number.
func joined(t testing.TB, s *store.Store, name string) int {
	code, err := s.Code(ctx, name, "simulated", false)
	require.NoError(t, err)
	_, _, key, err := s.Join(ctx, code)
	require.NoError(t, err)
	id, is, err := s.Known(ctx, key)
	require.NoError(t, err)
	require.Equal(t, name, is)
	return id
}

func whole(t testing.TB, s *store.Store, batches, links int64) {
	t.Helper()
	b, l, faults, err := s.Check(ctx)
	require.NoError(t, err)
	assert.Empty(t, faults)
	assert.Equal(t, []int64{batches, links}, []int64{b, l}, "batches, links")
}

// A record arrives in posts of any size, comes back bit for bit, and verifies by the board's
// own program.
func TestARecordArrives(t *testing.T) {
	links := recordtest.Links(t, 2)
	for _, size := range []int{1, 7, len(links)} {
		s := opened(t, postgrestest.Fresh(t))
		id := joined(t, s, "Barn")
		for part := range slices.Chunk(links, size) {
			heads, err := s.Accept(ctx, id, part)
			require.NoError(t, err)
			last := part[len(part)-1]
			assert.Contains(t, heads, record.Head{Batch: last.Batch, Links: last.Number + 1, Hash: last.Hash})
		}
		whole(t, s, 2, int64(len(links)))
		_, err := s.Accept(ctx, id, links) // all of it again
		require.NoError(t, err)
		whole(t, s, 2, int64(len(links)))

		var back []record.Link
		heads, err := s.Heads(ctx, id)
		require.NoError(t, err)
		for _, h := range heads {
			for l, err := range s.All(ctx, id, h.Batch) {
				require.NoError(t, err)
				back = append(back, l)
			}
		}
		assert.Equal(t, links, back)
		batches, err := s.Batches(ctx, store.Question{Most: 10})
		require.NoError(t, err)
		require.Len(t, batches, 2)
		assert.Equal(t, "stopped", batches[1].State)
		assert.NotNil(t, batches[1].Ended)
		lots, err := s.Lots(ctx, "l 7", 10)
		require.NoError(t, err)
		require.NotEmpty(t, lots)
		assert.Equal(t, "Barn", lots[0].Cabinet)
	}
}

// What does not follow is refused and an alarm; what came before it in the post is kept.
func TestWhatDoesNotFollowIsRefused(t *testing.T) {
	links := recordtest.Links(t, 2)
	second := slices.IndexFunc(links, func(l record.Link) bool { return l.Number == 0 && l.Batch != links[0].Batch })
	change := func(i int, f func(l *record.Link)) []record.Link {
		all := slices.Clone(links)
		all[i].Rows = bytes.Clone(all[i].Rows)
		f(&all[i])
		return all
	}
	other := recordtest.LinksFrom(t, 1, time.Date(2031, 5, 1, 8, 0, 0, 0, time.UTC))
	for name, c := range map[string]struct {
		posts [][]record.Link
		kind  string
		kept  int
	}{
		"a flipped bit":                {[][]record.Link{change(20, func(l *record.Link) { l.Rows[30] ^= 4 })}, store.Mismatch, 20},
		"another hash":                 {[][]record.Link{change(20, func(l *record.Link) { l.Hash[3] ^= 4 })}, store.Mismatch, 20},
		"a gap":                        {[][]record.Link{slices.Delete(slices.Clone(links), 20, 21)}, store.Gap, 20},
		"no header":                    {[][]record.Link{links[1:5]}, store.Gap, 0},
		"again and not the same":       {[][]record.Link{links[:30], change(20, func(l *record.Link) { l.Rows[30] ^= 4 })[18:]}, store.Mismatch, 30},
		"another header":               {[][]record.Link{links[:30], change(0, func(l *record.Link) { l.Rows[30] ^= 4 })}, store.Mismatch, 30},
		"a batch taken out":            {[][]record.Link{links[second:]}, store.Anew, 0},
		"a batch whose end is missing": {[][]record.Link{links[:second-3], links[second:]}, store.Anew, second - 3},
		"a record that begins anew":    {[][]record.Link{links, other}, store.Anew, len(links)},
		"another world":                {[][]record.Link{recordtest.Real(t)}, store.Mismatch, 0},
	} {
		t.Run(name, func(t *testing.T) {
			s := opened(t, postgrestest.Fresh(t))
			id := joined(t, s, "Barn")
			var err error
			for i, p := range c.posts {
				if _, err = s.Accept(ctx, id, p); i < len(c.posts)-1 {
					require.NoError(t, err)
				}
			}
			conflict := (*store.Conflict)(nil)
			require.ErrorAs(t, err, &conflict)
			assert.Equal(t, c.kind, conflict.Kind, conflict.Why)
			_, count, faults, err := s.Check(ctx)
			require.NoError(t, err)
			assert.Empty(t, faults)
			assert.EqualValues(t, c.kept, count)
			alarms, err := s.Alarms(ctx)
			require.NoError(t, err)
			require.Len(t, alarms, 1)
			assert.Equal(t, c.kind, alarms[0].Kind)

			if name == "a record that begins anew" { // until a person admits it
				require.NoError(t, s.Admit(ctx, "Barn"))
				_, err = s.Accept(ctx, id, other)
				require.NoError(t, err)
				require.NoError(t, s.Settle(ctx, alarms[0].ID, "Ada", "the card died"))
				whole(t, s, 3, int64(len(links)+len(other)))
				last := other[len(other)-1]
				_, err = s.Compare(ctx, id, []record.Head{{Batch: last.Batch, Links: last.Number + 1, Hash: last.Hash}})
				require.NoError(t, err)
				alarms, err = s.Alarms(ctx)
				require.NoError(t, err)
				require.Empty(t, alarms, "the record before lies apart")
				_, err = s.Accept(ctx, id, recordtest.LinksFrom(t, 1, time.Date(2032, 5, 1, 8, 0, 0, 0, time.UTC)))
				assert.ErrorAs(t, err, &conflict, "one was admitted")
			}
		})
	}
}

// One board whose rows nobody can keep does not hold up the others that wait with it.
func TestManyBoardsAtOnce(t *testing.T) {
	links := recordtest.Links(t, 1)
	s := opened(t, postgrestest.Fresh(t))
	var all sync.WaitGroup
	for i := range 12 {
		id := joined(t, s, fmt.Sprintf("cabinet %d", i))
		all.Go(func() {
			for part := range slices.Chunk(links, 9) {
				if i == 3 {
					part = part[:1]
				}
				_, err := s.Accept(ctx, id, part)
				if i != 3 {
					assert.NoError(t, err)
				}
			}
		})
	}
	all.Wait()
	whole(t, s, 12, int64(11*len(links)+1))
}

// What the board has less of, or otherwise, shows when the heads are compared.
func TestHeadsAreCompared(t *testing.T) {
	links := recordtest.Links(t, 2)
	s := opened(t, postgrestest.Fresh(t))
	id := joined(t, s, "Barn")
	_, err := s.Accept(ctx, id, links)
	require.NoError(t, err)
	kept, err := s.Heads(ctx, id)
	require.NoError(t, err)
	_, err = s.Compare(ctx, id, kept)
	require.NoError(t, err)
	alarms, err := s.Alarms(ctx)
	require.NoError(t, err)
	require.Empty(t, alarms)
	kept[0].Links--
	_, err = s.Compare(ctx, id, kept[:1])
	require.NoError(t, err)
	alarms, err = s.Alarms(ctx)
	require.NoError(t, err)
	require.Len(t, alarms, 2)
	for _, a := range alarms {
		assert.Equal(t, store.Behind, a.Kind)
	}
}

// Keys and codes are good for what they are, and people for their role.
func TestKeysCodesAndPeople(t *testing.T) {
	s := opened(t, postgrestest.Fresh(t))
	code, err := s.Code(ctx, "Barn", "real", false)
	require.NoError(t, err)
	_, world, first, err := s.Join(ctx, code)
	require.NoError(t, err)
	assert.Equal(t, "real", world)
	_, _, _, err = s.Join(ctx, code)
	assert.ErrorIs(t, err, store.ErrCode, "twice")
	_, err = s.Code(ctx, "Barn", "real", false)
	assert.ErrorIs(t, err, store.ErrTaken)
	_, err = s.Code(ctx, "Barn", "", false)
	assert.ErrorContains(t, err, "no world")
	code, err = s.Code(ctx, "Barn", "real", true)
	require.NoError(t, err)
	_, _, second, err := s.Join(ctx, code)
	require.NoError(t, err)
	_, _, err = s.Known(ctx, first)
	assert.ErrorIs(t, err, store.ErrKey, "it joined again")
	require.NoError(t, s.Revoke(ctx, "Barn"))
	_, _, err = s.Known(ctx, second)
	assert.ErrorIs(t, err, store.ErrKey)
	assert.ErrorIs(t, s.Revoke(ctx, "Shed"), store.ErrNone)

	word, err := s.AddPerson(ctx, "Ada", store.Note)
	require.NoError(t, err)
	_, err = s.AddPerson(ctx, "Bo", "king")
	assert.ErrorContains(t, err, "no role")
	session, err := s.Enter(ctx, word)
	require.NoError(t, err)
	ada, err := s.Who(ctx, session)
	require.NoError(t, err)
	assert.Equal(t, []bool{true, true, false}, []bool{ada.May(store.Look), ada.May(store.Note), ada.May(store.Administer)})
	require.NoError(t, s.RemovePerson(ctx, "Ada"))
	_, err = s.Who(ctx, session)
	assert.ErrorIs(t, err, store.ErrNone)
}

// Tables of a newer program are left alone; those of this one are brought forward once.
func TestMigrations(t *testing.T) {
	url := postgrestest.Fresh(t)
	opened(t, url)
	s := opened(t, url)
	whole(t, s, 0, 0)
	c, err := pgx.Connect(ctx, url)
	require.NoError(t, err)
	defer c.Close(ctx)
	_, err = c.Exec(ctx, "INSERT INTO migration (version) VALUES (99)")
	require.NoError(t, err)
	_, err = store.Open(ctx, url, time.Now, slog.New(slog.DiscardHandler))
	assert.ErrorContains(t, err, "use the newer program")
}

// A file that the links of a hub rebuild is a record that the board's program imports.
func TestABoardIsRebuilt(t *testing.T) {
	links := recordtest.Links(t, 2)
	s := opened(t, postgrestest.Fresh(t))
	id := joined(t, s, "Barn")
	_, err := s.Accept(ctx, id, links)
	require.NoError(t, err)
	dir := t.TempDir()
	heads, err := s.Heads(ctx, id)
	require.NoError(t, err)
	var files []string
	for _, h := range heads {
		file := filepath.Join(dir, h.Batch+".export")
		_, err := record.Rebuild(ctx, file, s.All(ctx, id, h.Batch), time.Now(), "its board was lost")
		require.NoError(t, err)
		files = append(files, file)
	}
	home := filepath.Join(dir, "home")
	require.NoError(t, os.Mkdir(home, 0o700))
	done, err := record.Import(ctx, home, record.Simulated, files)
	require.NoError(t, err)
	assert.Len(t, done, 2)
	r, err := record.OpenReader(filepath.Join(home, record.Simulated.File()))
	require.NoError(t, err)
	defer r.Close()
	for _, d := range done {
		v, err := r.Verify(ctx, d.ID)
		require.NoError(t, err)
		assert.True(t, v.Whole, v)
	}
}
