package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
)

//go:generate go test . -run ^TestManualIsTheCode$ -update

var handbook = filepath.Join("..", "..", "deploy", "manual.md")

const (
	partsFrom    = "<!-- From here made from the alarm catalogue (controller/trip) by: go generate ./... -->\n"
	partsTo      = "<!-- To here -->\n"
	commandsFrom = "<!-- From here made from the commands (cmd/fumarium) by: go generate ./... -->\n"
)

// TestManualIsTheCode holds the tables of the manual to the alarm catalogue and to the
// commands.
func TestManualIsTheCode(t *testing.T) {
	data, err := os.ReadFile(handbook)
	require.NoError(t, err)
	head, rest, found := strings.Cut(string(data), partsFrom)
	require.True(t, found, "%s has lost the line %q", handbook, partsFrom)
	_, rest, found = strings.Cut(rest, partsTo)
	require.True(t, found, "%s has lost the line %q", handbook, partsTo)
	middle, _, found := strings.Cut(rest, commandsFrom)
	require.True(t, found, "%s has lost the line %q", handbook, commandsFrom)
	want := head + partsFrom + partsTable() + partsTo + middle + commandsFrom + commandsTable()
	if *update {
		require.NoError(t, os.WriteFile(handbook, []byte(want), 0o644))
		return
	}
	assert.Equal(t, want, string(data), "run: go generate ./...")
}

// partsTable is what each part lets a cabinet see that it could not see without.
func partsTable() string {
	var b strings.Builder
	b.WriteString("\n| part | alarms that it makes possible |\n|---|---|\n")
	for part := trip.Parts(1); part.String() != ""; part <<= 1 {
		var names []string
		for c := trip.None + 1; c < trip.Count; c++ {
			if e := c.Entry(); e.Needs&part != 0 {
				with := ""
				if other := e.Needs &^ part; other != 0 {
					with = " (also needs " + other.String() + ")"
				}
				names = append(names, fmt.Sprintf("[%s](alarms.md#%[1]s)%s", c, with))
			}
		}
		alarms := strings.Join(names, ", ")
		if alarms == "" {
			alarms = "none of its own; what else there is to do about others"
		}
		fmt.Fprintf(&b, "| %s | %s |\n", part, alarms)
	}
	return b.String() + "\n"
}

func commandsTable() string {
	var b strings.Builder
	b.WriteString("\n| command | does |\n|---|---|\n")
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			if sub.Hidden || sub.Name() == "help" || sub.Name() == "completion" {
				continue
			}
			fmt.Fprintf(&b, "| `%s` | %s |\n", sub.CommandPath(), sub.Short)
			walk(sub)
		}
	}
	walk(command())
	return b.String()
}

var (
	link   = regexp.MustCompile(`\]\(([^)\s]+)\)`)
	fenced = regexp.MustCompile("(?s)```sh( board)?\n(.*?)```")
)

// anchors are the places of a page that a link may name, as code hosts make them.
func anchors(page string) map[string]bool {
	known := map[string]bool{}
	for line := range strings.Lines(page) {
		title := strings.TrimLeft(line, "#")
		if title == line {
			continue
		}
		name := regexp.MustCompile(`[^\p{L}\p{N} _-]`).ReplaceAllString(strings.ToLower(strings.TrimSpace(title)), "")
		known[strings.ReplaceAll(name, " ", "-")] = true
	}
	return known
}

// TestLinksOfThePages holds every link of README, DEVELOPERS and the pages of deploy to a
// file and a heading that are there.
func TestLinksOfThePages(t *testing.T) {
	pages, err := filepath.Glob(filepath.Join("..", "..", "deploy", "*.md"))
	require.NoError(t, err)
	pages = append(pages, filepath.Join("..", "..", "README.md"), filepath.Join("..", "..", "DEVELOPERS.md"))
	seen := 0
	for _, page := range pages {
		if strings.HasSuffix(page, "third-party-licences.md") {
			continue // others wrote it
		}
		data, err := os.ReadFile(page)
		require.NoError(t, err)
		for _, m := range link.FindAllStringSubmatch(string(data), -1) {
			target, anchor, _ := strings.Cut(m[1], "#")
			if strings.Contains(target, "://") {
				continue
			}
			seen++
			file := page
			if target != "" {
				file = filepath.Join(filepath.Dir(page), target)
			}
			info, err := os.Stat(file)
			if !assert.NoError(t, err, "%s links to %s", page, m[1]) || anchor == "" || info.IsDir() {
				continue
			}
			other, err := os.ReadFile(file)
			require.NoError(t, err)
			assert.True(t, anchors(string(other))[anchor], "%s links to %s, where no such heading is", page, m[1])
		}
	}
	assert.Greater(t, seen, 40)
}

// TestCommandsOfTheManual runs every command of the manual in order, as a new user would:
// the program is this one, and a stand-in for the service manager starts and stops it.
// Those that need wires are held to what the program takes.
func TestCommandsOfTheManual(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(handbook)
	require.NoError(t, err)
	dir, err := filepath.Abs(filepath.Join("..", "..", "deploy"))
	require.NoError(t, err)
	root := t.TempDir()
	bin, state, etc, work := filepath.Join(root, "bin"), filepath.Join(root, "state"), filepath.Join(root, "etc"), filepath.Join(root, "work")
	for _, d := range []string{bin, state, etc, work} {
		require.NoError(t, os.Mkdir(d, 0o700))
	}
	self := built(t)
	shipped, err := os.ReadFile(filepath.Join(dir, "..", "controller", "cabinet", "shipped", "plywood-cabinet.yaml"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(etc, "cabinet.yaml"), shipped, 0o600))
	address := func() string { return "127.0.0.1:" + freeLocalPort(t) }
	server, page := address(), address()
	write := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(bin, name), []byte("#!/bin/bash\n"+text), 0o700))
	}
	write("sudo", `exec "$@"`+"\n")
	write("apt-get", `case "$1" in install|remove|purge) ;; *) exit 1;; esac`+"\n") // the test of the package installs it
	write("install", `cp "${@: -2}"`+"\n")
	write("fumarium", `case "$1" in
hold) # a person looks before they go on: going on hold takes a step
	"`+self+`" "$@" --server http://`+server+` || exit
	for i in $(seq 600); do
		"`+self+`" status --json --server http://`+server+` | grep -q '"state": *"held"' && exit
		sleep 0.1
	done
	exit 1 ;;
status|start|restart|stop|note)
	case "$*" in *--server*) exec "`+self+`" "$@" ;; esac
	exec "`+self+`" "$@" --server http://`+server+` ;;
cabinets) exec "`+self+`" "$@" --folder `+etc+`/cabinets ;;
doctor)
	case "$*" in *--server*) exec "`+self+`" "$@" ;; esac
	exec "`+self+`" "$@" --server http://`+server+` --state `+state+` --cabinet `+etc+`/cabinet.yaml ;;
esac
exec "`+self+`" "$@"
`)
	write("systemctl", `verb=$1; shift; [ "$1" != --now ] || shift
run() { # unit, its address, and how it is run
	unit=$1 at=$2; shift 2
	"`+self+`" "$@" --listen $at >>`+root+`/journal 2>&1 & echo $! >`+root+`/$unit.pid
	for i in $(seq 600); do
		case $unit in # ready, as a daemon tells a service manager: after its first step
		fumarium-cabinets) (exec 3<>/dev/tcp/${at%:*}/${at#*:}) 2>/dev/null && return ;;
		*) "`+self+`" status --server http://$at >/dev/null 2>&1 || [ $? = 1 ] && return ;;
		esac
		sleep 0.1
	done
	exit 1
}
for unit; do
	case $verb:$unit in
	enable:fumarium@*|start:fumarium@*) name=${unit#*@}
		. `+etc+`/cabinets/$name.env
		run $unit $LISTEN run --cabinet `+etc+`/cabinets/$name.yaml --state `+state+`-$name --beside `+etc+`/cabinets ;;
	enable:fumarium-cabinets) run $unit `+page+` cabinets --folder `+etc+`/cabinets ;;
	enable:fumarium|start:fumarium) run $unit `+server+` run --cabinet `+etc+`/cabinet.yaml --state `+state+` --beside `+etc+`/cabinets ;;
	disable:*|stop:*) pid=$(cat `+root+`/$unit.pid); kill $pid; rm `+root+`/$unit.pid
		for i in $(seq 600); do kill -0 $pid 2>/dev/null || continue 2; sleep 0.1; done; exit 1 ;;
	*) exit 1 ;;
	esac
done
`)
	t.Cleanup(func() { _, _ = exec.Command("sh", "-c", "kill $(cat "+root+"/*.pid)").CombinedOutput() })
	for name, text := range map[string]string{"x": "x", "SHA256SUMS": "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881  x\n"} {
		require.NoError(t, os.WriteFile(filepath.Join(work, name), []byte(text), 0o600))
	}
	sign := exec.Command("sh", "-c", `ssh-keygen -q -t ed25519 -N "" -C "" -f ../key && ssh-keygen -q -Y sign -n fumarium -f ../key SHA256SUMS && (printf 'fumarium '; cat ../key.pub) > allowed`)
	sign.Dir = work
	said, err := sign.CombinedOutput()
	require.NoError(t, err, string(said))

	place := strings.NewReplacer("/var/lib/fumarium", state, "/usr/share/doc/fumarium/examples", dir, "/etc/fumarium", etc,
		"./fumarium_*.deb", "./fumarium.deb",
		"127.0.0.1:8378", address(), "127.0.0.1:8379", address())
	ran, read := 0, 0
	for _, block := range fenced.FindAllStringSubmatch(string(data), -1) {
		for line := range strings.Lines(block[2]) {
			line = strings.TrimSpace(line)
			if block[1] != "" {
				takes(t, strings.TrimPrefix(line, "sudo "))
				read++
				continue
			}
			cmd := exec.Command("bash", "-c", place.Replace(line))
			cmd.Dir, cmd.Env = work, append(os.Environ(), "PATH="+bin+":"+os.Getenv("PATH"), "GORACE=atexit_sleep_ms=0")
			said, err := cmd.CombinedOutput()
			require.NoError(t, err, "%s\n%s", line, said)
			ran++
		}
	}
	t.Logf("%d commands ran, %d were read", ran, read)
	assert.Greater(t, ran, 30)
	assert.Greater(t, read, 10)
	resp, err := http.Get("http://" + page + "/")
	require.NoError(t, err)
	defer resp.Body.Close()
	html, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	for _, want := range []string{">Left, ", ">Right, ", "idle: "} {
		assert.Contains(t, string(html), want)
	}
	assert.NotContains(t, string(html), "Nothing is known")
}

// freeLocalPort is below those that the kernel hands out, so that no connection of another
// test takes it before its own server does.
func freeLocalPort(t *testing.T) string {
	t.Helper()
	for range 100 {
		port := strconv.Itoa(15000 + rand.IntN(15000))
		if l, err := net.Listen("tcp", "127.0.0.1:"+port); err == nil {
			require.NoError(t, l.Close())
			return port
		}
	}
	t.Fatal("no free port")
	return ""
}

// takes holds a command to what the program takes: its name, its flags, its arguments.
func takes(t *testing.T, line string) {
	t.Helper()
	words := regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1)
	for i := range words {
		words[i] = strings.Trim(words[i], `"`)
	}
	if words[0] != "fumarium" {
		assert.Contains(t, []string{"install", "systemctl"}, words[0], line)
		return
	}
	c, rest, err := command().Find(words[1:])
	require.NoError(t, err, line)
	require.NoError(t, c.ParseFlags(rest), line)
	assert.NoError(t, c.ValidateArgs(c.Flags().Args()), line)
	assert.True(t, c.Runnable(), line)
}
