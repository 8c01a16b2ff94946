package sim

import (
	"context"
	"fmt"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/tune"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/fault"
)

const (
	// panOfWater is what hangs in the cabinet while it learns, in place of a pan of water.
	panOfWater quantity.Kilograms = 0.5
	tuneBelow  quantity.Kelvin    = profile.ChamberMargin + 5 // the cabinet's limit
	tuneLimit                     = 8 * time.Hour
)

// A Tuning is what a simulated cabinet has shown of itself in one state of its fan. Its
// JSON keys are part of the command line's contract.
type Tuning struct {
	Fan        bool         `json:"fan"`
	Target     float64      `json:"target_celsius"`
	Seconds    float64      `json:"seconds"`
	Refused    string       `json:"refused,omitempty"`
	Gain       float64      `json:"gain_kelvin"`
	Lag        float64      `json:"lag_seconds"`
	SecondLag  float64      `json:"second_lag_seconds"`
	DeadTime   float64      `json:"dead_time_seconds"`
	Slope      float64      `json:"slope_kelvin_per_second"`
	SlopeLeast float64      `json:"slope_least_kelvin_per_second"`
	SlopeMost  float64      `json:"slope_most_kelvin_per_second"`
	DelayLeast float64      `json:"delay_least_seconds"`
	DelayMost  float64      `json:"delay_most_seconds"`
	RMS        float64      `json:"rms_kelvin"`
	Noise      float64      `json:"noise_kelvin"`
	Learned    tune.Learned `json:"-"`
}

// Response is what was learned, for a control law to go by.
func (t *Tuning) Response() *cabinet.Response {
	l := t.Learned
	return &cabinet.Response{Gain: l.Gain, Lag: l.Lag, SecondLag: l.SecondLag, DeadTime: l.DeadTime}
}

// Tune lets a simulated cabinet with little in it learn, once for each state that its fan
// has, the damper shut. The step runs as in a batch, with noisy probes and every trip.
func Tune(ctx context.Context, setup Setup) (all []Tuning, err error) {
	states := []bool{true, false}
	if !setup.Cabinet.Fan.Fitted {
		states = states[1:]
	}
	for _, fan := range states {
		one, err := learn(ctx, setup, fan)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, nil
}

func learn(ctx context.Context, setup Setup, fan bool) (Tuning, error) {
	c := setup.Cabinet
	ambient := c.Ambient
	if setup.Ambient != nil {
		ambient = *setup.Ambient
	}
	target := min(ambient+quantity.Celsius(tune.Rise), c.Limits.ChamberHigh-quantity.Celsius(tuneBelow))
	p := *setup.Product
	stage := profile.Stage{Name: "learn", Heat: true, ChamberSetpoint: target, HasDamper: true, Place: profile.Chamber,
		Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: tuneLimit}}}}
	if fan {
		stage.Fan = 1
	}
	p.Stages = []profile.Stage{stage}
	setup.Product, setup.Load, setup.Examine, setup.Excused = &p, panOfWater, false, true
	w, err := NewWorld(setup)
	if err != nil {
		return Tuning{}, err
	}
	m, err := controller.New(&p, c)
	if err != nil {
		return Tuning{}, err
	}
	rest, _ := p.Rest()
	w.Order(controller.Command{Kind: controller.Start, Rested: rest, Excused: true})
	var s controller.State
	var record []tune.Sample
	err = Run(ctx, m.Learning(), &s, w, func(o *Moment) bool {
		chamber, known := s.Chamber.Reading.Value()
		record = append(record, tune.Sample{
			Chamber: chamber, Known: known, Door: o.Inputs.Door == controller.DoorOpen, Late: o.Call != fault.Made,
			Cycling: s.Heater.Tune.Cycling(),
		})
		if n := len(record); n > 1 { // what was put out before is what this second was heated by
			record[n-1].On = o.World.Driven().Heater
		}
		return s.Heater.Tune.Phase < tune.Done && s.Batch == controller.Running
	})
	if err != nil {
		return Tuning{}, err
	}
	t := Tuning{Fan: fan, Target: float64(target), Seconds: float64(len(record))}
	l, err := tune.Fit(s.Heater.Tune, record)
	switch {
	case s.Batch != controller.Running:
		t.Refused = fmt.Sprintf("ended by %s in %s: nothing is learned of a record that is cut short", s.Tripped, s.Heater.Tune.Phase)
		return t, nil
	case err != nil:
		t.Refused = err.Error()
	}
	t.Learned = l
	t.Gain, t.Lag, t.SecondLag, t.DeadTime = round(float64(l.Gain)), l.Lag.Seconds(), l.SecondLag.Seconds(), l.DeadTime.Seconds()
	t.Slope, t.SlopeLeast, t.SlopeMost = float64(l.Slope), float64(l.SlopeLeast), float64(l.SlopeMost)
	t.DelayLeast, t.DelayMost = l.DelayLeast.Seconds(), l.DelayMost.Seconds()
	t.RMS, t.Noise = round(float64(l.RMS)), round(float64(l.Noise))
	return t, nil
}
