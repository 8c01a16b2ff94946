package web

import (
	"bytes"
	"net/http"
	"strconv"
	"time"

	"fumarium/controller"
	"fumarium/controller/chart"
	"fumarium/controller/history"
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

// figure is the history of the batch. Its clock runs back from the step, so it is
// right as long as the length of every interruption was known.
func figure(s *snapshot.Snapshot, width int) chart.Figure {
	d := history.Drawing{Title: "No batch yet", Width: width}
	if st := &s.State; st.Batch != controller.Idle {
		d.Title = "This batch"
		d.ClockStart = s.Time.Add(st.Started - st.Elapsed).Truncate(time.Second)
	}
	if s.Product != nil {
		d.Subtitle = s.Product.Name
	}
	if s.Simulated {
		d.Footer = "Simulated cabinet: no real reading."
	}
	return s.History.Figure(d)
}

// width reads the width of the chart that was asked for, 0 for the usual one.
func width(r *http.Request) (int, error) {
	text := r.URL.Query().Get("width")
	if text == "" {
		return 0, nil
	}
	return strconv.Atoi(text)
}
