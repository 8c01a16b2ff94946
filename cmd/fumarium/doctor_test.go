package main

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/wiring"
)

// What doctor says of a daemon that runs, of one that was killed in a batch, and of one
// that is gone; the remedy stands behind each.
func TestDoctor(t *testing.T) {
	d := startDaemon(t, "--pace", "60")
	d.line("stage dry confirmed by the person")
	require.NoError(t, os.Chmod(d.state, 0o700))
	doctor := func() (int, map[string]wiring.Find) {
		t.Helper()
		code, out, errText := call(t, "doctor", "--cabinet", "plywood-cabinet", "--state", d.state, "--server", d.url, "--json")
		var is struct {
			Machine []wiring.Find
			Good    *bool
		}
		require.NoError(t, json.Unmarshal([]byte(out), &is), errText)
		require.NotNil(t, is.Good)
		assert.Equal(t, *is.Good, code == exitGood)
		byName := map[string]wiring.Find{}
		for _, f := range is.Machine {
			assert.NotContains(t, byName, f.What, "said once")
			byName[f.What] = f
		}
		return code, byName
	}
	_, found := doctor()
	assert.True(t, found["daemon"].Good, found["daemon"].Note)
	assert.True(t, found["state folder"].Good, found["state folder"].Note)
	assert.True(t, found["batches-simulated.db"].Good, found["batches-simulated.db"].Note)

	require.NoError(t, d.cmd.Process.Signal(syscall.SIGKILL))
	_ = d.cmd.Wait()
	code, found := doctor()
	assert.Equal(t, exitBad, code)
	assert.Contains(t, found["daemon"].Note, "systemctl start fumarium")
	assert.Contains(t, found["batches-simulated.db, its end"].Note, "did not end in order")
	under := ""
	for what, f := range found {
		if strings.HasPrefix(what, "batch ") {
			under = f.Note
		}
	}
	assert.Contains(t, under, "was under way when the program ended")
	code, out, _ := call(t, "doctor", "--cabinet", "plywood-cabinet", "--state", d.state, "--server", d.url)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, out, "MEND  daemon")
	assert.Contains(t, out, "exists only in rehearsal")

	bad := filepath.Join(t.TempDir(), "torn.yaml")
	require.NoError(t, os.WriteFile(bad, []byte(wired[:60]), 0o600))
	code, _, errText := call(t, "doctor", "--cabinet", bad)
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, errText, "torn.yaml")
	code, _, _ = call(t, "doctor", "everything")
	assert.Equal(t, exitUsage, code)
}

// A real cabinet's buses and lines are those of the survey.
func TestDoctorLooksAtTheWires(t *testing.T) {
	code, out, _ := call(t, "doctor", "--cabinet", file(t, "box.yaml", wired), "--state", t.TempDir(), "--server", "http://127.0.0.1:1")
	assert.Equal(t, exitBad, code)
	for _, want := range []string{"SPI0.0", "memory limit", "board watchdog", "service", "cabinet file", "clock", "card"} {
		assert.Contains(t, out, want)
	}
}

func TestTheClockOfTheDoctor(t *testing.T) {
	for _, c := range []struct {
		marked, synced bool
		err            error
		good           bool
		says           string
	}{
		{true, true, nil, true, "the daemon knows"},
		{true, false, nil, true, "was synchronised"},
		{false, true, nil, false, "start fumarium-clock"},
		{false, false, nil, false, "timesyncd or chrony"},
		{true, true, errors.New("allow adjtimex"), false, "allow adjtimex"},
	} {
		f := clockFindOf(c.marked, func() (bool, error) { return c.synced, c.err })
		assert.Equal(t, c.good, f.Good, "%+v", c)
		assert.Contains(t, f.Note, c.says)
	}
}

func TestTheDaemonsVersion(t *testing.T) {
	says := ""
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(says)) }))
	defer s.Close()
	for text, want := range map[string]string{
		"": "no fumarium",
		`fumarium_build_info{goversion="go1",version="0.0.9",world="simulated"} 1`:          "is 0.0.9 and this is",
		`fumarium_build_info{goversion="go1",version="` + version() + `"} 1`:                "of this version",
		`fumarium_build_info{version="` + version() + `",goversion="go1.26.8",world="x"} 1`: "of this version",
	} {
		says = text
		assert.Contains(t, daemonAt(t.Context(), s.URL).find(s.URL).Note, want)
	}
}
