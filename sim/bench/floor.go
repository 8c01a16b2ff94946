package bench

import (
	"context"
	"math"

	"fumarium/sim"
	"fumarium/sim/plant"
)

// A moment is what a batch did in one second, whatever its heater did.
type moment struct {
	drive    plant.Drive
	lit      bool
	heats    bool    // the stage asks for heat, and it is not held
	counts   bool    // its error does
	setpoint float64 // °C
}

// taped is a plant that notes when its smoke generator is lit.
type taped struct {
	sim.Plant
	lit *bool
}

// Light implements sim.Smoker.
func (p taped) Light() {
	if smoker, fitted := p.Plant.(sim.Smoker); fitted {
		smoker.Light()
		*p.lit = true
	}
}

// Lit implements sim.Smoker.
func (p taped) Lit() bool {
	smoker, fitted := p.Plant.(sim.Smoker)
	return fitted && smoker.Lit()
}

// Copy implements sim.Plant.
func (p taped) Copy() sim.Plant { return taped{p.Plant.Copy(), p.lit} }

// settles is for how many seconds the air has to fall before its peak is taken to be past.
const settles = 20

// least goes through a tape anew with a heater that knows the plant and what comes: it is on
// in every second after which the air, with no more heat, would not pass the setpoint.
func least(ctx context.Context, p sim.Plant, tape []moment) (kelvinHours float64, err error) {
	p = p.Copy()
	for i := range tape {
		m := &tape[i]
		if smoker, fitted := p.(sim.Smoker); fitted && m.lit {
			smoker.Light()
		}
		d := m.drive
		d.Heater = m.heats && bears(p, tape[i:])
		p.Advance(second, d)
		if m.counts {
			kelvinHours += math.Abs(float64(p.At(sim.OnProbe))-m.setpoint) / 3600
		}
		if i%60 == 0 && ctx.Err() != nil {
			return 0, ctx.Err()
		}
	}
	return kelvinHours, nil
}

// bears reports whether a second of heat would not lead past the setpoint.
func bears(p sim.Plant, tape []moment) bool {
	p = p.Copy()
	last, falls := math.Inf(-1), 0
	for i := range tape {
		m := &tape[i]
		if i > 0 && !m.counts {
			break
		}
		d := tape[0].drive // a person who closes the damper does so any time
		d.Heater = i == 0
		p.Advance(second, d)
		air := float64(p.At(sim.OnProbe))
		if air > m.setpoint {
			return false
		}
		if falls++; air > last {
			falls = 0
		}
		if last = air; falls >= settles {
			break
		}
	}
	return true
}
