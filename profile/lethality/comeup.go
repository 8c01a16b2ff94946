package lethality

import (
	"time"

	"fumarium/profile/quantity"
)

// A ComeUpRule limits the time in which Staphylococcus aureus could grow and make
// toxin that no later heat destroys: the total time of the core between From and
// To while it heats up. The core of every sausage counts; for intact muscle the
// surface may, with scientific support (FSIS Cooking Guideline, 2021).
//
// Time counts until the product has had its lethality, which the caller knows: what falls
// into the band again before that, and rises a second time, counts as well. Time that nobody
// saw counts in full.
type ComeUpRule struct {
	From, To quantity.Celsius
	Limit    time.Duration
}

// ComeUpWithin is the published rule, 50 to 130 °F in 6 h, with the band widened
// by what the probe may be wrong.
func ComeUpWithin(probeError quantity.Kelvin) ComeUpRule {
	e := quantity.Celsius(probeError)
	return ComeUpRule{From: ComeUpBand.From - e, To: ComeUpBand.To + e, Limit: ComeUpBand.Limit}
}

// A ComeUp is what a ComeUpRule has counted so far. Zero has seen nothing. It
// compares with ==.
type ComeUp struct {
	Time  time.Duration `record:"time"`
	Begun bool          `record:"begun"` // the core was seen
	Done  bool          `record:"done"`  // the core has reached the upper end
	// Unproven is set when the core was first seen above the band: how it got
	// there is not known.
	Unproven bool `record:"unproven"`
}

// Add counts a straight line that was seen at both ends.
func (r ComeUpRule) Add(u ComeUp, from, to quantity.Celsius, dt time.Duration) ComeUp {
	if !(from >= coldest && from <= hottest && to >= coldest && to <= hottest) || dt < 0 {
		return r.Gap(u, dt)
	}
	if !u.Begun {
		u.Begun, u.Unproven = true, from >= r.To
	}
	u.Done = u.Done || from >= r.To || to >= r.To
	u.Time += above(from, to, r.From, dt) - above(from, to, r.To, dt)
	return u
}

// Gap counts time in which the core was not seen.
func (r ComeUpRule) Gap(u ComeUp, dt time.Duration) ComeUp {
	if u.Begun && dt > 0 {
		u.Time += dt
	}
	return u
}

// Pass reports whether the come-up is over and was short enough.
func (r ComeUpRule) Pass(u ComeUp) bool { return u.Done && !u.Unproven && u.Time <= r.Limit }

// Failed reports whether the limit is broken already.
func (r ComeUpRule) Failed(u ComeUp) bool { return u.Time > r.Limit }
