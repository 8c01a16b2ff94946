package profile

import (
	"time"

	"fumarium/profile/composition"
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
	shells        = 16

	loadedCore quantity.Celsius = 4 // product from a cold room; common practice, no source
)

// Bounds of the come-up time: 50 °F and 130 °F, and how long the product may
// take between them (FSIS Cooking Guideline for Meat and Poultry Products, 2021).
const (
	comeUpFrom  quantity.Celsius = 10
	comeUpTo    quantity.Celsius = 490.0 / 9
	comeUpLimit                  = 6 * time.Hour
	comeUpWarn                   = 5 * time.Hour // leaves an hour for what evaporation adds: common practice, no source
)

// A piece is one piece of product as shells of equal thickness from the middle
// to the surface, each at one temperature.
type piece struct {
	celsius     [shells]float64
	capacity    [shells]float64 // J/K of each shell, per unit of length or area
	conductance [shells]float64 // W/K between a shell and the next one out
	surfaceArea float64         // of the outermost shell
	halfShell   float64         // from the outermost shell's middle to its surface, W/(m²·K)
}

// newPiece gives a piece of uniform temperature with the properties its mix has
// at 40 °C, the middle of the heating.
func newPiece(s Shape, mix composition.Mix, start quantity.Celsius) *piece {
	const at quantity.Celsius = 40
	return conductingPiece(s.Form, float64(s.HalfThickness()),
		mix.Conductivity(at), mix.Density(at)*mix.SpecificHeat(at), float64(start))
}

// conductingPiece takes the conductivity in W/(m·K) and the heat capacity in
// J/(m³·K).
func conductingPiece(form Form, halfThickness, conductivity, heatCapacity, startCelsius float64) *piece {
	var p piece
	dr := halfThickness / shells
	for i := range p.celsius {
		inner, outer := float64(i)*dr, float64(i+1)*dr
		p.celsius[i] = startCelsius
		p.capacity[i] = heatCapacity * (form.volumeWithin(outer) - form.volumeWithin(inner))
		p.conductance[i] = conductivity * form.areaAt(outer) / dr
	}
	p.surfaceArea = form.areaAt(halfThickness)
	p.halfShell = conductivity / (dr / 2)
	return &p
}

// areaAt and volumeWithin leave out the factors that cancel: per square metre of
// a slab, per radian and metre of a cylinder, per steradian of a sphere.
func (f Form) areaAt(r float64) float64 {
	switch f {
	case Cylinder:
		return r
	case Sphere:
		return r * r
	}
	return 1
}

func (f Form) volumeWithin(r float64) float64 {
	switch f {
	case Cylinder:
		return r * r / 2
	case Sphere:
		return r * r * r / 3
	}
	return r
}

// core is the temperature of the innermost shell.
func (p *piece) core() quantity.Celsius { return quantity.Celsius(p.celsius[0]) }

// advance lets the piece exchange heat with a medium for dt: one implicit step,
// which no shell thickness can make unstable.
func (p *piece) advance(medium quantity.Celsius, film float64, dt time.Duration) {
	seconds := dt.Seconds()
	toMedium := p.surfaceArea / (1/film + 1/p.halfShell)
	var next, partial [shells]float64 // celsius[i] = partial[i] + next[i]·celsius[i+1]
	inward := 0.0                     // conductance to the next shell in
	for i := range p.celsius {
		outward, source := p.conductance[i], 0.0
		if i == shells-1 {
			outward, source = 0, toMedium*float64(medium)
		}
		diagonal := p.capacity[i]/seconds + inward + outward
		if i == shells-1 {
			diagonal += toMedium
		}
		right := p.capacity[i]/seconds*p.celsius[i] + source
		if i > 0 {
			diagonal -= inward * next[i-1]
			right += inward * partial[i-1]
		}
		next[i] = outward / diagonal
		partial[i] = right / diagonal
		inward = outward
	}
	p.celsius[shells-1] = partial[shells-1]
	for i := shells - 2; i >= 0; i-- {
		p.celsius[i] = partial[i] + next[i]*p.celsius[i+1]
	}
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
	comeUp time.Duration // core between comeUpFrom and comeUpTo in heated stages
}

// estimateBatch runs the stages one after the other. What waits for the person
// takes no time.
func estimateBatch(p *Product, ambient quantity.Celsius) estimate {
	body := newPiece(p.Shape, p.Formula.Composition(), loadedCore)
	kinetics, countsLethality := p.Species.Kinetics()
	e := estimate{stages: make([]estimatedStage, len(p.Stages))}
	var killed float64 // equivalent seconds
	reached := false   // the core has been at comeUpTo
	chamber := ambient
	for i := range p.Stages {
		s, r := &p.Stages[i], &e.stages[i]
		r.startCore = body.core()
		for !s.Until.estimatedMet(r.took, body.core(), killed, kinetics) {
			if r.took >= estimateLimit {
				r.cut = true
				break
			}
			medium, film := s.medium(ambient)
			if s.Heat {
				chamber = s.rampedFrom(chamber)
				medium = chamber
			}
			before := body.core()
			body.advance(medium, film, estimateStep)
			r.took += estimateStep
			if countsLethality {
				killed += kinetics.Segment(before, body.core(), estimateStep)
			}
			reached = reached || body.core() >= comeUpTo
			if s.Heat && !reached && body.core() >= comeUpFrom {
				e.comeUp += estimateStep
			}
		}
		r.endCore = body.core()
		if !s.Heat {
			chamber = ambient
		}
	}
	return e
}

// rampedFrom is the setpoint one estimateStep after it was at chamber.
func (s *Stage) rampedFrom(chamber quantity.Celsius) quantity.Celsius {
	if s.Ramp <= 0 {
		return s.ChamberSetpoint
	}
	rise := quantity.Celsius(float64(s.Ramp) * estimateStep.Seconds())
	return min(chamber+rise, s.ChamberSetpoint)
}

// medium is what surrounds the product during a stage and how well it exchanges
// heat, W/(m²·K).
func (s *Stage) medium(ambient quantity.Celsius) (quantity.Celsius, float64) {
	switch {
	case s.Heat:
		return s.ChamberSetpoint, filmStill + (filmFan-filmStill)*float64(s.Fan)
	case s.Place == IceWater:
		return iceWaterCelsius, filmWater
	case s.Place == ColdRoom:
		return coldRoomCelsius, filmRoom
	}
	return ambient, filmRoom
}

func (u Until) estimatedMet(took time.Duration, core quantity.Celsius, killed float64, k lethality.Kinetics) bool {
	met, unmet := 0, 0
	for _, c := range u.Conditions {
		ok := true
		switch c.Kind {
		case After:
			ok = took >= c.After
		case CoreAtLeast:
			ok = core >= c.Core
		case CoreAtMost:
			ok = core <= c.Core
		case LethalityAtLeast:
			ok = k.D > 0 && k.Log10(killed) >= c.Lethality
		case Confirmed:
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
