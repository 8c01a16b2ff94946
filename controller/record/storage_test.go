package record

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
	sqlite3 "modernc.org/sqlite/lib"
)

// storageTrial records a short batch with events, a note and a checkpoint on a disk,
// and returns the steps of it.
func storageTrial(t testing.TB, d *disk, dir string) (*trial, error) {
	o := options(dir)
	o.vfs, o.pageBytes = faultVFS, 1024
	o.committed = d.acknowledge
	r, err := Open(o)
	if err != nil {
		return nil, err
	}
	_, err = r.writer.Exec("PRAGMA wal_autocheckpoint(20)")
	require.NoError(t, err)
	b := newTrial(t, r).begin()
	for i := range 8 {
		b.run(10)
		drain(r)
		if i == 3 { // should the disk fail just now, the note is refused
			_ = r.AddNote(context.Background(), b.moment(), b.id, Note{Who: "Tester", Text: "smells of juniper"})
		}
	}
	return b, r.Close(context.Background())
}

// drain waits until everything sealed is written.
func drain(r *Recorder) {
	for r.waiting.Load() > 0 || r.writing.Load() > 0 {
		select {
		case r.wake <- struct{}{}:
		default:
		}
		runtime.Gosched()
	}
}

// TestPowerCutAtEveryWrite cuts the power after each operation that SQLite makes on
// its files during a batch, and leaves of what was not synced all, or any part with
// one write torn. Whatever was reported safe must be there, the chain must hold, and
// the replay must give everything again.
func TestPowerCutAtEveryWrite(t *testing.T) {
	ctx := context.Background()
	d := newDisk(t)
	b, err := storageTrial(t, d, t.TempDir())
	require.NoError(t, err)
	total := int64(len(b.steps))
	t.Logf("%d operations, %d steps", len(d.log), total)
	newDisk(t) // so that nothing of what follows goes into the log
	images, most := 0, int64(0)
	check := func(n int, whole bool, seed uint64) {
		m, safe := d.crash(n, whole, rand.New(rand.NewPCG(seed, uint64(n))))
		images++
		name := fmt.Sprintf("power cut after operation %d, whole %v, seed %d", n, whole, seed)
		dir, err := os.MkdirTemp(t.TempDir(), "")
		require.NoError(t, err)
		m.write(t, dir)
		o := options(dir)
		o.vfs, o.pageBytes = faultVFS, 1024 // spares the real disk the syncs
		r, err := Open(o)
		require.NoError(t, err, name)
		defer func() { require.NoError(t, r.Close(ctx), name) }()
		if len(r.Notice()) > 0 {
			require.Zero(t, safe, name+": %v", r.Notice())
		}
		u, err := r.Unfinished(ctx, b.moment())
		require.NoError(t, err, name)
		if u == nil {
			require.Zero(t, safe, name)
			return
		}
		require.True(t, u.Sound, name+": "+u.Why)
		require.GreaterOrEqual(t, u.Steps, safe, name)
		require.LessOrEqual(t, u.Steps, total, name)
		if u.Steps > 0 {
			require.Equal(t, b.steps[u.Steps-1].Elapsed, u.State.Elapsed, name)
		}
		most = max(most, u.Steps)
	}
	for n := len(d.log); n >= 0; n -= everyNth { // from the end, so that the whole is among them
		check(n, true, 0)
		check(n, false, 1)
	}
	require.Equal(t, total, most)
	t.Logf("%d images", images)
}

// TestEveryOperationFails lets each operation fail, and then none, six or twenty-four
// of those after it. In the end everything must be there.
func TestEveryOperationFails(t *testing.T) {
	count := newDisk(t)
	_, err := storageTrial(t, count, t.TempDir())
	require.NoError(t, err)
	operations := count.n
	spans := []int{1, 7, 25}
	for n := 0; n < operations; n += everyNth {
		span := spans[n%len(spans)]
		d := newDisk(t)
		d.fail = func(i int, op operation) int32 {
			if i < n || i >= n+span {
				return 0
			}
			switch {
			case op.kind == syncs:
				return sqlite3.SQLITE_IOERR | 4<<8 // fsync
			case op.kind == writes && n%2 == 0:
				return sqlite3.SQLITE_FULL
			}
			return sqlite3.SQLITE_IOERR | 3<<8 // write
		}
		dir := t.TempDir()
		b, err := storageTrial(t, d, dir)
		name := fmt.Sprintf("operations %d to %d fail", n, n+span-1)
		if b == nil { // the file could not even be made
			require.Error(t, err)
			continue
		}
		require.NoError(t, err, name)
		r := reader(t, dir)
		require.Equal(t, b.steps, stepsOf(t, r, b.id), name)
		requireSound(t, r, b.id)
	}
}
