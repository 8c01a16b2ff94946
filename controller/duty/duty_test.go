package duty

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// carry is the rule that the package works by, kept as plain as possible: one call
// for a whole window, on-seconds in floating point.
//
//	debt += due (that is d·W); on = clip(debt, 0, W)
//	if on < minOn -> 0; else if W-on < minOff -> W when debt >= W, else W-minOff
//	debt -= on
//
// Source: first-order sigma-delta on on-seconds with least pulse and gap, worked
// out for this project; no publication.
func carry(debt, due, window, minOn, minOff float64) (on, left float64) {
	debt += due
	on = min(max(debt, 0), window)
	switch {
	case on < minOn:
		on = 0
	case window-on < minOff && debt >= window:
		on = window
	case window-on < minOff:
		on = window - minOff
	}
	return on, debt - on
}

// run calls Step for whole windows with a steady demand and returns the on-time
// and the lowest and highest debt at the window edges.
func run(l Limits, s State, demand float64, dt time.Duration, windows int) (State, time.Duration, time.Duration, time.Duration) {
	var on, low, high time.Duration
	for range windows {
		for t := time.Duration(0); t < l.Window; t += dt {
			var closed bool
			s, closed = Step(l, s, demand, dt)
			if s.Elapsed == 0 {
				low, high = min(low, s.Debt), max(high, s.Debt)
			}
			if closed {
				on += dt
			}
		}
	}
	return s, on, low, high
}

// W = 10 s, MinOn = MinOff = 2 s, 100 000 windows. The columns "mean" and "debt"
// are computed here by the plain rule above as well as by Step. In exact
// arithmetic the debt at duty 0.02 tops out at 1.8 s: the tenth window brings it
// to 2.0 s and pays it. Adding 0.2 ten times in binary floating point stays just
// below 2, so the plain rule pays one window later and shows 2.0 s there.
func TestCarryTable(t *testing.T) {
	const windows = 100_000
	for _, row := range []struct {
		demand            float64
		debt, debtInFloat float64
	}{
		{0.02, 1.8, 2.0},
		{0.05, 1.5, 1.5},
		{0.19, 1.9, 1.9},
		{0.81, 1.9, 1.9},
		{0.95, 1.5, 1.5},
		{0.99, 1.9, 1.9},
	} {
		t.Run(fmt.Sprint(row.demand), func(t *testing.T) {
			var on, debt, low, high float64
			for range windows {
				var o float64
				o, debt = carry(debt, row.demand*10, 10, 2, 2)
				on += o
				low, high = min(low, debt), max(high, debt)
			}
			assert.InDelta(t, row.demand, on/(windows*10), 2.0/(windows*10), "plain rule: mean")
			assert.InDelta(t, 0, low, 1e-9, "plain rule: least debt")
			assert.InDelta(t, row.debtInFloat, high, 1e-6, "plain rule: greatest debt")

			l := Limits{Window: 10 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
			const fewer = windows / 10 // a hundred steps each
			s, total, least, most := run(l, State{}, row.demand, 100*time.Millisecond, fewer)
			assert.InDelta(t, row.demand, total.Seconds()/(fewer*10), 2.0/(fewer*10), "mean duty")
			assert.Equal(t, time.Duration(0), least, "least debt")
			assert.InDelta(t, row.debt, most.Seconds(), 1e-9, "greatest debt")
			assert.LessOrEqual(t, s.Operations(), uint64(fewer), "one pulse a window")
		})
	}
}

// What the carry is for: leaving short pulses out delivers 0 or 1, rounding them
// up delivers 0.20 or 0.80.
func TestCarryBeatsDroppingAndRounding(t *testing.T) {
	for _, row := range []struct{ demand, drop, round float64 }{
		{0.02, 0, 0.2}, {0.05, 0, 0.2}, {0.19, 0, 0.2}, {0.81, 1, 0.8}, {0.95, 1, 0.8}, {0.99, 1, 0.8},
	} {
		drop, round := row.demand*10, row.demand*10
		if drop < 2 {
			drop, round = 0, 2
		} else if 10-drop < 2 {
			drop, round = 10, 8
		}
		assert.InDelta(t, row.drop, drop/10, 1e-12)
		assert.InDelta(t, row.round, round/10, 1e-12)
		l := Limits{Window: 10 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
		_, on, _, _ := run(l, State{}, row.demand, time.Second, 1000)
		assert.Less(t, math.Abs(on.Seconds()/1e4-row.demand), min(math.Abs(row.drop-row.demand), math.Abs(row.round-row.demand)))
	}
}

// The demand changes at window edges only: then Step must do what the plain rule
// does, window by window.
func TestMatchesPlainRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Counted in steps, and a step of so many nanoseconds that any due step count
		// is a whole number of them at every call.
		minOn := rapid.IntRange(1, 32).Draw(t, "minOn")
		minOff := rapid.IntRange(0, 32).Draw(t, "minOff")
		steps := rapid.IntRange(minOn+minOff, 160).Draw(t, "window")
		dt := time.Duration(steps) * 2 * time.Millisecond
		l := Limits{Window: time.Duration(steps) * dt, MinOn: time.Duration(minOn) * dt, MinOff: time.Duration(minOff) * dt}
		var s State
		var debt float64 // in steps
		for range 40 {
			due := rapid.IntRange(0, steps).Draw(t, "due")
			demand := float64(due) / float64(steps)
			var want float64
			want, debt = carry(debt, float64(due), float64(steps), float64(minOn), float64(minOff))
			switch due { // 0 and 1 never switch, whatever is owed
			case 0:
				debt += want
				want = 0
			case steps:
				debt += want - float64(steps)
				want = float64(steps)
			}
			var on int
			for range steps {
				var closed bool
				s, closed = Step(l, s, demand, dt)
				if closed {
					on++
				}
			}
			require.Equal(t, int(math.Round(want)), on, "due %d of %d, debt after %g", due, steps, debt)
			require.GreaterOrEqual(t, debt, 0.0)
			require.Less(t, debt, float64(max(minOn, minOff)))
		}
	})
}

// watch checks what must hold after every call, on the caller's own clock.
type watch struct {
	limits   Limits
	since    time.Duration // in the present relay state
	on       bool
	seen     bool // the relay has switched
	closures uint64
}

func (w *watch) check(t require.TestingT, s State, on bool, passed time.Duration) {
	w.since += passed
	if on != w.on {
		if w.on {
			require.GreaterOrEqual(t, w.since, w.limits.MinOn, "pulse too short")
		} else if w.seen {
			require.GreaterOrEqual(t, w.since, w.limits.MinOff, "gap too short")
		}
		if on {
			w.closures++
		}
		w.on, w.since, w.seen = on, 0, true
	}
	require.Equal(t, on, s.On)
	require.Equal(t, w.closures, s.Operations())
	delivered := s.Delivered()
	require.True(t, delivered >= 0 && delivered <= 1, "delivered %v", delivered)
}

func drawLimits(t *rapid.T) Limits {
	seconds := rapid.Custom(func(t *rapid.T) time.Duration {
		return time.Duration(rapid.IntRange(0, 12_000).Draw(t, "ms")) * time.Millisecond
	})
	l := Limits{MinOn: seconds.Draw(t, "minOn"), MinOff: seconds.Draw(t, "minOff")}
	l.Window = l.MinOn + l.MinOff + time.Duration(rapid.IntRange(1, 60_000).Draw(t, "room"))*time.Millisecond
	return l
}

// Any demand at any call, calls at irregular times: contacts are spared, and
// what was asked for and what was given never part by more than one window and
// the longest least time, unless the carry gave up time that came too late.
func TestContactsSparedWhatever(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLimits(t)
		w := watch{limits: l}
		var s State
		steady := rapid.Bool().Draw(t, "steady")
		demand := 0.0
		for i := range 300 {
			if !steady || i%37 == 0 {
				demand = rapid.SampledFrom([]float64{0, 1, math.NaN(), -1, 2, 0.5, rapid.Float64Range(0, 1).Draw(t, "d")}).Draw(t, "demand")
			}
			dt := time.Duration(rapid.IntRange(0, 3000).Draw(t, "dt")) * time.Millisecond
			passed := dt
			if i == 0 {
				passed = 0
			}
			var on bool
			s, on = Step(l, s, demand, dt)
			w.check(t, s, on, passed)
			most := l.Window + max(l.MinOn, l.MinOff) + 6*time.Second
			require.LessOrEqual(t, s.Debt, most)
			require.GreaterOrEqual(t, s.Debt, -most)
			if rapid.IntRange(0, 60).Draw(t, "trip") == 0 {
				s = Trip(s)
				require.False(t, s.On)
				require.Zero(t, s.Debt)
				require.Equal(t, s, Trip(s), "tripping twice")
				if w.on { // MinOn may be cut short by a trip, nothing else
					w.on, w.since, w.seen = false, 0, true
				}
			}
		}
	})
}

// A steady demand is delivered exactly in the mean, with any window of four steps
// or more, whether or not the steps fit in it.
func TestSteadyMeanIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLimits(t)
		demand := rapid.Float64Range(0, 1).Draw(t, "demand")
		base := time.Duration(rapid.IntRange(100, 2500).Draw(t, "dt")) * time.Millisecond
		l.Window = max(l.Window, 4*base)
		jitter := rapid.IntRange(0, 100).Draw(t, "jitter")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		var s State
		var on bool
		var asked, given float64
		for i := range 3000 {
			dt := base + time.Duration(random.IntN(2*jitter+1)-jitter)*time.Millisecond/2
			if i > 0 {
				asked += demand * dt.Seconds()
				if on {
					given += dt.Seconds()
				}
			}
			s, on = Step(l, s, demand, dt)
		}
		bound := l.Window + max(l.MinOn, l.MinOff) + 2*base
		require.InDelta(t, asked, given, bound.Seconds())
		require.InDelta(t, asked-given, s.Debt.Seconds(), 1e-4, "nothing was struck from the account")
	})
}

// The mean stays exact under a demand that moves all the time, as a controller's
// does, as long as it does not jump by more than the window can follow.
func TestWanderingMeanIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Limits{Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
		demand := rapid.Float64Range(0, 1).Draw(t, "demand")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		var s State
		var on bool
		var asked, given float64
		for i := range 3000 {
			if i > 0 {
				asked += demand
				if on {
					given++
				}
			}
			demand = min(max(demand+0.02*random.Float64()-0.01, 0), 1)
			s, on = Step(l, s, demand, time.Second)
		}
		require.InDelta(t, asked, given, 5)
	})
}

func TestNoneAndFullNeverSwitch(t *testing.T) {
	for _, l := range []Limits{
		{Window: 10 * time.Second, MinOn: 2 * time.Second, MinOff: 5 * time.Second},
		{Window: 7 * time.Second},
		{Window: 300 * time.Millisecond}, // shorter than the step
		{},
	} {
		var s State
		var on bool
		for range 1000 {
			s, on = Step(l, s, 0, time.Second)
			require.False(t, on)
		}
		assert.Zero(t, s.Operations())
		assert.Zero(t, s.Delivered())
		for range 1000 {
			s, _ = Step(l, s, 1, time.Second)
		}
		assert.Equal(t, uint64(1), s.Operations())
		assert.Equal(t, 1.0, s.Delivered())
		// A gap longer than the pulse leaves up to MinOff owed; no demand, no heat.
		for range 7 {
			s, _ = Step(l, s, 0.8, time.Second)
		}
		before := s.Operations()
		for range 1000 {
			s, _ = Step(l, s, 0, time.Second)
		}
		assert.Equal(t, before, s.Operations())
		assert.False(t, s.On)
		assert.Zero(t, s.Delivered())
	}
}

func TestTripIsNotPaidBack(t *testing.T) {
	l := Limits{Window: 20 * time.Second, MinOn: 5 * time.Second, MinOff: 5 * time.Second}
	var s State
	s, _ = Step(l, s, 0.9, time.Second)
	for range 3 {
		s, _ = Step(l, s, 0.9, time.Second)
	}
	require.True(t, s.On)
	s = Trip(s)
	assert.False(t, s.On)
	assert.Zero(t, s.Debt)
	// An hour of being tripped, with the demand left where it was: nothing builds up.
	for range 3600 {
		s, _ = Step(l, s, 0.9, time.Second)
		s = Trip(s)
	}
	assert.Zero(t, s.Debt)
	assert.Zero(t, s.Delivered())
	s, on, _, _ := run(l, s, 0.5, time.Second, 3)
	assert.InDelta(t, 30, on.Seconds(), 5, "half of three windows and nothing of the hour")

	// The least off-time holds after a trip even at full demand.
	for !s.On {
		s, _ = Step(l, s, 1, time.Second)
	}
	s = Trip(s)
	off := 0
	for {
		var closed bool
		s, closed = Step(l, s, 1, time.Second)
		if closed {
			break
		}
		off++
	}
	assert.GreaterOrEqual(t, off, 4) // the closing call comes after the fifth second
	assert.Equal(t, State{}, Trip(State{}), "nothing to trip")
}

func TestDemandThatFallsEndsThePulse(t *testing.T) {
	l := Limits{Window: 20 * time.Second, MinOn: 3 * time.Second, MinOff: 2 * time.Second}
	s, on := Step(l, State{}, 0.9, time.Second)
	require.True(t, on)
	s, on = Step(l, s, 0, time.Second)
	assert.True(t, on, "MinOn holds")
	s, _ = Step(l, s, 0, time.Second)
	_, on = Step(l, s, 0, time.Second)
	assert.False(t, on, "after 3 s it ends")

	s, _ = Step(l, State{}, 0.9, time.Second)
	for range 8 {
		s, on = Step(l, s, 0.9, time.Second)
	}
	require.True(t, on)
	// 8 s given, 7.2 s earned: at 0.3 the rest of the window owes 2.8 s more.
	length := 8
	for on {
		s, on = Step(l, s, 0.3, time.Second)
		length++
	}
	assert.Equal(t, 11, length)
}

// Without a window the output is a plain switch at one half.
func TestPlainOutput(t *testing.T) {
	l := Limits{MinOn: 3 * time.Second}
	var s State
	var got strings.Builder
	for _, demand := range []float64{0, 0.49, 0.5, 0, 0, 0, 1, 1, 1, 1, math.NaN()} {
		var on bool
		s, on = Step(l, s, demand, time.Second)
		if on {
			got.WriteByte('#')
		} else {
			got.WriteByte('.')
		}
	}
	assert.Equal(t, "..###.####.", got.String())
	assert.Equal(t, uint64(2), s.Operations())
	assert.Equal(t, 1.0, s.Delivered(), "over the second before this call")
}

// A loop that stalls must not be paid for: little of it is remembered.
func TestStall(t *testing.T) {
	l := Limits{Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
	s, on := Step(l, State{}, 0.5, time.Second)
	require.True(t, on)
	s, on = Step(l, s, 0.5, time.Hour)
	assert.Equal(t, 1.0, s.Delivered(), "it was on all the time")
	assert.False(t, on)
	assert.GreaterOrEqual(t, s.Debt, -22*time.Second)
	s, _ = Step(l, s, 0.5, -time.Hour)
	assert.Equal(t, 1.0, s.Delivered())
	s, _ = Step(l, s, 0.5, math.MaxInt64)
	s, _ = Step(l, s, 0.5, math.MinInt64)
	assert.Zero(t, s.Delivered())
}

func TestDelivered(t *testing.T) {
	l := Limits{Window: 10 * time.Second}
	var s State
	assert.Zero(t, s.Delivered())
	s, _ = Step(l, s, 0.3, time.Second)
	assert.Zero(t, s.Delivered())
	s, _ = Step(l, s, 0.3, time.Second)
	assert.Equal(t, 1.0, s.Delivered(), "since the start")
	for range 5 {
		s, _ = Step(l, s, 0.3, time.Second)
	}
	assert.Equal(t, 0.5, s.Delivered(), "3 s of 6 s")
	for range 4 {
		s, _ = Step(l, s, 0.3, time.Second)
	}
	assert.Equal(t, 0.3, s.Delivered(), "first whole window")
}

// Contact wear of one operation a window: 3600/W an hour at most, so 100 000
// operations last 278, 556 and 833 h at 10, 20 and 30 s (arithmetic; 100 000 is a
// usual figure for relays, from memory).
func TestOperationsAnHour(t *testing.T) {
	for _, row := range []struct {
		window time.Duration
		hours  float64
	}{{10 * time.Second, 278}, {20 * time.Second, 556}, {30 * time.Second, 833}} {
		l := Limits{Window: row.window, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
		s, _, _, _ := run(l, State{}, 0.5, time.Second, int(time.Hour/row.window))
		assert.InDelta(t, row.hours, 1e5/float64(s.Operations()), 0.5)
	}
}

func FuzzStep(f *testing.F) {
	f.Add(int64(20e9), int64(2e9), int64(2e9), 0.5, 0.7, int64(1e9), int64(3e9))
	f.Add(int64(-1), int64(math.MaxInt64), int64(math.MaxInt64), math.NaN(), 1.0, int64(math.MaxInt64), int64(math.MinInt64))
	f.Fuzz(func(t *testing.T, window, minOn, minOff int64, first, second float64, dt, late int64) {
		l := Limits{Window: time.Duration(window), MinOn: time.Duration(minOn), MinOff: time.Duration(minOff)}
		var s State
		for i := range 50 {
			demand, by := first, time.Duration(dt)
			if i%7 == 3 {
				demand, by = second, time.Duration(late)
			}
			s, _ = Step(l, s, demand, by)
			if i%20 == 19 {
				s = Trip(s)
			}
			if d := s.Delivered(); !(d >= 0 && d <= 1) {
				t.Fatalf("delivered %v: %+v", d, s)
			}
			if s.Elapsed < 0 || s.OnTime < 0 || s.Held < 0 || s.Held > longest || s.OnTime > s.Elapsed {
				t.Fatalf("%+v", s)
			}
		}
	})
}

func ExampleStep() {
	limits := Limits{Window: 10 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
	for _, demand := range []float64{0, 0.05, 0.35, 0.95, 1} {
		var s State
		var line strings.Builder
		for second := range 40 {
			if second%10 == 0 && second > 0 {
				line.WriteByte(' ')
			}
			var on bool
			if s, on = Step(limits, s, demand, time.Second); on {
				line.WriteByte('#')
			} else {
				line.WriteByte('.')
			}
		}
		fmt.Printf("%4.2f  %s\n", demand, line.String())
	}
	// Output:
	// 0.00  .......... .......... .......... ..........
	// 0.05  .......... .......... .......... ##........
	// 0.35  ####...... ###....... ####...... ###.......
	// 0.95  ########.. ########## ########## ##########
	// 1.00  ########## ########## ########## ##########
}

func ExampleTrip() {
	limits := Limits{Window: 20 * time.Second, MinOn: 5 * time.Second, MinOff: 5 * time.Second}
	s, on := Step(limits, State{}, 0.8, time.Second)
	fmt.Println(on)
	s = Trip(s)
	fmt.Println(s.On, s.Debt)
	// Output:
	// true
	// false 0s
}

func BenchmarkStep(b *testing.B) {
	l := Limits{Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
	var s State
	b.ReportAllocs()
	for b.Loop() {
		s, _ = Step(l, s, 0.37, time.Second)
	}
}

// Cut has a short way for an output that rests. It must lead where the long one does.
func TestCutIsStepAndTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seconds := func(least, most int, name string) time.Duration {
			return time.Duration(rapid.IntRange(least, most).Draw(t, name)) * time.Second
		}
		l := Limits{Window: seconds(0, 60, "window"), MinOn: seconds(0, 40, "on"), MinOff: seconds(0, 40, "off")}
		var s State
		for range rapid.IntRange(1, 40).Draw(t, "calls") {
			dt := seconds(-1, 70, "dt")
			if rapid.Bool().Draw(t, "runs") {
				s, _ = Step(l, s, rapid.Float64Range(0, 1).Draw(t, "demand"), dt)
				continue
			}
			want, _ := Step(l, s, 0, dt)
			s.Cut(&l, dt)
			if s != Trip(want) {
				t.Fatalf("cut to %+v, stepped and tripped to %+v", s, Trip(want))
			}
		}
	})
}

// An output that is asked again after a rest gives its pulse at once, but not within MinOff,
// and pays nothing of before; one that is on keeps its window.
func TestAnewNeedNotWait(t *testing.T) {
	l := Limits{Window: time.Minute, MinOn: 5 * time.Second, MinOff: 5 * time.Second}
	var s State
	s, _ = Step(l, s, 1, time.Second)
	s.Cut(&l, time.Second)
	waits := s
	if _, on := Step(l, waits, 1, 10*time.Second); on {
		t.Fatal("a cut output gave a second pulse in its window")
	}
	s.Anew()
	if _, on := Step(l, s, 1, 4*time.Second); on {
		t.Fatal("the contacts were not open for their least time")
	}
	s, on := Step(l, s, 0.5, 5*time.Second)
	if !on {
		t.Fatal("an output that is asked anew waited")
	}
	before := s
	if s.Anew(); s != before {
		t.Fatalf("a closed output left its window: %+v, %+v", before, s)
	}
}
