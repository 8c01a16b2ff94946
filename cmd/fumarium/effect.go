package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

// turnsOf are the changes that somebody has made of the stages of the batch under way, for
// a rehearsal to make them, too.
func turnsOf(s *snapshot.Snapshot) (turns []sim.Turn) {
	events := s.History.BatchEvents()
	for i := range events {
		e := &events[i]
		turn := sim.Turn{Stage: e.Stage, Clock: e.For}
		switch {
		case e.Kind == controller.Bent:
			turn.Order = controller.Command{Kind: controller.Adjust, Bend: e.Bend}
		case e.Kind == controller.StageEnded && e.By == controller.EndedBySkip:
			turn.Order.Kind = controller.EndCooking
			if i+1 < len(events) && events[i+1].Kind == controller.StageBegan && events[i+1].Stage == e.Stage+1 || e.Stage+1 == len(s.Product.Stages) {
				turn.Order.Kind = controller.Skip
			}
		default:
			continue
		}
		turns = append(turns, turn)
	}
	return turns
}

// turned is a setup with somebody who makes the turns; a script serves one rehearsal.
func turned(setup sim.Setup, turns []sim.Turn) sim.Setup {
	if len(turns) > 0 {
		setup.Operator = sim.NewScript(turns)
	}
	return setup
}

// Effect rehearses the batch under way up to where it is now, and from there on with the
// change and without it.
func (p *planner) Effect(ctx context.Context, s *snapshot.Snapshot, c controller.Command) (*web.Effect, error) {
	stage := s.State.CurrentStage(s.Product)
	if stage == nil {
		return nil, errors.New("no batch is under way")
	}
	here := sim.Turn{Stage: s.State.Stage, Clock: s.State.StageClock}
	if core, seen := s.State.Core.Coldest.Value(); seen && stage.Until.Has(profile.CoreAtLeast) {
		here.HasCore, here.Core = true, core
	}
	setup := p.setup(s.Product, s)
	setup.Answer = sim.Brisk // the same in both
	e := &web.Effect{Stage: stage.Name, Change: c.Kind.String()}
	if c.Kind == controller.Adjust {
		e.Change = c.Bend.String()
	}
	done := turnsOf(s)
	for _, side := range []struct {
		order controller.Command
		to    *web.Course
	}{{controller.Command{}, &e.Before}, {controller.Command{Kind: c.Kind, Bend: c.Bend}, &e.After}} {
		here.Order = side.order
		course, err := rest(ctx, setup, append(slices.Clip(done), here), s)
		if err != nil {
			return nil, err
		}
		*side.to = *course
	}
	return e, nil
}

// rest rehearses, and says of the batch what came after the last of the turns.
func rest(ctx context.Context, setup sim.Setup, turns []sim.Turn, s *snapshot.Snapshot) (*web.Course, error) {
	script := sim.NewScript(turns)
	setup.Operator = script
	var trace sim.Trace
	result, err := sim.Rehearse(ctx, setup, &trace, nil)
	if err != nil {
		return nil, err
	}
	unknown := func(format string, args ...any) *web.Course {
		text := fmt.Sprintf(format, args...)
		return &web.Course{Missing: &text, Rules: []web.Rule{}}
	}
	turn, made := script.Last()
	switch {
	case !made:
		return unknown("in its rehearsal this stage was over before it came as far as now"), nil
	case result.Reason != "":
		return unknown("its rehearsal did not come to the end: %s", result.Reason), nil
	case result.Outcome != controller.Complete.String():
		return unknown("its rehearsal ended %s", result.Outcome), nil
	}
	at := func(elapsed time.Duration) *time.Time {
		t := s.Time.Add(max(0, elapsed-turn)).Truncate(time.Second)
		return &t
	}
	good := result.AsPlanned()
	course := &web.Course{Finish: at(trace.History.Elapsed()), Good: &good, Rules: web.RulesOf(result.Verdict)}
	for _, st := range trace.History.Stages() {
		if st.Index == s.State.Stage && st.Over {
			course.StageEnd = at(st.Ended)
		}
	}
	for _, sample := range trace.History.Samples() {
		course.PeakCore = higher(course.PeakCore, sample.Core)
	}
	if course.PeakCore != nil && !quantity.Finite(*course.PeakCore) {
		course.PeakCore = nil
	}
	return course, nil
}
