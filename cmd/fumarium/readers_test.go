package main

import (
	"context"
	"errors"
	"flag"
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
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The long run: go test ./cmd/fumarium -run TestReadersDoNotDelayTheStep -readers-charts 300 -readers-stalled 3000 -readers-idle 2000 -readers-for 1m -v
var (
	chartReaders   = flag.Int("readers-charts", 30, "how many ask for the chart, one after another without a pause")
	stalledReaders = flag.Int("readers-stalled", 400, "how many ask and take no answer")
	idleReaders    = flag.Int("readers-idle", 300, "how many say nothing, or half a request")
	readersFor     = flag.Duration("readers-for", 3*time.Second, "for how long")
	readersPace    = flag.Float64("readers-pace", 0, "how fast a simulated cabinet goes, four hours into its batch; 0 is one that is real to the daemon, in its first minute")
)

// mostReadersMB is the memory of a daemon that is full of readers.
const mostReadersMB = 80

// A crowd is what comes to a daemon, from a process of its own on the same processors: the
// cabinet and the person at it are in the test's. Who is sent away comes back.
type crowd struct {
	address string
	work    sync.WaitGroup

	charts           atomic.Int64 // that were read
	largest, slowest atomic.Int64 // bytes and time of one
}

// crowdEnv names the daemon's address to the process of a crowd; its arguments are how
// many it is.
const crowdEnv = "FUMARIUM_TEST_CROWD"

// crowdComes is that process. It goes when its input ends.
func crowdComes(address string) {
	c := &crowd{address: address}
	ctx, leave := context.WithCancel(context.Background())
	var n [3]int
	for i := range n {
		n[i], _ = strconv.Atoi(os.Args[1+i])
	}
	c.come(ctx, n[0], c.stall)
	c.come(ctx, n[1], c.loiter)
	c.come(ctx, n[2], c.read)
	_, _ = io.Copy(io.Discard, os.Stdin)
	leave()
	c.work.Wait()
	fmt.Println(c.charts.Load(), c.largest.Load(), c.slowest.Load())
}

// invite lets a crowd come until leave is called.
func (d *daemon) invite(stalled, idle, charts int) (leave func() (read int, largest int, slowest time.Duration)) {
	d.t.Helper()
	self, err := os.Executable()
	require.NoError(d.t, err)
	cmd := exec.Command(self, strconv.Itoa(stalled), strconv.Itoa(idle), strconv.Itoa(charts))
	cmd.Env = append(os.Environ(), crowdEnv+"="+strings.TrimPrefix(d.url, "http://"))
	stdin, err := cmd.StdinPipe()
	require.NoError(d.t, err)
	var out strings.Builder
	cmd.Stdout, cmd.Stderr = &out, os.Stderr
	require.NoError(d.t, cmd.Start())
	d.t.Cleanup(func() { _ = cmd.Process.Kill() })
	return func() (read, largest int, slowest time.Duration) {
		d.t.Helper()
		require.NoError(d.t, stdin.Close())
		require.NoError(d.t, cmd.Wait())
		_, err := fmt.Sscan(out.String(), &read, &largest, (*int64)(&slowest))
		require.NoError(d.t, err, out.String())
		return read, largest, slowest
	}
}

// come lets n do what they do again and again until ctx ends.
func (c *crowd) come(ctx context.Context, n int, visit func(context.Context) error) {
	for range n {
		c.work.Go(func() {
			for ctx.Err() == nil {
				_ = visit(ctx) // sent away
				select {
				case <-ctx.Done():
				case <-time.After(50*time.Millisecond + rand.N(100*time.Millisecond)):
				}
			}
		})
	}
}

// read reads charts over one connection until it is ended.
func (c *crowd) read(ctx context.Context) error {
	transport := &http.Transport{MaxConnsPerHost: 1}
	defer transport.CloseIdleConnections()
	for ctx.Err() == nil {
		began := time.Now()
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, fmt.Sprintf("http://%s/chart.svg?width=%d", c.address, 300+rand.IntN(1300)), nil)
		if err != nil {
			return err
		}
		answer, err := transport.RoundTrip(r)
		if err != nil {
			return err
		}
		n, err := io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
		if err != nil {
			return err
		}
		if answer.StatusCode != http.StatusOK {
			return errors.New(answer.Status)
		}
		c.charts.Add(1)
		raise(&c.largest, n)
		raise(&c.slowest, int64(time.Since(began)))
	}
	return nil
}

func raise(most *atomic.Int64, n int64) {
	for was := most.Load(); n > was && !most.CompareAndSwap(was, n); was = most.Load() {
	}
}

// dial connects with a receive buffer as small as the kernel allows.
func (c *crowd) dial(ctx context.Context) (net.Conn, error) {
	d := net.Dialer{Control: func(_, _ string, raw syscall.RawConn) error {
		return raw.Control(func(fd uintptr) { _ = syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_RCVBUF, 1) })
	}}
	return d.DialContext(ctx, "tcp", c.address)
}

// stall asks for more than fits into any buffer and takes nothing.
func (c *crowd) stall(ctx context.Context) error {
	conn, err := c.dial(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := io.WriteString(conn, strings.Repeat("GET /chart.svg HTTP/1.1\r\nHost: localhost\r\n\r\n", 100)); err != nil {
		return err
	}
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(time.Second):
			if _, err := conn.Write([]byte("G")); err != nil { // the other end has gone
				return err
			}
		}
	}
}

// loiter says nothing, or half a request, until it is sent away.
func (c *crowd) loiter(ctx context.Context) error {
	conn, err := c.dial(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { conn.Close() })()
	if rand.IntN(2) == 0 {
		if _, err := io.WriteString(conn, "GET /api/status HTTP/1.1\r\nHost: local"); err != nil {
			return err
		}
	}
	_, err = io.Copy(io.Discard, conn)
	return err
}

// TestReadersDoNotDelayTheStep fills a daemon that heats with readers that read, readers
// that do not, and connections that say nothing, and lets the person at it hold, restart
// and stop the batch meanwhile.
func TestReadersDoNotDelayTheStep(t *testing.T) {
	t.Parallel()
	heated := func(*testing.T, bool) {}
	var d *daemon
	if *readersPace == 0 {
		o := newOutside(t, false, 40, 8)
		heated = func(t *testing.T, on bool) { o.heaterIs(t, on) }
		d = launchDaemon(t, t.TempDir(), o.env(), "--cabinet", file(t, "outside.yaml", outsideCabinet))
		d.answers()
		d.steps()
		status, _, said := d.client("start", file(t, "product.yaml", quick(t)), "--reason", "test")
		require.Equal(t, exitGood, status, said)
	} else {
		d = startDaemon(t, "--pace", fmt.Sprint(*readersPace))
		require.Eventually(t, func() bool {
			elapsed := d.status().ElapsedSeconds
			return elapsed != nil && *elapsed > 4*3600
		}, 5*time.Minute, 100*time.Millisecond)
	}
	heated(t, true)
	before := d.numbers()

	leave := d.invite(*stalledReaders, *idleReaders, *chartReaders)
	till := time.Now().Add(*readersFor)
	commands, slowest := 0, time.Duration(0)
	tell := func(command string) {
		began := time.Now()
		status, _, said := d.client(command)
		require.Equal(t, exitGood, status, "%s: %s", command, said)
		commands, slowest = commands+1, max(slowest, time.Since(began))
	}
	for time.Now().Before(till) {
		tell("status")
		tell("hold")
		d.until("held")
		tell("restart")
		d.until("running")
	}
	tell("stop")
	heated(t, false)
	d.until("stopped")
	read, largest, slowestChart := leave()

	after := d.numbers()
	of := func(name string) float64 { return after[name] - before[name] }
	steps := of("fumarium_step_delay_seconds_count")
	ended := func(why string) float64 { return of(`fumarium_connections_ended_total{why="` + why + `"}`) }
	t.Logf("%d charts of at most %d bytes, the slowest %v; %.0f refused, %.0f made room, %.0f stalled; %d commands, the slowest %v",
		read, largest, slowestChart.Round(time.Millisecond), ended("full"), ended("silent"), ended("stalled"), commands, slowest.Round(time.Millisecond))
	t.Logf("%.0f steps, late %.0f, delayed by up to %s s, %.1f ms on average; a step took up to %s s; resident at most %d MB",
		steps, of("fumarium_steps_late_total"), highest(before, after, "fumarium_step_delay_seconds_bucket"), 1000*of("fumarium_step_delay_seconds_sum")/steps,
		highest(before, after, "fumarium_step_duration_seconds_bucket"), d.peak())
	assert.Positive(t, steps)
	assert.Zero(t, of("fumarium_steps_late_total"))
	assert.Positive(t, read)
	assert.Positive(t, ended("silent"), "there was room for all: the test shows nothing")
	if !raced {
		assert.Less(t, d.peak(), mostReadersMB)
	}
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
}

// until waits for a state of the batch.
func (d *daemon) until(state string) {
	d.t.Helper()
	require.Eventually(d.t, func() bool { return d.status().State == state }, time.Minute, 100*time.Millisecond)
}

// numbers are the daemon's metrics by name and labels.
func (d *daemon) numbers() map[string]float64 {
	d.t.Helper()
	var text []byte
	require.Eventually(d.t, func() bool { // a crowd that has left may still stand in the queue
		r, err := http.Get(d.url + "/metrics")
		if err != nil {
			return false
		}
		defer r.Body.Close()
		text, err = io.ReadAll(r.Body)
		return err == nil
	}, time.Minute, 20*time.Millisecond)
	all := map[string]float64{}
	for line := range strings.Lines(string(text)) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		if n, err := strconv.ParseFloat(value, 64); err == nil && !strings.HasPrefix(line, "#") {
			all[name] = n
		}
	}
	require.NotEmpty(d.t, all)
	return all
}

// highest is the bound of the highest bucket of a histogram that something fell into.
func highest(before, after map[string]float64, bucket string) string {
	total := strings.TrimSuffix(bucket, "_bucket") + "_count"
	all, best, bound := after[total]-before[total], -1.0, "more than any bucket"
	for name, n := range after {
		le, ok := strings.CutPrefix(name, bucket+`{le="`)
		if v, err := strconv.ParseFloat(strings.TrimSuffix(le, `"}`), 64); ok && err == nil && n-before[name] == all && (best < 0 || v < best) {
			best, bound = v, strings.TrimSuffix(le, `"}`)
		}
	}
	return bound
}

// peak is the most memory that the daemon has had at once, in MB.
func (d *daemon) peak() int {
	d.t.Helper()
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(d.cmd.Process.Pid), "status"))
	require.NoError(d.t, err)
	found := regexp.MustCompile(`VmHWM:\s+(\d+) kB`).FindSubmatch(text)
	require.NotNil(d.t, found)
	kB, err := strconv.Atoi(string(found[1]))
	require.NoError(d.t, err)
	return kB / 1024
}
