// Package outlook says what is still to come of a batch, and when: a course that was
// rehearsed, moved along by what has truly happened. It rehearses nothing and knows no
// clock. What is past has its real times; only what is ahead is an estimate.
package outlook

import (
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
)

// A Course is how rehearsals of one product in one cabinet went.
type Course struct {
	Runs  []Run // those that came to their end; the first is the setup itself, and went as planned
	Tried int   // how many there were
	// Taught is what batches before have taught the rehearsals, in words; empty is nothing.
	Taught string
	Curve  []Point // of the first
}

// A Run is one rehearsal, stage by stage as the product has them.
type Run []Stage

// A Stage is how long a stage took and when in it a hand was needed.
type Stage struct {
	Seconds float64
	Hands   []Hand
}

// A Hand is a hand step, or a question, counted from the start of its stage.
type Hand struct {
	Text    string
	Seconds float64
}

// A Point is the rehearsed batch at one moment; a nil is nothing there.
type Point struct {
	Seconds  float64  `json:"seconds"` // since the start
	Setpoint *float64 `json:"setpoint_celsius"`
	Chamber  *float64 `json:"chamber_celsius"`
	Core     *float64 `json:"core_celsius"`
}

// A Plan is a course moved along. Its JSON keys are those of the API. What cannot be said
// is nil.
type Plan struct {
	Made     time.Time   `json:"made"` // the moment that it is of
	Runs     int         `json:"runs"` // rehearsals that it goes by
	Stages   []StagePlan `json:"stages"`
	Hands    []HandPlan  `json:"hand_steps"` // those still to come, soonest first
	Finish   *time.Time  `json:"finish"`
	Earliest *time.Time  `json:"finish_earliest"`
	Latest   *time.Time  `json:"finish_latest"`
	// From is what finish and the ends of stages come from; empty without a finish.
	From string `json:"from"`
	// ForecastMissing is why they come from no forecast.
	ForecastMissing *string `json:"forecast_missing"`
	// Taught is what batches before have taught, in words.
	Taught *string `json:"taught"`
}

// A StagePlan is one stage: past with its real times, ahead with those of the median. Only a
// forecast gives its end a spread.
type StagePlan struct {
	Name        string     `json:"name"`
	Start       *time.Time `json:"start"`
	End         *time.Time `json:"end"`
	EndEarliest *time.Time `json:"end_earliest"`
	EndLatest   *time.Time `json:"end_latest"`
	Place       string     `json:"place"`
}

// A HandPlan is one hand step that is still to come.
type HandPlan struct {
	Stage    string    `json:"stage"`
	Text     string    `json:"text"`
	At       time.Time `json:"at"`
	Earliest time.Time `json:"earliest"`
	Latest   time.Time `json:"latest"`
}

// low and high bound what is said of the spread: one rehearsal in ten is outside on
// either side. Common practice, no source.
const low, high = 0.1, 0.9

// RunOf takes one rehearsal from its history; false where a stage did not end. Stages that
// were skipped took no time.
func RunOf(h *history.History, p *profile.Product) (Run, bool) {
	stages := h.Stages()
	run, next := make(Run, len(p.Stages)), 0
	for at := range stages {
		s := &stages[at]
		i := s.Index
		if i < next || i >= len(run) || i > next && (at == 0 || stages[at-1].By != controller.EndedBySkip) || !s.Over {
			return nil, false
		}
		next = i + 1
		run[i].Seconds = (s.Ended - s.Began).Seconds()
		for _, w := range s.Waits {
			run[i].Hands = append(run[i].Hands, Hand{w.Prompt, (w.Asked - s.Began).Seconds()})
		}
	}
	return run, next == len(run) || len(stages) > 0 && stages[len(stages)-1].By == controller.EndedBySkip
}

// Before says what a course comes to if the batch is started at that time.
func (c *Course) Before(p *profile.Product, start time.Time) *Plan {
	return c.plan(p, start, 0, 0, nil, 0)
}

// Of says what is still to come of the batch under way, and where something cannot be
// said, why.
func (c *Course) Of(s *snapshot.Snapshot) (plan *Plan, missing string) {
	elapsed := s.BatchElapsed()
	past := make([]history.Stage, s.State.Stage) // those that were skipped are not over
	began, asked := elapsed, 0
	for _, h := range s.History.Stages() {
		if h.Index == s.State.Stage {
			began, asked = h.Began, len(h.Waits)
		} else if h.Index < len(past) {
			past[h.Index] = h
		}
	}
	plan = c.plan(s.Product, s.Time.Add(-elapsed), elapsed, began, past, asked)
	plan.Made = s.Time.Truncate(time.Second)
	switch {
	case s.State.Tripped != trip.None:
		missing = "locked off"
	case s.State.Batch != controller.Running:
		missing = s.State.Batch.String()
	default:
		return plan, ""
	}
	for i := s.State.Stage; i < len(plan.Stages); i++ {
		plan.Stages[i].End = nil
		if i > s.State.Stage {
			plan.Stages[i].Start = nil
		}
	}
	plan.Hands, plan.Finish, plan.Earliest, plan.Latest, plan.From = []HandPlan{}, nil, nil, nil, ""
	return plan, missing
}

// plan lays out the batch that was started at start and is elapsed old. The stages in
// past are over, the next began at began, and asked of its hand steps have come up.
func (c *Course) plan(p *profile.Product, start time.Time, elapsed, began time.Duration, past []history.Stage, asked int) *Plan {
	plan := &Plan{Made: start.Truncate(time.Second), Runs: len(c.Runs), Stages: []StagePlan{}, Hands: []HandPlan{}}
	at := func(sec float64) time.Time {
		return start.Add(time.Duration(sec * float64(time.Second))).Truncate(time.Second)
	}
	if c.Taught != "" {
		plan.Taught = &c.Taught
	}
	now, from := elapsed.Seconds(), make([]float64, len(c.Runs))
	for r := range from {
		from[r] = began.Seconds()
	}
	for i := range p.Stages {
		stage := StagePlan{Name: p.Stages[i].Name, Place: p.Stages[i].Place.String()}
		if i < len(past) {
			if past[i].Over {
				from, to := at(past[i].Began.Seconds()), at(past[i].Ended.Seconds())
				stage.Start, stage.End = &from, &to
			}
			plan.Stages = append(plan.Stages, stage)
			continue
		}
		current := i == len(past)
		begins := at(quantile(from, 0.5))
		for h := range c.Runs[0][i].Hands {
			if current && h < asked {
				continue
			}
			plan.Hands = append(plan.Hands, c.hand(i, h, stage.Name, from, now, at))
		}
		for r, run := range c.Runs {
			from[r] = max(now, from[r]+run[i].Seconds)
		}
		ends := at(quantile(from, 0.5))
		stage.Start, stage.End = &begins, &ends
		plan.Stages = append(plan.Stages, stage)
	}
	finish, earliest, latest := at(quantile(from, 0.5)), at(quantile(from, low)), at(quantile(from, high))
	plan.Finish, plan.Earliest, plan.Latest, plan.From = &finish, &earliest, &latest, FromRehearsals
	slices.SortStableFunc(plan.Hands, func(a, b HandPlan) int { return a.At.Compare(b.At) })
	return plan
}

// hand lays out one hand step over the rehearsals in which it came up.
func (c *Course) hand(i, h int, stage string, from []float64, now float64, at func(float64) time.Time) HandPlan {
	var when []float64
	for r, run := range c.Runs {
		if h < len(run[i].Hands) {
			when = append(when, max(now, from[r]+run[i].Hands[h].Seconds))
		}
	}
	return HandPlan{
		Stage: stage, Text: c.Runs[0][i].Hands[h].Text,
		At: at(quantile(when, 0.5)), Earliest: at(quantile(when, low)), Latest: at(quantile(when, high)),
	}
}

// quantile interpolates between the ordered values (type 7 of Hyndman and Fan, The
// American Statistician 50, 1996).
func quantile(values []float64, q float64) float64 {
	ordered := slices.Sorted(slices.Values(values))
	place := q * float64(len(ordered)-1)
	i := int(place)
	if i+1 >= len(ordered) {
		return ordered[len(ordered)-1]
	}
	return ordered[i] + float64((place-float64(i))*(ordered[i+1]-ordered[i]))
}

// Fits reports whether the course is of that product: it may have been read from a disk.
func (c *Course) Fits(p *profile.Product) bool {
	for _, run := range c.Runs {
		if len(run) != len(p.Stages) {
			return false
		}
	}
	return len(c.Runs) > 0
}
