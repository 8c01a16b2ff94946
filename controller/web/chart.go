package web

import (
	"bytes"
	"net/http"
	"strconv"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/chart"
	"fumarium/controller/snapshot"
)

func (s *server) chart(w http.ResponseWriter, r *http.Request) *problem {
	snap := s.Loop.Snapshot()
	if snap == nil {
		return refuse(http.StatusServiceUnavailable, "%s", errNoStep)
	}
	pixels, err := width(r)
	if err != nil {
		return refuse(http.StatusBadRequest, "width %q is no whole number; write it in pixels", r.URL.Query().Get("width"))
	}
	var svg bytes.Buffer
	if err := figure(snap, pixels).WriteSVG(&svg); err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	_, _ = w.Write(svg.Bytes())
	return nil
}

// figure is the trend of the batch. Its clock runs back from the step, so it is
// right as long as the batch was not interrupted.
func figure(s *snapshot.Snapshot, width int) chart.Figure {
	st := &s.State
	var setpoint, chamber, core, duty []chart.Point
	for _, sample := range s.Trend {
		x := sample.Elapsed.Seconds()
		setpoint = append(setpoint, chart.Point{X: x, Y: sample.Setpoint})
		chamber = append(chamber, chart.Point{X: x, Y: sample.Chamber})
		core = append(core, chart.Point{X: x, Y: sample.Core})
		duty = append(duty, chart.Point{X: x, Y: sample.Duty})
	}
	zero, one := 0.0, 1.0
	temperature := chart.Panel{Title: "Temperature", Unit: "°C", Height: 240, Series: []chart.Series{
		{Name: "setpoint", Points: setpoint, Style: chart.Setpoint, Step: true},
		{Name: "chamber", Points: chamber, Style: chart.Chamber},
		{Name: "core", Points: core, Style: chart.Core},
	}}
	f := chart.Figure{Title: "No batch yet", Width: width}
	if st.Batch != controller.Idle {
		f.Title = "This batch"
		f.ClockStart = s.Time.Add(st.Started - st.Elapsed).Truncate(time.Second)
	}
	if p := s.Product; p != nil && p.Targets.HasCore {
		temperature.Rules = append(temperature.Rules, chart.Rule{Y: float64(p.Targets.Core), Label: "core target"})
	}
	if p := s.Product; p != nil {
		f.Subtitle = p.Name
	}
	if s.Simulated {
		f.Footer = "Simulated cabinet: no real reading."
	}
	if stage := st.CurrentStage(s.Product); stage != nil {
		from, to := (st.StageEntered - st.Started).Seconds(), (st.Elapsed - st.Started).Seconds()
		f.Spans = []chart.Span{{From: from, To: max(from, to), Label: stage.Name, Shade: 1}}
	}
	for _, l := range s.Lines {
		if !l.Priority.Loud() || f.ClockStart.IsZero() || l.Time.Before(f.ClockStart) { // not of this batch
			continue
		}
		x := l.Elapsed.Seconds()
		if n := len(f.Marks); n > 0 && f.Marks[n-1].X == x { // an alarm and its trip are one mark
			continue
		}
		label, _, _ := strings.Cut(l.Text, ":")
		f.Marks = append(f.Marks, chart.Mark{X: x, Label: label, Abnormal: true})
	}
	f.Panels = []chart.Panel{temperature, {
		Title: "Heater duty", Ratio: true, Min: &zero, Max: &one, Height: 80,
		Series: []chart.Series{{Name: "duty", Points: duty, Style: chart.Area}},
	}}
	return f
}

// width reads the width of the chart that was asked for, 0 for the usual one.
func width(r *http.Request) (int, error) {
	text := r.URL.Query().Get("width")
	if text == "" {
		return 0, nil
	}
	return strconv.Atoi(text)
}
