package service

import (
	"bytes"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// hears is a service manager's socket.
func hears(t *testing.T) (*net.UnixConn, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	return c, path
}

func next(t *testing.T, c *net.UnixConn) string {
	t.Helper()
	require.NoError(t, c.SetReadDeadline(time.Now().Add(time.Minute)))
	b := make([]byte, 4096)
	n, err := c.Read(b)
	require.NoError(t, err)
	return string(b[:n])
}

func env(pairs map[string]string) func(string) string {
	return func(name string) string { return pairs[name] }
}

// The assignments are those of sd_notify(3): one each line, in one datagram.
func TestMessages(t *testing.T) {
	c, path := hears(t)
	var log bytes.Buffer
	m := New(env(map[string]string{"NOTIFY_SOCKET": path, "WATCHDOG_USEC": "10000000", "WATCHDOG_PID": "7"}), 7, slog.New(slog.NewTextHandler(&log, nil)))
	require.True(t, m.Present())
	doing := "No batch:\nheater off"
	words := func() string { return doing }
	m.Cycle(words)
	assert.Equal(t, "READY=1\nWATCHDOG=1\nSTATUS=No batch: heater off", next(t, c), "a line break would begin another assignment")
	m.Cycle(words) // at once: too soon
	m.last = m.last.Add(-m.every)
	m.Cycle(words)
	assert.Equal(t, "WATCHDOG=1", next(t, c), "the same is said once")
	m.last = m.last.Add(-time.Minute)
	doing = "Cook"
	m.Cycle(words)
	assert.Equal(t, "WATCHDOG=1\nSTATUS=Cook", next(t, c))
	m.Stopping()
	assert.Equal(t, "STOPPING=1\nSTATUS=switching off", next(t, c))
	m.Say("no\nrecord")
	assert.Equal(t, "STATUS=no record", next(t, c))
	assert.Empty(t, log.String())
}

func TestWatchdogOfTheEnvironment(t *testing.T) {
	for _, c := range []struct {
		name, usec, pid, says string
		want                  time.Duration
	}{
		{"none", "", "", "", 0},
		{"ours", "10000000", "7", "", 10 * time.Second},
		{"without a process", "10000000", "", "", 10 * time.Second},
		{"of another process", "10000000", "8", "", 0},
		{"no number", "10s", "7", "WatchdogSec=10", 0},
		{"not positive", "-1", "", "WatchdogSec=10", 0},
		{"shorter than the loop can serve", "3000000", "", "too short", 3 * time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			var log bytes.Buffer
			m := New(env(map[string]string{"NOTIFY_SOCKET": "/nowhere", "WATCHDOG_USEC": c.usec, "WATCHDOG_PID": c.pid}), 7, slog.New(slog.NewTextHandler(&log, nil)))
			assert.Equal(t, c.want, m.watchdog)
			if c.says == "" {
				assert.Empty(t, log.String())
			}
			assert.Contains(t, log.String(), c.says)
		})
	}
}

// A manager that does not read costs a cycle sendWithin and no more, is said once, and
// READY is said again until it was heard.
func TestADeafManagerDoesNotStopTheLoop(t *testing.T) {
	c, path := hears(t)
	filled := 0
	for full := false; !full; {
		// Each from a socket of its own, or it would be the sender's room that ends.
		filler, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: path, Net: "unixgram"})
		require.NoError(t, err)
		require.NoError(t, filler.SetWriteDeadline(time.Now().Add(200*time.Millisecond)))
		_, err = filler.Write([]byte("x"))
		if full = err != nil; !full {
			filled++
		}
		require.NoError(t, filler.Close())
	}
	require.Positive(t, filled)

	var log bytes.Buffer
	m := New(env(map[string]string{"NOTIFY_SOCKET": path}), 7, slog.New(slog.NewTextHandler(&log, nil)))
	for n := range 3 {
		m.Cycle(func() string { return fmt.Sprint(n) }) // comes back
	}
	assert.False(t, m.ready)
	assert.Equal(t, 1, bytes.Count(log.Bytes(), []byte("was not told")), log.String())
	for range filled {
		assert.Equal(t, "x", next(t, c))
	}
	m.Cycle(func() string { return "on" })
	assert.Equal(t, "READY=1\nSTATUS=on", next(t, c))
	assert.Contains(t, log.String(), "can be told again")
	m.Cycle(func() string { return "on" })
	m.Stopping()
	assert.Equal(t, "STOPPING=1\nSTATUS=switching off", next(t, c), "without a watchdog there is nothing to say in between")
}

func TestNobodyToTell(t *testing.T) {
	var log bytes.Buffer
	m := New(env(nil), 7, slog.New(slog.NewTextHandler(&log, nil)))
	assert.False(t, m.Present())
	m.Cycle(func() string { panic("nobody asked") })
	m.Stopping()
	m.Say("x")
	assert.Empty(t, log.String())

	m = New(env(map[string]string{"NOTIFY_SOCKET": filepath.Join(t.TempDir(), "gone")}), 7, slog.New(slog.NewTextHandler(&log, nil)))
	m.Cycle(func() string { return "x" })
	m.Stopping()
	assert.Equal(t, 1, bytes.Count(log.Bytes(), []byte("NotifyAccess=")), log.String())
}
