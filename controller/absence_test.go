package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/sensors"
)

// away lets the controller miss so much time and makes the first step after it.
func (r *rig) away(d time.Duration) []Event {
	r.in.Elapsed += d
	r.in.PowerLost = true
	events := r.step()
	r.in.PowerLost = false
	return events
}

func raised(events []Event) (codes []trip.Code) {
	for _, e := range events {
		if e.Kind == AlarmRaised {
			codes = append(codes, e.Alarm)
		}
	}
	return codes
}

// A controller that is cut off twice in a row says it twice.
func TestASecondAbsenceIsSaidToo(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	for n := range 3 {
		assert.Contains(t, raised(r.away(10*time.Second)), trip.PowerLost, "absence %d", n+1)
	}
}

// The chips of a program that has just begun have not converted yet. When the power
// flickers, that must not look like a probe that was gone all the time between.
func TestADelayDoesNotRunThroughAnAbsence(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	good := r.in.Chamber
	r.chamberIs(sensors.Fault(sensors.Unread))
	r.away(10 * time.Second)
	r.away(time.Minute)
	assert.Equal(t, trip.None, r.s.Tripped)
	assert.False(t, r.out.On.Has(Heater))
	r.step()
	r.in.Chamber = good
	r.run(time.Minute)
	assert.Equal(t, trip.None, r.s.Tripped)

	r.chamberIs(sensors.Fault(sensors.Unread))
	r.away(10 * time.Second)
	r.until(trip.ChamberLost, 31*time.Second) // it is lost all the same
	assert.Equal(t, trip.ChamberLost, r.s.Tripped)
	r.in.Chamber = good
	r.run(5 * time.Second)
	r.away(time.Minute)
	assert.Equal(t, trip.ChamberLost, r.s.Tripped, "a latched trip stays")
}

// Nothing is given or claimed across time of which nobody knows how long it was: no heat
// before a person has said it and restarted, no proof by what was seen meanwhile, and a
// core that came up unseen has not come up.
func TestAnUnknownAbsenceWaitsForAPerson(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	require.True(t, r.out.On.Has(Heater))
	before := r.s
	r.in.Away = AwayUnknown
	events := r.away(40 * time.Second)
	r.in.Away = AwayAsGiven
	assert.Contains(t, raised(events), trip.AbsenceUnknown, "at once")
	assert.Equal(t, WasAway, events[0].Kind)
	for range 600 {
		r.step()
		require.False(t, r.out.On.Has(Heater))
	}
	assert.Equal(t, Held, r.s.Batch)
	assert.True(t, r.s.Alarms[trip.AbsenceUnknown].Standing)
	assert.Equal(t, []Refusal{AbsenceUnanswered}, refusals(r.step(Restart)))
	assert.Equal(t, before.Heat, r.s.Heat)
	assert.Equal(t, before.StageClock, r.s.StageClock)

	q, waits := r.s.Question()
	require.True(t, waits)
	prompt, _ := r.s.Waiting(r.p)
	assert.Contains(t, prompt.Text, "at least 41 s")
	said := func(long time.Duration) []Event {
		r.in.Command = Command{Kind: Absence, Question: q, For: long}
		in := r.in
		var events []Event
		r.s, r.out, events = stepped(r.p, r.c, r.s, in)
		r.in.Elapsed += time.Second
		r.in.Command = Command{}
		return events
	}
	assert.Equal(t, []Refusal{AwayTooShort}, refusals(said(40*time.Second)))
	assert.Equal(t, WasAway, said(3 * time.Hour)[0].Kind)
	assert.Equal(t, Held, r.s.Batch)
	assert.False(t, r.out.On.Has(Heater))
	assert.Empty(t, refusals(r.step(Restart)))
	heated := false
	for range 180 {
		r.step()
		heated = heated || r.out.On.Has(Heater)
	}
	assert.True(t, heated, r.s.Tripped)
	assert.False(t, r.s.Alarms[trip.AbsenceUnknown].Standing)
}

// However long somebody says that it was, no sum of times runs over.
func TestAnAbsenceOfAges(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	r.in.Away = AwayUnknown
	r.away(40 * time.Second)
	q, _ := r.s.Question()
	r.in.Away, r.in.Command = AwayAsGiven, Command{Kind: Absence, Question: q, For: 1<<63 - 1}
	s, out, _ := stepped(r.p, r.c, r.s, r.in)
	assert.Equal(t, Aborting, s.Batch)
	assert.False(t, out.On.Has(Heater))
	assert.Less(t, s.ComeUp.Time, 20000*time.Hour)
	assert.GreaterOrEqual(t, s.ComeUp.Time, r.s.ComeUp.Time)
}

// While nobody knows how long it was, and until it was a short while altogether, the
// answer of the clock is what the answer at once would have been.
func TestTheClocksLateAnswerIsTheSame(t *testing.T) {
	for _, long := range []time.Duration{30 * time.Second, 90 * time.Second, 3 * time.Minute, 3 * time.Hour, 5 * time.Hour} {
		known := newRig(t).started(2)
		known.run(time.Minute)
		late := *known
		known.away(long)
		late.in.Away = AwayUnknown
		late.away(20 * time.Second)
		late.in.Away, late.in.AwayFor = AwayByClock, long
		late.step()
		late.in.Away, late.in.AwayFor = AwayAsGiven, 0
		known.run(3 * time.Second)
		late.run(3 * time.Second)
		assert.Equal(t, known.s.Batch, late.s.Batch, "%v", long)
		assert.InDelta(t, known.s.ComeUp.Time.Seconds(), late.s.ComeUp.Time.Seconds(), 3, "%v counts against it all the same", long)
		assert.Equal(t, known.s.Chill, late.s.Chill)
	}
}
