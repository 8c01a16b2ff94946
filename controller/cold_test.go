package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/sensors"
)

// A probe that a person has left out shows nothing of its piece, and the verdict says so.
func TestALeftOutCoreIsSaid(t *testing.T) {
	r := newRig(t)
	r.in.Core[1] = sensors.At(10)
	r.started(2)
	r.coreIs(0, 50)
	r.coreIs(1, 48)
	r.run(time.Minute)
	r.in.Core[1] = sensors.Fault(sensors.Open)
	r.until(trip.CoreLost, 2*time.Minute)
	r.run(time.Minute)
	require.Empty(t, refusals(r.send(Mended, trip.CoreLost)))
	rules := r.s.Rules(r.p)
	s := r.s
	s.Claim.Heat = rules.Criterion.Add(s.Claim.Heat, 75, 75, time.Hour)
	v := s.Verdict(&rules, true)
	assert.Equal(t, proof.Met, v[proof.Cooked].Answer)
	assert.Contains(t, v[proof.Cooked].Why, "a core probe was left out, on a person's word")
}

// What is served hot calls after four fifths of its two hours below 57.2 °C, and again when
// they are over; so does cooling in a stage that still heats, by the rules of today alone.
func TestCoolingCallsBeforeTheChill(t *testing.T) {
	p := testProduct()
	p.Targets.Chill = profile.ServedHot
	m, err := New(p, testCabinet())
	require.NoError(t, err)
	stands := func(m *Machine, s State, edition proof.Edition) trip.Set {
		s.Batch, s.Stage, s.Edition = Running, 2, edition
		return (&step{m: m, s: &s, in: &Inputs{}}).proofStands()
	}
	for cooled, want := range map[time.Duration]trip.Set{
		time.Hour: 0, 97 * time.Minute: trip.ChillLong.If(true), 121 * time.Minute: trip.ChillLong.If(true) | trip.ChillOver.If(true),
	} {
		var s State
		s.Cooled = cooled
		assert.Equal(t, want, stands(m, s, proof.Current), "%v", cooled)
		assert.Zero(t, stands(m, s, proof.First))
	}

	p.Targets.Chill = profile.ChillUncured
	m, err = New(p, testCabinet())
	require.NoError(t, err)
	rule := p.ChillRule(profile.UnitedStates)
	var s State
	s.Chill = rule.Add(rule.Add(s.Chill, 71, 45, time.Minute), 45, 45, 2*time.Hour)
	assert.Equal(t, trip.ChillLong.If(true)|trip.ChillOver.If(true), stands(m, s, proof.Current))
	assert.Zero(t, stands(m, s, proof.First), "as it was called when it ran")
}

// By whose rules a batch is chilled is settled when it is started, and comes with the command:
// a replay goes by it, and a record of before, which says nothing, by the United States.
func TestWhoseCoolingIsSettledAtTheStart(t *testing.T) {
	for _, c := range []struct {
		where   profile.Jurisdiction
		edition proof.Edition
		want    string
	}{
		{profile.Canada, proof.Current, "Canada, cured"}, {profile.UnitedKingdom, proof.Current, "SCARM, cured"},
		{profile.UnitedStates, proof.Current, "option 3, cured"}, {profile.Canada, proof.First, "option 3, cured"}, {profile.NoJurisdiction, proof.First, "option 3, cured"},
	} {
		r := newRig(t)
		r.p.Targets.Chill = profile.ChillCured
		r.run(time.Minute)
		r.in.Command = Command{Kind: Start, Where: c.where, Edition: c.edition}
		r.s, _, _ = stepped(r.p, r.c, r.s, r.in)
		require.Equal(t, Running, r.s.Batch)
		r.in.Command = Command{}
		r.run(time.Minute)
		assert.Equal(t, c.want, r.s.Rules(r.p).Chill.Name)
		assert.Equal(t, c.edition, r.s.Edition)
		m, err := New(r.p, r.c)
		require.NoError(t, err)
		live := m.rules.Rules(r.s.Edition, r.s.Where, r.s.CoreError)
		assert.Equal(t, r.s.Rules(r.p), live, "the step goes by the same")
	}
}
