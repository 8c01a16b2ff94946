package ferment

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile/quantity"
)

type leg struct{ at, hours float64 }

func course(celsius bool, legs ...leg) Course {
	var c Course
	for _, l := range legs {
		at := quantity.Celsius(l.at)
		if !celsius {
			at = quantity.FromFahrenheit(l.at)
		}
		c = c.Add(at, true, time.Duration(l.hours*float64(time.Hour)))
	}
	return c
}

// Limits: FSIS-GD-2023-0002 (below 90 °F 1200, 90 to 100 °F 1000, above 900) and CFIA (below
// 33 °C 665, 33 to 37 °C 555, above 500), both as quoted; the sums are own.
func TestDegreeHours(t *testing.T) {
	for name, c := range map[string]struct {
		of    *Table
		legs  []leg
		want  float64
		limit float64
	}{
		"80 °F 55 h":              {&FSIS, []leg{{80, 55}}, 1100, 1200},
		"90 °F 40 h":              {&FSIS, []leg{{90, 40}}, 1200, 1000},
		"100 °F 25 h":             {&FSIS, []leg{{100, 25}}, 1000, 1000},
		"101 °F 22 h":             {&FSIS, []leg{{101, 22}}, 902, 900},
		"75, 85, 95 °F":           {&FSIS, []leg{{75, 10}, {85, 10}, {95, 14}}, 890, 1000},
		"hot first, then cool":    {&FSIS, []leg{{95, 14}, {75, 10}, {50, 100}}, 640, 1000},
		"26 °C 55 h":              {&CFIA, []leg{{26, 55}}, 572, 665},
		"24, 30, 35 °C":           {&CFIA, []leg{{24, 10}, {30, 10}, {35, 18}}, 577.2, 555},
		"38 °C 22 h":              {&CFIA, []leg{{38, 22}}, 492.8, 500},
		"cold all the time":       {&CFIA, []leg{{12, 100}}, 0, 665},
		"below zero, no credit":   {&FSIS, []leg{{14, 100}, {80, 55}}, 1100, 1200},
		"exactly at the limit":    {&FSIS, []leg{{80, 60}}, 1200, 1200},
		"a hair over 33 °C in it": {&CFIA, []leg{{26, 54}, {33, 1}}, 579, 555},
	} {
		got := course(c.of == &CFIA, c.legs...)
		hours, limit := got.Of(c.of)
		assert.InDelta(t, c.want, hours, 1e-6, name)
		assert.InDelta(t, c.limit, limit, 0, name)
		assert.Equal(t, c.want > c.limit, got.Over(c.of), name)
		assert.True(t, got.Seen(), name)
	}
	// A ramp from 60 to 95 °F in 7 h, held for 24 h: 962.5, and passes.
	var c Course
	for s := range 7 * 3600 {
		c = c.Add(quantity.FromFahrenheit(60+35*(float64(s)+.5)/(7*3600)), true, time.Second)
	}
	c = c.Add(quantity.FromFahrenheit(95), true, 24*time.Hour)
	hours, limit := c.Of(&FSIS)
	assert.InDelta(t, 962.5, hours, 1e-6)
	assert.False(t, c.Over(&FSIS))
	assert.Equal(t, 1000., limit)
}

func TestLongest(t *testing.T) {
	for _, c := range []struct {
		of        *Table
		at, hours float64
	}{{&FSIS, 75, 80}, {&FSIS, 85, 48}, {&FSIS, 95, 28.6}, {&FSIS, 105, 20}, {&CFIA, 24, 79.2}, {&CFIA, 30, 46.2}, {&CFIA, 35, 28.6}} {
		at := quantity.Celsius(c.at)
		if c.of == &FSIS {
			at = quantity.FromFahrenheit(c.at)
		}
		got, ends := c.of.Longest(at)
		assert.True(t, ends)
		assert.InDelta(t, c.hours, got.Hours(), 0.05, "%v", at)
	}
	_, ends := FSIS.Longest(15)
	assert.False(t, ends)
}

func TestCourse(t *testing.T) {
	var c Course
	assert.False(t, c.Seen())
	c = c.Add(24, true, time.Hour).Add(0, false, 5*time.Minute)
	assert.True(t, c.Seen())
	c = c.Add(quantity.Celsius(math.NaN()), true, time.Second)
	assert.False(t, c.Seen(), "more than five minutes unread")
	assert.Equal(t, quantity.Celsius(24), c.Hottest)
	c.Sour = true
	assert.Equal(t, c, c.Add(40, true, time.Hour), "it is sour; no more counts")
	assert.Equal(t, quantity.Celsius(-5), Course{}.Add(-5, true, time.Hour).Hottest, "the first is the hottest")
}

// a_w 0.85 in air, 0.91 in vacuum.
func TestStable(t *testing.T) {
	for _, c := range []struct {
		aw     float64
		vacuum bool
		want   bool
	}{{.85, false, true}, {.86, false, false}, {.91, true, true}, {.92, true, false}, {.91, false, false}} {
		assert.Equal(t, c.want, Stable(c.aw, c.vacuum), "%+v", c)
	}
}

func TestWeightAt(t *testing.T) {
	for _, c := range []struct{ ratio, moisture, protein, want float64 }{{1.9, .60, .16, .704}, {3.1, .60, .16, .896}, {1.9, .65, .18, .692}, {1.9, .30, .20, 1}} {
		assert.InDelta(t, c.want, float64(WeightAt(c.ratio, quantity.Ratio(c.moisture), quantity.Ratio(c.protein))), 1e-9)
	}
}
