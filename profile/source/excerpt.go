package source

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	around   = 2   // lines shown before and after the one at fault
	clipped  = 120 // characters of a line shown at most
	lead     = 60  // of them before the fault when the line is cut
	quotable = 40  // characters of a value shown in a message
)

// excerpt shows the lines around a place with a caret below it. A tab shows as
// one arrow and any other character that would not print as one dot, so that the
// caret stays true and a file can't write to the terminal.
func excerpt(lines []string, line, column int) string {
	if line < 1 || line > len(lines) {
		return ""
	}
	first, last := max(1, line-around), min(len(lines), line+around)
	for last > line && lines[last-1] == "" { // blank lines at the end show nothing
		last--
	}
	width := len(strconv.Itoa(last))
	var b strings.Builder
	for n := first; n <= last; n++ {
		from := 0
		if n == line && column > clipped {
			from = column - lead
		}
		text, cut := window(lines[n-1], from)
		fmt.Fprintf(&b, "%s\n", strings.TrimRight(fmt.Sprintf("  %*d | %s", width, n, text), " "))
		if n == line {
			fmt.Fprintf(&b, "  %*s | %s^\n", width, "", strings.Repeat(" ", max(0, column-1-cut)))
		}
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// window shows a part of a line from a character on, with marks where it was cut.
// cut is how many columns the text has moved to the left.
func window(line string, from int) (text string, cut int) {
	var b strings.Builder
	if from > 0 {
		b.WriteString("…")
		cut = from - 1
	}
	at := 0
	for _, r := range line {
		if at >= from+clipped {
			b.WriteString("…")
			break
		}
		if at >= from {
			b.WriteRune(visible(r))
		}
		at++
	}
	return b.String(), cut
}

func visible(r rune) rune {
	switch {
	case r == '\t':
		return '→'
	case unicode.IsPrint(r):
		return r
	}
	return '·'
}

// clip shows a piece of the file inside a message: short and printable.
func clip(text string) string {
	if utf8.RuneCountInString(text) > quotable {
		text = string([]rune(text)[:quotable]) + "…"
	}
	return strings.Map(visible, text)
}

// Excerpt shows a place of a file that has been read already, for findings that
// are made after parsing.
func Excerpt(data []byte, line, column int) string {
	return excerpt(splitLines(string(data)), line, column)
}
