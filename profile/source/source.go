// Package source reads strict YAML and says exactly where a file is wrong: every
// fault has the file, line and column, the lines around it with a caret, and the
// remedy. It knows nothing of products or cabinets; their rooms ask it for keys.
package source

import (
	"fmt"
	"strings"
)

// A Fault is one thing wrong with a file, or with Warning set, one thing that
// looks wrong although the file can be used.
type Fault struct {
	File    string
	Line    int // 1 is the first
	Column  int // 1 is the first, counted in characters
	Warning bool
	Message string // what is wrong, with the value and the limit
	Remedy  string // what to do
	Excerpt string // the lines around it with a caret below the place; may be empty
}

// Error gives the fault on one line, without the excerpt.
func (f Fault) Error() string {
	text := fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Message)
	if f.Remedy != "" {
		text += "; " + f.Remedy
	}
	return text
}

// Faults is everything wrong with a file, in the order of the file.
type Faults []Fault

// Error gives every fault on lines of its own, each with its excerpt.
func (fs Faults) Error() string {
	var b strings.Builder
	for i, f := range fs {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(f.Error())
		if f.Excerpt != "" {
			b.WriteByte('\n')
			b.WriteString(f.Excerpt)
		}
	}
	return b.String()
}
