package source

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
	"go.yaml.in/yaml/v4/plugin/loaderlimits"

	"fumarium/profile/quantity"
)

// Limits on what is read at all. The largest honest product file is some ten
// thousand bytes and five levels deep.
const (
	MaxBytes  = 1 << 20
	maxDepth  = 16
	maxFaults = 50 // more than anyone mends in one go
	// mostFound is where reading stops: a file made of faults costs no more than that.
	mostFound = 500
)

// A Document is one YAML file under reading. It collects faults; Err gives all
// of them at the end.
type Document struct {
	// Recorded says that a batch has gone by this file. What is only asked of new ones
	// is not asked of it.
	Recorded bool

	file   string
	lines  []string
	root   *yaml.Node
	faults Findings
	broken map[*yaml.Node]bool // nodes that a fault was reported for already
	noted  *Asked              // who takes notes; nil for nobody
}

// Open reads the YAML in data. Its error, a Findings, means that there is nothing
// to go on with. Faults that leave something to read, such as a key given twice,
// wait for Err. file is only for messages.
func Open(file string, data []byte) (*Document, error) {
	d := &Document{file: file, broken: map[*yaml.Node]bool{}}
	if len(data) > MaxBytes {
		return nil, Findings{{File: file, Line: 1, Column: 1,
			Message: fmt.Sprintf("the file is larger than the limit of %d bytes", MaxBytes),
			Remedy:  "check that this is the right file"}}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if fault, bad := d.binary(data); bad {
		return nil, Findings{fault}
	}
	if len(bytes.TrimSpace(data)) > 0 {
		d.lines = splitLines(string(data))
	}
	loader, err := yaml.NewLoader(bytes.NewReader(data), yaml.WithPlugin(loaderlimits.New(loaderlimits.DepthValue(maxDepth))))
	if err != nil {
		return nil, fmt.Errorf("source: %w", err)
	}
	var first, second yaml.Node
	switch err := loader.Load(&first); {
	case errors.Is(err, io.EOF):
		return nil, d.only(1, 1, "the file is empty", "write the keys of the file, or name another file")
	case err != nil:
		return nil, d.syntax(err)
	}
	switch err := loader.Load(&second); {
	case err == nil:
		return nil, d.only(second.Line, second.Column, "a second document starts here", "keep one document to a file and remove the line ---")
	case !errors.Is(err, io.EOF):
		return nil, d.syntax(err)
	}
	d.root = &first
	if first.Kind == yaml.DocumentNode && len(first.Content) == 1 {
		d.root = first.Content[0]
	}
	d.inspect(d.root)
	return d, nil
}

// Err gives everything wrong with the file in the order of the file, or nil.
func (d *Document) Err() error {
	if len(d.faults) == 0 {
		return nil
	}
	slices.SortStableFunc(d.faults, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	faults := slices.Clone(d.faults)
	if more := len(faults) - maxFaults; more > 0 {
		next, atLeast := faults[maxFaults], ""
		if d.full() {
			atLeast = "at least "
		}
		faults = append(faults[:maxFaults:maxFaults], Finding{File: d.file, Line: next.Line, Column: next.Column,
			Message: atLeast + fmt.Sprintf("%d more faults from here on", more), Remedy: "mend those above first"})
	}
	for i := range faults {
		faults[i].Excerpt = excerpt(d.lines, faults[i].Line, faults[i].Column)
	}
	return faults
}

// Root is the mapping that the whole file is.
func (d *Document) Root() *Map {
	return Value{doc: d, node: d.root, key: "the file"}.Map()
}

// full reports whether so much is wrong that nobody need look for more. The file is
// refused whatever else it says.
func (d *Document) full() bool { return len(d.faults) >= mostFound }

func (d *Document) report(line, column int, message, remedy string) {
	if d.full() {
		return
	}
	line, column = d.inside(line, column)
	// Whatever went into the words, they are fit for a terminal.
	message, remedy = strings.Map(visible, message), strings.Map(visible, remedy)
	d.faults = append(d.faults, Finding{File: d.file, Line: line, Column: column, Message: message, Remedy: remedy})
}

// inside keeps a place within the file: the YAML library puts what is missing at
// the end of a file on a line after the last.
func (d *Document) inside(line, column int) (int, int) {
	if last := len(d.lines); last > 0 && line > last {
		return last, utf8.RuneCountInString(d.lines[last-1]) + 1
	}
	return max(line, 1), max(column, 1)
}

// only gives a single fault that nothing can follow.
func (d *Document) only(line, column int, message, remedy string) Findings {
	line, column = d.inside(line, column)
	return Findings{{File: d.file, Line: line, Column: column, Message: message, Remedy: remedy,
		Excerpt: excerpt(d.lines, line, column)}}
}

// binary finds the first byte that no text file has.
func (d *Document) binary(data []byte) (Finding, bool) {
	line, column := 1, 1
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		what := ""
		switch {
		case r == utf8.RuneError && size == 1:
			what = fmt.Sprintf("the byte 0x%02x is not UTF-8 text", data[i])
		case r < ' ' && r != '\t' && r != '\n' && r != '\r', r == 0x7f:
			what = fmt.Sprintf("the byte 0x%02x is not text", data[i])
		}
		if what != "" {
			return Finding{File: d.file, Line: line, Column: column, Message: what,
				Remedy: "check that this is the right file, and save it as UTF-8 text"}, true
		}
		i += size
		column++
		if isBreak(r) && !(r == '\r' && i < len(data) && data[i] == '\n') {
			line, column = line+1, 1
		}
	}
	return Finding{}, false
}

// inspect reports, in the whole tree, what YAML allows and these files do not.
func (d *Document) inspect(n *yaml.Node) {
	switch {
	case d.full():
		return
	case n.Kind == yaml.AliasNode:
		d.breakNode(n, "*"+clip(n.Value)+" refers to another place in the file", "write the value out")
		return
	case n.Anchor != "":
		d.report(n.Line, n.Column, "&"+clip(n.Anchor)+" marks a value for use elsewhere", "remove the mark and write values out where they are used")
	case n.Style&yaml.TaggedStyle != 0:
		d.breakNode(n, "the tag "+clip(n.Tag)+" is not used in these files", "write the plain value")
	}
	if n.Kind != yaml.MappingNode {
		for _, c := range n.Content {
			d.inspect(c)
		}
		return
	}
	lines := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		switch {
		case d.full():
			return
		case key.Kind != yaml.ScalarNode || key.Style&yaml.TaggedStyle != 0 || key.Anchor != "" || key.Value == "":
			d.breakNode(key, "a key must be a plain word", "write key: value")
		case key.Tag == "!!merge":
			d.breakNode(key, "<< takes values over from another place in the file", "write the values out")
		case lines[key.Value] != 0:
			d.breakNode(key, fmt.Sprintf("%s is given twice, first in line %d", clip(key.Value), lines[key.Value]), "remove one of the two")
		case d.commaTail(n, i):
			// The value before it is half a number: say so once, and nothing of either.
			d.broken[key] = true
			before := Value{doc: d, node: n.Content[i-1], key: clip(n.Content[i-2].Value)}
			whole := before.node.Value + "," + key.Value
			Read(before, func(string) (float64, error) { return quantity.ParseNumber(whole) })
		default:
			lines[key.Value] = key.Line
		}
		d.inspect(value)
	}
}

// commaTail reports whether key i of a mapping in braces is what a decimal comma
// left over: {n: 55,5 °C} reads as n: 55 and a key "5 °C" without a value.
func (d *Document) commaTail(n *yaml.Node, i int) bool {
	if n.Style&yaml.FlowStyle == 0 || i == 0 {
		return false
	}
	before, key, value := n.Content[i-1], n.Content[i], n.Content[i+1]
	return value.Kind == yaml.ScalarNode && value.Tag == "!!null" && value.Value == "" &&
		before.Kind == yaml.ScalarNode && endsInDigit(before.Value) &&
		key.Value != "" && key.Value[0] >= '0' && key.Value[0] <= '9'
}

func endsInDigit(s string) bool { return s != "" && s[len(s)-1] >= '0' && s[len(s)-1] <= '9' }

// breakNode reports n once and keeps its readers from reporting it again.
func (d *Document) breakNode(n *yaml.Node, message, remedy string) {
	if !d.broken[n] {
		d.broken[n] = true
		d.report(n.Line, n.Column, message, remedy)
	}
}

// syntax turns the YAML library's error into one of ours.
func (d *Document) syntax(err error) Findings {
	var e *yaml.LoadError
	if !errors.As(err, &e) {
		return d.only(1, 1, "the file is not YAML: "+clip(strings.TrimPrefix(err.Error(), "yaml: ")), "check it against a shipped file")
	}
	line, column := e.Mark.Line, e.Mark.Column
	opened := func(what, close string) Findings {
		from := e.ContextMark
		if at, column, ok := d.cutOff(from.Line, line); ok {
			return d.only(at, column, "# begins a comment, so the rest of the line and the "+close+" in it are not read",
				"put a text with # in quotation marks; a comment belongs after the "+close)
		}
		return d.only(from.Line, from.Column, what+" opened here is not closed before "+fmt.Sprintf("line %d column %d", line, column),
			"check for a missing "+close+" or a missing comma")
	}
	has := func(s string) bool { return strings.Contains(e.Message, s) }
	in := func(s string) bool { return strings.Contains(e.ContextMsg, s) }
	switch {
	case has("depth"):
		return d.only(line, column, fmt.Sprintf("nested deeper than %d levels", maxDepth), "none of these files needs that; check the brackets")
	case has("tab character"), d.at(line, column) == '\t':
		return d.only(line, column, "a tab stands where blanks belong", "indent with blanks")
	case has("',' or '}'"):
		return opened("the brace", "}")
	case has("',' or ']'"):
		return opened("the bracket", "]")
	case has("end of stream") && in("quoted scalar"):
		return opened("the quotation mark", "quotation mark")
	case has("cannot start any token"):
		return d.only(line, column, fmt.Sprintf("a text cannot start with %q", d.at(line, column)), "put the text in quotation marks")
	case has("mapping values are not allowed"):
		return d.only(line, column, "there is a colon where no key can end", "put a text with a colon in quotation marks; give the keys of one mapping the same indentation")
	case has("expected key"), has("block sequence entries are not allowed"), has("'-' indicator"):
		return d.only(line, column, "this does not line up with what is above it", "give the keys of one mapping, and the dashes of one list, the same indentation")
	case has("could not find expected ':'"):
		return d.only(line, column, "a key without its colon", "write key: value")
	case has("expected node content"):
		return d.only(line, column, "a value is missing before this place", "write the value; check for a missing } or ]")
	case has("directive"), in("directive"):
		return d.only(line, column, "a line cannot start with %", "put the text in quotation marks")
	case has("unknown anchor"):
		return d.only(line, column, "a text cannot start with * unless it refers to another place in the file", "write the value out, or put the text in quotation marks")
	}
	message := "the YAML cannot be read: " + e.Message
	if e.ContextMsg != "" {
		message += " " + e.ContextMsg
	}
	return d.only(line, column, message, "check the line and the one above it for brackets, quotation marks and indentation")
}

// cutOff finds, on lines that open a brace or a bracket without closing it, a comment
// that has taken the closing one along: {name: cure #1, mass: 10 g}. A comment that
// follows a comma or an opening one is meant.
func (d *Document) cutOff(first, last int) (line, column int, found bool) {
	for line := max(first, 1); line <= min(last, len(d.lines)); line++ {
		text := []rune(d.lines[line-1])
		var quote, before rune // the quotation mark that is open, the last character that is no blank
		for i, r := range text {
			switch {
			case quote != 0:
				if r == quote {
					quote = 0
				}
			case (r == '"' || r == '\'') && strings.ContainsRune(",:[{", before):
				quote = r
			case r == '#' && i > 0 && (text[i-1] == ' ' || text[i-1] == '\t'):
				if strings.ContainsRune(",[{", before) || !strings.ContainsAny(string(text[i:]), "}]") {
					break
				}
				return line, i + 1, true
			}
			if r != ' ' && r != '\t' {
				before = r
			}
		}
	}
	return 0, 0, false
}

// at is the character at a place of the file, or 0 outside it.
func (d *Document) at(line, column int) rune {
	if line < 1 || line > len(d.lines) {
		return 0
	}
	for i, r := range []rune(d.lines[line-1]) {
		if i+1 == column {
			return r
		}
	}
	return 0
}

// isBreak reports whether the YAML library starts a new line at r.
func isBreak(r rune) bool {
	return r == '\n' || r == '\r' || r == '\u0085' || r == '\u2028' || r == '\u2029'
}

// splitLines cuts text where the YAML library counts a new line, so that its line
// numbers are ours.
func splitLines(text string) []string {
	var lines []string
	start := 0
	for i, r := range text {
		if !isBreak(r) || i < start {
			continue
		}
		lines = append(lines, text[start:i])
		start = i + utf8.RuneLen(r)
		if r == '\r' && strings.HasPrefix(text[start:], "\n") {
			start++
		}
	}
	return append(lines, text[start:])
}
