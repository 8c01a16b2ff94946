package chart

import (
	"math"
	"strconv"
)

// marks draws the row of events between the lane and the plots. Either every
// event has its text beside its sign, or all are numbered and explained in the
// key: a mixture would make the reader look in two places.
func (d *drawing) marks() {
	if len(d.f.Marks) == 0 {
		return
	}
	d.y += 5
	if d.marksInPlace() {
		return
	}
	d.marksNumbered()
}

// planMarkColumns notes where the marks' vertical lines stand, once per pixel.
func (d *drawing) planMarkColumns() {
	d.markX = d.markX[:0]
	for _, m := range d.f.Marks {
		x := math.Round(d.px(m.X))
		if n := len(d.markX); n == 0 || d.markX[n-1] != x {
			d.markX = append(d.markX, x)
		}
	}
}

func (d *drawing) marksInPlace() bool {
	const rows, half, most = 2, 4.0, 12
	if len(d.f.Marks) > most {
		return false
	}
	type spot struct {
		box  box
		left bool
		row  int
	}
	spots := make([]spot, len(d.f.Marks))
	used := 0
	for i, m := range d.f.Marks {
		x, w := d.px(m.X), textWidth(m.Label, textSize, false)
		found := false
	search:
		for row := range rows {
			for _, left := range []bool{false, true} {
				b := box{x - half, float64(row), x + half + 5 + w, float64(row) + 1}
				if left {
					b.x0, b.x1 = x-half-5-w, x+half
				}
				if b.x0 < d.left-half || b.x1 > d.right+half {
					continue
				}
				free := true
				for j, other := range d.f.Marks {
					ox := d.px(other.X)
					switch {
					case j == i:
					case j < i && spots[j].row == row && spots[j].box.grown(6).overlaps(b):
						free = false
					case ox > b.x0-6 && ox < b.x1+6 && (j > i || spots[j].row < row):
						free = false // its sign, or the line down from it, would cross the text
					case j < i && spots[j].row > row && x > spots[j].box.x0-3 && x < spots[j].box.x1+3:
						free = false // the line down from this one would cross that text
					}
				}
				if free {
					spots[i] = spot{b, left, row}
					used = max(used, row+1)
					found = true
					break search
				}
			}
		}
		if !found {
			return false
		}
	}
	for i, m := range d.f.Marks {
		x, y := d.px(m.X), d.y+float64(spots[i].row)*(markHeight-2)+markHeight/2
		d.sign(box{x - half, y - half, x + half, y + half}, m.Abnormal)
		f, anchor, tx := face{size: textSize, fill: ink}, start, x+half+5
		if m.Abnormal {
			f = face{size: textSize, bold: false, fill: alarm}
		}
		if spots[i].left {
			anchor, tx = end, x-half-5
		}
		d.text(tx, y-textHeight/2+baseline+0.5, anchor, f, m.Label)
		d.signBottom = append(d.signBottom, y+half)
	}
	d.y += float64(used)*(markHeight-2) + 2
	return true
}

// sign draws the shape of an event: round and hollow, or square and filled
// when abnormal, so the two differ without colour.
func (d *drawing) sign(b box, abnormal bool) {
	if abnormal {
		d.rect(b, 1, alarm, "")
		return
	}
	d.rect(b, (b.y1-b.y0)/2, white, ink)
}

// marksNumbered draws numbered signs. Neighbours that would overlap share one.
func (d *drawing) marksNumbered() {
	type group struct {
		first, last int // numbers of the marks, from 1
		sum         float64
		abnormal    bool
		box         box
	}
	y := d.y
	const size, height = 10.0, 15.0
	name := func(g group) string {
		if g.first == g.last {
			return strconv.Itoa(g.first)
		}
		return strconv.Itoa(g.first) + "–" + strconv.Itoa(g.last)
	}
	place := func(g *group) {
		w := math.Max(height, textWidth(name(*g), size, true)+8)
		x := g.sum/float64(g.last-g.first+1) - w/2
		x = math.Max(2, math.Min(x, d.width-2-w))
		g.box = box{x, y, x + w, y + height}
	}
	var groups []group
	for i, m := range d.f.Marks {
		g := group{first: i + 1, last: i + 1, sum: d.px(m.X), abnormal: m.Abnormal}
		place(&g)
		groups = append(groups, g)
		for n := len(groups); n > 1 && groups[n-2].box.x1+2 > groups[n-1].box.x0; n = len(groups) {
			a, b := groups[n-2], groups[n-1]
			a.last, a.sum, a.abnormal = b.last, a.sum+b.sum, a.abnormal || b.abnormal
			place(&a)
			groups = append(groups[:n-2], a)
		}
		d.key = append(d.key, keyEntry{sign: strconv.Itoa(i + 1), abnormal: m.Abnormal, when: d.when(m.X), text: m.Label})
	}
	for range d.f.Marks {
		d.signBottom = append(d.signBottom, y+height)
	}
	for _, g := range groups {
		d.sign(g.box, g.abnormal)
		colour := inkStrong
		if g.abnormal {
			colour = white
		}
		d.text((g.box.x0+g.box.x1)/2, y+11.2, middle, face{size: size, bold: true, fill: colour}, name(g))
	}
	d.y += markHeight
}

// when names a moment: the time of day if there is one, else the elapsed time.
func (d *drawing) when(x float64) string {
	if d.f.ClockStart.IsZero() {
		return spell(x)
	}
	return d.f.ClockStart.Add(duration(x)).Format("15:04")
}
