package chart

import (
	"math"
	"strconv"
	"unicode/utf8"
)

// The colours: greys and blues for the normal, one red for the abnormal. Every
// text colour stands at least 4.5 to 1 against every ground it is used on.
const (
	inkStrong = "#17212b"
	ink       = "#33404c"
	inkFaint  = "#55606a"
	ground    = "#e7eaed"
	bandEven  = "#f6f7f8"
	bandOdd   = "#edeff2"
	laneEven  = "#d9dee3"
	laneOdd   = "#cdd4db"
	gridLine  = "#d5dae0"
	axisLine  = "#8b96a1"
	markLine  = "#77828d"
	alarm     = "#b3211b"
	alarmLine = "#c4504a"
	white     = "#ffffff"
)

// A look is how one style is drawn.
type look struct {
	stroke, label, dash string
	width               float64
	round               bool
}

var looks = [styleCount]look{
	Primary:   {stroke: inkStrong, label: inkStrong, width: 2.2, round: true},
	Secondary: {stroke: "#41729f", label: "#2f5f8a", width: 1.6, round: true},
	Tertiary:  {stroke: "#557a88", label: "#3f6371", width: 1.5, dash: "9 3 2 3"},
	Reference: {stroke: "#5d6a77", label: ink, width: 1.3, dash: "6 4"},
	Faint:     {stroke: "#6f7b87", label: inkFaint, width: 1.3, dash: "1.5 2.5"},
	Forecast:  {stroke: inkStrong, label: inkStrong, width: 1.8, dash: "2 5"},
	Area:      {stroke: "#7890a8", label: "#3d5a77", width: 1},
}

const areaFill = "#bccad8"

// again gives the second and later series of one style in a panel a dash of
// their own.
var again = []string{"", "12 3", "8 2 2 2", "4 2", "14 3 2 3 2 3"}

func (s Style) look(repeat int) look {
	l := looks[s]
	if repeat > 0 && s != Area {
		l.dash, l.round = again[1+(repeat-1)%(len(again)-1)], false
	}
	return l
}

// A pen collects the document in layers: shapes first, then text.
type pen struct{ shapes, texts []byte }

// number prints v to a tenth of a pixel, without needless characters. It never
// prints "-0".
func number(dst []byte, v float64) []byte {
	t := int64(math.Round(v * 10))
	if t < 0 {
		dst = append(dst, '-')
		t = -t
	}
	if t >= 10 || t == 0 {
		dst = strconv.AppendInt(dst, t/10, 10)
	}
	if t%10 != 0 {
		dst = append(dst, '.', byte('0'+t%10))
	}
	return dst
}

func attribute(dst []byte, name, value string) []byte {
	dst = append(dst, ' ')
	dst = append(dst, name...)
	dst = append(dst, '=', '"')
	dst = escape(dst, value)
	return append(dst, '"')
}

func measure(dst []byte, name string, v float64) []byte {
	dst = append(dst, ' ')
	dst = append(dst, name...)
	dst = append(dst, '=', '"')
	dst = number(dst, v)
	return append(dst, '"')
}

// escape appends s, already clean, as XML text or attribute value.
func escape(dst []byte, s string) []byte {
	for _, r := range s {
		switch r {
		case '&':
			dst = append(dst, "&amp;"...)
		case '<':
			dst = append(dst, "&lt;"...)
		case '>':
			dst = append(dst, "&gt;"...)
		case '"':
			dst = append(dst, "&quot;"...)
		case '\'':
			dst = append(dst, "&apos;"...)
		default:
			dst = utf8.AppendRune(dst, r)
		}
	}
	return dst
}

func (p *pen) rect(b box, radius float64, fill, stroke string) {
	d := append(p.shapes, "<rect"...)
	d = measure(d, "x", b.x0)
	d = measure(d, "y", b.y0)
	d = measure(d, "width", b.x1-b.x0)
	d = measure(d, "height", b.y1-b.y0)
	if radius > 0 {
		d = measure(d, "rx", radius)
	}
	d = attribute(d, "fill", fill)
	if stroke != "" {
		d = attribute(d, "stroke", stroke)
	}
	p.shapes = append(d, "/>\n"...)
}

// stroke writes a path that is drawn, not filled.
func (p *pen) stroke(path []byte, colour string, width float64, dash string) {
	if len(path) == 0 {
		return
	}
	d := append(p.shapes, `<path fill="none"`...)
	d = attribute(d, "stroke", colour)
	d = measure(d, "stroke-width", width)
	if dash != "" {
		d = attribute(d, "stroke-dasharray", dash)
	}
	d = append(d, ` d="`...)
	d = append(d, path...)
	p.shapes = append(d, "\"/>\n"...)
}

func (p *pen) fill(path []byte, colour string) {
	if len(path) == 0 {
		return
	}
	d := append(p.shapes, "<path"...)
	d = attribute(d, "fill", colour)
	d = append(d, ` d="`...)
	d = append(d, path...)
	p.shapes = append(d, "\"/>\n"...)
}

// A face is how a text looks.
type face struct {
	size float64
	bold bool
	fill string
	halo string // colour of the outline that keeps lines off the letters
}

// Anchors of a text.
const (
	start  = "start"
	middle = "middle"
	end    = "end"
)

func (p *pen) text(x, baseline float64, anchor string, f face, s string) {
	if s == "" {
		return
	}
	d := append(p.texts, "<text"...)
	d = measure(d, "x", x)
	d = measure(d, "y", baseline)
	d = measure(d, "font-size", f.size)
	if f.bold {
		d = append(d, ` font-weight="600"`...)
	}
	if anchor != start {
		d = attribute(d, "text-anchor", anchor)
	}
	d = attribute(d, "fill", f.fill)
	if f.halo != "" {
		d = attribute(d, "stroke", f.halo)
		d = append(d, ` stroke-width="3" stroke-linejoin="round" paint-order="stroke"`...)
	}
	d = append(d, '>')
	d = escape(d, s)
	p.texts = append(d, "</text>\n"...)
}

// horizontal and vertical append a straight piece to a path.
func horizontal(dst []byte, x0, y, x1 float64) []byte {
	dst = append(dst, 'M')
	dst = number(dst, x0)
	dst = append(dst, ' ')
	dst = number(dst, y)
	dst = append(dst, 'H')
	return number(dst, x1)
}

func vertical(dst []byte, x, y0, y1 float64) []byte {
	dst = append(dst, 'M')
	dst = number(dst, x)
	dst = append(dst, ' ')
	dst = number(dst, y0)
	dst = append(dst, 'V')
	return number(dst, y1)
}

func rectangle(dst []byte, b box) []byte {
	dst = horizontal(dst, b.x0, b.y0, b.x1)
	dst = append(dst, 'V')
	dst = number(dst, b.y1)
	dst = append(dst, 'H')
	dst = number(dst, b.x0)
	return append(dst, 'Z')
}

// trace appends a run as relative steps, rounded so that errors don't add up.
// A run of one point becomes a dot.
func trace(dst []byte, run []xy) []byte {
	tenth := func(v float64) int64 { return int64(math.Round(v * 10)) }
	x, y := tenth(run[0].x), tenth(run[0].y)
	dst = append(dst, 'M')
	dst = number(dst, float64(x)/10)
	dst = append(dst, ' ')
	dst = number(dst, float64(y)/10)
	if len(run) == 1 {
		return append(dst, "h.1"...)
	}
	for _, p := range run[1:] {
		nx, ny := tenth(p.x), tenth(p.y)
		dx, dy := float64(nx-x)/10, float64(ny-y)/10
		x, y = nx, ny
		switch {
		case dx == 0 && dy == 0:
		case dy == 0:
			dst = append(dst, 'h')
			dst = number(dst, dx)
		case dx == 0:
			dst = append(dst, 'v')
			dst = number(dst, dy)
		default:
			dst = append(dst, 'l')
			dst = number(dst, dx)
			if dy > 0 {
				dst = append(dst, ' ')
			}
			dst = number(dst, dy)
		}
	}
	return dst
}
