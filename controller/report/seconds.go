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
	probes  []probe
	outputs []controller.Output
	cells   [1024]cell
	whole   int64 // seconds of the line before
	on      controller.OutputSet
	tail    []byte // of the line before: its outputs
	line    []byte
	w       *bufio.Writer
}

// A probe is the nth of its role.
type probe struct {
	role cabinet.Role
	nth  int
}

// A cell is a number that was written before: front ends give few of them.
type cell struct {
	bits uint64
	text []byte
}

// NewSeconds begins the file of a batch in that cabinet.
func NewSeconds(w io.Writer, c *cabinet.Cabinet) (*Seconds, error) {
	s := &Seconds{w: bufio.NewWriter(w)}
	_, err := fmt.Fprintln(s.w, strings.Join(s.columns(c), ","))
	return s, err
}

// Add writes one step.
func (s *Seconds) Add(m Moment) error {
	line := s.elapsed(s.line[:0], m.Elapsed)
	for _, p := range s.probes {
		line = append(line, ',')
		if v, ok := p.reading(m.In); ok {
			line = s.number(line, v)
		}
	}
	if s.tail == nil || m.Out.On != s.on {
		s.on, s.tail = m.Out.On, s.tail[:0]
		for _, o := range s.outputs {
			bit := byte('0')
			if s.on.Has(o) {
				bit = '1'
			}
			s.tail = append(s.tail, ',', bit)
		}
		s.tail = append(s.tail, '\n')
	}
	s.line = append(line, s.tail...)
	_, err := s.w.Write(s.line)
	return err
}

// number adds a temperature to the line.
func (s *Seconds) number(line []byte, v float64) []byte {
	bits := math.Float64bits(v)
	c := &s.cells[(bits*0x9e3779b97f4a7c15)>>54]
	if c.bits != bits || c.text == nil {
		c.bits, c.text = bits, trimmed(c.text[:0], v, 4)
	}
	return append(line, c.text...)
}

// Flush writes what is left, and reports whether all could be written.
func (s *Seconds) Flush() error { return s.w.Flush() }

// A Moment is a line of the file of seconds.
type Moment struct {
	Elapsed time.Duration
	In      *controller.Inputs
	Out     controller.Outputs
}

// columns finds what is written of a cabinet, and names it. A temperature's name ends in
// _celsius, as assess reads it.
func (s *Seconds) columns(c *cabinet.Cabinet) []string {
	names := []string{"elapsed_seconds"}
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
		s.probes = append(s.probes, probe{p.Role, nth})
		names = append(names, key+"_celsius")
	}
	for o := range controller.OutputCount {
		if o.Fitted(c) {
			s.outputs = append(s.outputs, o)
			names = append(names, word(o.String())+"_on")
		}
	}
	return names
}

func (p probe) reading(in *controller.Inputs) (float64, bool) {
	switch p.role {
	case cabinet.ChamberProbe:
		v, ok := in.Chamber[p.nth].Value()
		return float64(v), ok
	case cabinet.CoreProbe:
		v, ok := in.Core[p.nth].Value()
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
func (s *Seconds) elapsed(line []byte, d time.Duration) []byte {
	if d != time.Duration(s.whole+1)*time.Second { // nearly all are; to divide costs a small board more than the rest
		if d = d.Round(time.Millisecond); d%time.Second != 0 {
			return trimmed(line, d.Seconds(), 3)
		}
		s.whole = int64(d/time.Second) - 1
	}
	s.whole++
	return strconv.AppendInt(line, s.whole, 10)
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
