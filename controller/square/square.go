// Package square draws texts as QR codes (ISO/IEC 18004), for packs and for phones.
package square

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"rsc.io/qr"
)

// quiet is the margin that a reader needs, in modules (ISO/IEC 18004, 4 on each side).
const quiet = 4

// A Code is a text as a square of dark and light modules.
type Code struct{ of *qr.Code }

// OnAPack draws what is printed: a quarter of it may be lost to grease and scratches.
func OnAPack(text string) (Code, error) { return draw(text, qr.Q) }

// OnAScreen draws what is shown: with fewer modules it fits into a terminal.
func OnAScreen(text string) (Code, error) { return draw(text, qr.M) }

func draw(text string, level qr.Level) (Code, error) {
	if strings.ContainsFunc(text, func(r rune) bool { return r >= utf8.RuneSelf }) {
		text = "\ufeff" + text // by which readers know UTF-8 from an older alphabet
	}
	c, err := qr.Encode(text, level)
	if err != nil {
		return Code{}, fmt.Errorf("square: %w", err)
	}
	return Code{c}, nil
}

// SVG is the code with its margin as a picture that says what it is.
func (c Code) SVG(label string) string {
	var path strings.Builder
	for y := range c.of.Size {
		for x := 0; x < c.of.Size; x++ {
			from := x
			for c.of.Black(x, y) { // beyond the edge nothing is
				x++
			}
			if x > from {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", from+quiet, y+quiet, x-from, x-from)
			}
		}
	}
	side := c.of.Size + 2*quiet
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges" role="img" aria-label="%s"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="%s"/></svg>`,
		side, side, label, side, side, path.String())
}

// Rows are the modules with their margin, a line each: 1 is dark, 0 is light.
func (c Code) Rows() string {
	var b strings.Builder
	for y := -quiet; y < c.of.Size+quiet; y++ {
		for x := -quiet; x < c.of.Size+quiet; x++ {
			if c.of.Black(x, y) {
				b.WriteByte('1')
			} else {
				b.WriteByte('0')
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}
