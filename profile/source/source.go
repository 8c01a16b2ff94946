// Package source reads strict YAML and says exactly where a file is wrong: every
// fault has the file, line and column, the lines around it with a caret, and the
// remedy. It knows nothing of products or cabinets; their rooms ask it for keys.
package source

import (
	"encoding/json"
	"fmt"
	"strings"

	"fumarium/profile/quantity"
)

// Severity says what a finding asks for.
type Severity uint8

// An Error must be mended: a file cannot be used, or a limit is broken. A Warning is
// allowed but unwise, or breaks a limit that the finished product may still meet. A
// Note is only said.
const (
	Error Severity = iota
	Warning
	Note
)

func (s Severity) String() string {
	switch s {
	case Error:
		return "error"
	case Warning:
		return "warning"
	case Note:
		return "note"
	}
	return quantity.Unknown
}

// Asks is what a finding is called before a start: what refuses it, what wants a reason, and
// what is only said.
func (s Severity) Asks() string {
	switch s {
	case Error:
		return "error"
	case Warning:
		return "advice"
	}
	return "note"
}

// MarshalText gives the word.
func (s Severity) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// A Finding is one thing wrong with, unwise in or worth saying of a file, a formula, a
// schedule or a log. Every room that judges says it so.
type Finding struct {
	File     string // empty for what stands in no file
	Line     int    // 1 is the first
	Column   int    // 1 is the first, counted in characters
	Severity Severity
	Code     string // stays the same when the words change; empty for what a parser says
	Message  string // what is wrong, with the value and the limit
	Remedy   string // what to do; empty for some notes
	Excerpt  string // the lines around it with a caret below the place; may be empty
}

// Error gives the finding on one line, without the excerpt.
func (f Finding) Error() string {
	text := f.Message
	if f.Code != "" {
		text = f.Code + ": " + text
	}
	if f.File != "" {
		text = fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, text)
	}
	if f.Remedy != "" {
		text += "; " + f.Remedy
	}
	return text
}

// place is where in a file a finding stands.
type place struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Column  int    `json:"column"`
	Warning bool   `json:"warning"` // not an error
}

// MarshalJSON leaves the place out where there is none.
func (f Finding) MarshalJSON() ([]byte, error) {
	var at *place
	if f.File != "" {
		at = &place{f.File, f.Line, f.Column, f.Severity != Error}
	}
	return json.Marshal(struct {
		*place
		Severity Severity `json:"severity"`
		Code     string   `json:"code"`
		Message  string   `json:"message"`
		Remedy   string   `json:"remedy"`
	}{at, f.Severity, f.Code, f.Message, f.Remedy})
}

// Asks reports whether one of them asks for anything: to be mended, or for a reason.
func (fs Findings) Asks() bool {
	for i := range fs {
		if fs[i].Severity != Note {
			return true
		}
	}
	return false
}

// Findings is everything there is to say, in the order of the file. As an error it is
// everything wrong with a file that could not be used.
type Findings []Finding

// Error gives every finding on lines of its own, each with its excerpt.
func (fs Findings) Error() string {
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
