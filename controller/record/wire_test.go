package record

import (
	"bytes"
	"context"
	"iter"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
)

// allLinks reads a record as it travels, in parts of most bytes.
func allLinks(t testing.TB, r *Reader, most int) (all []Link) {
	heads, err := r.Heads(context.Background())
	require.NoError(t, err)
	for _, h := range heads {
		for n := int64(0); n < h.Links; {
			links, err := r.LinksFrom(context.Background(), h.Batch, n, most)
			require.NoError(t, err)
			require.NotEmpty(t, links)
			all = append(all, links...)
			n += int64(len(links))
		}
		last := all[len(all)-1]
		assert.Equal(t, Head{h.Batch, last.Number + 1, last.Hash}, h)
		hash, found, err := r.HashOf(context.Background(), h.Batch, last.Number)
		require.NoError(t, err)
		assert.True(t, found)
		assert.Equal(t, h.Hash, hash)
		_, found, err = r.HashOf(context.Background(), h.Batch, last.Number+1)
		require.NoError(t, err)
		assert.False(t, found)
	}
	return all
}

func given(links []Link) iter.Seq2[Link, error] {
	return func(yield func(Link, error) bool) {
		for _, l := range links {
			if !yield(l, nil) {
				return
			}
		}
	}
}

// trialRecord has a batch with notes and entries after its end, and one under way.
func trialRecord(t testing.TB) *Reader {
	dir := t.TempDir()
	r := open(t, options(dir))
	d := newTrial(t, r)
	d.odd = true
	d.run(3).begin().finish().run(3)
	first := d.id
	require.NoError(t, r.AddNote(context.Background(), d.moment(), first, Note{Who: "Ada", Text: "salty", Mark: "3/5"}))
	require.NoError(t, r.AddEntries(context.Background(), d.moment(), first, []Entry{{Who: "Ada", Kind: Weighed, Subject: "pork trim", Value: 4, HasValue: true, Lot: "L 7"}}))
	d.begin().run(30)
	drain(r)
	shut(t, r)
	return reader(t, dir)
}

// A record that travels comes back bit for bit, whatever the parts it travels in, and its
// replay is the same. That a hash is over those bytes is held by the Python program of
// FORMAT.md, which a test runs over such a file.
func TestARecordTravels(t *testing.T) {
	r := trialRecord(t)
	all := allLinks(t, r, 1<<20)
	assert.Equal(t, all, allLinks(t, r, 1))
	assert.Equal(t, all, allLinks(t, r, 2000))
	var wire bytes.Buffer
	require.NoError(t, WriteLinks(&wire, all))
	back, err := ReadLinks(wire.Bytes())
	require.NoError(t, err)
	require.Equal(t, all, back)

	file := filepath.Join(t.TempDir(), "back.db")
	done, err := Rebuild(context.Background(), file, given(back), trialStart, "")
	require.NoError(t, err)
	require.Len(t, done, 2)
	again, err := OpenReader(file)
	require.NoError(t, err)
	defer again.Close()
	assert.Equal(t, all, allLinks(t, again, 1<<20))
	for _, d := range done {
		requireSound(t, again, d.ID)
	}

	// What is under way and put back is over, with all that was there before.
	ended := filepath.Join(t.TempDir(), "ended.db")
	done, err = Rebuild(context.Background(), ended, given(back), trialStart.Add(time.Hour), "its board was lost")
	require.NoError(t, err)
	home := t.TempDir()
	_, err = Import(context.Background(), home, Real, []string{ended})
	require.NoError(t, err)
	put := reader(t, home)
	b, err := put.Batch(context.Background(), done[1].ID)
	require.NoError(t, err)
	assert.Equal(t, controller.Aborted.String(), b.State)
	assert.Equal(t, "its board was lost", b.Why)
	longer := allLinks(t, put, 1<<20)
	assert.Equal(t, all, longer[:len(all)])
	assert.Len(t, longer, len(all)+1)
}

// Every byte that is another, and every end in the middle, is found: by the form, or by the hash.
func TestWhatIsAnotherOnTheWayIsFound(t *testing.T) {
	r := trialRecord(t)
	heads, err := r.Heads(context.Background())
	require.NoError(t, err)
	links, err := r.LinksFrom(context.Background(), heads[0].Batch, 1, 3000)
	require.NoError(t, err)
	before, _, err := r.HashOf(context.Background(), heads[0].Batch, 0)
	require.NoError(t, err)
	whole := func(data []byte) bool {
		got, err := ReadLinks(data)
		if err != nil {
			return false
		}
		hash, next := before, int64(1)
		for _, l := range got {
			if _, err := l.Told(1); err != nil || l.Batch != heads[0].Batch || l.Number != next || !l.Follows(&hash) {
				return false
			}
			hash, next = l.Hash, next+1
		}
		return len(got) == len(links)
	}
	var wire bytes.Buffer
	require.NoError(t, WriteLinks(&wire, links))
	require.True(t, whole(wire.Bytes()))
	for i := range wire.Len() {
		data := slices.Clone(wire.Bytes())
		data[i] ^= 1 << (i % 8)
		assert.False(t, whole(data), "byte %d", i)
		assert.False(t, whole(wire.Bytes()[:i]), "cut at %d", i)
	}
	swapped := slices.Clone(links)
	swapped[0], swapped[1] = swapped[1], swapped[0]
	_, err = Rebuild(context.Background(), filepath.Join(t.TempDir(), "x.db"), given(swapped), trialStart, "")
	assert.ErrorContains(t, err, "does not follow")
}

func FuzzReadLinks(f *testing.F) {
	r := trialRecord(f)
	links := allLinks(f, r, 1<<20)
	var wire bytes.Buffer
	require.NoError(f, WriteLinks(&wire, links[1:4]))
	f.Add(wire.Bytes())
	f.Add([]byte(wireMagic))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		links, err := ReadLinks(data)
		if err != nil {
			return
		}
		var again bytes.Buffer
		require.NoError(t, WriteLinks(&again, links))
		require.Equal(t, data, again.Bytes())
		for _, l := range links {
			if rows, err := rowsOf(l.Rows); err == nil {
				require.Equal(t, l.Rows, canonicalOf(rows), "what is read has exactly those bytes")
			}
		}
	})
}

// An older program finds a column of a newer one and says so.
func TestAColumnOfANewerProgram(t *testing.T) {
	r := newRow(endingTable, "batch", 1, "link", 1, "row", 0, "wall", "w", "state", "complete")
	data := canonicalOf([]row{r})
	data = append(data[:len(data)-2], append([]byte("\x03new\x03\x00\x00\x00\x00\x00\x00\x00\x01x"), 0, 0)...)
	_, err := rowsOf(data)
	assert.ErrorIs(t, err, ErrNewer)
}
