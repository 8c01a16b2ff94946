package sim

import (
	"context"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/tune"
	"fumarium/sim/fault"
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

// Tune lets a simulated cabinet learn, as a real one does: in a batch of its own with a pan
// of water in it, with noisy probes and every trip. The product of the setup does not
// count. Learned is what of it a cabinet file would say.
func Tune(ctx context.Context, setup Setup) (all []Tuning, learned cabinet.Learned, err error) {
	c := setup.Cabinet
	ambient := c.Ambient
	if setup.Ambient != nil {
		ambient = *setup.Ambient
	}
	p, _, err := controller.Experiment(c, ambient)
	if err != nil {
		return nil, learned, err
	}
	setup.Product, setup.Load, setup.Start = p, 0, &ambient
	w, err := NewWorld(setup)
	if err != nil {
		return nil, learned, err
	}
	m, err := controller.New(p, c)
	if err != nil {
		return nil, learned, err
	}
	w.Order(controller.Command{Kind: controller.Tune, Excused: true})
	var s controller.State
	var lessons controller.Lessons
	if err = Run(ctx, m, &s, w, func(o *Moment) bool {
		if o.Call == fault.Made {
			lessons.See(p, &o.Inputs, &s, o.Out, o.Events)
		}
		return true
	}); err != nil {
		return nil, learned, err
	}
	findings := lessons.Fit()
	for i := range findings {
		all = append(all, tuningOf(&findings[i]))
	}
	return all, controller.LearnedOf(findings), nil
}

func tuningOf(f *controller.Finding) Tuning {
	t := Tuning{Fan: f.Fan, Target: float64(f.Target), Seconds: float64(len(f.Record))}
	if f.Refused != nil {
		t.Refused = f.Refused.Error()
		return t
	}
	l := f.Learned
	t.Learned = l
	t.Gain, t.Lag, t.SecondLag, t.DeadTime = round(float64(l.Gain)), l.Lag.Seconds(), l.SecondLag.Seconds(), l.DeadTime.Seconds()
	t.Slope, t.SlopeLeast, t.SlopeMost = float64(l.Slope), float64(l.SlopeLeast), float64(l.SlopeMost)
	t.DelayLeast, t.DelayMost = l.DelayLeast.Seconds(), l.DelayMost.Seconds()
	t.RMS, t.Noise = round(float64(l.RMS)), round(float64(l.Noise))
	return t
}
