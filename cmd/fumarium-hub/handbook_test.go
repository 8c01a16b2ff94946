package main

import (
	"context"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/courier"
	"fumarium/controller/record"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

// TestCommandsOfThePage runs every command of deploy/hub.md in order, on one machine: sudo takes
// the user of the database alone, a stand-in for the service manager starts the hub, and what a
// person would copy from one line to the next is copied. Between backup and going back the
// board records more, which it brings again.
func TestCommandsOfThePage(t *testing.T) {
	for _, name := range []string{"createuser", "createdb", "pg_dump", "pg_restore"} {
		if _, err := exec.LookPath(name); err != nil && os.Getenv("CI") != "true" {
			t.Skipf("without %s: apt-get install --no-install-recommends postgresql", name)
		}
	}
	server := postgrestest.Begin(t, "")
	t.Cleanup(server.End)
	_, folder, _ := strings.Cut(server.URL(""), "host=")
	root := t.TempDir()
	bin, etc, state := filepath.Join(root, "bin"), filepath.Join(root, "etc"), filepath.Join(root, "state")
	for _, d := range []string{bin, etc, state} {
		require.NoError(t, os.Mkdir(d, 0o700))
	}
	said, err := exec.Command("go", "build", "-o", bin+"/fumarium", "fumarium/cmd/fumarium").CombinedOutput()
	require.NoError(t, err, "%s", said)
	listen := free(t)
	for name, text := range map[string]string{
		"sudo": `user=hub
if [ "$1" = -u ]; then [ "$2" = postgres ] || user=$2; shift 2; fi
PGUSER=$user exec "$@"`,
		"apt-get":      `[ "$1" = install ]`,
		"fumarium-hub": `FUMARIUM_HUB_TEST=hub exec "` + os.Args[0] + `" "$@"`,
		"systemctl": `case "$*" in
"enable --now fumarium-hub" | "start fumarium-hub") ;;
"stop fumarium-hub") pid=$(cat ` + root + `/pid); kill $pid; while kill -0 $pid 2>/dev/null; do sleep 0.05; done; exit ;;
*) exit 1 ;;
esac
PGUSER=fumarium-hub fumarium-hub run --listen ` + listen + ` --tls-cert ` + etc + `/hub.pem --tls-key ` + etc + `/hub-key.pem >` + root + `/log 2>&1 & echo $! >` + root + `/pid
for i in $(seq 600); do (exec 3<>/dev/tcp/` + strings.Replace(listen, ":", "/", 1) + `) 2>/dev/null && exit; sleep 0.1; done; exit 1`,
	} {
		require.NoError(t, os.WriteFile(filepath.Join(bin, name), []byte("#!/bin/bash\nset -e\n"+text+"\n"), 0o700))
	}
	t.Cleanup(func() { _, _ = exec.Command("sh", "-c", "kill $(cat "+root+"/pid)").CombinedOutput() })
	board := recordtest.Begin(t, state, record.Real, time.Now())
	board.Batch(3)
	brings := func() { // a courier that was begun anew compares at once; the daemon's does every hour
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			(&courier.Courier{Dir: state, File: board.File(), World: record.Real, Log: slog.New(slog.NewTextHandler(t.Output(), nil)), Look: 20 * time.Millisecond}).Run(ctx)
		}()
		hub, err := courier.Read(state)
		require.NoError(t, err)
		require.Eventually(t, func() bool {
			r, err := record.OpenReader(board.File())
			require.NoError(t, err)
			defer r.Close()
			mine, err := r.Heads(t.Context())
			require.NoError(t, err)
			kept, err := hub.Heads(t.Context())
			return err == nil && assert.ObjectsAreEqual(mine, kept)
		}, 2*time.Minute, 50*time.Millisecond)
		cancel()
		<-ended
	}
	data, err := os.ReadFile("../../deploy/hub.md")
	require.NoError(t, err)
	code, print, ran := "", "", 0
	for _, block := range regexp.MustCompile("(?s)```sh\n(.*?)```").FindAllStringSubmatch(string(data), -1) {
		for line := range strings.Lines(block[1]) {
			line = strings.TrimSpace(line)
			if strings.Contains(line, "systemctl stop") {
				board.Batch(2)
				brings()
			}
			run := strings.NewReplacer("/var/lib/fumarium", state, "/etc/fumarium-hub", etc, "/tmp/hub.dump", root+"/hub.dump", "https://hub.example:8380", "https://"+listen,
				"192.0.2.7", "127.0.0.1", " CODE ", " "+code+" ", " HEX ", " "+print+" ").Replace(line)
			cmd := exec.Command("bash", "-c", run)
			cmd.Dir, cmd.Env = root, append(os.Environ(), "PATH="+bin+":"+os.Getenv("PATH"), "PGHOST="+folder, databaseEnv+"=postgres:///fumarium-hub?host="+folder)
			said, err := cmd.CombinedOutput()
			require.NoError(t, err, "%s\n%s", line, said)
			switch word := strings.TrimSpace(string(said)); {
			case strings.Contains(line, " certificate "):
				print = word
			case strings.Contains(line, "-hub code "):
				code = word
			case strings.Contains(line, "hub join"):
				brings()
			case strings.Contains(line, "systemctl start"):
				brings()
			case strings.HasSuffix(line, " check"):
				assert.Contains(t, word, "2 batches")
			}
			ran++
		}
	}
	assert.Greater(t, ran, 10)
	t.Logf("%d commands ran", ran)
	c, err := net.Dial("tcp", listen)
	require.NoError(t, err, "the hub goes on")
	c.Close()
}
