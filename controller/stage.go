package controller

import (
	"fumarium/controller/trip"
	"fumarium/controller/tune"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// enterStage begins the stage with index i.
func (t *step) enterStage(i int) {
	s := t.s
	s.Stage, s.StageEntered, s.StageClock = i, t.in.Elapsed, 0
	s.Alarms[trip.PromptWaiting] = trip.State{} // the last hand step is no longer the question
	s.Confirming, s.met, s.holding, s.coreMeeting = 0, 0, 0, false
	s.Bend, t.bent = Bend{}, nil
	s.Heater.Tune = tune.State{}
	s.HeatTime.stage, s.HeatTime.unanswered = 0, 0
	s.Asking = t.m.product.Stages[i].Ask != ""
	t.event(Event{Kind: StageBegan, Stage: i})
	if s.Asking {
		s.asked = t.in.Elapsed
		t.event(Event{Kind: Asked, Stage: i, Part: HandStep})
	}
}

// runStage advances the stage under way. While a hand step waits, the chamber is
// already brought to the stage's setpoint, but the stage's clock stands still.
func (t *step) runStage() {
	s := t.s
	if s.Stage >= len(t.m.product.Stages) { // a state that this product cannot have
		t.enter(Aborting)
		return
	}
	if s.Asking || t.changed {
		return
	}
	if t.late { // time that nobody watched ends nothing
		s.coreMeeting = false
		return
	}
	s.StageClock += t.dt
	stage := t.stage()
	if t.learn(stage) {
		return
	}
	t.dwell(stage)
	by, ended := t.ended(stage)
	if !ended {
		t.askToConfirm(stage)
		return
	}
	if by == EndedByPerson { // what it had waited for
		t.answered(trip.StageOvertime, trip.StageOverdue)
	}
	t.event(Event{Kind: StageEnded, Stage: s.Stage, By: by})
	t.goOn(s.Stage + 1)
}

// goOn begins a stage, or completes the batch behind the last.
func (t *step) goOn(stage int) {
	if stage < len(t.m.product.Stages) {
		t.enterStage(stage)
		return
	}
	t.enter(Complete)
}

// dwell follows how long the core conditions of the stage have held unbroken. A
// reading that fails to come now and then breaks nothing, and ends nothing.
func (t *step) dwell(stage *profile.Stage) {
	s := t.s
	s.coreUnseen += t.dt
	if _, seen := s.Core.Coldest.Value(); seen {
		s.coreUnseen = 0
	}
	if s.coreMeeting && s.coreUnseen > 0 && s.coreUnseen < LateAfter && !t.doubted {
		return
	}
	meeting := false
	for i := range stage.Until.Conditions {
		if c := &stage.Until.Conditions[i]; coreHolds(s, c) {
			meeting = true
		}
	}
	meeting = meeting && s.Core.coursesLearnt() && s.Core.settled(t)
	if meeting && !s.coreMeeting {
		s.CoreMetSince = t.in.Elapsed
	}
	s.coreMeeting = meeting
}

// coreHolds holds one core condition against the probes: the coldest while the
// core must rise, the hottest while it must fall, each with its error to the bad side. An unknown core holds nothing.
func coreHolds(s *State, c *profile.Condition) bool {
	var r sensors.Reading
	switch c.Kind {
	case profile.CoreAtLeast:
		r = s.Core.Coldest
	case profile.CoreAtMost:
		r = s.Core.Hottest
	default:
		return false
	}
	v, ok := r.Value()
	if !ok {
		return false
	}
	if c.Kind == profile.CoreAtLeast {
		return v-quantity.Celsius(s.CoreError) >= c.Core
	}
	return v+quantity.Celsius(s.CoreError) <= c.Core
}

// holds reports whether condition i of the stage is met.
func (t *step) holds(c *profile.Condition, i int) (EndedBy, bool) {
	s := t.s
	switch c.Kind {
	case profile.After:
		return EndedByTime, s.StageClock >= c.After
	case profile.CoreAtLeast, profile.CoreAtMost:
		return EndedByCore, s.coreMeeting && coreHolds(s, c) && t.in.Elapsed-s.CoreMetSince >= Dwell && t.safeToo(c)
	case profile.LethalityAtLeast:
		log10, known := s.log10(t.m.rules.Criterion())
		return EndedByLethality, known && quantity.Finite(log10) && log10 >= c.Lethality
	case profile.Confirmed:
		return EndedByPerson, s.met&(1<<i) != 0
	}
	return 0, false
}

// ended reports whether the stage is over, and what ended it: the condition that
// came true last. Should several come true in one step, the kind that takes most
// to meet is named.
func (t *step) ended(stage *profile.Stage) (EndedBy, bool) {
	s := t.s
	var holding uint8
	var newest, any EndedBy
	for i := range stage.Until.Conditions {
		cause, ok := t.holds(&stage.Until.Conditions[i], i)
		if !ok {
			continue
		}
		holding |= 1 << i
		any = max(any, cause)
		if s.holding&(1<<i) == 0 {
			newest = max(newest, cause)
		}
	}
	s.holding = holding
	all := holding == 1<<len(stage.Until.Conditions)-1
	if newest == 0 {
		newest = any
	}
	return newest, holding != 0 && (all || stage.Until.Any)
}

// askToConfirm raises the stage's question: at once when any condition ends the
// stage, otherwise when only confirmations are left.
func (t *step) askToConfirm(stage *profile.Stage) {
	s := t.s
	if s.Confirming > 0 {
		return
	}
	question := 0
	for i := range stage.Until.Conditions {
		c := &stage.Until.Conditions[i]
		_, ok := t.holds(c, i)
		switch {
		case ok:
		case c.Kind == profile.Confirmed:
			if question == 0 {
				question = i + 1
			}
		case !stage.Until.Any:
			return
		}
	}
	if question > 0 {
		s.Confirming = question
		s.asked = t.in.Elapsed
		t.event(Event{Kind: Asked, Stage: s.Stage, By: EndedByPerson, Part: firstCondition + QuestionPart(question-1)})
	}
}
