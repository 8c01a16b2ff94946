package main

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// shown is text of a person, a file or another program as it may be printed to a
// terminal: in one line, with everything that would move the cursor, colour, reorder
// or hide what stands around it written out, as in \n, \x1b or \u202e. Blanks of any
// width stay.
func shown(text string) string {
	clean := func(r rune) bool { return r != utf8.RuneError && (unicode.IsPrint(r) || unicode.Is(unicode.Zs, r)) }
	if strings.IndexFunc(text, func(r rune) bool { return !clean(r) }) < 0 {
		return text
	}
	var b strings.Builder
	for len(text) > 0 {
		r, size := utf8.DecodeRuneInString(text)
		if clean(r) {
			b.WriteRune(r)
		} else {
			b.WriteString(strings.Trim(strconv.QuoteToASCII(text[:size]), `"`))
		}
		text = text[size:]
	}
	return b.String()
}

// shownLines is shown for text that has lines of its own, such as the faults of a file.
func shownLines(text string) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = shown(strings.ReplaceAll(lines[i], "\t", "    ")) // a hint of the command line library is set in by one
	}
	return strings.Join(lines, "\n")
}
