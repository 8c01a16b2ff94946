package chart

import (
	"bytes"
	"math"
	"strconv"
)

func (d *drawing) name() string {
	if d.f.Title == "" {
		return "Chart"
	}
	return d.f.Title
}

// description says in words what the chart shows, for those who can't see it.
func (d *drawing) description() string {
	const most = 40
	var b bytes.Buffer
	if d.f.Subtitle != "" {
		b.WriteString(d.f.Subtitle + ". ")
	}
	b.WriteString("Time from " + spell(d.x0) + " to " + spell(d.x1) + ".")
	for _, p := range d.panels {
		b.WriteString(" " + p.Title)
		if p.Unit != "" {
			b.WriteString(", " + p.Unit)
		}
		b.WriteString(":")
		for i, s := range p.Series {
			if i > 0 {
				b.WriteString(";")
			}
			if s.Name != "" && s.Name != p.Title {
				b.WriteString(" " + s.Name)
			}
			lo, hi, last, any := extent(s.Points)
			if !any {
				b.WriteString(" no data")
				continue
			}
			b.WriteString(" " + plain(lo) + " to " + plain(hi) + ", last " + plain(last))
		}
		if len(p.Series) == 0 {
			b.WriteString(" no data")
		}
		b.WriteString(".")
	}
	if n := len(d.f.Spans); n > 0 {
		b.WriteString(" Stages:")
		for i, s := range d.f.Spans[:min(n, most)] {
			if i > 0 {
				b.WriteString(",")
			}
			b.WriteString(" " + s.Label + " " + spell(s.To-s.From))
		}
		if n > most {
			b.WriteString(" and " + strconv.Itoa(n-most) + " more")
		}
		b.WriteString(".")
	}
	if n := len(d.f.Marks); n > 0 {
		b.WriteString(" Events:")
		for i, m := range d.f.Marks[:min(n, most)] {
			if i > 0 {
				b.WriteString(";")
			}
			b.WriteString(" ")
			if m.Abnormal {
				b.WriteString("abnormal, ")
			}
			b.WriteString("at " + spell(m.X) + " " + m.Label)
		}
		if n > most {
			b.WriteString(" and " + strconv.Itoa(n-most) + " more")
		}
		b.WriteString(".")
	}
	return b.String()
}

// extent reports lowest, highest and last known value; any is false if there
// is none.
func extent(points []Point) (lo, hi, last float64, any bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range points {
		if known(p.Y) {
			lo, hi, last, any = math.Min(lo, p.Y), math.Max(hi, p.Y), p.Y, true
		}
	}
	return lo, hi, last, any
}

// plain prints a value to three or four figures.
func plain(v float64) string {
	if math.Abs(v) >= 1e6 {
		return minus(strconv.FormatFloat(v, 'g', 4, 64))
	}
	step := 0.1
	if a := math.Abs(v); a != 0 && a < 1 {
		step = math.Pow(10, math.Floor(math.Log10(a))-2)
	}
	if step < 1e-9 {
		return minus(strconv.FormatFloat(v, 'g', 4, 64))
	}
	return valueLabel(v, step)
}
