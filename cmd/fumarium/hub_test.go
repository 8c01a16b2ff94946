package main

import (
	"bufio"
	"context"
	"database/sql"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/courier"
	"fumarium/controller/record"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

// A realHub is the program fumarium-hub on a PostgreSQL of its own, spoken to by TLS.
type realHub struct {
	t                              *testing.T
	program, database, dir, listen string
	fingerprint                    string
	cmd                            *exec.Cmd
}

func startHub(t *testing.T) *realHub {
	server := postgrestest.Begin(t, "")
	t.Cleanup(server.End)
	h := &realHub{t: t, program: filepath.Join(t.TempDir(), "fumarium-hub"), database: server.URL("postgres"), dir: t.TempDir(), listen: "127.0.0.1:0"}
	build := exec.Command("go", "build", "-o", h.program, "../fumarium-hub")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	said, err := build.CombinedOutput()
	require.NoError(t, err, string(said))
	h.fingerprint = h.run("certificate", "127.0.0.1", "--into", h.dir)
	h.start()
	return h
}

// run runs one command and gives what it printed.
func (h *realHub) run(args ...string) string {
	h.t.Helper()
	c := exec.Command(h.program, args...)
	c.Env = append(os.Environ(), "FUMARIUM_HUB_DATABASE="+h.database)
	out, err := c.CombinedOutput()
	require.NoError(h.t, err, string(out))
	return strings.TrimSpace(string(out))
}

func (h *realHub) start() {
	h.cmd = exec.Command(h.program, "run", "--listen", h.listen, "--tls-cert", h.dir+"/hub.pem", "--tls-key", h.dir+"/hub-key.pem")
	h.cmd.Env = append(os.Environ(), "FUMARIUM_HUB_DATABASE="+h.database)
	stderr, err := h.cmd.StderrPipe()
	require.NoError(h.t, err)
	require.NoError(h.t, h.cmd.Start())
	h.t.Cleanup(func() { _ = h.cmd.Process.Kill() })
	lines := bufio.NewScanner(stderr)
	for lines.Scan() {
		if url, found := strings.CutPrefix(lines.Text(), "boards and pages https://"); found {
			h.listen = strings.TrimSuffix(url, "/")
			go func() {
				for lines.Scan() {
				}
			}()
			return
		}
		h.t.Log(lines.Text())
	}
	h.t.Fatal("the hub did not start")
}

// A board joins, the daemon brings its record, and the hub has all of it; what was cut off,
// written anew or lost on the board then shows, and comes back.
func TestAHub(t *testing.T) {
	h := startHub(t)
	state := t.TempDir()
	b := recordtest.Begin(t, state, record.Simulated, time.Date(2026, 11, 20, 8, 0, 0, 0, time.UTC))
	old := b.Batch(6)
	b.End()
	db := filepath.Join(state, record.Simulated.File())
	hub := func(args ...string) (int, string) {
		status, out, errText := call(t, append(args, "--state", state)...)
		return status, out + errText
	}
	status, text := hub("hub")
	assert.Equal(t, exitCouldNo, status)
	assert.Contains(t, text, "has joined no hub")
	status, text = hub("hub", "join", "https://"+h.listen, h.run("code", "Barn", "--simulated"), "--fingerprint", h.fingerprint)
	require.Equal(t, exitGood, status, text)
	assert.Contains(t, text, "as Barn (simulated)")
	status, text = hub("hub")
	assert.Equal(t, exitBad, status, text)
	assert.Contains(t, text, old+"  not at the hub")

	d := startDaemonIn(t, state, "--pace", "600")
	d.line("the hub has all of the record")
	d.stepped(1000)
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	d = startDaemonIn(t, state, "--by-hand", "--cabinet", "plywood-cabinet")
	d.line("the hub has all of the record")
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	status, text = hub("batches", "--simulated", "--verify-against", "https://"+h.listen)
	assert.Equal(t, exitGood, status, text)
	assert.Contains(t, text, "0 batches differ, 0 links are not at the hub")
	assert.Contains(t, h.run("check"), "2 batches, ")
	assert.Contains(t, h.run("check"), " 0 not whole")

	// The end of the record is cut off: its chain holds, and the hub's head shows it.
	whole, err := os.ReadFile(db)
	require.NoError(t, err)
	change := func(statements ...string) {
		require.NoError(t, os.WriteFile(db, whole, 0o600))
		c, err := sql.Open("sqlite", db)
		require.NoError(t, err)
		for _, s := range append([]string{"DROP TRIGGER link_remains", "DROP TRIGGER note_remains", "DROP TRIGGER batch_remains"}, statements...) {
			_, err = c.Exec(s)
			require.NoError(t, err, s)
		}
		require.NoError(t, c.Close())
	}
	change("DELETE FROM note WHERE batch = 1 AND link > (SELECT max(number) - 2 FROM link WHERE batch = 1)", "DELETE FROM link WHERE batch = 1 AND number > (SELECT max(number) - 2 FROM link WHERE batch = 1)")
	status, text = hub("batches", old, "--simulated")
	assert.Contains(t, text, "record whole", "by itself it looks whole")
	_ = status
	status, text = hub("batches", "--verify-against", "joined")
	assert.Equal(t, exitBad, status)
	assert.Contains(t, text, old+"  NOT AS THE HUB KEEPS IT: links were cut off at its end")

	// Another record in the file's place, whole by itself.
	require.NoError(t, os.Remove(db))
	other := recordtest.Begin(t, state, record.Simulated, time.Date(2026, 11, 20, 8, 0, 1, 0, time.UTC))
	other.Batch(30) // longer than the first, however its commits fall: a shorter one shows as cut off
	other.End()
	status, text = hub("batches", "--verify-against", "joined")
	assert.Equal(t, exitBad, status)
	assert.Contains(t, text, old+"  NOT AS THE HUB KEEPS IT: it was written anew")
	assert.Contains(t, text, "it is not in this record")

	// The board is lost; a new one takes its place, and its key with it.
	state = t.TempDir()
	status, text = hub("hub", "join", "https://"+h.listen, h.run("code", "Barn", "--again"), "--fingerprint", h.fingerprint)
	require.Equal(t, exitGood, status, text)
	status, text = hub("hub", "restore")
	require.Equal(t, exitGood, status, text)
	assert.Contains(t, text, "2 batches put back")
	status, text = hub("batches", "--verify-against", "joined")
	assert.Equal(t, exitGood, status, text)
	status, text = hub("batches", old, "--simulated")
	assert.Contains(t, text, "record whole")
	_ = status
	status, text = hub("hub", "restore")
	assert.Equal(t, exitGood, status, text) // all of it is there

	// The hub is lost; boards fill a new one.
	h.database += "&search_path=another"
	_ = h.cmd.Process.Kill()
	_, err = h.cmd.Process.Wait()
	require.NoError(t, err)
	schema := exec.Command("psql", "-c", "CREATE SCHEMA another", strings.TrimSuffix(h.database, "&search_path=another"))
	said, err := schema.CombinedOutput()
	require.NoError(t, err, string(said))
	h.start()
	d = startDaemonIn(t, state, "--by-hand", "--cabinet", "plywood-cabinet")
	d.line("does not take this board's key any more")
	status, text = hub("hub", "join", "https://"+h.listen, h.run("code", "Barn", "--simulated"), "--fingerprint", h.fingerprint)
	require.Equal(t, exitGood, status, text)
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	d = startDaemonIn(t, state, "--by-hand", "--cabinet", "plywood-cabinet")
	d.line("the hub has all of the record")
	assert.Contains(t, h.run("check"), " 0 not whole")
	status, text = hub("batches", "--verify-against", "joined")
	assert.Equal(t, exitGood, status, text)
	status, text = hub("hub", "leave")
	assert.Equal(t, exitGood, status, text)
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
}

// stepped waits for so many steps.
func (d *daemon) stepped(n float64) {
	d.t.Helper()
	require.Eventually(d.t, func() bool { return d.numbers()["fumarium_step_delay_seconds_count"] >= n }, time.Minute, 50*time.Millisecond)
}

// Whatever a hub does, the board's batch goes as it would without one: no step is late, and
// the record is whole and replays.
func TestAHubChangesNothingOnTheBoard(t *testing.T) {
	hangs := make(chan struct{})
	for name, answer := range map[string]http.HandlerFunc{
		"hangs":       func(http.ResponseWriter, *http.Request) { <-hangs },
		"has no room": func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusInsufficientStorage) },
		"is too busy": func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) },
		"cuts":        func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) },
		"says nothing": func(w http.ResponseWriter, _ *http.Request) {
			_, _ = w.Write([]byte(`{"heads":[{"batch":"x","links":-5}]}`))
		},
		"goes on and on": func(w http.ResponseWriter, _ *http.Request) {
			for {
				if _, err := w.Write(make([]byte, 1<<16)); err != nil {
					return
				}
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			asked := make(chan struct{}, 100)
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				select {
				case asked <- struct{}{}:
				default:
				}
				answer(w, r)
			}))
			state := t.TempDir()
			require.NoError(t, (&courier.Hub{URL: server.URL, Cabinet: "Barn", World: "simulated", Key: "key"}).Keep(state))
			d := startDaemonIn(t, state, "--pace", "600")
			<-asked
			d.stepped(1000)
			assert.Zero(t, d.numbers()["fumarium_steps_late_total"])
			require.Equal(t, exitGood, d.end(syscall.SIGTERM), "it waits for no hub")
			r, err := record.OpenReader(filepath.Join(state, record.Simulated.File()))
			require.NoError(t, err)
			defer r.Close()
			all, err := r.List(context.Background())
			require.NoError(t, err)
			require.NotEmpty(t, all)
			v, err := r.Verify(context.Background(), all[len(all)-1].ID)
			require.NoError(t, err)
			assert.True(t, v.Whole)
			if name == "hangs" {
				server.CloseClientConnections()
				close(hangs)
			}
			server.Close()
		})
	}
}
