package lethality

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
)

// TestOtherTables holds every row of the poultry tables (FSIS, Time-Temperature Tables
// for Cooking Ready-to-Eat Poultry Products, 2005: 12 % fat from a transcription of its
// text, 1 % as quoted in Lopez-Alt, The Food Lab, p. 362, and, for chicken at 136 °F, from the
// Canadian agency), of the trichinae table (former 9 CFR 318.10(c)) and the fish rule
// (Maine ch. 359 s. 2).
func TestOtherTables(t *testing.T) {
	once := AtOnce.Minutes()
	for _, c := range []struct {
		criterion *Criterion
		rows      [][2]float64 // °F, minutes
	}{
		{PoultryCriterion(Chicken, false), [][2]float64{{136, 81.4}, {137, 65.5}, {138, 52.9}, {139, 43}, {140, 35}, {141, 28.7}, {142, 23.5},
			{143, 19.3}, {144, 15.9}, {145, 13}, {146, 10.6}, {147, 8.6}, {148, 6.8}, {149, 5.4}, {150, 4.2}, {151, 3.1}, {152, 2.3}, {153, 1.6},
			{154, 1.1}, {155, 54.4 / 60}, {156, 43. / 60}, {157, 34. / 60}, {158, 26.9 / 60}, {159, 21.3 / 60}, {160, 16.9 / 60}, {161, 13.3 / 60},
			{162, 10.5 / 60}, {163, once}}},
		{PoultryCriterion(Turkey, false), [][2]float64{{136, 70.8}, {137, 58.5}, {138, 48.5}, {139, 40.4}, {140, 33.7}, {141, 28.2}, {142, 23.7},
			{143, 19.8}, {144, 16.6}, {145, 13.8}, {146, 11.5}, {147, 9.4}, {148, 7.7}, {149, 6.2}, {150, 4.9}, {151, 3.8}, {152, 2.8}, {153, 2.1},
			{154, 1.6}, {155, 1.3}, {156, 1}, {157, 50.4 / 60}, {158, 40.9 / 60}, {159, 33.2 / 60}, {160, 26.9 / 60}, {161, 21.9 / 60},
			{162, 17.7 / 60}, {163, 14.4 / 60}, {164, 11.7 / 60}, {165, once}}},
		{PoultryCriterion(Chicken, true), [][2]float64{{136, 63.3}, {140, 25.2}, {145, 8.4}, {155, 44.2 / 60}, {160, 13.7 / 60}}},
		{PoultryCriterion(Turkey, true), [][2]float64{{136, 64}, {140, 28.1}, {145, 10.5}, {155, 1.2}, {160, 25.6 / 60}}},
		{PoultryCriterion(AnyBird, true), [][2]float64{{136, 64}, {140, 28.1}, {145, 10.5}, {155, 1.2}, {160, 25.6 / 60}}},
		{TrichinaeCriterion(), [][2]float64{{120, 21 * 60}, {122, 9.5 * 60}, {126, 120}, {128, 60}, {132, 15}, {134, 6}, {138, 2}, {142, 1}, {144, once}}},
		{FishCriterion(), [][2]float64{{145, 30}}},
	} {
		assert.Len(t, c.criterion.Rows(), len(c.rows))
		for _, row := range c.rows {
			name := fmt.Sprintf("%s %g °F", c.criterion.Name, row[0])
			assert.True(t, c.criterion.Met(c.criterion.over(held(row[0], row[1]))), name)
			assert.False(t, c.criterion.Met(c.criterion.over(held(row[0]-0.01, row[1]))), name)
			assert.False(t, c.criterion.Met(c.criterion.over(held(row[0], row[1]-0.001))), name)
		}
	}
}

// TestLongerOfTheBirds: chicken governs up to 141 °F and turkey from 142 °F on (reckoned on
// the rows); each row says whose it is.
func TestLongerOfTheBirds(t *testing.T) {
	any, chicken, turkey := PoultryCriterion(AnyBird, false), PoultryCriterion(Chicken, false), PoultryCriterion(Turkey, false)
	require.Len(t, any.Rows(), 30)
	for _, row := range any.Rows() {
		assert.GreaterOrEqual(t, row.Hold, max(chicken.HoldAt(row.At), turkey.HoldAt(row.At)))
		want := "chicken, 12 % fat"
		if row.At > quantity.FromFahrenheit(141.5) {
			want = "turkey, 12 % fat"
		}
		assert.Equal(t, want, row.Of, "%v", row.At)
	}
	for _, c := range []*Criterion{any, chicken, turkey, PoultryCriterion(Chicken, true), PoultryCriterion(AnyBird, true)} {
		assert.Equal(t, PoultryLog10, c.Required)
	}
	assert.Same(t, any, PoultryCriterion(99, false))
}

// TestNoOneZForPoultry: the z between 136 and 144 °F rises from 10.6 to 11.9 °F in the column
// of chicken and from 12.1 to 13.2 in that of turkey, computed on the rows.
func TestNoOneZForPoultry(t *testing.T) {
	for c, want := range map[*Criterion][2]float64{PoultryCriterion(Chicken, false): {10.6, 11.9}, PoultryCriterion(Turkey, false): {12.1, 13.2}} {
		least, most := math.Inf(1), 0.
		for row := range 8 { // 136 to 144 °F
			a, b := c.rows[row], c.rows[row+1]
			z := float64(b.At-a.At) * 9 / 5 / math.Log10(a.Hold.Seconds()/b.Hold.Seconds())
			least, most = min(least, z), max(most, z)
		}
		assert.InDelta(t, want[0], least, 0.06, c.Name)
		assert.InDelta(t, want[1], most, 0.06, c.Name)
	}
}

// TestBetweenRows: a hold between two rows counts as the lower one.
func TestBetweenRows(t *testing.T) {
	c := PoultryCriterion(AnyBird, false)
	s := c.over(held(143.9, 18))
	row, counted, ok := c.Best(s)
	require.True(t, ok)
	assert.Equal(t, quantity.FromFahrenheit(143), row.At)
	assert.Equal(t, 18*time.Minute, counted)
	assert.False(t, c.Met(s), "16.6 min is the time of 144 °F, not of 143.9 °F")
	assert.InDelta(t, 7*18/19.8, c.Log10(s), 1e-9)
}

// TestNoCreditBelowTheLowestRow holds own logs against the tables, °F and minutes along
// straight lines, with integrals and times that were reckoned by an independent program: R1
// never meets a row though its integral from 40 °F on is worth 18 log10; R3 misses its row by
// a minute though the integral from 130 °F on is worth 8.1.
func TestNoCreditBelowTheLowestRow(t *testing.T) {
	chicken, turkey, any := PoultryCriterion(Chicken, false), PoultryCriterion(Turkey, false), PoultryCriterion(AnyBird, false)
	for _, c := range []struct {
		name               string
		log                [][2]float64
		row, minutes       float64 // that comes closest in the red-meat table
		all, high          float64 // log10 by D 0.1717 min at 150 °F and z 10 °F; from 130 °F on
		comeUp             float64 // min, while it is heated
		meat               bool
		ch, tk, mix        bool
		inTime             bool
		heatedUntil        float64 // min; 0 is to the end
		anyRow, anyMinutes float64
	}{
		{"R1", [][2]float64{{0, 40}, {200, 125}, {800, 129}, {830, 100}}, 0, 0, 18.5, 0, 776.5, false, false, false, false, false, 800, 0, 0},
		{"R2", [][2]float64{{0, 40}, {180, 128}, {260, 131}, {349, 131.2}, {370, 110}}, 130, 116.9, 11.6, 8.5, 212.9, true, false, false, false, true, 349, 0, 0},
		{"R3", [][2]float64{{0, 40}, {150, 120}, {200, 134}, {244, 134}, {260, 115}}, 134, 44.0, 9.2, 8.1, 167.0, false, false, false, false, true, 244, 0, 0},
		{"P5", [][2]float64{{0, 40}, {90, 140}, {124, 140.4}, {140, 120}}, 0, 0, 25.2, 0, 72.0, true, false, true, false, true, 124, 140, 34.31},
		{"P2", [][2]float64{{0, 40}, {60, 110}, {90, 136}, {100, 142}, {123.6, 142}, {135, 120}}, 0, 0, 30.0, 0, 74.5, true, true, false, false, true, 123.6, 142, 23.6},
		{"P3", [][2]float64{{0, 40}, {80, 130}, {110, 150}, {114.5, 150}, {125, 120}}, 0, 0, 72.8, 0, 71.1, true, true, true, true, true, 114.5, 148, 8.2},
		// Heated twice, and never cooked in between: all of it counts, not the first rise alone.
		{"twice", [][2]float64{{0, 40}, {120, 126}, {180, 70}, {300, 128}, {360, 150}}, 0, 0, 0, 0, 291.5, true, true, false, false, true, 360, 0, 0},
	} {
		var points, heated []point
		for _, p := range c.log {
			points = append(points, point{p[0], quantity.FromFahrenheit(p[1])})
			if p[0] <= c.heatedUntil {
				heated = points
			}
		}
		meat, k := RedMeatCriterion(), Kinetics{Reference: quantity.FromFahrenheit(150), Z: RedMeat.Z, D: at(0.1717)}
		s := meat.over(points)
		assert.Equal(t, c.meat, meat.Met(s), "%s: red meat", c.name)
		row, counted, _ := meat.Best(s)
		switch {
		case c.row > 0:
			assert.Equal(t, quantity.FromFahrenheit(c.row), row.At, c.name)
			assert.InDelta(t, c.minutes, counted.Minutes(), 0.05, c.name)
		case c.name == "R1":
			assert.Zero(t, counted)
			assert.Zero(t, meat.Integral(s), "nothing below 130 °F")
		}
		if c.all > 0 {
			assert.InDelta(t, c.all, k.Log10(s.equivalent), 0.06, c.name)
		}
		if c.high > 0 {
			assert.InDelta(t, c.high, k.Log10(s.counted()), 0.06, c.name)
		}
		for criterion, want := range map[*Criterion]bool{chicken: c.ch, turkey: c.tk, any: c.mix} {
			assert.Equal(t, want, criterion.Met(criterion.over(points)), "%s: %s", c.name, criterion.Name)
		}
		if c.anyRow > 0 {
			for i, row := range any.rows[:any.count] {
				if row.At == quantity.FromFahrenheit(c.anyRow) {
					assert.InDelta(t, c.anyMinutes, any.over(points).at[i].Minutes(), 0.05, c.name)
				}
			}
		}
		rule := ComeUpWithin(0)
		var u ComeUp
		for i := 1; i < len(heated); i++ {
			u = rule.Add(u, heated[i-1].celsius, heated[i].celsius, at(heated[i].minute)-at(heated[i-1].minute))
		}
		assert.InDelta(t, c.comeUp, u.Time.Minutes(), 0.06, c.name)
		assert.Equal(t, c.inTime, rule.Pass(u), c.name)
	}
}
