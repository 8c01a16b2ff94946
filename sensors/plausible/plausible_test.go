package plausible

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/psychrometer"
)

var (
	_ = Track{} == Track{} // comparable: recorded whole, tested with ==
	_ = Window{} == Window{}
)

func statuses(l Limits, interval time.Duration, values ...quantity.Celsius) (s []sensors.Status) {
	var track Track
	for i, v := range values {
		var r sensors.Reading
		track, r = l.Check(track, time.Duration(i)*interval, sensors.At(v))
		s = append(s, r.Status())
	}
	return s
}

func TestLimits(t *testing.T) {
	const good, out, odd = sensors.Good, sensors.OutOfRange, sensors.Implausible
	chamber := Limits{Lowest: -20, Highest: 150, Rate: 2, Slack: 1}
	for _, row := range []struct {
		name   string
		values []quantity.Celsius
		want   []sensors.Status
	}{
		{"a slow rise", []quantity.Celsius{20, 21, 22.5, 23}, []sensors.Status{good, good, good, good}},
		{"too hot and too cold", []quantity.Celsius{20, 151, -21, 20.1}, []sensors.Status{good, out, out, good}},
		{"one wild value", []quantity.Celsius{20, 60, 20.5}, []sensors.Status{good, odd, good}},
		{"the very steepest", []quantity.Celsius{20, 23, 26.001}, []sensors.Status{good, good, odd}},
		{"a true jump is accepted in the end", []quantity.Celsius{4, 12, 12.1, 12.2, 12.3}, []sensors.Status{good, odd, odd, odd, good}},
		{"a fall as steep", []quantity.Celsius{20, 17, 13.999}, []sensors.Status{good, good, odd}},
		{"starts anywhere in the limits", []quantity.Celsius{149, 148}, []sensors.Status{good, good}},
	} {
		assert.Equal(t, row.want, statuses(chamber, time.Second, row.values...), row.name)
	}
	loose := Limits{Lowest: -20, Highest: 150}
	assert.Equal(t, []sensors.Status{good, good, good}, statuses(loose, time.Hour, 20, 120, 120), "zero does not look")
}

func TestLimitsPassFaultsOn(t *testing.T) {
	l := Limits{Lowest: -20, Highest: 150, Rate: 1}
	track, _ := l.Check(Track{}, 0, sensors.At(20))
	for s := sensors.Unread; s <= sensors.Implausible; s++ {
		if s == sensors.Good {
			continue
		}
		next, r := l.Check(track, time.Second, sensors.Fault(s))
		assert.Equal(t, sensors.Fault(s), r)
		assert.Equal(t, track, next)
	}
	// A clock that goes back does not make a rate of nothing.
	_, r := l.Check(track, -time.Hour, sensors.At(30))
	assert.Equal(t, sensors.Implausible, r.Status())
	_, r = l.Check(track, -time.Hour, sensors.At(20))
	assert.Equal(t, sensors.Good, r.Status(), "nor does it make a jump of none")
}

// The stated lag, on a ramp of 0.1 K/s read once a second, once the low-pass has
// settled: closed form of a first-order lag on a ramp (its error is rate times
// time constant) and of a median on a ramp (its middle). Read in steps of a
// second, the low-pass falls short of that by at most half a step.
func TestLagIsAsStated(t *testing.T) {
	for _, f := range []Filter{{}, {Median: 3}, {Median: 5}, {LowPass: 8 * time.Second}, {Median: 3, LowPass: 20 * time.Second}, {Median: 9, LowPass: time.Second}, {Median: 4}} {
		var w Window
		var r sensors.Reading
		const rate = 0.1
		for i := range 400 {
			w, r = f.Step(w, time.Duration(i)*time.Second, sensors.At(quantity.Celsius(rate*float64(i))))
		}
		v, ok := r.Value()
		require.True(t, ok)
		lag := (rate*399 - float64(v)) / rate
		assert.InDelta(t, f.Lag(time.Second).Seconds(), lag, 0.51, "%+v", f)
	}
}

func TestMedianDropsASpike(t *testing.T) {
	f := Filter{Median: 3}
	var w Window
	var got []string
	for i, v := range []quantity.Celsius{20, 20.1, 95, 20.2, 20.3, -40, 20.4} {
		var r sensors.Reading
		w, r = f.Step(w, time.Duration(i)*time.Second, sensors.At(v))
		if x, ok := r.Value(); ok {
			got = append(got, x.String())
		} else {
			got = append(got, r.Status().String())
		}
	}
	assert.Equal(t, []string{"not read", "not read", "20.1 °C", "20.2 °C", "20.3 °C", "20.2 °C", "20.3 °C"}, got)
}

// An even window has no middle and takes one reading more.
func TestEvenMedian(t *testing.T) {
	for median, readings := range map[int]int{0: 1, 1: 1, 2: 3, 3: 3, 4: 5, 8: 9, 9: 9, 99: 9} {
		var w Window
		r := sensors.Fault(sensors.Unread)
		n := 0
		for ; r.Status() == sensors.Unread; n++ {
			w, r = Filter{Median: median}.Step(w, time.Duration(n)*time.Second, sensors.At(20))
		}
		assert.Equal(t, readings, n, "median of %d", median)
		assert.Equal(t, time.Duration(readings-1)*time.Second/2, Filter{Median: median}.Lag(time.Second))
	}
}

// What calibration takes at most is the catalogue error of the worst common pair:
// wire of class 2 (IEC 60584-1, 2.5 K below 333 °C), a MAX31855 with 2 K for its gain
// and offset and 2 K for its cold junction (19-5793).
func TestFarthestIsTheCatalogueError(t *testing.T) {
	assert.Equal(t, 2.5+2+2, float64(farthest))
	for _, ice := range []quantity.Celsius{-6.5, 6.5} {
		_, err := TwoPoint(ice, BoilingPoint(101325)+ice*0.999, 101325)
		assert.NoError(t, err)
	}
}

func TestFilterAndFaults(t *testing.T) {
	f := Filter{Median: 3, LowPass: 10 * time.Second, Gap: 5 * time.Second}
	fill := func(f Filter) (w Window) {
		for i := range 5 {
			w, _ = f.Step(w, time.Duration(i)*time.Second, sensors.At(50))
		}
		return w
	}
	w := fill(f)
	w, r := f.Step(w, 5*time.Second, sensors.Fault(sensors.Open))
	assert.Equal(t, sensors.Fault(sensors.Open), r, "a fault is never smoothed away")
	w, r = f.Step(w, 6*time.Second, sensors.At(50))
	assert.Equal(t, sensors.At(50), r, "a short one does not empty the window")
	_, r = f.Step(w, 20*time.Second, sensors.At(80))
	assert.Equal(t, sensors.Unread, r.Status(), "a long pause does")
	w, _ = f.Step(w, 30*time.Second, sensors.Fault(sensors.Open))
	assert.Equal(t, Window{}, w)

	f.Gap = 0
	w, _ = f.Step(fill(f), 5*time.Second, sensors.Fault(sensors.BusError))
	assert.Equal(t, Window{}, w)
	_, r = f.Step(fill(f), -time.Second, sensors.At(50))
	assert.Equal(t, sensors.Unread, r.Status(), "a clock that goes back starts again")
	_, r = Filter{}.Step(Window{}, 0, sensors.At(7))
	assert.Equal(t, sensors.At(7), r)
}

// Closed form: a step through a first-order low-pass is at 1 - 1/e after the time
// constant, however it is sampled.
func TestLowPassStepResponse(t *testing.T) {
	for _, interval := range []time.Duration{100 * time.Millisecond, time.Second, 5 * time.Second} {
		f := Filter{LowPass: 10 * time.Second}
		w, _ := f.Step(Window{}, 0, sensors.At(0))
		var r sensors.Reading
		for now := interval; now <= 10*time.Second; now += interval {
			w, r = f.Step(w, now, sensors.At(100))
		}
		v, _ := r.Value()
		assert.InDelta(t, 100*(1-1/math.E), float64(v), 1e-9, "%v", interval)
	}
}

func TestPropertyFilterStaysWithinItsInput(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		f := Filter{
			Median:  rapid.IntRange(-1, 12).Draw(r, "median"),
			LowPass: time.Duration(rapid.Int64Range(0, int64(time.Minute)).Draw(r, "low-pass")),
			Gap:     time.Duration(rapid.Int64Range(0, int64(10*time.Second)).Draw(r, "gap")),
		}
		var w Window
		now := time.Duration(0)
		low, high := math.Inf(1), math.Inf(-1)
		for range rapid.IntRange(1, 40).Draw(r, "n") {
			now += time.Duration(rapid.Int64Range(0, int64(20*time.Second)).Draw(r, "dt"))
			in := sensors.Fault(sensors.BusError)
			if rapid.IntRange(0, 5).Draw(r, "fault") != 0 {
				v := rapid.Float64Range(-40, 200).Draw(r, "v")
				low, high = min(low, v), max(high, v)
				in = sensors.At(quantity.Celsius(v))
			}
			var out sensors.Reading
			w, out = f.Step(w, now, in)
			v, ok := out.Value()
			if ok && in.Status() != sensors.Good {
				r.Fatal("a number from a fault")
			}
			if ok && (float64(v) < low-1e-9 || float64(v) > high+1e-9) {
				r.Fatalf("%v is outside %v..%v", float64(v), low, high)
			}
		}
	})
}

// Boiling points from the steam table in Çengel and Boles, Thermodynamics, table
// A-4 (from memory): 101.42 kPa 100 °C, 84.609 kPa 95 °C, 70.183 kPa 90 °C. The
// pressure at 1500 m is 84.556 kPa in the ICAO standard atmosphere (from memory).
func TestBoilingPoint(t *testing.T) {
	for pascal, want := range map[float64]float64{101420: 100, 84609: 95, 70183: 90, psychrometer.PressureAt(1500): 94.98} {
		assert.InDelta(t, want, float64(BoilingPoint(pascal)), 0.05, "%v Pa", pascal)
	}
}

// By hand: a probe that reads 1 °C in ice and 96 °C where water boils at 95 °C is
// 1 K high throughout; one that reads 0 and 97 is 2 % too steep.
func TestTwoPoint(t *testing.T) {
	at95 := psychrometer.SaturationPressure(95)
	c, err := TwoPoint(1, 96, at95)
	require.NoError(t, err)
	assert.InDelta(t, -1, float64(c.Offset), 1e-6)
	assert.InDelta(t, 0, float64(c.Stretch), 1e-8)
	c, err = TwoPoint(0, 97, at95)
	require.NoError(t, err)
	v, _ := c.Apply(sensors.At(97 * 0.8)).Value()
	assert.InDelta(t, 95*0.8, float64(v), 1e-6)
	c, err = TwoPoint(-1.4, 97.1, at95)
	require.NoError(t, err)
	for read, truth := range map[quantity.Celsius]float64{-1.4: 0, 97.1: 95} {
		v, _ := c.Apply(sensors.At(read)).Value()
		assert.InDelta(t, truth, float64(v), 1e-6)
	}
	one, err := IcePoint(0.6)
	require.NoError(t, err)
	v, _ = one.Apply(sensors.At(72)).Value()
	assert.InDelta(t, 71.4, float64(v), 1e-9)
	assert.Equal(t, sensors.At(72), Calibration{}.Apply(sensors.At(72)), "zero changes nothing")
	assert.Equal(t, sensors.Fault(sensors.Open), c.Apply(sensors.Fault(sensors.Open)))
}

func TestCalibrationRefuses(t *testing.T) {
	nan := quantity.Celsius(math.NaN())
	for _, row := range []struct {
		ice, boiling quantity.Celsius
		pascal       float64
		want         string
	}{
		{8, 95, 101325, "in melting ice"},
		{6.6, 95, 101325, "more than 6.5 K off"},
		{-6.6, 95, 101325, "more than 6.5 K off"},
		{0, 106.6, 101325, "boils at 100 °C"},
		{nan, 95, 101325, "in melting ice"},
		{0, 90, 101325, "boils at 100 °C"},
		{0, nan, 101325, "boils at"},
		{0, 100, 1013.25, "50000..110000 Pa"},
		{0, 100, math.NaN(), "50000..110000 Pa"},
	} {
		_, err := TwoPoint(row.ice, row.boiling, row.pascal)
		assert.ErrorContains(t, err, row.want)
	}
}

func TestNoAllocation(t *testing.T) {
	l, f := Limits{Lowest: -20, Highest: 150, Rate: 5, Slack: 1}, Filter{Median: 5, LowPass: time.Second}
	var track Track
	var w Window
	now := time.Duration(0)
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		now += time.Second
		var r sensors.Reading
		track, r = l.Check(track, now, sensors.At(20))
		w, _ = f.Step(w, now, r)
	}))
}

func ExampleTwoPoint() {
	// 1500 m above the sea; the probe read 0.8 °C in slush and 96.2 °C in a rolling
	// boil.
	c, err := TwoPoint(0.8, 96.2, psychrometer.PressureAt(1500))
	if err != nil {
		fmt.Println(err)
		return
	}
	v, _ := c.Apply(sensors.At(72)).Value()
	fmt.Printf("water boils at %.1f °C, 72 °C is %.1f °C\n", float64(BoilingPoint(psychrometer.PressureAt(1500))), float64(v))
	// Output: water boils at 95.0 °C, 72 °C is 70.9 °C
}
