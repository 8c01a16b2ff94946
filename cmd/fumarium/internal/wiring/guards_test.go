package wiring

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/relay"
)

func tree(files map[string]string) fstest.MapFS {
	m := fstest.MapFS{}
	for name, text := range files {
		m[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return m
}

func TestMemoryLimit(t *testing.T) {
	const controllers, limit = "sys/fs/cgroup/cgroup.controllers", "sys/fs/cgroup/system.slice/fumarium.service/memory.max"
	const row = "sys/fs/cgroup/system.slice/system-fumarium.slice/fumarium@"
	for name, c := range map[string]struct {
		files map[string]string
		good  bool
		note  string
	}{
		"disabled on the command line": {map[string]string{controllers: "cpuset cpu io pids\n"}, false, noMemoryGroup},
		"no control groups at all":     {nil, false, noMemoryGroup},
		"can, and nothing runs":        {map[string]string{controllers: "cpuset cpu io memory pids\n"}, true, "the kernel can limit the memory of a service"},
		"the old hierarchies":          {map[string]string{"sys/fs/cgroup/memory/tasks": ""}, true, "the kernel can limit the memory of a service"},
		"limited":                      {map[string]string{controllers: "memory\n", limit: "134217728\n"}, true, "the running service may take 128 MiB"},
		"one of several without":       {map[string]string{controllers: "memory\n", row + "left.service/memory.max": "134217728\n", row + "right.service/memory.max": "max\n"}, false, noLimit},
		"several":                      {map[string]string{controllers: "memory\n", row + "left.service/memory.max": "134217728\n"}, true, "the running service may take 128 MiB"},
		"a unit without MemoryMax":     {map[string]string{controllers: "memory\n", limit: "max\n"}, false, noLimit},
	} {
		assert.Equal(t, Find{"memory limit", c.good, c.note}, memoryLimit(tree(c.files)), name)
	}
}

func TestBoardWatchdog(t *testing.T) {
	const first, second = "sys/class/watchdog/watchdog0/", "sys/class/watchdog/watchdog1/"
	board := "Broadcom BCM2835 Watchdog timer"
	for name, c := range map[string]struct {
		files map[string]string
		good  bool
		note  string
	}{
		"none":              {nil, false, noWatchdog},
		"fed":               {map[string]string{first + "identity": board + "\n", first + "state": "active\n", first + "timeout": "14\n"}, true, board + " restarts a machine that hangs for 14 s"},
		"asleep":            {map[string]string{first + "identity": board, first + "state": "inactive\n"}, false, board + ": " + asleep},
		"shows nothing":     {map[string]string{first + "uevent": ""}, false, "watchdog0 does not show whether it is fed; look at systemctl show -p RuntimeWatchdogUSec, which should say 14s"},
		"only in software":  {map[string]string{first + "identity": "Software Watchdog", first + "state": "active"}, false, inSoftware},
		"software and real": {map[string]string{first + "identity": "Software Watchdog", first + "state": "active", second + "identity": board, second + "state": "active", second + "timeout": "14"}, true, board + " restarts a machine that hangs for 14 s"},
		"real and software": {map[string]string{second + "identity": "Software Watchdog", first + "identity": board, first + "state": "inactive"}, false, board + ": " + asleep},
	} {
		assert.Equal(t, Find{"board watchdog", c.good, c.note}, boardWatchdog(tree(c.files)), name)
	}
}

// The survey of a real cabinet asks for both; without a cabinet nothing is missed.
func TestSurveyAsksForTheGuards(t *testing.T) {
	d := newDesk()
	s := Survey{Buses: d, Bus: answering, Root: tree(nil), Nodes: func(string) []string { return nil },
		Lines: func() ([]relay.Chip, error) { return []relay.Chip{{Path: "/dev/gpiochip0"}}, nil }}
	err := Missing(s.Look(parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1))))
	assert.ErrorContains(t, err, "memory limit: "+noMemoryGroup)
	assert.ErrorContains(t, err, "board watchdog: "+noWatchdog)
	assert.NoError(t, Missing(s.Look(nil)))
}

// On whatever machine this runs, each says one thing.
func TestGuardsOfThisMachine(t *testing.T) {
	found := guards(os.DirFS("/"))
	require.Len(t, found, 2)
	for _, f := range found {
		assert.NotEmpty(t, f.Note)
		t.Log(f)
	}
}
