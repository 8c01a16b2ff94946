package controller

import (
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// What is believed of a core probe; common practice, no source. See course.go, too.
const (
	coreWithAir      quantity.Kelvin  = 3                // so near to the chamber, and
	coreMovesWithAir quantity.Kelvin  = 5                // moving so far along with it: it hangs in the air
	coreMovesWithin                   = 15 * time.Minute // in which the thinnest stick lags by more than that
	coreFrozen                        = 30 * time.Minute // bit for bit the same, beside what the piece may take to move
	meatDiffusivity                   = 1.3e-7           // m²/s, a usual value for lean meat
	coreAir          quantity.Kelvin  = 5                // between core and chamber: then a real core moves
	coreOverChamber  quantity.Kelvin  = 5
	coreSettles                       = 2 * time.Minute // after a hand step, the probe may have been moved
	coreWarms                         = 5 * time.Minute // what has just been hung is not as warm as the air after
	meatComesIn      quantity.Celsius = 30              // colder than this
)

// coreMemory is what the step remembers of the product's core. It is known only while
// every probe that has ever answered in this batch still does: the lost one might be
// the coldest.
type coreMemory struct {
	Coldest    sensors.Reading                  `record:"cores.coldest"` // unread unless every core probe in use is good
	Hottest    sensors.Reading                  `record:"cores.hottest"`
	probes     [cabinet.MaxCoreProbes]coreProbe `record:"core"`
	highest    quantity.Celsius                 `record:"cores.highest_celsius"` // that the chamber was, since the batch began
	hasHighest bool                             `record:"cores.highest_known"`
	moved      time.Duration                    `record:"cores.moved"`         // when a probe was last free to be moved
	hung       time.Duration                    `record:"cores.hung"`          // when the first hand step last waited
	without    uint8                            `record:"cores.left_out_mask"` // probes that a person has left out
}

// coreProbe is one probe in the meat, or not in it.
type coreProbe struct {
	probe     probeWatch       `record:"probe"`
	course    course           `record:"course"`
	inUse     bool             `record:"in_use"` // it gave a good reading since the batch began
	silent    time.Duration    `record:"silent"` // no usable reading for so long
	out       bool             `record:"out"`    // it left the meat, until a person says that it is back
	reseated  bool             `record:"sworn"`  // a person says that it is back
	leftAt    quantity.Celsius `record:"left_at_celsius"`
	seen      quantity.Celsius `record:"seen_celsius"` // as it was last believed
	hasSeen   bool             `record:"seen"`
	ago       time.Duration    `record:"seen_ago"`
	unseen    time.Duration    `record:"unseen"`   // somebody may have exchanged it for so long
	gone      time.Duration    `record:"left_for"` // since it left the meat
	frozen    bool             `record:"frozen"`
	tooHot    bool             `record:"too_hot"`
	near      bool             `record:"near"`                 // to the chamber's temperature
	nearAir   quantity.Celsius `record:"near_chamber_celsius"` // chamber when it came near
	nearCore  quantity.Celsius `record:"near_core_celsius"`    // core then
	nearSince time.Duration    `record:"near_since"`
}

func (p *coreProbe) distrusted() bool { return p.out || p.frozen || p.tooHot }

// follow takes the core readings in, after those of the chamber.
func (c *coreMemory) follow(t *step) {
	s := t.s
	stage := t.stage()
	chamber, chamberKnown := s.Chamber.Reading.Value()
	if s.Batch.Active() && chamberKnown && (!c.hasHighest || chamber > c.highest) {
		c.highest, c.hasHighest = chamber, true
	}
	if stage == nil || s.Asking && s.Stage == 0 {
		c.moved, c.hung = t.in.Elapsed, t.in.Elapsed
	}
	place := profile.Chamber
	if stage != nil {
		place = stage.Place
	}
	a := air{
		chamber: chamber, place: place, around: stage != nil && place == profile.Chamber && chamberKnown, stage: stage,
		settled: c.settled(t) || s.StageEntered > c.moved,
	}
	var coldest, hottest quantity.Celsius
	answering, all := 0, true
	for i := range c.probes {
		p := &c.probes[i]
		v, ok := c.believed(t, p, t.in.Core[i], &a)
		if ok {
			if answering == 0 || v < coldest {
				coldest = v
			}
			if answering == 0 || v > hottest {
				hottest = v
			}
			answering++
			p.inUse = true
		}
		all = all && (ok || !p.inUse)
	}
	c.Coldest, c.Hottest = sensors.Reading{}, sensors.Reading{}
	if answering > 0 && all {
		c.Coldest, c.Hottest = sensors.At(coldest), sensors.At(hottest)
	}
}

// air is what surrounds the probes in this step.
type air struct {
	chamber quantity.Celsius
	place   profile.Place
	around  bool // they are in the chamber, and its temperature is known
	settled bool // nobody may have moved them just now
	stage   *profile.Stage
}

// believed is the value of a core that is believed, without its noise.
func (c *coreMemory) believed(t *step, p *coreProbe, r sensors.Reading, a *air) (quantity.Celsius, bool) {
	s := t.s
	was, stood := p.distrusted(), p.frozen
	if p.gone += t.dt; !p.out {
		p.gone = 0
	}
	p.ago += t.dt
	p.frozen, p.tooHot = false, false
	v, ok := r.Value()
	if !ok {
		p.probe = probeWatch{}
		p.course.unseen(t.dt)
		p.silent += t.dt
		return 0, false
	}
	p.silent = 0
	p.probe.follow(v, t.dt, s.Out.On.Has(Heater))
	dt := t.dt
	if t.late {
		p.course.unseen(dt)
		dt = 0
	}
	p.course.step(p, v, a, dt)
	apart := magnitude(quantity.Kelvin(a.chamber - v))
	p.out = c.inAir(t, p, v, a, apart) || p.out
	// What stood still in hot air is not believed for having come into ice: only once it moves.
	p.frozen = a.around && apart > coreAir && p.probe.same >= coreFrozen+t.m.coreStands || stood && p.probe.same > 0
	if s.Batch.Active() && !p.course.learnt() && v > c.highest { // it came in warmer than the chamber
		c.highest = v
	}
	p.tooHot = a.around && c.hasHighest && s.StageClock > 0 && v > c.highest+quantity.Celsius(coreOverChamber)
	t.doubted = t.doubted || p.distrusted() && !was
	// Without its noise: one sample that reads half a kelvin too much must not pass
	// for the end of a come-up that creeps.
	if !p.distrusted() && p.course.learnt() {
		p.seen, p.hasSeen, p.ago = quantity.Celsius(p.course.smooth), true, 0
	}
	return quantity.Celsius(p.course.smooth), !p.distrusted() && sensors.At(quantity.Celsius(p.course.smooth)).Status() == sensors.Good
}

// step takes a reading into the course of a probe, and says of the probe whether it has left
// the meat.
func (c *course) step(p *coreProbe, v quantity.Celsius, a *air, dt time.Duration) {
	known := *c
	left := c.follow(v, a.chamber, a.place, dt)
	if a.stage != nil && a.place == profile.Chamber && !a.around && !known.learnt() { // nobody knows whether that is the air
		c.known = max(1, known.known)
	}
	switch {
	case !left:
	case !a.settled: // it is being put in
		*c = course{level: float64(v), smooth: float64(v), known: 1}
	case !p.out:
		p.leftAt, p.out = quantity.Celsius(c.level), true
	}
}

// settled reports that nobody may have moved a probe just now. It moves into the meat in
// the first hand step and stays there. Whoever moves it later has to say so.
func (c *coreMemory) settled(t *step) bool {
	return t.in.Elapsed-c.moved >= coreSettles
}

// inAir reports whether a probe that is about as warm as the chamber hangs in it: it was
// never put in, or not put back, or it goes along with the air.
func (c *coreMemory) inAir(t *step, p *coreProbe, v quantity.Celsius, a *air, apart quantity.Kelvin) (out bool) {
	near := a.around && a.settled && apart < coreWithAir
	// Product that has just been hung is colder than a chamber that is warm.
	if near && t.m.product.Stages[0].Ask != "" && a.chamber > meatComesIn && t.in.Elapsed-c.hung < coreSettles+coreWarms {
		out = true
	}
	// It left meat of another temperature.
	if near && p.reseated && t.in.Elapsed-c.moved < coreSettles+coreWarms &&
		magnitude(quantity.Kelvin(a.chamber-p.leftAt)) > 2*coreWithAir {
		out = true
	}
	// One that comes up in the middle of a batch as warm as the hot air may never have been
	// in the meat, or be another probe on its plug; unless it was as warm before it was lost.
	if near && a.chamber > meatComesIn && !p.course.learnt() && !p.reseated && t.in.Elapsed-t.s.Started > coreSettles+coreWarms && !(p.inUse && magnitude(quantity.Kelvin(v-p.seen)) < 2*coreWithAir) {
		out = true
	}
	if !near || t.s.Batch != Running {
		p.near = false
		return out
	}
	return p.goesWithAir(v, a.chamber, t.in.Elapsed) || out
}

// goesWithAir reports whether a core that is about as warm as the air has gone along
// with it for some kelvin, and so fast that meat would have lagged behind.
func (p *coreProbe) goesWithAir(core, chamber quantity.Celsius, now time.Duration) bool {
	if !p.near || now-p.nearSince > coreMovesWithin {
		p.near = true
		p.nearAir, p.nearCore, p.nearSince = chamber, core, now
	}
	return magnitude(quantity.Kelvin(chamber-p.nearAir)) > coreMovesWithAir &&
		magnitude(quantity.Kelvin(core-p.nearCore)) > coreMovesWithAir
}

// coreStands is how long the middle of a cold thick piece may stand still in hot air:
// until a fifth of its half thickness squared over the diffusivity of meat has passed
// (Fourier number 0.2) its middle has hardly moved.
func coreStands(p *profile.Product) time.Duration {
	half := float64(p.Shape.HalfThickness())
	return time.Duration(0.2 * half * half / meatDiffusivity * float64(time.Second))
}

// inUse is a bit for each probe that gave a good reading since the batch began.
func (c *coreMemory) inUse() (bits uint8) {
	for i := range c.probes {
		if c.probes[i].inUse {
			bits |= 1 << i
		}
	}
	return bits
}

// coursesLearnt reports whether every core in use has shown its course. Of a probe that
// has just been put in nobody would see that it slips out: it ends nothing and proves
// nothing.
func (c *coreMemory) coursesLearnt() bool {
	for i := range c.probes {
		if p := &c.probes[i]; p.inUse && !p.course.learnt() {
			return false
		}
	}
	return true
}

// anyOut reports whether a probe has left the meat and nobody has said that it is back.
func (c *coreMemory) anyOut() bool {
	for i := range c.probes {
		if c.probes[i].out {
			return true
		}
	}
	return false
}

// reseat takes the word of a person that the probes which had left the meat are back.
func (c *coreMemory) reseat(now time.Duration) {
	for i := range c.probes {
		p := &c.probes[i]
		p.reseated, p.out, p.course = p.out, false, course{}
	}
	c.moved = now
}

// leaveOut goes on without the core probes that have not answered for some time: a spare
// that was unplugged, a broken cable, a piece that was taken out early. The person answers
// for it, and the record says so. One that answers again counts again. One that is silent
// for a moment is kept. The last one that is believed cannot do without the others: a
// stage that waits for a core would never end, or end for nothing.
func (c *coreMemory) leaveOut(in *Inputs, silent time.Duration) Refusal {
	left, lost := 0, 0
	for i := range c.probes {
		p := &c.probes[i]
		_, answers := in.Core[i].Value()
		switch {
		case !p.inUse:
		case answers && !p.distrusted():
			left++
		case !answers && p.silent >= silent:
			lost++
		}
	}
	switch {
	case lost == 0:
		return NoneLost
	case left == 0:
		return LastCore
	}
	for i := range c.probes {
		if p := &c.probes[i]; p.inUse && p.silent >= silent && in.Core[i].Status() != sensors.Good {
			*p = coreProbe{silent: p.silent, out: p.out, leftAt: p.leftAt}
			c.without |= 1 << i
		}
	}
	return 0
}

// stands gives the alarms of the core whose condition holds.
func (c *coreMemory) stands(t *step, stage *profile.Stage) trip.Set {
	var out, frozen, tooHot bool
	for i := range c.probes {
		p := &c.probes[i]
		out = out || p.out && (p.inUse || p.silent == 0) // one that was left out is not asked after
		frozen, tooHot = frozen || p.frozen, tooHot || p.tooHot
	}
	lost := stage != nil && c.Coldest.Status() != sensors.Good && (c.inUse() != 0 || t.m.waitsForCore(t.s.Stage))
	return trip.CoreLost.If(lost) | trip.CoreOut.If(out && t.s.Batch.Active()) | trip.CoreFrozen.If(frozen) | trip.CoreTooHot.If(tooHot)
}
