package chart

import (
	"math"
	"slices"
)

// A box is a rectangle in pixels, y downwards.
type box struct{ x0, y0, x1, y1 float64 }

func (b box) overlaps(o box) bool {
	return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1
}

func (b box) grown(by float64) box {
	return box{b.x0 - by, b.y0 - by, b.x1 + by, b.y1 + by}
}

// A named line wants its name written next to it.
type namedLine struct {
	track  track
	width  float64 // of the name
	colour string  // of the name
	left   bool    // prefer the left end (rules) to the right end (series)
}

type namedLines []namedLine

// twins lists the lines that run together with line i, as a chamber on its
// setpoint does, all along columns c0 to c1. Lines whose names have one colour
// are never twins: nothing would tell whose name it is.
func (ls namedLines) twins(i, c0, c1 int) []int {
	const together = 2.5 // pixels
	own := ls[i].track
	var twins []int
	for j := range ls {
		if j == i || ls[j].colour == ls[i].colour {
			continue
		}
		other, alike, apart := ls[j].track, 0, 0
		for c := c0; c <= c1; c++ {
			if math.IsNaN(own.top[c]) || math.IsNaN(other.top[c]) {
				continue
			}
			if math.Abs(own.top[c]-other.top[c]) < together && math.Abs(own.bottom[c]-other.bottom[c]) < together {
				alike++
			} else {
				apart++
			}
		}
		if alike > 0 && apart == 0 {
			twins = append(twins, j)
		}
	}
	return twins
}

// placeNames finds a clear place on each line for its name: beside its own
// line, off every other line, off the other names, nearer to its own line than
// to any other. Where two lines run as one, a name in its line's colour may
// stand beside both. Only the lines in want are named; the others merely stand in
// the way. ok[i] is false where no place is left. Coordinates are relative to
// the plot of size w by h; marks are the pixel columns of vertical lines.
func placeNames(lines namedLines, want []int, marks []float64, w, h, height float64) (at []box, ok []bool) {
	at, ok = make([]box, len(lines)), make([]bool, len(lines))
	// The line with the fewest choices goes first.
	choices := make([]int, len(lines))
	for _, i := range want {
		_, choices[i] = bestPlace(lines, i, marks, nil, w, h, height)
	}
	order := slices.Clone(want)
	slices.SortStableFunc(order, func(i, j int) int { return choices[i] - choices[j] })
	var taken []box
	for _, i := range order {
		if b, count := bestPlace(lines, i, marks, taken, w, h, height); count > 0 {
			at[i], ok[i] = b, true
			taken = append(taken, b)
		}
	}
	return at, ok
}

// bestPlace returns the best place for the name of line i, and how many places
// would do.
func bestPlace(lines namedLines, i int, marks []float64, taken []box, w, h, height float64) (best box, count int) {
	const (
		inset  = 3.0  // from the edge of the plot
		near   = 2.5  // between a line and its name
		clear  = 3.0  // between a name and anything else
		farGap = 45.0 // a name further off its line on average than this seems lost
		reach  = 24.0 // a neighbour beyond this does not disturb
		stride = 4.0
	)
	own := lines[i]
	present := own.present()
	bestCost := math.Inf(1)
	for x := inset; x+own.width <= w-inset; x += stride {
		c0, c1 := int(x), int(math.Ceil(x+own.width))
		c1 = min(c1, len(own.track.top)-1)
		top, bottom, sumTop, sumBottom, n := math.Inf(1), math.Inf(-1), 0.0, 0.0, 0
		twins := lines.twins(i, c0, c1)
		for c := c0; c <= c1; c++ {
			if t := own.track.top[c]; !math.IsNaN(t) {
				b := own.track.bottom[c]
				for _, j := range twins {
					if o := lines[j].track; !math.IsNaN(o.top[c]) {
						t, b = min(t, o.top[c]), max(b, o.bottom[c])
					}
				}
				if t < top {
					top = t
				}
				if b > bottom {
					bottom = b
				}
				sumTop += t
				sumBottom += b
				n++
			}
		}
		// A short line may be narrower than its name; then its middle must be
		// under the name.
		if n == 0 || (n < (c1-c0)*3/4 && n < present) {
			continue
		}
		for _, above := range []bool{true, false} {
			b := box{x0: x, x1: x + own.width}
			var gap float64
			if above {
				b.y1 = top - near
				b.y0 = b.y1 - height
				gap = sumTop/float64(n) - b.y1
			} else {
				b.y0 = bottom + near
				b.y1 = b.y0 + height
				gap = b.y0 - sumBottom/float64(n)
			}
			if b.y0 < inset || b.y1 > h-inset || gap > farGap {
				continue
			}
			blocked := false
			for _, t := range taken {
				blocked = blocked || b.grown(clear).overlaps(t)
			}
			if blocked {
				continue
			}
			nearest := reach
			for j, other := range lines {
				if j != i && !slices.Contains(twins, j) {
					nearest = min(nearest, other.track.distance(b.grown(clear)))
				}
			}
			if nearest <= 0 || (nearest < reach && nearest+clear < gap) {
				continue
			}
			cost := 2*gap + 0.8*(reach-nearest) + 25*float64(len(twins))
			for _, m := range marks {
				if m > b.x0-2 && m < b.x1+2 {
					cost += 15
				}
			}
			if own.left {
				cost += 0.03 * x
			} else {
				cost += 0.03 * (w - b.x1)
			}
			if !above {
				cost += 2
			}
			count++
			if cost < bestCost-1e-6 {
				bestCost, best = cost, b
			}
		}
	}
	return best, count
}

// present counts the columns in which the line exists.
func (l namedLine) present() int {
	n := 0
	for _, t := range l.track.top {
		if !math.IsNaN(t) {
			n++
		}
	}
	return n
}

// distance is how far the line stays above or below b, 0 if it crosses it.
func (t track) distance(b box) float64 {
	d := math.Inf(1)
	last := min(int(math.Ceil(b.x1)), len(t.top)-1)
	for c := max(0, int(b.x0)); c <= last; c++ {
		gap := b.y0 - t.bottom[c] // NaN where the line is absent
		if gap <= 0 {
			if gap = t.top[c] - b.y1; gap <= 0 {
				return 0
			}
		}
		if gap < d {
			d = gap
		}
	}
	return d
}
