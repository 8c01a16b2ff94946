package main

import (
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/record"
)

// A daemon whose record cannot be opened switches off what its predecessor left on,
// says on the page and to the service manager which file it is and what to do, and
// does not end at once to be started again.
func TestADaemonThatCannotStartSaysWhy(t *testing.T) {
	o := newOutside(t, true, 60, 50)
	o.mu.Lock()
	o.set("GPIO17", true, "left on")
	o.mu.Unlock()
	state := t.TempDir()
	newer, err := os.ReadFile(filepath.Join("..", "..", "controller", "record", "testdata", "newer.db"))
	require.NoError(t, err)
	store := filepath.Join(state, record.Real.File())
	require.NoError(t, os.WriteFile(store, newer, 0o600))
	dir, err := os.MkdirTemp("", "manager")
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	socket := filepath.Join(dir, "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	require.NoError(t, err)
	defer manager.Close()

	d := launchDaemon(t, state, append(o.env(), "NOTIFY_SOCKET="+socket, "GORACE=atexit_sleep_ms=0"), "--cabinet", file(t, "cabinet.yaml", outsideCabinet))
	why := d.line("not started: ")
	for _, part := range []string{store, "written by a newer program", "use the newer program, or choose another folder"} {
		assert.Contains(t, why, part)
	}
	d.answers()
	assert.Equal(t, "taken by fumarium heater", o.heaterIs(t, false).Why)
	code, page := d.get("/")
	assert.Equal(t, http.StatusServiceUnavailable, code)
	assert.Contains(t, page, "written by a newer program")
	assert.Contains(t, page, "cut the mains")
	status, _, errs := d.client("status")
	assert.Equal(t, exitCouldNo, status)
	assert.Contains(t, errs, store, "the command line shows the same")
	code, _ = d.get("/healthz")
	assert.Equal(t, http.StatusServiceUnavailable, code)

	b := make([]byte, 8192)
	require.NoError(t, manager.SetReadDeadline(time.Now().Add(time.Minute)))
	n, err := manager.Read(b)
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(string(b[:n]), "STATUS=not started: ") && strings.Contains(string(b[:n]), store), string(b[:n]))
	assert.NotContains(t, string(b[:n]), "READY")
	require.NoError(t, d.cmd.Process.Signal(syscall.SIGTERM))
	_ = d.cmd.Wait()
	assert.Equal(t, exitCouldNo, d.cmd.ProcessState.ExitCode())

	// Without a service manager it ends at once.
	status, _, errs = call(t, "run", "--cabinet", "plywood-cabinet", "--listen", "127.0.0.1:0", "--state", file(t, "in the way", ""))
	assert.Equal(t, exitCouldNo, status)
	assert.Contains(t, errs, "choose another folder with --state")
}

// A damaged record is set aside, and the page says so.
func TestADamagedRecordIsSaidOnThePage(t *testing.T) {
	state := t.TempDir()
	store := filepath.Join(state, record.Simulated.File())
	require.NoError(t, os.WriteFile(store, []byte(strings.Repeat("not a record ", 1000)), 0o600))
	d := startDaemonIn(t, state, "--cabinet", "plywood-cabinet")
	require.Eventually(t, func() bool { code, _ := d.get("/healthz"); return code == http.StatusOK }, 20*time.Second, 20*time.Millisecond)
	events := d.status().Events
	require.NotEmpty(t, events)
	assert.Contains(t, events[0].Text, store+" is damaged")
	assert.Contains(t, events[0].Text, "set aside as")
	require.NotNil(t, events[0].Priority)
	assert.Equal(t, "soon", *events[0].Priority)
	assert.Equal(t, exitGood, d.end(os.Interrupt))
}
