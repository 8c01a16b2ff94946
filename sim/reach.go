package sim

import (
	"context"
	"fmt"
	"math"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
	"fumarium/sim/plant"
)

// What counts as reached. Own magnitudes, no source.
const (
	reachWithin quantity.Kelvin = 1
	rampBehind  quantity.Kelvin = 5
	reachMost                   = 8 * time.Hour // that a stage is followed for
)

// A Short is a stage whose setpoint or ramp a cabinet does not keep, whatever controls it.
type Short struct {
	Stage    int
	Setpoint quantity.Celsius
	Came     quantity.Celsius // the hottest that the chamber got
	Behind   quantity.Kelvin  // the ramp, at most; zero where the setpoint is what is not reached
}

// Finding says it as a note on the file of the product: nothing forbids such a batch, and the
// cabinet may be otherwise than it is simulated.
func (s *Short) Finding(p *profile.Product, file string) source.Finding {
	stage := &p.Stages[s.Stage]
	name := fmt.Sprintf("stage %q", stage.Name)
	said := fmt.Sprintf("full power comes to %v in %s, which asks for %v", s.Came, name, s.Setpoint)
	if s.Behind > 0 {
		said = fmt.Sprintf("full power falls up to %v behind the ramp of %s to %v", s.Behind, name, s.Setpoint)
	}
	with := map[bool]string{true: "simulated with the fan on", false: "simulated with the fan off"}[stage.Fan > 0]
	switch {
	case stage.HasDamper && stage.Fan > 0:
		with = fmt.Sprintf("simulated with the damper at %v and the fan on", stage.Damper)
	case stage.HasDamper:
		with = fmt.Sprintf("simulated with the damper at %v and the fan off", stage.Damper)
	}
	return source.Finding{
		File: file, Line: max(1, stage.Line), Column: 1, Severity: source.Note, Code: "reach",
		Message: fmt.Sprintf("%s (%s)", said, with),
		Remedy:  "ask for less, give it longer, or open the damper less",
	}
}

// TooMuch notes a product of more food than the cabinet's file says it is meant for. Its heat
// may be too little for that, above all where it is wet.
func TooMuch(p *profile.Product, c *cabinet.Cabinet, file string) (source.Finding, bool) {
	mass := p.Formula.Mass()
	return source.Finding{
		File: file, Line: 1, Column: 1, Severity: source.Note, Code: "load",
		Message: fmt.Sprintf("%v go into the chamber, and %s is meant for %v at most", mass, c.Name, c.Load),
		Remedy:  "smoke it in parts, or hang less",
	}, c.Load > 0 && mass > c.Load
}

// Reach finds what the simulated cabinet cannot keep of a product's setpoints and ramps,
// with damper, fan and load as asked and a person who answers at once: its heater is on
// whenever the chamber is below the setpoint, and no law gives more. Stages elsewhere are
// passed over.
func Reach(ctx context.Context, setup Setup) ([]Short, error) {
	w, err := NewWorld(setup)
	if err != nil {
		return nil, err
	}
	var all []Short
	damper := quantity.Ratio(0)
	for i := range setup.Product.Stages {
		stage := &setup.Product.Stages[i]
		if stage.Place != profile.Chamber {
			continue
		}
		if stage.HasDamper {
			damper = stage.Damper
		}
		short := w.reach(ctx, stage, damper)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if short != nil {
			short.Stage = i
			all = append(all, *short)
		}
	}
	return all, nil
}

// reach goes through a stage.
func (w *World) reach(ctx context.Context, stage *profile.Stage, damper quantity.Ratio) *Short {
	c := w.setup.Cabinet
	smoke := stage.Smoke && c.Smoke.Fitted
	w.light(smoke)
	d := plant.Drive{
		Fan: c.Fan.Fitted && stage.Fan > 0 && (c.Rules.FanWithSmoke || !smoke), Smoke: smoke, Damper: damper, Place: profile.Chamber,
	}
	ramp := c.Limits.Ramp
	if stage.Ramp > 0 && (ramp == 0 || stage.Ramp < ramp) {
		ramp = stage.Ramp
	}
	air := w.plant.At(OnProbe)
	setpoint := min(air, stage.ChamberSetpoint)
	s := Short{Setpoint: stage.ChamberSetpoint, Came: quantity.Celsius(math.Inf(-1))}
	for now := time.Duration(0); !w.over(stage, now) && (now%time.Minute != 0 || ctx.Err() == nil); now += Step {
		if setpoint += quantity.Celsius(float64(ramp) * Step.Seconds()); ramp == 0 || setpoint > stage.ChamberSetpoint {
			setpoint = stage.ChamberSetpoint
		}
		d.Heater = stage.Heat && air < setpoint
		w.plant.Advance(Step, d)
		air = w.plant.At(OnProbe)
		s.Came = max(s.Came, air)
		if behind := quantity.Kelvin(setpoint - air); stage.Ramp > 0 && setpoint < stage.ChamberSetpoint {
			s.Behind = max(s.Behind, behind)
		}
	}
	switch {
	case !stage.Heat:
		return nil
	case quantity.Kelvin(stage.ChamberSetpoint-s.Came) > reachWithin:
		s.Behind = 0
		return &s
	case s.Behind > rampBehind:
		return &s
	}
	return nil
}

// over reports whether a stage has had its time and its core. What else it may wait for, a
// person or a kill, it is taken to have with these.
func (w *World) over(stage *profile.Stage, now time.Duration) bool {
	if now >= reachMost || stage.Within > 0 && now >= stage.Within {
		return true
	}
	core, all, any := w.plant.At(InCore), true, false
	for _, c := range stage.Until.Conditions {
		held := true
		switch c.Kind {
		case profile.After:
			held = now >= c.After
		case profile.CoreAtLeast:
			held = core >= c.Core
		case profile.CoreAtMost:
			held = core <= c.Core
		case profile.LethalityAtLeast:
			held = !w.setup.Product.Targets.HasCore || core >= w.setup.Product.Targets.Core
		}
		all, any = all && held, any || held
	}
	return all || any && stage.Until.Any
}
