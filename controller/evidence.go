package controller

import (
	"fmt"
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
	// For so long before a start it counts that a probe was right in ice water: the day.
	iceCounts = 24 * time.Hour
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
	misled bool `record:"misled"`
	// unshown says that in that batch a core probe counts which nothing has shown to be right.
	unshown bool `record:"unshown"`
	parting `record:"."`
	board   standing `record:"board"`
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
	since    time.Duration    `record:"ice_since"`   // it was right there

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
		if p.ice == shownRight {
			p.since += t.dt
		}
		if i < cabinet.MaxChamberProbes {
			continue
		}
		if !iced || !p.known || t.late || t.s.Core.probes[i-cabinet.MaxChamberProbes].distrusted() {
			p.cold, p.iced = 0, 0
			continue
		}
		p.cool(t.dt, t.m.coreStands, t.m.tolerance[i], t.wireShows(i))
	}
}

// cool follows a core in ice water: it can neither fall below the ice nor come to rest far
// above it. stands is for how long the piece may stand still while it heats.
// One that does come to rest where ice is has shown that it is right, if a wrong wire would
// show there.
func (p *evidenceOf) cool(dt, stands time.Duration, tolerance quantity.Kelvin, shows bool) {
	p.iced += dt
	if p.cold += dt; p.smooth >= coldestWet {
		p.cold = 0
	}
	rested := min(p.still, p.iced) >= max(restsAfter, 2*stands)
	switch {
	case p.cold >= coldestFor || rested && p.smooth > quantity.Celsius(tolerance+iceBand):
		p.ice, p.inIce = shownOff, p.smooth
	case rested && shows && p.ice == shownNothing && p.right(tolerance):
		p.ice, p.inIce, p.since = shownRight, p.smooth, 0
	}
}

// right reports whether it reads what ice water is.
func (p *evidenceOf) right(tolerance quantity.Kelvin) bool {
	return p.smooth >= coldestWet && magnitude(quantity.Kelvin(p.smooth)) <= tolerance
}

// wireShows reports whether a probe of another wire than its chip is set to would show in
// ice water now. It reads right at the temperature of its front end's board, and off in
// proportion to the distance from that: a board as cold as the ice shows nothing of it.
func (t *step) wireShows(slot int) bool {
	fitted := Slot(t.m.cabinet, slot)
	if fitted == nil {
		return false
	}
	least, couple := fitted.WarmBoard()
	board, known := t.in.Board.Value()
	return !couple || known && board >= least
}

// ofToday is the evidence that a batch begins with: what was right in ice water days ago is
// to be shown again.
func (e evidence) ofToday() evidence {
	e.parting = parting{}
	for i := range e.probes {
		if p := &e.probes[i]; p.ice == shownRight && p.since > iceCounts {
			p.ice, p.inIce, p.since = shownNothing, 0, 0
		}
	}
	return e
}

// reseated forgets that a core was right in ice water which has left its course since. Who
// says that it is back says where it is, and not that it is the probe it was.
func (e *evidence) reseated(c *coreMemory) {
	for i := range c.probes {
		p := &e.probes[cabinet.MaxChamberProbes+i]
		if c.probes[i].reseated && p.ice == shownRight && p.since >= c.probes[i].gone {
			p.ice, p.inIce, p.since = shownNothing, 0, 0
		}
	}
}

// judge notes whether a batch goes by a core that is known to be wrong, or by one that
// nobody knows anything of. What is shown of a
// probe after a batch changes nothing of that.
func (e *evidence) judge(t *step) {
	if !t.s.Batch.Active() {
		return
	}
	e.misled, e.unshown = false, false
	for i := range t.s.Core.probes {
		e.counts(t, i)
		e.misled = e.misled || e.probes[cabinet.MaxChamberProbes+i].ice == shownOff
		e.unshown = e.unshown || t.s.Core.probes[i].inUse && (e.needs(t.s, i) || e.never>>i&1 != 0)
	}
}

// toShow is what would show a core probe to be right.
const toShow = "hold it in ice water before the start, its front end in a room of 10 °C or more (ice PROBE), or during the chill, pulled out of the meat and put back; or calibrate it once a year (wiring calibrate)"

// Unshown says in words of each core probe that nothing shows to be right, by a batch that
// has just begun, what would show it.
func Unshown(c *cabinet.Cabinet, s *State) (texts []string) {
	for i := range cabinet.MaxCoreProbes {
		slot := cabinet.MaxChamberProbes + i
		if p := Slot(c, slot); p != nil && s.Evidence.needs(s, i) {
			texts = append(texts, fmt.Sprintf("nothing shows that probe %q reads right, and until something does no rule on the core is met by it: %s", p.Name, toShow))
		}
	}
	return texts
}

// Rules are those that the batch is held to.
func (s *State) Rules(p *profile.Product) proof.Rules {
	return s.Edition.RulesOf(p, s.Where, s.CoreError)
}

// Verdict is what can be said of the batch that runs, or is over. What wrong core probes
// have shown is not shown, nor what those have of which nobody knows that they are right.
func (s *State) Verdict(r *proof.Rules, over bool) proof.Verdict {
	v := proof.Judge(r, &s.Claim, over)
	if s.Core.without != 0 {
		for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Chilled} {
			if v[rule].Answer == proof.Met {
				v[rule].Why += "; a core probe was left out, on a person's word: of its piece nothing is shown"
			}
		}
	}
	why := ""
	switch {
	case s.Evidence.misled:
		why = ", by a core probe that is wrong in ice water"
	case s.Evidence.unshown:
		why = ", by a core probe that nothing shows to be right: " + toShow
	default:
		return v
	}
	for _, rule := range []proof.Rule{proof.Cooked, proof.CameUp, proof.Chilled, proof.Process} {
		if rule == proof.Process && !r.Uncured { // of the chamber
			continue
		}
		if v[rule].Answer == proof.Met && (s.Evidence.misled || s.Evidence.met>>rule&1 == 0) {
			v[rule] = proof.Judgement{Answer: proof.NotShown, Why: v[rule].Why + why}
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

// hanging reports whether the product is still being hung: cores are not in it yet.
func (s *State) hanging() bool { return s.Batch.Active() && s.Asking && s.Stage == 0 }

// ice takes a person's word that the probe is in ice water, and judges what it reads.
func (t *step) ice() {
	i := int(t.in.Command.Probe) - 1
	if i < 0 || i >= Slots || Slot(t.m.cabinet, i) == nil {
		t.refuse(NoSuchProbe)
		return
	}
	core := i - cabinet.MaxChamberProbes
	if t.s.Batch.Active() && (core < 0 || !t.s.Core.probes[core].out && !t.s.hanging()) {
		t.refuse(InTheMeat)
		return
	}
	p := &t.s.Evidence.probes[i]
	v, ok := t.in.slot(i).Value()
	if !ok || p.still < stoodInIce || magnitude(quantity.Kelvin(v-p.smooth)) > stillBand {
		t.refuse(NotStill)
		return
	}
	switch {
	case !p.right(t.m.tolerance[i]):
		p.inIce, p.ice = p.smooth, shownOff
	case !t.wireShows(i):
		t.refuse(BoardTooCold)
	default:
		p.inIce, p.ice, p.since = p.smooth, shownRight, 0
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
