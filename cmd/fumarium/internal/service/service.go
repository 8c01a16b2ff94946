// Package service tells the service manager that the daemon is ready, what it does
// and that its control loop still goes round. The protocol is sd_notify(3) of
// systemd: one datagram for each message. Without a manager it says nothing. It
// decides nothing, starts no goroutine and never makes the loop wait.
//
// The messages are sent here and not by a library: the usual one waits for as long
// as the manager does not read, which would stop a loop with its heater on. Whoever
// cannot send within sendWithin gives up, and the manager's clock runs on.
package service

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strconv"
	"strings"
	"time"
)

const (
	// sendWithin bounds what a message may cost the loop. Common practice, no source.
	sendWithin = 50 * time.Millisecond
	// LeastWatchdog is the shortest watchdog that a loop with a step a second can
	// satisfy at half of it, with a step to spare.
	LeastWatchdog = 4 * time.Second
	// share is which part of the watchdog's time goes by between two messages at
	// least, and unwatched the same without one, so that a cabinet at high pace does
	// not flood the manager; sd_notify(3) wants less than half. At
	// WatchdogSec=10 every step of a real cabinet is told.
	share     = 16
	unwatched = time.Second
)

// A Manager is the service manager, or nobody. Cycle belongs to one goroutine.
type Manager struct {
	address  string
	watchdog time.Duration
	every    time.Duration // least time between two messages
	log      *slog.Logger

	ready  bool
	last   time.Time // of the last message of a cycle that was sent
	said   string
	failed bool // the last message could not be sent
}

// New reads who the manager is from the environment.
func New(getenv func(string) string, pid int, log *slog.Logger) *Manager {
	m := &Manager{address: getenv("NOTIFY_SOCKET"), every: unwatched, log: log}
	if m.address == "" {
		return m
	}
	if of := getenv("WATCHDOG_PID"); of != "" && of != strconv.Itoa(pid) {
		return m // meant for another process
	}
	text := getenv("WATCHDOG_USEC")
	if text == "" {
		return m
	}
	us, err := strconv.ParseInt(text, 10, 32) // up to half an hour
	if err != nil || us <= 0 {
		log.Error("the watchdog is not understood", "WATCHDOG_USEC", text, "do", "set WatchdogSec=10 in the service unit")
		return m
	}
	m.watchdog = time.Duration(us) * time.Microsecond
	m.every = m.watchdog / share
	if m.watchdog < LeastWatchdog {
		log.Error("the watchdog is too short for a step a second", "interval", m.watchdog, "do", fmt.Sprintf("set WatchdogSec=10 in the service unit, at least %v", LeastWatchdog))
	}
	return m
}

// Present reports whether there is a manager.
func (m *Manager) Present() bool { return m.address != "" }

// Cycle says that a full cycle has ended: ready after the first, alive after each,
// and what is going on, in the words that doing gives. The control loop calls it,
// and nothing else may.
func (m *Manager) Cycle(doing func() string) {
	if m.address == "" {
		return
	}
	now := time.Now()
	if m.ready && now.Sub(m.last) < m.every {
		return
	}
	var lines []string
	if !m.ready {
		lines = append(lines, "READY=1")
	}
	if m.watchdog > 0 {
		lines = append(lines, "WATCHDOG=1")
	}
	said := oneLine(doing())
	if said != m.said {
		lines = append(lines, "STATUS="+said)
	}
	if len(lines) == 0 {
		return
	}
	if m.send(lines...) == nil {
		m.ready, m.last, m.said = true, now, said
	}
}

// Stopping says that the daemon is about to end.
func (m *Manager) Stopping() {
	_ = m.send("STOPPING=1", "STATUS=switching off")
}

// Say says what goes on outside the cycle: why the daemon could not start.
func (m *Manager) Say(text string) { _ = m.send("STATUS=" + oneLine(text)) }

// oneLine is text as one line, for a line break would begin another message.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

func (m *Manager) send(lines ...string) error {
	if m.address == "" {
		return nil
	}
	err := m.datagram(strings.Join(lines, "\n"))
	switch {
	case err != nil && !m.failed:
		m.log.Error("the service manager was not told", "err", err, "do", "look at NotifyAccess= and NOTIFY_SOCKET; without these messages it ends the daemon")
	case err == nil && m.failed:
		m.log.Info("the service manager can be told again")
	}
	m.failed = err != nil
	return err
}

func (m *Manager) datagram(text string) error {
	// A new socket each time: the manager may have made a new one of its own.
	c, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: m.address, Net: "unixgram"})
	if err != nil {
		return err
	}
	defer c.Close()
	if err := c.SetWriteDeadline(time.Now().Add(sendWithin)); err != nil {
		return err
	}
	_, err = c.Write([]byte(text))
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = fmt.Errorf("it did not read within %v: %w", sendWithin, err)
	}
	return err
}
