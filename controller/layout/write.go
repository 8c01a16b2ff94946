package layout

import (
	"bytes"
	"fmt"
	"html"
	"reflect"
	"slices"
	"strings"
)

// A place is where in a page the next byte stands.
type place uint8

const (
	inText place = iota
	inTag
	inValue   // of an attribute, between double quotes
	inStyle   // of a style element
	inScript  // or any other element whose text is none
	inComment // or a declaration: nothing is filled in
)

// A writer follows the layout's own text, so that it knows where it is. What is filled in
// cannot lead out of its place.
type writer struct {
	to   *bytes.Buffer
	at   place
	tag  []byte // its name, and that of the attribute that is read
	attr []byte
	read []byte // the last bytes of a style, a script or a comment
}

// literal writes a part of the layout.
func (w *writer) literal(text []byte) {
	w.to.Write(text)
	for _, b := range text {
		switch w.at {
		case inText:
			if b == '<' {
				w.at, w.tag, w.attr = inTag, nil, nil
			}
		case inTag:
			w.inTag(b)
		case inValue:
			if b == '"' {
				w.at, w.attr = inTag, append(w.attr[:0], ' ')
			}
		case inStyle, inScript:
			if w.read = append(w.read, b); len(w.read) > len("</")+len(w.tag) {
				w.read = w.read[1:]
			}
			if bytes.EqualFold(w.read, append([]byte("</"), w.tag...)) {
				w.at, w.tag, w.attr = inTag, []byte("/"), []byte{' '}
			}
		case inComment:
			w.read = append(w.read, b)
			if bytes.HasPrefix(w.read, []byte("--")) && !bytes.HasSuffix(w.read, []byte("-->")) {
				continue
			}
			if b == '>' {
				w.at = inText
			}
		}
	}
}

func (w *writer) inTag(b byte) {
	switch {
	case b == '!' && len(w.tag) == 0:
		w.at, w.read = inComment, nil
	case b == '>':
		switch name := strings.ToLower(string(w.tag)); name {
		case "style":
			w.at, w.tag, w.read = inStyle, []byte(name), nil
		case "script", "title", "textarea":
			w.at, w.tag, w.read = inScript, []byte(name), nil
			if name != "script" { // whose text is text
				w.at = inText
			}
		default:
			w.at = inText
		}
	case b == '"':
		w.at = inValue
	case b == '\'':
		fail("a single quote in a tag: write attributes in double ones")
	case b == ' ' || b == '\n' || b == '\t':
		w.attr = append(w.attr[:0], ' ')
	case len(w.attr) == 0:
		w.tag = append(w.tag, b)
	case b != '=':
		w.attr = append(w.attr, b)
	}
}

// risky are attributes whose value is an address or a program.
var risky = []string{"href", "src", "action", "formaction", "style", "srcdoc", "srcset", "xlink:href", "data", "poster", "ping"}

// value fills in what was worked out for the braces of that text.
func (w *writer) value(braces string, v reflect.Value) {
	text, raw := printed(v)
	attr := strings.ToLower(strings.TrimSpace(string(w.attr)))
	switch {
	case raw && w.at == inText:
		w.to.WriteString(text)
	case w.at == inText, w.at == inValue && !slices.Contains(risky, attr) && !strings.HasPrefix(attr, "on"):
		w.to.WriteString(html.EscapeString(strings.ReplaceAll(text, "\x00", "\uFFFD")))
	case w.at == inStyle:
		w.to.WriteString(inCSS(text))
	default:
		fail("%s stands where nothing can be filled in safely", braces)
	}
}

// inCSS writes a text so that it stays within the quotes of a style: CSS Syntax Module
// Level 3, 4.3.7, has an escape end at a blank.
func inCSS(text string) string {
	var b strings.Builder
	for _, r := range text {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == ' ', r == '-', r == '_', r == '.', r == ',':
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, `\%x `, r)
		}
	}
	return b.String()
}

// printed is a value as a text, and whether it is HTML. Nothing is an empty text.
func printed(v reflect.Value) (text string, raw bool) {
	for v.IsValid() {
		switch x := v.Interface().(type) {
		case HTML:
			return string(x), true
		case fmt.Stringer:
			if v.Kind() == reflect.Pointer && v.IsNil() {
				return "", false
			}
			return x.String(), false
		}
		if v.Kind() != reflect.Pointer && v.Kind() != reflect.Interface {
			return fmt.Sprint(v.Interface()), false
		}
		v = v.Elem()
	}
	return "", false
}
