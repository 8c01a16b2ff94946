package chart

import (
	"math"
	"slices"
)

// A panelPlan is a panel with its scale chosen, its lines thinned to pixels
// and its names placed. Pixels are relative to the upper left of the plot.
type panelPlan struct {
	Panel
	lo, hi     float64 // values at the ends of the axis
	height     float64
	ticks      []tick
	beside     []tick // of the thin scale: at, in the panel's unit, what the label says in the other
	besideUnit string
	series     []drawnSeries
	names      []placedName
	legend     []legendItem
	visible    bool // any series has anything to show
}

type drawnSeries struct {
	look look
	runs [][]xy
	line []byte // path
	area []byte // path, of an area
}

type placedName struct {
	text   string
	box    box
	colour string
}

type legendItem struct {
	text string
	look look
}

// A sample shows in a legend how a line is drawn.
type sample struct {
	x0, x1, y float64
	look      look
}

var ruleLook = look{stroke: "#5d6a77", label: ink, dash: "10 3 2 3", width: 1}

// planPanels chooses the scales, then the gutters that hold their labels, then
// the lines, then the places of the names.
func (d *drawing) planPanels() {
	labels, right := 0.0, 0.0
	for _, p := range d.f.Panels {
		plan := &panelPlan{Panel: p, height: float64(p.Height)}
		plan.scale()
		d.panels = append(d.panels, plan)
		for _, t := range plan.ticks {
			labels = math.Max(labels, textWidth(t.label, textSize, false))
		}
		for _, t := range plan.beside {
			right = math.Max(right, textWidth(t.label, textSize, false))
		}
	}
	d.left = math.Round(math.Max(labels+14, 32))
	d.right = math.Round(d.width - pad)
	if right > 0 {
		d.right = math.Round(d.width - right - 15)
	}
	d.planMarkColumns()
	const budget = 140_000 // bytes of path data in the whole figure
	for column := 1.0; ; column *= 2 {
		bytes := 0
		for _, plan := range d.panels {
			bytes += plan.trace(d, column)
		}
		if bytes <= budget || column >= d.right-d.left {
			break
		}
	}
	for _, plan := range d.panels {
		plan.placeNames(d)
	}
}

// scale chooses the ends of the axis and its ticks.
func (p *panelPlan) scale() {
	const perTick = 34.0 // least pixels between ticks
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range p.Series {
		if a, b, _, any := extent(s.Points); any {
			lo, hi = math.Min(lo, a), math.Max(hi, b)
			if s.Style == Area {
				lo, hi = math.Min(lo, 0), math.Max(hi, 0)
			}
		}
	}
	for _, r := range p.Rules {
		lo, hi = math.Min(lo, r.Y), math.Max(hi, r.Y)
	}
	if p.Ratio {
		lo, hi = math.Min(lo, 0), math.Max(hi, 100)
	}
	empty := lo > hi && p.Min == nil && p.Max == nil
	if lo > hi {
		lo, hi = 0, 1
	}
	least, most := lo, hi
	if p.Min != nil {
		lo = *p.Min
	}
	if p.Max != nil {
		hi = *p.Max
	}
	if hi-lo < math.Max(1e-9, 1e-9*math.Max(math.Abs(lo), math.Abs(hi))) {
		room := math.Max(1, 0.05*math.Max(math.Abs(lo), math.Abs(hi)))
		if p.Max == nil {
			hi = lo + room
		}
		if p.Min == nil {
			lo = hi - 2*room
		}
	}
	choose := valueStep
	if p.Unit == "%" {
		choose = percentStep
	}
	step := choose((hi - lo) * perTick / p.height)
	// The axis ends on a tick or half-way between two, with a little air beyond
	// the data; but zero, where the data stop there, and 100 % are ends in
	// themselves.
	half, air := step/2, 0.02*(hi-lo)
	if p.Min == nil {
		lo = math.Floor(lo/half+1e-9) * half
		if least-lo < air && !(lo == 0 && least >= 0) && !p.Ratio {
			lo -= half
		}
	}
	if p.Max == nil {
		hi = math.Ceil(hi/half-1e-9) * half
		if hi-most < air && !p.Ratio {
			hi += half
		}
	}
	p.lo, p.hi = lo, hi
	if empty {
		return // a scale would claim to know something
	}
	p.ticks = valueTicks(lo, hi, step)
	toF := func(c float64) float64 { return float64(c*1.8) + 32 }
	toC := func(f float64) float64 { return (f - 32) / 1.8 }
	switch p.Unit {
	case "°C":
		p.thin("°F", toF, toC, perTick)
	case "°F":
		p.thin("°C", toC, toF, perTick)
	}
}

// thin makes the ticks of the scale in the other unit.
func (p *panelPlan) thin(unit string, to, from func(float64) float64, perTick float64) {
	lo, hi := to(p.lo), to(p.hi)
	p.besideUnit = unit
	for _, t := range valueTicks(lo, hi, valueStep((hi-lo)*perTick/p.height)) {
		p.beside = append(p.beside, tick{at: from(t.at), label: t.label})
	}
}

// py is the pixel of a value, kept within reach of the plot: what is far off
// the axis leaves the plot and is cut at its edge.
func (p *panelPlan) py(v float64) float64 {
	y := p.height - float64((v-p.lo)/(p.hi-p.lo)*p.height)
	return math.Max(-2*p.height, math.Min(y, 3*p.height))
}

// trace thins the series to columns of the given width, makes their paths, and
// returns how many bytes these take.
func (p *panelPlan) trace(d *drawing, column float64) (bytes int) {
	const tolerance = 0.15 // pixels, well under the width of a line
	p.series, p.visible = p.series[:0], false
	zero := math.Max(0, math.Min(p.py(0), p.height))
	var repeats [styleCount]int
	for _, s := range p.Series {
		out := drawnSeries{look: s.Style.look(repeats[s.Style])}
		repeats[s.Style]++
		for _, run := range columns(s.Points, func(x float64) int { return int((d.px(x) - d.left) / column) }) {
			pixels := make([]xy, len(run))
			for i, pt := range run {
				pixels[i] = xy{d.px(pt.X) - d.left, p.py(pt.Y)}
			}
			if s.Step {
				pixels = stairs(pixels)
			}
			pixels = swingingDoor(pixels, tolerance)
			out.runs = append(out.runs, pixels)
			out.line = trace(out.line, pixels)
			if s.Style == Area {
				out.area = trace(out.area, pixels)
				out.area = append(out.area, 'V')
				out.area = number(out.area, zero)
				out.area = append(out.area, 'H')
				out.area = number(out.area, pixels[0].x)
				out.area = append(out.area, 'Z')
			}
		}
		p.visible = p.visible || len(out.runs) > 0
		bytes += len(out.line) + len(out.area)
		p.series = append(p.series, out)
	}
	return bytes
}

// placeNames puts the names on their lines, or all of them into the legend.
func (p *panelPlan) placeNames(d *drawing) {
	width := d.right - d.left
	var lines namedLines
	var names []legendItem
	for i, s := range p.series {
		t := newTrack(int(width))
		for _, run := range s.runs {
			t.add(run)
		}
		name := p.Series[i].Name
		if name == p.Title && len(p.series) == 1 {
			name = ""
		}
		lines = append(lines, namedLine{track: t, width: textWidth(name, textSize, false), colour: s.look.label})
		names = append(names, legendItem{name, s.look})
	}
	for _, r := range p.Rules {
		t := newTrack(int(width))
		t.add([]xy{{0, p.py(r.Y)}, {width, p.py(r.Y)}})
		lines = append(lines, namedLine{track: t, width: textWidth(r.Label, textSize, false), colour: ruleLook.label, left: true})
		names = append(names, legendItem{r.Label, ruleLook})
	}
	columns := make([]float64, len(d.markX))
	for i, x := range d.markX {
		columns[i] = x - d.left
	}
	// Lines without a name or without data still stand in the way, or not.
	var want []int
	for i := range lines {
		if names[i].text != "" && lines[i].present() > 0 {
			want = append(want, i)
		}
	}
	at, ok := placeNames(lines, want, columns, width, p.height, textHeight)
	direct := true
	for _, i := range want {
		direct = direct && ok[i]
	}
	for i, n := range names {
		switch {
		case n.text == "":
		case lines[i].present() == 0:
			p.legend = append(p.legend, legendItem{n.text + ": no data", n.look})
		case direct:
			p.names = append(p.names, placedName{n.text, at[i], n.look.label})
		default:
			p.legend = append(p.legend, n)
		}
	}
}

// panel draws panel i and moves down past it.
func (d *drawing) panel(i int) {
	p := d.panels[i]
	from := d.y
	plates, samples := d.head(p)
	top, bottom := d.y, d.y+p.height
	plot := box{d.left, top, d.right, bottom}

	d.rect(plot, 0, bandEven, "")
	var bands []byte
	for _, s := range d.f.Spans {
		if a, b := d.px(s.From), d.px(s.To); s.Shade&1 == 1 && b-a >= 0.1 {
			bands = rectangle(bands, box{a, top, b, bottom})
		}
	}
	d.fill(bands, bandOdd)

	var grid []byte
	for _, t := range p.ticks {
		y := top + p.py(t.at)
		grid = horizontal(grid, d.left, y, d.right)
		d.text(d.left-7, y+3.9, end, face{size: textSize, fill: ink}, t.label)
	}
	for _, t := range d.elapsedTicks() {
		grid = vertical(grid, d.px(t.at), top, bottom)
	}
	d.stroke(grid, gridLine, 0.7, "")
	var stubs []byte
	for _, t := range p.beside {
		y := top + p.py(t.at)
		stubs = horizontal(stubs, d.right, y, d.right+4)
		d.text(d.right+7, y+3.9, start, face{size: textSize, fill: inkFaint}, t.label)
	}
	d.stroke(stubs, axisLine, 0.8, "")

	d.markLines(from, bottom, i == 0)
	for _, b := range plates {
		d.rect(b, 0, ground, "")
	}
	for _, s := range samples {
		d.stroke(horizontal(nil, s.x0, s.y, s.x1), s.look.stroke, s.look.width, s.look.dash)
	}

	// An inner svg element cuts at its edges; two pixels of grace keep a line
	// that runs along the edge whole.
	const grace = 2
	in := append(d.shapes, "<svg"...)
	in = measure(in, "x", plot.x0-grace)
	in = measure(in, "y", plot.y0-grace)
	in = measure(in, "width", plot.x1-plot.x0+2*grace)
	in = measure(in, "height", p.height+2*grace)
	in = append(in, ` viewBox="-2 -2 `...)
	in = number(in, plot.x1-plot.x0+2*grace)
	in = append(in, ' ')
	in = number(in, p.height+2*grace)
	d.shapes = append(in, "\">\n"...)
	for _, s := range p.series {
		d.fill(s.area, areaFill)
	}
	if len(p.Rules) > 0 {
		var rules []byte
		for _, r := range p.Rules {
			rules = horizontal(rules, 0, p.py(r.Y), plot.x1-plot.x0)
		}
		d.stroke(rules, ruleLook.stroke, ruleLook.width, ruleLook.dash)
	}
	// The line to look at first is drawn last.
	for pass := range 2 {
		for k, s := range p.series {
			if (p.Series[k].Style == Primary) == (pass == 1) && len(s.line) > 0 {
				d.series(p.Series[k].Name, s)
			}
		}
	}
	d.shapes = append(d.shapes, "</svg>\n"...)
	d.stroke(horizontal(nil, d.left, bottom, d.right), axisLine, 0.8, "")

	for _, n := range p.names {
		d.text(d.left+n.box.x0, top+n.box.y0+baseline+0.6, start, face{size: textSize, fill: n.colour, halo: bandEven}, n.text)
	}
	note := box{(d.right - d.left - textWidth("no data", textSize, false)) / 2, p.height/2 - 8, (d.right - d.left + textWidth("no data", textSize, false)) / 2, p.height/2 + 8}
	if !p.visible && !slices.ContainsFunc(p.names, func(n placedName) bool { return n.box.overlaps(note) }) {
		d.text((d.left+d.right)/2, (top+bottom)/2+4, middle, face{size: textSize, fill: inkFaint, halo: bandEven}, "no data")
	}
	d.y = bottom
	if i < len(d.panels)-1 {
		d.y += panelGap
	}
}

// series writes one line. The data-series attribute lets a page or a test find
// it again.
func (d *drawing) series(name string, s drawnSeries) {
	b := append(d.shapes, "<path"...)
	b = attribute(b, "data-series", name)
	b = append(b, ` fill="none"`...)
	b = attribute(b, "stroke", s.look.stroke)
	b = measure(b, "stroke-width", s.look.width)
	if s.look.dash != "" {
		b = attribute(b, "stroke-dasharray", s.look.dash)
	}
	if s.look.round {
		b = append(b, ` stroke-linecap="round"`...)
	}
	b = append(b, ` stroke-linejoin="round" d="`...)
	b = append(b, s.line...)
	d.shapes = append(b, "\"/>\n"...)
}

// head writes the panel's title, its units over their scales, and the legend.
// It returns the plates that keep the events' lines off them, and the samples
// of the legend, both to be drawn over those lines.
func (d *drawing) head(p *panelPlan) (plates []box, samples []sample) {
	const size = 12.5
	d.y += 7
	at := d.y + 12
	title := shorten(p.Title, size, true, d.right-d.left)
	d.text(d.left, at, start, face{size: size, bold: true, fill: inkStrong}, title)
	x := d.left + textWidth(title, size, true)
	plates = append(plates, box{d.left - 2, at - 12, x + 2, at + 4})
	faint := face{size: textSize, fill: inkFaint}
	if w := textWidth(p.Unit, textSize, false); w <= d.left-7-2 {
		d.text(d.left-7, at, end, faint, p.Unit)
	} else {
		unit := shorten(p.Unit, textSize, false, math.Max(0, d.right-x-6))
		if unit != "…" {
			d.text(x+6, at, start, faint, unit)
			plates = append(plates, box{x, at - 11, x + 8 + textWidth(unit, textSize, false), at + 4})
			x += 6 + textWidth(unit, textSize, false)
		}
	}
	if len(p.beside) > 0 {
		d.text(d.right+7, at, start, faint, p.besideUnit)
	}
	x += 16
	for _, item := range p.legend {
		name := shorten(item.text, textSize, false, d.right-d.left-sampleWidth-5)
		w := sampleWidth + 5 + textWidth(name, textSize, false)
		if x+w > d.right {
			x = d.left
			at += lineHeight
		}
		plates = append(plates, box{x - 2, at - 11, x + w + 2, at + 4})
		samples = append(samples, sample{x, x + sampleWidth, at - 4, item.look})
		d.text(x+sampleWidth+5, at, start, face{size: textSize, fill: item.look.label}, name)
		x += w + 14
	}
	d.y = at + 9
	return plates, samples
}

// markLines draws the events' lines from one height to the next; the first
// piece begins under the events' signs.
func (d *drawing) markLines(from, to float64, first bool) {
	type line struct{ x, from float64 }
	var normal, abnormal []byte
	seen := map[float64]bool{}
	for _, wantAbnormal := range []bool{true, false} {
		for i, m := range d.f.Marks {
			x := math.Round(d.px(m.X))
			if m.Abnormal != wantAbnormal || seen[x] {
				continue
			}
			seen[x] = true
			l := line{x, from}
			if first {
				l.from = d.signBottom[i]
			}
			if m.Abnormal {
				abnormal = vertical(abnormal, l.x, l.from, to)
			} else {
				normal = vertical(normal, l.x, l.from, to)
			}
		}
	}
	d.stroke(normal, markLine, 0.9, "2 3")
	d.stroke(abnormal, alarmLine, 1, "")
}
