package record

import (
	"bytes"
	"context"
	"database/sql"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/sensors"
)

var update = flag.Bool("update", false, "write the stores in testdata anew; kept ones of old formats stay")

// The stores in testdata are kept for ever: what a version has written, every later
// one must read, and what is damaged must be told from what is not. The text beside a
// store is what stands in it, and must never change. version-1.db, layout-1.db and
// claims.db are not written any more: the last programs that recorded in layout 1 left
// them.
func TestWriteStores(t *testing.T) {
	if !*update {
		return // only with -update
	}
	ctx := context.Background()
	dir := t.TempDir()
	o := options(dir)
	o.pageBytes, o.now = 512, (&clock{now: trialStart}).Now
	r := open(t, o)
	newTrial(t, r).begin().run(12)
	shut(t, r)
	r = open(t, o)
	u, err := r.Unfinished(ctx, Moment{Wall: trialStart, ClockSet: true})
	require.NoError(t, err)
	b := newTrial(t, r)
	b.state, b.elapsed, b.odd = u.State, u.State.Elapsed+300e9, true
	r.Resume(u, u.State)
	b.run(60)
	drain(r)
	require.NoError(t, r.AddNote(ctx, b.moment(), u.Batch.ID, Note{Who: "Ada", Text: "even colour", Photo: "racks.jpg", Mark: "4/5"}))
	shut(t, r)
	whole, err := os.ReadFile(filepath.Join(dir, "batches.db"))
	require.NoError(t, err)
	save := func(name string, data []byte) {
		require.NoError(t, os.WriteFile(filepath.Join("testdata", name), data, 0o644))
	}
	save("layout-2.db", whole)
	save("layout-2.txt", []byte(listing(t, filepath.Join("testdata", "layout-2.db"))))
	save("truncated.db", whole[:len(whole)*6/10])
	flipped := bytes.Clone(whole)
	at := bytes.Index(flipped, []byte("stage dry begins"))
	require.Positive(t, at)
	flipped[at] ^= 0x20
	save("flipped-byte.db", flipped)

	change := func(name string, statements ...string) {
		save(name, whole)
		tamper(t, filepath.Join("testdata", name), statements...)
	}
	change("missing-row.db", "DELETE FROM link WHERE number = 3")
	change("newer.db", "UPDATE batch SET pace = pace")
	db, err := sql.Open("sqlite", filepath.Join("testdata", "newer.db"))
	require.NoError(t, err)
	_, err = db.Exec("PRAGMA user_version = 2")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	left, err := filepath.Glob("testdata/*-wal")
	require.NoError(t, err)
	require.Empty(t, left)
}

// listing is everything in a store as text.
func listing(t testing.TB, file string) string {
	t.Helper()
	ctx := context.Background()
	r, err := OpenReader(copyOf(t, file))
	require.NoError(t, err)
	defer r.Close()
	var out strings.Builder
	all, err := r.List(ctx)
	require.NoError(t, err)
	for _, b := range all {
		fmt.Fprintf(&out, "batch %s %s, %s in %s, by program %s, steps %d, elapsed %v, state %q\n", b.ID, b.World, b.Product, b.Cabinet, b.Program, b.Steps, b.Elapsed, b.State)
		v, err := r.Verify(ctx, b.ID)
		require.NoError(t, err)
		fmt.Fprintln(&out, v)
		gaps, err := r.Gaps(ctx, b.ID)
		require.NoError(t, err)
		for _, g := range gaps {
			fmt.Fprintf(&out, "gap %+v\n", g)
		}
		h, err := r.History(ctx, b.ID)
		require.NoError(t, err)
		events := h.Events()
		for i := range events {
			if e := &events[i]; e.Kind != 0 {
				fmt.Fprintf(&out, "event %d %v %v %s, %s\n", e.ID.Step, e.Wall.UTC().Format(timeLayout), e.Elapsed, history.KindName(e.Kind), e.Text())
			}
		}
		commands, err := r.Commands(ctx, b.ID)
		require.NoError(t, err)
		for _, c := range commands {
			fmt.Fprintf(&out, "command %d %v %s by %s, %s\n", c.Step, c.Elapsed, c.Command, c.Who, c.Reason)
		}
		notes, err := r.Notes(ctx, b.ID)
		require.NoError(t, err)
		for _, n := range notes {
			fmt.Fprintf(&out, "note %s: %s, %s, %s\n", n.Who, n.Text, n.Photo, n.Mark)
		}
		require.NoError(t, r.Steps(ctx, b.ID, func(s Step) error {
			fmt.Fprintf(&out, "step %d %d", s.Number, s.Elapsed)
			for _, in := range s.In.Chamber {
				v, _ := in.Value()
				fmt.Fprintf(&out, " %s %x", in.Status(), float64(v))
			}
			for _, in := range s.In.Core {
				v, _ := in.Value()
				fmt.Fprintf(&out, " %s %x", in.Status(), float64(v))
			}
			require.Equal(t, sensors.Unread, s.In.Ember.Status(), "a field that is younger than the store")
			v, _ := s.In.Ambient.Value()
			fmt.Fprintf(&out, " %x heater %v fan %v smoke %v sounder %v damper %x, %d events\n", float64(v),
				s.Out.On.Has(controller.Heater), s.Out.On.Has(controller.Fan), s.Out.On.Has(controller.Smoke), s.Out.On.Has(controller.Sounder), float64(s.Out.Damper), len(s.Events))
			return nil
		}))
	}
	return out.String()
}

// copyOf puts a store where it may be written to.
func copyOf(t testing.TB, file string) string {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	to := filepath.Join(t.TempDir(), "batches.db")
	require.NoError(t, os.WriteFile(to, data, 0o600))
	return to
}

func TestStoresAreReadForEver(t *testing.T) {
	for _, name := range []string{"version-1", "layout-1", "claims", "layout-2"} {
		want, err := os.ReadFile(filepath.Join("testdata", name+".txt"))
		require.NoError(t, err)
		assert.Equal(t, string(want), listing(t, filepath.Join("testdata", name+".db")))
	}
	// A controller may come to decide otherwise, and then says where. With none of the
	// stores that begin with layout- it has.
	r, err := OpenReader(copyOf(t, filepath.Join("testdata", "version-1.db")))
	require.NoError(t, err)
	defer r.Close()
	result, err := r.Replay(context.Background(), "2026")
	require.NoError(t, err)
	require.NotNil(t, result.Decisions)
	t.Log(result.Decisions)
}

// A batch that an older program left under way goes on, whatever this one calls what it
// remembers, and can be replayed to the end.
func TestBatchOfAnOlderProgramGoesOn(t *testing.T) {
	ctx := context.Background()
	for _, name := range []string{"layout-1.db", "layout-2.db"} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Dir(copyOf(t, filepath.Join("testdata", name)))
			r := open(t, options(dir))
			u, err := r.Unfinished(ctx, Moment{Wall: trialStart, ClockSet: true})
			require.NoError(t, err)
			require.NotNil(t, u)
			require.True(t, u.Sound, u.Why)
			b := newTrial(t, r)
			b.start.Product, b.start.Cabinet = u.Product, u.Cabinet
			b.id, b.state, b.elapsed, b.odd = u.Batch.ID, u.State, u.State.Elapsed+30e9, true
			r.Resume(u, u.State)
			b.run(90)
			b.once(controller.Command{Kind: controller.Stop})
			b.run(2)
			shut(t, r)
			result := requireSound(t, reader(t, dir), b.id)
			assert.Equal(t, b.final, result.Final)
			assert.Equal(t, controller.Stopped, result.Final.Batch)
			assert.Equal(t, 2, result.Gaps)
		})
	}
}

// What is restart today was written as resume, and its number was the same. The batch
// in command-resume.db was held after fifteen steps and went on after twenty; one such
// command was refused before. Its words stay, and it is replayed as it went.
func TestRestartIsFoundInOldRecords(t *testing.T) {
	ctx := context.Background()
	r, err := OpenReader(copyOf(t, filepath.Join("testdata", "command-resume.db")))
	require.NoError(t, err)
	defer r.Close()
	v, err := r.Verify(ctx, "2026")
	require.NoError(t, err)
	assert.True(t, v.Whole, v.String())
	commands, err := r.Commands(ctx, "2026")
	require.NoError(t, err)
	var words []string
	for _, c := range commands {
		words = append(words, fmt.Sprintf("%d %s", c.Step, c.Command))
	}
	assert.Equal(t, []string{"0 start", "13 resume", "14 hold", "20 resume"}, words)

	restarts := map[int64][]string{}
	b, err := r.Batch(ctx, "2026")
	require.NoError(t, err)
	p, err := profile.Parse(b.ProductName, b.ProductFile)
	require.NoError(t, err)
	require.NoError(t, r.Steps(ctx, "2026", func(s Step) error {
		if s.In.Command.Kind == controller.Restart {
			for _, e := range s.Events {
				restarts[s.Number] = append(restarts[s.Number], e.Text(p))
			}
		}
		return nil
	}))
	assert.Equal(t, map[int64][]string{13: {"restart refused: not possible in this state of the batch"}, 20: {"batch restarting"}}, restarts)

	result, err := r.Replay(ctx, "2026")
	require.NoError(t, err)
	assert.Nil(t, result.Decisions)
	assert.Equal(t, b.Steps, result.Steps)
	assert.Equal(t, controller.Complete, result.Final.Batch)
}

// Before there was a command for it, acknowledging an alarm by its name once more was the
// claim that it is mended, and confirm answered whatever waited. The batch in claims.db
// was recorded then: a core probe slipped out and was said to be back, the last one was
// lost and refused to be left out, hand steps were confirmed without being named. It is
// replayed as it went, to the last bit of the state.
func TestClaimsOfOldRecordsAreReplayed(t *testing.T) {
	ctx := context.Background()
	r, err := OpenReader(copyOf(t, filepath.Join("testdata", "claims.db")))
	require.NoError(t, err)
	defer r.Close()
	result := requireSound(t, r, "2026-11-25-1")
	assert.Equal(t, controller.Stopped, result.Final.Batch)
	assert.Equal(t, profile.NoJurisdiction, result.Final.Where, "nobody said whose rules hold")
	assert.Empty(t, result.Lost)

	// With the commands of today in their place it would not have gone like that.
	b, err := r.Batch(ctx, "2026")
	require.NoError(t, err)
	p, err := profile.Parse(b.ProductName, b.ProductFile)
	require.NoError(t, err)
	c, err := cabinet.ParseRecorded(b.CabinetName, b.CabinetFile)
	require.NoError(t, err)
	m, err := controller.New(p, c)
	require.NoError(t, err)
	m = m.Unbalanced() // as it was then
	var then, today controller.State
	said := map[string]int{}
	require.NoError(t, r.Steps(ctx, "2026", func(s Step) error {
		in := s.In
		assert.Zero(t, in.Command.Question)
		if in.Command.Kind != controller.NoCommand {
			said[in.Command.Kind.String()]++
		}
		then, _, _ = m.Step(then, in)
		if in.Command.Kind.String() == controller.Acknowledge.String() {
			in.Command.Kind = controller.Acknowledge
		}
		today, _, _ = m.Step(today, in)
		if s.Number == 80 { // some seconds after the claim
			assert.Equal(t, trip.Normal, then.Alarms[trip.CoreOut].Phase)
			assert.Equal(t, trip.Acknowledged, today.Alarms[trip.CoreOut].Phase)
		}
		return nil
	}))
	assert.Equal(t, map[string]int{"start": 1, "confirm": 2, "acknowledge": 8, "stop": 1}, said)
}

func TestDamagedStores(t *testing.T) {
	ctx := context.Background()
	t.Run("flipped byte", func(t *testing.T) {
		r, err := OpenReader(copyOf(t, "testdata/flipped-byte.db"))
		require.NoError(t, err)
		defer r.Close()
		v, err := r.Verify(ctx, "2026")
		require.NoError(t, err)
		assert.False(t, v.Whole)
		assert.Equal(t, int64(1), v.Broken, v.Why)
	})
	t.Run("missing row", func(t *testing.T) {
		r, err := OpenReader(copyOf(t, "testdata/missing-row.db"))
		require.NoError(t, err)
		defer r.Close()
		v, err := r.Verify(ctx, "2026")
		require.NoError(t, err)
		assert.False(t, v.Whole)
		assert.Equal(t, int64(3), v.Broken, v.Why)
		assert.Equal(t, int64(2), v.Links)
		_, err = r.Replay(ctx, "2026")
		assert.ErrorContains(t, err, "are missing, and no gap says so")
	})
	t.Run("missing row, opened to go on", func(t *testing.T) {
		o := options(filepath.Dir(copyOf(t, "testdata/missing-row.db")))
		r := open(t, o)
		u, err := r.Unfinished(ctx, Moment{Wall: trialStart, ClockSet: true})
		require.NoError(t, err)
		require.NotNil(t, u)
		assert.False(t, u.Sound)
		assert.NotEmpty(t, u.Why)
		shut(t, r)
	})
	t.Run("newer", func(t *testing.T) {
		file := copyOf(t, "testdata/newer.db")
		_, err := OpenReader(file)
		assert.ErrorIs(t, err, ErrNewer)
		_, err = Open(options(filepath.Dir(file)))
		require.ErrorIs(t, err, ErrNewer)
		assert.Contains(t, err.Error(), "it is of format 2 and this program knows formats up to 1; use the newer program")
		before, err := os.ReadFile("testdata/newer.db")
		require.NoError(t, err)
		after, err := os.ReadFile(file)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(before, after), "and left as it is")
	})
}

// A damaged file is set aside with everything in it, a new one begins, and both can
// be read.
func TestDamagedFileIsSetAside(t *testing.T) {
	truncated, err := os.ReadFile("testdata/truncated.db")
	require.NoError(t, err)
	hole, err := os.ReadFile("testdata/version-1.db") // a page that only a check of the whole file meets
	require.NoError(t, err)
	at := bytes.Index(hole, []byte("racks.jpg")) &^ 511
	require.Positive(t, at)
	clear(hole[at : at+512])
	cases := map[string][]byte{
		"a page of zeros":  hole,
		"truncated":        truncated,
		"no database":      bytes.Repeat([]byte("not a database\n"), 300),
		"header only":      truncated[:100],
		"zeros at the end": append(bytes.Clone(truncated[:4096]), make([]byte, len(truncated)-4096)...),
	}
	for name, data := range cases {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			file := filepath.Join(dir, "batches.db")
			require.NoError(t, os.WriteFile(file, data, 0o600))
			require.NoError(t, os.WriteFile(file+"-wal", []byte("torn"), 0o600)) // it was not closed
			r := open(t, options(dir))
			require.Len(t, r.Notice(), 1)
			assert.Contains(t, r.Notice()[0], "damaged")
			b := newTrial(t, r).begin().finish()
			drain(r)
			requireSound(t, r.Reader, b.id)
			shut(t, r)
			aside, err := filepath.Glob(filepath.Join(dir, "batches-damaged-*.db"))
			require.NoError(t, err)
			require.Len(t, aside, 1)
			kept, err := os.ReadFile(aside[0])
			require.NoError(t, err)
			assert.True(t, bytes.Equal(data, kept), "nothing of it is changed")
			assert.Contains(t, r.Notice()[0], aside[0])
		})
	}
	t.Run("log without its file", func(t *testing.T) {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "batches.db-wal"), []byte("log"), 0o600))
		r := open(t, options(dir))
		assert.Len(t, r.Notice(), 1)
		shut(t, r)
		aside, err := filepath.Glob(filepath.Join(dir, "batches-damaged-*.db-wal"))
		require.NoError(t, err)
		assert.Len(t, aside, 1)
	})
}
