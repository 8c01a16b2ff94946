package chart

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// A tick is one labelled place on an axis.
type tick struct {
	at    float64
	label string
}

// valueStep is the smallest of 1, 2 or 5 times a power of ten that is at least
// least.
func valueStep(least float64) float64 {
	base := math.Pow(10, math.Floor(math.Log10(least)))
	for _, m := range []float64{1, 2, 5} {
		if m*base >= least*(1-1e-9) {
			return m * base
		}
	}
	return 10 * base
}

// percentStep chooses among the steps that divide 100 evenly, so that a scale
// of 0 to 100 % ends on a tick.
func percentStep(least float64) float64 {
	for _, s := range []float64{1, 2, 5, 10, 20, 25, 50, 100} {
		if least > 0.5 && s >= least*(1-1e-9) {
			return s
		}
	}
	return valueStep(least)
}

// valueTicks lists the multiples of step within lo..hi.
func valueTicks(lo, hi, step float64) []tick {
	const most = 200
	first := math.Ceil(lo/step - 1e-6)
	var ticks []tick
	for k := first; k*step <= hi+1e-6*step && len(ticks) < most; k++ {
		ticks = append(ticks, tick{at: k * step, label: valueLabel(k*step, step)})
	}
	return ticks
}

// valueLabel prints v with the decimals that step needs.
func valueLabel(v, step float64) string {
	decimals := 0
	if step < 1 {
		decimals = int(math.Ceil(-math.Log10(step) - 1e-9))
	}
	if math.Abs(v) >= 1e7 {
		return minus(strconv.FormatFloat(v, 'g', 6, 64))
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return "0" // never "-0" or "0.0"
	}
	return minus(s)
}

func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

const (
	minute = 60.0
	hour   = 3600.0
	day    = 86400.0
)

var timeSteps = []float64{
	1, 2, 5, 10, 15, 30,
	1 * minute, 2 * minute, 5 * minute, 10 * minute, 15 * minute, 30 * minute,
	1 * hour, 2 * hour, 3 * hour, 4 * hour, 6 * hour, 12 * hour,
	1 * day, 2 * day, 7 * day,
}

// timeTicks chooses the smallest round step whose labels stand clear of each
// other, and lists its ticks within x0..x1. list makes the ticks of a step;
// width measures a label in pixels.
func timeTicks(x0, x1, secondsPerPixel float64, list func(step float64) []tick, width func(string) float64) []tick {
	const gap, least = 14, 24 // pixels
	for i := 0; ; i++ {
		var step float64
		if i < len(timeSteps) {
			step = timeSteps[i]
		} else {
			step = 14 * day * math.Pow(2, float64(i-len(timeSteps)))
		}
		room := step / secondsPerPixel
		if room < least {
			continue
		}
		ticks := list(step)
		widest := 0.0
		for _, t := range ticks {
			widest = math.Max(widest, width(t.label))
		}
		if widest+gap <= room || step > x1-x0 {
			return ticks
		}
	}
}

func elapsedTicks(x0, x1, step float64) []tick {
	var ticks []tick
	for k := math.Ceil(x0/step - 1e-9); k*step <= x1+1e-9*step; k++ {
		ticks = append(ticks, tick{at: k * step, label: elapsedLabel(k*step, step)})
	}
	return ticks
}

// elapsedLabel names an elapsed time as shortly as its step allows: 0, 30 min,
// 1 h, 1 h 30.
func elapsedLabel(seconds, step float64) string {
	if seconds <= -0.5 {
		return "−" + elapsedLabel(-seconds, step)
	}
	n := int64(math.Round(seconds))
	h, m, s := n/3600, n/60%60, n%60
	text := func(v int64) string { return strconv.FormatInt(v, 10) }
	switch {
	case n == 0:
		return "0"
	case step >= day && n%86400 == 0:
		return text(n/86400) + " d"
	case h > 0 && m == 0 && s == 0:
		return text(h) + " h"
	case h > 0 && s == 0:
		return text(h) + " h " + text(m)
	case h > 0:
		return text(h) + " h " + text(m) + " min " + text(s)
	case m > 0 && s == 0:
		return text(m) + " min"
	case m > 0:
		return text(m) + " min " + text(s)
	default:
		return text(s) + " s"
	}
}

// clockTicks lists round times of day. It counts in wall-clock time from
// midnight, so labels stay round across a change of daylight saving.
func clockTicks(start time.Time, x0, x1, step float64) []tick {
	from := start.Add(duration(x0))
	y, mo, d := from.Date()
	var ticks []tick
	last := math.Inf(-1)
	midnight := time.Date(y, mo, d, 0, 0, 0, 0, start.Location())
	first := int64((from.Sub(midnight).Seconds()-2*hour)/step) - 1
	for k := first; ; k++ {
		at := time.Date(y, mo, d, 0, 0, int(float64(k)*step), 0, start.Location())
		x := at.Sub(start).Seconds()
		if x > x1 {
			return ticks
		}
		if x < x0 || x <= last {
			continue
		}
		last = x
		layout := "15:04"
		switch {
		case at.Hour() == 0 && at.Minute() == 0 && at.Second() == 0:
			layout = "2 Jan"
		case step < minute:
			layout = "15:04:05"
		}
		ticks = append(ticks, tick{at: x, label: at.Format(layout)})
	}
}

func duration(seconds float64) time.Duration {
	return time.Duration(seconds * float64(time.Second))
}

// spell writes a length of time for people: 45 min, 2 h, 2 h 5 min.
func spell(seconds float64) string {
	if seconds <= -0.5 {
		return "−" + spell(-seconds)
	}
	if seconds < 10*minute {
		n := int64(math.Round(seconds))
		switch {
		case n < 60:
			return strconv.FormatInt(n, 10) + " s"
		case n%60 == 0:
			return strconv.FormatInt(n/60, 10) + " min"
		}
		return strconv.FormatInt(n/60, 10) + " min " + strconv.FormatInt(n%60, 10) + " s"
	}
	n := int64(math.Round(seconds / minute))
	switch {
	case n < 60:
		return strconv.FormatInt(n, 10) + " min"
	case n%60 == 0:
		return strconv.FormatInt(n/60, 10) + " h"
	}
	return strconv.FormatInt(n/60, 10) + " h " + strconv.FormatInt(n%60, 10) + " min"
}
