package panel

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"strings"
	"time"

	"golang.org/x/image/font"
	"golang.org/x/image/font/inconsolata"
	"golang.org/x/image/math/fixed"

	"fumarium/controller/snapshot"
)

// What fits: characters on a line, lines below the head, and how high a line is.
const (
	perLine  = 16
	perPage  = 3
	lineHigh = 16
	headHigh = 15
	bigger   = 2 // how often the big digits are larger
)

var (
	letters font.Face = inconsolata.Regular8x16
	heads   font.Face = inconsolata.Bold8x16
	lit               = color.Gray{Y: 255}
	dark              = color.Gray{}
)

// A sign goes before the head: the shape and the number of an alarm's priority, or the
// square of a question.
type sign uint8

const (
	noSign sign = iota
	nowSign
	soonSign
	laterSign
	askSign
)

// words breaks a text into pages after the pattern of p.
func words(p page, text string) []page {
	var pages []page
	lines := fitted(text, 0)
	for len(lines) > 0 {
		n := min(len(lines), perPage)
		q := p
		q.body, lines = lines[:n], lines[n:]
		pages = append(pages, q)
	}
	return pages
}

// fitted breaks a text into lines, at most so many unless most is 0. A word that is
// longer than a line is cut.
func fitted(text string, most int) []string {
	var lines []string
	line := ""
	add := func(word string) {
		switch {
		case line == "":
			line = word
		case len([]rune(line))+1+len([]rune(word)) <= perLine:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	for word := range strings.FieldsSeq(text) {
		r := []rune(word)
		for len(r) > perLine {
			if line != "" {
				lines, line = append(lines, line), ""
			}
			lines, r = append(lines, string(r[:perLine])), r[perLine:]
		}
		if len(r) > 0 {
			add(string(r))
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	if most > 0 && len(lines) > most {
		lines = lines[:most]
		last := []rune(lines[most-1])
		lines[most-1] = string(last[:min(len(last), perLine-1)]) + "…"
	}
	return lines
}

// draw makes the picture, moved by shift, which no edge feels: a point is kept free.
func (p page) draw(shift image.Point, simulated bool) *image.Gray {
	pic := image.NewGray(image.Rect(0, 0, Width, Height))
	ground, ink := dark, lit
	if p.loud {
		ground, ink = lit, dark
	}
	fill(pic, pic.Rect, ground)
	right := Width - 1
	if simulated { // unmistakable on every page
		right = label(pic, right, "SIM", ink, ground)
	}
	if p.count[1] > 1 {
		right = write(pic, letters, right, shift.Y, alignRight, fmt.Sprintf("%d/%d", p.count[0], p.count[1]), ink)
	}
	left := shift.X
	if p.sign != noSign {
		p.sign.draw(pic, left, shift.Y, ink, ground)
		left += 16
	}
	head := []rune(p.head)
	if room := (right - left) / 8; len(head) > room {
		head = head[:max(0, room)]
	}
	write(pic, heads, left, shift.Y, alignLeft, string(head), ink)
	for i, line := range p.body {
		write(pic, letters, shift.X, headHigh+i*lineHigh+shift.Y, alignLeft, line, ink)
	}
	for i, number := range p.big {
		if number == "" {
			continue
		}
		middle := Width/4 + i*Width/2
		writeBig(pic, middle, 9, number, ink)
		write(pic, letters, middle, 34, alignMiddle, p.under[i], ink)
	}
	if p.foot != "" {
		write(pic, letters, shift.X, Height-lineHigh+shift.Y-1, alignLeft, p.foot, ink)
	}
	if p.bar > 0 {
		fill(pic, image.Rect(0, Height-12, int(p.bar*Width), Height), ink)
	}
	return pic
}

// wandering is what is left when nobody has looked for long: one line, each minute in
// another place.
func wandering(s *snapshot.Snapshot, now time.Time) *image.Gray {
	pic := image.NewGray(image.Rect(0, 0, Width, Height))
	text := "idle " + large(s.State.Chamber.Reading.Value())
	minute := int(now.Unix() / int64(orbit.Seconds()))
	x := minute * 7 % (Width - 8*len(text))
	write(pic, letters, x, minute*5%(Height-lineHigh), alignLeft, text, lit)
	if s.Simulated {
		label(pic, Width-1, "SIM", lit, dark)
	}
	return pic
}

func fill(pic draw.Image, r image.Rectangle, c color.Gray) {
	draw.Draw(pic, r, image.NewUniform(c), image.Point{}, draw.Src)
}

// label writes a word in a box of ink that ends at right, and returns where it begins.
func label(pic *image.Gray, right int, text string, ink, ground color.Gray) int {
	left := right - 8*len(text) - 1
	fill(pic, image.Rect(left, 0, right+1, headHigh-1), ink)
	write(pic, heads, left+1, -1, alignLeft, text, ground)
	return left - 2
}

type align uint8

const (
	alignLeft align = iota
	alignMiddle
	alignRight
)

// write puts a text at x, its line's upper edge at y, and returns where it begins. What
// a font smooths becomes lit or dark.
func write(pic *image.Gray, face font.Face, x, y int, at align, text string, ink color.Gray) int {
	mask := image.NewAlpha(pic.Rect)
	d := font.Drawer{Dst: mask, Src: image.Opaque, Face: face}
	wide := d.MeasureString(text).Ceil()
	switch at {
	case alignMiddle:
		x -= wide / 2
	case alignRight:
		x -= wide
	}
	d.Dot = fixed.P(x, y+face.Metrics().Ascent.Ceil())
	d.DrawString(text)
	for i, a := range mask.Pix {
		if a >= 128 {
			pic.Pix[i] = ink.Y
		}
	}
	return x
}

// writeBig puts a number around a middle, each point of its digits grown to a square and
// no more room between them than they need.
func writeBig(pic *image.Gray, middle, y int, text string, ink color.Gray) {
	small := image.NewGray(image.Rect(0, 0, 8*len(text), lineHigh))
	write(small, heads, 0, 0, alignLeft, text, lit)
	var columns []int // of the small text, -1 for a gap
	for n := range len(text) {
		left, right := 8, -1
		for x := range 8 {
			for y := range lineHigh {
				if small.GrayAt(8*n+x, y).Y != 0 {
					left, right = min(left, x), max(right, x)
				}
			}
		}
		for x := left; x <= right; x++ {
			columns = append(columns, 8*n+x)
		}
		columns = append(columns, -1)
	}
	x := middle - bigger*(len(columns)-1)/2
	for _, from := range columns {
		for row := range lineHigh {
			if from >= 0 && small.GrayAt(from, row).Y != 0 {
				fill(pic, image.Rect(x, y+bigger*row, x+bigger, y+bigger*(row+1)), ink)
			}
		}
		x += bigger
	}
}

// draw makes a shape of 14 by 13 points with its number in it.
func (s sign) draw(pic *image.Gray, x, y int, ink, ground color.Gray) {
	const wide, high = 14, 14
	for j := range high {
		half := wide / 2
		switch s {
		case nowSign: // triangle
			half = (j + 2) / 2
		case soonSign: // diamond
			half = min(j+1, high-j)
		case laterSign: // disc
			half = [high]int{3, 5, 6, 7, 7, 7, 7, 7, 7, 7, 7, 6, 5, 3}[j]
		}
		fill(pic, image.Rect(x+wide/2-half, y+j, x+wide/2+half, y+j+1), ink)
	}
	mark := map[sign]string{nowSign: "1", soonSign: "2", laterSign: "3", askSign: "?"}[s]
	write(pic, heads, x+3, y-1, alignLeft, mark, ground)
}
