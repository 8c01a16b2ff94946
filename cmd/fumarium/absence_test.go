package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/record"
	"fumarium/controller/web"
)

// lights is a cabinet whose power fails: the daemon is killed, and the next one runs on
// a computer of another boot.
type lights struct {
	*daemon
	t      *testing.T
	o      *outside
	run    string // the run folder of this boot
	dir    string
	boots  string        // the id
	booted time.Duration // when, by the clock of the computer that the test runs on
	starts []string
}

// burning is one in which a batch heats. With synced the clock had been synchronised
// since that boot before the batch began.
func burning(t *testing.T, synced bool) *lights {
	t.Helper()
	l := &lights{t: t, o: newOutside(t, false, 40, 12), dir: t.TempDir()}
	l.starts = []string{"--cabinet", file(t, "outside.yaml", outsideCabinet)}
	l.boot("first", synced)
	product := file(t, "product.yaml", strings.Replace(quick(t), "until: {after: 20 s}", "until: {after: 2 h}", 1))
	require.Eventually(t, func() bool { // the chips have to convert first
		code, _, _ := l.client("start", product, "--reason", "trial")
		return code == exitGood
	}, 20*time.Second, 200*time.Millisecond)
	l.o.heaterIs(t, true)
	require.Eventually(t, func() bool { return l.recorded() }, 20*time.Second, 200*time.Millisecond)
	return l
}

// recorded reports whether steps after the start are on disk.
func (l *lights) recorded() bool {
	r, err := record.OpenReader(filepath.Join(l.dir, record.Real.File()))
	if err != nil {
		return false
	}
	defer r.Close()
	all, err := r.List(l.t.Context())
	return err == nil && len(all) == 1 && all[0].Steps > 3
}

// boot starts the daemon on a computer of that boot, in whose run folder the mark is or
// is not.
func (l *lights) boot(id string, synced bool) {
	l.t.Helper()
	l.boots, l.booted, l.run = id, here.clock.Up(), l.t.TempDir()
	if synced {
		l.mark(id)
	}
	l.again()
}

// again starts the daemon once more in the same boot.
func (l *lights) again() {
	l.t.Helper()
	l.daemon = launchDaemon(l.t, l.dir, append(l.o.env(), strings.Join([]string{bootEnv + "=" + l.boots, l.booted.String(), filepath.Join(l.run, "synchronised")}, ",")), l.starts...)
	l.answers()
	l.steps()
}

// mark is what the unit of the clock does.
func (l *lights) mark(id string) {
	require.NoError(l.t, os.WriteFile(filepath.Join(l.run, "synchronised"), []byte(id+"\n"), 0o644))
}

// out is a power cut.
func (l *lights) out() {
	l.t.Helper()
	require.NoError(l.t, l.cmd.Process.Kill())
	_ = l.cmd.Wait()
	l.o.heaterIs(l.t, false)
}

func (l *lights) says(text string) bool {
	for _, e := range l.status().Events {
		if strings.Contains(e.Text, text) {
			return true
		}
	}
	return false
}

// What comes of a cut depends on whether the clock was synchronised before it and is
// now, not on how right it looks: it is the same computer's clock in every case here.
func TestALengthIsTakenFromASynchronisedClockOnly(t *testing.T) {
	t.Parallel()
	for _, k := range []struct {
		name         string
		before, then bool
		boot         string
		state, says  string
	}{
		{"synchronised before and after", true, true, "second", "running", ", by the clock, synchronised before and after"},
		{"not yet synchronised again", true, false, "second", "held", "how long the controller was away is not known"},
		{"synchronised only now", false, true, "second", "held", "how long the controller was away is not known"},
		{"never synchronised", false, false, "second", "held", "how long the controller was away is not known"},
		{"the same boot, never synchronised", false, false, "first", "running", ", by the computer's clock since boot"},
	} {
		t.Run(k.name, func(t *testing.T) {
			t.Parallel()
			l := burning(t, k.before)
			l.out()
			switches := l.switched()
			if k.boot == "first" {
				l.again()
			} else {
				l.boot(k.boot, k.then)
			}
			require.Eventually(t, func() bool { return l.status().State == k.state }, 10*time.Second, 50*time.Millisecond)
			assert.True(t, l.says(k.says), l.status().Events)
			s := l.status()
			if k.state == "running" {
				assert.Nil(t, s.Prompt)
				l.o.heaterIs(t, true)
			} else {
				require.NotNil(t, s.Prompt)
				assert.Equal(t, web.Prompt{Question: s.Prompt.Question, Command: "absence", Text: s.Prompt.Text, WaitingSeconds: s.Prompt.WaitingSeconds}, *s.Prompt)
				assert.True(t, strings.HasPrefix(s.Prompt.Question, "absence-1-"), s.Prompt.Question)
				assert.Contains(t, s.Summary, "how long the controller was away is not known")
				assert.Equal(t, switches, l.switched(), "nothing heats")
			}
			assert.Equal(t, exitGood, l.end(os.Interrupt))
		})
	}
}

// switched is how often the heater was.
func (l *lights) switched() int {
	l.o.mu.Lock()
	defer l.o.mu.Unlock()
	return len(l.o.heater)
}

// Nothing heats before a person has said how long it was; then a restart does. It is on
// the record who said it, and the record replays.
func TestAPersonSaysHowLongItWas(t *testing.T) {
	t.Parallel()
	l := burning(t, false)
	l.out()
	l.boot("second", false)
	require.Eventually(t, func() bool { return l.status().State == "held" }, 10*time.Second, 50*time.Millisecond)
	first := l.status().Prompt.Question
	_, said, _ := l.client("status")
	assert.Contains(t, said, "fumarium absence "+first+" --for TIME")
	code, _, why := l.client("restart")
	assert.Equal(t, exitBad, code)
	assert.Contains(t, why, "nobody knows for how long the controller was away")
	code, _, why = l.client("confirm")
	assert.Equal(t, exitBad, code)
	assert.Contains(t, why, "fumarium absence "+first+" --for TIME")
	code, _, why = l.client("absence", strings.Replace(first, "-1-", "-2-", 1), "--for", "30 min")
	assert.Equal(t, exitBad, code)
	assert.Contains(t, why, "another question waits now")

	l.out() // a second cut before anybody came: still unknown, and another question
	l.boot("third", true)
	require.Eventually(t, func() bool { p := l.status().Prompt; return p != nil && strings.HasPrefix(p.Question, "absence-2-") }, 10*time.Second, 50*time.Millisecond)
	switches := l.switched()
	code, _, why = l.client("absence", strings.Replace(first, "-1-", "-2-", 1), "--for", "30 min")
	require.Equal(t, exitGood, code, why)
	assert.Equal(t, "held", l.status().State)
	assert.Equal(t, switches, l.switched(), "half an hour waits for a restart")
	assert.Nil(t, l.status().Prompt)
	code, _, why = l.client("restart")
	require.Equal(t, exitGood, code, why)
	l.o.heaterIs(t, true)
	code, _, why = l.client("stop")
	require.Equal(t, exitGood, code, why)
	assert.Equal(t, exitGood, l.end(os.Interrupt))

	r, err := record.OpenReader(filepath.Join(l.dir, record.Real.File()))
	require.NoError(t, err)
	defer r.Close()
	all, err := r.List(t.Context())
	require.NoError(t, err)
	require.Len(t, all, 1)
	commands, err := r.Commands(t.Context(), all[0].ID)
	require.NoError(t, err)
	var kinds []string
	for _, c := range commands {
		kinds = append(kinds, c.Command+" "+c.Refused)
	}
	assert.Contains(t, strings.Join(kinds, "\n"), "absence \nrestart \nstop ")
	gaps, err := r.Gaps(t.Context(), all[0].ID)
	require.NoError(t, err)
	require.Len(t, gaps, 2)
	assert.False(t, gaps[0].Known || gaps[1].Known)
	result, err := r.Replay(t.Context(), all[0].ID)
	require.NoError(t, err)
	assert.True(t, result.Same(), result)
}

// The clock that is synchronised after the daemon has come up tells what it could not,
// also over a restart of the daemon in between.
func TestAClockSynchronisedLaterTellsIt(t *testing.T) {
	t.Parallel()
	l := burning(t, true)
	l.out()
	l.boot("second", false)
	require.Eventually(t, func() bool { return l.status().State == "held" }, 10*time.Second, 50*time.Millisecond)
	l.mark("first") // a run folder that outlived its boot
	l.out()
	l.again()
	require.Eventually(t, func() bool { p := l.status().Prompt; return p != nil && strings.HasPrefix(p.Question, "absence-1-") }, 10*time.Second, 50*time.Millisecond)
	assert.Equal(t, "held", l.status().State)
	l.mark("second")
	l.o.heaterIs(t, true) // it was short altogether
	assert.True(t, l.says(", by the clock, synchronised before and after"))
	require.Eventually(t, func() bool { s := l.status(); return s.State == "running" && s.Prompt == nil }, 10*time.Second, 50*time.Millisecond)
	assert.Equal(t, exitGood, l.end(os.Interrupt))
}
