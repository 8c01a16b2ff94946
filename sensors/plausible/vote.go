package plausible

import (
	"slices"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// Vote is one reading for a place that has several probes: the median of those
// that are good. Two that differ by more than apart cannot both be right and
// there is no third to ask, so they give Implausible; so do more of which the
// middle one has no other near it. With none good it is the first fault. Readings
// that are Unread do not count, nor do good ones beyond the ninth.
func Vote(apart quantity.Kelvin, readings ...sensors.Reading) sensors.Reading {
	var good [maxMedian]quantity.Celsius
	n := 0
	verdict := sensors.Fault(sensors.Unread)
	for _, r := range readings {
		if v, ok := r.Value(); ok && n < maxMedian {
			good[n] = v
			n++
		} else if !ok && verdict.Status() == sensors.Unread {
			verdict = r
		}
	}
	if n == 0 {
		return verdict
	}
	slices.Sort(good[:n])
	middle := good[n/2]
	off := quantity.Celsius(0)
	switch {
	case n%2 == 0:
		off = good[n/2] - good[n/2-1]
		middle -= off / 2
	case n > 1:
		off = min(good[n/2]-good[n/2-1], good[n/2+1]-good[n/2])
	}
	if float64(off) > float64(apart) {
		return sensors.Fault(sensors.Implausible)
	}
	return sensors.At(middle)
}
