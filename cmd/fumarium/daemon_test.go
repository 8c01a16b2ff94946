package main

import (
	"bufio"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/caution"
	"fumarium/controller/web"
)

// first is what the first process of an emulated board does.
var first func(m *testing.M)

// TestMain lets the test binary stand in for the program, so that the daemon runs
// as a process of its own without a build.
func TestMain(m *testing.M) {
	if os.Getenv("FUMARIUM_TEST_AS_PROGRAM") != "" {
		standIn()
		main()
		return
	}
	if first != nil {
		first(m)
	}
	if address := os.Getenv(crowdEnv); address != "" {
		crowdComes(address)
		return
	}
	code := m.Run()
	if programs != "" {
		_ = os.RemoveAll(programs)
	}
	os.Exit(code)
}

// long marks a test of one goroutine, of which the race detector learns nothing and takes
// ten times as long: .ci/test runs it without.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and of one goroutine: it runs without -short")
	}
}

// daemon is a running fumarium on a free port.
type daemon struct {
	t     *testing.T
	cmd   *exec.Cmd
	url   string
	state string
	lines chan string
	pipe  io.Closer // its stderr
}

func startDaemon(t *testing.T, args ...string) *daemon {
	t.Helper()
	return startDaemonIn(t, t.TempDir(), args...)
}

func startDaemonIn(t *testing.T, state string, args ...string) *daemon {
	t.Helper()
	d := launchDaemon(t, state, nil, args...)
	d.answers()
	d.steps()
	return d
}

// launchDaemon starts the process and waits for nothing.
func launchDaemon(t *testing.T, state string, env []string, args ...string) *daemon {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	return launchProgram(t, self, state, env, args...)
}

// programs is where what built has built lies until all tests are over.
var (
	programs string
	building sync.Mutex
)

// built builds the program, as it is without a test and the race detector, for this
// machine or the one that env names, once.
func built(t *testing.T, env ...string) (program string) {
	t.Helper()
	building.Lock()
	defer building.Unlock()
	program = filepath.Join(builtIn(t), "fumarium"+strings.Join(env, ","))
	if _, err := os.Stat(program); err == nil {
		return program
	}
	build := exec.Command("go", append(asPacked(t, "build"), "-o", program, ".")...)
	build.Env = append(append(os.Environ(), "CGO_ENABLED=0"), env...)
	said, err := build.CombinedOutput()
	require.NoError(t, err, string(said))
	return program
}

// asPacked is a command of go with the flags by which the board's program is packed.
func asPacked(t *testing.T, command ...string) []string {
	t.Helper()
	file, err := os.ReadFile("../../deploy/buildflags")
	require.NoError(t, err)
	command = append(command, "-trimpath")
	for line := range strings.Lines(string(file)) {
		if strings.HasPrefix(line, "-") {
			command = append(command, strings.TrimSpace(line))
		}
	}
	return command
}

func builtIn(t *testing.T) string {
	t.Helper()
	if programs == "" {
		dir, err := os.MkdirTemp("", "programs")
		require.NoError(t, err)
		programs = dir
	}
	return programs
}

// startBuilt starts a daemon as people run it: for what comes after a whole batch, which
// takes ten times as long with the race detector. A whole batch with it is made in
// TestTheDemonstrationRunsToItsEnd.
func startBuilt(t *testing.T, args ...string) *daemon {
	t.Helper()
	d := launchProgram(t, built(t), t.TempDir(), nil, args...)
	d.answers()
	d.steps()
	return d
}

func launchProgram(t *testing.T, self, state string, env []string, args ...string) *daemon {
	t.Helper()
	d := &daemon{t: t, state: state, lines: make(chan string, 10000)}
	d.cmd = exec.Command(self, append([]string{"run", "--state", d.state, "--listen", "127.0.0.1:0"}, args...)...)
	d.cmd.Env = append(append(os.Environ(), "FUMARIUM_TEST_AS_PROGRAM=1"), env...)
	stderr, err := d.cmd.StderrPipe()
	require.NoError(t, err)
	d.pipe = stderr
	require.NoError(t, d.cmd.Start())
	t.Cleanup(func() { _ = d.cmd.Process.Kill() })
	go func() {
		defer close(d.lines)
		for s := bufio.NewScanner(stderr); s.Scan(); {
			d.lines <- s.Text()
		}
	}()
	return d
}

// answers waits until the daemon has said where its page is.
func (d *daemon) answers() {
	d.t.Helper()
	page := d.line("page ")
	d.url = strings.TrimSuffix(strings.TrimSpace(strings.TrimPrefix(page, "page")), "/")
}

// steps waits until the daemon has made a step.
func (d *daemon) steps() {
	d.t.Helper()
	require.Eventually(d.t, func() bool {
		r, err := http.Get(d.url + "/readyz")
		if err != nil {
			return false
		}
		defer r.Body.Close()
		return r.StatusCode == http.StatusOK
	}, time.Minute, 20*time.Millisecond)
}

// line waits for a line of the daemon's log that contains text.
func (d *daemon) line(text string) string {
	d.t.Helper()
	limit := time.After(time.Minute)
	var seen []string
	for {
		select {
		case line, open := <-d.lines:
			if !open {
				d.t.Fatalf("the daemon ended without saying %q; it said:\n%s", text, strings.Join(seen, "\n"))
			}
			seen = append(seen, line)
			if strings.Contains(line, text) {
				return line
			}
		case <-limit:
			d.t.Fatalf("the daemon never said %q; it said:\n%s", text, strings.Join(seen, "\n"))
		}
	}
}

func (d *daemon) status() web.Status {
	d.t.Helper()
	code, out, err := call(d.t, "status", "--json", "--server", d.url)
	var s web.Status
	require.NoError(d.t, json.Unmarshal([]byte(out), &s), err)
	want := exitGood
	if s.Good != nil && !*s.Good {
		want = exitBad
	}
	require.Equal(d.t, want, code, err)
	return s
}

func (d *daemon) client(args ...string) (int, string, string) {
	d.t.Helper()
	return call(d.t, append(args, "--server", d.url, "--state", d.state)...)
}

func (d *daemon) get(path string) (int, string) {
	d.t.Helper()
	resp, err := http.Get(d.url + path)
	require.NoError(d.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(d.t, err)
	return resp.StatusCode, string(body)
}

// post sends what the operator's token allows.
func (d *daemon) post(path, body string) (int, string) {
	d.t.Helper()
	token, err := os.ReadFile(filepath.Join(d.state, tokenFile))
	require.NoError(d.t, err)
	r, err := http.NewRequest(http.MethodPost, d.url+path, strings.NewReader(body))
	require.NoError(d.t, err)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+strings.TrimSpace(string(token)))
	resp, err := http.DefaultClient.Do(r)
	require.NoError(d.t, err)
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	require.NoError(d.t, err)
	return resp.StatusCode, string(answer)
}

// end sends a signal and returns the exit status.
func (d *daemon) end(signal os.Signal) int {
	d.t.Helper()
	require.NoError(d.t, d.cmd.Process.Signal(signal))
	for line := range d.lines {
		d.t.Log(line)
		if strings.Contains(line, "all outputs off") {
			break
		}
	}
	_ = d.cmd.Wait()
	return d.cmd.ProcessState.ExitCode()
}

func TestTheDemonstrationRunsToItsEnd(t *testing.T) {
	d := startDaemon(t, "--pace", "10000")
	d.line("the simulated person answers")
	d.line("batch complete")
	s := d.status()
	assert.Equal(t, "complete", s.State)
	assert.Equal(t, "simulated", s.World)
	code, metrics := d.get("/metrics")
	assert.Equal(t, http.StatusOK, code)
	assert.Contains(t, metrics, `fumarium_batch_state{state="complete"} 1`)
	assert.Contains(t, metrics, `world="simulated"`)
	code, _ = d.get("/healthz")
	assert.Equal(t, http.StatusOK, code)
	code, chart := d.get("/chart.svg")
	assert.Equal(t, http.StatusOK, code)
	assert.Contains(t, chart, "<svg")
	status, _, errText := d.client("note", "good colour, a little dry\nrecord whole\x1b[2K\u202e")
	assert.Equal(t, exitGood, status, errText)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))

	// The record outlives the daemon, and the batch in it can be decided again.
	status, out, errText := call(t, "batches", "--simulated", "--state", d.state)
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, "Marjoram ring sausage")
	assert.Contains(t, out, "complete")
	status, out, errText = call(t, "batches", "sim-", "--simulated", "--state", d.state)
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, `good colour, a little dry\nrecord whole\x1b[2K\u202e`+"\n", "a note can't fake a line")
	assert.Contains(t, out, "record whole")
	status, out, errText = call(t, "replay", "sim-", "--simulated", "--state", d.state)
	require.Equal(t, exitGood, status, out+errText)
	assert.Contains(t, out, "every decision the same")
	assert.Contains(t, out, "not covered by any of this:\n  - the raw meat")
	assert.NotContains(t, out, "WORKSHEET", "nothing of it is missing")
	status, out, errText = call(t, "batches", "sim-", "--simulated", "--state", d.state, "--json")
	require.Equal(t, exitGood, status, errText)
	var b shownBatch
	require.NoError(t, json.Unmarshal([]byte(out), &b))
	assert.Equal(t, "complete", b.State)
	assert.True(t, b.Whole)
	require.NotEmpty(t, b.Events)
	assert.Equal(t, shownEvent{ID: b.ID + "/0.0", Time: b.Events[0].Time, Kind: "batch state", Text: "batch running"}, b.Events[0])
	assert.Equal(t, "start", b.Commands[0].Command)
	require.Len(t, b.Notes, 2)
	slices.SortFunc(b.Notes, func(a, b shownNote) int { return strings.Compare(a.Who, b.Who) })
	assert.Equal(t, "fumarium", b.Notes[0].Who)
	assert.Equal(t, b.Ending, b.Notes[0].Text, "the same at the end and when it is replayed")
	require.NotNil(t, b.Good)
	assert.True(t, *b.Good, b.Ending)
	assert.Equal(t, "good colour, a little dry\nrecord whole\x1b[2K\u202e", b.Notes[1].Text)
	status, out, errText = call(t, "replay", "sim-", "--simulated", "--state", d.state, "--json")
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, `"batch": "`+b.ID+`"`)
	assert.Contains(t, out, `"worksheet": []`)
	assert.Contains(t, out, `"not_covered": [`)
	picture := filepath.Join(t.TempDir(), "batch.svg")
	status, _, errText = call(t, "batches", "sim-", "--simulated", "--state", d.state, "--chart", picture)
	require.Equal(t, exitGood, status, errText)
	drawn, err := os.ReadFile(picture)
	require.NoError(t, err)
	for _, want := range []string{"<svg", "Marjoram ring sausage", "bloom", "Simulated cabinet"} {
		assert.Contains(t, string(drawn), want)
	}
	status, _, errText = call(t, "batches", "--simulated", "--state", d.state, "--chart", picture)
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errText, "name it")
	t.Chdir(filepath.Dir(d.state)) // a relative folder is as good
	status, out, errText = call(t, "batches", "--simulated", "--state", filepath.Base(d.state))
	assert.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, "Marjoram ring sausage")
	status, _, errText = call(t, "replay", "sim-", "--simulated", "--state", "./"+filepath.Base(d.state))
	assert.Equal(t, exitGood, status, errText)
	status, _, errText = call(t, "batches", "--state", d.state)
	assert.Equal(t, exitCouldNo, status)
	assert.Contains(t, errText, "--simulated")
}

// A killed daemon finds its batch again, and says what becomes of it.
func TestAKilledDaemonFindsItsBatch(t *testing.T) {
	d := startDaemon(t, "--pace", "60")
	d.line("stage dry confirmed by the person") // two seconds after the start went to disk
	require.NoError(t, d.cmd.Process.Kill())
	_ = d.cmd.Wait()
	again := startDaemonIn(t, d.state, "--cabinet", "plywood-cabinet")
	assert.Equal(t, exitGood, again.end(syscall.SIGTERM))
	status, out, errText := call(t, "batches", "--simulated", "--state", d.state)
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, "aborted")
}

func TestTheCommandsTalkToTheDaemon(t *testing.T) {
	d := startDaemon(t, "--cabinet", "fridge-body", "--pace", "60")
	assert.Equal(t, "idle", d.status().State)

	code, _, errText := call(t, "start", "caraway-sticks", "--server", d.url, "--state", t.TempDir())
	assert.Equal(t, exitCouldNo, code, "without the operator's token")
	assert.Contains(t, errText, "token")
	t.Setenv("FUMARIUM_TOKEN", "a wrong one, though long enough")
	code, _, _ = d.client("start", "caraway-sticks")
	assert.Equal(t, exitCouldNo, code)
	t.Setenv("FUMARIUM_TOKEN", "")
	assert.Equal(t, "idle", d.status().State)

	code, _, errText = d.client("hold")
	assert.Equal(t, exitBad, code, "nothing to hold")
	assert.Contains(t, errText, "not possible")
	code, _, errText = d.client("start", "no-such-thing")
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, errText, "no-such-thing")
	code, _, errText = d.client("start", file(t, "bad.yaml", "product: x\n"))
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, errText, "bad.yaml")

	code, _, errText = d.client("start", "caraway-sticks")
	assert.Equal(t, exitBad, code, "the rest is not over")
	assert.Contains(t, errText, "say when it was stuffed")
	code, _, errText = d.client("start", "caraway-sticks", "--stuffed", "1h")
	assert.Equal(t, exitBad, code)
	assert.Contains(t, errText, "still to go")
	earlier := time.Now().Add(-2 * time.Hour)
	code, out, errText := d.client("start", "caraway-sticks", "--stuffed", earlier.Format("Monday 15:04"))
	assert.Equal(t, exitBad, code, errText)
	assert.Contains(t, out, earlier.Format("stuffed Monday 2 January 15:04"), "how it was understood")
	code, _, errText = d.client("start", "caraway-sticks", "--stuffed", "someday")
	assert.Equal(t, exitUsage, code, errText)

	code, out, errText = d.client("start", file(t, "sticks.yaml", contractProduct(t)), "--stuffed", "13h")
	require.Equal(t, exitGood, code, errText)
	assert.Contains(t, out, "running")
	s := d.status()
	require.NotNil(t, s.Product)
	assert.Equal(t, "Juniper venison sticks", *s.Product)
	code, _, _ = d.client("start", "caraway-sticks")
	assert.Equal(t, exitBad, code, "one batch at a time")
	for _, step := range []struct{ command, state string }{{"hold", "hold"}, {"restart", "restarting"}, {"stop", "stopping"}} {
		code, out, errText = d.client(step.command)
		assert.Equal(t, exitGood, code, errText)
		assert.Contains(t, out, step.state)
		assert.Contains(t, out, map[bool]string{true: caution.HeatReturns, false: caution.Smoulders}[step.command == "restart"])
		if step.command == "hold" {
			d.line("batch held")
		}
	}
	d.line("batch stopped")
	assert.Equal(t, exitGood, d.end(os.Interrupt))
}

func TestTwoDaemonsOnOneAddress(t *testing.T) {
	d := startDaemon(t)
	code, _, errText := call(t, "run", "--state", t.TempDir(), "--listen", strings.TrimPrefix(d.url, "http://"))
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, errText, "--listen")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
}

func TestTheTokenIsForTheOperatorOnly(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "state")
	first, err := operatorToken(dir)
	require.NoError(t, err)
	second, err := operatorToken(dir)
	require.NoError(t, err)
	assert.Equal(t, first, second)
	info, err := os.Stat(filepath.Join(dir, tokenFile))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	require.NoError(t, os.WriteFile(filepath.Join(dir, tokenFile), []byte("short\n"), 0o600))
	_, err = operatorToken(dir)
	assert.ErrorContains(t, err, "delete it")
}

// A batch that was stopped before it was cooked has a worksheet of its own course.
func TestAStoppedBatchHasAWorksheet(t *testing.T) {
	d := startDaemon(t, "--pace", "2000")
	d.line("the simulated person answers")
	for !slices.ContainsFunc(d.status().Stages, func(s web.Stage) bool { return s.State == "done" }) {
		time.Sleep(20 * time.Millisecond)
	}
	status, _, errText := d.client("stop")
	require.Equal(t, exitGood, status, errText)
	status, out, errText := d.client("status")
	require.Equal(t, exitBad, status, errText)
	assert.Contains(t, out, "cooked    not met")
	assert.Contains(t, out, "not covered by any of this:")
	assert.Contains(t, out, "what the guidance allows now: fumarium replay BATCH")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	status, out, errText = call(t, "replay", "sim-", "--simulated", "--state", d.state)
	require.Equal(t, exitGood, status, out+errText)
	for _, want := range []string{"WORKSHEET", "  cooked: not met, ", "the lowest row is 54.4 °C (130 °F)", "who decides: ", "probe     core 1 may be wrong by 0 K (exists only in rehearsal)"} {
		assert.Contains(t, out, want)
	}
}
