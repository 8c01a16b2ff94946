package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	sqlite3 "modernc.org/sqlite/lib"

	"fumarium/controller"
	"fumarium/controller/trip"
)

// command makes one step with a command and gives the receipt.
func (d *trial) command(k controller.CommandKind) Receipt {
	in := d.inputs()
	in.Command = controller.Command{Kind: k}
	state, out, events := d.machine().Step(d.state, in)
	got := d.r.Step(d.moment(), &in, out, events, &state, By{Who: "Tester"})
	d.state = state
	d.elapsed += d.step
	return got
}

// known does not wait for longer than it takes to look.
func known(r Receipt) error {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	return r.Wait(ctx)
}

func (d *disk) fails(f func(operation) int32) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fail = func(_ int, op operation) int32 { return f(op) }
}

// Nobody is told that a command is on disk while the disk still writes, and then it is
// there.
func TestACommandIsOnDiskWhenItIsAnswered(t *testing.T) {
	d := newDisk(t)
	o := options(t.TempDir())
	o.vfs = faultVFS
	r := open(t, o)
	b := newTrial(t, r).begin()
	b.run(3)
	drain(r)
	asked, answers := make(chan struct{}, 100), make(chan struct{})
	d.fails(func(op operation) int32 {
		if op.kind == syncs {
			asked <- struct{}{}
			<-answers
		}
		return 0
	})
	hold := b.command(controller.Hold)
	<-asked // everything is written, and not yet safe
	assert.ErrorContains(t, known(hold), "the disk has not answered yet")
	close(answers)
	require.NoError(t, hold.Wait(t.Context()))
	commands, err := r.Commands(t.Context(), b.id)
	require.NoError(t, err)
	require.Len(t, commands, 2)
	assert.Equal(t, "hold", commands[1].Command)
	shut(t, r)
}

// A full disk is said at once, by each command, and forgiven when there is room again.
func TestACommandThatIsNotOnDiskSaysSo(t *testing.T) {
	d := newDisk(t)
	o := options(t.TempDir())
	o.vfs = faultVFS
	r := open(t, o)
	assert.ErrorIs(t, known(newTrial(t, r).command(controller.Acknowledge)), ErrNoRecord)
	b := newTrial(t, r).begin()
	b.run(3)
	drain(r)
	d.fails(func(op operation) int32 {
		if op.kind == writes {
			return sqlite3.SQLITE_FULL
		}
		return 0
	})
	for range 3 * crowded { // also when so many wait that nothing is handed on at once
		err := b.command(controller.Acknowledge).Wait(t.Context())
		require.ErrorContains(t, err, "a crash or a power cut before it is there undoes it")
	}
	require.ErrorContains(t, b.command(controller.Hold).Wait(t.Context()), "undoes it")
	d.fails(func(operation) int32 { return 0 })
	drain(r)
	require.NoError(t, b.command(controller.Restart).Wait(t.Context()))
	shut(t, r)
}

// The marks outlive a record that could not be written: the batch is over and the trip
// is latched, also for a second restart on the full disk, and another batch begins its
// own.
func TestMarksOutliveTheRecord(t *testing.T) {
	d := newDisk(t)
	dir := t.TempDir()
	o := options(dir)
	o.vfs = faultVFS
	r := open(t, o)
	assert.Equal(t, trip.None, r.Latched())
	b := newTrial(t, r).begin()
	b.run(3)
	drain(r)
	full := func() {
		d.fails(func(op operation) int32 {
			if op.kind == writes {
				return sqlite3.SQLITE_FULL
			}
			return 0
		})
	}
	full()
	b.state.Tripped = trip.ChamberHigh
	b.run(1)
	err := b.command(controller.Stop).Wait(t.Context())
	require.ErrorContains(t, err, "no restart goes on with the batch")
	require.Error(t, r.Close(cancelled()), "the record lacks the end")

	for range 2 {
		d.fails(func(operation) int32 { return 0 })
		r = open(t, o)
		assert.Equal(t, trip.ChamberHigh, r.Latched())
		u, err := r.Unfinished(t.Context(), b.moment())
		require.NoError(t, err)
		require.NotNil(t, u)
		assert.Equal(t, controller.Stopped, u.Ended)
		full()
		r.Finish(b.moment(), u, u.Ended, "it was stopped")
		_ = r.Close(cancelled())
	}

	d.fails(func(operation) int32 { return 0 })
	r = open(t, o)
	u, err := r.Unfinished(t.Context(), b.moment())
	require.NoError(t, err)
	r.Finish(b.moment(), u, u.Ended, "it was stopped")
	reset := newTrial(t, r).command(controller.Acknowledge) // a state without a trip
	require.NoError(t, reset.Wait(t.Context()), "the mark of it is all there is, and is on disk")
	next := newTrial(t, r).begin()
	next.run(3)
	drain(r)
	shut(t, r)
	r = open(t, o)
	assert.Equal(t, trip.None, r.Latched())
	u, err = r.Unfinished(t.Context(), b.moment())
	require.NoError(t, err)
	assert.Equal(t, next.id, u.Batch.ID)
	assert.Equal(t, controller.Idle, u.Ended, "this one goes on")
	shut(t, r)
}

func cancelled() context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	return ctx
}

// What is closed as aborted is closed for good: not even a full disk lets it go on when
// its cause, such as a changed cabinet file, is gone.
func TestWhatIsFinishedStaysFinished(t *testing.T) {
	d := newDisk(t)
	o := options(t.TempDir())
	o.vfs = faultVFS
	r := open(t, o)
	b := newTrial(t, r).begin()
	b.run(3)
	drain(r)
	shut(t, r)
	r = open(t, o)
	u, err := r.Unfinished(t.Context(), b.moment())
	require.NoError(t, err)
	require.Equal(t, controller.Idle, u.Ended)
	d.fails(func(operation) int32 { return sqlite3.SQLITE_FULL })
	r.Finish(b.moment(), u, controller.Aborted, "the cabinet file was changed meanwhile")
	require.Error(t, r.Close(cancelled()))
	d.fails(func(operation) int32 { return 0 })
	r = open(t, o)
	u, err = r.Unfinished(t.Context(), b.moment())
	require.NoError(t, err)
	assert.Equal(t, controller.Aborted, u.Ended)
	shut(t, r)
}

// A record that is set aside begins to count anew; what its marks said is about none of
// the new one's batches.
func TestMarksOfARecordThatWasSetAside(t *testing.T) {
	dir := t.TempDir()
	r := open(t, options(dir))
	for range 3 {
		b := newTrial(t, r).begin()
		b.run(2)
		require.NoError(t, b.command(controller.Abort).Wait(t.Context()))
		b.command(controller.NoCommand)
	}
	shut(t, r)
	require.NoError(t, os.WriteFile(filepath.Join(dir, Real.File()), []byte("no database, but long enough to be looked at as one"), 0o600))
	r = open(t, options(dir))
	require.NotEmpty(t, r.Notice())
	b := newTrial(t, r).begin()
	b.run(12)
	drain(r)
	shut(t, r)
	r = open(t, options(dir))
	u, err := r.Unfinished(t.Context(), b.moment())
	require.NoError(t, err)
	assert.Equal(t, controller.Idle, u.Ended)
	shut(t, r)
}

// A mark that is cut or half overwritten at any byte leaves the one before it, whole.
func TestATornMarkLeavesTheOneBefore(t *testing.T) {
	sequence := []marks{
		{}, {trip: trip.ChamberHigh}, {trip: trip.ChamberHigh, over: 4, ended: controller.Stopped}, {over: 4, ended: controller.Stopped},
		{over: 5}, {over: 6, ended: controller.Complete}, {trip: trip.HeaterWelded, over: 6, ended: controller.Aborted},
	}
	read := func(data []byte) (marks, error) {
		var k marker
		err := k.read(bytes.NewReader(data))
		return k.last, err
	}
	dir := t.TempDir()
	require.NoError(t, makeMarks(dir, filepath.Join(dir, MarksFile)))
	data, err := os.ReadFile(filepath.Join(dir, MarksFile))
	require.NoError(t, err)
	require.Len(t, data, markSlots*markBytes)
	n := int64(markSlots + 1)
	for i, m := range sequence[1:] {
		slot, at := m.slot(n), n%markSlots*markBytes
		before := append([]byte(nil), data[at:at+markBytes]...)
		for cut := range 300 { // behind it is nothing but blanks
			copy(data[at:], before)
			copy(data[at:], slot[:cut])
			is, err := read(data)
			require.NoError(t, err)
			if is != m { // what is left of the slot is whole only if nothing is missing
				require.Equal(t, sequence[i], is, "mark %d cut at %d", i, cut)
			}
		}
		copy(data[at:], slot)
		is, err := read(data)
		require.NoError(t, err)
		require.Equal(t, m, is)
		n++
	}
	is, err := read(data[:markBytes]) // a slot that is gone is no slot
	require.NoError(t, err)
	assert.NotEqual(t, marks{}, is)
	for _, broken := range [][]byte{nil, []byte("0 {}\n"), make([]byte, markSlots*markBytes)} {
		_, err := read(broken)
		assert.ErrorContains(t, err, "whether a trip was latched cannot be read")
	}
	w := []byte(`{"written":99,"trip":"later-trip"}`)
	_, err = read(append(append(fmt.Appendf(nil, "%x %s\n", sha256.Sum256(w), w), make([]byte, markBytes)...)[:markBytes], data[markBytes:]...))
	assert.ErrorContains(t, err, `knows no trip "later-trip"`, "one of a later program is not taken for none")
}

// Nobody knows what was latched: nothing is opened, and the error says what to do.
func TestMarksThatCannotBeReadAreNone(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, MarksFile), []byte("something else"), 0o600))
	_, err := Open(options(dir))
	require.ErrorContains(t, err, filepath.Join(dir, MarksFile))
	require.ErrorContains(t, err, "delete the file once you have seen")
	o := options(dir)
	o.World = Simulated // has none
	shut(t, open(t, o))
}

// A disk that hangs or refuses keeps no step waiting; the health says so, the answer
// says so, and the newest mark is written when it answers.
func TestMarksThatCannotBeWrittenShow(t *testing.T) {
	c := &clock{now: trialStart}
	o := options(t.TempDir())
	o.now = c.Now
	answers := make(chan error)
	var wrote [][]byte
	o.mark = func(slot []byte, _ int64) error {
		err := <-answers
		if err == nil {
			wrote = append(wrote, slot)
		}
		return err
	}
	r := open(t, o)
	b := newTrial(t, r)
	b.state.Tripped = trip.ChamberLost
	first := b.command(controller.NoCommand)
	require.ErrorContains(t, known(first), "the disk has not answered yet")
	require.True(t, r.Health().OK)
	c.advance(LateAfter + time.Second)
	require.False(t, r.Health().OK)
	answers <- errors.New("input/output error")
	require.ErrorContains(t, first.Wait(t.Context()), "input/output error")
	require.ErrorContains(t, r.Health().Err, "input/output error")
	b.state.Tripped = trip.None
	second := b.command(controller.NoCommand)
	b.state.Tripped = trip.NoHeat
	third := b.command(controller.NoCommand)
	answers <- nil
	for len(answers) == 0 { // the one that was being written may have been an older one
		select {
		case answers <- nil:
			continue
		case err := <-third.mark:
			require.NoError(t, err)
		}
		break
	}
	require.NoError(t, second.Wait(t.Context()))
	require.True(t, r.Health().OK)
	w, ok := readSlot(wrote[len(wrote)-1])
	require.True(t, ok)
	assert.Equal(t, "no-heat", w.Trip)
	shut(t, r)
}
