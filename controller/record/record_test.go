package record

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	sqlite3 "modernc.org/sqlite/lib"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

func TestWholeBatchComesBackBitForBit(t *testing.T) {
	for name, odd := range map[string]bool{"even": false, "odd": true} {
		t.Run(name, func(t *testing.T) {
			ctx := context.Background()
			dir := t.TempDir()
			r := open(t, options(dir))
			d := newTrial(t, r)
			d.odd = odd
			d.run(3).begin().finish().run(3)
			assert.True(t, r.Health().OK)
			shut(t, r)

			again := reader(t, dir)
			b, err := again.Batch(ctx, "2026-11")
			require.NoError(t, err)
			assert.Equal(t, "2026-11-25-1", b.ID)
			assert.Equal(t, "complete", b.State)
			assert.Equal(t, Real, b.World)
			assert.Equal(t, []byte(trialProduct), b.ProductFile)
			assert.Equal(t, "Trial sticks", b.Product)
			assert.Equal(t, int64(len(d.steps)), b.Steps)
			assert.Equal(t, d.final.Elapsed-d.final.Started, b.Elapsed.Round(time.Nanosecond))
			assert.Equal(t, d.steps, stepsOf(t, again, d.id))
			result := requireSound(t, again, d.id)
			assert.Equal(t, d.final, result.Final)

			h, err := again.History(ctx, d.id)
			require.NoError(t, err)
			want := []string{d.id + "/0.said.0 started all the same, because: because"}
			for _, s := range d.steps {
				for i, e := range s.Events {
					want = append(want, fmt.Sprintf("%s/%d.%d %s", d.id, s.Number, i, e.Text(d.start.Product)))
				}
			}
			var got []string
			events := h.Events()
			for i := range events {
				e := &events[i]
				got = append(got, e.ID.String()+" "+e.Text())
				assert.NotContains(t, history.KindName(e.Kind), "event ", "a kind without a name: add it to history's kinds")
				assert.Equal(t, trialStart.Add(e.At).Truncate(time.Millisecond), e.Wall.In(trialStart.Location()), "%s", e.Text())
			}
			assert.Equal(t, want, got)
			commands, err := again.Commands(ctx, d.id)
			require.NoError(t, err)
			require.Len(t, commands, 2)
			assert.Equal(t, "start", commands[0].Command)
			assert.Equal(t, By{Who: "Tester", Reason: "because"}, commands[1].By)
			assert.Empty(t, commands[1].Refused)
		})
	}
}

// A state folder may be named from where one is, and may be called anything.
func TestTheFolderMayBeNamedInAnyWay(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, dir := range []string{"state", ".", "./here/state", "../state", "a folder", "what?", "50%#1", "c:state", "käse", t.TempDir()} {
		t.Run(dir, func(t *testing.T) {
			require.NoError(t, os.MkdirAll(dir, 0o700))
			r := open(t, options(dir))
			newTrial(t, r).begin().finish()
			shut(t, r)
			assert.FileExists(t, filepath.Join(dir, Real.File()))
			all, err := reader(t, dir).List(context.Background())
			require.NoError(t, err)
			assert.Len(t, all, 1)
		})
	}
}

func TestCommandsAreKeptWithTheirRefusal(t *testing.T) {
	r := open(t, options(t.TempDir()))
	d := newTrial(t, r).begin()
	d.once(controller.Command{Kind: controller.Restart})
	shutAfter(t, r, func() {
		commands, err := r.Commands(context.Background(), d.id)
		require.NoError(t, err)
		require.Len(t, commands, 2)
		assert.Equal(t, controller.NotInThisState.String(), commands[1].Refused)
	})
}

func shutAfter(t *testing.T, r *Recorder, f func()) {
	t.Helper()
	drain(r)
	f()
	shut(t, r)
}

func TestStepsReachTheFileInTime(t *testing.T) {
	dir := t.TempDir()
	r := open(t, options(dir))
	d := newTrial(t, r).begin()
	drain(r)
	assert.Len(t, stepsOf(t, r.Reader, d.id), 1, "the start is an event and written at once")
	for range 25 {
		d.run(1)
		drain(r)
		on := stepsOf(t, r.Reader, d.id)
		oldest := d.steps[min(len(on), len(d.steps)-1)].Elapsed
		assert.Less(t, d.elapsed-oldest, CommitEvery+d.step)
	}
	d.once(controller.Command{Kind: controller.Hold})
	drain(r)
	assert.Equal(t, d.steps, stepsOf(t, r.Reader, d.id), "a command is written at once")
	most := time.Duration(0)
	for range int((quietAfter + time.Minute) / d.step) {
		d.run(1)
		drain(r)
		on := stepsOf(t, r.Reader, d.id)
		waits := d.elapsed - d.steps[min(len(on), len(d.steps)-1)].Elapsed
		most = max(most, waits)
		assert.Less(t, waits, QuietEvery+d.step)
		assert.Less(t, QuietEvery+d.step, LateAfter, "what waits in quiet is never late")
	}
	assert.Greater(t, most, CommitEvery, "where nothing happens a block grows")
	shut(t, r)
}

func TestIDs(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	r := open(t, options(dir))
	first := newTrial(t, r).begin().finish()
	second := newTrial(t, r)
	second.begin().finish()
	third := newTrial(t, r)
	third.elapsed = 24 * time.Hour
	third.begin()
	assert.Equal(t, []string{"2026-11-25-1", "2026-11-25-2", "2026-11-26-1"}, []string{first.id, second.id, third.id})
	assert.Equal(t, "undated-1", r.Begin(Moment{Wall: time.Unix(0, 0)}, third.start), "a clock that is not set dates nothing")
	shut(t, r)

	r = open(t, options(dir))
	all, err := r.List(ctx)
	require.NoError(t, err)
	var ids []string
	for _, b := range all {
		ids = append(ids, b.ID+" "+b.State)
	}
	assert.Equal(t, []string{"2026-11-26-1 ", "2026-11-25-2 complete", "2026-11-25-1 complete"}, ids, "newest first; a batch without a step is none")
	_, err = r.Batch(ctx, "2026-11-25")
	assert.ErrorContains(t, err, `"2026-11-25" may be any of 2026-11-25-1, 2026-11-25-2; give more of the id`)
	_, err = r.Batch(ctx, "2027")
	assert.ErrorIs(t, err, ErrNoBatch)
	_, err = r.Batch(ctx, "")
	assert.ErrorIs(t, err, ErrNoBatch)
	_, err = r.Batch(ctx, "%")
	assert.ErrorIs(t, err, ErrNoBatch)
	next := newTrial(t, r).begin()
	assert.Equal(t, "2026-11-25-3", next.id)
	shut(t, r)
}

func TestSimulatedBatchesLieApartAndSaySo(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	o := options(dir)
	o.World, o.Pace = Simulated, 60
	r := open(t, o)
	d := newTrial(t, r).begin().finish()
	shut(t, r)
	assert.Equal(t, "sim-2026-11-25-1", d.id)
	s, err := OpenReader(filepath.Join(dir, "batches-simulated.db"))
	require.NoError(t, err)
	b, err := s.Batch(ctx, d.id)
	require.NoError(t, err)
	assert.Equal(t, Simulated, b.World)
	requireSound(t, s, d.id)
	require.NoError(t, s.Close())
	_, err = OpenReader(filepath.Join(dir, "batches.db"))
	assert.ErrorIs(t, err, fs.ErrNotExist)

	require.NoError(t, os.Rename(filepath.Join(dir, "batches-simulated.db"), filepath.Join(dir, "batches.db")))
	_, err = Open(options(dir))
	assert.ErrorContains(t, err, `its world is "simulated", and this is the file for real batches`)
}

func TestNotes(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	r := open(t, options(dir))
	d := newTrial(t, r).begin()
	during := Note{Who: "Ada", Text: "skin is tacky", Wall: d.moment().Wall}
	require.NoError(t, r.AddNote(ctx, d.moment(), d.id, during))
	d.finish()
	other := newTrial(t, r).begin()
	d.elapsed += 48 * time.Hour
	later := Note{Who: "Ada", Photo: "cut-face.jpg", Mark: "4/5", Wall: d.moment().Wall}
	require.NoError(t, r.AddNote(ctx, d.moment(), d.id, later))
	other.finish()
	assert.ErrorContains(t, r.AddNote(ctx, d.moment(), d.id, Note{Who: "Ada"}), "empty")
	assert.ErrorContains(t, r.AddNote(ctx, d.moment(), d.id, Note{Text: strings.Repeat("x", 10001)}), "shorten")
	assert.ErrorIs(t, r.AddNote(ctx, d.moment(), "2020-01-01-1", later), ErrNoBatch)
	notes, err := r.Notes(ctx, d.id)
	require.NoError(t, err)
	require.Len(t, notes, 2)
	for i, want := range []Note{during, later} {
		assert.True(t, want.Wall.Truncate(time.Millisecond).Equal(notes[i].Wall))
		want.Wall, notes[i].Wall = time.Time{}, time.Time{}
		assert.Equal(t, want, notes[i])
	}
	requireSound(t, r.Reader, d.id)
	requireSound(t, r.Reader, other.id)
	shut(t, r)
	assert.ErrorContains(t, r.AddNote(ctx, d.moment(), d.id, later), "closed")
}

func TestOneProgramRecords(t *testing.T) {
	dir := t.TempDir()
	r := open(t, options(dir))
	_, err := Open(options(dir))
	assert.ErrorContains(t, err, "in use by another program")
	shut(t, r)
	shut(t, open(t, options(dir)))
}

func TestManyReadWhileOneWrites(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	r := open(t, options(dir))
	d := newTrial(t, r).begin()
	drain(r)
	var readers sync.WaitGroup
	stop := make(chan struct{})
	for range 4 {
		own := reader(t, dir)
		readers.Go(func() {
			last := int64(0)
			for {
				v, err := own.Verify(ctx, d.id)
				if !assert.NoError(t, err) || !assert.True(t, v.Whole, v.String()) || !assert.GreaterOrEqual(t, v.Links, last) {
					return
				}
				last = v.Links
				_, err = own.History(ctx, d.id)
				assert.NoError(t, err)
				select {
				case <-stop:
					return
				default:
				}
			}
		})
	}
	for d.state.Batch.Active() {
		d.run(7)
		assert.True(t, r.Health().OK)
	}
	drain(r)
	close(stop)
	readers.Wait()
	requireSound(t, r.Reader, d.id)
	shut(t, r)
}

// A batch that this program cannot replay is told from the tables.
func TestAHistoryWithoutAReplay(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	r := open(t, options(dir))
	d := newTrial(t, r).begin().finish()
	shut(t, r)
	file := filepath.Join(dir, Real.File())
	var replayed, sketched *history.History
	read := func() (h *history.History) {
		r, err := OpenReader(file)
		require.NoError(t, err)
		defer r.Close()
		h, err = r.History(ctx, d.id)
		require.NoError(t, err)
		return h
	}
	replayed = read()
	tamper(t, file, "UPDATE batch SET cabinet_file = 'a cabinet of another time'")
	sketched = read()
	tell := func(h *history.History) (all []string) {
		events := h.Events()
		for i := range events {
			if e := &events[i]; e.Kind != 0 {
				all = append(all, fmt.Sprintf("%s %s %s %v %q %s", e.ID, history.KindName(e.Kind), e.Text(), e.Elapsed.Round(time.Microsecond), e.StageName(), e.Priority))
			}
		}
		return all
	}
	assert.NotEmpty(t, tell(replayed))
	assert.Equal(t, tell(replayed), tell(sketched))
	require.Len(t, sketched.Stages(), len(replayed.Stages()))
	for i, s := range sketched.Stages() {
		assert.Equal(t, replayed.Stages()[i].Name, s.Name)
		assert.Equal(t, replayed.Stages()[i].Ended.Round(time.Microsecond), s.Ended.Round(time.Microsecond))
		assert.Len(t, s.Waits, len(replayed.Stages()[i].Waits))
	}
	extremes := func(h *history.History) (low, high float64) {
		low, high = math.Inf(1), math.Inf(-1)
		for _, s := range h.Samples() {
			low, high = min(low, s.Chamber), max(high, s.Chamber)
		}
		return low, high
	}
	low, high := extremes(replayed)
	roughLow, roughHigh := extremes(sketched)
	assert.InDelta(t, low, roughLow, 4, "one sample for each commit")
	assert.InDelta(t, high, roughHigh, 4)
	assert.NotEqual(t, low, high)
}

// clock is a wall clock that stands until it is told to move.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// A disk that hangs in a sync must not hold up the loop, must show within 30 s, and
// must be forgotten when it answers again.
func TestSlowDiskShowsAndRecovers(t *testing.T) {
	d := newDisk(t)
	c := &clock{now: trialStart}
	o := options(t.TempDir())
	o.vfs, o.now = faultVFS, c.Now
	r := open(t, o)
	b := newTrial(t, r).begin()
	drain(r)

	answers, hanging := make(chan struct{}), make(chan struct{})
	var once sync.Once
	d.mu.Lock()
	d.fail = func(n int, op operation) int32 {
		if op.kind == syncs {
			once.Do(func() { close(hanging) })
			<-answers
		}
		return 0
	}
	d.mu.Unlock()
	shown := -1
	for s := range 60 {
		if s == 12 { // a block is sealed and the disk has it
			<-hanging
		}
		c.advance(time.Second)
		b.run(1)
		if h := r.Health(); !h.OK && shown < 0 {
			shown = s
			assert.NoError(t, h.Err)
			assert.Greater(t, h.Behind, LateAfter)
		}
	}
	assert.GreaterOrEqual(t, shown, int(LateAfter/time.Second))
	assert.Less(t, shown, 30, "a slow disk shows within 30 s")
	close(answers)
	b.run(15)
	drain(r)
	assert.True(t, r.Health().OK)
	shut(t, r)
	assert.Zero(t, r.Health().Lost)
}

// A disk that is full for long: the trouble shows at once, memory holds what it can,
// and a gap says what it could not. Nothing is invented for it.
func TestFullDiskLeavesAGap(t *testing.T) {
	ctx := context.Background()
	d := newDisk(t)
	dir := t.TempDir()
	o := options(dir)
	o.vfs, o.blocks = faultVFS, 3
	r := open(t, o)
	b := newTrial(t, r).begin()
	b.run(5)
	full := func(rc int32) {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.fail = func(int, operation) int32 { return rc }
	}
	full(sqlite3.SQLITE_FULL)
	b.run(20)
	for r.Health().OK {
	}
	h := r.Health()
	require.Error(t, h.Err)
	assert.Contains(t, h.Err.Error(), "full")
	assert.Positive(t, h.Errors)
	assert.ErrorContains(t, r.AddNote(ctx, b.moment(), b.id, Note{Text: "now?"}), "note was not written")
	for r.Health().Lost == 0 {
		b.run(10)
	}
	b.run(33)
	assert.False(t, r.Health().OK)
	lost := r.Health().Lost
	full(0)
	for !r.Health().OK || r.Health().Waiting > 0 {
	}
	for b.state.Batch.Active() {
		b.run(1) // three blocks are all that may wait here: a slow writer must keep up
		drain(r)
	}
	shut(t, r)

	again := reader(t, dir)
	gaps, err := again.Gaps(ctx, b.id)
	require.NoError(t, err)
	require.Len(t, gaps, 1)
	g := gaps[0]
	assert.Equal(t, gapNotWritten, g.Why)
	assert.GreaterOrEqual(t, g.Steps, int64(lost))
	steps := stepsOf(t, again, b.id)
	assert.Len(t, steps, len(b.steps)-int(g.Steps))
	want := append(append([]Step(nil), b.steps[:g.FirstStep]...), b.steps[g.FirstStep+g.Steps:]...)
	assert.Equal(t, want, steps)
	result := requireSound(t, again, b.id)
	assert.Equal(t, b.final, result.Final, "the replay goes on behind the gap")
	assert.Equal(t, 1, result.Gaps)
	before := b.steps[g.FirstStep+g.Steps].Elapsed - b.steps[g.FirstStep].Elapsed
	assert.Equal(t, before-time.Second, g.Length)
}

// A disk that stays full must not keep the program from ending.
func TestCloseGivesUpAtItsDeadline(t *testing.T) {
	d := newDisk(t)
	o := options(t.TempDir())
	o.vfs = faultVFS
	r := open(t, o)
	b := newTrial(t, r).begin()
	drain(r)
	d.mu.Lock()
	d.fail = func(int, operation) int32 { return sqlite3.SQLITE_FULL }
	d.mu.Unlock()
	b.run(30)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	assert.ErrorContains(t, r.Close(ctx), "could not be written and are lost")
}

func TestRemovedFileShows(t *testing.T) {
	dir := t.TempDir()
	r := open(t, options(dir))
	b := newTrial(t, r).begin()
	drain(r)
	require.NoError(t, os.Rename(filepath.Join(dir, "batches.db"), filepath.Join(dir, "elsewhere.db")))
	b.run(20)
	for r.Health().OK {
	}
	assert.ErrorContains(t, r.Health().Err, "removed or replaced")
	require.NoError(t, os.Rename(filepath.Join(dir, "elsewhere.db"), filepath.Join(dir, "batches.db")))
	for !r.Health().OK {
	}
	b.finish()
	drain(r)
	assert.Equal(t, b.steps, stepsOf(t, r.Reader, b.id))
	shut(t, r)
}

// The power goes during a batch; the program comes up again on the same boot, or on
// another one. A clock that only looks right shows nothing, neither then nor now.
func TestRecovery(t *testing.T) {
	ctx := context.Background()
	cases := []struct {
		name      string
		boot      string
		uptime    time.Duration
		then, now bool // the clock was synchronised since boot
		unseen    time.Duration
		away      controller.Evidence
	}{
		{"only the program ended", "boot-1", time.Hour + 10*time.Minute, false, false, 10 * time.Minute, controller.AwayByBoot},
		{"only the program ended, whatever the clock says", "boot-1", time.Hour + 10*time.Minute, true, true, 10 * time.Minute, controller.AwayByBoot},
		{"a clock since boot that went back", "boot-1", time.Minute, true, true, 0, controller.AwayUnknown},
		{"power cut, synchronised then and now", "boot-2", time.Minute, true, true, 25 * time.Minute, controller.AwayByClock},
		{"power cut, not yet synchronised", "boot-2", time.Minute, true, false, time.Minute, controller.AwayUnknown},
		{"power cut, not synchronised then", "boot-2", time.Minute, false, true, time.Minute, controller.AwayUnknown},
		{"power cut, never synchronised", "boot-2", time.Minute, false, false, time.Minute, controller.AwayUnknown},
		{"synchronised, and up for longer than the clock says", "boot-2", 26 * time.Minute, true, true, 26 * time.Minute, controller.AwayUnknown},
	}
	for _, k := range cases {
		t.Run(k.name, func(t *testing.T) {
			dir := t.TempDir()
			c := &clock{now: trialStart}
			o := options(dir)
			o.now = c.Now
			r := open(t, o)
			b := newTrial(t, r)
			b.synced = k.then
			b.begin().run(120)
			shut(t, r) // writes the open block; what a cut leaves, the storage test shows
			left := b.state

			o.Boot, o.Uptime = k.boot, k.uptime
			r = open(t, o)
			now := Moment{Wall: b.moment().Wall.Add(25*time.Minute - time.Second), ClockSet: true, Synced: k.now}
			u, err := r.Unfinished(ctx, now)
			require.NoError(t, err)
			require.NotNil(t, u)
			assert.True(t, u.Sound, u.Why)
			assert.Equal(t, left, u.State)
			assert.Equal(t, "Trial sticks", u.Product.Name)
			assert.Equal(t, b.start.Cabinet, u.Cabinet)
			assert.Equal(t, k.unseen, u.Unseen.Round(10*time.Millisecond))
			known := k.away != controller.AwayUnknown
			assert.Equal(t, k.away, u.Away)
			assert.Equal(t, k.then, u.Left.Synced)
			assert.WithinDuration(t, now.Wall.Add(-25*time.Minute), u.Left.Wall, time.Millisecond)
			assert.Equal(t, int64(len(b.steps)), u.Steps)

			b.r, b.state = r, u.State
			b.elapsed = u.State.Elapsed + u.Unseen
			r.Resume(u, u.State)
			b.finish()
			shut(t, r)
			again := reader(t, dir)
			assert.Equal(t, b.steps, stepsOf(t, again, b.id))
			result := requireSound(t, again, b.id)
			assert.Equal(t, b.final, result.Final)
			gaps, err := again.Gaps(ctx, b.id)
			require.NoError(t, err)
			require.Len(t, gaps, 1)
			assert.Equal(t, gapNotRunning, gaps[0].Why)
			assert.Zero(t, gaps[0].Steps, "nobody knows how many")
			assert.Equal(t, known, gaps[0].Known)

			r = open(t, options(dir))
			u, err = r.Unfinished(ctx, now)
			require.NoError(t, err)
			assert.Nil(t, u)
			shut(t, r)
		})
	}
}

// A batch that was lost a second time before anybody knew how long the first absence was
// can still be told by the clock: by what it said before the first.
func TestTheFirstUnknownAbsenceIsToldByTheClockBeforeIt(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	o := options(dir)
	r := open(t, o)
	b := newTrial(t, r)
	b.synced = true
	b.begin().run(60)
	shut(t, r)
	before := b.moment().Wall.Add(-time.Second)

	o.Boot, o.Uptime = "boot-2", time.Minute
	r = open(t, o)
	u, err := r.Unfinished(ctx, Moment{Wall: before.Add(time.Hour), ClockSet: true})
	require.NoError(t, err)
	require.Equal(t, controller.AwayUnknown, u.Away)
	r.Resume(u, u.State)
	b.r, b.state, b.synced, b.elapsed = r, u.State, false, u.State.Elapsed+u.Unseen
	in := b.inputs()
	in.PowerLost, in.Away = true, u.Away
	state, out, events := b.machine().Step(b.state, in)
	r.Step(b.moment(), &in, out, events, &state, By{})
	b.state = state
	b.elapsed += time.Second
	b.run(30)
	shut(t, r)

	o.Uptime += 5 * time.Minute // the program alone
	r = open(t, o)
	u, err = r.Unfinished(ctx, Moment{Wall: before.Add(2 * time.Hour), ClockSet: true, Synced: true})
	require.NoError(t, err)
	assert.True(t, u.Sound, u.Why)
	assert.Equal(t, controller.AwayByBoot, u.Away, "of the second")
	_, _, unknown := u.State.AbsenceUnknown()
	assert.True(t, unknown)
	assert.True(t, u.Left.Synced, "of the first")
	assert.WithinDuration(t, before, u.Left.Wall, time.Millisecond)
	shut(t, r)
}

// What older programs recorded as a clock that is set, because the year looked right, is
// no evidence.
func TestAClockThatLookedRightIsNoEvidence(t *testing.T) {
	assert.Equal(t, Moment{Wall: trialStart, ClockSet: true}, leftAt(newRow(linkTable, "wall", trialStart.Format(timeLayout), "clock_set", true)))
	assert.True(t, leftAt(newRow(linkTable, "wall", trialStart.Format(timeLayout), "clock_set", int64(2))).Synced)
}

func TestFinishEndsABatchThatWillNotGoOn(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	r := open(t, options(dir))
	b := newTrial(t, r).begin().run(50)
	shut(t, r)
	r = open(t, options(dir))
	u, err := r.Unfinished(ctx, b.moment())
	require.NoError(t, err)
	r.Finish(b.moment(), u, controller.Aborted, "the core was warm for too long")
	drain(r)
	u, err = r.Unfinished(ctx, b.moment())
	require.NoError(t, err)
	assert.Nil(t, u)
	got, err := r.Batch(ctx, b.id)
	require.NoError(t, err)
	assert.Equal(t, "aborted", got.State)
	assert.Equal(t, "the core was warm for too long", got.Why)
	requireSound(t, r.Reader, b.id)
	shut(t, r)
}

// A recording that this program would decide otherwise must be told from one that it
// would not, at the very step.
func TestReplayFindsTheFirstDifference(t *testing.T) {
	ctx := context.Background()
	r := open(t, options(t.TempDir()))
	b := newTrial(t, r).begin().run(30)
	in := b.inputs()
	state, out, events := b.machine().Step(b.state, in)
	wrong := out
	wrong.On.Set(controller.Heater, !out.On.Has(controller.Heater))
	r.Step(b.moment(), &in, wrong, events, &state, By{})
	b.state = state
	b.elapsed += b.step
	b.run(30)
	shutAfter(t, r, func() {
		result, err := r.Replay(ctx, b.id)
		require.NoError(t, err)
		assert.False(t, result.Same())
		require.NotNil(t, result.Decisions)
		assert.Equal(t, int64(31), result.Decisions.Step)
		assert.Equal(t, 31*time.Second, result.Decisions.Elapsed)
		assert.Equal(t, "outputs", result.Decisions.What)
		assert.NotEqual(t, result.Decisions.Recorded, result.Decisions.Replayed)
		v, err := r.Verify(ctx, b.id)
		require.NoError(t, err)
		assert.True(t, v.Whole, "nobody changed the record")
		u, err := r.Unfinished(ctx, b.moment())
		require.NoError(t, err)
		assert.False(t, u.Sound)
		assert.Contains(t, u.Why, "decides otherwise")
	})
}

func TestReplayFindsAnotherEvent(t *testing.T) {
	ctx := context.Background()
	r := open(t, options(t.TempDir()))
	b := newTrial(t, r).begin().run(30)
	in := b.inputs()
	state, out, events := b.machine().Step(b.state, in)
	events = append(events, controller.Event{At: in.Elapsed, Kind: controller.Refused, Why: controller.StillTripped})
	r.Step(b.moment(), &in, out, events, &state, By{})
	shutAfter(t, r, func() {
		result, err := r.Replay(ctx, b.id)
		require.NoError(t, err)
		require.NotNil(t, result.Decisions)
		assert.Equal(t, int64(31), result.Decisions.Step)
		assert.Equal(t, "events", result.Decisions.What)
	})
}

func TestReplayFindsAnotherState(t *testing.T) {
	ctx := context.Background()
	r := open(t, options(t.TempDir()))
	b := newTrial(t, r).begin().run(30)
	in := b.inputs()
	state, out, events := b.machine().Step(b.state, in)
	state.Heater.Demand += 1e-12 // in the last step of a block: no decision hangs on it
	r.Step(b.moment(), &in, out, events, &state, By{})
	r.seal(nil)
	shutAfter(t, r, func() {
		result, err := r.Replay(ctx, b.id)
		require.NoError(t, err)
		assert.Nil(t, result.Decisions)
		require.NotNil(t, result.State)
		assert.Equal(t, int64(31), result.State.Step)
	})
}

func TestRowsCannotBeChangedByASlip(t *testing.T) {
	dir := t.TempDir()
	r := open(t, options(dir))
	newTrial(t, r).begin().finish()
	shut(t, r)
	db, err := sql.Open("sqlite", filepath.Join(dir, "batches.db"))
	require.NoError(t, err)
	for _, statement := range []string{"UPDATE event SET text = 'x'", "DELETE FROM link", "UPDATE batch SET id = 'x'"} {
		_, err := db.Exec(statement)
		assert.ErrorContains(t, err, "a record is never changed", statement)
	}
	require.NoError(t, db.Close())
}

func TestOpenRefuses(t *testing.T) {
	_, err := Open(Options{Dir: t.TempDir(), World: "dream"})
	assert.ErrorContains(t, err, "no world")
	_, err = Open(options(filepath.Join(t.TempDir(), "nowhere")))
	assert.ErrorIs(t, err, fs.ErrNotExist)

	dir := t.TempDir()
	db, err := sql.Open("sqlite", filepath.Join(dir, "batches.db"))
	require.NoError(t, err)
	_, err = db.Exec("CREATE TABLE recipes (name TEXT)")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	_, err = Open(options(dir))
	assert.ErrorContains(t, err, "database of another kind")
	assert.False(t, errors.Is(err, ErrNewer))
}

func TestHealthOfAnIdleRecorderIsGood(t *testing.T) {
	c := &clock{now: trialStart}
	o := options(t.TempDir())
	o.now = c.Now
	r := open(t, o)
	newTrial(t, r).run(3)
	c.advance(time.Hour)
	assert.True(t, r.Health().OK)
	shut(t, r)
}

func TestLowDiskShows(t *testing.T) {
	o := options(t.TempDir())
	o.lowBytes = 1 << 62
	r := open(t, o)
	assert.True(t, r.Health().DiskLow)
	assert.True(t, r.Health().OK, "low is not yet full")
	shut(t, r)
}

// Steps count as behind wherever they wait: in the open block, when the loop stands,
// or in the queue, when the writer does.
func TestHealthCountsWhatWaits(t *testing.T) {
	c := &clock{now: trialStart}
	o := options(t.TempDir())
	o.now = c.Now
	r := open(t, o)
	b := newTrial(t, r).begin()
	drain(r)
	b.run(1)
	c.advance(LateAfter + time.Second)
	assert.False(t, r.Health().OK)
	r.seal(nil)
	drain(r)
	assert.True(t, r.Health().OK)
	shut(t, r) // and with it the writer
	r.open = &block{batch: 1, product: b.start.Product}
	b.run(1)
	r.seal(nil)
	assert.True(t, r.Health().OK)
	c.advance(LateAfter + time.Second)
	assert.False(t, r.Health().OK)
	assert.Equal(t, 1, r.Health().Waiting)
}

// A record keeps the cabinet file as it was used, for ever; one whose generator has the
// keys of the first form is replayed as it was meant, past the end of its full air.
func TestACabinetOfTheFirstFormIsReplayed(t *testing.T) {
	dir := t.TempDir()
	r := open(t, options(dir))
	d := newTrial(t, r)
	old := regexp.MustCompile(`(?m)^generator: .*$`).ReplaceAll(d.start.CabinetFile.Data, []byte("generator: {burn: 4 h, heat: 110 W, air: 7 L/min, moisture: 60 g}"))
	c, err := cabinet.Parse("old.yaml", old)
	require.NoError(t, err)
	require.Equal(t, "burn", c.Generator.Old)
	long := bytes.Replace([]byte(trialProduct), []byte("until: {after: 40 s}\n  - {name: cook"), []byte("until: {after: 20 min}\n  - {name: cook"), 1)
	p, err := profile.Parse("long.yaml", long)
	require.NoError(t, err)
	d.start.Cabinet, d.start.CabinetFile = c, File{"old.yaml", old}
	d.start.Product, d.start.ProductFile = p, File{"long.yaml", long}
	d.begin()
	for range 14 {
		d.run(100)
		drain(r)
	}
	shut(t, r)
	result := requireSound(t, reader(t, dir), d.id)
	assert.Equal(t, int64(len(d.steps)), result.Steps)
	pumped := 0
	for _, step := range d.steps {
		if step.Out.On.Has(controller.Smoke) {
			pumped++
		}
	}
	assert.Greater(t, pumped, 12*60, "full air, and a share of it after that")
	assert.Less(t, pumped, 18*60)
}

// How far a core may be wrong comes with the start, so that a batch from before there was
// such an error is replayed without, whatever the program now thinks of its probes.
func TestTheCoresErrorIsTheRecords(t *testing.T) {
	for _, said := range []quantity.Kelvin{0, 2.5} {
		dir := t.TempDir()
		r := open(t, options(dir))
		d := newTrial(t, r)
		cab := bytes.ReplaceAll(d.start.CabinetFile.Data, []byte("role: core, chip: simulated"), []byte("role: core, chip: simulated, error: 1.5 K"))
		require.NotEqual(t, d.start.CabinetFile.Data, cab)
		c, err := cabinet.Parse("wrong.yaml", cab)
		require.NoError(t, err)
		require.Equal(t, quantity.Kelvin(1.5), c.CoreError())
		d.start.Cabinet, d.start.CabinetFile = c, File{"wrong.yaml", cab}
		d.once(controller.Command{Kind: controller.Start, CoreError: said})
		d.run(100)
		drain(r)
		shut(t, r)
		result := requireSound(t, reader(t, dir), d.id)
		assert.Equal(t, said, result.Final.CoreError)
		// The course is the cores as they were believed, from the first step to the last.
		require.NotEmpty(t, result.Course)
		last := result.Course[len(result.Course)-1]
		assert.InDelta(t, float64(len(d.steps)), last.At.Seconds(), 11)
		core, seen := result.Final.Core.Coldest.Value()
		assert.Equal(t, seen, last.Known)
		assert.InDelta(t, float64(core), float64(last.Coldest), 1)
		assert.Less(t, len(result.Course), len(d.steps), "a sample each ten seconds is enough")
	}
}

// The place whose rules hold comes with the start, too, whatever is set when the batch is
// read. Limits of nitrite: 156 ppm of sodium nitrite in the US (9 CFR 424.21(c)), 80 ppm of
// the ion, which is 119.98 ppm of the salt, in the EU (Regulation (EU) 2023/2108). A record
// of before it was said names none, and is judged as before.
func TestWhoseRulesHoldIsTheRecords(t *testing.T) {
	const cured = "\n  cure: {name: cure no. 1, mass: 9.6 g, nitrite: 6.25 %, method: comminuted, rest: 12 h}\n" // 150 ppm
	for _, c := range []struct{ own, said, want string }{
		{"", "US", "met"}, {"", "EU", "not met"}, {"", "", "met"}, {"EU", "", "not met"}, {"EU", "EU", "not met"},
	} {
		dir := t.TempDir()
		r := open(t, options(dir))
		d := newTrial(t, r)
		text := strings.Replace(trialProduct, "\n  other:", cured+"  other:", 1)
		if c.own != "" {
			text = strings.Replace(text, "\nspecies:", "\njurisdiction: "+c.own+"\nspecies:", 1)
		}
		p, err := profile.Parse("cured.yaml", []byte(text))
		require.NoError(t, err)
		d.start.Product, d.start.ProductFile = p, File{"cured.yaml", []byte(text)}
		said, _ := profile.ParseJurisdiction(c.said)
		d.once(controller.Command{Kind: controller.Start, Excused: true, Where: said})
		d.run(100)
		drain(r)
		shut(t, r)
		result := requireSound(t, reader(t, dir), d.id)
		assert.Equal(t, said, result.Final.Where)
		assert.Equal(t, d.final, result.Final)
		assert.Equal(t, c.want, result.Verdict[proof.Formula].Answer.String(), "%+v: %s", c, result.Verdict[proof.Formula].Why)
	}
}

// A program that ends well in a batch, on a computer that has been up for long, was away for
// no longer than until it is back.
func TestACleanStopIsNoLongAbsence(t *testing.T) {
	o := options(t.TempDir())
	began := time.Now()
	o.Uptime, o.Up = 0, func() time.Duration { return 30*24*time.Hour + time.Since(began) }
	r := open(t, o)
	b := newTrial(t, r)
	b.begin().run(63)
	shut(t, r)
	r = open(t, o)
	defer shut(t, r)
	u, err := r.Unfinished(t.Context(), Moment{Wall: b.moment().Wall, ClockSet: true, Synced: true})
	require.NoError(t, err)
	require.NotNil(t, u)
	assert.Equal(t, controller.AwayByBoot, u.Away)
	assert.Less(t, u.Unseen, time.Hour)
}
