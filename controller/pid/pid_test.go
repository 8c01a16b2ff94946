package pid

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	reference "go.einride.tech/pid"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

var steady = Tuning{Gain: 0.1, Integral: 480 * time.Second, Derivative: 40 * time.Second, Filter: 4 * time.Second, SetpointWeight: 1}

// An independent implementation, go.einride.tech/pid v0.1.3. It differentiates the
// error, so the setpoint must stand; it takes its first sample's error as grown
// from 0, so both start at the setpoint.
func TestAgreesWithIndependentImplementation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mine := Tuning{
			Gain:           rapid.Float64Range(0.001, 0.01).Draw(t, "gain"),
			Integral:       span(rapid.Float64Range(100, 2000).Draw(t, "integral")),
			Derivative:     span(rapid.Float64Range(0, 10).Draw(t, "derivative")),
			SetpointWeight: 1,
		}
		const step = 500 * time.Millisecond
		theirs := reference.AntiWindupController{Config: reference.AntiWindupControllerConfig{
			ProportionalGain: mine.Gain, IntegralGain: mine.Gain / mine.Integral.Seconds(),
			DerivativeGain:      mine.Gain * mine.Derivative.Seconds(),
			LowPassTimeConstant: time.Nanosecond, // at zero it returns NaN
			MaxOutput:           1,
		}}
		var s State
		y, u := 60.0, 0.5
		for range 200 {
			in := Input{Setpoint: 60, Measured: quantity.Celsius(y), Step: step, FeedForward: 0.5, Delivered: u, Window: step}
			var ok bool
			s, u, ok = Step(mine, s, in)
			require.True(t, ok)
			theirs.Update(reference.AntiWindupControllerInput{
				ReferenceSignal: 60, ActualSignal: y, FeedForwardSignal: 0.5, SamplingInterval: step,
			})
			require.True(t, u > 0 && u < 1, "both linear")
			require.InDelta(t, theirs.State.ControlSignal, u, 1e-9)
			y += rapid.Float64Range(-0.5, 0.5).Draw(t, "move")
			y = min(max(y, 57), 63)
		}
	})
}

// What is not to be copied from it: NaN from a low-pass constant left at zero, and
// a kick from the setpoint. Here neither.
func TestTrapsOfIndependentImplementation(t *testing.T) {
	theirs := reference.AntiWindupController{Config: reference.AntiWindupControllerConfig{ProportionalGain: 0.1, MaxOutput: 1}}
	theirs.Update(reference.AntiWindupControllerInput{ReferenceSignal: 60, ActualSignal: 60, SamplingInterval: time.Second})
	assert.True(t, math.IsNaN(theirs.State.ControlSignal))

	mine := Tuning{Gain: 0.1, Derivative: 40 * time.Second, SetpointWeight: 1}
	in := Input{Setpoint: 60, Measured: 60, Step: time.Second}
	s, u, ok := Step(mine, State{}, in)
	require.True(t, ok)
	assert.Zero(t, u)
	in.Setpoint = 61 // differentiating the error would ask for 0.1 + 0.1·40
	_, u, ok = Step(mine, s, in)
	require.True(t, ok)
	assert.InDelta(t, 0.1, u, 1e-12)
}

// 2nd-order filter 1/(1 + s·Tf + s²·Tf²/2) (Garpinger, Hägglund, Åström, IFAC
// PID 2012, eq. 3): damping 1/√2, so the step response passes its closed form.
func TestFilter(t *testing.T) {
	const tf, h = 10.0, 0.001
	tuning := Tuning{Filter: 10 * time.Second}
	var y quantity.Celsius
	var slope quantity.KelvinPerSecond
	for i := 1; i <= 60_000; i++ {
		y, slope = tuning.filter(y, slope, 1, h)
		at := float64(i) * h / tf
		closed := 1 - math.Exp(-at)*(math.Cos(at)+math.Sin(at))
		require.InDelta(t, closed, float64(y), 2e-4)
		require.InDelta(t, 2*math.Exp(-at)*math.Sin(at)/tf, float64(slope), 1e-4)
	}
	y, slope = (&Tuning{}).filter(3, 7, 5, 2)
	assert.Equal(t, quantity.Celsius(5), y, "no filter: the measurement")
	assert.Equal(t, quantity.KelvinPerSecond(1), slope, "and its difference quotient")
}

// First sample: the derivative starts from the measurement, not from 0.
func TestFirstSampleHasNoKick(t *testing.T) {
	in := Input{Setpoint: 80.5, Measured: 80, Step: time.Second}
	s, u, ok := Step(steady, State{}, in)
	require.True(t, ok)
	assert.InDelta(t, 0.05, u, 1e-12, "gain times error")
	assert.Zero(t, s.Slope)
	assert.Equal(t, quantity.Celsius(80), s.Filtered)
	for _, step := range []time.Duration{0, -1, math.MaxInt64} {
		in.Step = step
		again, _, ok := Step(steady, State{}, in)
		assert.True(t, ok, "no time before the first sample")
		assert.Equal(t, s, again)
	}
}

func TestRefusesWhatItCannotUse(t *testing.T) {
	base := Input{Setpoint: 70, Measured: 66, Step: time.Second, Delivered: 0.4, Window: time.Second}
	s, _, ok := Step(steady, State{}, base)
	require.True(t, ok)
	s, want, ok := Step(steady, s, base)
	require.True(t, ok)
	require.Greater(t, want, 0.3)
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for name, change := range map[string]func(*Input){
			"setpoint":     func(in *Input) { in.Setpoint = quantity.Celsius(bad) },
			"measured":     func(in *Input) { in.Measured = quantity.Celsius(bad) },
			"rate":         func(in *Input) { in.SetpointRate = quantity.KelvinPerSecond(bad) },
			"feed-forward": func(in *Input) { in.FeedForward = bad },
			"delivered":    func(in *Input) { in.Delivered = bad },
		} {
			in := base
			change(&in)
			next, duty, ok := Step(steady, s, in)
			assert.False(t, ok, name)
			assert.Zero(t, duty, name)
			assert.Equal(t, s.Integral, next.Integral, name)
			// The probe comes back 5 K lower: no slope may be made of the gap.
			in = base
			in.Measured = 61
			next, _, ok = Step(steady, next, in)
			assert.True(t, ok, name)
			assert.Zero(t, next.Slope, name)
		}
	}
	for _, tuning := range []Tuning{
		{},
		{Gain: -1}, {Gain: math.NaN()}, {Gain: math.Inf(1)},
		{Gain: 1, SetpointWeight: -0.1}, {Gain: 1, SetpointWeight: 1.1}, {Gain: 1, SetpointWeight: math.NaN()},
		{Gain: 1, Integral: -1}, {Gain: 1, Derivative: -1}, {Gain: 1, Filter: -1},
	} {
		_, duty, ok := Step(tuning, s, base)
		assert.False(t, ok, "%+v", tuning)
		assert.Zero(t, duty)
	}
	for _, step := range []time.Duration{0, -time.Second, math.MinInt64} {
		in := base
		in.Step = step
		next, duty, ok := Step(steady, s, in)
		assert.False(t, ok)
		assert.Equal(t, want, duty, "held")
		assert.Equal(t, s, next, "unchanged")
	}
	for _, step := range []time.Duration{MaxStep + 1, time.Hour, math.MaxInt64} {
		in := base
		in.Step, in.Measured = step, 40
		next, duty, ok := Step(steady, s, in)
		assert.False(t, ok)
		assert.Equal(t, want, duty, "held")
		assert.Equal(t, s.Integral, next.Integral, "no integral step")
		in.Step = time.Second
		next, _, ok = Step(steady, next, in)
		assert.True(t, ok)
		assert.Zero(t, next.Slope)
	}
	huge := base
	huge.Setpoint, huge.Measured = math.MaxFloat64, -math.MaxFloat64
	next, duty, ok := Step(steady, s, huge)
	assert.False(t, ok)
	assert.Zero(t, duty)
	assert.Equal(t, State{}, next, "starts again")
}

// Whatever comes in, the duty stays within 0..1 and the state holds numbers.
func TestAlwaysWithinRange(t *testing.T) {
	anyFloat := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-300, 1000),
		rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, math.MaxFloat64, 5e-324}))
	anySpan := rapid.OneOf(rapid.Map(rapid.Int64(), func(d int64) time.Duration { return time.Duration(d) }),
		rapid.Map(rapid.Float64Range(0, 2000), span))
	tuning := rapid.Custom(func(t *rapid.T) Tuning {
		return Tuning{
			Gain: math.Abs(anyFloat.Draw(t, "gain")), Integral: anySpan.Draw(t, "integral"), Derivative: anySpan.Draw(t, "derivative"),
			Filter: anySpan.Draw(t, "filter"), SetpointWeight: rapid.Float64Range(0, 1).Draw(t, "weight"),
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		now := tuning.Draw(t, "tuning")
		var s State
		for range 60 {
			in := Input{
				Setpoint: quantity.Celsius(anyFloat.Draw(t, "setpoint")), Measured: quantity.Celsius(anyFloat.Draw(t, "measured")),
				SetpointRate: quantity.KelvinPerSecond(anyFloat.Draw(t, "rate")),
				Step:         anySpan.Draw(t, "step"), FeedForward: anyFloat.Draw(t, "feed-forward"),
				Delivered: anyFloat.Draw(t, "delivered"), Window: anySpan.Draw(t, "window"),
			}
			var duty float64
			var ok bool
			s, duty, ok = Step(now, s, in)
			require.True(t, duty >= 0 && duty <= 1, "duty %v", duty)
			require.True(t, s.finite(), "%+v", s)
			require.Equal(t, duty, s.Duty)
			_ = ok
		}
	})
}

func FuzzStep(f *testing.F) {
	f.Add(0.1, int64(480e9), int64(40e9), int64(4e9), 1.0, 70.0, 60.0, 0.0, int64(1e9), 0.1, 0.5, int64(20e9))
	f.Add(math.NaN(), int64(-1), int64(0), int64(0), 0.0, math.Inf(1), math.NaN(), 0.0, int64(0), 0.0, 0.0, int64(0))
	f.Fuzz(func(t *testing.T, gain float64, ti, td, tf int64, weight, setpoint, measured, rate float64, step int64, feed, delivered float64, window int64) {
		tuning := Tuning{Gain: gain, Integral: time.Duration(ti), Derivative: time.Duration(td), Filter: time.Duration(tf), SetpointWeight: weight}
		in := Input{
			Setpoint: quantity.Celsius(setpoint), Measured: quantity.Celsius(measured), SetpointRate: quantity.KelvinPerSecond(rate),
			Step: time.Duration(step), FeedForward: feed, Delivered: delivered, Window: time.Duration(window),
		}
		var s State
		for i := range 20 {
			if i%5 == 4 {
				in.Measured = -in.Measured
			}
			var duty float64
			s, duty, _ = Step(tuning, s, in)
			if !(duty >= 0 && duty <= 1) || !s.finite() {
				t.Fatalf("duty %v, %+v", duty, s)
			}
		}
	})
}

// Bumpless: a new stage's jump of the setpoint acts with its weight, the integral holds.
func TestNewSetpoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tuning := steady
		tuning.SetpointWeight = rapid.Float64Range(0, 1).Draw(t, "weight")
		tuning.Gain = rapid.Float64Range(0.01, 0.5).Draw(t, "gain")
		in := Input{Setpoint: quantity.Celsius(rapid.Float64Range(20, 90).Draw(t, "setpoint")), Step: time.Second, Window: time.Second,
			Measured: quantity.Celsius(rapid.Float64Range(0, 90).Draw(t, "start")), Delivered: rapid.Float64Range(0, 1).Draw(t, "delivered")}
		var free State
		for range 80 { // until the filter is at rest
			var ok bool
			free, _, ok = Step(tuning, free, in)
			require.True(t, ok)
		}
		before := in
		in.Setpoint++
		staged, still := free, free
		sum := staged.observe(&tuning, &in)
		require.InDelta(t, free.Integral-tuning.Gain*(1-tuning.SetpointWeight), staged.Integral, 1e-9)
		require.InDelta(t, tuning.Gain*tuning.SetpointWeight, sum-still.observe(&tuning, &before), 1e-9)
	})
}

func TestStateSurvivesTheRecord(t *testing.T) {
	var s State
	for i := range 50 {
		s, _, _ = Step(steady, s, Input{Setpoint: 70, Measured: quantity.Celsius(60 + math.Sqrt(float64(i))), Step: 900 * time.Millisecond, Delivered: 0.3})
	}
	text, err := json.Marshal(s)
	require.NoError(t, err)
	var back State
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, s, back)
	assert.True(t, s == back)
}

// The same inputs must give the same bits on every processor, so that a record
// replays. The plant here uses no function of package math, whose last bit differs
// between processors. The sum was taken on amd64 and met on 386; an arm64 that
// fuses a product into a sum would miss it.
func TestSameBitsEverywhere(t *testing.T) {
	tuning, err := SIMC(Model{GainKelvin: 97, Lag: 1210 * time.Second, SecondLag: 123 * time.Second, DeadTime: 31 * time.Second}, 0)
	require.NoError(t, err)
	tuning.SetpointWeight = 0.7
	sum := fnv.New64a()
	var s State
	x1, x2, u := 20.0, 20.0, 0.0
	for i := range 20_000 {
		target := 55.0
		if i > 8000 {
			target = 75 - float64(i%500)/100
		}
		s, u, _ = Step(tuning, s, Input{
			Setpoint: quantity.Celsius(target), Measured: quantity.Celsius(x2), SetpointRate: -0.01, Step: 997 * time.Millisecond,
			FeedForward: 0.01, Delivered: u, Window: time.Second,
		})
		x1 += float64(0.0008 * (20 + float64(97*u) - x1))
		x2 += float64(0.008 * (x1 - x2))
		fmt.Fprintf(sum, "%x %x %x %x %x\n", float64(s.Filtered), float64(s.Slope), s.Integral, s.Duty, s.Withheld)
	}
	assert.Equal(t, uint64(0xfaaecce4f5dc2f5), sum.Sum64(), "%x", sum.Sum64())
}

func ExampleStep() {
	chamber := Model{GainKelvin: 100, Lag: 20 * time.Minute, SecondLag: 2 * time.Minute, DeadTime: 30 * time.Second}
	tuning, err := SIMC(chamber.Sampled(0, time.Second), 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	var s State
	var duty float64
	room := newPlant(chamber, time.Second)
	rise := 0.0
	for second := range 1801 {
		s, duty, _ = Step(tuning, s, Input{
			Setpoint: 75, Measured: quantity.Celsius(20 + rise),
			Step: time.Second, Delivered: duty, Window: time.Second,
		})
		if second%300 == 0 {
			fmt.Printf("%2d min %4.1f °C duty %.2f\n", second/60, 20+rise, duty)
		}
		rise = room.step(duty)
	}
	// Output:
	//  0 min 20.0 °C duty 1.00
	//  5 min 32.4 °C duty 1.00
	// 10 min 51.0 °C duty 1.00
	// 15 min 66.2 °C duty 1.00
	// 20 min 74.6 °C duty 0.54
	// 25 min 75.1 °C duty 0.55
	// 30 min 75.0 °C duty 0.55
}

func BenchmarkStep(b *testing.B) {
	var s State
	in := Input{Setpoint: 70, Measured: 69.5, Step: time.Second, Delivered: 0.5, Window: 20 * time.Second}
	b.ReportAllocs()
	for b.Loop() {
		s, in.Delivered, _ = Step(steady, s, in)
	}
}
