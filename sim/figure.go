package sim

import (
	"fmt"
	"time"

	"fumarium/controller/chart"
	"fumarium/controller/history"
	"fumarium/profile/quantity"
)

// Figure draws the rehearsal as a batch is drawn, as the controller saw it; beside it
// what only a model can say: the surface, what is left of the product's mass, and the
// humidity. Where the probes may not tell the truth, it stands beside what they say.
func (t *Trace) Figure(setup Setup, r *Result) chart.Figure {
	pick := func(value func(*Truth) float64) []chart.Point {
		points := make([]chart.Point, len(t.Truth))
		for i := range t.Truth {
			points[i] = chart.Point{X: t.Truth[i].Elapsed.Seconds(), Y: value(&t.Truth[i])}
		}
		return points
	}
	zero, one := 0.0, 1.0
	yield := ""
	if r.YieldPercent != nil {
		yield = fmt.Sprintf(", yield %.1f %% (%s)", *r.YieldPercent, r.Losses.Words())
	}
	drawing := history.Drawing{
		Title: setup.Product.Name,
		Subtitle: fmt.Sprintf("Rehearsal, %s: %s hung, room %s; %s after %s%s",
			r.Cabinet, quantity.Kilograms(r.LoadKilograms), quantity.Celsius(r.AmbientCelsius), r.Outcome,
			quantity.FormatDuration(time.Duration(r.ElapsedSeconds*float64(time.Second))), yield),
		Footer:       "Simulated. A rehearsal is a model: it does not prove a batch safe.",
		Width:        1100,
		Temperatures: []chart.Series{{Name: "surface", Style: chart.Faint, Points: pick(func(s *Truth) float64 { return s.Surface })}},
		Panels: []chart.Panel{{Title: "Mass and humidity", Unit: "%", Height: 120, Ratio: true, Min: &zero, Max: &one, Series: []chart.Series{
			{Name: "product mass", Style: chart.Primary, Points: pick(func(s *Truth) float64 { return s.Yield })},
			{Name: "chamber humidity", Style: chart.Faint, Points: pick(func(s *Truth) float64 { return s.Humidity })},
		}}},
	}
	if len(setup.Faults) > 0 {
		drawing.Temperatures = append(drawing.Temperatures,
			chart.Series{Name: "true chamber", Style: chart.Tertiary, Points: pick(func(s *Truth) float64 { return s.Chamber })},
			chart.Series{Name: "true core", Style: chart.Tertiary, Points: pick(func(s *Truth) float64 { return s.Core })})
	}
	return t.History.Figure(drawing)
}
