package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/forecast"
)

const (
	// supposedRuns is how many rehearsals are made again for one question, and reachedRuns
	// for each chamber that is tried: as many as somebody waits for.
	supposedRuns, reachedRuns = 8, 3
	// lever is by how much above what the file has a chamber is looked for: what is hotter
	// still dries and bursts. Common practice, no source.
	lever quantity.Celsius = 10
	// overCore is how much hotter than the core that is waited for a chamber is at least;
	// nearer, nobody knows whether it ever comes. Common practice, no source.
	overCore quantity.Celsius = 5
)

// Suppose makes the rehearsals that explain a batch again, with something otherwise, on a
// thread that yields to all others.
func (f *forecaster) Suppose(ctx context.Context, s *snapshot.Snapshot, what web.Supposition) (*web.Supposed, error) {
	known := f.known.Load()
	switch last := f.Of(s.BatchID); {
	case last != nil && last.Missing != "":
		return nil, errors.New(last.Missing)
	case known == nil || known.batch != s.BatchID || last == nil:
		return nil, errors.New("it is being rehearsed")
	}
	elapsed := s.BatchElapsed()
	track := forecast.TrackOf(&s.History, elapsed)
	if n := len(track.Stages); n == 0 || track.Stages[n-1].Index != s.State.Stage {
		return nil, errors.New("the stage has just begun")
	}
	doubles := forecast.Doubles{
		Library: &known.library, Now: &track, Turns: known.turns, Most: supposedRuns,
		Setup: func(run int) sim.Setup { return sim.Vary(known.setups[run], run) },
	}
	begin := s.Time.Add(-elapsed)
	spread := func(f *forecast.Forecast) outlook.Range {
		at := func(seconds float64) time.Time {
			return begin.Add(time.Duration(max(seconds, elapsed.Seconds()) * float64(time.Second))).Truncate(time.Second)
		}
		e := f.Finish()
		return outlook.Range{Earliest: at(e.Early), Middle: at(e.Middle), Latest: at(e.Late)}
	}
	e := &web.Supposed{Stage: s.Product.Stages[s.State.Stage].Name, Change: supposedText(&what)}
	var a forecast.Answer
	var err error
	done := make(chan struct{})
	go func() {
		defer close(done)
		lowest()
		if what.Ready.IsZero() {
			a, err = doubles.Suppose(ctx, suppositionOf(&what, s.Time))
			return
		}
		doubles.Most = reachedRuns
		var chamber quantity.Celsius
		var reached bool
		chamber, a, reached, err = doubles.Reach(ctx, what.Ready.Sub(begin).Seconds(), s.Bounds.Chamber.Now, hottest(s))
		found := float64(chamber)
		e.Chamber, e.Reached, e.Change = &found, &reached, fmt.Sprintf("chamber %v", chamber)
	}()
	<-done
	switch {
	case err != nil:
		return nil, err
	case a.Then.Missing != "":
		return nil, fmt.Errorf("%s: %s", a.Then.Missing, cmp.Or(a.Rule, "none was good"))
	}
	e.Now, e.Then, e.Rehearsals, e.Worse = spread(&a.Now), spread(&a.Then), a.Runs, a.Worse
	if a.Rule != "" {
		e.Rule = &a.Rule
	}
	return e, nil
}

// hottest is up to which chamber one is looked for: above the file's, within what adjust
// takes.
func hottest(s *snapshot.Snapshot) quantity.Celsius {
	b := &s.Bounds.Chamber
	return max(b.Now, min(b.High, b.File+lever))
}

func suppositionOf(what *web.Supposition, now time.Time) (s forecast.Supposition) {
	if what.Chamber != nil {
		s.HasChamber, s.Chamber = true, *what.Chamber
	}
	if what.Damper != nil {
		s.Later.HasDamper, s.Later.Damper = true, *what.Damper
	}
	s.Later.Room = what.Room
	if !what.From.IsZero() {
		s.Later.At = what.From.Sub(now)
	}
	return s
}

// supposedText says in words what is supposed.
func supposedText(what *web.Supposition) string {
	var texts []string
	if what.Chamber != nil {
		texts = append(texts, "chamber "+what.Chamber.String())
	}
	if what.Damper != nil {
		texts = append(texts, "damper "+what.Damper.String()+" open")
	}
	if what.Room != 0 {
		texts = append(texts, fmt.Sprintf("room %+.1f K", float64(what.Room)))
	}
	if !what.From.IsZero() {
		texts = append(texts, "from "+what.From.Format("Mon 15:04")+" on")
	}
	return strings.Join(texts, ", ")
}
