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
	"fumarium/profile/quantity"
)

// widthStep is how far apart the widths are in which charts are drawn, in pixels, so that
// the screens of a house share a few, and no row of widths can ask for a thousand.
const widthStep = 80

func (s *server) chart(w http.ResponseWriter, r *http.Request) *problem {
	pixels, err := width(r)
	if err != nil {
		return refuse(http.StatusBadRequest, "width %q is no whole number; write it in pixels", r.URL.Query().Get("width"))
	}
	if pixels < chart.MinWidthPixels || pixels > chart.MaxWidthPixels {
		return refuse(http.StatusBadRequest, "width %d is outside %d to %d pixels; choose one within, or leave it out for %d",
			pixels, chart.MinWidthPixels, chart.MaxWidthPixels, chart.DefaultWidthPixels)
	}
	pixels -= pixels % widthStep
	var units quantity.Units // as many as four
	if text := r.URL.Query().Get("units"); text != "" {
		if units, err = quantity.ParseUnits(text); err != nil {
			return refuse(http.StatusBadRequest, "units: %v", err)
		}
	}
	return s.charts.get(r.Context(), strconv.Itoa(pixels)+" "+units.String(), func(snap *snapshot.Snapshot) *rendering {
		if snap == nil {
			return &rendering{problem: refuse(http.StatusServiceUnavailable, "%s", errNoStep)}
		}
		var svg bytes.Buffer
		drawing := figure(snap, pixels)
		drawing.Units = units
		if err := drawing.WriteSVG(&svg); err != nil {
			return &rendering{problem: refuse(http.StatusInternalServerError, "%v", err)}
		}
		return &rendering{kind: "image/svg+xml", body: svg.Bytes()}
	}).answer(w)
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

// width reads the width of the chart that was asked for.
func width(r *http.Request) (int, error) {
	text := r.URL.Query().Get("width")
	if text == "" {
		return chart.DefaultWidthPixels, nil
	}
	return strconv.Atoi(text)
}
