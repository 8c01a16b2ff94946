// Package chilling judges whether a cooked product was cooled fast enough that
// the spores which every cook leaves behind, Clostridium perfringens above all,
// could not grow out (stabilization). It follows one temperature, the hottest core,
// and gives the time of each leg against its limit. It reads no file and knows
// nothing of how the product was cooked.
//
// The limits stand in rules.go, with their texts. The target behind them is at most one
// log10 of growth of C. perfringens and none of C. botulinum.
package chilling

import (
	"fmt"
	"math"
	"time"

	"fumarium/profile/quantity"
)

const (
	// Stay is how long the product must have been at or below a rule's last
	// temperature, unbroken, until the chill is over and a rise, as in blooming,
	// takes nothing back. Common practice, no source.
	Stay = 10 * time.Minute
	// UnseenRise is how fast the core may have warmed, in K per minute, while
	// nobody saw it. The thinnest product warms in a still room at about 0.6.
	// Common practice, no source.
	UnseenRise = 1.0

	coldest  quantity.Celsius = -100
	hottest  quantity.Celsius = 200
	maxLegs                   = 3
	rounding                  = time.Microsecond // a crossing on a whole second comes out as one
	slack                     = time.Millisecond // lost in interpolating; a time within it of a limit is at the limit
)

// A Limit is the longest time that the product may take from one temperature down
// to another, or from the end of the cook. Reaching it exactly passes.
type Limit struct {
	FromEnd  bool // of the cook: From then means nothing
	From, To quantity.Celsius
	Within   time.Duration
}

// Begins says where the limit's time begins.
func (l Limit) Begins(write func(quantity.Celsius) string) string {
	if l.FromEnd {
		return "the end of the cook"
	}
	return write(l.From)
}

// A Rule is one published way to chill. Rules are shared and never written to.
type Rule struct {
	Name   string
	Source string
	Limits []Limit // highest From first, then highest To; at most three
	// NitritePPM is the least ingoing sodium nitrite that the rule asks for; 0 is
	// none.
	NitritePPM float64
	// ErythorbatePPM is the least ingoing sodium erythorbate or ascorbate that the
	// 2021 revision adds. That there must be some is read in the cooking guideline of
	// 2021 (gap 6); the figure is recalled from memory: worth a warning, not a refusal.
	ErythorbatePPM float64
	// SaltPercent is the least salt in the water of the product, salt / (salt + water),
	// that the rule asks for; 0 is none.
	SaltPercent float64
	// Intact rules are for muscle that was not ground, pumped, tumbled or tenderized.
	Intact bool
	// StartWithin is how long after the end of the cook the first leg must have begun; 0
	// is not limited.
	StartWithin time.Duration
	// OnTo is where the chill has to go on to after the last leg, in a time that is not
	// limited; 0 is nowhere.
	OnTo quantity.Celsius
	// Remarks are what else is to be known of the rule.
	Remarks []string
	// ProbeError widens every leg at both ends by what the probe may be wrong.
	ProbeError quantity.Kelvin
}

// End is the temperature at which the chill is over.
func (r *Rule) End() quantity.Celsius { return r.Limits[len(r.Limits)-1].To }

// Allowing is the rule for a probe that may be so much wrong.
func (r *Rule) Allowing(probeError quantity.Kelvin) *Rule {
	d := *r
	d.ProbeError = probeError
	return &d
}

// AllowsNitrite reports whether the cure is enough for the rule, and says why not.
// known is false for a cure that was not stated.
func (r *Rule) AllowsNitrite(ppm float64, known bool) (reason string, ok bool) {
	switch {
	case r.NitritePPM == 0:
		return "", true
	case !known:
		return fmt.Sprintf("%s needs at least %g ppm of ingoing sodium nitrite, and none was stated", r.Name, r.NitritePPM), false
	case !(ppm >= r.NitritePPM):
		return fmt.Sprintf("%s needs at least %g ppm of ingoing sodium nitrite; %g ppm was stated", r.Name, r.NitritePPM, ppm), false
	}
	return "", true
}

// AllowsSalt reports whether there is enough salt in the water.
func (r *Rule) AllowsSalt(percent float64) bool {
	return r.SaltPercent == 0 || percent >= r.SaltPercent
}

// phase is how far a leg has come.
type phase uint8

const (
	waiting phase = iota // never seen at the upper temperature
	above
	running
	ended // at or below the lower temperature, so far
)

type leg struct {
	phase  phase         `record:"phase"`
	failed bool          `record:"failed"` // the limit was exceeded, and nothing takes that back
	start  time.Duration `record:"start"`
	end    time.Duration `record:"end"`
	worst  time.Duration `record:"worst"` // the longest time beyond the limit
}

// A State is what a rule has seen so far. The zero State has seen nothing. It
// holds no pointer and no NaN and compares with ==. It belongs to the rule that
// made it.
type State struct {
	now    time.Duration    `record:"now"`
	unseen time.Duration    `record:"unseen"` // since the last reading
	seen   bool             `record:"seen"`
	done   bool             `record:"done"` // chilled to the end: see Stay
	last   quantity.Celsius `record:"last_celsius"`
	legs   [maxLegs]leg     `record:"leg"`
}

// Add follows the hottest core along a straight line that was seen at both ends.
// Nothing before the product was cooked is cooling; of limits from the end of the cook
// Begin says when that was. Splitting a line changes nothing. A reading that food cannot have counts as not seen.
//
// A leg starts when the product was last above its upper temperature and ends when
// it first stays at or below its lower one. Heating it up again starts the leg
// anew but does not take back a limit that was exceeded.
func (r *Rule) Add(s State, from, to quantity.Celsius, dt time.Duration) State {
	// Written so that NaN fails it.
	if !(from >= coldest && from <= hottest && to >= coldest && to <= hottest) || dt < 0 {
		return r.Gap(s, dt)
	}
	if !s.seen || s.unseen > 0 || from != s.last {
		r.arrive(&s, from)
	}
	if dt > 0 {
		r.move(&s, from, to, dt)
	} else if to != from {
		s.last = from
		r.arrive(&s, to)
	}
	s.last = to
	return s
}

// Gap says that the product was not seen for dt. The clocks of the legs go on; what
// may have happened meanwhile is settled against the product at the next reading.
func (r *Rule) Gap(s State, dt time.Duration) State {
	if !s.seen && !r.begun(&s) || dt <= 0 {
		return s
	}
	s.now += dt
	if s.seen {
		s.unseen += dt
	}
	if !s.done {
		r.judge(&s)
	}
	return s
}

// Begin says that the cook has ended. Said twice, the first time counts.
func (r *Rule) Begin(s State) State {
	for i := range r.Limits {
		l := &s.legs[i]
		if !r.Limits[i].FromEnd || l.phase != waiting {
			continue
		}
		l.phase, l.start = running, s.now
		if _, to, _ := r.limit(i); s.seen && s.unseen == 0 && s.last <= to { // it was cold before
			l.phase, l.end = ended, s.now
		}
	}
	return s
}

// begun reports whether a leg from the end of the cook is on its way.
func (r *Rule) begun(s *State) bool {
	for i := range r.Limits {
		if r.Limits[i].FromEnd && s.legs[i].phase != waiting {
			return true
		}
	}
	return false
}

// limit is a leg's temperatures as the probe must show them. One that begins with the end
// of the cook begins at no temperature.
func (r *Rule) limit(i int) (from, to quantity.Celsius, within time.Duration) {
	e := quantity.Celsius(r.ProbeError)
	from, to, within = r.Limits[i].From+e, r.Limits[i].To-e, r.Limits[i].Within
	if r.Limits[i].FromEnd {
		from = quantity.Celsius(math.Inf(1))
	}
	return from, to, within
}

// top is above what a chilled product may be hot again, by a probe that may read too low.
func (r *Rule) top() quantity.Celsius {
	for i := range r.Limits {
		if !r.Limits[i].FromEnd {
			return r.Limits[i].From - quantity.Celsius(r.ProbeError)
		}
	}
	return hottest
}

// arrive takes a reading that the last line did not lead to.
func (r *Rule) arrive(s *State, t quantity.Celsius) {
	possible := max(t, s.possible())
	if s.done {
		r.reheated(s, t)
	} else {
		for i := range r.Limits {
			from, to, within := r.limit(i)
			l := &s.legs[i]
			switch {
			case t > from:
				switch l.phase {
				case running, ended: // it came up through the leg
					l.judge(s.now, within)
				case above: // it may have been down in the leg and come up again
					up := time.Duration(float64(t-from) / UnseenRise * float64(time.Minute))
					l.start = s.now - s.unseen
					l.judge(s.now-up, within)
				}
				l.phase = above
				continue
			case l.phase == waiting && t == from:
				l.phase, l.start = running, s.now
			case l.phase == above:
				// It may have come down right after it was last seen.
				l.phase, l.start = running, s.now-s.unseen
			case l.phase == ended && t > to:
				l.phase = running
			case l.phase == ended && s.unseen > 0 && possible > to:
				l.end = s.now
			}
			if l.phase == running && t <= to {
				l.phase, l.end = ended, s.now
			}
		}
		r.judge(s)
	}
	s.seen, s.unseen = true, 0
}

// possible is how warm the product may have become since it was last seen.
func (s *State) possible() quantity.Celsius {
	if !s.seen {
		return coldest
	}
	return s.last + quantity.Celsius(UnseenRise*s.unseen.Minutes())
}

// ended reports whether leg i is over and nothing unseen casts doubt on it.
func (r *Rule) ended(s *State, i int) bool {
	_, to, _ := r.limit(i)
	return s.legs[i].phase == ended && (s.done || s.unseen == 0 || s.possible() <= to)
}

// reheated starts everything anew when a chilled product is hot again.
func (r *Rule) reheated(s *State, t quantity.Celsius) {
	if t > r.top() {
		s.done = false
		for i := range r.Limits {
			if from, _, _ := r.limit(i); t > from && !r.Limits[i].FromEnd {
				s.legs[i].phase = above
			} else {
				s.legs[i].phase, s.legs[i].start = running, s.now
			}
		}
	}
}

// move follows a line of more than no time.
func (r *Rule) move(s *State, a, b quantity.Celsius, dt time.Duration) {
	at := func(t quantity.Celsius) time.Duration {
		part := float64(t-a) / float64(b-a)
		return s.now + time.Duration(part*float64(dt)).Round(rounding)
	}
	end := s.now + dt
	// The last limit has the lowest temperature: whether it has been kept for Stay
	// decides if a rise may still take anything back.
	last := &s.legs[len(r.Limits)-1]
	if _, to, _ := r.limit(len(r.Limits) - 1); !s.done && last.phase == ended {
		until := end
		if b > to {
			until = at(to)
		}
		s.done = until-last.end >= Stay-slack
	}
	if s.done {
		s.now = end
		r.reheated(s, b)
		return
	}
	for i := range r.Limits {
		from, to, within := r.limit(i)
		l := &s.legs[i]
		switch {
		case b < a:
			if l.phase == above && b <= from {
				l.phase, l.start = running, at(from)
			}
			if l.phase == running && b <= to {
				l.phase, l.end = ended, at(to)
			}
		case b > a:
			if l.phase == ended && b > to {
				l.phase = running
			}
			switch {
			case b > from:
				if l.phase == running {
					l.judge(at(from), within)
				}
				l.phase = above
			case b == from && l.phase == waiting:
				l.phase, l.start = running, end
			}
		}
	}
	s.now = end
	if last.phase == ended && s.now-last.end >= Stay-slack {
		s.done = true
	}
	r.judge(s)
}

// judge holds every leg under way against its limit.
func (r *Rule) judge(s *State) {
	for i := range r.Limits {
		l := &s.legs[i]
		switch l.phase {
		case running:
			l.judge(s.now, r.Limits[i].Within)
		case ended:
			l.judge(l.end, r.Limits[i].Within)
		}
	}
}

func (l *leg) judge(now, within time.Duration) {
	if took := now - l.start; took > within+slack {
		l.failed = true
		l.worst = max(l.worst, took)
	}
}

// A Leg is the verdict on one limit.
type Leg struct {
	Limit
	Begun, Ended bool
	// Took is the time of the leg, so far unless it has ended. For a leg that broke
	// its limit it is the longest such time.
	Took time.Duration
	Pass bool
}

// Legs gives the verdict on each limit.
func (r *Rule) Legs(s State) []Leg {
	legs := make([]Leg, len(r.Limits))
	for i := range r.Limits {
		l := s.legs[i]
		v := Leg{Limit: r.Limits[i], Begun: l.phase >= running || l.failed, Ended: r.ended(&s, i), Pass: r.ended(&s, i) && !l.failed}
		switch l.phase {
		case running:
			v.Took = s.now - l.start
		case ended:
			v.Took = l.end - l.start
		}
		v.Took = max(v.Took, l.worst)
		legs[i] = v
	}
	return legs
}

// Pass reports whether every leg has ended in time.
func (r *Rule) Pass(s State) bool {
	for i := range r.Limits {
		if !r.ended(&s, i) || s.legs[i].failed {
			return false
		}
	}
	return true
}

// Failed reports whether a limit is broken already, so that nothing can pass it.
func (r *Rule) Failed(s State) bool {
	for i := range r.Limits {
		if s.legs[i].failed {
			return true
		}
	}
	return false
}

// Nearly reports whether a leg under way has used more than share of its limit.
func (r *Rule) Nearly(s State, share float64) bool {
	for i := range r.Limits {
		if l := &s.legs[i]; l.phase == running && float64(s.now-l.start) > share*float64(r.Limits[i].Within) {
			return true
		}
	}
	return false
}

// Done reports whether the product has been chilled to the end and has stayed so.
func (r *Rule) Done(s State) bool { return s.done }

// A Point is one reading of the hottest core. One that is not finite stands for a
// reading that is missing.
type Point struct {
	At          time.Duration
	Temperature quantity.Celsius
}

// Over follows a whole record from the end of the cook on, straight from point to point.
// Points must not go back in time.
func (r *Rule) Over(points []Point) (s State) {
	s = r.Begin(s)
	read := false // the point before
	for i, b := range points {
		now := quantity.Finite(float64(b.Temperature))
		switch {
		case i == 0:
		case read && now:
			a := points[i-1]
			s = r.Add(s, a.Temperature, b.Temperature, b.At-a.At)
		default:
			s = r.Gap(s, b.At-points[i-1].At)
		}
		if now && !read {
			s = r.Add(s, b.Temperature, b.Temperature, 0)
		}
		read = now
	}
	return s
}
