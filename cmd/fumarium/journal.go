package main

import (
	"bytes"
	"fmt"
	"io"
	"sync/atomic"
	"time"
)

const (
	mostJournal  = 1024            // lines that wait; more are lost, and counted
	journalGrace = 2 * time.Second // for what waits at the end
)

// A journal passes lines on to a writer that may hang and never waits for it: a
// terminal stopped with Ctrl-S, or a log service that does not answer, must not keep
// the loop from switching the heater off.
type journal struct {
	lines   chan []byte
	lost    atomic.Uint64
	closing chan struct{}
	done    chan struct{}
}

func newJournal(w io.Writer) *journal {
	j := &journal{lines: make(chan []byte, mostJournal), closing: make(chan struct{}), done: make(chan struct{})}
	go j.pass(w)
	return j
}

// Write never waits and never fails.
func (j *journal) Write(line []byte) (int, error) {
	select {
	case j.lines <- bytes.Clone(line):
	default:
		j.lost.Add(1)
	}
	return len(line), nil
}

func (j *journal) pass(w io.Writer) {
	defer close(j.done)
	put := func(line []byte) {
		_, _ = w.Write(line) // there is nowhere to say that it failed
		if n := j.lost.Swap(0); n > 0 {
			fmt.Fprintf(w, "%d later lines were lost: nobody took them in time\n", n)
		}
	}
	for {
		select {
		case line := <-j.lines:
			put(line)
		case <-j.closing:
			for {
				select {
				case line := <-j.lines:
					put(line)
				default:
					return
				}
			}
		}
	}
}

// Close writes what waits, for a moment.
func (j *journal) Close() {
	close(j.closing)
	select {
	case <-j.done:
	case <-time.After(journalGrace):
	}
}
