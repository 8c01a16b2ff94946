package source

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"fumarium/profile/quantity"
)

// MaxText is the longest name or instruction, in characters.
const MaxText = 200

// A Map is one mapping of the file. It remembers which keys were asked for; Done
// reports the rest. A nil Map stands for a mapping that is absent or was reported
// already: it has no keys and misses none.
type Map struct {
	doc    *Document
	node   *yaml.Node
	name   string
	keys   map[string]int // index of the key in node.Content
	asked  map[string]bool
	order  []string // what was asked for, once each
	missed []string // what was needed and is not there

	path   string          // from the root, where notes are taken
	needed map[string]bool // what was needed, likewise
}

// A Value is what stands behind a key or in a list. The zero Value stands for one
// that is absent or was reported already; reading it gives zeros and no faults.
type Value struct {
	doc  *Document
	node *yaml.Node
	key  string // for messages
	path string // of the key from the root, where notes are taken
}

// Recorded reports whether a batch has gone by the file.
func (m *Map) Recorded() bool { return m != nil && m.doc.Recorded }

// Named gives the mapping another name in messages.
func (m *Map) Named(name string) *Map {
	if m != nil {
		m.name = name
	}
	return m
}

// Line is where the mapping starts, or 0 for an absent one.
func (m *Map) Line() int {
	if m == nil {
		return 0
	}
	return m.node.Line
}

// Empty reports whether the mapping is there and has no keys at all.
func (m *Map) Empty() bool { return m != nil && len(m.node.Content) == 0 }

// Has reports whether the key is there. It does not count as asking for it.
func (m *Map) Has(key string) bool {
	if m == nil {
		return false
	}
	_, there := m.keys[key]
	return there
}

// Take gives the value of a key that may be left out.
func (m *Map) Take(key string) Value {
	if m == nil {
		return Value{}
	}
	if !m.asked[key] {
		m.asked[key] = true
		m.order = append(m.order, key)
		m.note(key)
	}
	at, there := m.keys[key]
	if !there {
		return Value{}
	}
	return Value{doc: m.doc, node: m.node.Content[at+1], key: key, path: m.pathOf(key)}
}

// Need gives the value of a key that must be there. Done reports it if it is not.
func (m *Map) Need(key string) Value {
	v := m.Take(key)
	if m != nil && m.doc.noted != nil {
		m.needed[key] = true
	}
	if m != nil && !m.Has(key) {
		m.missed = append(m.missed, key)
	}
	return v
}

// Fault reports something wrong with the mapping as a whole.
func (m *Map) Fault(message, remedy string) {
	if m != nil {
		m.doc.report(m.node.Line, m.node.Column, message, remedy)
	}
}

// FaultAt reports something wrong with a key, at the place of the key.
func (m *Map) FaultAt(key, message, remedy string) {
	if at, there := m.index(key); there {
		n := m.node.Content[at]
		m.doc.report(n.Line, n.Column, key+": "+message, remedy)
	}
}

func (m *Map) index(key string) (int, bool) {
	if m == nil {
		return 0, false
	}
	at, there := m.keys[key]
	return at, there
}

// Done reports every key that nobody asked for and every needed one that is not
// there. A misspelt key is one fault, not two.
func (m *Map) Done() {
	if m == nil {
		return
	}
	m.noteDone()
	meant := map[string]bool{}
	for i := 0; i+1 < len(m.node.Content); i += 2 {
		key := m.node.Content[i]
		if m.doc.full() {
			return
		}
		if m.doc.broken[key] || m.asked[key.Value] {
			continue
		}
		free := slices.DeleteFunc(slices.Clone(m.order), m.Has)
		remedy := "it takes " + strings.Join(m.order, ", ")
		if near := nearest(key.Value, free); near != "" {
			remedy = "did you mean " + near + "?"
			meant[near] = true
		}
		m.doc.breakNode(key, fmt.Sprintf("%s has no key %q", m.name, clip(key.Value)), remedy)
	}
	missing := slices.DeleteFunc(m.missed, func(key string) bool { return meant[key] })
	switch len(missing) {
	case 0:
	case 1:
		m.Fault(fmt.Sprintf("%s needs the key %s", m.name, missing[0]), "add "+missing[0]+": and its value")
	default:
		m.Fault(fmt.Sprintf("%s needs the keys %s", m.name, strings.Join(missing, ", ")), "add them with their values")
	}
}

// Present reports whether there is a value to read.
func (v Value) Present() bool { return v.node != nil }

// Fault reports something wrong with the value.
func (v Value) Fault(message, remedy string) {
	if v.node != nil {
		v.doc.breakNode(v.node, v.key+": "+message, remedy)
	}
}

// usable reports whether the value can be read on. A value that was reported
// already can't.
func (v Value) usable() bool { return v.node != nil && !v.doc.broken[v.node] }

// Map reads the value as a mapping and gives nil if it is none.
func (v Value) Map() *Map {
	if !v.usable() {
		return nil
	}
	if v.node.Kind != yaml.MappingNode {
		v.Fault(kind(v.node)+" where keys with values belong", "write them as key: value")
		return nil
	}
	if k := v.noted(); k != nil {
		k.Keys = true
	}
	m := &Map{doc: v.doc, node: v.node, name: v.key, path: v.path, keys: map[string]int{}, asked: map[string]bool{}, needed: map[string]bool{}}
	for i := 0; i+1 < len(v.node.Content); i += 2 {
		if key := v.node.Content[i]; key.Kind == yaml.ScalarNode && !v.doc.broken[key] {
			m.keys[key.Value] = i
		}
	}
	return m
}

// IsMap reports whether the value is a mapping that can be read.
func (v Value) IsMap() bool { return v.usable() && v.node.Kind == yaml.MappingNode }

// List reads the value as a list of at least one and at most limit items.
func (v Value) List(limit int) []Value {
	if !v.usable() {
		return nil
	}
	if v.node.Kind != yaml.SequenceNode {
		v.Fault(kind(v.node)+" where a list belongs", "write each item after a dash, or put them in [ ]")
		return nil
	}
	if n := len(v.node.Content); n == 0 {
		v.Fault("the list is empty", "add an item")
		return nil
	} else if n > limit {
		v.Fault(fmt.Sprintf("%d items, the limit is %d", n, limit), "remove some")
		return nil
	}
	if k := v.noted(); k != nil {
		k.List = limit
	}
	items := make([]Value, len(v.node.Content))
	for i, n := range v.node.Content {
		items[i] = Value{doc: v.doc, node: n, key: fmt.Sprintf("%s, item %d", v.key, i+1), path: v.path}
	}
	return items
}

// OneOrMore reads a list like List; anything else is its own only item.
func (v Value) OneOrMore(limit int) []Value {
	if k := v.noted(); k != nil {
		k.One = true
	}
	if v.usable() && v.node.Kind != yaml.SequenceNode {
		return []Value{v}
	}
	return v.List(limit)
}

// Named gives the value another name in messages.
func (v Value) Named(name string) Value {
	v.key = name
	return v
}

// scalar is the value as it is written in the file, whatever YAML takes it for.
func (v Value) scalar() (string, bool) {
	if !v.usable() {
		return "", false
	}
	if v.node.Kind != yaml.ScalarNode {
		v.Fault(kind(v.node)+" where a single value belongs", "write one value")
		return "", false
	}
	if v.node.Tag == "!!null" || strings.TrimSpace(v.node.Value) == "" {
		v.Fault("the value is empty", "write a value, or remove the key")
		return "", false
	}
	v.noteScalar()
	return v.node.Value, true
}

// Text reads a name or an instruction: one line of printable characters.
func (v Value) Text() string {
	s, ok := v.scalar()
	if !ok {
		return ""
	}
	if k := v.noted(); k != nil {
		k.Text = true
	}
	if numberCut(v.node) && !v.doc.Recorded {
		v.Fault("the text ends before "+clip(v.node.LineComment)+", because # begins a comment", "put the whole text in quotation marks; if it is a comment, write a blank after the #")
		return ""
	}
	s = strings.TrimSpace(s)
	if n := utf8.RuneCountInString(s); n > MaxText {
		v.Fault(fmt.Sprintf("the text has %d characters, the limit is %d", n, MaxText), "shorten it")
		return ""
	}
	if i := strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) && !unicode.Is(unicode.Zs, r) }); i >= 0 {
		r, _ := utf8.DecodeRuneInString(s[i:])
		if r == '\n' {
			v.Fault("the text has more than one line", "write it on one line")
		} else {
			v.Fault(fmt.Sprintf("the text holds the invisible character %U", r), "remove it")
		}
		return ""
	}
	return s
}

// numberCut reports whether a text lost its number to a comment: cure #1 reads as cure.
func numberCut(n *yaml.Node) bool {
	plain := n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) == 0
	c := n.LineComment
	return plain && len(c) > 1 && c[0] == '#' && c[1] >= '0' && c[1] <= '9'
}

// Read reads a value with one of the parsers of package quantity.
func Read[T any](v Value, parse func(string) (T, error)) (T, bool) {
	var zero T
	s, ok := v.scalar()
	if !ok {
		return zero, false
	}
	got, err := parse(s)
	if err == nil {
		return got, true
	}
	var bad *quantity.ParseError
	if errors.As(err, &bad) {
		v.Fault(bad.Message, bad.Remedy)
	} else {
		v.Fault(err.Error(), "")
	}
	return zero, false
}

// A Range is what a value must lie in. Above makes Low itself too low. Text
// writes a limit for a message; Why gives the reason, and may be empty.
type Range[T cmp.Ordered] struct {
	Low, High T
	Above     bool
	Text      func(T) string
	Why       string
}

// ReadIn reads a value and holds it against a range.
func ReadIn[T cmp.Ordered](v Value, parse func(string) (T, error), r Range[T]) (T, bool) {
	noteRange(v, r)
	got, ok := Read(v, parse)
	if !ok {
		return got, false
	}
	problem := ""
	switch {
	case r.Above && got <= r.Low:
		problem = "is not above " + r.limit(r.Low)
	case got < r.Low:
		problem = "is below " + r.limit(r.Low)
	case got > r.High:
		problem = "is above " + r.limit(r.High)
	default:
		return got, true
	}
	remedy := "write a value " + r.String()
	if r.Why != "" {
		remedy += " (" + r.Why + ")"
	}
	v.Fault(clip(v.node.Value)+" "+problem, remedy)
	var zero T
	return zero, false
}

// A Word pairs a word of the file with what it means.
type Word[T any] struct {
	Text    string
	Meaning T
}

// Choice reads a value that is one of a few words. Words are taken as written:
// "off" and "no" stay words, whatever YAML makes of them.
func Choice[T any](v Value, words []Word[T]) (T, bool) {
	var zero T
	s, ok := v.scalar()
	if !ok {
		return zero, false
	}
	names := Texts(words)
	v.Takes(names...)
	for _, w := range words {
		if w.Text == s {
			return w.Meaning, true
		}
	}
	remedy := "use " + either(names)
	if near := nearest(s, names); near != "" && len(names) > 2 {
		remedy = "did you mean " + near + "? " + remedy
	}
	v.Fault(fmt.Sprintf("%q is not known", clip(s)), remedy)
	return zero, false
}

// either joins words the way one says them.
func either(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// kind names what a node is, for messages.
func kind(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "there are keys"
	case n.Kind == yaml.SequenceNode:
		return "there is a list"
	case n.Tag == "!!null" || n.Value == "":
		return "there is nothing"
	}
	return "there is a single value"
}

// nearest is the word that text was most likely meant to be, or empty.
func nearest(text string, words []string) string {
	const longest = 30
	if len(text) > longest {
		return ""
	}
	best, least := "", 3
	for _, w := range words {
		if n := distance(strings.ToLower(text), w); n < least && n < utf8.RuneCountInString(w) {
			best, least = w, n
		}
	}
	return best
}

// distance counts the letters to insert, delete, change or swap with a neighbour
// to get from a to b (optimal string alignment; common practice, no source).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	rows := make([][]int, len(x)+1)
	for i := range rows {
		rows[i] = make([]int, len(y)+1)
		rows[i][0] = i
	}
	for j := range y {
		rows[0][j+1] = j + 1
	}
	for i := range x {
		for j := range y {
			change := 1
			if x[i] == y[j] {
				change = 0
			}
			n := min(rows[i][j+1]+1, rows[i+1][j]+1, rows[i][j]+change)
			if i > 0 && j > 0 && x[i] == y[j-1] && x[i-1] == y[j] {
				n = min(n, rows[i-1][j-1]+1)
			}
			rows[i+1][j+1] = n
		}
	}
	return rows[len(x)][len(y)]
}
