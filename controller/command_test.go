package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/sensors"
)

// Of two people who confirm within a second, the second answers nothing: the question
// that waits by then is one that nobody has read.
func TestASecondConfirmAnswersNoOtherQuestion(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the pieces"
	r.p.Stages[0].Until = profile.Until{Any: true, Conditions: []profile.Condition{
		{Kind: profile.After, After: time.Hour}, {Kind: profile.Confirmed, Confirm: "dry to the touch?"}}}
	r.step(Start)
	read := r.question()
	require.Equal(t, Question{Stage: 0, Part: HandStep, Batch: r.s.Started}, read)
	confirm := func() []Event {
		r.in.Command = Command{Kind: Confirm, Question: read}
		in := r.in
		var events []Event
		r.s, r.out, events = stepped(r.p, r.c, r.s, in)
		r.in.Elapsed += time.Second
		return events
	}
	events := confirm()
	require.Equal(t, Answered, events[0].Kind)
	next := r.question()
	require.Equal(t, Question{Part: firstCondition + 1, Batch: r.s.Started}, next, "asked in the very step that took the answer")

	before := r.s
	events = confirm()
	assert.Equal(t, []Refusal{AnotherQuestion}, refusals(events))
	assert.Equal(t, 0, r.s.Stage)
	assert.Equal(t, before.Confirming, r.s.Confirming)
	assert.Zero(t, r.s.met)

	read = next
	assert.Empty(t, refusals(confirm()))
	assert.Equal(t, 1, r.s.Stage)
	assert.Equal(t, []Refusal{AnotherQuestion}, refusals(confirm()), "the question of another stage")
}

// A page that was left open overnight has the first question of yesterday's batch.
func TestAQuestionOfTheLastBatchAnswersNothing(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the pieces"
	r.run(time.Minute)
	r.step(Start)
	old := r.question()
	r.step(Stop)
	r.run(time.Minute)
	r.step(Start)
	require.True(t, r.s.Asking)
	require.NotEqual(t, old, r.question())
	require.NotEqual(t, old.String(), r.question().String())
	in := r.in
	in.Command = Command{Kind: Confirm, Question: old}
	s, _, events := stepped(r.p, r.c, r.s, in)
	assert.Equal(t, []Refusal{AnotherQuestion}, refusals(events))
	assert.True(t, s.Asking)
	in.Command.Question = r.question()
	s, _, events = stepped(r.p, r.c, r.s, in)
	assert.Empty(t, refusals(events))
	assert.False(t, s.Asking)
}

// A stage that asks twice says each time what it asks.
func TestAnEventNamesTheQuestionOfTwo(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Until = profile.Until{Conditions: []profile.Condition{{Kind: profile.Confirmed, Confirm: "dry?"}, {Kind: profile.Confirmed, Confirm: "firm?"}}}
	events := append(r.step(Start), r.step()...)
	events = append(events, r.step(Confirm)...)
	events = append(events, r.step(Confirm)...)
	var said []string
	for _, e := range events {
		if e.Kind == Asked || e.Kind == Answered {
			said = append(said, map[EventKind]string{Asked: "asked ", Answered: "answered "}[e.Kind]+e.Prompt(r.p))
		}
	}
	assert.Equal(t, []string{"asked dry?", "answered dry?", "asked firm?", "answered firm?"}, said[:4])
	old := Event{Kind: Asked, By: EndedByPerson}
	assert.Equal(t, "dry?", old.Prompt(r.p), "of a record that does not say which")
}

// How long a question has waited does not begin anew because its alarm was put aside.
func TestAQuestionWaitsFromWhenItWasAsked(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the pieces"
	r.run(time.Minute)
	r.step(Start)
	asked := r.s.Elapsed
	r.until(trip.PromptOverdue, 2*time.Hour)
	r.in.Command = Command{Kind: Shelve, Alarm: trip.PromptOverdue, For: 8 * time.Hour}
	in := r.in
	r.s, r.out, _ = stepped(r.p, r.c, r.s, in)
	r.run(30 * time.Minute)
	prompt, waits := r.s.Waiting(r.p)
	require.True(t, waits)
	assert.Equal(t, asked, prompt.Since)
	r.step(Hold)
	r.run(time.Minute)
	prompt, _ = r.s.Waiting(r.p)
	assert.Equal(t, asked, prompt.Since)
}

// A confirm in a record that is older than questions answers whatever waited.
func TestAConfirmWithoutAQuestionIsReplayed(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the pieces"
	r.step(Start)
	in := r.in
	in.Command = Command{Kind: Confirm}
	s, _, events := stepped(r.p, r.c, r.s, in)
	assert.Equal(t, Answered, events[0].Kind)
	assert.False(t, s.Asking)
}

func TestQuestionsHaveNames(t *testing.T) {
	for q, name := range map[Question]string{
		{Stage: 0, Part: HandStep}: "1-ask", {Stage: 11, Part: HandStep, Batch: 35 * time.Millisecond}: "12-ask-z", {Stage: 3, Part: firstCondition}: "4-until-1",
		{Stage: 3, Part: firstCondition + 7, Batch: 36 * time.Millisecond}: "4-until-8-10", {Stage: 2, Part: WholeStage, Batch: 36 * time.Millisecond}: "3-stage-10", {Absence: 1}: "absence-1", {Absence: 12, Batch: 36 * time.Millisecond}: "absence-12-10",
	} {
		assert.Equal(t, name, q.String())
	}
	rapid.Check(t, func(t *rapid.T) {
		q := Question{
			Stage: rapid.IntRange(0, 1000).Draw(t, "stage"), Part: rapid.OneOf(rapid.Map(rapid.IntRange(1, 201), func(i int) QuestionPart { return QuestionPart(i) }), rapid.Just(WholeStage)).Draw(t, "part"),
			Batch: time.Duration(rapid.Int64Range(0, 1<<43).Draw(t, "batch")) * time.Millisecond,
		}
		if n := rapid.IntRange(0, 5).Draw(t, "absence"); n > 0 {
			q = Question{Absence: n, Batch: q.Batch}
		}
		again, ok := ParseQuestion(q.String())
		assert.True(t, ok)
		assert.Equal(t, q, again)
	})
	for _, text := range []string{"", "ask", "1", "0-ask", "-1-ask", "1-Ask", "01-ask", "1-until", "1-until-0", "1-until-01", "1-until-256", "1-until-x", "1-ask ", "+1-ask", "1-ask-", "1-ask-0", "1-ask-K3", "1-ask-01", "1-ask-k3-k3", "1-ask--k3", "1-until-1-", "1-stages", "1-stage-", "0-stage-10", "1-stage-1-2",
		"absence", "absence-", "absence-0", "absence-01", "absence-x", "absence--1", "absence-1-", "absence-1-0", "absence-1-1-1", "absence-70000"} {
		_, ok := ParseQuestion(text)
		assert.False(t, ok, "%q", text)
	}
}

// What a person claims is believed once, of an alarm that stands, and of none that ends
// by itself.
func TestMendedIsForAlarmsThatWaitForAPerson(t *testing.T) {
	mendable := map[trip.Code]bool{trip.ChamberDoubt: true, trip.ChamberDisagree: true, trip.CoreOut: true, trip.CoreLost: true, trip.SmokeFuelLow: true, trip.EmberOut: true, trip.EmberUnknown: true, trip.CalibrationOff: true}
	for c := trip.None; c <= trip.Count; c++ {
		r := newRig(t).started(0)
		why := refusals(r.send(Mended, c))
		assert.Equal(t, mendable[c], c.Entry().Mended != "")
		if mendable[c] {
			assert.Equal(t, []Refusal{NotStanding}, why, c)
		} else {
			assert.Equal(t, []Refusal{NotToMend}, why, c)
		}
	}
}

// Whoever has put the probe back may say so at once: that the alarm calls no longer
// follows from it.
func TestMendedNeedsNoAcknowledgeFirst(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 50)
	r.run(time.Minute)
	r.in.Core[0] = sensors.At(78)
	r.until(trip.CoreOut, time.Minute)
	r.in.Core[0] = sensors.At(50)
	assert.Empty(t, refusals(r.send(Mended, trip.CoreOut)))
	assert.Equal(t, trip.Normal, r.s.Alarms[trip.CoreOut].Phase)
	assert.False(t, r.out.On.Has(Sounder))
	assert.Equal(t, []Refusal{NotStanding}, refusals(r.send(Mended, trip.CoreOut)), "a retry claims nothing")
}

// What cannot be done does not make the alarm known either.
func TestARefusedClaimSilencesNothing(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 50)
	r.run(time.Minute)
	r.in.Core[0] = sensors.Fault(sensors.Open)
	r.until(trip.CoreLost, time.Minute)
	assert.Equal(t, []Refusal{LastCore}, refusals(r.send(Mended, trip.CoreLost)))
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.CoreLost].Phase)
}

// A generator may be filled before it is low, while it shall smoke.
func TestAGeneratorMayBeFilledEarly(t *testing.T) {
	r := smoker(t, false)
	r.run(time.Hour)
	before, ok := r.s.FuelLeft(r.p, r.c)
	require.True(t, ok)
	require.Less(t, float64(before), 1.0)
	require.False(t, r.s.Alarms[trip.SmokeFuelLow].Standing)
	assert.Empty(t, refusals(r.send(Mended, trip.SmokeFuelLow)))
	after, _ := r.s.FuelLeft(r.p, r.c)
	assert.Greater(t, after, before)
	r.step(Stop)
	r.step()
	assert.Equal(t, []Refusal{NotStanding}, refusals(r.send(Mended, trip.SmokeFuelLow)))
}

// The table decides in every state what is offered, and the step refuses by the same
// one: what it offers, the state alone refuses never.
func TestWhatIsOfferedIsNotRefusedByTheState(t *testing.T) {
	for b := range BatchStates + 2 {
		for tripped := range map[trip.Code]bool{trip.None: true, trip.NoHeat: true} {
			for _, k := range append(Commands(), oldAcknowledge, CommandKinds) {
				r := newRig(t)
				r.step()
				r.s.Batch, r.s.Tripped = b, tripped
				refused := k.Refused(&r.s)
				offered := k.Offered(&r.s)
				assert.False(t, offered && refused != 0, "%v in %v", k, b)
				why := refusals(r.step(k))
				if refused != 0 {
					assert.Equal(t, []Refusal{refused}, why, "%v in %v", k, b)
				}
			}
		}
	}
	for _, k := range Commands() {
		unknown := State{Batch: BatchStates + 1}
		assert.Equal(t, k == Stop || k == Abort, k.Offered(&unknown), "%v in a state that there is not", k)
	}
	names := map[string]bool{}
	for _, k := range Commands() {
		again, ok := ParseCommand(k.String())
		assert.True(t, ok)
		assert.Equal(t, k, again, "and not the one of old records")
		assert.False(t, names[k.String()])
		names[k.String()] = true
	}
	for _, name := range []string{"", "none", "unknown", "resume", "Hold"} {
		_, ok := ParseCommand(name)
		assert.False(t, ok, name)
	}
}
