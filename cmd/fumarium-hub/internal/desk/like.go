package desk

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/outlook"
	"fumarium/controller/report"
	"fumarium/profile/quantity"
)

// mostLikeIt earlier batches, and at least fewestLikeIt, say how long one takes; common
// practice, no source.
const mostLikeIt, fewestLikeIt = 20, 3

// expected is what a board said of the end of its batch, and when that came here: only the
// hub's own clock counts, and the time between two readings of the board's.
type expected struct {
	finish outlook.Finish
	came   time.Time
}

// expect keeps what a board forecasts, or that it forecasts nothing. What is not understood is
// nothing: the record that it came with is good all the same.
func (d *Desk) expect(cabinet int, text string) {
	e := expected{came: time.Now()}
	err := json.Unmarshal([]byte(text), &e.finish)
	d.mu.Lock()
	defer d.mu.Unlock()
	if f := e.finish; err != nil || f.Latest.Before(f.Middle) || f.Middle.Before(f.Earliest) {
		delete(d.expects, cabinet)
		return
	}
	d.expects[cabinet] = e
}

// expected says how long that batch will yet take by its board's forecast; empty is that there
// is none, or none that is new enough.
func (d *Desk) expected(cabinet int, batch string) string {
	d.mu.Lock()
	e, found := d.expects[cabinet]
	d.mu.Unlock()
	since := time.Since(e.came)
	if !found || e.finish.Batch != batch || since > quietAfter {
		return ""
	}
	left := func(t time.Time) string {
		return quantity.FormatDuration(max(0, t.Sub(e.finish.Made)-since).Round(time.Minute))
	}
	return "about " + left(e.finish.Middle) + " to come, " + left(e.finish.Earliest) + " to " + left(e.finish.Latest) + " in eight of ten, by its board's forecast"
}

// toCome says how long a batch may yet take by how long others of its product took in its
// cabinet, shortest first, where its board forecasts nothing.
func toCome(elapsed time.Duration, before []time.Duration) string {
	if len(before) < fewestLikeIt {
		return "when it is done is not known here: too few like it completed in this cabinet"
	}
	first, middle, last := before[0]-elapsed, before[len(before)/2]-elapsed, before[len(before)-1]-elapsed
	by := fmt.Sprintf(", by the last %d of it in this cabinet", len(before))
	if last <= 0 {
		return "it takes longer than any" + by
	}
	return "some " + quantity.FormatDuration(max(0, middle).Round(time.Minute)) + " to come, " + quantity.FormatDuration(max(0, first).Round(time.Minute)) + " to " + quantity.FormatDuration(last.Round(time.Minute)) + by
}

// compareBatches puts two batches beside each other, of any two cabinets.
func (d *Desk) compareBatches(w http.ResponseWriter, r *http.Request, _ *store.Person) error {
	cabinet, name, found := r.FormValue("cabinet"), r.FormValue("name"), false
	var both [2]*report.Source
	for i := range both {
		b, err := d.store.Batch(r.Context(), cabinet, name)
		if err != nil {
			return err
		}
		if err := d.with(r.Context(), b, func(s *report.Source, _ string) error {
			s.ID = b.Cabinet + " / " + s.ID // two cabinets may call a batch alike
			both[i] = s
			return nil
		}); err != nil {
			return err
		}
		if cabinet, name, found = cutLast(r.FormValue("with"), " / "); !found {
			return asked("%q is no batch; write CABINET / BATCH", r.FormValue("with"))
		}
	}
	var page bytes.Buffer
	if err := report.Compare(both[0], both[1]).HTML(&page); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err := w.Write(page.Bytes())
	return err
}

func cutLast(text, sep string) (before, after string, found bool) {
	i := strings.LastIndex(text, sep)
	if i < 0 {
		return text, "", false
	}
	return text[:i], text[i+len(sep):], true
}
