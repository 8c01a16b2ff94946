package controller

import (
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// What probes show of themselves while nothing heats. All common practice, no source.
const (
	// A reading whose average stays within stillBand stands still: after stoodShort long
	// enough to say that it is colder than anything could have made it, after stoodLong,
	// with no heat for as long, to say what should have cooled by now. Half a minute in
	// ice water is what a sheath wants.
	stillBand   quantity.Kelvin = 0.75
	stillSmooth                 = 20 * time.Second
	stoodInIce                  = 30 * time.Second
	stoodShort                  = 2 * time.Minute
	stoodLong                   = time.Hour

	// restBand is what probes that agree may differ beside their tolerances: cold meat
	// that hangs there, walls that lag behind the day.
	restBand quantity.Kelvin = 5
	// A front end's board is as warm as the room, or warmer by what its box keeps in.
	boardWarms quantity.Kelvin = 10
	boardCools quantity.Kelvin = 3
	// What the cabinet file expects of the room, the seasons know better.
	seasons quantity.Kelvin = 15

	// No ice bath and no meat that was not frozen is colder than this.
	coldestWet quantity.Celsius = -1
	coldestFor                  = time.Minute
	// A core that stands still for so long has come to rest, and a thick one after twice what
	// it may stand still for in hot air: no less than the time constant of its piece.
	restsAfter = 45 * time.Minute
	// Ice water that is not stirred.
	iceBand quantity.Kelvin = 2
)

// Slots is how many probes are judged: those of the chamber, then those of the core.
const Slots = cabinet.MaxChamberProbes + cabinet.MaxCoreProbes

// evidence is what the probes have shown of themselves: how still they stand, and what
// they read in ice water. It outlives a batch.
type evidence struct {
	unheated time.Duration     `record:"unheated"` // nothing has heated, as far as was seen
	probes   [Slots]evidenceOf `record:"probe"`
	room     standing          `record:"room"`
	// misled says that in the batch under way, or the last one, a core probe stood as wrong
	// in ice water: nothing that the cores have shown is believed of it.
	misled bool     `record:"misled"`
	board  standing `record:"board"`
}

// standing is a reading and for how long it has stood still.
type standing struct {
	known  bool             `record:"known"`
	smooth quantity.Celsius `record:"smooth_celsius"`
	from   quantity.Celsius `record:"from_celsius"` // where it stood when that began
	still  time.Duration    `record:"still"`
}

func (w *standing) follow(r sensors.Reading, dt time.Duration) {
	v, ok := r.Value()
	switch {
	case !ok:
		*w = standing{}
		return
	case !w.known:
		*w = standing{known: true, smooth: v, from: v}
		return
	}
	w.smooth = laggedTo(w.smooth, v, seconds(dt), stillSmooth)
	if w.still += dt; magnitude(quantity.Kelvin(w.smooth-w.from)) > stillBand {
		w.from, w.still = w.smooth, 0
	}
}

// evidenceOf is what one probe has shown.
type evidenceOf struct {
	standing `record:"."`
	ice      shown            `record:"ice"`
	inIce    quantity.Celsius `record:"ice_celsius"` // what it read there

	iced time.Duration `record:"iced"` // in ice water, by the product file
	cold time.Duration `record:"cold"` // below what ice can do, without a break
}

// shown is what a probe has shown in ice water.
type shown uint8

const (
	shownNothing shown = iota
	shownRight
	shownOff
)

// reading of a slot, and the probe in the cabinet file.
func (in *Inputs) slot(i int) sensors.Reading {
	if i < cabinet.MaxChamberProbes {
		return in.Chamber[i]
	}
	return in.Core[i-cabinet.MaxChamberProbes]
}

// Slot is the probe of the cabinet that evidence numbers so, or nil: those of the chamber
// come first, then those of the core.
func Slot(c *cabinet.Cabinet, i int) *cabinet.Probe {
	if i < cabinet.MaxChamberProbes {
		return c.ProbeOf(cabinet.ChamberProbe, i)
	}
	return c.ProbeOf(cabinet.CoreProbe, i-cabinet.MaxChamberProbes)
}

// SlotOf finds the number of a probe by its name; false for none that is judged.
func SlotOf(c *cabinet.Cabinet, name string) (int, bool) {
	for i := range Slots {
		if p := Slot(c, i); p != nil && p.Name == name {
			return i, true
		}
	}
	return 0, false
}

// follow takes the readings in.
func (e *evidence) follow(t *step) {
	in := t.in
	if e.unheated += t.dt; t.s.Out.On.Has(Heater) || t.s.Out.On.Has(Smoke) || in.Heater == FeedbackOn {
		e.unheated = 0
	}
	e.room.follow(in.Ambient, t.dt)
	e.board.follow(in.Board, t.dt)
	stage := t.stage()
	iced := stage != nil && stage.Place == profile.IceWater && !t.s.Asking
	for i := range e.probes {
		p := &e.probes[i]
		p.follow(in.slot(i), t.dt)
		if i < cabinet.MaxChamberProbes {
			continue
		}
		if !iced || !p.known || t.late || t.s.Core.probes[i-cabinet.MaxChamberProbes].distrusted() {
			p.cold, p.iced = 0, 0
			continue
		}
		p.cool(t.dt, t.m.coreStands, t.m.tolerance[i])
	}
}

// cool follows a core in ice water: it can neither fall below the ice nor come to rest far
// above it. stands is for how long the piece may stand still while it heats.
func (p *evidenceOf) cool(dt, stands time.Duration, tolerance quantity.Kelvin) {
	p.iced += dt
	if p.cold += dt; p.smooth >= coldestWet {
		p.cold = 0
	}
	rested := min(p.still, p.iced) >= max(restsAfter, 2*stands)
	if p.cold >= coldestFor || rested && p.smooth > quantity.Celsius(tolerance+iceBand) {
		p.ice, p.inIce = shownOff, p.smooth
	}
}

// judge notes whether a batch goes by a core that is known to be wrong. What is shown of a
// probe after a batch changes nothing of that.
func (e *evidence) judge(t *step) {
	if !t.s.Batch.Active() {
		return
	}
	e.misled = false
	for i := cabinet.MaxChamberProbes; i < Slots; i++ {
		e.misled = e.misled || e.probes[i].ice == shownOff
	}
}

// Verdict is what can be said of the batch that runs, or is over. What wrong core probes
// have shown is not shown.
func (s *State) Verdict(r *proof.Rules, over bool) proof.Verdict {
	v := proof.Judge(r, &s.Claim, over)
	if !s.Evidence.misled {
		return v
	}
	for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Chilled} {
		if v[rule].Answer == proof.Met {
			v[rule] = proof.Judgement{Answer: proof.NotShown, Why: v[rule].Why + ", by a core probe that is wrong in ice water"}
		}
	}
	return v
}

// stands gives the alarm of a probe that has shown to be off.
func (e *evidence) stands() trip.Set {
	for i := range e.probes {
		if e.probes[i].ice == shownOff {
			return trip.CalibrationOff.If(true)
		}
	}
	return 0
}

// ice takes a person's word that the probe is in ice water, and judges what it reads.
func (t *step) ice() {
	i := int(t.in.Command.Probe) - 1
	if i < 0 || i >= Slots || Slot(t.m.cabinet, i) == nil {
		t.refuse(NoSuchProbe)
		return
	}
	p := &t.s.Evidence.probes[i]
	v, ok := t.in.slot(i).Value()
	if !ok || p.still < stoodInIce || magnitude(quantity.Kelvin(v-p.smooth)) > stillBand {
		t.refuse(NotStill)
		return
	}
	p.inIce, p.ice = p.smooth, shownRight
	if p.smooth < coldestWet || magnitude(quantity.Kelvin(p.smooth)) > t.m.tolerance[i] {
		p.ice = shownOff
	}
}

// mended forgets what ice water has shown of probes that are said to be right or mended.
func (e *evidence) mended() {
	for i := range e.probes {
		if p := &e.probes[i]; p.ice == shownOff {
			p.ice, p.inIce, p.cold, p.iced = shownNothing, 0, 0, 0
		}
	}
}
