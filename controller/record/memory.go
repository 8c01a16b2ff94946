package record

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"

	"fumarium/controller"
)

// memory writes the controller's state as text: a line "name=value" for each field
// that is not zero, sorted by name. Equal states give equal text, and a field that
// later versions add changes nothing as long as it is zero.
type memory struct {
	state  controller.State
	leaves []leaf
}

func newMemory() *memory {
	m := &memory{}
	m.leaves = leavesOf(&m.state)
	slices.SortFunc(m.leaves, func(a, b leaf) int { return strings.Compare(a.name, b.name) })
	return m
}

// text is the whole state.
func (m *memory) text(s *controller.State) []byte {
	m.state = *s
	var b []byte
	for i := range m.leaves {
		l := &m.leaves[i]
		w := l.word()
		if w == (word{}) {
			continue
		}
		b = append(b, l.name...)
		b = append(b, '=')
		b = append(b, l.text(w)...)
		b = append(b, '\n')
	}
	return b
}

// hash is the SHA-256 of the text.
func (m *memory) hash(s *controller.State) [sha256.Size]byte { return sha256.Sum256(m.text(s)) }

// parse is the inverse of text.
func (m *memory) parse(text string) (controller.State, error) {
	m.state = controller.State{}
	for line := range strings.Lines(text) {
		name, value, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "=")
		if !ok {
			return controller.State{}, fmt.Errorf("line %q of the recorded state is not name=value", line)
		}
		if to, ok := renamed[name]; ok {
			name = to
		}
		i, found := slices.BinarySearchFunc(m.leaves, name, func(l leaf, name string) int { return strings.Compare(l.name, name) })
		if !found {
			return controller.State{}, fmt.Errorf("the recorded state has a field %s and this program has none; use the program that recorded it", name)
		}
		w, err := m.leaves[i].kind.parse(value)
		if err == nil {
			err = m.leaves[i].set(w)
		}
		if err != nil {
			return controller.State{}, fmt.Errorf("field %s of the recorded state: %w", name, err)
		}
	}
	return m.state, nil
}
