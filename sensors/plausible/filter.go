package plausible

import (
	"math"
	"slices"
	"time"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// maxMedian is the longest median window.
const maxMedian = 9

// A Filter smooths one probe: a median against single wrong values, then a
// first-order low-pass against noise. The zero Filter does nothing.
type Filter struct {
	Median  int           // readings in the window, at most 9, an even number rounded up; 0 and 1 are none
	LowPass time.Duration // time constant; zero is none
	// Gap is the longest pause in good readings that the filter bridges; after a
	// longer one it starts again. With zero it starts again after every fault.
	Gap time.Duration
}

// A Window is what Step remembers of one probe. The zero Window is empty.
type Window struct {
	Values  [maxMedian]quantity.Celsius
	Count   int // how many are filled
	Next    int // where the next goes
	At      time.Duration
	Smooth  quantity.Celsius
	Running bool // Smooth is set
}

// Lag is by how much the filtered reading follows a steady ramp late, with
// readings the given time apart: half the median window and the time constant.
func (f Filter) Lag(interval time.Duration) time.Duration {
	return time.Duration(f.size()-1)*interval/2 + f.LowPass
}

func (f Filter) size() int { return min(max(f.Median, 1), maxMedian) | 1 }

// Step takes the next reading and gives the filtered one. Until the median window
// is full there is none.
func (f Filter) Step(w Window, now time.Duration, r sensors.Reading) (Window, sensors.Reading) {
	pause := now - w.At
	v, ok := r.Value()
	if !ok {
		if w.Count > 0 && (f.Gap == 0 || pause > f.Gap) {
			w = Window{}
		}
		return w, r
	}
	if w.Count > 0 && (pause < 0 || f.Gap > 0 && pause > f.Gap) {
		w = Window{}
	}
	size := f.size()
	w.Values[w.Next] = v
	w.Next = (w.Next + 1) % size
	w.Count = min(w.Count+1, size)
	w.At = now
	if w.Count < size {
		return w, sensors.Fault(sensors.Unread)
	}
	sorted := w.Values
	slices.Sort(sorted[:size])
	m := sorted[size/2]
	if !w.Running || f.LowPass <= 0 {
		w.Smooth, w.Running = m, true
	} else {
		share := -math.Expm1(-pause.Seconds() / f.LowPass.Seconds())
		w.Smooth += quantity.Celsius(share) * (m - w.Smooth)
	}
	return w, sensors.At(w.Smooth)
}
