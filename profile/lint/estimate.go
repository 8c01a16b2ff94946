package lint

import (
	"time"

	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/conduction"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// The estimate that lint works with: conduction in one dimension with a film at
// the surface, and nothing else. Without evaporation and without the cabinet's
// own lag it heats faster than any real batch, so a limit that the estimate
// breaks is certain to be broken. The forecast of a batch is a rehearsal, not
// this.

const (
	filmStill = 15 // W/(m²·K), convection and radiation together in a gravity cabinet: a magnitude, common practice, no source
	filmFan   = 25 // the same with the fan at full
	filmWater = 300
	filmRoom  = 10 // still air of a cold room, evaporation left out

	estimateStep  = 10 * time.Second
	estimateLimit = 24 * time.Hour // no stage is followed for longer
	nodes         = 24

	loadedCore quantity.Celsius = 4 // product from a cold room; common practice, no source
)

const comeUpWarn = 5 * time.Hour // leaves an hour for what evaporation adds: common practice, no source

// newPiece gives a piece of uniform temperature with the properties its mix has
// at 40 °C, the middle of the heating.
func newPiece(s profile.Shape, mix composition.Mix, start quantity.Celsius) (*conduction.Body, error) {
	const at quantity.Celsius = 40
	return conduction.NewBody(nodes, s.Form.Exponent(), s.HalfThickness(),
		conduction.Properties{Conductivity: mix.Conductivity(at), Density: mix.Density(at), SpecificHeat: mix.SpecificHeat(at)}, start)
}

// An estimatedStage is what the estimate says of one stage.
type estimatedStage struct {
	startCore quantity.Celsius
	endCore   quantity.Celsius
	took      time.Duration
	cut       bool // it was not over after estimateLimit
}

// An estimate is a batch by conduction alone.
type estimate struct {
	stages []estimatedStage
	comeUp time.Duration // core within the band of lethality.ComeUpBand in heated stages
}

// estimateBatch runs the stages one after the other. What waits for the person
// takes no time.
func estimateBatch(p *profile.Product, ambient quantity.Celsius) estimate {
	criterion := p.Criterion()
	e := estimate{stages: make([]estimatedStage, len(p.Stages))}
	body, err := newPiece(p.Shape, p.Formula.Composition(), loadedCore)
	if err != nil { // its shape or its formula is at fault, and said so elsewhere
		return e
	}
	var heat lethality.Count
	reached := false // the core has been at lethality.ComeUpBand.To
	chamber := ambient
	for i := range p.Stages {
		s, r := &p.Stages[i], &e.stages[i]
		r.startCore = body.Core()
		for !estimatedMet(s.Until, r.took, body.Core(), heat, criterion) {
			if r.took >= estimateLimit {
				r.cut = true
				break
			}
			medium, film := medium(s, ambient)
			if s.Heat {
				chamber = rampedFrom(s, chamber)
				medium = chamber
			}
			before := body.Core()
			body.Step(estimateStep, film, medium)
			r.took += estimateStep
			if criterion != nil {
				heat = criterion.Add(heat, before, body.Core(), estimateStep)
			}
			reached = reached || body.Core() >= lethality.ComeUpBand.To
			if s.Heat && !reached && body.Core() >= lethality.ComeUpBand.From {
				e.comeUp += estimateStep
			}
		}
		r.endCore = body.Core()
		if !s.Heat {
			chamber = ambient
		}
	}
	return e
}

// rampedFrom is the setpoint one estimateStep after it was at chamber.
func rampedFrom(s *profile.Stage, chamber quantity.Celsius) quantity.Celsius {
	if s.Ramp <= 0 {
		return s.ChamberSetpoint
	}
	rise := quantity.Celsius(float64(s.Ramp) * estimateStep.Seconds())
	return min(chamber+rise, s.ChamberSetpoint)
}

// medium is what surrounds the product during a stage and how well it exchanges
// heat, W/(m²·K).
func medium(s *profile.Stage, ambient quantity.Celsius) (quantity.Celsius, float64) {
	switch {
	case s.Heat:
		return s.ChamberSetpoint, filmStill + (filmFan-filmStill)*float64(s.Fan)
	case s.Place == profile.IceWater:
		return iceWaterCelsius, filmWater
	case s.Place == profile.ColdRoom:
		return coldRoomCelsius, filmRoom
	}
	return ambient, filmRoom
}

func estimatedMet(u profile.Until, took time.Duration, core quantity.Celsius, heat lethality.Count, k *lethality.Criterion) bool {
	met, unmet := 0, 0
	for _, c := range u.Conditions {
		ok := true
		switch c.Kind {
		case profile.After:
			ok = took >= c.After
		case profile.CoreAtLeast:
			ok = core >= c.Core
		case profile.CoreAtMost:
			ok = core <= c.Core
		case profile.LethalityAtLeast:
			ok = k != nil && k.Log10(heat) >= c.Lethality
		case profile.Confirmed:
			if u.Any && len(u.Conditions) > 1 {
				continue // the person may come at any time; count on the others
			}
		}
		if ok {
			met++
		} else {
			unmet++
		}
	}
	if u.Any && unmet > 0 {
		return met > 0
	}
	return unmet == 0
}
