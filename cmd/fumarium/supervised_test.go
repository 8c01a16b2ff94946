package main

import (
	"flag"
	"fmt"
	"maps"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The times of deploy/hazards.md: go test ./cmd/fumarium -run TestSupervised -measure 20 -v
// With -measure the supervisor takes the times of the service unit; without, shorter
// ones, and each end is tried once.
var measure = flag.Int("measure", 0, "how often TestSupervised ends the daemon in each way, by the service unit's times")

// A supervisor stands in for the service manager: it hears the daemon's messages, ends
// one that is silent for too long, runs the stop helper after every end, and starts the
// daemon again. It does in order what systemd.service(5) says of the unit's settings.
// What it cannot stand in for is the time that the real one takes.
type supervisor struct {
	t     *testing.T
	watch time.Duration // WatchdogSec
	abort time.Duration // TimeoutAbortSec
	sock  *net.UnixConn
	env   []string
	run   []string // ExecStart
	off   []string // ExecStopPost
	self  string   // the program; empty is this test in its place
	dead  func()   // looks at what a death leaves, before the stop helper comes
	log   *os.File

	mu       sync.Mutex
	cmd      *exec.Cmd
	messages []string // of the daemon that runs now
	heard    chan struct{}
	ends     []end
	closed   bool
	again    chan struct{} // RestartSec is as long as the test wants
	over     chan struct{}
	runsOut  <-chan time.Time // of the watchdog; belongs to life
}

// An end is one death of the daemon.
type end struct {
	watchdog         bool
	aborted, died    time.Time // when it was told, when it was gone
	begunOff, endOff time.Time // the stop helper
	helper           error
	said             string
	messages         []string
}

func newSupervisor(t *testing.T, watch, abort time.Duration, run, off, env []string) *supervisor {
	t.Helper()
	dir, err := os.MkdirTemp("", "manager")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	path := filepath.Join(dir, "notify")
	sock, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	t.Cleanup(func() { sock.Close() })
	log, err := os.Create(filepath.Join(dir, "journal"))
	require.NoError(t, err)
	s := &supervisor{t: t, watch: watch, abort: abort, sock: sock, run: run, off: off, log: log, heard: make(chan struct{}), again: make(chan struct{}, 1), over: make(chan struct{})}
	s.env = append(append(os.Environ(), env...), "FUMARIUM_TEST_AS_PROGRAM=1", "GORACE=atexit_sleep_ms=0", "NOTIFY_SOCKET="+path, fmt.Sprintf("WATCHDOG_USEC=%d", watch.Microseconds()))
	return s
}

// begin supervises until finish.
func (s *supervisor) begin() {
	go func() {
		b := make([]byte, 8192)
		for {
			n, err := s.sock.Read(b)
			if err != nil {
				return
			}
			s.mu.Lock()
			s.messages = append(s.messages, strings.Split(string(b[:n]), "\n")...)
			close(s.heard)
			s.heard = make(chan struct{})
			s.mu.Unlock()
		}
	}()
	go func() {
		defer close(s.over)
		for s.life() {
			<-s.again
		}
	}()
}

func (s *supervisor) command(args []string) *exec.Cmd {
	self := s.self
	if self == "" {
		var err error
		if self, err = os.Executable(); err != nil {
			s.t.Error(err)
		}
	}
	c := exec.Command(self, args...)
	c.Env, c.Stderr = s.env, s.log
	return c
}

// life is the daemon from its start to the end of the stop helper.
func (s *supervisor) life() bool {
	cmd := s.command(s.run)
	s.mu.Lock()
	if s.closed {
		s.mu.Unlock()
		return false
	}
	s.messages, s.cmd = nil, cmd
	err := cmd.Start()
	s.mu.Unlock()
	if err != nil {
		s.t.Error(err)
		return false
	}
	gone := make(chan struct{})
	go func() {
		_ = cmd.Wait()
		close(gone)
	}()
	var e end
	s.await(cmd, gone, &e)
	e.died = time.Now()
	if s.dead != nil {
		s.dead()
	}
	helper := s.command(s.off)
	var said strings.Builder
	helper.Stdout, helper.Stderr = &said, &said
	e.begunOff = time.Now()
	e.helper = helper.Run()
	e.endOff, e.said = time.Now(), said.String()
	s.mu.Lock()
	defer s.mu.Unlock()
	e.messages = s.messages
	s.ends = append(s.ends, e)
	close(s.heard)
	s.heard = make(chan struct{})
	return !s.closed
}

// await waits for the end of the daemon, and brings it about when the watchdog is not
// fed: it is asked to dump and end, and killed when it does not.
func (s *supervisor) await(cmd *exec.Cmd, gone chan struct{}, e *end) {
	fed := 0
	for {
		s.mu.Lock()
		heard := s.heard
		now := 0
		for _, m := range s.messages {
			if m == "READY=1" || m == "WATCHDOG=1" {
				now++
			}
		}
		s.mu.Unlock()
		var late <-chan time.Time
		if now > 0 { // the watchdog runs from READY on
			if now == fed { // another message: the time runs on
				late = s.runsOut
			} else {
				fed = now
				s.runsOut = time.After(s.watch)
				late = s.runsOut
			}
		}
		select {
		case <-gone:
			return
		case <-heard:
		case <-late:
			e.watchdog, e.aborted = true, time.Now()
			for _, signal := range []os.Signal{syscall.SIGABRT, syscall.SIGCONT} {
				_ = cmd.Process.Signal(signal)
			}
			select {
			case <-gone:
			case <-time.After(s.abort):
				_ = cmd.Process.Kill()
				<-gone
			}
			return
		}
	}
}

// signal sends the daemon a signal.
func (s *supervisor) signal(signal os.Signal) time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	at := time.Now()
	require.NoError(s.t, s.cmd.Process.Signal(signal))
	return at
}

// until waits until what the supervisor knows is enough.
func (s *supervisor) until(what string, enough func() bool) {
	s.t.Helper()
	limit := time.After(time.Minute)
	for {
		s.mu.Lock()
		ok, heard := enough(), s.heard
		s.mu.Unlock()
		if ok {
			return
		}
		select {
		case <-heard:
		case <-limit:
			journal, _ := os.ReadFile(s.log.Name())
			s.t.Fatalf("never came: %s; heard %q; journal:\n%s", what, s.messages, journal)
		}
	}
}

func (s *supervisor) saidReady() bool { return slices.Contains(s.messages, "READY=1") }

// nextEnd waits for the n-th end and gives it.
func (s *supervisor) nextEnd(n int) (e end) {
	s.t.Helper()
	s.until(fmt.Sprintf("end %d", n), func() bool {
		if len(s.ends) >= n {
			e = s.ends[n-1]
		}
		return len(s.ends) >= n
	})
	return e
}

// spread is the least, the middle and the longest of measured times.
func spread(all []time.Duration) string {
	if len(all) == 0 {
		return "never"
	}
	slices.Sort(all)
	unit := time.Millisecond
	if all[len(all)-1] < 10*time.Millisecond {
		unit = 10 * time.Microsecond
	}
	return fmt.Sprintf("least %v, middle %v, longest %v of %d", all[0].Round(unit), all[len(all)/2].Round(unit), all[len(all)-1].Round(unit), len(all))
}

// heating is a supervised daemon on the cabinet outside with a batch that heats.
type heating struct {
	*supervisor
	o    *outside
	dir  string
	done int // ends so far
}

func newHeating(t *testing.T, keeps bool) *heating {
	t.Helper()
	watch, abort := 4*time.Second, 300*time.Millisecond
	if *measure > 0 {
		watch, abort = span(t, "WatchdogSec"), span(t, "TimeoutAbortSec")
	}
	h := &heating{o: newOutside(t, keeps, 30, 15), dir: t.TempDir()}
	cabinet := file(t, "cabinet.yaml", outsideCabinet)
	h.supervisor = newSupervisor(t, watch, abort,
		[]string{"run", "--cabinet", cabinet, "--listen", "127.0.0.1:0"}, []string{"off", "--cabinet", cabinet}, append(h.o.env(), "STATE_DIRECTORY="+h.dir))
	return h
}

// start begins to supervise.
func (h *heating) start() {
	h.begin()
	h.t.Cleanup(func() {
		h.mu.Lock()
		h.closed = true
		_ = h.cmd.Process.Kill()
		h.mu.Unlock()
		h.o.mend()
		select {
		case h.again <- struct{}{}:
		default:
		}
		<-h.over
	})
}

func (h *heating) journal() string {
	data, err := os.ReadFile(h.log.Name())
	require.NoError(h.t, err)
	return string(data)
}

// batch waits until the daemon is ready and starts a batch.
func (h *heating) batch() {
	t := h.t
	t.Helper()
	h.until("READY", h.saidReady)
	require.Eventually(t, func() bool { return strings.Contains(h.journal(), "/\nmetrics") }, 20*time.Second, 20*time.Millisecond)
	_, page, _ := strings.Cut(h.journal(), "page ")
	url, _, _ := strings.Cut(strings.TrimSpace(page), "/\n")
	product := file(t, "product.yaml", quick(t))
	require.Eventually(t, func() bool { // the chips have to convert first
		code, _, _ := call(t, "start", product, "--reason", "trial", "--server", url, "--state", h.dir)
		return code == exitGood
	}, 20*time.Second, 200*time.Millisecond)
}

// heats waits until the daemon is ready and the heater is on.
func (h *heating) heats() {
	h.t.Helper()
	h.until("READY", h.saidReady)
	h.o.heaterIs(h.t, true)
}

// ended waits for the end that is under way.
func (h *heating) ended() end {
	h.t.Helper()
	h.done++
	e := h.nextEnd(h.done)
	assert.NoError(h.t, e.helper, e.said)
	assert.Contains(h.t, e.said, "off, read back from the pins: sounder, fan, heater")
	h.o.mu.Lock()
	defer h.o.mu.Unlock()
	for pin, on := range h.o.on {
		assert.False(h.t, on, "%s is on after the stop helper", pin)
	}
	return e
}

// What becomes of a heater that is on, seen by someone who survives the daemon: the
// daemon dies, on a kernel that releases its lines and on one that keeps them; it is
// stopped by the kernel; its bus never answers; its bus is lost; it is told to end.
func TestSupervised(t *testing.T) {
	t.Parallel()
	dies, keeps, stopped, silent, lost := newHeating(t, false), newHeating(t, true), newHeating(t, true), newHeating(t, true), newHeating(t, true)
	all := []*heating{dies, keeps, stopped, silent, lost}
	times := map[string][]time.Duration{}
	took := func(what string, from, to time.Time) { times[what] = append(times[what], to.Sub(from)) }

	silent.o.silence()
	for _, h := range all {
		h.start()
	}
	require.Eventually(t, func() bool { return strings.Contains(silent.journal(), "page ") }, 20*time.Second, 20*time.Millisecond)
	for _, h := range all {
		if h != silent {
			h.batch()
		}
	}
	silent.mu.Lock()
	assert.Empty(t, silent.messages, "not ready before a step was made")
	silent.mu.Unlock()
	silent.o.mend()
	silent.batch()

	for round := range max(*measure, 1) {
		for _, h := range all {
			h.heats()
		}
		at := dies.signal(syscall.SIGKILL)
		off := dies.o.heaterIs(t, false)
		assert.Equal(t, "released by the kernel", off.Why)
		took("process dies, the kernel releases its lines: heater off after", at, off.At)

		at = keeps.signal(syscall.SIGKILL)
		off = keeps.o.heaterIs(t, false)
		assert.Equal(t, "taken by fumarium heater", off.Why, "the stop helper")
		took("process dies, the kernel keeps its lines: heater off after", at, off.At)

		// The longest that a hang can last: from right after a message on.
		stoppedAt := stopped.signal(syscall.SIGSTOP)
		silentAt := time.Now()
		silent.o.silence()

		lostAt := time.Now()
		lost.o.breakBus()
		off = lost.o.heaterIs(t, false)
		assert.Equal(t, "switched", off.Why, "by the loop itself")
		took("bus reports errors: heater off after", lostAt, off.At)

		for _, h := range []*heating{dies, keeps} {
			e := h.ended()
			assert.False(t, e.watchdog)
			took("stop helper: from its start to its end", e.begunOff, e.endOff)
		}
		for h, from := range map[*heating]time.Time{stopped: stoppedAt, silent: silentAt} {
			e := h.ended()
			assert.True(t, e.watchdog, "it was silent for too long")
			h.o.mu.Lock()
			off := h.o.heater[len(h.o.heater)-1]
			h.o.mu.Unlock()
			assert.False(t, off.On)
			name := map[*heating]string{stopped: "process stopped", silent: "bus never answers"}[h]
			took(name+": told to end after", from, e.aborted)
			took(name+": heater off after", from, off.At)
			took(name+": stop helper done after", from, e.endOff)
		}
		assert.Contains(t, silent.journal(), "SIGABRT", "the dump says where it hung")

		lost.o.mend()
		lost.mu.Lock()
		before := len(lost.messages)
		lost.mu.Unlock()
		lost.until("a message of the loop that lost its bus", func() bool { return slices.Contains(lost.messages[before:], "WATCHDOG=1") })
		assert.Zero(t, lost.done, "a lost bus needs no restart")
		silent.o.mend()
		for _, h := range all {
			if h != lost && round < *measure-1 {
				h.again <- struct{}{}
			}
		}
	}

	lost.heats()
	lost.mu.Lock()
	lost.closed = true
	lost.mu.Unlock()
	at := lost.signal(syscall.SIGTERM)
	e := lost.ended()
	off := lost.o.heater[len(lost.o.heater)-1]
	assert.Equal(t, change{At: off.At, Why: "switched"}, off, "by the loop, before the process ended")
	took("told to end: heater off after", at, off.At)
	took("told to end: process gone after", at, e.died)
	assert.Contains(t, e.messages, "STOPPING=1")
	assert.Contains(t, strings.Join(e.messages, "\n"), "STATUS=Dry: ", "and said what it did")

	for _, what := range slices.Sorted(maps.Keys(times)) {
		t.Logf("%s: %s", what, spread(times[what]))
	}
}
