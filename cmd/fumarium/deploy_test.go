package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/service"
	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// unit is what the service unit sets.
func unit(t *testing.T) map[string]string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "deploy", "fumarium.service"))
	require.NoError(t, err)
	lines := map[string]string{}
	for _, line := range strings.Split(string(data), "\n") {
		if key, value, found := strings.Cut(line, "="); found && !strings.HasPrefix(line, "#") {
			lines[key] = value
		}
	}
	return lines
}

// span is a time that the service unit sets, in seconds.
func span(t *testing.T, key string) time.Duration {
	t.Helper()
	seconds, err := strconv.Atoi(unit(t)[key])
	require.NoError(t, err, "%s must be a number of seconds", key)
	return time.Duration(seconds) * time.Second
}

// TestServiceUnit holds that the commands of the service unit are ones that this
// program takes, and that the outputs are switched off after every end.
func TestServiceUnit(t *testing.T) {
	lines := unit(t)
	for key, name := range map[string]string{"ExecStart": "run", "ExecStopPost": "off"} {
		args := strings.Fields(lines[key])
		require.NotEmpty(t, args, key)
		assert.Equal(t, "/usr/bin/fumarium", args[0])
		c, rest, err := command().Find(args[1:])
		require.NoError(t, err, key)
		assert.Equal(t, name, c.Name())
		require.NoError(t, c.ParseFlags(rest), key)
		assert.Equal(t, "/etc/fumarium/cabinet.yaml", c.Flag("cabinet").Value.String())
	}
	assert.Equal(t, "notify", lines["Type"])
	assert.Equal(t, "main", lines["NotifyAccess"], "only the daemon itself may report")
	assert.GreaterOrEqual(t, span(t, "WatchdogSec"), service.LeastWatchdog)
	assert.Greater(t, span(t, "TimeoutStartSec"), standByFor+service.LeastWatchdog, "the reason can be read before the start times out")
	for _, key := range []string{"WatchdogSec", "TimeoutStopSec"} {
		assert.LessOrEqual(t, span(t, key)+span(t, "TimeoutAbortSec"), 15*time.Second, "how long a hung daemon may hold a relay on")
	}
	assert.Equal(t, "always", lines["Restart"])
	assert.Equal(t, "0", lines["StartLimitIntervalSec"])
	assert.Equal(t, "0", lines["FileDescriptorStoreMax"], "a kept line keeps the heater on")
}

// TestExampleCabinet holds that the cabinet file to copy has nothing wrong with it
// and nothing to advise on.
func TestExampleCabinet(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "deploy", "cabinet.yaml"))
	require.NoError(t, err)
	c, err := cabinet.Parse("cabinet.yaml", data)
	require.NoError(t, err)
	assert.Empty(t, cabinet.Lint(c, "cabinet.yaml"))
	assert.False(t, c.Simulated())
	g := c.Generator
	assert.Contains(t, string(data), "here "+quantity.FormatDuration(g.FullAir.Round(30*time.Second))+" and "+quantity.FormatDuration(g.Lasts.Round(10*time.Minute))+".",
		"what follows from its fuel and air")
}

// TestWiringPage holds that the example of the wiring page is what the parser
// takes, and that the cautions stand before anything else.
func TestWiringPage(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "deploy", "wiring.md"))
	require.NoError(t, err)
	_, after, found := strings.Cut(string(data), "```yaml\n")
	require.True(t, found)
	example, _, found := strings.Cut(after, "```")
	require.True(t, found)
	whole := wired[:strings.Index(wired, "heater:")] + example + wired[strings.Index(wired, "fan:"):]
	c, err := cabinet.Parse("page.yaml", []byte(whole))
	require.NoError(t, err)
	assert.True(t, c.Heater.Series.Fitted && c.Heater.Feedback.Fitted)
	for _, f := range cabinet.Lint(c, "page.yaml") {
		assert.Equal(t, source.Warning, f.Severity, f.Message)
	}
	cautions := strings.Index(string(data), "independent thermal cut-out")
	assert.Positive(t, cautions)
	assert.Less(t, cautions, strings.Index(string(data), "## The circuit"))
}

// TestEveryHazardHasItsTest holds the hazard table to the code: no row without a test
// that exists.
func TestEveryHazardHasItsTest(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "deploy", "hazards.md"))
	require.NoError(t, err)
	var tests strings.Builder
	err = filepath.WalkDir(filepath.Join("..", ".."), func(path string, _ os.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, "_test.go") {
			source, readErr := os.ReadFile(path)
			tests.Write(source)
			return readErr
		}
		return err
	})
	require.NoError(t, err)
	rows := 0
	rowsAndProse, measured, _ := strings.Cut(string(data), measuredFrom)
	_, rest, _ := strings.Cut(measured, measuredTo)
	// What it cannot see has a test for its size, too.
	_, blind, found := strings.Cut(rest, "## What it cannot see")
	require.True(t, found)
	for _, bullet := range strings.Split(blind, "\n- ")[1:] {
		for i, name := range strings.Split(bullet, "`") {
			if i%2 == 1 && strings.HasPrefix(name, "Test") {
				assert.Contains(t, tests.String(), "func "+name+"(", "what it cannot see names a test that does not exist: %s", bullet)
			}
		}
		if strings.HasPrefix(bullet, "A chamber probe") {
			continue // has no size yet
		}
		assert.Contains(t, bullet, "`Test", "no test shows the size of: %s", bullet)
	}
	for _, line := range strings.Split(rowsAndProse+rest, "\n") {
		cells := strings.Split(line, "|")
		if len(cells) != 7 || strings.Contains(line, "---") || strings.Contains(line, "longest time") {
			continue
		}
		rows++
		names := strings.Split(cells[5], "`")
		require.Greater(t, len(names), 2, "no test in the row: %s", line)
		for i := 1; i < len(names); i += 2 {
			assert.Contains(t, tests.String(), "func "+names[i]+"(", "the row names a test that does not exist: %s", line)
		}
	}
	assert.Greater(t, rows, 20)
}

// TestADaemonFitsItsMemory holds MemoryMax of the unit to what a whole simulated batch
// takes, with someone looking.
func TestADaemonFitsItsMemory(t *testing.T) {
	t.Parallel()
	most, err := strconv.Atoi(strings.TrimSuffix(unit(t)["MemoryMax"], "M"))
	require.NoError(t, err, "MemoryMax must be in megabytes")
	d := launchProgram(t, built(t), t.TempDir(), nil, "--pace", "10000") // the demonstration's batch
	d.answers()
	peak := regexp.MustCompile(`VmHWM:\s+(\d+) kB`)
	require.Eventually(t, func() bool {
		for _, path := range []string{"/", "/metrics"} {
			d.get(path)
		}
		return d.status().State == "complete"
	}, 5*time.Minute, 100*time.Millisecond) // the machine has other tests to run
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(d.cmd.Process.Pid), "status"))
	if err != nil {
		t.Skip("no /proc here")
	}
	found := peak.FindSubmatch(text)
	require.NotNil(t, found)
	kB, err := strconv.Atoi(string(found[1]))
	require.NoError(t, err)
	t.Logf("at most %d MB of %d MB", kB/1024, most)
	assert.Less(t, kB/1024, most/2)
	assert.Equal(t, exitGood, d.end(os.Interrupt))
}
