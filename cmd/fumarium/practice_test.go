package main

import (
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/web"
)

// In practice nothing happens by itself: the batch waits for the person who runs it, and
// meets the fault that was asked for.
func TestPractice(t *testing.T) {
	d := startDaemon(t, "--by-hand", "--pace", "600", "--fault", "core-open@30m+10m")
	assert.Equal(t, "idle", d.status().State)
	code, _, said := d.client("start", "caraway-sticks", "--stuffed", "13h")
	require.Equal(t, exitGood, code, said)
	faulty, asked := false, map[string]bool{}
	for began := time.Now(); time.Since(began) < time.Minute && !(faulty && len(asked) > 1); time.Sleep(20 * time.Millisecond) {
		s := d.status()
		faulty = faulty || slices.ContainsFunc(s.Alarms, func(a web.Alarm) bool { return a.Code == "core-lost" })
		if s.Prompt == nil || asked[s.Prompt.Question] {
			continue
		}
		first := *s.Prompt
		if len(asked) == 0 { // for two simulated minutes nobody else answers
			require.Eventually(t, func() bool { p := d.status().Prompt; return p != nil && p.WaitingSeconds > 600 }, time.Minute, 20*time.Millisecond)
		}
		asked[first.Question] = true
		code, body := d.post("/api/commands", `{"command":"confirm","question":"`+first.Question+`"}`)
		require.Equal(t, 200, code, body)
	}
	assert.True(t, faulty, "the fault did not come")
	assert.Greater(t, len(asked), 1)
	for _, e := range d.status().Events {
		assert.NotContains(t, e.Text, "simulated person")
	}
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	for want, args := range map[string][]string{
		"add --by-hand": {"--fault", "core-open@1h"}, "does not exist in a running daemon": {"--by-hand", "--fault", "stall@1h"}, "--fault": {"--by-hand", "--fault", "nonsense"},
	} {
		code, _, said := call(t, append([]string{"run", "--state", t.TempDir(), "--listen", "127.0.0.1:0"}, args...)...)
		assert.Equal(t, exitUsage, code, want)
		assert.Contains(t, said, want)
	}
}
