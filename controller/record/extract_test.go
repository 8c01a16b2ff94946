package record

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
)

// twoBatches is a record with two batches that are over, the second with a note.
func twoBatches(t *testing.T) (dir string, ids []string) {
	t.Helper()
	dir = t.TempDir()
	o := options(dir)
	o.pageBytes, o.now = 512, (&clock{now: trialStart}).Now
	r := open(t, o)
	for range 2 {
		b := newTrial(t, r).begin()
		b.run(40)
		b.once(controller.Command{Kind: controller.Stop})
		b.finish()
		ids = append(ids, b.id)
		drain(r)
	}
	require.NoError(t, r.AddNote(context.Background(), Moment{Wall: trialStart, ClockSet: true}, ids[1], Note{Who: "Ada", Text: "even"}))
	shut(t, r)
	return dir, ids
}

func headsIn(t *testing.T, file string) map[string]string {
	t.Helper()
	r, err := OpenReader(file)
	require.NoError(t, err)
	defer r.Close()
	list, err := r.List(context.Background())
	require.NoError(t, err)
	heads := map[string]string{}
	for _, b := range list {
		v, err := r.Verify(context.Background(), b.ID)
		require.NoError(t, err)
		require.True(t, v.Whole, v.String())
		heads[b.ID] = v.String()
	}
	return heads
}

func extracted(t *testing.T, dir string, ids ...string) string {
	t.Helper()
	r, err := OpenReader(filepath.Join(dir, Real.File()))
	require.NoError(t, err)
	defer r.Close()
	file := filepath.Join(t.TempDir(), "out.db")
	done, err := r.Extract(context.Background(), file, ids)
	require.NoError(t, err)
	assert.Len(t, done, len(ids))
	left, err := filepath.Glob(file + "*")
	require.NoError(t, err)
	assert.Equal(t, []string{file}, left, "one file")
	return file
}

func TestWhatIsExportedCanBeImported(t *testing.T) {
	ctx := context.Background()
	dir, ids := twoBatches(t)
	heads := headsIn(t, filepath.Join(dir, Real.File()))
	both := extracted(t, dir, ids...)
	assert.Equal(t, heads, headsIn(t, both), "any reader of records reads it")
	to := t.TempDir()
	done, err := Import(ctx, to, Real, []string{both})
	require.NoError(t, err)
	assert.Equal(t, []Imported{{ids[0], false, both}, {ids[1], false, both}}, done)
	restored := filepath.Join(to, Real.File())
	assert.Equal(t, heads, headsIn(t, restored))
	r, err := OpenReader(restored)
	require.NoError(t, err)
	result, err := r.Replay(ctx, ids[1])
	require.NoError(t, err)
	assert.True(t, result.Same())
	require.NoError(t, r.Close())
	done, err = Import(ctx, to, Real, []string{both})
	require.NoError(t, err)
	assert.True(t, done[0].Had && done[1].Had, "once more is no harm")
	assert.Equal(t, heads, headsIn(t, restored))

	// A batch alone, and what was added to it later.
	first, second := extracted(t, dir, ids[0]), extracted(t, dir, ids[1])
	assert.Len(t, headsIn(t, second), 1, "it is whole without the one before")
	apart := t.TempDir()
	_, err = Import(ctx, apart, Real, []string{second})
	assert.ErrorContains(t, err, "import that one too")
	assert.Empty(t, headsIn(t, filepath.Join(apart, Real.File())))
	_, err = Import(ctx, apart, Real, []string{first, second})
	require.NoError(t, err)
	assert.Equal(t, heads, headsIn(t, filepath.Join(apart, Real.File())))
	rec := open(t, options(dir))
	require.NoError(t, rec.AddNote(ctx, Moment{Wall: trialStart}, ids[1], Note{Who: "Ada", Text: "a week later"}))
	r, err = OpenReader(filepath.Join(dir, Real.File()))
	require.NoError(t, err)
	_, err = r.Extract(ctx, second, ids)
	assert.ErrorIs(t, err, os.ErrExist, "nothing is written over")
	require.NoError(t, r.Close())
	_, err = Import(ctx, dir, Real, []string{both})
	assert.ErrorContains(t, err, "in use by another program")
	shut(t, rec)
	_, err = Import(ctx, apart, Real, []string{extracted(t, dir, ids[1])})
	require.NoError(t, err)
	assert.Equal(t, headsIn(t, filepath.Join(dir, Real.File())), headsIn(t, filepath.Join(apart, Real.File())))

	// It went on on both sides.
	rec = open(t, options(apart))
	require.NoError(t, rec.AddNote(ctx, Moment{Wall: trialStart}, ids[1], Note{Who: "Ada", Text: "here"}))
	shut(t, rec)
	rec = open(t, options(dir))
	require.NoError(t, rec.AddNote(ctx, Moment{Wall: trialStart}, ids[1], Note{Who: "Ada", Text: "there"}))
	shut(t, rec)
	_, err = Import(ctx, apart, Real, []string{extracted(t, dir, ids[1])})
	assert.ErrorContains(t, err, "went on differently from link")
	_, err = Import(ctx, t.TempDir(), Simulated, []string{both})
	assert.ErrorContains(t, err, "is of a real cabinet")
	other, _ := twoBatches(t)
	change(t, other)
	_, err = Import(ctx, other, Real, []string{both})
	assert.ErrorContains(t, err, "another batch of that number or name")
	_, err = Import(ctx, t.TempDir(), Real, []string{filepath.Join(dir, Real.File())})
	assert.ErrorContains(t, err, "it is no export")
}

// change makes another batch of the first.
func change(t *testing.T, dir string) {
	t.Helper()
	tamper(t, filepath.Join(dir, Real.File()), "UPDATE batch SET hash = randomblob(32)")
}

// A batch that is under way is not copied: a program would go on with it.
func TestWhatIsUnderWayIsNotExported(t *testing.T) {
	dir := t.TempDir()
	r := open(t, options(dir))
	b := newTrial(t, r).begin()
	b.run(20)
	drain(r)
	file := filepath.Join(t.TempDir(), "out.db")
	_, err := r.Extract(context.Background(), file, []string{b.id})
	assert.ErrorIs(t, err, ErrUnderWay)
	shut(t, r)
	left, _ := filepath.Glob(file + "*")
	assert.Empty(t, left, "nothing half done is left")
}

// Torn at many bytes, or with one bit wrong at many places: never is less taken than was
// exported, and never another thing.
func TestATornExportIsNotImported(t *testing.T) {
	dir, ids := twoBatches(t)
	heads := headsIn(t, filepath.Join(dir, Real.File()))
	file := extracted(t, dir, ids...)
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	at := t.TempDir()
	torn := filepath.Join(at, "torn.db")
	try := func(name string, data []byte, mayPass bool) {
		require.NoError(t, os.WriteFile(torn, data, 0o644))
		to := filepath.Join(at, name)
		require.NoError(t, os.Mkdir(to, 0o755))
		_, err := Import(context.Background(), to, Real, []string{torn})
		restored := filepath.Join(to, Real.File())
		if err == nil {
			assert.True(t, mayPass, name)
			assert.Equal(t, heads, headsIn(t, restored), name)
		} else if exists(restored) {
			assert.Empty(t, headsIn(t, restored), name)
		}
		require.NoError(t, os.RemoveAll(to))
	}
	step := len(whole) / 150
	for n := 0; n < len(whole); n += step {
		try(fmt.Sprintf("cut-%d", n), whole[:n], false)
		flipped := append([]byte{}, whole...)
		flipped[n] ^= 1 << (n % 8)
		try(fmt.Sprintf("bit-%d", n), flipped, true) // an unused byte of a page says nothing
	}
	try("cut-1", whole[:len(whole)-1], false)
}
