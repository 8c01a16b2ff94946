package assess

import (
	"fmt"

	"fumarium/profile/logbook"
	"fumarium/profile/quantity"
)

// What a core does not do by itself; common practice, no source. The thinnest product that
// is smoked, a stick of 19 mm, cools in ice water by less than 20 K in a minute, and no
// core is heated so fast.
const (
	noise          = 5.0  // K: what a reading may be off and still go on from the one before
	warmed         = 0.5  // K per minute by which a core may have gone on while its probe lay in the cool
	warmedAtMost   = 5.0  // K
	fastestRise    = 15.0 // K per minute
	fastestFall    = 30.0
	longestOutlier = 2 // rows
)

// believed says which readings of a core count. Two kinds do not: outliers, which the
// rows around them contradict, and all that a probe reads from a jump on until it reads
// again what it read before, because it may lie anywhere meanwhile.
func (v *Verdict) believed(log *logbook.Log, c *logbook.Column) []bool {
	ok := make([]bool, log.Rows())
	var rows []int // that were read
	for row := range ok {
		if _, read := c.Reading(row); read {
			ok[row], rows = true, append(rows, row)
		}
	}
	v.outliers(log, c, rows, ok)
	v.jumps(log, c, rows, ok)
	return ok
}

// outliers finds rows that stand out from those before and after. The last row has none
// after it, so that nobody confirms when it is the hotter one.
func (v *Verdict) outliers(log *logbook.Log, c *logbook.Column, rows []int, ok []bool) {
	at := func(i int) float64 {
		t, _ := c.Reading(rows[i])
		return float64(t)
	}
	found, first := 0, 0
	doubt := func(i int) {
		if found == 0 {
			first = i
		}
		found++
		ok[rows[i]] = false
	}
	for width := longestOutlier; width >= 1; width-- {
		for i := 1; i+width < len(rows); i++ {
			before, after := at(i-1), at(i+width)
			above, below := true, true
			for j := i; j < i+width; j++ {
				above = above && at(j) > max(before, after)+noise
				below = below && at(j) < min(before, after)-noise
			}
			alike := before-after <= noise && after-before <= noise
			if !(above || below) || width > 1 && !alike || !ok[rows[i-1]] || !ok[rows[i]] {
				continue
			}
			for j := i; j < i+width; j++ {
				doubt(j)
			}
		}
	}
	if last := len(rows) - 1; last > 0 && at(last) > at(last-1)+noise {
		doubt(last)
	}
	if found > 0 {
		t, _ := c.Reading(rows[first])
		v.warn("%s:%d: %s reads %v, which the rows around it do not bear out (%s): it counts as not read", log.File, log.Line(rows[first]), c.Header, t, times(found))
	}
}

// jumps finds where a probe leaves its course. It comes back when it reads what it read
// before; of one that lay in the cool, a little more, for the core went on without it.
func (v *Verdict) jumps(log *logbook.Log, c *logbook.Column, rows []int, ok []bool) {
	var last int // row of the last believed reading
	seen, away, cool := false, false, false
	for _, row := range rows {
		if !ok[row] {
			continue
		}
		if !seen {
			last, seen = row, true
			continue
		}
		from, _ := c.Reading(last)
		to, _ := c.Reading(row)
		change, dt := float64(to-from), log.At(row)-log.At(last)
		near := change <= noise && change >= -noise
		if away && cool {
			near = change <= noise+min(warmed*dt.Minutes(), warmedAtMost) && change >= -noise
		}
		tooFast := !near && (change > fastestRise*dt.Minutes() || -change > fastestFall*dt.Minutes())
		switch {
		case away && !near, !away && tooFast && dt <= v.facts.gap:
			if !away {
				cool = change < 0
				v.warn("%s:%d: %s changes by %v from one row to the next, faster than meat does: nothing counts from here on until it reads about %v again; make sure that the probe stayed in the product, and cut the log to the time in which it did",
					log.File, log.Line(row), c.Header, quantity.Kelvin(max(change, -change)), from)
			}
			away, ok[row] = true, false
			continue
		}
		away, last = false, row
	}
}

func times(n int) string {
	if n == 1 {
		return "one such row"
	}
	return fmt.Sprintf("the first of %d such rows", n)
}
