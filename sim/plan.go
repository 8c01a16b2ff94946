package sim

import (
	"errors"
	"fmt"
	"time"

	"fumarium/profile"
	"fumarium/profile/diffusion"
	"fumarium/profile/quantity"
)

// A Plan is when to do what, so that a batch is ready in time in nine rehearsals
// of ten. Its JSON keys are those of `plan --json`.
type Plan struct {
	Product  string     `json:"product"`
	Ready    time.Time  `json:"ready"`
	Possible bool       `json:"possible"`
	Earliest time.Time  `json:"earliest"` // ready, if making began now
	Steps    []PlanStep `json:"steps"`
	Runs     int        `json:"runs"`
	// Missed is how many of the rehearsals missed a limit: what nobody has measured may
	// come out so that the batch is lost.
	Missed int `json:"missed"`
	// Middle is when salt has come to the middle of what is cured from outside, by
	// diffusion; null for anything else. It may be after the batch is hung.
	Middle *time.Time `json:"middle"`
}

// A PlanStep is one step. Until is when half of the rehearsals are through with
// it, Late when nine of ten are.
type PlanStep struct {
	Name  string    `json:"name"`
	Begin time.Time `json:"begin"`
	Until time.Time `json:"until_p50"`
	Late  time.Time `json:"until_p90"`
	Note  string    `json:"note"`
}

// NewPlan counts back from ready. made is how long grinding, mixing and stuffing
// take; times come out in the zone of ready. A spread of which fewer than nine rehearsals of ten
// came to their end, or fewer than half met their limits, promises nothing and is an error.
func NewPlan(p *profile.Product, spread *SpreadResult, now, ready time.Time, made time.Duration) (*Plan, error) {
	n := len(p.Stages)
	if len(spread.Stages) < n || float64(spread.Ended) < 0.9*float64(spread.Runs) || 2*spread.Complete < spread.Runs {
		return nil, fmt.Errorf("sim: only %d of %d rehearsals came to their end, and %d met their limits; rehearse %s and mend its schedule first",
			spread.Ended, spread.Runs, spread.Complete, p.Name)
	}
	if made < 0 {
		return nil, errors.New("sim: the time for making is negative")
	}
	rest, why := p.Rest()
	seconds := func(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
	whole := seconds(spread.Stages[n-1].EndP90Seconds)
	hang := ready.Add(-whole).Truncate(time.Minute)
	stuffed := hang.Add(-rest)
	begin := stuffed.Add(-made)
	zone := ready.Location()
	plan := &Plan{
		Product: p.Name, Ready: ready, Possible: !begin.Before(now), Runs: spread.Runs, Missed: spread.Runs - spread.Complete,
		Earliest: ceilMinute(now.Add(made + rest + whole)).Add(time.Minute).In(zone), // hanging is rounded down to a minute
	}
	add := func(name string, from, until, late time.Time, note string) {
		plan.Steps = append(plan.Steps, PlanStep{name, from.In(zone), until.In(zone), late.In(zone), note})
	}
	add("make", begin, stuffed, stuffed, "weigh, grind, mix and stuff, or cure; about "+quantity.FormatDuration(made))
	if rest > 0 {
		note := quantity.FormatDuration(rest) + " in the cold: " + why
		if in, ok := p.CuredFromOutside(); ok {
			at := stuffed.Add(in.Needed).Truncate(time.Hour).Add(time.Hour).In(zone)
			plan.Middle = &at
			note += "; salt has come to the middle on " + at.Format("Mon 2 Jan")
			if in.Needed > rest {
				note += fmt.Sprintf(", AFTER it is hung: it holds %.0f %% of it then", 100*in.Middle(diffusion.Salt, rest))
			}
			note += " (" + diffusion.Salt.Source + ")"
			if !p.Formula.PumpedNitrite() {
				note += "; nitrite there is not shown"
			}
		}
		add("rest", stuffed, hang, hang, note)
	}
	from := hang
	for i := range p.Stages {
		stage, s := &p.Stages[i], spread.Stages[i]
		until := hang.Add(seconds(s.EndP50Seconds))
		add(stage.Name, from, until, hang.Add(seconds(s.EndP90Seconds)), stage.Until.String())
		from = until
	}
	return plan, nil
}

func ceilMinute(t time.Time) time.Time {
	if down := t.Truncate(time.Minute); !down.Equal(t) {
		return down.Add(time.Minute)
	}
	return t
}
