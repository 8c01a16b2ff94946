package controller

import (
	"time"

	"fumarium/controller/trip"
	"fumarium/profile/chilling"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// proofLag is how long the claim waits behind the probes. A probe that leaves the
// meat is found out within that time, and what it read since is then not claimed.
// Common practice, no source; the rehearsals with faults show that it is enough.
const proofLag = 10 * time.Second

// proving is the count that the claim follows. The claim is between one and two lags
// old.
type proving struct {
	ahead  Proof         `record:"ahead"`  // up to now
	behind Proof         `record:"behind"` // as it was when this lag began
	since  time.Duration `record:"since"`  // since then
	age    time.Duration `record:"age"`    // of the claim

	// What was claimed when a person last said that a probe is back in the meat. If it
	// then leaves it again soon, it never was.
	sworn   Proof         `record:"sworn"`
	swornAt time.Duration `record:"sworn_at"`
}

// swornFor is how long the person's word is held against the probe; common practice,
// no source.
const swornFor = 15 * time.Minute

// chillWarning is the share of a cooling leg after which the person is called;
// common practice, no source.
const chillWarning = 0.8

// comeUpWarning is how long before the limit the person is called; common practice,
// no source.
const comeUpWarning = time.Hour

// comeUp is the published rule. A probe's error is the file's business: it belongs
// into the probe's offset or the target.
var comeUp = lethality.ComeUpWithin(0)

// prove follows the core through this step: its lethality, its come-up and its
// chilling. Heat counts only between two readings of the same probes of which both
// were seen in time; time that could have harmed counts whether it was seen or not.
func (t *step) prove() {
	s, w := t.s, &t.s.proving
	if !t.before.active || t.m.product == nil {
		return
	}
	if !s.Batch.Active() { // nothing was doubted until the end
		if !t.doubted {
			s.Proof = w.ahead
		}
		return
	}
	w.age += t.dt
	if t.doubted {
		if w.swornAt > 0 && t.in.Elapsed-w.swornAt < swornFor {
			s.Proof, w.age, w.swornAt = w.sworn, t.in.Elapsed-w.swornAt, 0
		}
		unseen(t, &s.Proof, w.age)
		w.ahead, w.behind, w.since, w.age = s.Proof, s.Proof, 0, 0
		return
	}
	if s.Stage == 0 && t.in.Elapsed-s.Core.hung <= coreSettles { // the probe may still hang in the hot air
		t.prepare()
		return
	}
	coldFrom, coldTo, coldSeen := between(t.before.coldest, s.Core.Coldest)
	hotFrom, hotTo, hotSeen := between(t.before.hottest, s.Core.Hottest)
	if !coldSeen || !hotSeen || t.late || t.before.coresInUse != s.Core.inUse() {
		unseen(t, &s.Proof, t.dt)
		unseen(t, &w.behind, t.dt)
		unseen(t, &w.ahead, t.dt)
		return
	}
	learnt := s.Core.coursesLearnt()
	if c := t.m.criterion; c != nil && learnt {
		w.ahead.Heat = c.Add(w.ahead.Heat, coldFrom, coldTo, t.dt)
	} else if c != nil {
		w.ahead.Heat = c.Gap(w.ahead.Heat)
	}
	if t.m.comesUp && !w.ahead.ComeUp.Done {
		next := comeUp.Add(w.ahead.ComeUp, coldFrom, coldTo, t.dt)
		if next.Done && !learnt {
			next = comeUp.Gap(w.ahead.ComeUp, t.dt)
		}
		w.ahead.ComeUp = next
	}
	if r := t.chillRule(); r != nil && learnt {
		w.ahead.Chill = r.Add(w.ahead.Chill, hotFrom, hotTo, t.dt)
	} else if r != nil {
		w.ahead.Chill = r.Gap(w.ahead.Chill, t.dt)
	}
	if w.since += t.dt; w.since >= proofLag {
		s.Proof, w.age = w.behind, w.since
		w.behind, w.since = w.ahead, 0
	}
}

// prepare counts the come-up of product that hangs before the first hand step is
// confirmed. That it came up, or got any heat, is not believed of a probe that may not
// be in it yet.
func (t *step) prepare() {
	from, to, ok := between(t.before.coldest, t.s.Core.Coldest)
	if ok && t.m.comesUp && from < comeUp.To && to < comeUp.To {
		w := &t.s.proving
		w.ahead.ComeUp = comeUp.Add(w.ahead.ComeUp, from, to, t.dt)
		w.behind.ComeUp, t.s.ComeUp = w.ahead.ComeUp, w.ahead.ComeUp
	}
}

// unseen counts time in which the core was not seen.
func unseen(t *step, p *Proof, dt time.Duration) {
	if c := t.m.criterion; c != nil {
		p.Heat = c.Gap(p.Heat)
	}
	if t.m.comesUp && !p.ComeUp.Done {
		p.ComeUp = comeUp.Gap(p.ComeUp, dt)
	}
	if r := t.chillRule(); r != nil {
		p.Chill = r.Gap(p.Chill, dt)
	}
}

func between(a, b sensors.Reading) (from, to quantity.Celsius, ok bool) {
	from, good := a.Value()
	to, ok = b.Value()
	return from, to, good && ok
}

// chillRule is the rule that counts now, or nil while nothing is chilled.
func (t *step) chillRule() *chilling.Rule {
	if !t.s.Batch.Active() || t.m.product == nil || !t.m.chills(t.s.Stage) {
		return nil
	}
	return t.m.chill
}

// proofStands gives the alarms whose condition holds because a limit of food safety is
// near or over.
func (t *step) proofStands() trip.Set {
	s := t.s
	set := trip.Set(0)
	if s.Batch.Active() {
		set = trip.ComeUpLong.If(!s.ComeUp.Done && s.ComeUp.Time > comeUp.Limit-comeUpWarning) | trip.ComeUpOver.If(comeUp.Failed(s.ComeUp))
	}
	if r := t.chillRule(); r != nil {
		set |= trip.ChillLong.If(r.Nearly(s.Chill, chillWarning)) | trip.ChillOver.If(r.Failed(s.Chill))
	}
	return set
}
