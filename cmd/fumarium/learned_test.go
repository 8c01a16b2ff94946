package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/record"
)

// boxFile is a cabinet file of a person's own, of a simulated cabinet.
func boxFile(t *testing.T) (name string, data []byte) {
	t.Helper()
	entry, err := shipped.Find("steel-box")
	require.NoError(t, err)
	return file(t, "my-box.yaml", string(entry.Data)), entry.Data
}

// A cabinet learns by one command: what came of it stands in its file, with the old one
// beside it, the next batch goes by it, and the record of the experiment replays.
func TestACabinetLearns(t *testing.T) {
	name, before := boxFile(t)
	d := startDaemon(t, "--cabinet", name, "--pace", "1000")
	status, out, errs := d.client("tune")
	require.Equal(t, exitGood, status, out+errs)
	assert.Contains(t, out, "to do: Take all food and fuel out")
	assert.Contains(t, out, "fan off: rises by ")
	assert.Contains(t, out, name+" holds it")

	data, err := os.ReadFile(name)
	require.NoError(t, err)
	assert.Contains(t, string(data), "# Learned by the cabinet itself on ")
	c, err := cabinet.Parse(name, data)
	require.NoError(t, err)
	assert.Positive(t, float64(c.Learned.FanOff.Gain))
	assert.Zero(t, c.Learned.FanOn)
	kept, err := filepath.Glob(name + ".before-*")
	require.NoError(t, err)
	require.Len(t, kept, 1)
	old, err := os.ReadFile(kept[0])
	require.NoError(t, err)
	assert.Equal(t, string(before), string(old))
	tuned := *d.status().Batch

	// The next batch goes by it, and says so on its record.
	status, _, errs = d.client("start", "marjoram-ring", "--reason", "trial")
	require.Equal(t, exitGood, status, errs)
	batch := *d.status().Batch
	status, _, errs = d.client("stop")
	require.Equal(t, exitGood, status, errs)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	r, err := record.OpenReader(filepath.Join(d.state, record.Simulated.File()))
	require.NoError(t, err)
	defer r.Close()
	b, err := r.Batch(t.Context(), batch)
	require.NoError(t, err)
	assert.Equal(t, string(data), string(b.CabinetFile))
	for _, id := range []string{tuned, batch} {
		again, err := r.Replay(t.Context(), id)
		require.NoError(t, err)
		assert.True(t, again.Same(), id)
		assert.Greater(t, again.Steps, int64(3))
	}
	notes, err := r.Notes(t.Context(), tuned)
	require.NoError(t, err)
	require.Len(t, notes, 1)
	assert.Contains(t, notes[0].Text, "fan off: rises by ")

	// The same comes of the record afterwards, in a file that lacks it, and in a new one.
	fresh := file(t, "fresh.yaml", string(before))
	status, out, errs = call(t, "learned", "--simulated", "--state", d.state, "--write", fresh)
	require.Equal(t, exitGood, status, errs)
	assert.Contains(t, out, fresh+" holds it")
	made := filepath.Join(t.TempDir(), "new.yaml")
	status, _, errs = call(t, "learned", tuned, "--simulated", "--state", d.state, "--write", made)
	require.Equal(t, exitGood, status, errs)
	for _, other := range []string{fresh, made} {
		data, err := os.ReadFile(other)
		require.NoError(t, err)
		is, err := cabinet.Parse(other, data)
		require.NoError(t, err)
		assert.Equal(t, c.Learned, is.Learned)
	}
	status, _, errs = call(t, "learned", batch, "--simulated", "--state", d.state)
	assert.Equal(t, exitCouldNo, status)
	assert.Contains(t, errs, "begin with fumarium tune")
	another := file(t, "another.yaml", strings.Replace(string(before), "cabinet: ", "cabinet: Not the ", 1))
	status, _, errs = call(t, "learned", "--simulated", "--state", d.state, "--write", another)
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errs, "name that one's file")
}

// On a phone: begun, both questions answered, watched, and what came of it read; and
// stopped in the middle the next time, with the heater off and nothing learned.
func TestACabinetLearnsFromThePage(t *testing.T) {
	name, _ := boxFile(t)
	d := startDaemon(t, "--by-hand", "--cabinet", name, "--pace", "300")
	p := openPhone(t, d.url, 360, 640)
	read, until := p.read, p.until
	begin := func() {
		read("document.getElementById('learn-box').open = true")
		p.click("learn-go")
	}
	until("status !== null")
	begin()
	p.seen("ask-token")
	p.do(chromedp.SendKeys(chromedp.CSS("#token"), p.token(d.state)+"\r"))
	answer := func(words string) {
		until("status.prompt !== null && status.prompt.text.includes('" + words + "') && bar !== null && bar.main && document.getElementById('act').getAttribute('aria-disabled') === 'false'")
		read("document.getElementById('act').click()")
	}
	answer("pan with a litre")
	assert.Equal(t, "false", read("status.outputs.heater"))
	answer("cut-out is wired")
	until("!document.getElementById('learn-now').hidden && document.getElementById('learn-bar').value > 0.06")
	read("document.getElementById('learn').scrollIntoView()")
	p.picture("learns")
	until("status.state === 'complete' && document.getElementById('learned').textContent.includes('holds it')")
	read("document.getElementById('learn').scrollIntoView()")
	p.picture("learned")

	// The simulated cabinet has cooled down for the next.
	begin()
	answer("pan with a litre")
	answer("cut-out is wired")
	until("status.learning !== null && status.learning.phase === 'full power' && status.outputs.heater")
	p.click("stop")
	p.click("really-stop")
	until("status.state === 'stopped' && !status.outputs.heater")
	until("document.getElementById('learned').textContent.includes('nothing learned')")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	kept, err := filepath.Glob(name + ".before-*")
	require.NoError(t, err)
	assert.Len(t, kept, 1, "what was stopped is not kept")
}

// A daemon that is killed in an experiment ends it when it is back, with the heater off.
func TestAKilledDaemonDoesNotGoOnLearning(t *testing.T) {
	t.Parallel()
	o := newOutside(t, false, 15, 12)
	cabinetFile, state := file(t, "outside.yaml", outsideCabinet), t.TempDir()
	d := launchDaemon(t, state, o.env(), "--cabinet", cabinetFile)
	d.answers()
	d.steps()
	require.Eventually(t, func() bool { // the chips have to convert first
		code, _, _ := d.client("tune", "--no-wait")
		return code == exitGood
	}, 20*time.Second, 200*time.Millisecond)
	for range 2 {
		require.Eventually(t, func() bool {
			s := d.status()
			if s.Prompt == nil {
				return false
			}
			code, _, _ := d.client("confirm", s.Prompt.Question)
			return code == exitGood
		}, 20*time.Second, 200*time.Millisecond)
	}
	require.Eventually(t, func() bool { s := d.status(); return s.Learning != nil }, 20*time.Second, 200*time.Millisecond)
	time.Sleep(3 * time.Second) // some of it is on disk
	require.NoError(t, d.cmd.Process.Kill())
	_ = d.cmd.Wait()
	again := launchDaemon(t, state, o.env(), "--cabinet", cabinetFile)
	again.answers()
	again.steps()
	require.Eventually(t, func() bool {
		s := again.status()
		return s.State == "aborted" && s.Learned != nil && strings.Contains(strings.Join(s.Learned.Lines, "\n"), "the controller was away")
	}, 30*time.Second, 200*time.Millisecond)
	o.heaterIs(t, false)
	var said []string
	for _, e := range again.status().Events {
		said = append(said, e.Text)
	}
	assert.Contains(t, strings.Join(said, "\n"), "abandoned, and nothing is learned of it: the controller was away meanwhile")
	assert.Equal(t, exitGood, again.end(syscall.SIGTERM))
	is, err := os.ReadFile(cabinetFile)
	require.NoError(t, err)
	assert.Equal(t, outsideCabinet, string(is))
}
