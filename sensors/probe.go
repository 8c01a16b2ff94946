package sensors

import (
	"errors"
	"time"
)

// A Probe is one measured place with its front end behind it.
type Probe interface {
	// Read takes one sample. The time is that since any fixed moment; a Probe has
	// no clock of its own. A chip that needs time is not waited for: the reading
	// then says that there is none yet.
	Read(now time.Duration) Reading
	// Err says in words why the last reading was not good; it is nil after a good one.
	Err() error
}

// Reasons that every front end has in common.
var (
	// ErrStarting goes with an Unread reading.
	ErrStarting = errors.New("no conversion has finished since the chip was set up; read again")
	// ErrTooSoon goes with a Stale reading.
	ErrTooSoon = errors.New("read again before a new conversion can be ready; read less often")
)

// A Pace holds a front end to its own speed. The zero Pace is due at any time.
type Pace struct{ from, rest time.Duration }

// Rest says that after now nothing is due for the given time.
func (p *Pace) Rest(now, rest time.Duration) { p.from, p.rest = now, rest }

// Due reports whether the rest is over. A clock that went back starts it again.
func (p *Pace) Due(now time.Duration) bool {
	p.from = min(p.from, now)
	return now-p.from >= p.rest
}
