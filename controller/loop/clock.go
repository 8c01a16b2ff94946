package loop

import (
	"time"

	"fumarium/controller"
	"fumarium/controller/record"
)

// worn is the share of a relay's rated cycles from which on a person is told; an own
// magnitude, no source.
const worn = 0.9

// witness adds to the inputs what the loop knows of itself: whether the record is
// being kept, whether the time of day is known, and what happened while it was away.
func (l *Loop) witness(in *controller.Inputs) {
	if l.cfg.Record != nil {
		h := l.cfg.Record.Health()
		in.RecordFailing, in.DiskLow = !h.OK, h.DiskLow
		l.snap.RecordErrors, l.snap.RecordKept = h.Errors, true
	}
	if l.cfg.Panel != nil {
		in.Panel = l.cfg.Panel()
	}
	if l.cfg.Wear != nil {
		l.snap.RelayWear, l.snap.WearKnown = l.cfg.Wear()
		in.RelayWorn = l.snap.WearKnown && l.snap.RelayWear >= worn
	}
	if l.cfg.Drift != nil {
		in.Drift = l.cfg.Drift(l.cfg.Cabinet)
	}
	in.CopiesFail = l.cfg.CopiesFail != nil && l.cfg.CopiesFail()
	if l.first {
		l.first, in.PowerLost, in.Away = false, true, l.cfg.Resume.Recovery.Away
	}
	if l.cfg.Pace != 0 {
		return // the virtual clock is right by definition
	}
	now, up := time.Now(), l.cfg.Up()
	in.ClockUnset, l.synced = !ClockSet(now), l.cfg.Synced()
	if !l.wall.IsZero() {
		apart := now.Round(0).Sub(l.wall.Round(0)) - (up - l.up) // wall against what has passed
		in.ClockStepped = apart > clockStep || apart < -clockStep
	}
	l.wall, l.up = now, up
	if l.state.Begun && !in.PowerLost && in.Elapsed-l.state.Elapsed > controller.ShortAbsence {
		// The computer slept, or let nobody run: away is away.
		in.PowerLost, in.Away = true, controller.AwayByBoot
	}
	l.tell(in, now)
}

// tell adds what the clock has come to show of an absence of which nobody knew how long
// it was.
func (l *Loop) tell(in *controller.Inputs, now time.Time) {
	from, back, unknown := l.state.AbsenceUnknown()
	if !unknown || in.PowerLost || !l.synced || !l.left.Synced {
		return
	}
	// A clock that shows less than the computer has been up for shows nothing.
	if lasted := now.Round(0).Sub(l.left.Wall) - (in.Elapsed - back); lasted >= back-from {
		in.Away, in.AwayFor = controller.AwayByClock, lasted
	}
}

// clockStep is how far the time of day must jump to be worth a word; common
// practice, no source.
const clockStep = 2 * time.Second

// ClockSet reports whether the time of day can be right, which is good enough for the
// name of a batch: a board without a clock chip wakes up in 1970, or where it last wrote
// a file. Nothing is decided by it.
func ClockSet(t time.Time) bool { return t.Year() >= 2026 }

// moment is the time of day as it is recorded, so that the page shows the same before
// and after a restart.
func (l *Loop) moment(elapsed time.Duration) record.Moment {
	wall := l.now(elapsed).Truncate(time.Millisecond)
	return record.Moment{Wall: wall, ClockSet: l.cfg.Pace != 0 || ClockSet(wall), Synced: l.synced}
}
