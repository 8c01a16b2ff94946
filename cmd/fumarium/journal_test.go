package main

import (
	"bytes"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stopped is a terminal that takes nothing until it goes on.
type stopped struct {
	bytes.Buffer
	goOn chan struct{}
}

func (s *stopped) Write(p []byte) (int, error) {
	<-s.goOn
	return s.Buffer.Write(p)
}

func TestAStoppedTerminalKeepsNobodyWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		terminal := &stopped{goOn: make(chan struct{})}
		j := newJournal(terminal)
		log := slog.New(slog.NewTextHandler(j, nil))
		for n := range mostJournal + 100 { // would never end if one of them waited
			log.Info("step", "n", n)
		}
		synctest.Wait()
		close(terminal.goOn)
		j.Close()
		said := terminal.String()
		assert.Contains(t, said, "msg=step n=0\n")
		assert.Regexp(t, `\n(99|100) later lines were lost`, said)
		assert.Less(t, strings.Index(said, "n=0\n"), strings.Index(said, fmt.Sprintf("n=%d\n", mostJournal-1)), "in their order")
	})
}

func TestClosingWaitsForAStoppedTerminalNotForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		terminal := &stopped{goOn: make(chan struct{})}
		j := newJournal(terminal)
		fmt.Fprintln(j, "all outputs off")
		j.Close() // returns
		close(terminal.goOn)
		<-j.done
		assert.Equal(t, "all outputs off\n", terminal.String())
	})
}

// Whoever read the daemon's words goes away: fumarium run 2>&1 | less, and q. A
// program that dies of that leaves its outputs to the kernel.
func TestADaemonThatNobodyReadsRunsOn(t *testing.T) {
	d := startDaemon(t, "--pace", "10000")
	d.line("batch running")
	require.NoError(t, d.pipe.Close())
	require.Eventually(t, func() bool { return d.status().State == "complete" }, time.Minute, 50*time.Millisecond)
	require.NoError(t, d.cmd.Process.Signal(os.Interrupt))
	_ = d.cmd.Wait()
	assert.Equal(t, exitGood, d.cmd.ProcessState.ExitCode(), d.cmd.ProcessState)
}

// The line to the board is lost, and with it the terminal: everything off, then the end.
func TestALostTerminalEndsTheDaemonInOrder(t *testing.T) {
	// These tests may run under nohup, whose deafness the daemon would inherit.
	heard := make(chan os.Signal, 1)
	signal.Notify(heard, syscall.SIGHUP)
	defer signal.Stop(heard)
	d := startDaemon(t, "--pace", "1000")
	d.line("batch running")
	assert.Equal(t, exitGood, d.end(syscall.SIGHUP), "ended by itself, not by the signal")
}
