package history

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

var sticks = &profile.Product{
	Name: "test sticks", Targets: profile.Targets{HasCore: true, Core: 71},
	Stages: []profile.Stage{{Name: "dry"}, {Name: "smoke", Ask: "Light the smoke generator"}, {Name: "cook"}},
}

// A batch feeds a history by hand.
type batch struct {
	History
	at    time.Duration
	state controller.State
	out   controller.Outputs
}

func newBatch(started time.Duration) *batch {
	b := &batch{at: started}
	b.state = controller.State{Batch: controller.Running, Started: started}
	b.state.Chamber.Reading, b.state.Core.Coldest = sensors.At(50), sensors.At(20)
	b.Begin("b-1", sticks, started)
	return b
}

// step makes a step after d.
func (b *batch) step(d time.Duration, events ...controller.Event) {
	b.at += d
	for i := range events {
		events[i].At = b.at
	}
	b.state.Elapsed = b.at
	b.Add(time.Time{}, b.at, &b.state, b.out, events)
}

func (b *batch) run(d time.Duration) {
	for range int(d / time.Second) {
		b.step(time.Second)
	}
}

func ids(events []Event) (all []string) {
	for _, e := range events {
		all = append(all, e.ID.String())
	}
	return all
}

func TestEventsHaveIDsThatStay(t *testing.T) {
	idle := controller.State{}
	b := newBatch(time.Minute)
	b.History = History{}
	b.Say(time.Time{}, 0, "the record was damaged", trip.Soon)
	b.Add(time.Time{}, 0, &idle, b.out, []controller.Event{{Kind: controller.Refused, Command: controller.Hold, Why: controller.NotInThisState}})
	assert.Empty(t, b.BatchEvents())
	b.Begin("b-1", sticks, b.at)
	b.Say(time.Time{}, b.at, Excused("guests"), trip.Later)
	b.step(0, controller.Event{Kind: controller.BatchChanged, Batch: controller.Running}, controller.Event{Kind: controller.StageBegan})
	b.run(9 * time.Second)
	b.Say(time.Time{}, b.at, "one", 0)
	b.Say(time.Time{}, b.at, "two", 0)
	b.step(time.Second, controller.Event{Kind: controller.AlarmRaised, Alarm: trip.CoreLost})
	b.Skip(500) // what a record lost has its numbers all the same
	b.step(time.Minute, controller.Event{Kind: controller.Tripped, Alarm: trip.ChamberHigh})
	assert.Equal(t, []string{"/0.said.0", "/0.0", "b-1/0.said.0", "b-1/0.0", "b-1/0.1", "b-1/10.said.0", "b-1/10.said.1", "b-1/10.0", "b-1/500.0"}, ids(b.Events()))
	assert.Equal(t, ids(b.Events())[2:], ids(b.BatchEvents()))

	events := b.Events()
	assert.Equal(t, "started all the same, because: guests", events[2].Text())
	assert.Equal(t, "stage dry begins", events[4].Text())
	assert.Equal(t, "dry", events[4].StageName())
	assert.Equal(t, []trip.Priority{trip.Soon, 0, trip.Later, 0, 0, 0, 0, trip.Soon, trip.Now}, func() (all []trip.Priority) {
		for _, e := range events {
			all = append(all, e.Priority)
		}
		return all
	}())
	assert.Equal(t, []time.Duration{0, 0, 0, 0, 0, 9 * time.Second, 9 * time.Second, 10 * time.Second, 70 * time.Second}, func() (all []time.Duration) {
		for _, e := range events {
			all = append(all, e.Elapsed)
		}
		return all
	}())

	// An event goes on being about the product of its own batch.
	b.Begin("b-2", &profile.Product{Stages: []profile.Stage{{Name: "rest"}}}, b.at)
	assert.Equal(t, "stage dry begins", b.Events()[4].Text())
	assert.Empty(t, b.BatchEvents())
	b.step(0, controller.Event{Kind: controller.StageBegan})
	assert.Equal(t, []string{"b-2/0.0"}, ids(b.BatchEvents()))
}

func TestWordsOfTheRecordGoFirst(t *testing.T) {
	b := newBatch(0)
	b.step(0, controller.Event{Kind: controller.StageBegan}, controller.Event{Kind: controller.AlarmRaised, Alarm: trip.CoreLost})
	b.Worded([]string{"stage dry begins", "alarm core-lost (high): as it was called then"})
	assert.Empty(t, b.Events()[0].Said)
	assert.Equal(t, "alarm core-lost (high): as it was called then", b.Events()[1].Text())
	assert.Equal(t, controller.AlarmRaised, b.Events()[1].Kind)
}

func TestKindsHaveNamesThatComeBack(t *testing.T) {
	for k := range controller.EventKind(len(kinds)) {
		back, ok := ParseKind(KindName(k))
		assert.True(t, ok)
		assert.Equal(t, k, back)
	}
	assert.Equal(t, controller.EventKind(len(kinds)-1), controller.Parted, "a kind without a name")
	_, ok := ParseKind("event 99")
	assert.False(t, ok)
	assert.Equal(t, "event 99", KindName(99))
}

func TestOldEventsGoUnlessAllAreKept(t *testing.T) {
	for _, all := range []bool{false, true} {
		b := newBatch(0)
		b.KeepAll = all
		var before History
		for n := range 3 * MostEvents {
			if n == MostEvents-1 {
				before = b.History
			}
			b.step(time.Second, controller.Event{Kind: controller.AlarmRaised, Alarm: trip.CoreLost})
			if !all {
				require.LessOrEqual(t, len(b.Events()), MostEvents)
			}
		}
		assert.Equal(t, int64(3*MostEvents-1), b.Events()[len(b.Events())-1].ID.Step)
		if all {
			assert.Len(t, b.Events(), 3*MostEvents)
		}
		assert.Len(t, before.Events(), MostEvents-1)
		assert.Equal(t, "b-1/0.0", before.Events()[0].ID.String(), "an earlier copy has what it had")
	}
}

func TestStages(t *testing.T) {
	b := newBatch(time.Hour)
	b.step(0, controller.Event{Kind: controller.BatchChanged, Batch: controller.Running}, controller.Event{Kind: controller.StageBegan})
	b.step(time.Minute, controller.Event{Kind: controller.StageEnded, By: controller.EndedByTime},
		controller.Event{Kind: controller.StageBegan, Stage: 1}, controller.Event{Kind: controller.Asked, Stage: 1})
	asked := b.History
	b.step(time.Minute, controller.Event{Kind: controller.Answered, Stage: 1})
	b.step(time.Minute, controller.Event{Kind: controller.BatchChanged, Batch: controller.Stopping})
	require.False(t, b.Stages()[1].Over)
	b.step(time.Minute, controller.Event{Kind: controller.BatchChanged, Batch: controller.Stopped})
	const m = time.Minute
	assert.Equal(t, []Stage{
		{Name: "dry", Ended: m, Over: true, By: controller.EndedByTime},
		{Index: 1, Name: "smoke", Began: m, Ended: 4 * m, Over: true, Waits: []Wait{{Prompt: "Light the smoke generator", Asked: m, Answered: 2 * m, Done: true}}},
	}, b.Stages())
	assert.Equal(t, []Stage{
		{Name: "dry", Ended: m, Over: true, By: controller.EndedByTime},
		{Index: 1, Name: "smoke", Began: m, Waits: []Wait{{Prompt: "Light the smoke generator", Asked: m}}},
	}, asked.Stages(), "an earlier copy has what it had")
	b.Begin("b-2", sticks, b.at)
	assert.Empty(t, b.Stages())
}

// The curve keeps what a thinner one would lose, whatever comes: the coldest and the
// hottest chamber, and where it was not read.
func TestCurveKeepsExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBatch(time.Duration(rapid.IntRange(0, 1e6).Draw(t, "started")))
		low, high, unread, torn := math.Inf(1), math.Inf(-1), 0, 0
		hours := rapid.SampledFrom([]int{1, 12, 100, 240}).Draw(t, "hours")
		n := rapid.IntRange(1, 3000).Draw(t, "steps")
		random := rapid.Float64Range(-20, 150)
		for i := range n {
			d := time.Duration(rapid.IntRange(1, max(2, hours*3600*2/n)).Draw(t, "after")) * time.Second
			v := random.Draw(t, "chamber")
			b.state.Chamber.Reading = sensors.At(quantity.Celsius(v))
			if rapid.IntRange(0, 99).Draw(t, "faulty") == 0 {
				b.state.Chamber.Reading = sensors.Fault(sensors.Open)
				unread++
			} else {
				low, high = min(low, v), max(high, v)
			}
			if i > 0 && d > controller.LateAfter {
				torn++
			}
			b.step(d)
		}
		samples := b.Samples()
		if len(samples) > MostSamples {
			t.Fatalf("%d samples", len(samples))
		}
		gotLow, gotHigh, breaks := math.Inf(1), math.Inf(-1), 0
		for i, s := range samples {
			if i > 0 && s.Elapsed < samples[i-1].Elapsed {
				t.Fatalf("%v after %v", s.Elapsed, samples[i-1].Elapsed)
			}
			if math.IsNaN(s.Chamber) {
				breaks++
				continue
			}
			gotLow, gotHigh = min(gotLow, s.Chamber), max(gotHigh, s.Chamber)
		}
		if low != gotLow || high != gotHigh {
			t.Fatalf("%v to %v became %v to %v", low, high, gotLow, gotHigh)
		}
		if (breaks == 0) != (unread+torn == 0) {
			t.Fatalf("%d breaks, %d unread, %d torn", breaks, unread, torn)
		}
		if last := samples[len(samples)-1]; last.Elapsed != b.Elapsed() {
			t.Fatalf("ends at %v, not %v", last.Elapsed, b.Elapsed())
		}
	})
}

// What is not known is not drawn as 0, and no line crosses a time that nobody saw.
func TestUnreadBreaksTheLine(t *testing.T) {
	b := newBatch(0)
	b.state.Core.Coldest = sensors.Fault(sensors.Open)
	b.step(0)
	b.run(5 * time.Minute)
	for _, s := range b.Samples() {
		assert.True(t, math.IsNaN(s.Core))
		assert.True(t, math.IsNaN(s.Setpoint))
		assert.Equal(t, 50.0, s.Chamber)
	}
	b.state.Core.Coldest = sensors.At(20)
	b.run(time.Minute)
	b.state.Chamber.Reading = sensors.Reading{}
	b.step(time.Second) // one second is enough to show
	b.state.Chamber.Reading = sensors.At(50)
	b.run(time.Minute)
	unread := slices.IndexFunc(b.Samples(), func(s Sample) bool { return math.IsNaN(s.Chamber) })
	require.Positive(t, unread)
	assert.Equal(t, 361*time.Second, b.Samples()[unread].Elapsed)

	gone := b.Elapsed()
	b.step(20 * time.Minute)
	after := b.Samples()
	i := slices.IndexFunc(after, func(s Sample) bool { return math.IsNaN(s.Chamber) && math.IsNaN(s.Core) })
	require.Positive(t, i)
	assert.Equal(t, gone, after[i].Elapsed)
	assert.Equal(t, gone+20*time.Minute, after[i+1].Elapsed)
}

// The duty that is drawn holds the energy that was used: a relay that is on for a
// fourth of each window, then for half.
func TestDutyHoldsTheEnergy(t *testing.T) {
	b := newBatch(0)
	b.step(0)
	on := 0
	const seconds = 30 * 3600
	for i := range seconds {
		part := 5
		if i >= seconds/2 {
			part = 10
		}
		b.out.On.Set(controller.Heater, i%20 < part)
		if i%20 < part {
			on++
		}
		b.step(time.Second)
	}
	b.out = controller.Outputs{}
	b.step(time.Second)
	assert.Equal(t, time.Duration(on)*time.Second, b.Use().HeaterOn)
	assert.Equal(t, uint64(seconds/20), b.Use().Switched[controller.Heater])
	drawn := 0.0
	duties := b.Duties()
	for _, d := range duties {
		drawn += d.Ratio * (d.To - d.From).Seconds()
	}
	assert.InDelta(t, on, drawn, 60)
	assert.LessOrEqual(t, len(duties), mostBuckets)
	assert.InDelta(t, 0.25, duties[10].Ratio, 1e-9)
	assert.InDelta(t, 0.5, duties[len(duties)-10].Ratio, 1e-9)

	b.Resume(700000)
	b.step(time.Second, controller.Event{Kind: controller.AlarmRaised, Alarm: trip.PowerLost})
	assert.Zero(t, b.Use())
	assert.Equal(t, "b-1/700000.0", b.Events()[len(b.Events())-1].ID.String())
}

// What comes after a batch changes nothing in its curve.
func TestACurveEndsWithItsBatch(t *testing.T) {
	b := newBatch(0)
	b.out.On.Set(controller.Heater, true)
	b.step(0)
	b.run(90 * time.Second)
	b.state.Batch, b.out = controller.Stopped, controller.Outputs{}
	b.step(time.Second, controller.Event{Kind: controller.BatchChanged, Batch: controller.Stopped})
	samples, duties := b.Samples(), b.Duties()
	assert.Equal(t, 90*time.Second, samples[len(samples)-1].Elapsed)
	assert.Equal(t, 1.0, duties[1].Ratio)
	b.run(time.Hour)
	b.step(time.Hour, controller.Event{Kind: controller.Refused})
	assert.Equal(t, fmt.Sprint(samples), fmt.Sprint(b.Samples()))
	assert.Equal(t, 1.0, b.Duties()[1].Ratio)
	assert.Len(t, b.BatchEvents(), 2, "the events go on until the next begins")
}

func TestFigure(t *testing.T) {
	b := newBatch(0)
	b.step(0, controller.Event{Kind: controller.StageBegan})
	b.run(10 * time.Minute)
	b.step(time.Second, controller.Event{Kind: controller.StageEnded, By: controller.EndedByTime},
		controller.Event{Kind: controller.StageBegan, Stage: 1}, controller.Event{Kind: controller.Asked, Stage: 1})
	b.run(time.Minute)
	b.step(time.Second, controller.Event{Kind: controller.Answered, Stage: 1},
		controller.Event{Kind: controller.AlarmRaised, Alarm: trip.PromptWaiting}, controller.Event{Kind: controller.AlarmRaised, Alarm: trip.ChamberHigh},
		controller.Event{Kind: controller.Tripped, Alarm: trip.ChamberHigh})
	b.step(time.Hour)
	b.run(time.Minute)
	f := b.Figure(Drawing{})
	assert.Equal(t, "[{0 601 dry 0} {601 4322 smoke 1}]", fmt.Sprint(f.Spans))
	assert.Equal(t, "[{662 Light the smoke generator false} {662 prompt-waiting false} {662 chamber-high true}]", fmt.Sprint(f.Marks), "an alarm and its trip are one mark")
	assert.Equal(t, "core target 71 °C", f.Panels[0].Rules[0].Label)
	duty := f.Panels[1].Series[0].Points
	unknown := 0
	for _, p := range duty {
		if math.IsNaN(p.Y) {
			unknown++
			assert.InDelta(t, 720, p.X, 1)
		}
	}
	assert.Positive(t, unknown, "nobody saw that hour")
	var none History
	require.Len(t, none.Figure(Drawing{}).Panels, 2)
}

func BenchmarkAdd(b *testing.B) {
	h := newBatch(0)
	b.ReportAllocs()
	for b.Loop() {
		h.step(time.Second)
	}
}
