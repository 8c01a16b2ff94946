package chart

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata" // the zone tests must not depend on the machine

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func labels(ticks []tick) []string {
	var out []string
	for _, t := range ticks {
		out = append(out, t.label)
	}
	return out
}

func TestValueTicks(t *testing.T) {
	for _, c := range []struct {
		lo, hi, least float64
		want          []string
	}{
		{0, 90, 11, []string{"0", "20", "40", "60", "80"}},
		{-20, 20, 7, []string{"−20", "−10", "0", "10", "20"}},
		{3, 4.1, 0.2, []string{"3.0", "3.2", "3.4", "3.6", "3.8", "4.0"}},
		{-0.1, 0.1, 0.1, []string{"−0.1", "0", "0.1"}},
		{0, 4e8, 1e8, []string{"0", "1e+08", "2e+08", "3e+08", "4e+08"}},
	} {
		assert.Equal(t, c.want, labels(valueTicks(c.lo, c.hi, valueStep(c.least))))
	}
	for least, want := range map[float64]float64{1: 1, 1.1: 2, 2.1: 5, 5.1: 10, 0.03: 0.05, 700: 1000} {
		assert.InEpsilon(t, want, valueStep(least), 1e-9, "%g", least)
	}
	for least, want := range map[float64]float64{0.03: 0.05, 3: 5, 12: 20, 21: 25, 26: 50, 60: 100, 300: 500} {
		assert.InEpsilon(t, want, percentStep(least), 1e-9, "%g", least)
	}
}

// Steps by span, for a plot of 900 px and one of 300 px.
func TestElapsedTickSteps(t *testing.T) {
	for _, c := range []struct {
		hours, pixels float64
		second        string
	}{
		{12, 900, "1 h"}, {12, 300, "2 h"},
		{4, 900, "15 min"}, {4, 300, "1 h"},
		{6, 900, "30 min"}, {14, 900, "1 h"}, {14, 300, "2 h"},
		{1, 900, "5 min"}, {0.1, 900, "30 s"}, {10.0 / 3600, 900, "1 s"},
		{72, 900, "4 h"}, {24 * 30, 900, "2 d"}, {24 * 365, 900, "28 d"},
	} {
		x1 := c.hours * 3600
		ticks := timeTicks(0, x1, x1/c.pixels, func(step float64) []tick { return elapsedTicks(0, x1, step) },
			func(s string) float64 { return textWidth(s, textSize, false) })
		require.Greater(t, len(ticks), 1)
		assert.Equal(t, "0", ticks[0].label)
		assert.Equal(t, c.second, ticks[1].label, "%v h on %v px: %v", c.hours, c.pixels, labels(ticks))
	}
}

func TestElapsedLabels(t *testing.T) {
	for _, c := range []struct {
		seconds, step float64
		want          string
	}{
		{0, 1, "0"}, {45, 15, "45 s"}, {60, 30, "1 min"}, {90, 30, "1 min 30"}, {1800, 1800, "30 min"},
		{3600, 1800, "1 h"}, {5400, 1800, "1 h 30"}, {3690, 30, "1 h 1 min 30"}, {36 * 3600, 43200, "36 h"},
		{86400, 86400, "1 d"}, {-1800, 1800, "−30 min"}, {-0.4, 1, "0"},
	} {
		assert.Equal(t, c.want, elapsedLabel(c.seconds, c.step))
	}
}

func TestSpell(t *testing.T) {
	for seconds, want := range map[float64]string{
		0: "0 s", 45: "45 s", 60: "1 min", 95: "1 min 35 s", 2700: "45 min", 7200: "2 h", 7529: "2 h 5 min", 9000: "2 h 30 min", -60: "−1 min", -0.4: "0 s", -0.5: "−1 s", 3599: "1 h",
	} {
		assert.Equal(t, want, spell(seconds))
	}
}

func TestClockTicks(t *testing.T) {
	start := time.Date(2026, 3, 14, 21, 40, 0, 0, time.UTC)
	ticks := clockTicks(start, 0, 5*3600, 3600)
	assert.Equal(t, []string{"22:00", "23:00", "15 Mar", "01:00", "02:00"}, labels(ticks))
	assert.Equal(t, 1200.0, ticks[0].at)
	assert.Equal(t, []string{"21:40:00", "21:40:30"}, labels(clockTicks(start, 0, 59, 30)))
	assert.Equal(t, []string{"21:00"}, labels(clockTicks(start, -3600, 0, 3600)))
}

// Directive 2000/84/EC: summer time begins and ends at 01:00 UTC on the last
// Sunday of March and of October; in 2026 these are 29 March and 25 October.
func TestClockTicksAcrossSummerTime(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	spring := time.Date(2026, 3, 28, 22, 0, 0, 0, berlin)
	ticks := clockTicks(spring, 0, 8*3600, 2*3600)
	assert.Equal(t, []string{"22:00", "29 Mar", "03:00", "04:00", "06:00"}, labels(ticks), "02:00 does not exist that night")
	assert.Equal(t, 7*3600.0, ticks[4].at, "06:00 comes an hour early")
	autumn := time.Date(2026, 10, 24, 22, 0, 0, 0, berlin)
	ticks = clockTicks(autumn, 0, 9*3600, 2*3600)
	require.Equal(t, "04:00", ticks[3].label)
	assert.Equal(t, 7*3600.0, ticks[3].at, "04:00 comes an hour late")
}

func TestNumbers(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.04: "0", -0.04: "0", 0.5: ".5", -0.5: "-.5", 12: "12", 12.34: "12.3", -3.96: "-4", 1e6: "1000000"} {
		assert.Equal(t, want, string(number(nil, v)))
	}
	assert.Equal(t, "0", plain(0))
	assert.Equal(t, "0.0123", plain(0.0123))
	assert.Equal(t, "71.3", plain(71.26))
	assert.Equal(t, "−4.0", plain(-4.01))
	assert.NotPanics(t, func() { plain(math.SmallestNonzeroFloat64) })
}

func TestTextFitting(t *testing.T) {
	assert.Equal(t, "smoke", shorten("smoke", 11, false, 100))
	assert.Equal(t, "Light t…", shorten("Light the smoke generator", 11, false, 50))
	assert.Equal(t, "…", shorten("smoke", 11, false, 0))
	assert.Equal(t, []string{"Light the", "smoke…"}, wrap("Light the smoke generator now", 11, false, 55, 2))
	assert.Nil(t, wrap("", 11, false, 55, 2))
	assert.Equal(t, "a b", clean(" a\n\t b\x07 "))
	assert.Equal(t, 400, len([]rune(clean(string(make([]rune, 9))+"x"+string(bytesOf('y', 900))))))
}

func bytesOf(c byte, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = c
	}
	return b
}
