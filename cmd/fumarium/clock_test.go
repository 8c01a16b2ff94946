package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/bootclock"
)

// The mark comes only once the kernel says so, however long that takes.
func TestTheMarkWaitsForTheKernel(t *testing.T) {
	at := &bootclock.Clock{Boot: "this-boot", Mark: filepath.Join(t.TempDir(), "synchronised")}
	ticks := make(chan time.Time, 9)
	asked := 0
	kernel := func() (bool, error) {
		asked++
		assert.NoFileExists(t, at.Mark)
		assert.False(t, at.Synced())
		ticks <- time.Time{}
		return asked == 5, nil
	}
	require.NoError(t, markClock(t.Context(), at, kernel, ticks))
	assert.Equal(t, 5, asked)
	assert.True(t, at.Synced())

	none := &bootclock.Clock{Boot: "this-boot", Mark: filepath.Join(t.TempDir(), "synchronised")}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	assert.ErrorContains(t, markClock(ended, none, func() (bool, error) { return false, nil }, nil), "before the clock was synchronised")
	assert.ErrorContains(t, markClock(t.Context(), none, func() (bool, error) { return true, errors.New("not permitted") }, nil), "not permitted")
	assert.NoFileExists(t, none.Mark)
}

func TestTheKernelsWordOfTheClock(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, sayClock(func() (bool, error) { return true, nil }, &out))
	assert.Equal(t, exitBad, status(sayClock(func() (bool, error) { return false, nil }, &out)))
	assert.Equal(t, exitCouldNo, status(sayClock(func() (bool, error) { return false, errors.New("not permitted") }, &out)))
	assert.Contains(t, out.String(), "the clock is synchronised\nthe clock is not synchronised: ")
}

// TestClockUnit holds that the mark is left where the daemon looks, that no unit waits
// for the clock to switch off, and that the program may ask the kernel.
func TestClockUnit(t *testing.T) {
	daemon, err := os.ReadFile(filepath.Join("..", "..", "deploy", "fumarium.service"))
	require.NoError(t, err)
	assert.Contains(t, string(daemon), "\nWants=fumarium-clock.service\n")
	for _, line := range strings.Split(string(daemon), "\n") {
		for _, key := range []string{"After=", "Requires=", "BindsTo=", "ExecCondition=", "ExecStartPre="} {
			assert.False(t, strings.HasPrefix(line, key), "%s: the daemon starts, and switches off, at once", line)
		}
	}
	data, err := os.ReadFile(filepath.Join("..", "..", "deploy", "fumarium-clock.service"))
	require.NoError(t, err)
	set := map[string][]string{}
	for _, line := range strings.Split(string(data), "\n") {
		if key, value, found := strings.Cut(line, "="); found && !strings.HasPrefix(line, "#") {
			set[key] = append(set[key], value)
		}
	}
	assert.Equal(t, []string{"time-sync.target"}, set["After"])
	assert.Equal(t, []string{"time-sync.target"}, set["Wants"])
	assert.Equal(t, []string{"exec"}, set["Type"], "nothing waits for a network that never comes")
	assert.Equal(t, []string{"yes"}, set["RemainAfterExit"], "else the run folder is taken away")
	args := strings.Fields(strings.Join(set["ExecStart"], " "))
	require.NotEmpty(t, args)
	assert.Equal(t, "/usr/bin/fumarium", args[0])
	c, rest, err := command().Find(args[1:])
	require.NoError(t, err)
	assert.Equal(t, "clock", c.Name())
	require.NoError(t, c.ParseFlags(rest))
	assert.Equal(t, bootclock.Mark, c.Flag("mark").Value.String())
	assert.Equal(t, filepath.Dir(bootclock.Mark), "/run/"+strings.Join(set["RuntimeDirectory"], " "))
	assert.Equal(t, []string{"0022"}, set["UMask"], "the daemon reads it")
	assert.NotContains(t, set, "ProtectClock", "it forbids to ask")
	assert.Equal(t, "adjtimex", set["SystemCallFilter"][len(set["SystemCallFilter"])-1])
	assert.Equal(t, []string{""}, set["CapabilityBoundingSet"], "nor can it set the clock")
}
