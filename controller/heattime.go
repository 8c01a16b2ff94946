package controller

import (
	"math"
	"time"

	"fumarium/controller/trip"
	"fumarium/controller/tune"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// How long anything may heat without a person's word. All of them: own magnitude, no
// source. How near good batches come is measured in rehearsals
// (TestGoodBatchesStayFarFromTheEndOfTheHeat).
const (
	// A stage may heat for twice as long as its file expects; two hours longer at least,
	// for a cold cabinet and a large load make a short stage late by more than itself.
	heatMargin      = 1.0
	heatMarginStage = 2 * time.Hour
	// So may the batch; eight hours longer at least, for its hand steps may wait as well.
	heatMarginBatch = 8 * time.Hour
	// Hanging and lighting take minutes, and who goes away in the middle of it is back
	// within two hours or has forgotten it.
	promptLongest = 2 * time.Hour
	// A restart is a person's word: it gives as much again as an unanswered hand step has.
	heatAgain = 2 * time.Hour
	// What ends in an hour is said by an alarm that sounds: time to come and look.
	heatWarning = time.Hour
)

// What a stage that waits for the product takes where its file gives no within: the
// least that still air at its surface does to a piece from the refrigerator, half as
// long again for what evaporation takes away and for the ramp. Own magnitudes, no source.
const (
	coldPiece        quantity.Celsius = 0
	meatConductivity                  = 0.45 // W/(m·K), a usual value for lean meat
	stillFilm                         = 8.0  // W/(m²·K), convection and radiation
	estimateMargin                    = 1.5
	estimateLeast                     = 3 * time.Hour
	estimateMost                      = 24 * time.Hour
	nearlyThere      quantity.Kelvin  = 3 // of the chamber: slower than this no core is waited for
)

// heatTime is what the step remembers of how long it has heated without a person's word.
// Steps that come late do not count: they give no heat.
type heatTime struct {
	stage      time.Duration `record:"stage"`      // this stage's, while nothing is asked
	unanswered time.Duration `record:"unanswered"` // since the hand step was asked for
	batch      time.Duration `record:"batch"`      // all stages that heat, asked or not
	ended      bool          `record:"ended"`      // the heat was ended, and nobody has restarted it
}

// follow counts the time since the last step.
func (h *heatTime) follow(t *step) {
	s := t.s
	stage := t.stage()
	if s.Batch != Running || stage == nil || t.late {
		return
	}
	if s.asks(stage) {
		h.unanswered += t.dt
	} else {
		h.stage += t.dt
	}
	if stage.Heat {
		h.batch += t.dt
	}
}

// judge ends the heat once it has lasted for too long.
func (h *heatTime) judge(t *step) {
	s := t.s
	h.ended = h.ended || s.Batch == Running && t.m.HeatSpent(s) > 1
}

// HeatSpent is how much has been used of the time that the heat may last without a
// person's word: of an unanswered hand step, of the stage or of the batch, whichever is
// nearest to its end, which is at 1. It is zero in a stage without heat.
func (m *Machine) HeatSpent(s *State) float64 {
	stage := s.CurrentStage(m.product)
	if stage == nil || !stage.Heat {
		return 0
	}
	h := &s.HeatTime
	return max(float64(h.unanswered)/float64(promptLongest), float64(h.stage)/float64(m.stageHeat(s)), float64(h.batch)/float64(m.heat))
}

// HeatLeft is how long the heat lasts yet without a person's word, if nothing else ends it
// before; false where nothing heats now.
func (m *Machine) HeatLeft(s *State) (time.Duration, bool) {
	stage := s.CurrentStage(m.product)
	if stage == nil || !stage.Heat || s.Batch != Running {
		return 0, false
	}
	h := &s.HeatTime
	left := min(m.stageHeat(s)-h.stage, m.heat-h.batch)
	if s.asks(stage) {
		left = min(promptLongest-h.unanswered, m.heat-h.batch)
	}
	return max(0, left), true
}

// HeatEnds is how long stage i may heat without a person's word, and zero for one
// without heat.
func (m *Machine) HeatEnds(i int) time.Duration {
	if !m.product.Stages[i].Heat {
		return 0
	}
	return m.heatEnds(i)
}

// BatchHeat is how long all stages together may.
func (m *Machine) BatchHeat() time.Duration { return m.heat }

// HeatEnded reports a batch that is held because it has heated for too long.
func (s *State) HeatEnded() bool { return s.Batch.Active() && s.HeatTime.ended }

// stands gives the alarms of the heat's time whose condition holds.
func (h *heatTime) stands(t *step) trip.Set {
	return trip.PromptOverdue.If(t.s.Batch.Active() && h.unanswered > promptLongest-heatWarning) |
		trip.StageOverdue.If(h.overdue(t)) | trip.HeatEnded.If(t.s.HeatEnded())
}

// overdue reports a stage, or the heat of a batch, that will have lasted for too long an
// hour from now.
func (h *heatTime) overdue(t *step) bool {
	s := t.s
	stage := t.stage()
	if stage == nil {
		return false
	}
	ends := t.m.stageHeat(s)
	return ends > 0 && h.stage > ends-heatWarning || stage.Heat && h.batch > t.m.heat-heatWarning
}

// again is what a person's restart gives.
func (h *heatTime) again(t *step) {
	h.ended, h.unanswered = false, 0
	h.stage = min(h.stage, max(0, t.m.heatEnds(t.s.Stage)-heatAgain))
	h.batch = min(h.batch, t.m.heat-heatAgain)
}

// heatEnds is how long stage i may heat; for one without heat how long it may take,
// and zero where nothing says.
func (m *Machine) heatEnds(i int) time.Duration {
	if i < len(m.stages) {
		return m.stages[i].heatEnds
	}
	return 0
}

// stageHeat is how long the stage under way may heat. One that learns needs no margin.
func (m *Machine) stageHeat(s *State) time.Duration {
	if ends := m.heatEnds(s.Stage); !s.Learns || ends == 0 {
		return ends
	}
	return tune.Longest + learnMargin
}

// atMost adds to what is expected what it may take beyond.
func atMost(expected, marginLeast time.Duration) time.Duration {
	return expected + max(marginLeast, time.Duration(heatMargin*float64(expected)))
}

// expected is how long a stage may be expected to take, at the most: its within, or what
// its conditions wait for. It is zero for a stage without heat that gives none.
func expected(p *profile.Product, stage *profile.Stage) time.Duration {
	longest := stage.Within
	for i := range stage.Until.Conditions {
		c := &stage.Until.Conditions[i]
		switch {
		case c.Kind == profile.After:
			longest = max(longest, c.After)
		case stage.Within > 0 || !stage.Heat:
		case c.Kind == profile.CoreAtLeast:
			longest = max(longest, heatsThrough(p.Shape, stage.ChamberSetpoint, c.Core))
		case c.Kind == profile.LethalityAtLeast:
			longest = max(longest, heatsThrough(p.Shape, stage.ChamberSetpoint, stage.ChamberSetpoint))
		}
	}
	return longest
}

// heatsThrough estimates how long a cold piece takes to a core in still air, by the first
// term of the series for conduction with a film at the surface; the resistances inside
// and outside are added, which is right for very thin and for very thick pieces.
func heatsThrough(shape profile.Shape, air, core quantity.Celsius) time.Duration {
	core = min(core, air-quantity.Celsius(nearlyThere))
	seconds := estimateMargin * slowest(shape) * math.Log(lead(shape.Form)*float64((air-coldPiece)/(air-core)))
	if !(seconds < estimateMost.Seconds()) { // nor for what is no number
		return estimateMost
	}
	return max(estimateLeast, time.Duration(seconds*float64(time.Second)))
}

// slowest is the time constant of the last of the heat, in seconds.
func slowest(shape profile.Shape) float64 {
	half := float64(shape.HalfThickness())
	root, sides := lastMode(shape.Form), shape.Form.Exponent()+1
	return half*half/meatDiffusivity/root + half*meatConductivity/meatDiffusivity/stillFilm/sides
}

// lastMode is how fast the last of the heat goes through a piece whose surface has the
// air's temperature: the square of the first root of the series.
func lastMode(f profile.Form) float64 {
	switch f {
	case profile.Cylinder:
		return 5.783
	case profile.Sphere:
		return 9.870
	}
	return 2.467
}

// lead is how much longer than the first term alone the core waits at first: the
// coefficient of the series in the middle, at its most.
func lead(f profile.Form) float64 {
	switch f {
	case profile.Cylinder:
		return 1.602
	case profile.Sphere:
		return 2
	}
	return 1.273
}
