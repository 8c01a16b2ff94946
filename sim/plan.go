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
	Hung     time.Time  `json:"hung"`
	Steps    []PlanStep `json:"steps"`
	Runs     int        `json:"runs"`
	// Missed is how many of the rehearsals missed a limit: what nobody has measured may
	// come out so that the batch is lost.
	Missed int `json:"missed"`
	// Middle is when salt has come to the middle of what is cured from outside, by
	// diffusion; null for anything else. It may be after the batch is hung.
	Middle *time.Time `json:"middle"`
	// Hands are the hand steps, soonest first.
	Hands []PlanHand `json:"hands"`
	// Nights is how many hand steps may fall into the night, with making it if that does.
	Nights int `json:"nights"`
	// Sooner is by how much it hangs sooner than it needs to, for the sake of the night.
	SoonerSeconds float64 `json:"sooner_seconds"`
	// Cool and Free are when the cabinet has cooled down, and is cleaned and free for the
	// next batch; null where there is no next.
	Cool *time.Time `json:"cabinet_cool"`
	Free *time.Time `json:"cabinet_free"`
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

// A PlanHand is one hand step or question of the batch. Early and Late are when one
// rehearsal in ten, and nine of ten, come to it.
type PlanHand struct {
	Text  string    `json:"text"`
	At    time.Time `json:"at"`
	Early time.Time `json:"early"`
	Late  time.Time `json:"late"`
	Night bool      `json:"night"` // it may fall into the night
}

// NewPlan counts back from ready. made is how long grinding, mixing and stuffing
// take; times come out in the zone of ready. A spread of which fewer than nine rehearsals of ten
// came to their end, or fewer than half met their limits, promises nothing and is an error.
func NewPlan(p *profile.Product, spread *SpreadResult, now, ready time.Time, made time.Duration) (*Plan, error) {
	if err := promises(p, spread); err != nil {
		return nil, err
	}
	plan, err := PlanFrom(p, spread, now, ready.Add(-whole(spread)), made)
	if err == nil {
		plan.Ready = ready
	}
	return plan, err
}

// promises is why a spread promises nothing.
func promises(p *profile.Product, spread *SpreadResult) error {
	if len(spread.Stages) < len(p.Stages) || float64(spread.Ended) < 0.9*float64(spread.Runs) || 2*spread.Complete < spread.Runs {
		return fmt.Errorf("sim: only %d of %d rehearsals came to their end, and %d met their limits; rehearse %s and mend its schedule first",
			spread.Ended, spread.Runs, spread.Complete, p.Name)
	}
	return nil
}

// resting is the name of the step between making and hanging.
const resting = "rest"

func durationOf(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// whole is how long a batch hangs in nine rehearsals of ten.
func whole(spread *SpreadResult) time.Duration {
	return durationOf(spread.Stages[len(spread.Stages)-1].EndP90Seconds)
}

// PlanFrom counts forwards from when it is hung, and back from there to when to begin. It is
// ready when nine rehearsals of ten are.
func PlanFrom(p *profile.Product, spread *SpreadResult, now, hang time.Time, made time.Duration) (*Plan, error) {
	if err := promises(p, spread); err != nil {
		return nil, err
	}
	if made < 0 {
		return nil, errors.New("sim: the time for making is negative")
	}
	rest, why := p.Rest()
	seconds, whole, zone := durationOf, whole(spread), hang.Location()
	hang = hang.Truncate(time.Minute)
	stuffed := hang.Add(-rest)
	begin := stuffed.Add(-made)
	plan := &Plan{
		Product: p.Name, Hung: hang, Ready: hang.Add(whole).Truncate(time.Second), Possible: !begin.Before(now), Runs: spread.Runs, Missed: spread.Runs - spread.Complete,
		Earliest: ceilMinute(now.Add(made + rest + whole)).Add(time.Minute).In(zone), // hanging is rounded down to a minute
		Hands:    []PlanHand{},
	}
	for _, h := range spread.Hands {
		at := func(s float64) time.Time { return hang.Add(seconds(s)).In(zone) }
		plan.Hands = append(plan.Hands, PlanHand{Text: h.Text, At: at(h.Middle), Early: at(h.Early), Late: at(h.Latest)})
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
		add(resting, stuffed, hang, hang, note)
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
