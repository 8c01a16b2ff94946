package controller

import (
	"time"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// chillWarning is the share of a cooling leg after which the person is called;
// common practice, no source.
const chillWarning = 0.8

// comeUpWarning is how long before the limit the person is called; common practice,
// no source.
const comeUpWarning = time.Hour

// prove lets the claim follow the core through this step.
func (t *step) prove() {
	s := t.s
	if !t.before.active || t.m.product == nil {
		return
	}
	l := proof.Line{
		Now: t.in.Elapsed, Step: t.dt + t.hidden, Over: !s.Batch.Active(), Complete: s.Batch == Complete && !s.Skipped(len(t.m.product.Stages)-1), Doubted: t.doubted,
		Settling: (s.Stage == 0 || s.skipped&1 != 0) && t.in.Elapsed-s.Core.hung <= coreSettles,
		// Nothing is shown across time of which nobody knows how long it was.
		Unbroken: !t.late && t.hidden == 0 && !s.Absence.unknown && t.before.coresInUse == s.Core.inUse(),
		Learnt:   s.Core.coursesLearnt(), Chilling: t.m.chills(s.Stage),
	}
	l.Air = t.air()
	l.ColdFrom, l.ColdTo, l.ColdSeen = between(t.before.coldest, s.Core.Coldest)
	l.HotFrom, l.HotTo, l.HotSeen = between(t.before.hottest, s.Core.Hottest)
	rules := t.m.rules.Rules(s.Edition, s.Where, s.CoreError)
	s.Follow(&rules, &l)
	if t.doubted && s.Evidence.met != 0 { // something of the claim was taken back
		s.Evidence.met &= t.met()
	}
}

// air is what is known of the air around the product. The damper of the last step stands,
// which is what a person was asked to set.
func (t *step) air() proof.Air {
	s := t.s
	stage := t.stage()
	if stage == nil || stage.Place != profile.Chamber || t.in.Elapsed <= s.Core.hung {
		return proof.Air{Passed: s.Stage, Skipped: s.skipped}
	}
	chamber, seen := s.Chamber.Reading.Value()
	if !seen {
		chamber = 0 // no number where there is none
	}
	return proof.Air{
		Loaded: true, Chamber: chamber, Seen: seen, Passed: s.Stage, Skipped: s.skipped, Measured: s.Wick.HasHumidity, Humidity: s.Wick.Humidity,
		Kept: s.Out.Damper <= 0 || s.Out.On.Has(Humidifier),
	}
}

func between(a, b sensors.Reading) (from, to quantity.Celsius, ok bool) {
	from, good := a.Value()
	to, ok = b.Value()
	return from, to, good && ok
}

// proofStands gives the alarms whose condition holds because a limit of food safety is
// near or over.
func (t *step) proofStands() trip.Set {
	s := t.s
	if !s.Batch.Active() {
		return 0
	}
	set := trip.ComeUpLong.If(!s.ComeUp.Done && s.ComeUp.Time > proof.ComeUp.Limit-comeUpWarning) | trip.ComeUpOver.If(proof.ComeUp.Failed(s.ComeUp))
	if t.m.product == nil {
		return set
	}
	if rules := t.m.rules.Rules(s.Edition, s.Where, 0); t.m.chills(s.Stage) || rules.Edition >= proof.ByPlace {
		long, over := rules.Late(&s.Claim, chillWarning)
		set |= trip.ChillLong.If(long) | trip.ChillOver.If(over)
	}
	return set
}
