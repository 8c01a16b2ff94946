// Package channel is the way of a probe's readings from its front end to the
// controller: calibration, limits of the place, a median, one rule for jumps, and a
// low-pass. The live loop and the simulator both go through it, so that a rehearsal
// runs what the cabinet runs.
//
// It is where a jump is judged, and the only such place. What no probe in its place can
// do is not believed: the reading becomes a fault, and what comes back is held against
// what was last believed, also behind a loose plug. Whether a value stands still for too
// long, and what several probes of one place mean, depends on what heats them: the
// controller judges that.
//
// It never turns a fault into a number: a fault goes through as it is, and a doubt
// becomes one. It has no clock: the time comes in, and what it remembers is a value of
// the caller's.
package channel

import (
	"fmt"
	"math"
	"time"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// Settings are what one channel does. The zero Settings allow only 0 °C.
type Settings struct {
	Calibration Calibration
	// Readings outside Lowest..Highest, once corrected, are out of range.
	Lowest, Highest quantity.Celsius
	Jump            Jump
	Damping         time.Duration // time constant of the low-pass; zero is none
}

// A Jump says which change from one reading to the next is doubted. The zero Jump
// doubts none.
type Jump struct {
	// Most is how far a reading may be from the one that was last believed. One that is
	// farther is implausible until it comes back or has stayed away for Stays.
	Most  quantity.Kelvin
	Stays time.Duration
	// HotStays counts instead of Stays for readings of Hot or more: what may be a fire
	// is believed sooner than what may be a cold chamber. Zero makes no difference.
	Hot      quantity.Celsius
	HotStays time.Duration
}

const (
	// Gap is the longest pause that is bridged; common practice, no source. After a
	// longer one in good readings the median starts again; when nobody has even asked
	// for so long, all is forgotten.
	Gap = 5 * time.Second
	// Kept is for how long what was last believed counts while no good reading comes.
	// Common practice, no source.
	Kept = 2 * time.Minute
)

// Memory is what one channel remembers. The zero Memory has seen nothing. It can be
// compared.
type Memory struct {
	called bool
	at     time.Duration // of the last call

	window [2]quantity.Celsius // the last good readings, corrected, older first
	filled uint8
	good   time.Duration // when the last of them came

	known    bool
	believed quantity.Celsius // last
	when     time.Duration    // it was
	jumped   bool             // what came since is too far away
	since    time.Duration

	smooth  quantity.Celsius
	running bool // smooth is set
}

// Settled is the memory of a channel whose probe has stood still for long at a raw
// reading, as in a simulated cabinet before anything happens.
func (s *Settings) Settled(now time.Duration, raw sensors.Reading) Memory {
	v, ok := raw.Value()
	if v = s.Calibration.Correct(v); !ok || !s.allow(v) {
		return Memory{}
	}
	return Memory{
		called: true, at: now, window: [2]quantity.Celsius{v, v}, filled: 2, good: now,
		known: true, believed: v, when: now, smooth: v, running: true,
	}
}

// Lag is by how much the reading follows a steady ramp late, with readings the given
// time apart: one of them for the median, and the damping.
func (s *Settings) Lag(interval time.Duration) time.Duration { return interval + s.Damping }

// Read takes the next raw reading and gives what the controller may go by. Until the
// median has three readings there is none.
func (s *Settings) Read(m *Memory, now time.Duration, raw sensors.Reading) sensors.Reading {
	if m.called && (now < m.at || now-m.at > Gap) {
		*m = Memory{}
	}
	m.called, m.at = true, now
	if m.known && now-m.good > Kept {
		m.known, m.jumped = false, false
	}
	v, ok := raw.Value()
	if !ok {
		return raw
	}
	if v = s.Calibration.Correct(v); !s.allow(v) {
		return sensors.Fault(sensors.OutOfRange)
	}
	if v, ok = m.median(now, v); !ok {
		return sensors.Fault(sensors.Unread)
	}
	if m.known && s.Jump.Most > 0 && math.Abs(float64(v-m.believed)) > float64(s.Jump.Most) {
		if !s.Jump.believes(m, now, v) {
			return sensors.Fault(sensors.Implausible)
		}
		m.running = false // no way led here
	}
	m.jumped = false
	if s.Damping > 0 && m.running {
		share := -math.Expm1(-(now - m.when).Seconds() / s.Damping.Seconds())
		m.smooth += quantity.Celsius(share) * (v - m.smooth)
	} else {
		m.smooth, m.running = v, true
	}
	m.believed, m.known, m.when = v, true, now
	return sensors.At(m.smooth)
}

// allow reports whether a corrected value is within the limits.
func (s *Settings) allow(v quantity.Celsius) bool { return v >= s.Lowest && v <= s.Highest }

// median is that of the last three good readings; false until there are as many.
func (m *Memory) median(now time.Duration, v quantity.Celsius) (quantity.Celsius, bool) {
	if m.filled > 0 && now-m.good > Gap {
		m.filled, m.running = 0, false
	}
	a, b := m.window[0], m.window[1]
	m.window[0], m.window[1], m.good = b, v, now
	if m.filled < 2 {
		m.filled++
		return 0, false
	}
	return max(min(a, b), min(max(a, b), v)), true
}

// believes reports whether a reading has stayed for long enough where it jumped to.
func (j *Jump) believes(m *Memory, now time.Duration, v quantity.Celsius) bool {
	if !m.jumped {
		m.jumped, m.since = true, now
	}
	stays := j.Stays
	if j.HotStays > 0 && v >= j.Hot {
		stays = j.HotStays
	}
	return now-m.since >= stays
}

// Doubt says why a good raw reading became one that is not; nil where it did not.
func (s *Settings) Doubt(raw, r sensors.Reading) error {
	if raw.Status() != sensors.Good {
		return nil
	}
	switch r.Status() {
	case sensors.OutOfRange:
		return fmt.Errorf("%s: outside %v to %v; check the probe's type and its wire", r.Status(), s.Lowest, s.Highest)
	case sensors.Implausible:
		return fmt.Errorf("%s: it jumped by more than %v; check for a loose contact, or wait: what stays for %s is believed", r.Status(), s.Jump.Most, quantity.FormatDuration(s.Jump.Stays))
	}
	return nil
}
