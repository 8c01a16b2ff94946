package source

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Asked is what a parser asks of a file, noted while it reads one. Whoever tells what may
// stand in a file tells it from this, so that it cannot say other than the parser.
type Asked struct {
	keys []*AskedKey
	at   map[string]*AskedKey
	maps map[string]int // how many mappings of a path were read
	in   string         // the file that is read
}

// An AskedKey is one key. Only a value that is there shows what it must be, so its file
// has to have it.
type AskedKey struct {
	Path    string   // from the root, with dots between; items of a list have the path of the list
	Always  bool     // no mapping could do without it
	Words   []string // that it takes
	Range   string   // that it must lie in, as "from 0 °C to 100 °C"; empty for none
	Why     string   // the reason of the range; may be empty
	Text    bool     // it is one line of text
	Keys    bool     // it has keys of its own
	List    int      // most items of a list; zero for none
	One     bool     // a single item may stand there without a list
	Example string   // the value as it is written in the first file that has it
	File    string   // that file
	Line    int      // in that file

	needed int // how many mappings could not do without it
	under  string
}

// Keys are all of them in the order in which they were first asked for.
func (a *Asked) Keys() []AskedKey {
	all := make([]AskedKey, len(a.keys))
	for i, k := range a.keys {
		all[i] = *k
		all[i].Always = k.needed == a.maps[k.under]
	}
	return all
}

// Ask lets a document note into a what is asked of it.
func (d *Document) Ask(a *Asked) {
	if a.at == nil {
		a.at, a.maps = map[string]*AskedKey{}, map[string]int{}
	}
	a.in, d.noted = d.file, a
}

// note is called when a mapping is first asked for a key.
func (m *Map) note(key string) {
	if m.doc.noted == nil {
		return
	}
	path := m.pathOf(key)
	if m.doc.noted.at[path] == nil {
		k := &AskedKey{Path: path, under: m.path}
		m.doc.noted.at[path] = k
		m.doc.noted.keys = append(m.doc.noted.keys, k)
	}
}

// noteDone counts what the mapping could not do without.
func (m *Map) noteDone() {
	if m.doc.noted == nil {
		return
	}
	m.doc.noted.maps[m.path]++
	for key := range m.needed {
		m.doc.noted.at[m.pathOf(key)].needed++
	}
}

// pathOf is only kept where somebody takes notes.
func (m *Map) pathOf(key string) string {
	switch {
	case m.doc.noted == nil:
		return ""
	case m.path == "":
		return key
	}
	return m.path + "." + key
}

// noted is what there is on the key of a value, or nil where nobody takes notes.
func (v Value) noted() *AskedKey {
	if v.node == nil || v.doc.noted == nil {
		return nil
	}
	return v.doc.noted.at[v.path]
}

func (v Value) noteScalar() {
	if k := v.noted(); k != nil && k.Example == "" {
		k.Example, k.File, k.Line = v.node.Value, v.doc.noted.in, v.node.Line
	}
}

// Takes notes words that a value may be besides what else is read of it. Choice does so
// by itself.
func (v Value) Takes(words ...string) {
	k := v.noted()
	if k == nil {
		return
	}
	for _, w := range words {
		if !slices.Contains(k.Words, w) {
			k.Words = append(k.Words, w)
		}
	}
}

// Texts are the words of a choice as a file has them.
func Texts[T any](words []Word[T]) []string {
	texts := make([]string, len(words))
	for i, w := range words {
		texts[i] = w.Text
	}
	return texts
}

func noteRange[T cmp.Ordered](v Value, r Range[T]) {
	if k := v.noted(); k != nil {
		k.Range, k.Why = r.String(), r.Why
	}
}

// String says the limits: "from 0 °C to 100 °C".
func (r Range[T]) String() string {
	least := "from "
	if r.Above {
		least = "above "
	}
	return least + r.limit(r.Low) + " to " + r.limit(r.High)
}

// limit writes one end of the range.
func (r Range[T]) limit(v T) string {
	if r.Text != nil {
		return r.Text(v)
	}
	return fmt.Sprint(v)
}

// May says what may stand behind the key, as far as the parser told; empty where it reads
// a form of its own.
func (k *AskedKey) May() string {
	var parts []string
	if k.List > 0 {
		parts = append(parts, fmt.Sprintf("a list of 1 to %d", k.List))
	}
	if k.Keys {
		parts = append(parts, "keys of its own")
	}
	parts = append(parts, k.Words...)
	if k.Range != "" {
		parts = append(parts, k.Range)
	}
	if k.Text && len(k.Words) == 0 {
		parts = append(parts, fmt.Sprintf("one line of text, %d characters at most", MaxText))
	}
	switch {
	case k.List > 0 && k.Keys && len(parts) == 2 && k.One:
		return fmt.Sprintf("keys of its own, or a list of 1 to %d that each have them", k.List)
	case k.List > 0 && k.Keys && len(parts) == 2:
		return fmt.Sprintf("a list of 1 to %d, each with keys of its own", k.List)
	}
	may := either(parts)
	if k.Why != "" {
		may += " (" + k.Why + ")"
	}
	return strings.TrimSpace(may)
}
