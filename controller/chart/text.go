package chart

import (
	"strings"
	"unicode/utf8"
)

// advance holds the width of the printable ASCII characters in hundredths of
// the font size, measured from DejaVu Sans 2.37, one of the widest faces that
// a system-ui stack resolves to. Text in any narrower face fits as well.
var advance = [95]uint8{
	32, 41, 46, 84, 64, 96, 78, 28, 40, 40, 50, 84, 32, 37, 32, 34,
	64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 34, 34, 84, 84, 84, 54,
	100, 69, 69, 70, 78, 64, 58, 78, 76, 30, 30, 66, 56, 87, 75, 79,
	61, 79, 70, 64, 62, 74, 69, 99, 69, 62, 69, 40, 34, 40, 84, 50,
	50, 62, 64, 55, 64, 62, 36, 64, 64, 28, 28, 58, 28, 98, 64, 62,
	64, 64, 42, 53, 40, 64, 60, 82, 60, 60, 53, 64, 34, 64, 84,
}

// boldFactor is how much wider the bold face of the same family runs.
const boldFactor = 1.13

// textWidth estimates the width of s in pixels, from above.
func textWidth(s string, size float64, bold bool) float64 {
	hundredths := 0
	for _, r := range s {
		switch {
		case r >= ' ' && r <= '~':
			hundredths += int(advance[r-' '])
		case r == '°':
			hundredths += 50
		case r == '·':
			hundredths += 32
		case r == '–':
			hundredths += 50
		case r < 0x1100:
			hundredths += 85
		case r >= 0x2010 && r < 0x2300: // dashes, ellipsis, arrows, minus
			hundredths += 100
		default: // ideographs, emoji and the like fill about one em or a little more
			hundredths += 125
		}
	}
	width := float64(hundredths) * size / 100
	if bold {
		width *= boldFactor
	}
	return width
}

// clean makes s fit for XML: valid UTF-8, no control characters, one line, no
// surplus space. It also bounds the length, so that a stray document handed in
// as a label stays a label.
func clean(s string) string {
	const most = 400
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r < 0x20, r >= 0x7f && r < 0xa0, r == 0xfffe, r == 0xffff:
			return -1
		case r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069: // would reorder the text around it
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "�"))
	s = strings.Join(strings.Fields(s), " ")
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most-1]) + "…"
	}
	return s
}

// shorten cuts s to fit width, ending it with an ellipsis.
func shorten(s string, size float64, bold bool, width float64) string {
	if textWidth(s, size, bold) <= width {
		return s
	}
	runes := []rune(s)
	for n := len(runes) - 1; n > 0; n-- {
		cut := strings.TrimRight(string(runes[:n]), " ") + "…"
		if textWidth(cut, size, bold) <= width {
			return cut
		}
	}
	return "…"
}

// wrap breaks s at spaces into at most most lines of width; what is left over
// is cut with an ellipsis.
func wrap(s string, size float64, bold bool, width float64, most int) []string {
	var lines []string
	words := strings.Fields(s)
	for len(words) > 0 {
		if len(lines) == most-1 {
			return append(lines, shorten(strings.Join(words, " "), size, bold, width))
		}
		n := 1
		for n < len(words) && textWidth(strings.Join(words[:n+1], " "), size, bold) <= width {
			n++
		}
		lines = append(lines, shorten(strings.Join(words[:n], " "), size, bold, width))
		words = words[n:]
	}
	return lines
}
