// Package bootclock is what the computer knows of time: how long it has been up, and whether
// anybody has shown since then that its time of day is right. A time of day that merely
// looks right is no evidence: a board without a clock chip goes on from where it last
// wrote a file, and a chip with an empty battery shows whatever it likes.
package bootclock

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"fumarium/controller/record"
)

// Mark is where the unit fumarium-clock leaves its word. The folder is emptied when the
// computer starts.
const Mark = "/run/fumarium-clock/synchronised"

// A Clock is the computer's.
type Clock struct {
	Boot string               // id of this run of the computer
	Up   func() time.Duration // since its start, with the time that it slept
	Mark string               // the file that says the clock was synchronised in this run

	synced atomic.Bool
}

// This is that of this computer.
func This() *Clock {
	boot, _ := record.ThisBoot()
	return &Clock{Boot: boot, Up: up, Mark: Mark}
}

// Synced reports whether the time of day has been synchronised since the computer was
// started: whether the mark is there, and of this run. What was seen once holds.
func (c *Clock) Synced() bool {
	if c.synced.Load() {
		return true
	}
	if c.Boot == "" {
		return false
	}
	said, err := os.ReadFile(c.Mark)
	if err != nil || string(bytes.TrimSpace(said)) != c.Boot {
		return false
	}
	c.synced.Store(true)
	return true
}

// Leave writes the mark, whole or not at all.
func (c *Clock) Leave() error {
	if c.Boot == "" {
		return fmt.Errorf("this system has no boot id; without one nothing can be told from the mark")
	}
	next := filepath.Join(filepath.Dir(c.Mark), ".next")
	if err := os.WriteFile(next, []byte(c.Boot+"\n"), 0o644); err != nil {
		return fmt.Errorf("the mark of a synchronised clock: %w; give --mark a file in a folder of /run", err)
	}
	return os.Rename(next, c.Mark)
}
