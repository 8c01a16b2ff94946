package controller

import (
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller/cabinet"
	"fumarium/controller/pid"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/lint"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
	"fumarium/sensors"
)

var _ = State{} == State{} // comparable: recorded whole, tested with ==

func testCabinet() *cabinet.Cabinet {
	return &cabinet.Cabinet{
		Name: "test box",
		Probes: []cabinet.Probe{
			{Name: "chamber", Role: cabinet.ChamberProbe}, {Name: "core 1", Role: cabinet.CoreProbe},
		},
		Heater:     cabinet.Relay{Fitted: true, Power: 1500, Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second},
		Fan:        cabinet.Relay{Fitted: true, Window: 2 * time.Minute, MinOn: 20 * time.Second, MinOff: 20 * time.Second},
		Smoke:      cabinet.Relay{Fitted: true},
		Humidifier: cabinet.Relay{Fitted: true},
		Sounder:    cabinet.Relay{Fitted: true},
		Limits:     cabinet.Limits{ChamberHigh: 110},
		Ambient:    15,
		Response:   cabinet.Response{Gain: 150, Lag: 20 * time.Minute, SecondLag: 2 * time.Minute, DeadTime: 30 * time.Second},
	}
}

func after(d time.Duration) profile.Until {
	return profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: d}}}
}

func core(kind profile.ConditionKind, t quantity.Celsius) profile.Until {
	return profile.Until{Conditions: []profile.Condition{{Kind: kind, Core: t}}}
}

func testProduct() *profile.Product {
	return &profile.Product{
		Name: "test links", Species: profile.RedMeat,
		Shape:   profile.Shape{Form: profile.Cylinder, Diameter: 0.03, Length: 0.2},
		Targets: profile.Targets{HasCore: true, Core: 70},
		Stages: []profile.Stage{
			{Name: "dry", Heat: true, ChamberSetpoint: 45, Fan: 1, Place: profile.Chamber, Until: after(10 * time.Minute)},
			{Name: "smoke", Heat: true, ChamberSetpoint: 60, Ramp: quantity.KelvinPerSecond(30.0 / 3600), Smoke: true, Fan: 1,
				HasDamper: true, Damper: 0.25, Place: profile.Chamber, Ask: "light the generator", Until: after(20 * time.Minute)},
			{Name: "cook", Heat: true, ChamberSetpoint: 80, Place: profile.Chamber, Until: core(profile.CoreAtLeast, 70), Within: time.Hour},
			{Name: "chill", Place: profile.IceWater, Until: core(profile.CoreAtMost, 4)},
		},
	}
}

// rig calls the step once a second. Its chamber follows what is aimed at and its probes
// flicker as real ones do, unless a test puts something else into the readings.
type rig struct {
	chamber float64 // °C; NaN leaves the readings to the test
	t       *testing.T
	p       *profile.Product
	c       *cabinet.Cabinet
	s       State
	out     Outputs
	in      Inputs
	events  []Event // all so far
	heatOns int
}

// stepped makes one step of a product in a cabinet, of which a test may have changed
// either since the last.
func stepped(p *profile.Product, c *cabinet.Cabinet, s State, in Inputs) (State, Outputs, []Event) {
	m, err := build(p, c, tunedBefore)
	if err != nil {
		panic(err)
	}
	return m.Unbalanced().Step(s, in)
}

var tunings sync.Map // of each model that was tuned for

// tunedBefore is pid.Robust, which takes far longer than a step, once for each model.
func tunedBefore(m pid.Model, filter time.Duration, most float64) (pid.Tuning, error) {
	if known, ok := tunings.Load(m); ok {
		return known.(pid.Tuning), nil
	}
	t, err := pid.Robust(m, filter, most)
	if err == nil {
		tunings.Store(m, t)
	}
	return t, err
}

func newRig(t *testing.T) *rig {
	r := &rig{t: t, p: testProduct(), c: testCabinet(), chamber: 20}
	r.in.Core[0] = sensors.At(10)
	return r
}

// chamberIs takes the first chamber probe out of the rig's hands.
func (r *rig) chamberIs(reading sensors.Reading) {
	r.chamber, r.in.Chamber[0] = math.NaN(), reading
}

// coreIs moves a core at once, as no meat can, and lets the step believe it.
func (r *rig) coreIs(i int, t quantity.Celsius) {
	r.in.Core[i] = sensors.At(t)
	r.s.Core.probes[i].course = course{level: float64(t), smooth: float64(t), known: time.Hour}
	r.s.Core.highest, r.s.Core.hasHighest = 100, true
}

func flicker(r sensors.Reading, elapsed time.Duration) sensors.Reading {
	v, ok := r.Value()
	if !ok || elapsed/time.Second%2 == 0 {
		return r
	}
	return sensors.At(v + 1.0/128)
}

// question is the one that waits, or one that nobody asks.
func (r *rig) question() Question {
	if q, ok := r.s.Question(); ok {
		return q
	}
	return Question{Stage: r.s.Stage, Part: HandStep, Batch: r.s.Started}
}

func (r *rig) step(kinds ...CommandKind) []Event {
	r.in.Command = Command{}
	if len(kinds) > 0 {
		r.in.Command.Kind = kinds[0]
		r.in.Command.Question = r.question()
	}
	if !math.IsNaN(r.chamber) {
		if r.s.Heater.HasSetpoint {
			r.chamber += min(max(float64(r.s.Heater.aimed())-r.chamber, -0.1), 0.1)
		}
		r.in.Chamber[0] = sensors.At(quantity.Celsius(r.chamber))
	}
	in := r.in
	for i := range in.Chamber {
		in.Chamber[i] = flicker(in.Chamber[i], in.Elapsed)
	}
	for i := range in.Core {
		in.Core[i] = flicker(in.Core[i], in.Elapsed)
	}
	var events []Event
	r.s, r.out, events = stepped(r.p, r.c, r.s, in)
	r.events = append(r.events, events...)
	if r.out.On.Has(Heater) {
		r.heatOns++
	}
	r.in.Elapsed += time.Second
	return events
}

func (r *rig) run(d time.Duration) {
	for end := r.in.Elapsed + d; r.in.Elapsed < end; {
		r.step()
	}
}

func (r *rig) started(stage int) *rig {
	r.step(Start)
	require.Equal(r.t, Running, r.s.Batch)
	for r.s.Stage < stage {
		require.Equal(r.t, trip.None, r.s.Tripped)
		require.Less(r.t, r.in.Elapsed, 24*time.Hour)
		if r.s.Asking {
			r.step(Confirm)
			continue
		}
		if stage > 2 && r.s.Stage == 2 {
			r.coreIs(0, 72)
		}
		r.step()
	}
	return r
}

func refusals(events []Event) (why []Refusal) {
	for _, e := range events {
		if e.Kind == Refused {
			why = append(why, e.Why)
		}
	}
	return why
}

func has(events []Event, kind EventKind) bool {
	for _, e := range events {
		if e.Kind == kind {
			return true
		}
	}
	return false
}

func TestNothingIsOnBeforeAStart(t *testing.T) {
	r := newRig(t)
	r.run(time.Minute)
	assert.Equal(t, Idle, r.s.Batch)
	assert.Equal(t, Outputs{}, r.out)
}

func TestStartIsRefused(t *testing.T) {
	cases := []struct {
		name    string
		prepare func(*rig)
		why     Refusal
	}{
		{"without a chamber reading", func(r *rig) { r.chamberIs(sensors.Fault(sensors.Open)) }, ChamberUnread},
		{"without a product", func(r *rig) { r.p = nil }, NothingToRun},
		{"without stages", func(r *rig) { r.p.Stages = nil }, NothingToRun},
		{"with a stage too hot for the cabinet", func(r *rig) { r.c.Limits.ChamberHigh = 84 }, ChamberTooHotForCabinet},
		{"before the cure has rested", func(r *rig) {
			r.p.Formula.Cure = profile.Cure{Mass: 0.0125, Method: profile.Comminuted, Rest: 12 * time.Hour}
		}, RestNotOver},
		{"while a batch runs", func(r *rig) { r.step(Start) }, NotInThisState},
		{"while tripped", func(r *rig) { r.chamberIs(sensors.At(112)); r.run(2 * time.Second); r.chamberIs(sensors.At(20)) }, StillTripped},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t)
			c.prepare(r)
			before := r.s.Batch
			assert.Equal(t, []Refusal{c.why}, refusals(r.step(Start)))
			assert.Equal(t, before, r.s.Batch)
		})
	}
}

func TestStartAfterTheRestOrWithAReason(t *testing.T) {
	for _, command := range []Command{
		{Kind: Start, Rested: 12 * time.Hour},
		{Kind: Start, Rested: time.Hour, Excused: true},
	} {
		r := newRig(t)
		r.p.Formula.Cure = profile.Cure{Mass: 0.0125, Method: profile.Comminuted, Rest: 12 * time.Hour}
		r.chamberIs(sensors.At(20))
		r.in.Command = command
		s, _, _ := stepped(r.p, r.c, r.s, r.in)
		assert.Equal(t, Running, s.Batch)
	}
}

// TestStartWaitsForWhatLintAdvises holds for every shipped product, with the rest that
// its file names and with none, that a start is refused until the rest is over which
// Lint asks of the file, and no longer.
func TestStartWaitsForWhatLintAdvises(t *testing.T) {
	entries, err := catalog.All()
	require.NoError(t, err)
	advised := func(p profile.Product, rest time.Duration) bool {
		p.Formula.Cure.Rest = rest
		return slices.ContainsFunc(lint.Product(&p, "", lint.Cabinet{}), func(f source.Finding) bool {
			return f.Code == "cure-rest"
		})
	}
	start := func(p *profile.Product, rested time.Duration) []Refusal {
		r := newRig(t)
		r.p = p
		r.chamberIs(sensors.At(20))
		r.in.Command = Command{Kind: Start, Rested: rested}
		_, _, events := stepped(r.p, r.c, r.s, r.in)
		return refusals(events)
	}
	cured := 0
	for _, e := range entries {
		named, _ := e.Value.Rest()
		assert.False(t, advised(*e.Value, e.Value.Formula.Cure.Rest), e.Key)
		assert.Empty(t, start(e.Value, named), e.Key)

		bare := *e.Value
		bare.Formula.Cure.Rest = 0
		least, _ := bare.Rest()
		assert.Equal(t, named == 0, least == 0, e.Key)
		assert.Empty(t, start(&bare, least), e.Key)
		assert.False(t, advised(bare, least), e.Key)
		if least == 0 {
			continue
		}
		cured++
		assert.Equal(t, []Refusal{RestNotOver}, start(e.Value, named-time.Second), e.Key)
		assert.Equal(t, []Refusal{RestNotOver}, start(&bare, least-time.Second), e.Key)
		assert.True(t, advised(bare, least-time.Second), e.Key)
		assert.True(t, advised(bare, 0), e.Key)
	}
	assert.Positive(t, cured)
}

func TestCommandsInTheWrongState(t *testing.T) {
	for _, kind := range []CommandKind{Confirm, Hold, Restart, Stop, Abort, Reset, Mended, Shelve, CommandKinds} {
		r := newRig(t)
		assert.Len(t, refusals(r.step(kind)), 1, "%v while idle", kind)
		assert.Equal(t, Idle, r.s.Batch)
	}
	r := newRig(t).started(0)
	assert.Equal(t, []Refusal{NothingToConfirm}, refusals(r.step(Confirm)))
	assert.Equal(t, []Refusal{NotInThisState}, refusals(r.step(Restart)))
}

func TestWholeBatch(t *testing.T) {
	r := newRig(t).started(3)
	r.coreIs(0, 3)
	r.run(Dwell + 2*time.Second)
	assert.Equal(t, Complete, r.s.Batch)
	assert.Equal(t, Outputs{Damper: 0.25}, r.out)
	var ended []string
	for _, e := range r.events {
		if e.Kind == StageEnded {
			ended = append(ended, r.p.Stages[e.Stage].Name+" by "+e.By.String())
		}
	}
	assert.Equal(t, []string{"dry by after", "smoke by after", "cook by core", "chill by core"}, ended)
	r.step(Start) // and again
	assert.Equal(t, Running, r.s.Batch)
	assert.Zero(t, r.s.Stage)
	assert.Zero(t, r.s.Heat)
}

func TestStageClockWaitsForTheHandStep(t *testing.T) {
	r := newRig(t).started(1)
	require.True(t, r.s.Asking)
	r.run(20 * time.Minute)
	assert.True(t, r.s.Asking, "the clock of an asked stage must not run")
	assert.Zero(t, r.s.StageClock)
	assert.False(t, r.out.On.Has(Smoke), "no smoke before the person has lit the generator")
	assert.True(t, r.s.Heater.HasSetpoint && r.s.Heater.Setpoint > 45, "but the chamber is brought up")
	prompt, waiting := r.s.Waiting(r.p)
	assert.True(t, waiting)
	assert.Equal(t, "light the generator", prompt.Text)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.PromptWaiting].Phase)
	r.step(Confirm)
	r.run(3 * time.Minute) // the fan has stopped long since; the damper closes, the heater coasts
	assert.True(t, r.out.On.Has(Smoke))
	assert.Equal(t, quantity.Ratio(0.25), r.out.Damper)
	r.run(20 * time.Minute)
	assert.Equal(t, 2, r.s.Stage)
}

func TestFanAndSmokePumpExcludeEachOther(t *testing.T) {
	r := newRig(t).started(1)
	r.step(Confirm)
	r.run(5 * time.Minute)
	assert.True(t, r.out.On.Has(Smoke))
	assert.False(t, r.out.On.Has(Fan))
	r.c.Rules.FanWithSmoke = true
	r.run(3 * time.Minute)
	assert.True(t, r.out.On.Has(Smoke) && r.out.On.Has(Fan))
}

func TestRampLimitsTheSetpoint(t *testing.T) {
	r := newRig(t).started(1)
	require.InDelta(t, 45, float64(r.s.Heater.Setpoint), 0.1)
	r.run(10 * time.Minute)
	assert.InDelta(t, 50, float64(r.s.Heater.Setpoint), 0.1) // 30 K/h for 10 min
	r.run(time.Hour)
	assert.Equal(t, quantity.Celsius(60), r.s.Heater.Setpoint)

	r = newRig(t)
	r.c.Limits.Ramp = quantity.KelvinPerSecond(60.0 / 3600)
	r.started(0)
	r.run(5 * time.Minute)
	assert.InDelta(t, 25, float64(r.s.Heater.Setpoint), 0.1, "the cabinet's own ramp starts at the chamber's temperature")
}

func TestOneSpikeEndsNothing(t *testing.T) {
	r := newRig(t).started(2)
	for range 100 {
		r.coreIs(0, 71)
		r.run(Dwell - time.Second)
		r.coreIs(0, 69.9)
		r.step()
	}
	assert.Equal(t, 2, r.s.Stage)
	r.coreIs(0, 70)
	r.run(Dwell + time.Second)
	assert.Equal(t, 3, r.s.Stage)
}

// A front end that fails to answer every few seconds must not keep the cook from ending.
func TestAReadingMissedNowAndThenDelaysNothing(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 71)
	for i := range 20 {
		r.in.Core[0] = sensors.At(71)
		if i%4 == 3 {
			r.in.Core[0] = sensors.Fault(sensors.BusError)
		}
		require.Equal(t, 2, r.s.Stage, "second %d", i)
		r.step()
	}
	r.in.Core[0] = sensors.At(71)
	r.step()
	assert.Equal(t, 3, r.s.Stage)

	r = newRig(t).started(2)
	r.coreIs(0, 71)
	r.run(10 * time.Second)
	r.in.Core[0] = sensors.Fault(sensors.BusError)
	r.run(6 * time.Second)
	r.in.Core[0] = sensors.At(71)
	r.run(15 * time.Second)
	assert.Equal(t, 2, r.s.Stage, "but a gap does")
}

func TestALostCoreProbeEndsNothing(t *testing.T) {
	r := newRig(t)
	r.coreIs(1, 12)
	r.started(2)
	r.coreIs(1, 75)
	r.in.Core[0] = sensors.Fault(sensors.Open) // the coldest falls silent
	r.run(time.Minute)
	assert.Equal(t, 2, r.s.Stage, "the hot probe alone must not end the cook")
	assert.Equal(t, sensors.Unread, r.s.Core.Coldest.Status())
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.CoreLost].Phase)
	r.coreIs(0, 71)
	r.run(Dwell + 2*time.Second)
	assert.Equal(t, 3, r.s.Stage)
	// While cooling, the hottest counts.
	r.coreIs(0, 3)
	r.coreIs(1, 9)
	r.run(time.Minute)
	assert.Equal(t, Running, r.s.Batch)
	r.coreIs(1, 3.9)
	r.run(Dwell + 2*time.Second)
	assert.Equal(t, Complete, r.s.Batch)
}

func TestChamberLostCutsHeatAtOnceAndTripsAfterItsDelay(t *testing.T) {
	r := newRig(t).started(0)
	r.run(time.Minute)
	require.True(t, r.out.On.Has(Heater))
	r.chamberIs(sensors.Fault(sensors.BusError))
	r.step()
	assert.False(t, r.out.On.Has(Heater), "off in the same step")
	assert.Equal(t, Running, r.s.Batch)
	r.run(10 * time.Second)
	r.chamberIs(sensors.At(30))
	r.run(10 * time.Second)
	assert.True(t, r.out.On.Has(Heater), "a short gap is forgiven")

	r.chamberIs(sensors.Fault(sensors.BusError))
	r.run(31 * time.Second)
	assert.Equal(t, trip.ChamberLost, r.s.Tripped)
	r.run(2 * time.Second)
	assert.Equal(t, Held, r.s.Batch)
	assert.Equal(t, []Refusal{StillTripped}, refusals(r.step(Restart)))
	assert.Equal(t, []Refusal{StillTripped}, refusals(r.step(Reset)), "while the probe is still lost")
	r.chamberIs(sensors.At(30))
	r.run(time.Minute)
	assert.False(t, r.out.On.Has(Heater), "a trip latches")
	r.step(Reset)
	assert.Equal(t, trip.None, r.s.Tripped)
	r.run(time.Minute)
	assert.False(t, r.out.On.Has(Heater), "held until the person restarts it")
	r.step(Restart)
	r.run(30 * time.Second)
	assert.Equal(t, Running, r.s.Batch)
	assert.True(t, r.out.On.Has(Heater))
}

func TestChamberHighCutsTheHeatAtOnceAndTrips(t *testing.T) {
	r := newRig(t)
	r.in.Chamber[1] = sensors.At(20)
	r.started(0)
	r.run(time.Minute)
	require.True(t, r.out.On.Has(Heater))
	r.in.Chamber[1] = sensors.At(110) // one hot probe is enough, whatever the mean
	r.step()
	assert.False(t, r.out.On.Has(Heater))
	assert.Equal(t, trip.None, r.s.Tripped, "one sample cuts the heat and no more")
	events := r.step()
	assert.False(t, r.out.On.Has(Heater))
	assert.True(t, has(events, Tripped))
	assert.Equal(t, trip.ChamberHigh, r.s.Tripped)
	assert.True(t, r.out.On.Has(Sounder))
	r.in.Chamber[1] = sensors.At(40)
	r.run(time.Hour)
	assert.True(t, r.out.On.Has(Sounder), "it calls until a person answers, also when its cause is gone")
	assert.Equal(t, Held, r.s.Batch)
	assert.False(t, r.out.On.Has(Heater))
	r.step(Reset)
	r.step(Restart)
	r.run(30 * time.Second)
	assert.True(t, r.out.On.Has(Heater))
}

func TestALateStepRestsTheHeaterAndCountsNoHeat(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 66)
	r.run(time.Minute)
	require.True(t, r.out.On.Has(Heater))
	heat, clock := r.s.Heat, r.s.StageClock
	r.in.Elapsed += 10 * time.Minute
	events := r.step()
	assert.False(t, r.out.On.Has(Heater))
	assert.True(t, has(events, AlarmRaised))
	assert.True(t, heat == r.s.Heat, "unseen heat is no heat")
	assert.Equal(t, clock, r.s.StageClock, "and unseen time ends no stage")

	r.in.Elapsed -= time.Hour // backwards
	r.step()
	assert.False(t, r.out.On.Has(Heater))
}

func TestHoldStopsTheClockAndTheHeat(t *testing.T) {
	r := newRig(t).started(0)
	r.run(time.Minute)
	clock := r.s.StageClock
	r.step(Hold)
	assert.Equal(t, Holding, r.s.Batch)
	assert.False(t, r.out.On.Has(Heater) || r.out.On.Has(Fan))
	r.step()
	assert.Equal(t, Held, r.s.Batch)
	r.coreIs(0, 30)
	r.run(time.Hour)
	assert.Equal(t, clock, r.s.StageClock)
	assert.GreaterOrEqual(t, r.s.ComeUp.Time, time.Hour, "the meat does not know of the hold")
	r.step(Restart)
	assert.Equal(t, Restarting, r.s.Batch)
	r.run(2 * time.Second)
	assert.Equal(t, Running, r.s.Batch)
	r.step(Stop)
	r.step()
	assert.Equal(t, Stopped, r.s.Batch)
}

func TestUntilAnyAndConfirm(t *testing.T) {
	r := newRig(t)
	r.p.Stages = []profile.Stage{
		{Name: "a", Place: profile.Chamber, Until: profile.Until{Any: true, Conditions: []profile.Condition{
			{Kind: profile.After, After: time.Hour}, {Kind: profile.CoreAtMost, Core: 12}}}},
		{Name: "b", Place: profile.Chamber, Until: profile.Until{Conditions: []profile.Condition{
			{Kind: profile.After, After: time.Minute}, {Kind: profile.Confirmed, Confirm: "dry to the touch?"}}}},
		{Name: "c", Place: profile.Chamber, Until: profile.Until{Any: true, Conditions: []profile.Condition{
			{Kind: profile.After, After: time.Hour}, {Kind: profile.Confirmed, Confirm: "colour right?"}}}},
	}
	r.step(Start)
	r.run(courseLearnt + Dwell + 2*time.Second)
	assert.Equal(t, 1, r.s.Stage)
	_, waiting := r.s.Waiting(r.p)
	assert.False(t, waiting, "asked only when nothing else is missing")
	assert.NotEmpty(t, refusals(r.step(Confirm)))
	r.run(2 * time.Minute)
	prompt, waiting := r.s.Waiting(r.p)
	assert.True(t, waiting)
	assert.Equal(t, "dry to the touch?", prompt.Text)
	r.step(Confirm)
	r.run(3 * time.Second)
	assert.Equal(t, 2, r.s.Stage)
	_, waiting = r.s.Waiting(r.p)
	assert.True(t, waiting, "with any, the question stands from the start")
	r.step(Confirm)
	r.step()
	assert.Equal(t, Complete, r.s.Batch)
}

func TestStageOvertimeWarnsAndEndsNothing(t *testing.T) {
	r := newRig(t).started(2)
	r.run(90 * time.Minute)
	assert.Equal(t, 2, r.s.Stage)
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.StageOvertime].Phase)
	r.step(Acknowledge)
	assert.Equal(t, trip.Acknowledged, r.s.Alarms[trip.StageOvertime].Phase)
	assert.True(t, r.s.Heater.HasSetpoint, "it goes on cooking")
}

func TestHumidityOnlyWhenMeasured(t *testing.T) {
	r := newRig(t)
	r.c.Wick = cabinet.WickOwnBlower
	r.p.Stages[0].HasHumidity, r.p.Stages[0].Humidity = true, 0.6
	r.chamberIs(sensors.At(60))
	r.started(0)
	r.run(3 * time.Minute)
	assert.False(t, r.out.On.Has(Humidifier))
	assert.Equal(t, trip.Unacknowledged, r.s.Alarms[trip.HumidityUnmeasured].Phase)
	r.in.WetBulb = sensors.At(39.7) // about 30 % at 60 °C
	r.run(time.Second)
	assert.True(t, r.out.On.Has(Humidifier))
	assert.InDelta(t, 0.30, float64(r.s.Wick.Humidity), 0.02)
	r.in.WetBulb = sensors.At(55)
	r.run(time.Second)
	assert.False(t, r.out.On.Has(Humidifier))
}

// The published row: at 60 °C the red-meat criterion of 6.5 log10 takes 12 min
// (FSIS Appendix A, 1999).
func TestLethalityCountsLikeTheTable(t *testing.T) {
	r := newRig(t).started(2)
	r.coreIs(0, 60)
	r.step() // the rise itself is one second long
	from, _ := r.s.LethalityLog10(r.p)
	r.run(12 * time.Minute)
	to, known := r.s.LethalityLog10(r.p)
	require.True(t, known)
	assert.InDelta(t, 6.5, to-from, 0.5)
	r.in.Core[0] = sensors.Fault(sensors.Stale)
	before := r.s.Heat
	r.run(time.Minute)
	assert.True(t, before == r.s.Heat)
}

func TestEqualArgumentsGiveEqualResults(t *testing.T) {
	a, b := newRig(t).started(2), newRig(t).started(2)
	a.run(time.Hour)
	b.run(time.Hour)
	assert.True(t, a.s == b.s)
	assert.Equal(t, a.events, b.events)
}

// Whatever comes in, heat needs a running, untripped batch, a chamber that was
// read in time and lies under the limit, and a stage that heats.
func TestHeatNeedsEveryReason(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, c := testProduct(), testCabinet()
		var s State
		var elapsed time.Duration
		reading := func(name string) sensors.Reading {
			if rapid.IntRange(0, 9).Draw(t, name+" lost") == 0 {
				return sensors.Fault(sensors.Status(rapid.IntRange(0, 8).Draw(t, name+" status")))
			}
			v := rapid.Float64Range(-50, 140).Draw(t, name)
			if rapid.IntRange(0, 19).Draw(t, name+" odd") == 0 {
				v = math.NaN()
			}
			return sensors.At(quantity.Celsius(v))
		}
		for range rapid.IntRange(5, 60).Draw(t, "steps") {
			in := Inputs{Elapsed: elapsed, Command: Command{Kind: CommandKind(rapid.IntRange(0, int(CommandKinds)).Draw(t, "command"))}}
			in.Chamber[0], in.Chamber[1] = reading("chamber 1"), reading("chamber 2")
			in.Core[0], in.Core[1] = reading("core 1"), reading("core 2")
			gap := time.Duration(rapid.IntRange(-2, 40).Draw(t, "gap")) * time.Second
			before := s
			next, out, events := stepped(p, c, s, in)
			again, outAgain, _ := stepped(p, c, s, in)
			require.True(t, next == again && out == outAgain, "a step must be a function of its arguments")
			s = next
			if out.On.Has(Heater) {
				_, known := s.Chamber.Reading.Value()
				require.True(t, known)
				for _, r := range in.Chamber {
					if v, ok := r.Value(); ok {
						require.Less(t, float64(v), float64(c.Limits.ChamberHigh))
					}
				}
				require.Equal(t, Running, s.Batch)
				require.Equal(t, trip.None, s.Tripped)
				require.True(t, p.Stages[s.Stage].Heat)
				require.LessOrEqual(t, in.Elapsed-before.Elapsed, LateAfter)
				require.GreaterOrEqual(t, in.Elapsed, before.Elapsed)
			}
			log10, _ := s.LethalityLog10(p)
			logBefore, _ := before.LethalityLog10(p)
			require.GreaterOrEqual(t, log10, 0.0)
			require.True(t, quantity.Finite(log10) && quantity.Finite(s.Heater.Demand))
			require.True(t, s.Heater.Demand >= 0 && s.Heater.Demand <= 1)
			if before.Batch.Active() && s.Batch.Active() {
				require.True(t, s.Stage == before.Stage || s.Stage == before.Stage+1, "no stage is skipped")
				require.GreaterOrEqual(t, log10, logBefore, "lethality never falls")
			}
			for _, e := range events {
				require.NotEqual(t, "unknown event", e.Text(p))
			}
			elapsed += gap
		}
	})
}

func TestSteadyStepAllocatesNothing(t *testing.T) {
	r := newRig(t).started(2)
	r.run(time.Minute)
	in := r.in
	s := r.s
	m, err := New(r.p, r.c)
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(1000, func() {
		in.Elapsed += time.Second
		s, _, _ = m.Step(s, in)
	}))
}

func BenchmarkStep(b *testing.B) {
	m, err := New(testProduct(), testCabinet())
	require.NoError(b, err)
	var s State
	in := Inputs{Command: Command{Kind: Start}}
	in.Chamber[0], in.Core[0] = sensors.At(40), sensors.At(20)
	s, _, _ = m.Step(s, in)
	in.Command = Command{}
	b.ReportAllocs()
	for b.Loop() {
		s.Balance.rise, s.Balance.heated = 0, 0 // or a reading that does not answer would end it
		s.HeatTime = heatTime{}                 // or it would end the heat of so long a stage
		in.Elapsed += time.Second
		in.Chamber[0], in.Core[0] = flicker(sensors.At(40), in.Elapsed), flicker(sensors.At(20), in.Elapsed) // frozen ones would hold the batch
		if s.Stage > 0 {                                                                                     // stay in the first stage, whose fan and heater both run
			s.Stage, s.StageClock, s.Asking = 0, 0, false
		}
		s, _, _ = m.Step(s, in)
	}
	if s.Batch != Running || s.Tripped != trip.None {
		b.Fatalf("%s, tripped %s: this is not the step that was meant", s.Batch, s.Tripped)
	}
}
