package report

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// Seconds writes the readings and the outputs of every step, a line each. What was not
// read is empty. Add takes one; Flush ends it. No cell of it needs a quote.
type Seconds struct {
	columns []column
	cells   [1024]cell
	line    []byte
	w       *bufio.Writer
}

// A cell is a number that was written before: front ends give few of them.
type cell struct {
	bits uint64
	text []byte
}

// NewSeconds begins the file of a batch in that cabinet.
func NewSeconds(w io.Writer, c *cabinet.Cabinet) (*Seconds, error) {
	s := &Seconds{columns: columns(c), w: bufio.NewWriter(w)}
	names := make([]string, len(s.columns))
	for i := range s.columns {
		names[i] = s.columns[i].name
	}
	_, err := fmt.Fprintln(s.w, strings.Join(names, ","))
	return s, err
}

// Add writes one step.
func (s *Seconds) Add(m Moment) error {
	s.line = s.line[:0]
	for i := range s.columns {
		if i > 0 {
			s.line = append(s.line, ',')
		}
		s.line = s.columns[i].of(s, &m)
	}
	_, err := s.w.Write(append(s.line, '\n'))
	return err
}

// number adds a temperature to the line.
func (s *Seconds) number(v float64) []byte {
	bits := math.Float64bits(v)
	c := &s.cells[(bits*0x9e3779b97f4a7c15)>>54]
	if c.bits != bits || c.text == nil {
		c.bits, c.text = bits, trimmed(c.text[:0], v, 4)
	}
	return append(s.line, c.text...)
}

// Flush writes what is left, and reports whether all could be written.
func (s *Seconds) Flush() error { return s.w.Flush() }

// A Moment is a line of the file of seconds.
type Moment struct {
	Elapsed time.Duration
	In      *controller.Inputs
	Out     controller.Outputs
}

// A Column is one of the file of seconds.
type column struct {
	name string
	of   func(*Seconds, *Moment) []byte // the line with it
}

// Columns of a cabinet. A temperature's name ends in _celsius, as assess reads it.
func columns(c *cabinet.Cabinet) []column {
	list := []column{{"elapsed_seconds", func(s *Seconds, m *Moment) []byte { return elapsed(s.line, m.Elapsed) }}}
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
		list = append(list, column{key + "_celsius", func(s *Seconds, m *Moment) []byte {
			if v, ok := reading(m.In, p.Role, nth); ok {
				return s.number(v)
			}
			return s.line
		}})
	}
	for o := range controller.OutputCount {
		if o.Fitted(c) {
			list = append(list, column{word(o.String()) + "_on", func(s *Seconds, m *Moment) []byte {
				if m.Out.On.Has(o) {
					return append(s.line, '1')
				}
				return append(s.line, '0')
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

// elapsed adds seconds to the millisecond.
func elapsed(b []byte, d time.Duration) []byte {
	d = d.Round(time.Millisecond)
	if d%time.Second == 0 { // most
		return strconv.AppendInt(b, int64(d/time.Second), 10)
	}
	return trimmed(b, d.Seconds(), 3)
}

// trimmed adds a number without zeros at its end.
func trimmed(b []byte, v float64, digits int) []byte {
	b = strconv.AppendFloat(b, v, 'f', digits, 64)
	for b[len(b)-1] == '0' {
		b = b[:len(b)-1]
	}
	if b[len(b)-1] == '.' {
		b = b[:len(b)-1]
	}
	return b
}
