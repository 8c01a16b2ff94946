package channel

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

var _ = Memory{} == Memory{} // comparable: tested with ==

// open lets everything pass.
var open = Settings{Lowest: -300, Highest: 2000}

// chamber is set as that of a cabinet with a limit of 110 °C.
var chamber = Settings{Lowest: -40, Highest: 300, Jump: Jump{Most: 15, Stays: 32 * time.Second, Hot: 110, HotStays: 5 * time.Second}}

// line is one channel that is read once a second.
type line struct {
	s   Settings
	m   Memory
	now time.Duration
}

// settled is a line that has read a value for long.
func settled(s Settings, v quantity.Celsius) *line {
	return &line{s: s, m: s.Settled(0, sensors.At(v))}
}

func (l *line) read(r sensors.Reading) sensors.Reading {
	l.now += time.Second
	return l.s.Read(&l.m, l.now, r)
}

// said is what comes of readings: a value, or a status.
func (l *line) said(values ...any) (got []string) {
	for _, v := range values {
		r := sensors.Reading{}
		switch v := v.(type) {
		case int:
			r = sensors.At(quantity.Celsius(v))
		case float64:
			r = sensors.At(quantity.Celsius(v))
		case sensors.Status:
			r = sensors.Fault(v)
		}
		r = l.read(r)
		if x, ok := r.Value(); ok {
			got = append(got, fmt.Sprint(float64(x)))
		} else {
			got = append(got, r.Status().String())
		}
	}
	return got
}

// during gives a value for so long and counts what comes of it.
func (l *line) during(d time.Duration, v quantity.Celsius) map[sensors.Status]int {
	got := map[sensors.Status]int{}
	for range int(d / time.Second) {
		got[l.read(sensors.At(v)).Status()]++
	}
	return got
}

func TestLimits(t *testing.T) {
	s := open
	s.Lowest, s.Highest = -20, 150
	assert.Equal(t, []string{"20", "out of range", "out of range", "20", "20"}, settled(s, 20).said(20, 151, -21, 20, 20))
	s.Calibration.Offset = 2 // what is true is held against them
	assert.Equal(t, []string{"150", "out of range"}, settled(s, 148).said(148, 149))
}

// The median takes single wrong readings out, as far as they may be.
func TestMedianDropsASpike(t *testing.T) {
	var l line
	l.s = open
	assert.Equal(t, []string{"not read", "not read", "20.5", "20.5", "20.75", "20.25", "20.75", "21"},
		l.said(20, 20.5, 95, 20.25, 20.75, -40, 21, 21))
	assert.Equal(t, []string{"70", "70", "70", "70"}, settled(chamber, 70).said(20, 70, 300, 70), "and no jump comes of them")
}

// The variance of the median of three samples of the normal distribution is
// 1 - √3/π of theirs (closed form; H. L. Jones, Annals of Mathematical Statistics 19,
// 1948, from memory).
func TestMedianQuietensNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	l := settled(open, 0)
	sum, n := 0.0, 100000
	for range n {
		v, ok := l.read(sensors.At(quantity.Celsius(r.NormFloat64()))).Value()
		require.True(t, ok)
		sum += float64(v * v)
	}
	assert.InDelta(t, 1-math.Sqrt(3)/math.Pi, sum/float64(n), 0.01)
}

func TestFaultsGoThrough(t *testing.T) {
	l := settled(chamber, 50)
	for s := sensors.Unread; s <= sensors.Implausible; s++ {
		if s != sensors.Good {
			assert.Equal(t, sensors.Fault(s), l.read(sensors.Fault(s)), "a fault is never smoothed away")
			assert.Equal(t, []string{"50"}, l.said(50), "a short one does not empty the window")
		}
	}
	for range 6 {
		l.read(sensors.Fault(sensors.Open))
	}
	assert.Equal(t, []string{"not read", "not read", "50"}, l.said(50, 50, 50), "a long one does")
	assert.Equal(t, Memory{}, l.s.Settled(0, sensors.Fault(sensors.Open)))
}

// Whoever has not looked for some time knows nothing.
func TestAPauseBeginsAnew(t *testing.T) {
	for _, pause := range []time.Duration{-time.Minute, 6 * time.Second, time.Hour} {
		l := settled(chamber, 50)
		l.now += pause
		assert.Equal(t, []string{"not read", "not read", "90"}, l.said(90, 90, 90), "%s", pause)
	}
	l := settled(chamber, 50)
	l.now += Gap - time.Second
	assert.Equal(t, []string{"50", "implausible"}, l.said(90, 90))
}

func TestJumps(t *testing.T) {
	const odd, not, open = "implausible", "not read", sensors.Open
	for name, row := range map[string]struct {
		from quantity.Celsius
		read []any
		want []string
	}{
		"the farthest":      {70, []any{85, 85, 100, 100}, []string{"70", "85", "85", "100"}},
		"a little farther":  {70, []any{85.5, 85.5, 85.5}, []string{"70", odd, odd}},
		"down, too":         {70, []any{40, 40, 40}, []string{"70", odd, odd}},
		"and back":          {70, []any{40, 40, 40, 69, 69, 69}, []string{"70", odd, odd, odd, "69", "69"}},
		"back to elsewhere": {70, []any{40, 40, 100, 100, 100, 60, 60}, []string{"70", odd, odd, odd, odd, odd, "60"}},
		"behind a plug":     {70, []any{open, open, 40, 40, 40}, []string{"open circuit", "open circuit", "70", odd, odd}},
		"behind a long one": {70, []any{open, open, open, open, open, open, 40, 40, 40, 40}, []string{
			"open circuit", "open circuit", "open circuit", "open circuit", "open circuit", "open circuit", not, not, odd, odd}},
		"it was never known": {70, []any{71}, []string{"71"}},
	} {
		l := settled(chamber, row.from)
		if name == "it was never known" {
			l.m.known = false
			l.m.window = [2]quantity.Celsius{20, 71}
		}
		assert.Equal(t, row.want, l.said(row.read...), name)
	}
	l := settled(Settings{Lowest: -40, Highest: 300}, 20)
	assert.Equal(t, []string{"20", "200", "200"}, l.said(200, 200, 200), "without the rule")
}

// A chamber that stays away is believed again when it has been lost for long enough,
// and then from where it is; a hot one sooner.
func TestWhatStaysIsBelieved(t *testing.T) {
	const good, odd = sensors.Good, sensors.Implausible
	for to, lost := range map[quantity.Celsius]int{40: 32, 100: 32, 109: 32, 110: 5, 250: 5} {
		l := settled(chamber, 70)
		got := l.during(time.Minute, to)
		assert.Equal(t, map[sensors.Status]int{good: 60 - lost, odd: lost}, got, "%v", to)
		assert.Equal(t, map[sensors.Status]int{good: 10}, l.during(10*time.Second, to+10), "%v", to)
		assert.Equal(t, map[sensors.Status]int{good: 1, odd: 9}, l.during(10*time.Second, 70), "the way back is as far: %v", to)
	}
	// A loose plug in between neither makes it believable nor starts the time again.
	l := settled(chamber, 70)
	assert.Equal(t, map[sensors.Status]int{good: 1, odd: 19}, l.during(20*time.Second, 40))
	l.said(sensors.Open, sensors.Open, sensors.Open)
	assert.Equal(t, map[sensors.Status]int{odd: 10, good: 20}, l.during(30*time.Second, 40))
}

// What was believed counts for two minutes without a reading; then the probe is judged
// afresh.
func TestWhatWasBelievedIsKept(t *testing.T) {
	for seconds, want := range map[int]string{118: "implausible", 125: "40"} {
		l := settled(chamber, 70)
		for range seconds {
			l.read(sensors.Fault(sensors.Open))
		}
		assert.Equal(t, []string{"not read", "not read", want}, l.said(40, 40, 40), "%d s", seconds)
	}
}

// The stated lag, on a ramp of 0.1 K/s read once a second, once the low-pass has
// settled: closed form of a first-order lag on a ramp (its error is rate times
// time constant) and of a median on a ramp (its middle). Read in steps of a
// second, the low-pass falls short of that by at most half a step.
func TestLagIsAsStated(t *testing.T) {
	for _, damping := range []time.Duration{0, time.Second, 8 * time.Second, 20 * time.Second} {
		s := chamber
		s.Damping = damping
		l := settled(s, 0)
		const rate = 0.1
		var r sensors.Reading
		for i := range 400 {
			r = l.read(sensors.At(quantity.Celsius(rate * float64(i))))
		}
		v, ok := r.Value()
		require.True(t, ok)
		assert.InDelta(t, s.Lag(time.Second).Seconds(), (rate*399-float64(v))/rate, 0.51, "%s", damping)
	}
}

// Closed form: a step through a first-order low-pass is at 1 - 1/e after the time
// constant, however it is sampled. The median lets it in one reading late.
func TestLowPassStepResponse(t *testing.T) {
	for _, interval := range []time.Duration{100 * time.Millisecond, time.Second, 5 * time.Second} {
		s := open
		s.Damping = 10 * time.Second
		m := s.Settled(0, sensors.At(0))
		s.Read(&m, 0, sensors.At(100))
		var r sensors.Reading
		for now := interval; now <= 10*time.Second; now += interval {
			r = s.Read(&m, now, sensors.At(100))
		}
		v, _ := r.Value()
		assert.InDelta(t, 100*(1-1/math.E), float64(v), 1e-9, "%v", interval)
	}
}

// A jump does not hide in the damping, and what is believed in the end is there at once.
func TestDampingHidesNoJump(t *testing.T) {
	s := chamber
	s.Damping = 30 * time.Second
	l := settled(s, 70)
	assert.Equal(t, map[sensors.Status]int{sensors.Good: 1, sensors.Implausible: 32}, l.during(33*time.Second, 40))
	assert.Equal(t, []string{"40"}, l.said(40))
}

func TestDoubt(t *testing.T) {
	raw := sensors.At(20)
	assert.NoError(t, chamber.Doubt(raw, raw))
	assert.NoError(t, chamber.Doubt(raw, sensors.Reading{}))
	assert.NoError(t, chamber.Doubt(sensors.Fault(sensors.Open), sensors.Fault(sensors.Open)))
	assert.ErrorContains(t, chamber.Doubt(raw, sensors.Fault(sensors.OutOfRange)), "out of range: outside -40 °C to 300 °C;")
	assert.EqualError(t, chamber.Doubt(raw, sensors.Fault(sensors.Implausible)), "implausible: it jumped by more than 15 K; check for a loose contact, or wait: what stays for 32 s is believed")
}

// Whatever comes in: no number from a fault, none outside of what came in, and from one
// good reading to the next, unless it was lost for long in between, no jump.
func TestPropertyNothingIsInvented(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := chamber
		s.Jump.HotStays = 0
		s.Damping = rapid.SampledFrom([]time.Duration{0, time.Second, time.Minute}).Draw(r, "damping")
		var m Memory
		now, last, when := time.Duration(0), 0.0, time.Duration(-1)
		low, high := math.Inf(1), math.Inf(-1)
		for range rapid.IntRange(1, 60).Draw(r, "n") {
			now += time.Duration(rapid.Int64Range(0, int64(7*time.Second)).Draw(r, "dt"))
			in := sensors.Fault(sensors.BusError)
			if rapid.IntRange(0, 5).Draw(r, "fault") != 0 {
				v := rapid.Float64Range(-40, 300).Draw(r, "v")
				low, high = min(low, v), max(high, v)
				in = sensors.At(quantity.Celsius(v))
			}
			anew := m.called && now-m.at > Gap
			v, ok := s.Read(&m, now, in).Value()
			if anew {
				when = -1
			}
			if !ok {
				continue
			}
			if in.Status() != sensors.Good {
				r.Fatal("a number from a fault")
			}
			if float64(v) < low-1e-9 || float64(v) > high+1e-9 {
				r.Fatalf("%v is outside %v..%v", float64(v), low, high)
			}
			if when >= 0 && s.Damping == 0 && now-when < s.Jump.Stays && math.Abs(float64(v)-last) > 15 {
				r.Fatalf("from %v to %v within %s", last, float64(v), now-when)
			}
			last, when = float64(v), now
		}
	})
}

func TestNoAllocation(t *testing.T) {
	s := chamber
	s.Damping = time.Second
	l := settled(s, 20)
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		l.read(sensors.At(20))
		l.read(sensors.Fault(sensors.Open))
		l.read(sensors.At(90))
	}))
}

func BenchmarkRead(b *testing.B) {
	l := settled(chamber, 20)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		l.read(sensors.At(20 + quantity.Celsius(i&3)))
	}
}

func Example() {
	s := Settings{
		Calibration: Calibration{Offset: -0.5},
		Lowest:      -40, Highest: 300,
		Jump: Jump{Most: 15, Stays: 4 * time.Second},
	}
	var m Memory
	for i, raw := range []quantity.Celsius{70.5, 70.6, 70.7, 250, 70.9, 40.5, 40.5, 40.5, 40.5, 40.5, 40.5} {
		r := s.Read(&m, time.Duration(i)*time.Second, sensors.At(raw))
		if v, ok := r.Value(); ok {
			fmt.Printf("%.1f read, %.1f °C\n", float64(raw), float64(v))
		} else {
			fmt.Printf("%.1f read, %s\n", float64(raw), r.Status())
		}
	}
	// Output:
	// 70.5 read, not read
	// 70.6 read, not read
	// 70.7 read, 70.1 °C
	// 250.0 read, 70.2 °C
	// 70.9 read, 70.4 °C
	// 40.5 read, 70.4 °C
	// 40.5 read, implausible
	// 40.5 read, implausible
	// 40.5 read, implausible
	// 40.5 read, implausible
	// 40.5 read, 40.0 °C
}
