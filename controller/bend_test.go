package controller

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// bend sends a change of the stage under way with a reason.
func (r *rig) bend(kind CommandKind, b Bend, other ...func(*Command)) []Event {
	c := Command{Kind: kind, Question: r.s.StageName(), Excused: true, Bend: b}
	for _, change := range other {
		change(&c)
	}
	r.in.Command = c
	in := r.in
	if !math.IsNaN(r.chamber) {
		in.Chamber[0] = flicker(sensors.At(quantity.Celsius(r.chamber)), in.Elapsed)
	}
	in.Core[0] = flicker(in.Core[0], in.Elapsed)
	var events []Event
	r.s, r.out, events = stepped(r.p, r.c, r.s, in)
	r.events = append(r.events, events...)
	r.in.Elapsed += time.Second
	return events
}

func chamberTo(t quantity.Celsius) Bend { return Bend{Parts: BentChamber, Chamber: t} }
func coreTo(t quantity.Celsius) Bend    { return Bend{Parts: BentCore, Core: t} }
func timeTo(d time.Duration) Bend       { return Bend{Parts: BentTime, Time: d} }
func smokeTo(r quantity.Ratio) Bend     { return Bend{Parts: BentSmoke, Smoke: r} }

func TestAChangeIsRefused(t *testing.T) {
	nan := math.NaN()
	another := func(c *Command) { c.Question.Stage++ }
	for name, c := range map[string]struct {
		stage int
		kind  CommandKind
		bend  Bend
		other func(*Command)
		why   Refusal
	}{
		"without a reason":                     {0, Adjust, chamberTo(50), func(c *Command) { c.Excused = false }, NoReason},
		"a skip without a reason":              {0, Skip, Bend{}, func(c *Command) { c.Excused = false }, NoReason},
		"of another stage":                     {0, Adjust, chamberTo(50), another, AnotherStage},
		"a skip of another stage":              {1, Skip, Bend{}, another, AnotherStage},
		"of the last batch":                    {0, Skip, Bend{}, func(c *Command) { c.Question.Batch += time.Second }, AnotherStage},
		"of a question":                        {0, Skip, Bend{}, func(c *Command) { c.Question.Part = HandStep }, AnotherStage},
		"of nothing":                           {0, Adjust, Bend{}, nil, NothingBent},
		"of what nobody knows":                 {0, Adjust, Bend{Parts: 1 << 5}, nil, NothingBent},
		"to within 5 K of the limit":           {0, Adjust, chamberTo(105.5), nil, ChamberOutOfBounds},
		"to less than nothing":                 {0, Adjust, chamberTo(-1), nil, ChamberOutOfBounds},
		"to no number":                         {0, Adjust, chamberTo(quantity.Celsius(nan)), nil, ChamberOutOfBounds},
		"a chamber colder than the core":       {2, Adjust, chamberTo(70), nil, ChamberOutOfBounds},
		"a core hotter than the chamber":       {2, Adjust, coreTo(80), nil, CoreOutOfBounds},
		"both, and the core is still hotter":   {2, Adjust, Bend{Parts: BentChamber | BentCore, Chamber: 85, Core: 86}, nil, ChamberOutOfBounds},
		"a core above the boil":                {2, Adjust, coreTo(quantity.Celsius(math.Inf(1))), nil, CoreOutOfBounds},
		"a core where none is waited for":      {0, Adjust, coreTo(60), nil, NotInThisStage},
		"a time where none is waited for":      {2, Adjust, timeTo(time.Hour), nil, NotInThisStage},
		"a chamber that does not heat":         {3, Adjust, chamberTo(50), nil, NotInThisStage},
		"smoke without the product":            {3, Adjust, smokeTo(0.5), nil, NotInThisStage},
		"a time beyond the end of the heat":    {0, Adjust, timeTo(2*time.Hour + 11*time.Minute), nil, TimeOutOfBounds},
		"no time":                              {0, Adjust, timeTo(0), nil, TimeOutOfBounds},
		"less than no time":                    {0, Adjust, timeTo(-time.Hour), nil, TimeOutOfBounds},
		"so little air that the ember dies":    {1, Adjust, smokeTo(0.05), nil, SmokeOutOfBounds},
		"more air than there is":               {1, Adjust, smokeTo(1.01), nil, SmokeOutOfBounds},
		"air that is no number":                {1, Adjust, smokeTo(quantity.Ratio(nan)), nil, SmokeOutOfBounds},
		"the end of a cooking that is over":    {3, EndCooking, Bend{}, nil, NothingHeats},
		"one part good, the other out of line": {2, Adjust, Bend{Parts: BentChamber | BentCore, Chamber: 85, Core: 200}, nil, CoreOutOfBounds},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t).started(c.stage)
			before := r.s
			var other []func(*Command)
			if c.other != nil {
				other = append(other, c.other)
			}
			assert.Equal(t, []Refusal{c.why}, refusals(r.bend(c.kind, c.bend, other...)))
			assert.Equal(t, before.Bend, r.s.Bend)
			assert.Equal(t, before.Stage, r.s.Stage)
			assert.NotEmpty(t, c.why.String())
		})
	}
	idle := newRig(t)
	for _, kind := range []CommandKind{Adjust, Skip, EndCooking} {
		assert.Equal(t, []Refusal{NotInThisState}, refusals(idle.bend(kind, chamberTo(50))))
		assert.False(t, kind.Offered(&idle.s))
	}
	asked := newRig(t)
	asked.p.Stages[0].Ask = "hang the pieces"
	asked.step(Start)
	for _, kind := range []CommandKind{Skip, EndCooking} {
		assert.Equal(t, []Refusal{HandStepFirst}, refusals(asked.bend(kind, Bend{})), "nobody knows whether a probe is in the meat")
	}
}

func TestAChangeEndsWithItsStage(t *testing.T) {
	r := newRig(t).started(0)
	r.run(time.Minute)
	require.Empty(t, refusals(r.bend(Adjust, chamberTo(50))))
	require.Empty(t, refusals(r.bend(Adjust, timeTo(15*time.Minute))))
	e := r.events[len(r.events)-1]
	assert.Equal(t, Bent, e.Kind)
	assert.Equal(t, "stage dry changed by the person: lasts 15 min", e.Text(r.p))
	assert.InDelta(t, 60, e.For.Seconds(), 3, "by the stage's own clock")
	stage := r.s.CurrentStage(r.p)
	assert.Equal(t, quantity.Celsius(50), stage.ChamberSetpoint)
	assert.Equal(t, 15*time.Minute, stage.Until.Conditions[0].After)
	assert.Equal(t, 10*time.Minute, r.p.Stages[0].Until.Conditions[0].After, "the product is read by others, too")
	r.run(12 * time.Minute)
	assert.Equal(t, 0, r.s.Stage)
	assert.Equal(t, quantity.Celsius(50), r.s.Heater.Setpoint)
	r.run(3 * time.Minute)
	assert.Equal(t, 1, r.s.Stage)
	assert.Zero(t, r.s.Bend)
	assert.Same(t, &r.p.Stages[1], r.s.CurrentStage(r.p), "as the file has it")
}

// A stage may be shortened to less than it has lasted: then it is over.
func TestAStageIsShortened(t *testing.T) {
	r := newRig(t).started(0)
	r.run(5 * time.Minute)
	require.Empty(t, refusals(r.bend(Adjust, timeTo(2*time.Minute))))
	r.step()
	assert.Equal(t, 1, r.s.Stage)
}

func TestSmokeIsChanged(t *testing.T) {
	r := newRig(t).started(1)
	r.step(Confirm)
	r.run(longestCoast) // the fan coasts
	require.True(t, r.out.On.Has(Smoke))
	require.Empty(t, refusals(r.bend(Adjust, smokeTo(0))))
	r.run(3 * time.Minute)
	assert.False(t, r.out.On.Has(Smoke))
	require.Empty(t, refusals(r.bend(Adjust, smokeTo(0.25))))
	r.c.Smoke.Window, r.c.Smoke.MinOn, r.c.Smoke.MinOff = time.Minute, 10*time.Second, 10*time.Second
	r.run(longestCoast) // the fan coasts
	on := 0
	for range 480 {
		if r.step(); r.out.On.Has(Smoke) {
			on++
		}
	}
	assert.InDelta(t, 120, on, 15, "a quarter of eight minutes")
}

// The heat of a stage that is made longer still ends where its file has put the end.
func TestALengthenedStageKeepsTheEndOfItsHeat(t *testing.T) {
	r := newRig(t).started(0)
	ends := r.s
	m, err := New(r.p, r.c)
	require.NoError(t, err)
	bounds := m.Bounds(&ends)
	assert.Equal(t, 2*time.Hour+10*time.Minute, bounds.Time.High, "10 min, and two hours at the least")
	require.Empty(t, refusals(r.bend(Adjust, timeTo(bounds.Time.High))))
	r.run(bounds.Time.High)
	assert.Equal(t, 1, r.s.Stage)
	r = newRig(t).started(0)
	for range 5 { // the same word again and again gives no more
		r.run(time.Minute)
		require.Empty(t, refusals(r.bend(Adjust, timeTo(bounds.Time.High))))
		assert.Equal(t, []Refusal{TimeOutOfBounds}, refusals(r.bend(Adjust, timeTo(bounds.Time.High+time.Second))))
	}
}

func TestASkippedStage(t *testing.T) {
	r := newRig(t).started(0)
	r.run(4 * time.Minute)
	events := r.bend(Skip, Bend{})
	require.Empty(t, refusals(events))
	require.Equal(t, StageEnded, events[0].Kind)
	assert.Equal(t, EndedBySkip, events[0].By)
	assert.Equal(t, "skip", events[0].By.String())
	assert.Equal(t, "stage dry ends: a person ended it before its time", events[0].Text(r.p))
	assert.Equal(t, 1, r.s.Stage)
	assert.True(t, r.s.Asking, "the next stage has its hand step all the same")
	assert.Equal(t, []Refusal{AnotherStage}, refusals(r.bend(Skip, Bend{}, func(c *Command) { c.Question.Stage = 0 })), "pressed twice")
	require.Empty(t, refusals(r.bend(Skip, Bend{})))
	assert.Equal(t, 2, r.s.Stage)
	assert.False(t, r.s.Asking)
	require.Empty(t, refusals(r.bend(EndCooking, Bend{})))
	assert.Equal(t, 3, r.s.Stage)
	r.run(3 * time.Minute)
	assert.False(t, r.out.On.Has(Heater))
	require.Empty(t, refusals(r.bend(Skip, Bend{})))
	assert.Equal(t, Complete, r.s.Batch)
	rules := proof.RulesOf(r.p, r.s.Where, r.s.CoreError)
	v := r.s.Verdict(&rules, true)
	assert.Equal(t, proof.NotMet, v[proof.Cooked].Answer)
	assert.False(t, v.Good())
}

func TestTheCookingIsEndedFromAnyStage(t *testing.T) {
	for stage := range 3 {
		r := newRig(t).started(stage)
		require.Empty(t, refusals(r.bend(EndCooking, Bend{})))
		assert.Equal(t, 3, r.s.Stage, "from stage %d", stage)
		r.run(time.Minute)
		assert.False(t, r.out.On.Has(Heater), "from stage %d", stage)
	}
	r := newRig(t)
	r.p.Stages = r.p.Stages[:3]
	r.started(1)
	require.Empty(t, refusals(r.bend(EndCooking, Bend{})))
	assert.Equal(t, Complete, r.s.Batch, "nothing comes after the heat")
}

// A batch that is held, by a trip even, may be sent on to its chill: nothing heats on the way.
func TestAHeldBatchIsBent(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	r.step(Hold)
	r.step()
	require.Equal(t, Held, r.s.Batch)
	require.Empty(t, refusals(r.bend(Adjust, chamberTo(90))))
	require.Empty(t, refusals(r.bend(EndCooking, Bend{})))
	assert.Equal(t, Held, r.s.Batch)
	r.step(Restart)
	r.run(time.Minute)
	assert.Equal(t, Running, r.s.Batch)
	assert.Equal(t, 3, r.s.Stage)
	assert.False(t, r.out.On.Has(Heater))
}

// An easier core is taken only with what the species needs: 70 °C at once kills, 60 °C after
// 12 min (FSIS Appendix A, 1999).
func TestAnEasierCoreWaitsForTheKill(t *testing.T) {
	r := newRig(t).started(2)
	require.Empty(t, refusals(r.bend(Adjust, coreTo(59))))
	r.coreIs(0, 60)
	r.run(5 * time.Minute)
	assert.Equal(t, 2, r.s.Stage, "warm enough, and not for long enough")
	r.run(8 * time.Minute)
	assert.Equal(t, 3, r.s.Stage)
	rules := proof.RulesOf(r.p, r.s.Where, r.s.CoreError)
	v := r.s.Verdict(&rules, false)
	assert.Equal(t, proof.Met, v[proof.Cooked].Answer)

	r = newRig(t).started(2) // a harder one is the person's own
	require.Empty(t, refusals(r.bend(Adjust, coreTo(75))))
	r.coreIs(0, 74)
	r.run(5 * time.Minute)
	assert.Equal(t, 2, r.s.Stage)
}

// What a person has to measure is not shown by a skip of the stage that waits for it.
func TestASkipMeasuresNothing(t *testing.T) {
	r := newRig(t)
	r.p.Targets, r.p.Process = profile.Targets{}, profile.FermentedAndDried
	measured := func(what profile.Measured, most float64) profile.Until {
		return profile.Until{Conditions: []profile.Condition{{Kind: profile.Confirmed, Confirm: what.String(), Measured: what, AtMost: most}}}
	}
	r.p.Stages = []profile.Stage{
		{Name: "ferment", Heat: true, ChamberSetpoint: 24, Place: profile.Chamber, Until: measured(profile.SourTo, 5.2)},
		{Name: "dry", Place: profile.Chamber, Until: measured(profile.WaterActivity, 0.85)},
		{Name: "pack", Place: profile.ColdRoom, Until: after(time.Minute)},
	}
	verdict := func(skips bool) proof.Verdict {
		r.s, r.in.Elapsed = State{}, 0
		r.p.Formula = profile.Formula{}
		r.step(Start) // as if its cure had rested
		r.p.Formula.Cut = []profile.Meat{{Name: "pork", Mass: 5, Water: 0.72, Protein: 0.21, Fat: 0.06}}
		r.p.Formula.Cure = profile.Cure{Name: "cure", Mass: 0.012, Nitrite: 0.0625, Method: profile.Comminuted} // 150 ppm
		for r.s.Batch == Running {
			require.Less(t, r.in.Elapsed, 2*time.Hour)
			switch _, asked := r.s.Question(); {
			case skips && r.s.Stage < 2 && r.in.Elapsed > 10*time.Minute:
				require.Empty(t, refusals(r.bend(Skip, Bend{})))
			case !skips && asked:
				r.step(Confirm)
			default:
				r.step()
			}
		}
		require.Equal(t, Complete, r.s.Batch)
		rules := proof.RulesOf(r.p, r.s.Where, r.s.CoreError)
		return r.s.Verdict(&rules, true)
	}
	v := verdict(false)
	assert.Equal(t, proof.Met, v[proof.Process].Answer, v[proof.Process].Why)
	assert.Equal(t, proof.Met, v[proof.Keeping].Answer, v[proof.Keeping].Why)
	v = verdict(true)
	assert.Equal(t, proof.NotShown, v[proof.Process].Answer, v[proof.Process].Why)
	assert.Equal(t, proof.NotShown, v[proof.Keeping].Answer, v[proof.Keeping].Why)
	assert.False(t, v.Good())
}

// A probe that has just been hung is not believed any sooner in the stage after a skip.
func TestASkipDoesNotHurryTheProbe(t *testing.T) {
	r := newRig(t)
	r.p.Stages[0].Ask = "hang the pieces"
	r.p.Stages[1].Ask = ""
	r.step(Start)
	r.in.Core[0] = sensors.At(66) // it lies in something hot
	r.run(10 * time.Minute)
	r.step(Confirm)
	require.Empty(t, refusals(r.bend(Skip, Bend{})))
	require.Equal(t, 1, r.s.Stage)
	r.run(100 * time.Second)
	assert.Zero(t, r.s.Heat, "it may still be on its way into the meat")
}

func TestAbsenceComesFirst(t *testing.T) {
	r := newRig(t).started(2)
	r.in.PowerLost, r.in.Away = true, AwayUnknown
	r.step()
	r.in.PowerLost, r.in.Away = false, AwayAsGiven
	r.run(3 * time.Second)
	require.Equal(t, Held, r.s.Batch)
	assert.Equal(t, []Refusal{AbsenceUnanswered}, refusals(r.bend(Skip, Bend{})))
}

// Whatever is changed, and when: the setpoint keeps its distance from the limit, the heat of
// no stage lasts longer than its file gives it, nothing heats after the last stage that does,
// and food whose core never got warm is never called good.
func TestAnyChangeKeepsTheLimits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p, c := testProduct(), testCabinet()
		m, err := New(p, c)
		require.NoError(rt, err)
		m = m.Unbalanced()
		var s State
		in := Inputs{Command: Command{Kind: Start}}
		chamber, heated, stage := 20.0, time.Duration(0), 0
		for range 6 * 3600 / 4 {
			in.Chamber[0], in.Core[0] = flicker(sensors.At(quantity.Celsius(chamber)), in.Elapsed/4), flicker(sensors.At(30), in.Elapsed/4)
			var out Outputs
			s, out, _ = m.Step(s, in)
			in.Elapsed, in.Command = in.Elapsed+4*time.Second, Command{}
			if s.Batch != Running {
				break
			}
			if s.Heater.HasSetpoint {
				chamber += min(max(float64(s.Heater.Setpoint)-chamber, -0.4), 0.4)
				require.LessOrEqual(rt, float64(s.Heater.Setpoint), float64(c.Limits.ChamberHigh-quantity.Celsius(profile.ChamberMargin)))
			}
			if s.Stage != stage {
				stage, heated = s.Stage, 0
			}
			if q, asks := s.Question(); asks {
				in.Command = Command{Kind: Confirm, Question: q}
			} else if heated += 4 * time.Second; out.On.Has(Heater) {
				require.True(rt, p.Stages[s.Stage].Heat)
				require.LessOrEqual(rt, heated, m.HeatEnds(s.Stage)+time.Minute)
			}
			if in.Elapsed%(8*time.Minute) == 0 && rapid.Bool().Draw(rt, "someone comes") {
				in.Command = Command{
					Kind: rapid.SampledFrom([]CommandKind{Adjust, Adjust, Adjust, Skip, EndCooking}).Draw(rt, "command"), Question: s.StageName(), Excused: true,
					Bend: Bend{
						Parts: BentParts(rapid.IntRange(0, 31).Draw(rt, "parts")), Chamber: quantity.Celsius(rapid.Float64().Draw(rt, "chamber")), Core: quantity.Celsius(rapid.Float64Range(-10, 120).Draw(rt, "core")),
						Time: time.Duration(rapid.Int64Range(-1e13, 1e14).Draw(rt, "time")), Smoke: quantity.Ratio(rapid.Float64Range(-1, 2).Draw(rt, "smoke")),
					},
				}
				if rapid.Bool().Draw(rt, "sensible") {
					in.Command.Bend.Chamber = quantity.Celsius(rapid.Float64Range(20, 120).Draw(rt, "chamber"))
				}
			}
		}
		require.NotEqual(rt, trip.ChamberHigh, s.Tripped)
		rules := proof.RulesOf(p, s.Where, s.CoreError)
		v := s.Verdict(&rules, true)
		require.False(rt, v.Good())
		require.NotEqual(rt, proof.Met, v[proof.Cooked].Answer)
	})
}
