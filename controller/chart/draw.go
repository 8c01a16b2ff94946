package chart

import (
	"math"
	"slices"
	"strconv"
)

// Sizes in pixels.
const (
	pad        = 12.0
	textSize   = 11.0
	textHeight = 13.0 // of one line of textSize, with its descenders
	lineHeight = 15.0
	laneHeight = 21.0
	markHeight = 19.0
	panelGap   = 12.0
	baseline   = 9.6 // from the top of a line of textSize

	sampleWidth = 22.0 // of the piece of line in a legend
)

// A drawing is a figure being laid out, from top to bottom.
type drawing struct {
	pen
	f           Figure
	width       float64
	left, right float64 // edges of the plots
	x0, x1      float64 // seconds at the edges
	y           float64 // how far down the layout has come
	panels      []*panelPlan
	markX       []float64 // pixel columns of the marks
	signBottom  []float64 // where the line of each mark begins
	key         []keyEntry
}

// A keyEntry explains a sign that stands for a text with no room of its own.
type keyEntry struct {
	sign     string
	abnormal bool
	stage    bool
	when     string
	text     string
}

func draw(f Figure) []byte {
	d := &drawing{f: tidy(f)}
	d.width = float64(d.f.Width)
	d.timeRange()
	d.planPanels()
	d.heading()
	d.lane()
	d.marks()
	for i := range d.panels {
		d.panel(i)
	}
	d.timeAxis()
	d.drawKey()
	d.footer()
	d.y += pad

	var out []byte
	out = append(out, `<svg xmlns="http://www.w3.org/2000/svg"`...)
	out = measure(out, "width", d.width)
	out = measure(out, "height", d.y)
	out = append(out, ` viewBox="0 0 `...)
	out = number(out, d.width)
	out = append(out, ' ')
	out = number(out, d.y)
	out = append(out, `" role="img" font-family="system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif">`...)
	out = append(out, "\n<title>"...)
	out = escape(out, d.name())
	out = append(out, "</title>\n<desc>"...)
	out = escape(out, d.description())
	out = append(out, "</desc>\n"...)
	page := &pen{}
	page.rect(box{0, 0, d.width, d.y}, 0, ground, "")
	out = append(out, page.shapes...)
	out = append(out, d.shapes...)
	out = append(out, d.texts...)
	return append(out, "</svg>\n"...)
}

// tidy returns a copy of f with clean texts, spans and marks in order of time,
// values in the unit of their axis, and no default left open. It shares the
// points with f unless it has to scale them.
func tidy(f Figure) Figure {
	f.Title, f.Subtitle, f.Footer = clean(f.Title), clean(f.Subtitle), clean(f.Footer)
	if f.Width == 0 {
		f.Width = DefaultWidthPixels
	}
	f.Spans = slices.Clone(f.Spans)
	for i := range f.Spans {
		f.Spans[i].Label = clean(f.Spans[i].Label)
	}
	slices.SortStableFunc(f.Spans, func(a, b Span) int { return compare(a.From, b.From) })
	f.Marks = slices.Clone(f.Marks)
	for i := range f.Marks {
		f.Marks[i].Label = clean(f.Marks[i].Label)
	}
	slices.SortStableFunc(f.Marks, func(a, b Mark) int { return compare(a.X, b.X) })
	f.Panels = slices.Clone(f.Panels)
	for i := range f.Panels {
		p := &f.Panels[i]
		p.Title, p.Unit = clean(p.Title), clean(p.Unit)
		if p.Height == 0 {
			p.Height = DefaultPanelPixels
		}
		scale := 1.0
		if p.Ratio {
			scale, p.Unit = 100, "%"
		}
		p.Series = slices.Clone(p.Series)
		for k := range p.Series {
			s := &p.Series[k]
			s.Name = clean(s.Name)
			if p.Ratio {
				points := make([]Point, len(s.Points))
				for j, pt := range s.Points {
					points[j] = Point{pt.X, pt.Y * scale}
				}
				s.Points = points
			}
		}
		p.Rules = slices.Clone(p.Rules)
		for k := range p.Rules {
			p.Rules[k].Label = clean(p.Rules[k].Label)
			p.Rules[k].Y *= scale
		}
		for _, end := range []**float64{&p.Min, &p.Max} {
			if *end != nil {
				v := **end * scale
				*end = &v
			}
		}
	}
	return f
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// timeRange spans everything that has a time.
func (d *drawing) timeRange() {
	lo, hi := math.Inf(1), math.Inf(-1)
	see := func(x float64) { lo, hi = math.Min(lo, x), math.Max(hi, x) }
	for _, p := range d.f.Panels {
		for _, s := range p.Series {
			if n := len(s.Points); n > 0 { // in order of time
				see(s.Points[0].X)
				see(s.Points[n-1].X)
			}
		}
	}
	for _, s := range d.f.Spans {
		see(s.From)
		see(s.To)
	}
	for _, m := range d.f.Marks {
		see(m.X)
	}
	if lo > hi {
		lo, hi = 0, hour
	}
	if hi-lo < leastTimeSpanSeconds {
		hi = lo + leastTimeSpanSeconds
	}
	d.x0, d.x1 = lo, hi
}

// px is the pixel of a time.
func (d *drawing) px(x float64) float64 {
	return d.left + float64((x-d.x0)/(d.x1-d.x0)*(d.right-d.left))
}

func (d *drawing) heading() {
	d.y = pad
	room := d.width - 2*pad
	size := 17.0
	if d.width < 520 {
		size = 15
	}
	for _, line := range wrap(d.f.Title, size, true, room, 2) {
		d.text(pad, d.y+size, start, face{size: size, bold: true, fill: inkStrong}, line)
		d.y += size + 5
	}
	for _, line := range wrap(d.f.Subtitle, 12, false, room, 3) {
		d.text(pad, d.y+12, start, face{size: 12, fill: inkFaint}, line)
		d.y += 16
	}
	if d.f.Title != "" || d.f.Subtitle != "" {
		d.y += 10
	}
}

// lane draws the band of stages above the plots.
func (d *drawing) lane() {
	spans := d.f.Spans
	if len(spans) == 0 {
		return
	}
	d.rect(box{d.left, d.y, d.right, d.y + laneHeight}, 0, bandEven, "")
	var paths [2][]byte
	var seams []byte
	f := face{size: textSize, bold: true, fill: inkStrong}
	light := face{size: textSize, fill: ink}
	letters, unlettered := map[string]string{}, 0 // one letter per label
	for i, s := range spans {
		a, b := d.px(s.From), d.px(s.To)
		if i+1 < len(spans) {
			b = math.Min(b, d.px(spans[i+1].From))
		}
		if b-a >= 0.1 {
			paths[s.Shade&1] = rectangle(paths[s.Shade&1], box{a, d.y, b, d.y + laneHeight})
			if i > 0 && b-a > 3 {
				seams = vertical(seams, a, d.y, d.y+laneHeight)
			}
		}
		if s.Label == "" {
			continue
		}
		long := spell(s.To - s.From)
		name, extra := textWidth(s.Label, textSize, true), textWidth(long, textSize, false)
		at := d.y + (laneHeight-textHeight)/2 + baseline
		switch {
		case name+extra+6+14 <= b-a:
			d.text(a+7, at, start, f, s.Label)
			d.text(a+7+name+6, at, start, light, long)
		case name+14 <= b-a:
			d.text(a+7, at, start, f, s.Label)
		case name+4 <= b-a:
			d.text((a+b)/2, at, middle, f, s.Label)
		default:
			sign, old := letters[s.Label]
			if !old {
				sign = string(rune('a' + len(letters)%26))
			}
			if (!old && len(letters) >= 26) || textWidth(sign, textSize, true)+4 > b-a {
				unlettered++
				continue
			}
			d.text((a+b)/2, at, middle, f, sign)
			if !old {
				letters[s.Label] = sign
				d.key = append(d.key, keyEntry{sign: sign, stage: true, text: s.Label})
			}
		}
	}
	if unlettered > 0 {
		d.key = append(d.key, keyEntry{stage: true, text: strconv.Itoa(unlettered) + " more stages, too short to name here"})
		if unlettered == 1 {
			d.key[len(d.key)-1].text = "1 more stage, too short to name here"
		}
	}
	d.fill(paths[0], laneEven)
	d.fill(paths[1], laneOdd)
	d.stroke(seams, bandEven, 1, "")
	d.y += laneHeight
}

func (d *drawing) timeAxis() {
	width := func(s string) float64 { return textWidth(s, textSize, false) }
	perPixel := (d.x1 - d.x0) / (d.right - d.left)
	row := func(ticks []tick, fill string) {
		var stubs []byte
		free := 2.0
		for _, t := range ticks {
			x := d.px(t.at)
			stubs = vertical(stubs, x, d.y, d.y+4)
			w := width(t.label)
			at := math.Max(2+w/2, math.Min(x, d.width-2-w/2))
			if at-w/2 < free {
				continue
			}
			free = at + w/2 + 4
			d.text(at, d.y+6+baseline, middle, face{size: textSize, fill: fill}, t.label)
		}
		d.stroke(stubs, axisLine, 1, "")
		d.y += 6 + textHeight
	}
	elapsed, widest := d.elapsedTicks(), 0.0
	for _, t := range elapsed {
		widest = math.Max(widest, width(t.label))
	}
	row(elapsed, ink)
	if d.f.ClockStart.IsZero() {
		return
	}
	d.y += 4
	d.stroke(horizontal(nil, d.left, d.y, d.right), axisLine, 0.6, "")
	// The clock is the secondary scale: never busier than the first.
	row(timeTicks(d.x0, d.x1, perPixel, func(step float64) []tick {
		return clockTicks(d.f.ClockStart, d.x0, d.x1, step)
	}, func(s string) float64 { return math.Max(width(s), widest) }), inkFaint)
}

func (d *drawing) elapsedTicks() []tick {
	return timeTicks(d.x0, d.x1, (d.x1-d.x0)/(d.right-d.left), func(step float64) []tick {
		return elapsedTicks(d.x0, d.x1, step)
	}, func(s string) float64 { return textWidth(s, textSize, false) })
}

// drawKey lists what the signs stand for, in columns that read downwards.
func (d *drawing) drawKey() {
	entries, left := d.shownKey()
	if len(entries) == 0 {
		return
	}
	d.y += 12
	const leastColumn, gutter = 330.0, 20.0
	area := d.width - 2*pad
	count := max(1, int((area+gutter)/(leastColumn+gutter)))
	count = min(count, len(entries))
	column := (area+gutter)/float64(count) - gutter
	column = math.Min(column, 460)
	signWidth, whenWidth := 15.0, 0.0
	for _, e := range entries {
		signWidth = math.Max(signWidth, textWidth(e.sign, 10, true)+8)
		whenWidth = math.Max(whenWidth, textWidth(e.when, textSize, false))
	}
	textAt := signWidth + 7 + whenWidth + 9
	type block struct {
		keyEntry
		lines []string
	}
	blocks, total := make([]block, len(entries)), 0
	for i, e := range entries {
		blocks[i] = block{e, wrap(e.text, textSize, false, column-textAt, 2)}
		total += max(1, len(blocks[i].lines))
	}
	perColumn := (total + count - 1) / count
	top, deepest := d.y, d.y
	x, y, used := pad, top, 0
	for i, b := range blocks {
		n := max(1, len(b.lines))
		if i > 0 && used >= perColumn {
			x, y, used = x+column+gutter, top, 0
		}
		mid := y + 9
		switch {
		case b.sign == "":
		case b.stage:
			d.text(x+signWidth/2, y+3+baseline, middle, face{size: textSize, bold: true, fill: inkStrong}, b.sign)
		default:
			w := math.Max(15, textWidth(b.sign, 10, true)+8)
			c := x + signWidth/2
			d.sign(box{c - w/2, mid - 7.5, c + w/2, mid + 7.5}, b.abnormal)
			colour := inkStrong
			if b.abnormal {
				colour = white
			}
			d.text(c, mid+3.7, middle, face{size: 10, bold: true, fill: colour}, b.sign)
		}
		d.text(x+signWidth+7+whenWidth, y+3+baseline, end, face{size: textSize, fill: inkFaint}, b.when)
		colour := ink
		if b.abnormal {
			colour = alarm
		}
		for k, line := range b.lines {
			d.text(x+textAt, y+3+baseline+float64(k)*lineHeight, start, face{size: textSize, fill: colour}, line)
		}
		y += float64(n-1)*lineHeight + 19
		used += n
		deepest = math.Max(deepest, y)
	}
	d.y = deepest
	if left > 0 {
		d.text(pad, d.y+baseline, start, face{size: textSize, fill: inkFaint}, "and "+strconv.Itoa(left)+" more, not listed here")
		d.y += lineHeight
	}
}

// shownKey bounds the key. The abnormal is never left out in favour of the
// normal.
func (d *drawing) shownKey() (shown []keyEntry, left int) {
	const most = 48
	if len(d.key) <= most {
		return d.key, 0
	}
	room := most
	keep := make([]bool, len(d.key))
	for _, abnormal := range []bool{true, false} {
		for i, e := range d.key {
			if e.abnormal == abnormal && room > 0 {
				keep[i] = true
				room--
			}
		}
	}
	for i, e := range d.key {
		if keep[i] {
			shown = append(shown, e)
		}
	}
	return shown, len(d.key) - most
}

func (d *drawing) footer() {
	if d.f.Footer == "" {
		return
	}
	d.y += 10
	for _, line := range wrap(d.f.Footer, textSize, false, d.width-2*pad, 4) {
		d.text(pad, d.y+baseline, start, face{size: textSize, fill: inkFaint}, line)
		d.y += lineHeight
	}
}
