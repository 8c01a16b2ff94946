package sim

import (
	"fmt"
	"strings"
)

// A Part is one of the numbers that the record of a batch can tell.
type Part uint8

// The parts.
const (
	Film Part = iota + 1 // of air at the product
	Diffusivity
	Glow // of the element that misses the tray
	Leak
	Power // of the heater

	Parts = iota
)

// String names a part as people read it.
func (p Part) String() string {
	return [...]string{"", "air speed at the product", "how fast moisture moves inside", "the element's glow past the tray", "cracks of the cabinet", "the heater's power"}[p]
}

// A Known is what is known of a part, in the standard deviations of what is drawn without
// it: where its middle is, and what is left of its deviation.
type Known struct {
	Middle float64 `json:"middle"`
	Left   float64 `json:"left"` // zero is all of it
}

// Learned is what batches have told of each part, Film first.
type Learned [Parts]Known

// Of is a setup with all that was learned.
func (l Learned) Of(s Setup) Setup {
	for p := Film; p <= Parts; p++ {
		if z := l[p-1].Middle; z != 0 {
			p.vary(&s, z)
		}
	}
	s.Learned = &l
	return s
}

// left is what of the deviation of a part is left to be drawn.
func (l *Learned) left(p Part) float64 {
	if l == nil || p == 0 || l[p-1].Left == 0 {
		return 1
	}
	return l[p-1].Left
}

// vary changes a part of a setup by z standard deviations.
func (p Part) vary(s *Setup, z float64) {
	if p == Power { // IEC 60038 lets 230 V be a tenth off, and power goes with its square
		s.Power = or1(s.Power) * between(z, 0.81, 1.21)
		return
	}
	for _, u := range unknowns {
		if u.part == p {
			u.vary(s, z)
		}
	}
}

// String says what was learned, as people read it.
func (l *Learned) String() string {
	var texts []string
	for p := Film; p <= Parts; p++ {
		if k := l[p-1]; k.Left != 0 {
			texts = append(texts, fmt.Sprintf("%s %s", p, times(p, k.Middle)))
		}
	}
	if len(texts) == 0 {
		return "nothing"
	}
	return strings.Join(texts, ", ")
}

// times is how many times as much as without it, as far as that can be said.
func times(p Part, z float64) string {
	ends := map[Part][2]float64{Film: {0.7, 3}, Diffusivity: {0.5, 2}, Leak: {0.5, 4}, Power: {0.81, 1.21}}
	if e, ok := ends[p]; ok {
		return fmt.Sprintf("%.2f times", between(z, e[0], e[1]))
	}
	return fmt.Sprintf("%.2f times, at most all", max(0, 1+z/furthest))
}
