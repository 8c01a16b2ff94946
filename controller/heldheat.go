package controller

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// The heat that holds a chamber shows what becomes of the cabinet: of the gasket, the element
// and the insulation. What a load takes is in it as well, so batches of one product are told
// apart by it, and several at a time: from batch to batch of one it scatters by some 5 %.
// Nothing is controlled by it.

// What counts as a chamber that is held. Own magnitudes, no source; what they come to is
// measured in rehearsals (TestACabinetsDriftIsFound).
const (
	heldWithin quantity.Kelvin = 1.5 // of the setpoint
	heldAfter                  = 15 * time.Minute
	heldLeast                  = 30 * time.Minute // altogether; of less there is no figure
	// An open damper takes more than the walls, and hides what they do.
	heldShut quantity.Ratio = 0.5
)

// How figures are compared: the middle of the last with that of the first in as warm a room,
// for what a load takes does not go by the room, and seasons are no drift. How far batches
// scatter depends on cabinet and product, mostly by what is loaded, so each is judged by its
// own: by the mean of what one differs from the next, as in a chart of individuals and moving
// ranges (Shewhart's; from memory), which a change that stays moves only once.
const (
	driftOf                      = 5
	driftRooms   quantity.Kelvin = 3
	driftLeast                   = 1.15  // and the inverse of it
	driftScatter                 = 3     // standard deviations of one batch; those of what is compared are 3/4 of it
	rangeOfTwo                   = 1.128 // of a normal distribution, in standard deviations
)

// HeldHeat follows in a batch the heat that held its chamber and the heat that by what the
// cabinet has learned holds a chamber that hot. It is a fold over steps: a replay gives the
// same.
type HeldHeat struct {
	cabinet *cabinet.Cabinet
	rules   balanceRules
	of      string

	at       time.Duration
	out      Outputs
	setpoint quantity.Celsius
	steady   time.Duration // for so long it has been held
	held     time.Duration // that counts
	given    float64       // s of full heat
	learned  float64       // likewise
	room     float64       // °C times s
}

// A HeldFigure is what held the chamber in a batch over what by its cabinet's constants should
// have, and how warm the room was. Only those that are Of the same can be compared.
type HeldFigure struct {
	Of    string
	Ratio float64
	Room  quantity.Celsius
}

// NewHeldHeat follows a batch from its first step on.
func NewHeldHeat(p *profile.Product, c *cabinet.Cabinet) *HeldHeat {
	return &HeldHeat{cabinet: c, rules: newBalanceRules(p, c), of: heldOf(c) + heldIn(p)}
}

// heldOf tells a cabinet by all that a figure depends on, and is empty for one that has not
// learned. One that learns anew is another.
func heldOf(c *cabinet.Cabinet) string {
	if c.Learned == (cabinet.Learned{}) {
		return ""
	}
	r := &c.Rehearsal
	response := func(r cabinet.Response) string {
		return fmt.Sprintf("%g K %v %v %v", float64(r.Gain), r.Lag, r.SecondLag, r.DeadTime)
	}
	return fmt.Sprintf("%q learned %s, %s; %g W of %g K, smoke %g W; ambient %g °C %v; vent %g m² %g m³/s %g m\n", c.Name, response(c.Learned.FanOff), response(c.Learned.FanOn),
		float64(c.Heater.Power), float64(c.Response.Gain), float64(c.Generator.Heat), float64(c.Ambient), c.Has(cabinet.AmbientProbe), float64(r.Vent), float64(r.FanExchange), float64(r.Height))
}

// heldIn tells a product by what its chamber is asked.
func heldIn(p *profile.Product) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%q", p.Name)
	for i := range p.Stages {
		if s := &p.Stages[i]; s.Heat {
			fmt.Fprintf(&b, "; %g °C fan %g damper %g smoke %v", float64(s.ChamberSetpoint), float64(s.Fan), float64(s.Damper), s.Smoke)
		}
	}
	return b.String()
}

// See takes a step in: what it was told, and what it made of that.
func (h *HeldHeat) See(p *profile.Product, in *Inputs, s *State, out Outputs) {
	before, dt := h.out, in.Elapsed-h.at
	h.out, h.at = out, in.Elapsed
	if dt <= 0 || dt > LateAfter || !h.holds(p, in, s, before) || s.Heater.Setpoint != h.setpoint || out.Damper != before.Damper {
		h.setpoint, h.steady = s.Heater.Setpoint, 0
		return
	}
	if h.steady += dt; h.steady < heldAfter || out.Damper > heldShut {
		return
	}
	fan := s.Fan.wanted
	law, room := h.cabinet.Law(fan), s.Balance.room
	if v, ok := in.Ambient.Value(); ok {
		room = v
	}
	rise := float64(s.Balance.slow - room)
	walls := float64(h.cabinet.Heater.Power) / float64(law.Gain)
	seconds := dt.Seconds()
	h.held += dt
	h.room += seconds * float64(room)
	h.learned += seconds * rise / float64(law.Gain) * (1 + h.rules.draught(out.Damper, rise, fan)/max(walls, 1))
	h.given += seconds * s.Heater.smoke
	if before.On.Has(Heater) {
		h.given += seconds
	}
}

// holds reports whether the chamber is held by the heat alone, as its stage asks.
func (h *HeldHeat) holds(p *profile.Product, in *Inputs, s *State, before Outputs) bool {
	stage, heater := s.CurrentStage(p), &s.Heater
	switch {
	case stage == nil || s.Batch != Running || s.Learns || s.Bend != (Bend{}) || !stage.Heat || stage.Place != profile.Chamber:
	case in.DriveFailed || in.Door == DoorOpen || in.Door == DoorUnread || before.On.Has(Heater) && in.Heater == FeedbackOff:
	case !heater.HasSetpoint || heater.lower > 0 || heater.rests > 0 || heater.Demand >= fullDuty || h.cabinet.Law(s.Fan.wanted).Gain <= 0:
	default:
		return s.Chamber.seen() && s.Balance.hasTrend && magnitude(quantity.Kelvin(s.Balance.slow-heater.Setpoint)) <= heldWithin
	}
	return false
}

// Figure is what the batch says so far, and false where that is nothing.
func (h *HeldHeat) Figure() (HeldFigure, bool) {
	if h.held < heldLeast || !(h.given > 0 && h.learned > 0) || h.cabinet.Learned == (cabinet.Learned{}) {
		return HeldFigure{}, false
	}
	return HeldFigure{Of: h.of, Ratio: h.given / h.learned, Room: quantity.Celsius(h.room / h.held.Seconds())}, true
}

// A Drift is how many times the heat that held its chamber at first, since it learned, a
// cabinet takes now. Zero is not known.
type Drift struct {
	Ratio  float64 `record:"ratio"`
	Beyond bool    `record:"beyond"` // what batches scatter by
}

// DriftOf is what the figures of all batches on its record, oldest first, say of a cabinet:
// those of the product that is the latest of which there are enough.
func DriftOf(c *cabinet.Cabinet, all []HeldFigure) Drift {
	of := heldOf(c)
	if of == "" {
		return Drift{}
	}
	each := map[string][]HeldFigure{}
	for _, f := range all {
		if strings.HasPrefix(f.Of, of) && f.Ratio > 0 {
			each[f.Of] = append(each[f.Of], f)
		}
	}
	for _, f := range slices.Backward(all) {
		if d := driftIn(each[f.Of]); d != (Drift{}) {
			return d
		}
		delete(each, f.Of)
	}
	return Drift{}
}

// driftIn is what figures of one product say.
func driftIn(all []HeldFigure) Drift {
	if len(all) < 2*driftOf {
		return Drift{}
	}
	before, last := all[:len(all)-driftOf], all[len(all)-driftOf:]
	ratio := func(f HeldFigure) float64 { return f.Ratio }
	room := func(f HeldFigure) float64 { return float64(f.Room) }
	is := middle(last, room)
	first := slices.DeleteFunc(slices.Clone(before), func(f HeldFigure) bool { return magnitude(quantity.Kelvin(room(f)-is)) > driftRooms })
	if len(first) < driftOf {
		return Drift{}
	}
	ranges := 0.0
	for i := 1; i < len(all); i++ {
		ranges += math.Abs(math.Log(all[i].Ratio / all[i-1].Ratio))
	}
	scatter := ranges / float64(len(all)-1) / rangeOfTwo
	times := middle(last, ratio) / middle(first[:driftOf], ratio)
	return Drift{Ratio: math.Round(1000*times) / 1000, Beyond: math.Abs(math.Log(times)) > max(math.Log(driftLeast), driftScatter*scatter)}
}

// middle is the median of an odd number of figures.
func middle(all []HeldFigure, of func(HeldFigure) float64) float64 {
	var ordered []float64
	for _, f := range all {
		ordered = append(ordered, of(f))
	}
	slices.Sort(ordered)
	return ordered[len(ordered)/2]
}

// String says it to people: nothing where nobody knows.
func (d Drift) String() string {
	switch percent := math.Round(100 * math.Abs(d.Ratio-1)); {
	case d.Ratio == 0:
		return ""
	case d.Ratio >= 1:
		return fmt.Sprintf("It takes %.0f %% more heat than it did.", percent)
	default:
		return fmt.Sprintf("It takes %.0f %% less heat than it did.", percent)
	}
}

// Beside adds it to what is said: nothing where nobody knows.
func (d Drift) Beside(said string) string { return strings.TrimSuffix(said+" "+d.String(), " ") }
