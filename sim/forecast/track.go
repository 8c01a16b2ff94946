package forecast

import (
	"math"
	"slices"
	"time"

	"fumarium/controller/history"
)

// A Track is a batch minute by minute, as its history has it.
type Track struct {
	Core, Chamber []float32 // °C; NaN where nothing was read
	On            []float32 // minutes that the heater has been on since the start
	Stages        []Span    // those that have begun
	Elapsed       float64   // s since the start

	Climb []float32 // the hottest core so far
}

// A Span is one stage of a track, in seconds since the start.
type Span struct {
	Index        int
	Began, Ended float64 // what has not ended ends with the track
	Over         bool
}

// longestGap is how far apart two samples may be that a line is drawn between.
const longestGap = 12.0 // min

// TrackOf takes a track from a history, as it was after some time.
func TrackOf(h *history.History, elapsed time.Duration) Track {
	minutes := int(elapsed/time.Minute) + 1
	t := Track{
		Core: make([]float32, minutes), Chamber: make([]float32, minutes), On: make([]float32, minutes), Climb: make([]float32, minutes),
		Elapsed: elapsed.Seconds(),
	}
	samples := h.Samples()
	if end := slices.IndexFunc(samples, func(s history.Sample) bool { return s.Elapsed > elapsed }); end >= 0 {
		samples = samples[:end]
	}
	line(t.Core, samples, func(s history.Sample) float64 { return s.Core })
	line(t.Chamber, samples, func(s history.Sample) float64 { return s.Chamber })
	duties(t.On, h.Duties())
	hottest := float32(math.Inf(-1))
	for i, v := range t.Core {
		if v > hottest {
			hottest = v
		}
		t.Climb[i] = hottest
	}
	for _, s := range h.Stages() {
		if s.Began > elapsed {
			break
		}
		span := Span{Index: s.Index, Began: s.Began.Seconds(), Ended: elapsed.Seconds()}
		if s.Over && s.Ended <= elapsed {
			span.Ended, span.Over = s.Ended.Seconds(), true
		}
		t.Stages = append(t.Stages, span)
	}
	return t
}

// line puts straight lines through what was read.
func line(into []float32, samples []history.Sample, of func(history.Sample) float64) {
	for i := range into {
		into[i] = float32(math.NaN())
	}
	before, was, any := 0.0, 0.0, false
	for _, s := range samples {
		v, at := of(s), s.Elapsed.Minutes()
		if math.IsNaN(v) {
			any = false
			continue
		}
		from := before
		if !any || at-before > longestGap {
			from, was = at, v
		}
		for m := int(math.Ceil(from)); m <= int(at) && m < len(into); m++ {
			into[m] = float32(v)
			if at > from {
				into[m] = float32(was + (v-was)*(float64(m)-from)/(at-from))
			}
		}
		before, was, any = at, v, true
	}
	// The last sample is as good as now for a minute.
	if n := len(into); any && n > 1 && math.IsNaN(float64(into[n-1])) && float64(n-1)-before <= 1 {
		into[n-1] = float32(was)
	}
}

// duties adds up how long the heater was on; what nobody saw counts as off.
func duties(into []float32, all []history.Duty) {
	at, sum := 0, 0.0
	for m := range into {
		for at < len(all) && all[at].To.Minutes() <= float64(m) {
			if r := all[at].Ratio; !math.IsNaN(r) {
				sum += r * (all[at].To - all[at].From).Minutes()
			}
			at++
		}
		part := 0.0
		if at < len(all) && all[at].From.Minutes() < float64(m) && !math.IsNaN(all[at].Ratio) {
			part = all[at].Ratio * (float64(m) - all[at].From.Minutes())
		}
		into[m] = float32(sum + part)
	}
}

// Value is what a line has at a time, in minutes; at its ends it stays.
func Value(line []float32, minute float64) float64 {
	last := len(line) - 1
	if last < 0 {
		return math.NaN()
	}
	m := min(max(minute, 0), float64(last))
	i := int(m)
	if i == last {
		return float64(line[last])
	}
	a, b := float64(line[i]), float64(line[i+1])
	if m == float64(i) { // its neighbour may be none
		return a
	}
	return a + (b-a)*(m-float64(i))
}

// mean is the mean of what was read over some minutes up to one, or NaN.
func mean(line []float32, until, over float64) float64 {
	sum, n := 0.0, 0
	for m := max(0, int(math.Ceil(until-over))); m <= int(until) && m < len(line); m++ {
		if v := float64(line[m]); !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

// passed is the minute at which the core first came to a temperature, from a minute on;
// false where it never did.
func (t *Track) passed(core float64, from float64) (float64, bool) {
	first := max(0, int(math.Ceil(from)))
	if first >= len(t.Climb) {
		return 0, false
	}
	n, _ := slices.BinarySearchFunc(t.Climb[first:], float32(core), func(v, want float32) int {
		if v < want {
			return -1
		}
		return 1
	})
	i := first + n
	switch {
	case i >= len(t.Climb):
		return 0, false
	case i == first || !(t.Climb[i] > t.Climb[i-1]) || math.IsInf(float64(t.Climb[i-1]), -1):
		return float64(i), true
	}
	a, b := float64(t.Climb[i-1]), float64(t.Climb[i])
	return float64(i-1) + (core-a)/(b-a), true
}

// coldest is the core that was read first.
func (t *Track) coldest() float64 {
	for _, v := range t.Core {
		if !math.IsNaN(float64(v)) {
			return float64(v)
		}
	}
	return math.NaN()
}

// Stage is the span of a stage, if it has begun.
func (t *Track) Stage(index int) (Span, bool) {
	for _, s := range t.Stages {
		if s.Index == index {
			return s, true
		}
	}
	return Span{}, false
}

// Until is the track as it was at a time, in seconds since the start.
func (t *Track) Until(elapsed float64) *Track {
	n := min(int(elapsed/60)+1, len(t.Core))
	c := Track{Core: t.Core[:n], Chamber: t.Chamber[:n], On: t.On[:n], Climb: t.Climb[:n], Elapsed: elapsed}
	for _, s := range t.Stages {
		if s.Began > elapsed {
			break
		}
		if s.Ended > elapsed {
			s.Ended, s.Over = elapsed, false
		}
		c.Stages = append(c.Stages, s)
	}
	return &c
}
