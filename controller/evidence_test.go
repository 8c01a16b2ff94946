package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// resting is a rig without a batch, whose cabinet has a chamber and a core probe of 2.5 K
// tolerance in a room of 15 °C.
func resting(t *testing.T) *rig {
	r := newRig(t)
	r.chamber = 15
	for i := range r.c.Probes {
		r.c.Probes[i].Error, r.c.Probes[i].HasError = 2.5, true
	}
	r.in.Board = sensors.At(17)
	return r
}

func (r *rig) doubted() (kinds []DoubtKind) {
	for _, d := range Doubts(r.c, &r.s) {
		kinds = append(kinds, d.Kind)
	}
	return kinds
}

// iced says that a probe is in ice water, and why it was refused.
func (r *rig) iced(slot int) []Refusal {
	r.in.Command = Command{Kind: Ice, Probe: uint8(slot + 1)}
	var events []Event
	r.s, r.out, events = stepped(r.p, r.c, r.s, r.in)
	r.in.Elapsed += time.Second
	return refusals(events)
}

// A chamber at rest that is colder than its room is doubted after two minutes, and only a
// reason starts a batch; the doubt ends with its cause.
func TestAChamberColderThanItsRoomNeedsAReason(t *testing.T) {
	r := resting(t)
	r.chamber = -5
	r.run(time.Minute)
	assert.Empty(t, r.doubted(), "it has not stood still yet")
	r.run(2 * time.Minute)
	assert.Equal(t, []DoubtKind{ColderThanRoom}, r.doubted())
	assert.Equal(t, []Refusal{ProbesDoubted}, refusals(r.step(Start)))
	assert.Equal(t, Idle, r.s.Batch)
	r.in.Command = Command{Kind: Start, Excused: true}
	excused, _, _ := stepped(r.p, r.c, r.s, r.in)
	assert.Equal(t, Running, excused.Batch)

	r.chamber = 15
	r.run(3 * time.Minute)
	assert.Empty(t, r.doubted())
	r.step(Start)
	assert.Equal(t, Running, r.s.Batch)
}

// A cabinet that is warm of its last batch, cold meat and a cold morning are no faults.
func TestWhatIsUsualBeforeABatchIsNotDoubted(t *testing.T) {
	for name, set := range map[string]func(*rig){
		"warm of the last batch": func(r *rig) { r.chamber = 60; r.s.Evidence.unheated = 0 },
		"cold meat":              func(r *rig) { r.in.Core[0] = sensors.At(2) },
		"the night's cold":       func(r *rig) { r.chamber, r.in.Core[0] = 9, sensors.At(3) },
		"another season":         func(r *rig) { r.chamber = -9; r.in.Board, r.in.Core[0] = sensors.At(-6), sensors.At(2) },
		"no core at all":         func(r *rig) { r.in.Core[0] = sensors.Reading{} },
	} {
		r := resting(t)
		set(r)
		r.run(50 * time.Minute)
		assert.Empty(t, r.doubted(), name)
	}
}

// After hours of rest nothing is warmer than the room.
func TestWhatIsWarmAfterARestIsDoubted(t *testing.T) {
	r := resting(t)
	r.chamber = 40
	r.run(59 * time.Minute)
	assert.Empty(t, r.doubted())
	r.run(2 * time.Minute)
	assert.Equal(t, []DoubtKind{WarmerThanRoom}, r.doubted())
}

// Two probes in the chamber are held against each other, and against a core.
func TestProbesAtRestAgree(t *testing.T) {
	r := resting(t)
	r.c.Probes = append(r.c.Probes, cabinet.Probe{Name: "low", Role: cabinet.ChamberProbe, Error: 2.5, HasError: true})
	r.in.Chamber[1] = sensors.At(26)
	r.in.Core[0] = sensors.At(2)
	r.run(61 * time.Minute)
	assert.Equal(t, []DoubtKind{ProbesApart}, r.doubted())
	r.in.Chamber[1] = sensors.At(15)
	r.in.Core[0] = sensors.At(27)
	r.run(63 * time.Minute)
	assert.Equal(t, []DoubtKind{ColderThanCore, ColderThanCore}, r.doubted())
	r.in.Core[0] = sensors.At(-4)
	r.run(5 * time.Minute)
	assert.Equal(t, []DoubtKind{ColderThanMeat}, r.doubted())
}

// Ice water is at 0 °C by the definition of the scale (ITS-90 is within a few mK of it).
func TestAProbeIsJudgedInIceWater(t *testing.T) {
	for reads, right := range map[quantity.Celsius]bool{0: true, 2.4: true, -0.9: true, -1.1: false, 2.6: false, -7.4: false} {
		r := resting(t)
		r.run(time.Minute)
		r.in.Core[0] = sensors.At(reads)
		assert.Equal(t, []Refusal{NotStill}, r.iced(cabinet.MaxChamberProbes), "it was put in just now")
		r.run(5 * time.Minute)
		assert.Empty(t, r.iced(cabinet.MaxChamberProbes))
		r.step()
		assert.Equal(t, !right, r.s.Alarms[trip.CalibrationOff].Active(trip.CalibrationOff, r.s.Elapsed), reads)
		r.in.Core[0] = sensors.At(10)
		r.run(5 * time.Minute)
		if right {
			assert.Empty(t, r.doubted(), reads)
			continue
		}
		assert.Equal(t, []DoubtKind{OffInIce}, r.doubted(), reads)
		assert.Equal(t, []Refusal{ProbesDoubted}, refusals(r.step(Start)))
	}
	r := resting(t)
	r.run(time.Minute)
	assert.Equal(t, []Refusal{NoSuchProbe}, r.iced(1))
	assert.Equal(t, []Refusal{NoSuchProbe}, r.iced(Slots))
	assert.Equal(t, []Refusal{NoSuchProbe}, r.iced(-1))
}

// In the ice of a batch nothing falls below the ice, and nothing rests above it.
func TestACoreThatIsWrongInIceIsSaid(t *testing.T) {
	r := resting(t).started(3)
	r.c.Probes[1].Error, r.c.Probes[1].HasError = 2.5, true
	r.coreIs(0, 6)
	r.quiet(trip.CalibrationOff, 44*time.Minute)
	took := r.until(trip.CalibrationOff, 5*time.Minute)
	assert.LessOrEqual(t, took, 3*time.Minute)

	r = resting(t).started(3)
	r.p.Stages[3].Until = after(time.Hour)
	r.coreIs(0, -2)
	took = r.until(trip.CalibrationOff, 3*time.Minute)
	assert.LessOrEqual(t, took, 150*time.Second)
	assert.Equal(t, Running, r.s.Batch)
	r.coreIs(0, 3)
	r.run(time.Minute)
	assert.True(t, r.s.Alarms[trip.CalibrationOff].Standing, "what it has shown is not forgotten")
	r.send(Mended, trip.CalibrationOff)
	r.step()
	assert.False(t, r.s.Alarms[trip.CalibrationOff].Standing)
}

// What a core probe has shown that is wrong in ice water proves nothing, whoever started the
// batch with it; and what it shows after the batch changes nothing any more.
func TestAWrongCoreProvesNothing(t *testing.T) {
	rules := proof.RulesOf(testProduct(), profile.NoJurisdiction, 0)
	r := resting(t)
	r.run(time.Minute)
	r.in.Core[0] = sensors.At(-7)
	r.run(5 * time.Minute)
	assert.Empty(t, r.iced(cabinet.MaxChamberProbes))
	r.in.Core[0] = sensors.At(10)
	r.run(5 * time.Minute)
	r.in.Command = Command{Kind: Start, Excused: true}
	r.s, _, _ = stepped(r.p, r.c, r.s, r.in)
	r.in.Elapsed += time.Second
	r.run(time.Minute)
	met := func(s State) bool {
		// As if the core had been hot enough for long.
		s.Claim.Heat = rules.Criterion.Add(s.Claim.Heat, 75, 75, time.Hour)
		v := s.Verdict(&rules, true)
		if v[proof.Cooked].Answer == proof.NotShown {
			assert.Contains(t, v[proof.Cooked].Why, "by a core probe that is wrong in ice water")
		}
		return v[proof.Cooked].Answer == proof.Met
	}
	assert.False(t, met(r.s))
	mended := *r
	mended.send(Mended, trip.CalibrationOff)
	mended.step()
	assert.True(t, met(mended.s), "a person says that there was no ice")
	r.step(Stop)
	r.run(5 * time.Second)
	r.send(Mended, trip.CalibrationOff)
	r.step()
	assert.False(t, met(r.s))
}

// What a core proves that nothing has shown to be right is not shown, until it is: in ice
// water on the day of the batch, at rest in the ice at its end, or by a calibration in the
// file, which leaves it out of Unshown. One that left the meat is to be shown again.
func TestACoreThatNothingShowsProvesNothing(t *testing.T) {
	long(t)
	rules := proof.RulesOf(testProduct(), profile.NoJurisdiction, 0)
	answer := func(r *rig) proof.Answer {
		s := r.s
		s.Claim.Heat = rules.Criterion.Add(s.Claim.Heat, 75, 75, time.Hour) // as if it had been hot enough
		v := s.Verdict(&rules, true)
		if v[proof.Cooked].Answer == proof.NotShown {
			assert.Contains(t, v[proof.Cooked].Why, "hold it in ice water before the start")
		}
		return v[proof.Cooked].Answer
	}
	const slot = cabinet.MaxChamberProbes
	shown := func(r *rig) {
		r.in.Core[0] = sensors.At(0.3)
		r.run(5 * time.Minute)
		assert.Empty(t, r.iced(slot))
		r.in.Core[0] = sensors.At(10)
	}
	start := func(r *rig, unshown uint8) *rig {
		r.run(time.Minute)
		r.in.Command = Command{Kind: Start, Unshown: unshown}
		r.s, _, _ = stepped(r.p, r.c, r.s, r.in)
		require.Equal(t, Running, r.s.Batch)
		r.in.Elapsed += time.Second
		r.run(time.Minute)
		return r
	}
	plain := start(resting(t), 1)
	assert.Equal(t, proof.NotShown, answer(plain))
	require.Len(t, Unshown(plain.c, &plain.s), 1)
	assert.Contains(t, Unshown(plain.c, &plain.s)[0], "hold it in ice water before the start")
	assert.Equal(t, proof.Met, answer(start(resting(t), 0)), "a calibration speaks for it, or the batch is of before")
	assert.Equal(t, proof.Met, answer(start(resting(t), 2)), "the other one is in no meat")

	iced := resting(t)
	shown(iced)
	assert.Equal(t, proof.Met, answer(start(iced, 1)))
	assert.Empty(t, Unshown(iced.c, &iced.s))

	old := resting(t)
	shown(old)
	old.run(25 * time.Hour)
	assert.Equal(t, proof.NotShown, answer(start(old, 1)), "that was yesterday")

	slipped := resting(t)
	shown(slipped)
	start(slipped, 1)
	slipped.s.Core.probes[0].out = true
	slipped.run(time.Minute)
	wet := *slipped
	slipped.send(Mended, trip.CoreOut)
	slipped.step()
	assert.Equal(t, proof.NotShown, answer(slipped), "nobody knows why it left its course")
	assert.Equal(t, []Refusal{NotInThisState}, slipped.iced(slot), "it is in the meat")

	wet.in.Core[0] = sensors.At(0.2)
	wet.run(5 * time.Minute)
	assert.Equal(t, []Refusal{InTheMeat}, wet.iced(0), "the chamber's is where it is")
	assert.Empty(t, wet.iced(slot))
	wet.send(Mended, trip.CoreOut)
	wet.step()
	assert.Equal(t, proof.Met, answer(&wet), "shown while it was out")

	cold := start(resting(t), 1)
	cold.s.Stage, cold.p.Stages[3].Until = 3, after(9*time.Hour)
	cold.coreIs(0, 0.4)
	cold.run(restsAfter + 2*time.Minute)
	assert.Equal(t, proof.Met, answer(cold), "it came to rest where ice is")
}

// On a board that is as cold as the ice a wrong wire reads right there.
func TestAColdBoardShowsNoWire(t *testing.T) {
	r := resting(t)
	r.c.Probes[1].Chip, r.c.Probes[1].Type = "MCP9601", "K"
	r.in.Board = sensors.At(3)
	r.in.Core[0] = sensors.At(0.3)
	r.run(5 * time.Minute)
	assert.Equal(t, []Refusal{BoardTooCold}, r.iced(cabinet.MaxChamberProbes))
	r.in.Board = sensors.Reading{}
	assert.Equal(t, []Refusal{BoardTooCold}, r.iced(cabinet.MaxChamberProbes))
	r.in.Board = sensors.At(9)
	assert.Empty(t, r.iced(cabinet.MaxChamberProbes))
}
