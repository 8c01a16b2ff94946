package record

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"

	"fumarium/controller"
)

// memory writes the controller's state as text: a line "name=value" for each field
// that is not zero, sorted by name. Equal states give equal text. It writes the fields
// of one layout and no others, so that a field which a later program adds does not
// change what an older one has recorded.
type memory struct {
	state  controller.State
	places []place
	// lost are fields of the layout that programs have given up since. What they held
	// cannot be had again, so the state as a whole can be compared only where they were
	// zero.
	lost []string
}

// has reports whether the layout holds a field.
func (m *memory) has(name string) bool {
	return slices.ContainsFunc(m.places, func(p place) bool { return p.name == name })
}

// newMemory is that of this program's own layout.
func newMemory() *memory {
	m := &memory{}
	leaves := leavesOf(&m.state)
	for i := range leaves {
		m.places = append(m.places, place{field: leaves[i].field, leaves: []*leaf{&leaves[i]}})
	}
	m.sort()
	return m
}

// memoryOf is that of a recorded layout.
func memoryOf(layout string) (*memory, error) {
	m := &memory{}
	var err error
	if m.places, err = placesOf("state", layout, &m.state); err != nil {
		return nil, err
	}
	m.sort()
	for i := range m.places {
		p := &m.places[i]
		switch {
		case len(p.leaves) > 0:
		case p.retired:
			m.lost = append(m.lost, p.name)
		default:
			return nil, fmt.Errorf("the recorded state has a field %s and this program has none; use the program that recorded it", p.name)
		}
	}
	return m, nil
}

func (m *memory) sort() {
	slices.SortFunc(m.places, func(a, b place) int { return strings.Compare(a.name, b.name) })
}

// layout lists the fields.
func (m *memory) layout() string {
	fields := make([]leaf, len(m.places))
	for i := range m.places {
		fields[i].field = m.places[i].field
	}
	return layoutOf("state", fields)
}

// text is the whole state.
func (m *memory) text(s *controller.State) []byte {
	m.state = *s
	var b []byte
	for i := range m.places {
		p := &m.places[i]
		if len(p.leaves) == 0 {
			continue
		}
		w := p.word()
		if w == (word{}) {
			continue
		}
		b = append(b, p.name...)
		b = append(b, '=')
		b = append(b, p.kind.text(w)...)
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
		i, found := slices.BinarySearchFunc(m.places, name, func(p place, name string) int { return strings.Compare(p.name, name) })
		if !found {
			return controller.State{}, fmt.Errorf("the recorded state has a field %s that its layout has not", name)
		}
		if len(m.places[i].leaves) == 0 {
			continue // retired
		}
		w, err := m.places[i].kind.parse(value)
		if err == nil {
			err = m.places[i].set(w)
		}
		if err != nil {
			return controller.State{}, fmt.Errorf("field %s of the recorded state: %w", name, err)
		}
	}
	return m.state, nil
}
