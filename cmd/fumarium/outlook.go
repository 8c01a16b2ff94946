package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/outlook"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

const (
	outlookFile = "plan.json"
	// outlookRuns is how many rehearsals the times of a batch go by; common practice, no
	// source.
	outlookRuns = 9
	// previewRuns is how many somebody waits for.
	previewRuns = 5
	// mostCurve is how many points of the rehearsed curve are kept: more than a screen
	// has room for.
	mostCurve = 400
	// outlookLooks is how often the daemon looks whether a batch was started.
	outlookLooks = 500 * time.Millisecond
)

// A planner rehearses each batch beside it, on one core and mostly resting, and keeps the
// course on disk so that it outlives the program.
type planner struct {
	cabinet *cabinet.Cabinet
	world   record.World
	file    string // its folder has what batches have taught, too
	log     *slog.Logger
	made    atomic.Pointer[outlooked]
}

// outlooked is what is known of one batch.
type outlooked struct {
	Batch   string
	Course  *outlook.Course
	Missing string
	Turns   int // changes of its stages that the course has in it
}

// Of is what rehearsals say of a batch, or why they say nothing.
func (p *planner) Of(batch string) (*outlook.Course, string) {
	if made := p.made.Load(); made != nil && made.Batch == batch {
		return made.Course, made.Missing
	}
	return nil, "it is being rehearsed"
}

// Run follows the batches until ctx ends.
func (p *planner) Run(ctx context.Context, latest func() *snapshot.Snapshot) {
	if kept, err := readOutlook(p.file); err == nil {
		p.made.Store(kept)
	} else if !errors.Is(err, os.ErrNotExist) {
		p.log.Warn("the rehearsed plan was not read; it is rehearsed again", "err", err)
	}
	ticker := time.NewTicker(outlookLooks)
	defer ticker.Stop()
	for {
		if s := latest(); s != nil && s.State.Batch.Active() && s.Product != nil {
			if made := p.made.Load(); made == nil || made.Batch != s.BatchID || made.Course != nil && !made.Course.Fits(s.Product) || made.Turns != len(turnsOf(s)) {
				p.make(ctx, s)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}

func (p *planner) make(ctx context.Context, s *snapshot.Snapshot) {
	turns := turnsOf(s)
	p.made.Store(&outlooked{Batch: s.BatchID, Missing: "it is being rehearsed"})
	made := &outlooked{Batch: s.BatchID, Turns: len(turns)}
	var err error
	if made.Course, err = course(ctx, p.setup(s.Product, s), turns, outlookRuns, 2); ctx.Err() != nil {
		return
	}
	if err != nil {
		made.Missing = err.Error()
	}
	p.teach(made.Course, s.Product)
	p.made.Store(made)
	if err := writeOutlook(p.file, made); err != nil {
		p.log.Warn("the rehearsed plan was not kept; after a restart it is rehearsed again", "err", err)
	}
}

// Preview rehearses a product that is not started yet.
func (p *planner) Preview(latest func() *snapshot.Snapshot) func(context.Context, *profile.Product) (*outlook.Course, error) {
	return func(ctx context.Context, product *profile.Product) (*outlook.Course, error) {
		c, err := course(ctx, p.setup(product, latest()), nil, previewRuns, 0)
		p.teach(c, product)
		return c, err
	}
}

// teach says in a course what it was rehearsed with.
func (p *planner) teach(c *outlook.Course, product *profile.Product) {
	if l := p.lesson(product); l != nil && c != nil {
		c.Taught = l.String()
	}
}

// driest and moistest, thinnest and thickest are what a chip is believed of the room's air:
// beyond them lies no weather, and the plant takes no such air. Own magnitudes.
const (
	driest, moistest   = 0.05, 1
	thinnest, thickest = 50e3, 110e3
)

// setup is this product in this cabinet, in the room and its air as a probe says they are.
func (p *planner) setup(product *profile.Product, s *snapshot.Snapshot) sim.Setup {
	setup := sim.Setup{Product: product, Cabinet: p.cabinet, Seed: 1, Excused: true}
	if l := p.lesson(product); l != nil {
		setup = l.Learned.Of(setup)
	}
	if s == nil {
		return setup
	}
	if room, ok := s.Inputs.Ambient.Value(); ok {
		setup.Ambient = &room
	}
	if in := &s.Inputs; in.AirPascal >= thinnest && in.AirPascal <= thickest {
		setup.Pressure = in.AirPascal
	}
	if in := &s.Inputs; in.AirHumidity >= driest && in.AirHumidity <= moistest {
		setup.Humidity = in.AirHumidity
	}
	return setup
}

// lesson is what batches have taught of a product, or nil.
func (p *planner) lesson(product *profile.Product) *lesson {
	if p.file == "" {
		return nil
	}
	l, err := lessonFor(filepath.Dir(p.file), p.world, p.cabinet, product)
	if err != nil {
		p.log.Warn("what batches have taught was not read; it is rehearsed without", "err", err)
	}
	return l
}

// course rehearses a setup some times, one after another, and rests so many times as long
// as it works. When ctx has an end and it comes, what there is by then must do.
func course(ctx context.Context, setup sim.Setup, turns []sim.Turn, runs, rests int) (*outlook.Course, error) {
	c := &outlook.Course{}
	worked := time.Now()
	rest := func(time.Duration, *controller.State) {
		if took := time.Since(worked); rests > 0 && took > 5*time.Millisecond {
			select {
			case <-ctx.Done():
			case <-time.After(time.Duration(rests) * took):
			}
			worked = time.Now()
		}
	}
	for i := range runs {
		var trace sim.Trace
		result, err := sim.Rehearse(ctx, turned(sim.Vary(setup, i), turns), &trace, rest)
		if errors.Is(err, context.DeadlineExceeded) && len(c.Runs) > 0 {
			break
		}
		if err != nil {
			return nil, err
		}
		c.Tried++
		run, whole := outlook.RunOf(&trace.History, setup.Product)
		switch {
		case whole && (i > 0 || result.AsPlanned() || len(turns) > 0): // what a person has cut short is not as it was planned
			c.Runs = append(c.Runs, run)
		case i == 0 && result.Reason != "":
			return nil, fmt.Errorf("its rehearsal did not come to the end: %s", result.Reason)
		case i == 0:
			return nil, errors.New("its rehearsal did not come out well; fumarium rehearse says why")
		}
		if i == 0 {
			c.Curve = pointsOf(&trace.History)
		}
	}
	return c, nil
}

// tenth keeps what a probe can tell.
func tenth(v float64) *float64 { return quantity.OrNull(roundTenth(v), quantity.Finite(v)) }

func roundTenth(v float64) float64 { return math.Round(v*10) / 10 }

func readOutlook(file string) (*outlooked, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	kept := &outlooked{}
	return kept, json.Unmarshal(data, kept)
}

// writeOutlook replaces the file whole.
func writeOutlook(file string, made *outlooked) error {
	data, err := json.Marshal(made)
	if err != nil {
		return err
	}
	next := file + ".new"
	if err := os.WriteFile(next, data, 0o600); err != nil {
		return err
	}
	return os.Rename(next, filepath.Clean(file))
}
