package history

import (
	"math"
	"time"

	"fumarium/controller"
	"fumarium/controller/chart"
)

// A Drawing is what a figure of a batch says beside its history. All of it may be
// left out.
type Drawing struct {
	Title, Subtitle, Footer string
	Width                   int       // pixels; 0 is the usual one
	ClockStart              time.Time // time of day when the batch was started
	// Temperatures are drawn beside those of the history, Panels below it.
	Temperatures []chart.Series
	Panels       []chart.Panel
}

// Figure draws the batch: temperatures and heater duty, the stages above, hand steps
// and alarms as marks.
func (h *History) Figure(d Drawing) chart.Figure {
	width := d.Width
	if width == 0 {
		width = chart.DefaultWidthPixels
	}
	height := min(340, max(240, width/3))
	temperatures := chart.Panel{Title: "Temperature", Unit: "°C", Height: height, Series: append(h.temperatures(), d.Temperatures...)}
	if p := h.product; p != nil && p.Targets.HasCore {
		temperatures.Rules = []chart.Rule{{Y: float64(p.Targets.Core), Label: "core target " + p.Targets.Core.String()}}
	}
	zero, one := 0.0, 1.0
	duty := chart.Panel{
		Title: "Heater duty", Unit: "%", Height: height / 3, Ratio: true, Min: &zero, Max: &one,
		Series: []chart.Series{{Name: "duty", Style: chart.Area, Step: true, Points: h.duty()}},
	}
	return chart.Figure{
		Title: d.Title, Subtitle: d.Subtitle, Footer: d.Footer, Width: d.Width, ClockStart: d.ClockStart,
		Panels: append([]chart.Panel{temperatures, duty}, d.Panels...), Spans: h.spans(), Marks: h.marks(),
	}
}

func (h *History) temperatures() []chart.Series {
	samples := h.Samples()
	pick := func(value func(*Sample) float64) []chart.Point {
		points := make([]chart.Point, len(samples))
		for i := range samples {
			points[i] = chart.Point{X: samples[i].Elapsed.Seconds(), Y: value(&samples[i])}
		}
		return points
	}
	return []chart.Series{
		{Name: "chamber", Style: chart.Chamber, Points: pick(func(s *Sample) float64 { return s.Chamber })},
		{Name: "setpoint", Style: chart.Setpoint, Step: true, Points: pick(func(s *Sample) float64 { return s.Setpoint })},
		{Name: "core", Style: chart.Core, Points: pick(func(s *Sample) float64 { return s.Core })},
	}
}

// duty holds each stretch's share until its end, and is unknown where nobody looked.
func (h *History) duty() []chart.Point {
	var points []chart.Point
	end := 0.0
	for _, d := range h.Duties() {
		from := d.From.Seconds()
		if len(points) > 0 && from > end {
			points = append(points, chart.Point{X: end, Y: math.NaN()})
		}
		end = d.To.Seconds()
		points = append(points, chart.Point{X: from, Y: d.Ratio}, chart.Point{X: end, Y: d.Ratio})
	}
	return points
}

func (h *History) spans() []chart.Span {
	var spans []chart.Span
	for i, s := range h.stages {
		end := s.Ended
		if !s.Over {
			end = max(s.Began, h.Elapsed())
		}
		spans = append(spans, chart.Span{From: s.Began.Seconds(), To: end.Seconds(), Label: s.Name, Shade: i % 2})
	}
	return spans
}

// marks are the hand steps when they were done and the alarms when they came up. Only
// what must not wait is loud.
func (h *History) marks() []chart.Mark {
	var marks []chart.Mark
	events := h.BatchEvents()
	for i := range events {
		switch e := &events[i]; e.Kind {
		case controller.Answered:
			marks = append(marks, chart.Mark{X: e.Elapsed.Seconds(), Label: e.Prompt()})
		case controller.AlarmRaised:
			marks = append(marks, chart.Mark{X: e.Elapsed.Seconds(), Label: e.Alarm.String(), Abnormal: e.Priority.Loud()})
		}
	}
	return marks
}
