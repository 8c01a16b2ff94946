// Package sensors says what one sample of one probe is: a Reading is a
// temperature that may be used, or a status that says why there is none. It
// never substitutes a number for a missing one.
package sensors

import (
	"math"

	"fumarium/profile/quantity"
)

// A Status says whether a reading may be used and, if not, why.
type Status uint8

const (
	// Unread is the zero value: no sample was taken, or the probe is not fitted.
	Unread Status = iota
	// Good marks the only readings that carry a usable number.
	Good
	// Open is a broken or unplugged wire.
	Open
	// ShortToGround and ShortToSupply are shorted wires.
	ShortToGround
	ShortToSupply
	// OutOfRange is a value the probe cannot have measured.
	OutOfRange
	// Stale is an old value that the front end reports again.
	Stale
	// BusError is a front end that did not answer or answered nonsense.
	BusError
	// Implausible is a value that the physics of the place rules out.
	Implausible
)

var statusText = [...]string{
	Unread: quantity.NotRead, Good: "good", Open: "open circuit",
	ShortToGround: "shorted to ground", ShortToSupply: "shorted to supply",
	OutOfRange: "out of range", Stale: "stale", BusError: "bus error",
	Implausible: "implausible",
}

func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return quantity.Unknown
}

// A Reading is one sample of one probe. Its zero value is "not read".
type Reading struct {
	status      Status
	temperature quantity.Celsius // reached only through Value
}

// At is a good reading of temperature t. A t that is not finite, or below
// absolute zero, gives an OutOfRange fault instead.
func At(t quantity.Celsius) Reading {
	if !(t >= quantity.AbsoluteZero && t <= math.MaxFloat64) {
		return Reading{status: OutOfRange}
	}
	return Reading{status: Good, temperature: t}
}

// Fault is a reading that carries no number, only the reason. Asking for a
// fault named Good is a mistake of our own code and gives Unread.
func Fault(s Status) Reading {
	if s == Good {
		s = Unread
	}
	return Reading{status: s}
}

// Status reports why the reading may or may not be used.
func (r Reading) Status() Status { return r.status }

// Value reports the temperature, and false when the reading may not be used.
func (r Reading) Value() (quantity.Celsius, bool) {
	return r.temperature, r.status == Good
}
