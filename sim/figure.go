package sim

import (
	"fmt"
	"time"

	"fumarium/controller"
	"fumarium/controller/chart"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// Figure draws the trace: temperatures, heater duty and what is left of the
// product's mass, with the stages above and hand steps and alarms as marks.
func (t *Trace) Figure(p *profile.Product, r *Result) chart.Figure {
	pick := func(value func(*Sample) float64) []chart.Point {
		points := make([]chart.Point, len(t.Samples))
		for i := range t.Samples {
			points[i] = chart.Point{X: t.Samples[i].Elapsed.Seconds(), Y: value(&t.Samples[i])}
		}
		return points
	}
	zero, one := 0.0, 1.0
	temperatures := chart.Panel{
		Title: "Temperature", Unit: "°C", Height: 340,
		Series: []chart.Series{
			{Name: "chamber", Style: chart.Chamber, Points: pick(func(s *Sample) float64 { return s.Chamber })},
			{Name: "setpoint", Style: chart.Setpoint, Step: true, Points: pick(func(s *Sample) float64 { return s.Setpoint })},
			{Name: "core", Style: chart.Core, Points: pick(func(s *Sample) float64 { return s.Core })},
			{Name: "surface", Style: chart.Faint, Points: pick(func(s *Sample) float64 { return s.Surface })},
		},
	}
	if p.Targets.HasCore {
		temperatures.Rules = []chart.Rule{{Y: float64(p.Targets.Core), Label: "core target " + p.Targets.Core.String()}}
	}
	yield := ""
	if r.YieldPercent != nil {
		yield = fmt.Sprintf(", yield %.1f %%", *r.YieldPercent)
	}
	figure := chart.Figure{
		Title: p.Name,
		Subtitle: fmt.Sprintf("Rehearsal, %s: %s hung, room %s; %s after %s%s",
			r.Cabinet, quantity.Kilograms(r.LoadKilograms), quantity.Celsius(r.AmbientCelsius), r.Outcome,
			quantity.FormatDuration(time.Duration(r.ElapsedSeconds*float64(time.Second))), yield),
		Footer: "Simulated. A rehearsal is a model: it does not prove a batch safe.",
		Width:  1100,
		Panels: []chart.Panel{
			temperatures,
			{Title: "Heater duty", Unit: "%", Height: 110, Ratio: true, Min: &zero, Max: &one, Series: []chart.Series{
				{Name: "duty", Style: chart.Area, Points: pick(func(s *Sample) float64 { return s.Duty })},
			}},
			{Title: "Mass and humidity", Unit: "%", Height: 120, Ratio: true, Min: &zero, Max: &one, Series: []chart.Series{
				{Name: "product mass", Style: chart.Primary, Points: pick(func(s *Sample) float64 { return s.Yield })},
				{Name: "chamber humidity", Style: chart.Faint, Points: pick(func(s *Sample) float64 { return s.Humidity })},
			}},
		},
	}
	for i, stage := range r.Stages {
		figure.Spans = append(figure.Spans, chart.Span{From: stage.StartSeconds, To: stage.EndSeconds, Label: stage.Name, Shade: i % 2})
	}
	for _, e := range t.Events {
		switch e.Kind {
		case controller.Answered:
			figure.Marks = append(figure.Marks, chart.Mark{X: e.At.Seconds(), Label: e.Prompt(p)})
		case controller.AlarmRaised:
			figure.Marks = append(figure.Marks, chart.Mark{X: e.At.Seconds(), Label: e.Alarm.String(), Abnormal: true})
		}
	}
	return figure
}
