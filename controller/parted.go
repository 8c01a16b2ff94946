package controller

import (
	"fmt"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// What it takes at the least; common practice, no source.
const (
	plugTakes = 3 * time.Second  // to pull a probe's plug and to push in another
	stopTakes = 30 * time.Second // to stop the program before that, and to start it after, by hand
)

// parting is what is known of core probes that were out of sight in a batch, a bit for each:
// after a loose plug, a bus that did not answer, a power cut. Somebody may have put in another
// one. That a step came late, or the program was soon up again with its computer never off,
// has nothing to do with a plug.
type parting struct {
	// parted may be others than at the start: neither what was shown in ice water before nor
	// a calibration speaks for what is there now.
	parted uint8 `record:"parted_mask"`
	// counted have read, since nothing speaks for them, what others read otherwise.
	counted uint8 `record:"counted_mask"`
	// never were parted after that: ice water shows what is there now, and not what was.
	never uint8 `record:"never_shown_mask"`
	// met are the rules, a bit for each, that were met while every probe was shown.
	met uint16 `record:"met_before_mask"`
}

// parts judges core probes that come back into sight. One that reads as it did, within its
// tolerance and what a core can have moved, and so far from its board that another would
// read otherwise, is the one that it was. It looks at what the cores' memory holds of the
// step before.
func (e *evidence) parts(t *step) {
	if !t.before.active || t.s.Edition < proof.OneProbe {
		return
	}
	away := t.dt
	switch {
	case t.in.PowerLost && t.in.Away == AwayByBoot:
		away = max(0, t.dt-stopTakes)
	case t.late && !t.in.PowerLost:
		away = 0
	}
	for i := range t.s.Core.probes {
		p := &t.s.Core.probes[i]
		v, ok := t.in.Core[i].Value()
		if t.in.PowerLost && t.in.Away == AwayUnknown {
			p.hasSeen = false // nobody knows how far it can have moved
		}
		if !ok || p.unseen > 0 || t.in.PowerLost {
			p.unseen += away
		}
		if !ok {
			continue
		}
		leftOut := !p.inUse && t.s.Core.without>>i&1 != 0
		if leftOut || p.inUse && p.unseen > plugTakes && !t.sameCore(i, v) {
			e.part(t, i, p.unseen)
		}
		p.unseen = 0
	}
}

// sameCore reports whether a probe that reads v after it was out of sight can be no other.
func (t *step) sameCore(i int, v quantity.Celsius) bool {
	p, fitted := &t.s.Core.probes[i], t.m.cabinet.ProbeOf(cabinet.CoreProbe, i)
	if !p.hasSeen || fitted == nil {
		return false
	}
	board, known := t.in.Board.Value()
	band := t.m.tolerance[cabinet.MaxChamberProbes+i] + quantity.Kelvin(offUnseen*seconds(p.ago+t.dt)+offByNoise*min(p.course.rough, roughest))
	return magnitude(quantity.Kelvin(v-p.seen)) <= band && fitted.AnotherIsOff(v, board, known) > 2*band
}

// part forgets what spoke for a probe.
func (e *evidence) part(t *step, i int, unseen time.Duration) {
	bit := uint8(1) << i
	p := &e.probes[cabinet.MaxChamberProbes+i]
	if e.needs(t.s, i) {
		e.never |= e.counted & bit
	} else if !e.unshown && !e.misled {
		e.met |= t.met()
	}
	if e.parted&bit == 0 || p.ice == shownRight {
		t.event(Event{Kind: Parted, Probe: uint8(i + 1), For: unseen})
	}
	e.parted |= bit
	if p.ice == shownRight {
		p.ice, p.inIce, p.since = shownNothing, 0, 0
	}
}

// met are the rules that are met by what is claimed now, a bit for each.
func (t *step) met() (bits uint16) {
	rules := t.s.Rules(t.m.product)
	for rule, j := range proof.Judge(&rules, &t.s.Claim, false) {
		if j.Answer == proof.Met {
			bits |= 1 << rule
		}
	}
	return bits
}

// needs reports whether only ice water can show core i to be right, and has not.
func (e *evidence) needs(s *State, i int) bool {
	return (s.unshown|e.parted)>>i&1 != 0 && e.probes[cabinet.MaxChamberProbes+i].ice != shownRight
}

// counts notes which cores that nothing speaks for have read what others read otherwise.
func (e *evidence) counts(t *step, i int) {
	bit := uint8(1) << i
	v, ok := t.in.Core[i].Value()
	board, known := t.in.Board.Value()
	fitted := t.m.cabinet.ProbeOf(cabinet.CoreProbe, i)
	switch {
	case !e.needs(t.s, i):
		e.counted &^= bit
	case ok && fitted != nil && (!known || fitted.AnotherIsOff(v, board, known) > 0):
		e.counted |= bit
	}
}

// parted says the event in words.
func (e *Event) parted() string {
	return fmt.Sprintf("core probe %d gave no reading for %s, and what it reads now does not show that it is still the same probe: what it measures from here on shows nothing until it is shown right. To show it, %s", e.Probe, quantity.FormatDuration(e.For), toShow)
}
