package controller

import (
	"math"
	"slices"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// What is believed of a chamber probe; common practice, no source. The rehearsals with
// faults show what that catches and what it misses.
const (
	chamberFrozen                   = 45 * time.Minute // bit for bit the same while the heater switched
	frozenSwitching                 = 3 * time.Minute  // the heater was on, and off, for so long meanwhile,
	frozenShare                     = 30               // and for one in so many of its seconds: less heat moves next to nothing
	frozenRise      quantity.Kelvin = 10               // what full heat must have brought meanwhile
	frozenMove      quantity.Kelvin = 2.5              // what more or less heat than before must have brought
	frozenFalls                     = 0.03             // duty in usualHeat; more is not excused: frozen probes would be seen later
	frozenAbove                     = 0.05             // duty; nor is more of this
	frozenAsked                     = 5 * time.Minute  // without heat, and twice the lag of what is felt, in which anything would have fallen
	frozenTrust                     = chamberFrozen    // after it did
	chamberApart    quantity.Kelvin = 15
)

// chamberMemory is what the step remembers of the chamber and of its probes, which it
// distrusts. Whether a reading jumped is judged before the step (sensors/channel).
type chamberMemory struct {
	Reading sensors.Reading                        `record:"reading"` // mean of the probes that are believed
	probes  [cabinet.MaxChamberProbes]chamberProbe `record:"probe"`
	doubt   bool                                   `record:"doubt"` // a probe that gave a reading once does not any more
	apart   bool                                   `record:"apart"` // they read too differently
	stuck   bool                                   `record:"stuck"` // one of them should have moved
}

type chamberProbe struct {
	probeWatch `record:"."`
	inUse      bool          `record:"in_use"` // it gave a good reading since the batch began
	silent     time.Duration `record:"silent"` // no usable reading for so long
}

// probeWatch follows one probe from sample to sample.
type probeWatch struct {
	last   quantity.Celsius `record:"last_celsius"`
	has    bool             `record:"known"`
	same   time.Duration    `record:"same"`                    // since the value last changed
	on     time.Duration    `record:"heater_on"`               // of the heater, since then
	off    time.Duration    `record:"heater_off"`              // of the heater, since then
	full   time.Duration    `record:"heater_full"`             // of the heater fully on, since then
	held   float64          `record:"held_duty_ratio"`         // duty that had held the value, when it last changed
	falls  float64          `record:"falls_duty_ratio"`        // by so much in each usualHeat, then
	above  float64          `record:"above_duty_ratio"`        // by so much held was more than the element had of late, then
	rises  float64          `record:"rises_kelvin_per_second"` // what it was rising by, then
	heated float64          `record:"heated_kelvin"`           // what has reached the air since, beyond that
	moved  float64          `record:"moved_kelvin"`            // what of it the probe must have felt
	asked  time.Duration    `record:"asked"`                   // the heater rests for so long to see it move
	trust  time.Duration    `record:"trusted"`                 // for so long yet full heat asks no more, as it did
}

// follow takes a good sample in.
func (w *probeWatch) follow(v quantity.Celsius, dt time.Duration, heaterOn bool) {
	if !w.has || v != w.last {
		if w.asked > 0 {
			w.trust = frozenTrust
		}
		*w = probeWatch{last: v, has: true, held: w.held, falls: w.falls, above: w.above, rises: w.rises, trust: w.trust}
		return
	}
	w.same += dt
	if heaterOn {
		w.on += dt
	} else {
		w.off += dt
	}
}

func magnitude(k quantity.Kelvin) quantity.Kelvin {
	if k < 0 {
		return -k
	}
	return k
}

// follow arbitrates between the probes that are believed: the chamber is their mean.
func (c *chamberMemory) follow(t *step) {
	c.stuck = false
	low, high := quantity.Celsius(0), quantity.Celsius(0)
	sum, good, inUse := 0.0, 0, 0
	for i := range c.probes {
		p := &c.probes[i]
		v, ok := p.believed(t, t.in.Chamber[i])
		switch {
		case ok:
			if good == 0 || v < low {
				low = v
			}
			if good == 0 || v > high {
				high = v
			}
			sum += float64(v)
			good++
			p.inUse = true
		case p.inUse:
			c.doubt = true
		}
		if p.inUse {
			inUse++
		}
	}
	// Of two that differed and of which one is silent now nobody knows which was wrong: it
	// may be the one that still answers.
	c.apart = good > 1 && quantity.Kelvin(high-low) > chamberApart || c.apart && good < inUse
	c.doubt = c.doubt && good < inUse
	c.Reading = sensors.Reading{}
	if good > 0 {
		c.Reading = sensors.At(quantity.Celsius(sum / float64(good)))
	}
}

// believed is the value of a reading that is believed.
func (p *chamberProbe) believed(t *step, r sensors.Reading) (quantity.Celsius, bool) {
	v, ok := r.Value()
	if !ok {
		p.probeWatch = probeWatch{}
		p.silent += t.dt
		return 0, false
	}
	p.silent = 0
	p.probeWatch.follow(v, t.dt, t.s.Out.On.Has(Heater))
	if p.trust -= t.dt; p.trust < 0 || t.s.Balance.settled == 0 { // with another damper full heat brings something else
		p.trust = 0
	}
	if p.full += t.dt; t.s.Heater.Demand < fullDuty || p.same == 0 {
		p.full = 0
	}
	if p.same == 0 || t.late {
		h := &t.s.Heater
		p.held, p.falls = h.usual, min(max(0, h.before-h.usual), frozenFalls)
		p.above = 0
		if !t.m.slack {
			p.above = min(max(0, h.usual-h.element), frozenAbove)
		}
		p.rises = max(0, t.s.Balance.trend())
		p.heated, p.moved, p.full = 0, 0, 0
		return v, true
	}
	on := 0.0
	if t.s.Out.On.Has(Heater) {
		on = 1
	}
	m := t.m
	p.heated = lagged(p.heated, m.gain*(on-p.held), t.seconds, m.lagSeconds)
	p.moved = lagged(p.moved, p.heated, t.seconds, m.feltSeconds)
	still := p.same >= chamberFrozen && p.on >= max(frozenSwitching, p.same/frozenShare) && p.off >= max(frozenSwitching, p.same/frozenShare) ||
		p.full > t.risesFrom(v) && p.trust == 0 || p.moved > float64(frozenMove) || p.moved < -float64(frozenMove)-p.eases(m)
	t.s.Chamber.stuck = p.ask(t, still) || t.s.Chamber.stuck
	return v, true
}

// ask reports a probe that is frozen. One that stands still where it should have moved need
// not be: a front end of coarse steps rests on one of them while the air hardly moves, for
// hours at a steady hold. So it is asked first: the heater rests until it moves, which takes a
// minute or two, and of one that is frozen the air gets no hotter meanwhile. A batch that
// learns is not disturbed.
func (p *chamberProbe) ask(t *step, still bool) bool {
	if t.m.unasked || t.s.Learns {
		return still
	}
	if still || p.asked > 0 {
		p.asked += t.dt
	}
	return p.asked > max(frozenAsked, time.Duration(2*t.m.feltSeconds*float64(time.Second)))
}

// asks reports whether a probe is being asked.
func (c *chamberMemory) asks() bool {
	return slices.ContainsFunc(c.probes[:], func(p chamberProbe) bool { return p.asked > 0 })
}

// Unasked is the machine that takes a reading for frozen as soon as it should have moved, as
// programs did: for replaying what they recorded.
func (m *Machine) Unasked() *Machine {
	before := *m
	before.unasked = true
	return &before
}

// risesFrom is the time within which full heat brings frozenRise at a reading. Near to what
// full heat can hold at all it brings nothing more: there is no such time.
func (t *step) risesFrom(v quantity.Celsius) time.Duration {
	m := t.m
	left := m.gain - max(0, float64(v-t.s.Balance.rest(t)))
	if left <= float64(frozenRise) {
		return math.MaxInt64
	}
	return time.Duration((m.feltSeconds + m.lagSeconds*math.Log(left/(left-float64(frozenRise)))) * float64(time.Second))
}

// eases is what less heat than had held the value need not have brought, in K. As walls and
// product get warm it takes less and less to hold the air: the average is behind that by
// what it has fallen in its own length, and the fall goes on. And heat that had not held the
// value but raised it would have raised it on: less of it may just hold it, as what the
// element had of late did, where a ramp has just come to its end. More heat is never excused so.
func (w *probeWatch) eases(m *Machine) float64 {
	lag, same := m.lagSeconds+m.feltSeconds, w.same.Seconds()
	felt := 1 - math.Exp(-same/lag)
	return m.gain*(w.falls*(felt+(same-lag*felt)/usualHeat.Seconds())+w.above*felt) + w.rises*lag*felt
}

// leaveOut goes on without the chamber probe that has not answered for some time. The
// person answers for it, and the record says so: it is broken, or it was the wrong one of
// two that differed, and is unplugged. One that answers again counts again.
func (c *chamberMemory) leaveOut(in *Inputs, silent time.Duration) Refusal {
	lost, left := 0, 0
	for i := range c.probes {
		_, answers := in.Chamber[i].Value()
		switch {
		case answers:
			left++
		case c.probes[i].inUse && c.probes[i].silent >= silent:
			lost++
		}
	}
	switch {
	case lost == 0:
		return NoneLost
	case left == 0:
		return LastChamber
	}
	for i := range c.probes {
		p := &c.probes[i]
		p.inUse = p.inUse && p.silent < silent
	}
	c.doubt, c.apart = false, false
	return 0
}

// stands gives the alarms of the chamber whose condition holds.
func (c *chamberMemory) stands(t *step, stage *profile.Stage) trip.Set {
	hottest, ok := t.hottestInside(stage)
	set := trip.ChamberHigh.If(ok && hottest >= t.m.cabinet.Limits.ChamberHigh) |
		trip.ChamberDoubt.If(c.doubt && t.s.Batch.Active())
	if chamberMatters(stage) {
		set |= trip.ChamberLost.If(c.Reading.Status() != sensors.Good) | trip.ChamberFrozen.If(c.stuck) | trip.ChamberDisagree.If(c.apart)
	}
	return set
}

// chamberMatters reports whether anything hangs on the chamber probes: not while the
// product is in ice or in a room and the cabinet is off.
func chamberMatters(stage *profile.Stage) bool {
	return stage != nil && (stage.Heat || stage.Smoke || stage.Place == profile.Chamber)
}

// hottestInside is the reading the absolute limit is held against: whatever a probe
// is called, what it reads while it is in the chamber the chamber has to give. So a
// core and a chamber probe that are swapped, or a core on the floor beside the
// element, do not hide a chamber that is too hot.
func (t *step) hottestInside(stage *profile.Stage) (quantity.Celsius, bool) {
	var hottest quantity.Celsius
	found := false
	for _, r := range t.in.Chamber {
		if v, ok := r.Value(); ok && (!found || v > hottest) {
			hottest, found = v, true
		}
	}
	if stage == nil || stage.Place != profile.Chamber {
		return hottest, found
	}
	for _, r := range t.in.Core {
		if v, ok := r.Value(); ok && (!found || v > hottest) {
			hottest, found = v, true
		}
	}
	return hottest, found
}
