package bench

import (
	"context"
	"math"
	"time"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sim"
)

// switched is a thermostat: whether it is on after a reading.
func switched(on bool, r sensors.Reading, setpoint quantity.Celsius) bool {
	v, ok := r.Value()
	switch {
	case !ok || v > setpoint+thermostat:
		return false
	case v < setpoint-thermostat:
		return true
	}
	return on
}

// An Error is that of the air over a whole batch, and how the batch ended.
type Error struct {
	KelvinHours float64
	Lower       float64 // K·h, that was aimed below the setpoint, because a damper would close
	Outcome     string
	Alarms      []string
}

// Batch runs a whole batch, with the controller's heat or a thermostat's at the same
// setpoint; all else is the controller's.
func Batch(ctx context.Context, setup sim.Setup, byThermostat bool) (Error, error) {
	return batch(ctx, setup, byThermostat, nil)
}

// Floor runs a batch with the controller's heat, and says what would be left of its error if
// the heater had known the plant and all that came, and never led past the setpoint.
func Floor(ctx context.Context, setup sim.Setup) (e Error, kelvinHours float64, err error) {
	w, err := sim.NewWorld(setup)
	if err != nil {
		return e, 0, err
	}
	var tape []moment
	if e, err = batch(ctx, setup, false, &tape); err != nil {
		return e, 0, err
	}
	kelvinHours, err = least(ctx, w.Plant(), tape)
	return e, kelvinHours, err
}

// batch runs a whole batch, and notes on a tape that is not nil what it did.
func batch(ctx context.Context, setup sim.Setup, byThermostat bool, tape *[]moment) (Error, error) {
	lit := false
	if tape != nil {
		w, err := sim.NewWorld(setup)
		if err != nil {
			return Error{}, err
		}
		setup.Plant = taped{w.Plant(), &lit}
	}
	w, err := sim.NewWorld(setup)
	if err != nil {
		return Error{}, err
	}
	m, err := controller.New(setup.Product, setup.Cabinet)
	if err != nil {
		return Error{}, err
	}
	rest, _ := setup.Product.Rest()
	order := controller.Command{
		Kind: controller.Start, Rested: rest, Excused: true,
		Edition: proof.Current, Where: setup.Product.Where(setup.Where), CoreError: setup.Cabinet.CoreError(),
	}
	var s controller.State
	var e Error
	on := false
	for now := time.Duration(0); now < sim.Longest; now += sim.Step {
		in := w.Sample(now)
		in.Command = order
		out, events := m.Advance(&s, &in)
		for i := range events {
			if events[i].Kind == controller.AlarmRaised {
				e.Alarms = append(e.Alarms, events[i].Alarm.String())
			}
		}
		order = w.Answer(&s)
		stage := s.CurrentStage(setup.Product)
		if s.Begun && !s.Batch.Active() || w.Hopeless(&s) {
			break
		}
		if on = byThermostat && s.Batch == controller.Running && stage != nil && stage.Heat && s.Heater.HasSetpoint &&
			switched(on, s.Chamber.Reading, s.Heater.Setpoint); byThermostat {
			out.On.Set(controller.Heater, on)
			s.Out.On.Set(controller.Heater, on) // what watches sees what was done
		}
		w.Drive(out)
		w.Advance()
		counts := stage != nil && stage.Place == profile.Chamber && s.Heater.HasSetpoint
		if tape != nil {
			*tape = append(*tape, moment{drive: w.Driven(), lit: lit, heats: counts && stage.Heat && s.Batch == controller.Running, counts: counts, setpoint: float64(s.Heater.Setpoint)})
			lit = false
		}
		if counts {
			e.Lower += float64(s.Heater.AimsLower()) / 3600
			e.KelvinHours += math.Abs(float64(w.Plant().At(sim.OnProbe)-s.Heater.Setpoint)) / 3600
		}
		if now%time.Minute == 0 {
			if err := ctx.Err(); err != nil {
				return e, err
			}
		}
	}
	e.Outcome = s.Batch.String()
	return e, nil
}
