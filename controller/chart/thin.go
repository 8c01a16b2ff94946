package chart

import "math"

// An xy is a place in pixels, y downwards.
type xy struct{ x, y float64 }

// columns splits points into unbroken runs and keeps at most four of each
// run's points per pixel column: first, lowest, highest, last, in their order.
// Nothing that a column could show is lost. A gap narrower than a column is
// closed, for it could not be seen.
func columns(points []Point, column func(x float64) int) [][]Point {
	var (
		runs     [][]Point
		run      []Point
		at       int  // column of the open bucket
		open     bool // a bucket is open
		gap      bool // an unknown value came since the last known one
		first    Point
		last     Point
		low      Point
		high     Point
		lowNo    int
		highNo   int
		lastNo   int
		flushOne = func() {
			if !open {
				return
			}
			run = append(run, first)
			inner, innerNo := [2]Point{low, high}, [2]int{lowNo, highNo}
			if highNo < lowNo {
				inner, innerNo = [2]Point{high, low}, [2]int{highNo, lowNo}
			}
			for i, p := range inner {
				if no := innerNo[i]; no > 0 && no < lastNo && (i == 0 || no != innerNo[0]) {
					run = append(run, p)
				}
			}
			if lastNo > 0 {
				run = append(run, last)
			}
			open = false
		}
		endRun = func() {
			flushOne()
			if len(run) > 0 {
				runs = append(runs, run)
				run = nil
			}
		}
	)
	for _, p := range points {
		if !known(p.Y) {
			gap = true
			continue
		}
		c := column(p.X)
		if gap && !(open && c == at) {
			endRun()
		}
		gap = false
		if open && c != at {
			flushOne()
		}
		if !open {
			open, at = true, c
			first, last, low, high = p, p, p, p
			lowNo, highNo, lastNo = 0, 0, 0
			continue
		}
		lastNo++
		last = p
		if p.Y < low.Y {
			low, lowNo = p, lastNo
		}
		if p.Y > high.Y {
			high, highNo = p, lastNo
		}
	}
	endRun()
	return runs
}

// stairs turns a run into steps that hold each value until the next point.
func stairs(run []xy) []xy {
	if len(run) < 2 {
		return run
	}
	out := make([]xy, 0, 2*len(run))
	for i, p := range run {
		if i > 0 {
			out = append(out, xy{p.x, run[i-1].y})
		}
		out = append(out, p)
	}
	return out
}

// swingingDoor drops points that a straight line between kept points passes
// within tolerance of, measured vertically. It runs once through the points;
// kept points are points of the input.
func swingingDoor(run []xy, tolerance float64) []xy {
	if len(run) < 3 {
		return run
	}
	lo, hi := math.Inf(-1), math.Inf(1)
	narrow := func(anchor, p xy) {
		dx := p.x - anchor.x
		if dx <= 0 { // a vertical stroke: nothing may be dropped across it
			lo, hi = math.Inf(1), math.Inf(-1)
			return
		}
		lo = math.Max(lo, (p.y-tolerance-anchor.y)/dx)
		hi = math.Min(hi, (p.y+tolerance-anchor.y)/dx)
	}
	out := []xy{run[0]}
	anchor, held := run[0], run[1]
	narrow(anchor, held)
	for _, p := range run[2:] {
		if dx := p.x - anchor.x; dx > 0 {
			if slope := (p.y - anchor.y) / dx; slope >= lo && slope <= hi {
				narrow(anchor, p)
				held = p
				continue
			}
		}
		out = append(out, held)
		anchor, held = held, p
		lo, hi = math.Inf(-1), math.Inf(1)
		narrow(anchor, held)
	}
	return append(out, held)
}

// A track is how far a line reaches up and down in each pixel column; NaN
// where it is absent. Labels are placed with it.
type track struct{ top, bottom []float64 }

func newTrack(width int) track {
	t := track{make([]float64, width), make([]float64, width)}
	for i := range t.top {
		t.top[i], t.bottom[i] = math.NaN(), math.NaN()
	}
	return t
}

func (t track) add(run []xy) {
	put := func(c int, y0, y1 float64) {
		if c < 0 || c >= len(t.top) {
			return
		}
		if y0 > y1 {
			y0, y1 = y1, y0
		}
		if !(t.top[c] <= y0) {
			t.top[c] = y0
		}
		if !(t.bottom[c] >= y1) {
			t.bottom[c] = y1
		}
	}
	for i, p := range run {
		put(int(math.Floor(p.x)), p.y, p.y)
		if i == 0 {
			continue
		}
		a := run[i-1]
		dx := p.x - a.x
		for c := int(math.Floor(a.x)); c <= int(math.Floor(p.x)) && c < len(t.top); c++ {
			if dx <= 0 {
				put(c, a.y, p.y)
				continue
			}
			from := math.Max(float64(c), a.x)
			to := math.Min(float64(c+1), p.x)
			slope := (p.y - a.y) / dx
			put(c, a.y+float64(slope*(from-a.x)), a.y+float64(slope*(to-a.x)))
		}
	}
}
