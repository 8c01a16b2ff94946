package sim

import (
	"context"

	"fumarium/profile/quantity"
	"fumarium/sim/plant"
)

// A Limit is something that the simulated cabinet does not know well, and what a rehearsal
// comes to at both ends of what is thought possible.
type Limit struct {
	What string   `json:"what"`
	Ends []Course `json:"ends"` // at the low end and at the high end
}

// A Course is how a rehearsal went, in short.
type Course struct {
	At           string  `json:"at"`
	Outcome      string  `json:"outcome"`
	HotSeconds   float64 `json:"hot_seconds"` // to the end of the last stage in the chamber
	YieldPercent float64 `json:"yield_percent"`
}

// doubts are what is varied, one after the other. The bounds are those of the figures'
// own comments, and own magnitudes for film and room.
var doubts = []struct {
	what, low, high string
	change          func(s *Setup, high bool)
}{
	{"how much juice heat squeezes out", "0.6 times", "1.4 times", func(s *Setup, high bool) { s.Doubt.Juice = pick(high, 0.6, 1.4) }},
	{"how much of it drips instead of wetting the surface", "40 %", "80 %", func(s *Setup, high bool) { s.Doubt.Drip = pick(high, 0.67, 1.33) }},
	{"how fast moisture moves inside", "half", "twice, as lean beef would at 60 °C", func(s *Setup, high bool) { s.Doubt.Diffusivity = pick(high, 0.5, 2) }},
	{"air speed at the product, as its film coefficient", "0.7 times", "twice", func(s *Setup, high bool) { s.FilmFactor = or1(s.FilmFactor) * pick(high, 0.7, 2) }},
	{"cracks of the cabinet", "half", "8 times, no gasket", func(s *Setup, high bool) {
		c := *s.Cabinet
		c.Rehearsal.Leak *= quantity.SquareMeters(pick(high, 0.5, 8))
		s.Cabinet = &c
	}},
	{"what of the element's glow misses the tray", "none", "twice as much, at most all", func(s *Setup, high bool) {
		c := *s.Cabinet
		c.Rehearsal.PastTray = min(1, c.Rehearsal.PastTray*quantity.Ratio(pick(high, 0, 2)))
		s.Cabinet = &c
	}},
}

func pick(high bool, low, top float64) float64 {
	if high {
		return top
	}
	return low
}

func or1(factor float64) float64 {
	if factor == 0 {
		return 1
	}
	return factor
}

// unmodelled is what the simulated cabinet leaves out, whose effect it therefore cannot
// tell.
var unmodelled = []string{
	"cold and hot corners of the chamber: the air is the same everywhere",
	"shrinking of the pieces, their ends and edges, and bones",
	"smoke that settles on the product, and its heat beyond what the generator's figures say",
	"a chamber probe in the glow of lining and element",
}

// A LimitsResult is what the model does not know of one rehearsal.
type LimitsResult struct {
	Plain      Course   `json:"plain"`
	Limits     []Limit  `json:"limits"`
	Unmodelled []string `json:"unmodelled"`
}

// Limits rehearses a setup as it is, and at both ends of what the model is in doubt of.
func Limits(ctx context.Context, setup Setup, progress func(done, all int)) (*LimitsResult, error) {
	result := &LimitsResult{Unmodelled: unmodelled}
	all, done := 1+2*len(doubts), 0
	course := func(s Setup, at string) (Course, error) {
		r, err := Rehearse(ctx, s, nil, nil)
		if err != nil {
			return Course{}, err
		}
		c := Course{At: at, Outcome: r.Outcome}
		for i := range r.Stages {
			if r.Stages[i].ChamberMeanCelsius != nil {
				c.HotSeconds = r.Stages[i].EndSeconds
			}
		}
		if r.YieldPercent != nil {
			c.YieldPercent = *r.YieldPercent
		}
		if done++; progress != nil {
			progress(done, all)
		}
		return c, nil
	}
	setup.Doubt = plant.Doubt{}
	var err error
	if result.Plain, err = course(setup, "as it is"); err != nil {
		return nil, err
	}
	for _, d := range doubts {
		limit := Limit{What: d.what}
		for _, high := range []bool{false, true} {
			s, at := setup, d.low
			if high {
				at = d.high
			}
			d.change(&s, high)
			c, err := course(s, at)
			if err != nil {
				return nil, err
			}
			limit.Ends = append(limit.Ends, c)
		}
		result.Limits = append(result.Limits, limit)
	}
	return result, nil
}
