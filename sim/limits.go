package sim

import (
	"context"

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

// unmodelled is what the simulated cabinet leaves out, whose effect it therefore cannot
// tell.
var unmodelled = []string{
	"cold and hot corners of the chamber beyond that: the air is the same everywhere",
	"shrinking of the pieces, their ends and edges, and bones",
	"bare roasts while they are cold: one reached 30 and 40 °C later than a published roast did, and 50 to 65 °C and its loss as that did; no conduction brings its middle there so soon",
	"a shut cabinet whose wet bulb stays below the core that is wanted: it took 1.2 times as long as an open one, where a published one took no longer; meat stalls at the wet bulb until its juice is gone, and the published air was moister or hotter",
	"smoke that settles on the product, and its heat beyond what the generator's figures say",
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
	var doubts []unknown
	for _, u := range unknowns {
		if u.low != "" {
			doubts = append(doubts, u)
		}
	}
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
		for _, end := range []struct {
			at string
			z  float64
		}{{d.low, -furthest}, {d.high, furthest}} {
			s := setup
			d.vary(&s, end.z)
			c, err := course(s, end.at)
			if err != nil {
				return nil, err
			}
			limit.Ends = append(limit.Ends, c)
		}
		result.Limits = append(result.Limits, limit)
	}
	return result, nil
}
