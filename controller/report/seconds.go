package report

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// Seconds writes the readings and the outputs of every step, a line each. What was not
// read is empty. Add takes one; Flush ends it.
type Seconds struct {
	columns []column
	line    []string
	w       *csv.Writer
}

// NewSeconds begins the file of a batch in that cabinet.
func NewSeconds(w io.Writer, c *cabinet.Cabinet) (*Seconds, error) {
	s := &Seconds{columns: columns(c), w: csv.NewWriter(w)}
	s.line = make([]string, len(s.columns))
	for i := range s.columns {
		s.line[i] = s.columns[i].name
	}
	return s, s.w.Write(s.line)
}

// Add writes one step.
func (s *Seconds) Add(m Moment) error {
	for i := range s.columns {
		s.line[i] = s.columns[i].of(&m)
	}
	return s.w.Write(s.line)
}

// Flush writes what is left, and reports whether all could be written.
func (s *Seconds) Flush() error {
	s.w.Flush()
	return s.w.Error()
}

// A Moment is a line of the file of seconds.
type Moment struct {
	Elapsed time.Duration
	In      *controller.Inputs
	Out     controller.Outputs
}

// A Column is one of the file of seconds.
type column struct {
	name string
	of   func(*Moment) string
}

// Columns of a cabinet. A temperature's name ends in _celsius, as assess reads it.
func columns(c *cabinet.Cabinet) []column {
	list := []column{{"elapsed_seconds", func(m *Moment) string { return trimmed(m.Elapsed.Seconds(), 3) }}}
	taken := map[string]int{}
	seen := map[cabinet.Role]int{}
	for i := range c.Probes {
		p := &c.Probes[i]
		nth := seen[p.Role]
		seen[p.Role]++
		name := p.Role.String() + " " + p.Name
		if strings.HasPrefix(strings.ToLower(p.Name), strings.ToLower(p.Role.String())) {
			name = p.Name
		}
		key := word(name)
		if taken[key]++; taken[key] > 1 {
			key += fmt.Sprintf("_%d", taken[key])
		}
		list = append(list, column{key + "_celsius", func(m *Moment) string {
			if v, ok := reading(m.In, p.Role, nth); ok {
				return trimmed(v, 4)
			}
			return ""
		}})
	}
	for o := range controller.OutputCount {
		if o.Fitted(c) {
			list = append(list, column{word(o.String()) + "_on", func(m *Moment) string {
				if m.Out.On.Has(o) {
					return "1"
				}
				return "0"
			}})
		}
	}
	return list
}

func reading(in *controller.Inputs, role cabinet.Role, nth int) (float64, bool) {
	switch role {
	case cabinet.ChamberProbe:
		v, ok := in.Chamber[nth].Value()
		return float64(v), ok
	case cabinet.CoreProbe:
		v, ok := in.Core[nth].Value()
		return float64(v), ok
	case cabinet.WetBulbProbe:
		v, ok := in.WetBulb.Value()
		return float64(v), ok
	case cabinet.AmbientProbe:
		v, ok := in.Ambient.Value()
		return float64(v), ok
	case cabinet.EmberProbe:
		v, ok := in.Ember.Value()
		return float64(v), ok
	}
	return 0, false
}

// word makes a column's name of a probe's.
func word(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		} else if !strings.HasSuffix(b.String(), "_") {
			b.WriteByte('_')
		}
	}
	return cmp.Or(strings.Trim(b.String(), "_"), "probe")
}

func trimmed(v float64, digits int) string {
	text := fmt.Sprintf("%.*f", digits, v)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}
