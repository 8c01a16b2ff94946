package lethality

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

var _ = Count{} == Count{} // comparable: recorded whole, tested with ==
var _ = Criterion{} == Criterion{}

// point is a corner of a temperature history.
type point struct {
	minute  float64
	celsius quantity.Celsius
}

func at(minute float64) time.Duration { return time.Duration(minute * float64(time.Minute)) }

// over counts a history that runs straight from corner to corner.
func (c *Criterion) over(points []point) (s Count) {
	for i := 1; i < len(points); i++ {
		s = c.Add(s, points[i-1].celsius, points[i].celsius, at(points[i].minute)-at(points[i-1].minute))
	}
	return s
}

func held(f, minutes float64) []point {
	t := quantity.FromFahrenheit(f)
	return []point{{0, t}, {minutes, t}}
}

// annex are rows of the red-meat table of FSIS Appendix A, Compliance Guidelines for
// Meeting Lethality Performance Standards (June 1999), as copies of its text have it:
// °F, minutes for 6.5 log10.
var annex = [][2]float64{
	{130, 112}, {131, 89}, {133, 56}, {134, 45}, {136, 28}, {138, 18}, {139, 15}, {140, 12},
	{142, 8}, {144, 5}, {145, 4}, {147, 134. / 60}, {148, 107. / 60}, {150, 67. / 60},
	{151, 54. / 60}, {153, 34. / 60}, {155, 22. / 60}, {157, 14. / 60}, {158, 0},
}

func TestRedMeatTable(t *testing.T) {
	table, integral := RedMeatCriterion(), RedMeatIntegral()
	for _, row := range annex {
		name := fmt.Sprintf("%g °F", row[0])
		if row[1] == 0 { // instant, and yet to be seen for a moment
			assert.True(t, table.Met(table.over(held(row[0], AtOnce.Minutes()))), name)
			assert.False(t, table.Met(table.over(held(row[0], 5./60))), name)
			continue
		}
		s := table.over(held(row[0], row[1]))
		assert.True(t, table.Met(s), name)
		assert.InDelta(t, table.Required, table.Log10(s), 1e-12, name)
		assert.False(t, table.Met(table.over(held(row[0], row[1]-1./60))), "%s, a second short", name)
		assert.False(t, table.Met(table.over(held(row[0]-0.1, row[1]))), "%s, a tenth of a degree low", name)
		assert.Equal(t, time.Duration(math.Round(row[1]*60))*time.Second, table.HoldAt(quantity.FromFahrenheit(row[0])), name)
		// The integral agrees with the table within the rounding of its rows, which is
		// upwards to whole minutes up to 145 °F and to whole seconds above.
		unit := 1.
		if row[0] > 145 {
			unit = 1. / 60
		}
		s = integral.over(held(row[0], row[1]))
		assert.GreaterOrEqual(t, integral.Log10(s), integral.Required*(1-0.005), name)
		assert.LessOrEqual(t, integral.Log10(s), integral.Required*(1+0.005)*row[1]/(row[1]-unit), name)
		// Whoever meets a row of it has met one of the trichinae table as well.
		assert.True(t, TrichinaeCriterion().Met(TrichinaeCriterion().over(held(row[0], row[1]))), name)
	}
	assert.Greater(t, table.HoldAt(54), 1000*time.Hour, "below the first row no time counts")
}

// TestClosedForm holds that 6.5 D 10^((150-T)/10), D 0.1717 min, rounded up to the
// minute or from 146 °F to the second, gives the 6.5 log10 column; computed here on
// confirmed rows, with 28.03 min against a printed 28 the one exception. D 0.172 min
// is Scott and Weddig 1998, as listed in the AMI worksheet.
func TestClosedForm(t *testing.T) {
	k := Kinetics{Reference: quantity.FromFahrenheit(150), Z: RedMeat.Z, D: at(0.1717)}
	for _, row := range annex {
		if row[1] == 0 {
			continue
		}
		T := quantity.FromFahrenheit(row[0])
		need := 6.5 * k.D.Seconds() / k.Segment(T, T, time.Second)
		want := row[1] * 60
		switch {
		case row[0] == 136:
			assert.InDelta(t, 28.03*60, need, 0.5)
			continue
		case row[0] <= 145:
			need = math.Ceil(need/60) * 60
		default:
			need = math.Ceil(need)
		}
		assert.InDelta(t, want, need, 1e-6, "%g °F", row[0])
	}
	assert.InDelta(t, 1.72, RedMeat.D.Minutes()/RedMeat.Segment(60, 60, time.Second), 0.001, "D at 60 °C, min")
}

// TestPublishedKinetics checks D at 60 °C of sets listed in the AMI worksheet
// (Tref °F, z °F, D min; D60 computed), which shows that any kinetics convert.
func TestPublishedKinetics(t *testing.T) {
	for _, c := range []struct {
		name             string
		ref, z, d, wants float64
	}{
		{"Salmonella, meat patty: Scott & Weddig 1998", 150, 10, 0.172, 1.72},
		{"Salmonella, ground beef 25 % fat: Juneja 2003", 140, 14.5, 4.72, 4.72},
		{"E. coli O157:H7, lean ground beef: Line et al. 1991", 145, 8.3, 0.30, 1.20},
		{"E. coli O157:H7, ground beef 25 % fat: Juneja 2003", 140, 11.4, 3.39, 3.39},
		{"E. coli O157:H7, lean turkey: Juneja & Marmer 1999", 149, 11.7, 0.29, 1.71},
		{"E. coli O157:H7, lean pork: Juneja & Marmer 1999", 149, 11.7, 0.30, 1.76},
		{"L. monocytogenes, lean ground beef: Fain et al. 1991", 145, 9.3, 0.6, 2.07},
		{"L. monocytogenes, ground beef 25 % fat: Juneja 2003", 140, 12.0, 4.1, 4.10},
		{"L. monocytogenes, hot dogs: AMI instruction example", 144, 10.8, 3.3, 7.74},
	} {
		k := Kinetics{Reference: quantity.FromFahrenheit(c.ref), Z: quantity.Kelvin(c.z * 5 / 9), D: at(c.d)}
		own, err := NewCriterion(c.name, k, 6.5)
		require.NoError(t, err)
		s := own.over([]point{{0, 60}, {c.wants, 60}})
		assert.InDelta(t, 1, own.Log10(s), 0.004, c.name)
	}
	beef := StricterCriterion()
	assert.InDelta(t, 1, beef.Log10(beef.over([]point{{0, 60}, {4.72, 60}})), 1e-9)
}

// TestStricterIsStricter holds what FattyBeef's comment claims.
func TestStricterIsStricter(t *testing.T) {
	rate := func(k Kinetics, c quantity.Celsius) float64 { return k.Log10(k.Segment(c, c, time.Minute)) }
	for c := quantity.Celsius(52.3); c < 75; c += 0.1 {
		assert.Less(t, rate(FattyBeef, c), rate(RedMeat, c), "%v", c)
	}
	assert.Greater(t, rate(FattyBeef, 52.1), rate(RedMeat, 52.1))
}

// TestWorksheet is the worked example printed on a copy of the AMI worksheet
// (Salmonella, Tref 150 °F, z 10 °F, D 0.172 min): readings each half minute and
// the printed cumulative F, which a trapezoid sum makes. Ours is the exact integral
// of the same lines, so it is a little less and never more.
func TestWorksheet(t *testing.T) {
	f := []float64{40, 64, 82, 97, 113, 128, 138, 142, 145, 148, 145, 140, 137, 136, 135, 134}
	printed := []float64{0, 0, 0, 0, 0, 0.002, 0.019, 0.074, 0.193, 0.430, 0.667, 0.771, 0.808, 0.831, 0.849, 0.863}
	c := RedMeatIntegral()
	var s Count
	trapezoid := 0.0
	rate := func(f float64) float64 { return math.Pow(10, (f-150)/10) }
	for i := 1; i < len(f); i++ {
		s = c.Add(s, quantity.FromFahrenheit(f[i-1]), quantity.FromFahrenheit(f[i]), 30*time.Second)
		trapezoid += (rate(f[i-1]) + rate(f[i])) / 2 * 0.5
		assert.InDelta(t, printed[i], trapezoid, 0.0006, "row %d", i)
		assert.LessOrEqual(t, c.Equivalent(s).Minutes(), trapezoid+1e-9, "row %d", i)
	}
	assert.InDelta(t, 5.02, trapezoid/0.172, 0.01)
	assert.InDelta(t, 0.863, c.Equivalent(s).Minutes(), 0.05)
	assert.False(t, c.Met(s))
	t.Logf("exact integral of the worksheet's lines: F %.3f min, %.2f log10", c.Equivalent(s).Minutes(), c.Log10(s))
}

// The two constructed logs: straight lines between points, exact integral computed
// with an independent program.
var (
	logS1 = []point{{0, 10}, {30, 35}, {60, 50}, {75, 55}, {90, 58}, {105, 59}, {110, 59}, {120, 45}, {135, 25}}
	logS2 = []point{{0, 5}, {60, 30}, {120, 48}, {160, 56}, {190, 60}, {205, 62}, {212, 62}, {222, 50}, {240, 30}}
)

func TestConstructedLogs(t *testing.T) {
	for _, c := range []struct {
		name                            string
		points                          []point
		f60, log10, fatty, pv70, comeUp float64
		trapezoid                       float64
	}{
		{"S1", logS1, 17.18, 10.00, 4.97, 2.76, 73.3, 20.38},
		{"S2", logS2, 60.92, 35.48, 12.94, 6.37, 140.2, 74.41},
	} {
		own := func(ref, z, d float64) *Criterion {
			k, err := NewCriterion("own", Kinetics{quantity.Celsius(ref), quantity.Kelvin(z), at(d)}, 6.5)
			require.NoError(t, err)
			return k
		}
		k := own(60, 50./9, 1.717)
		s := k.over(c.points)
		assert.InDelta(t, c.f60, k.Equivalent(s).Minutes(), 0.006, c.name)
		assert.InDelta(t, c.log10, k.Log10(s), 0.006, c.name)
		fatty := own(60, 14.5*5/9, 4.72)
		assert.InDelta(t, c.fatty, fatty.Log10(fatty.over(c.points)), 0.006, c.name)
		high := StricterCriterion()
		assert.Less(t, high.Log10(high.over(c.points)), fatty.Log10(fatty.over(c.points)), "nothing counts below 130 °F")
		pasteur := own(70, 10, 1)
		assert.InDelta(t, c.pv70, pasteur.Equivalent(pasteur.over(c.points)).Minutes(), 0.006, c.name)
		// The criterion itself: D 1.720 min for 1.717.
		meat := RedMeatIntegral()
		s = meat.over(c.points)
		assert.InDelta(t, c.log10, meat.Kinetics.Log10(s.equivalent), 0.003*c.log10, c.name)
		assert.Less(t, meat.Log10(s), c.log10, "nothing counts below 130 °F")
		assert.True(t, meat.Met(meat.over(c.points)))
		// The come-up: 50 to 130 °F.
		rule := ComeUpWithin(0)
		var u ComeUp
		for i := 1; i < len(c.points) && c.points[i].celsius >= c.points[i-1].celsius; i++ { // until it is cooked
			u = rule.Add(u, c.points[i-1].celsius, c.points[i].celsius, at(c.points[i].minute-c.points[i-1].minute))
		}
		assert.InDelta(t, c.comeUp, u.Time.Minutes(), 0.06, c.name)
		assert.True(t, rule.Pass(u), c.name)
		// A trapezoid on points so far apart is 19 to 22 % too high. We are not.
		trapezoid := 0.0
		for i := 1; i < len(c.points); i++ {
			a, b := c.points[i-1], c.points[i]
			rate := func(p point) float64 { return math.Pow(10, float64(p.celsius-60)*9/50) }
			trapezoid += (rate(a) + rate(b)) / 2 * (b.minute - a.minute)
		}
		assert.InDelta(t, c.trapezoid, trapezoid, 0.006, c.name)
		assert.Greater(t, trapezoid, 1.18*k.Equivalent(s).Minutes(), c.name)
	}
}

func TestFishHoldIsContinuous(t *testing.T) {
	c := FishCriterion()
	broken := []point{{0, 20}, {40, 64}, {60, 64}, {61, 62}, {62, 64}, {90, 64}}
	assert.False(t, c.Met(c.over(broken)), "48 minutes, but never 30 on end")
	assert.True(t, c.Met(c.over([]point{{0, 64}, {15, 63}, {30, 64}})))
	assert.Zero(t, c.Log10(c.over(broken)), "the rule names no reduction")

	s := c.Add(Count{}, 64, 64, 20*time.Minute)
	s = c.Gap(s)
	s = c.Add(s, 64, 64, 20*time.Minute)
	assert.False(t, c.Met(s), "nobody saw what happened between")
}

// TestGame: 125 °F for 9.5 h meets the trichinae table at 122 °F, and is no cook.
func TestGame(t *testing.T) {
	c, worms := GameCriterion(), TrichinaeCriterion()
	assert.False(t, c.Met(c.over(held(125, 570))))
	assert.True(t, worms.Met(worms.over(held(125, 570))))
	assert.True(t, c.Met(c.over(held(144, 5))))
	assert.False(t, c.Met(c.over(held(144, 2))))
}

func TestLowShare(t *testing.T) {
	c := RedMeatIntegral()
	assert.Zero(t, c.LowShare(Count{}))
	assert.Zero(t, c.LowShare(c.over([]point{{0, 57}, {30, 60}})))
	assert.InDelta(t, 1.0, c.LowShare(c.over([]point{{0, 20}, {200, 56.9}})), 1e-12)
	// Half the time at 55 and half at 60 °C: 10^-0.9 to 1.
	s := c.over([]point{{0, 55}, {10, 55}})
	s = c.Add(s, 60, 60, 10*time.Minute)
	assert.InDelta(t, math.Pow(10, -0.9)/(1+math.Pow(10, -0.9)), c.LowShare(s), 1e-9)
	up := c.over([]point{{0, 50}, {10, 60}})
	down := c.over([]point{{0, 60}, {10, 50}})
	assert.InDelta(t, c.LowShare(up), c.LowShare(down), 1e-9)
	// Of what was gathered from 54.44 °C on, that below 57.
	rate := func(below float64) float64 { return math.Pow(10, -0.18*below) }
	assert.InDelta(t, (rate(3)-rate(50./9))/(1-rate(50./9)), c.LowShare(up), 1e-6)
}

// TestProbeError: an instrument that may be 1 °F high needs 1 °F more (FSIS Cooking
// Guideline, 2021: 165 °F with ±1 °F means 166 °F).
func TestProbeError(t *testing.T) {
	c := PoultryCriterion(AnyBird, false).Allowing(5.0 / 9)
	assert.False(t, c.Met(c.over(held(165, AtOnce.Minutes()))))
	assert.True(t, c.Met(c.over(held(166, AtOnce.Minutes()))))
	assert.Zero(t, PoultryCriterion(AnyBird, false).ProbeError, "the shared criterion is not touched")
	// 145 °F with ±2.2 °C and with ±0.5 °C wants 149.0 and 145.9 °F (own sum).
	for error, want := range map[quantity.Kelvin]float64{2.2: 148.96, 0.5: 145.9} {
		c := RedMeatCriterion().Allowing(error)
		assert.True(t, c.Met(c.over(held(want+0.001, 4))), "%v", error)
		assert.False(t, c.Met(c.over(held(want-0.001, 4))), "%v", error)
	}
}

func TestComeUp(t *testing.T) {
	rule := ComeUpWithin(0)
	count := func(points ...point) (u ComeUp) {
		for i := 1; i < len(points); i++ {
			u = rule.Add(u, points[i-1].celsius, points[i].celsius, at(points[i].minute-points[i-1].minute))
		}
		return u
	}
	top := quantity.FromFahrenheit(130)
	assert.True(t, rule.Pass(count(point{0, 10}, point{360, top})), "6 h is allowed")
	assert.False(t, rule.Pass(count(point{0, 10}, point{360.1, top})))
	assert.True(t, rule.Failed(count(point{0, 10}, point{361, 50})))
	assert.False(t, rule.Pass(count(point{0, 10}, point{300, 54})), "never got there")
	assert.False(t, rule.Pass(count(point{0, 60}, point{10, 70})), "how it came up was not seen")
	assert.Equal(t, 100*time.Minute, count(point{0, 5}, point{100, 10}, point{200, top}, point{210, 60}, point{900, 60}).Time,
		"nothing counts above the upper end")
	assert.Equal(t, 150*time.Minute, count(point{0, 5}, point{100, 10}, point{200, top}, point{210, 60}, point{220, top}, point{270, 20}).Time,
		"what falls again before it is cooked counts")
	u := count(point{0, 10}, point{60, 20})
	u = rule.Gap(u, 6*time.Hour)
	assert.True(t, rule.Failed(u), "time unseen counts")
	assert.Equal(t, ComeUp{}, rule.Gap(ComeUp{}, time.Hour), "but not before the first reading")
	assert.Equal(t, 2*time.Hour, count(point{0, 20}, point{60, 20}, point{60, 5}, point{100, 5}, point{100, 20}, point{160, 20}).Time)
	wide := ComeUpWithin(1)
	assert.InDelta(t, 9, float64(wide.From), 1e-12)
	assert.InDelta(t, 55.444, float64(wide.To), 1e-3)
}

func TestNewCriterionRefuses(t *testing.T) {
	ok := RedMeat
	_, err := NewCriterion("own", ok, 6.5)
	require.NoError(t, err)
	for name, k := range map[string]Kinetics{
		"reference": {Reference: 20, Z: 5, D: time.Minute},
		"z":         {Reference: 60, Z: 0, D: time.Minute},
		"D":         {Reference: 60, Z: 5, D: 0},
		"z nan":     {Reference: 60, Z: quantity.Kelvin(math.NaN()), D: time.Minute},
	} {
		_, err := NewCriterion("own", k, 6.5)
		assert.ErrorContains(t, err, "is outside", name)
	}
	_, err = NewCriterion("own", ok, 0)
	assert.Error(t, err)
}

func all() []*Criterion {
	return []*Criterion{
		RedMeatCriterion(), RedMeatIntegral(), StricterCriterion(), GameCriterion(), TrichinaeCriterion(),
		PoultryCriterion(AnyBird, false), PoultryCriterion(Chicken, true), PoultryCriterion(Turkey, true), FishCriterion(),
	}
}

// history draws corners that like to sit on the rows and cross them.
func history(t *rapid.T) []point {
	corners := rapid.IntRange(1, 8).Draw(t, "corners")
	points := []point{{0, quantity.Celsius(rapid.Float64Range(0, 75).Draw(t, "start"))}}
	for range corners {
		last := points[len(points)-1]
		c := quantity.Celsius(rapid.Float64Range(0, 75).Draw(t, "celsius"))
		if rapid.Bool().Draw(t, "on a row") {
			c = quantity.FromFahrenheit(float64(rapid.IntRange(119, 166).Draw(t, "°F")))
		}
		points = append(points, point{last.minute + rapid.Float64Range(0, 90).Draw(t, "minutes"), c})
	}
	return points
}

// TestSplittingChangesNothing: the same history in pieces gives the same count.
func TestSplittingChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := history(t)
		pieces := rapid.IntRange(2, 40).Draw(t, "pieces")
		for _, c := range all() {
			whole := c.over(points)
			var split Count
			for i := 1; i < len(points); i++ {
				a, b := points[i-1], points[i]
				dt := at(b.minute) - at(a.minute)
				last, lastAt := a.celsius, time.Duration(0)
				for n := 1; n <= pieces; n++ {
					f := float64(n) / float64(pieces)
					to, toAt := a.celsius+quantity.Celsius(f)*(b.celsius-a.celsius), time.Duration(f*float64(dt))
					if n == pieces {
						to, toAt = b.celsius, dt
					}
					split = c.Add(split, last, to, toAt-lastAt)
					last, lastAt = to, toAt
				}
			}
			tolerance := 1e-9*whole.equivalent + 1e-6
			if math.Abs(whole.equivalent-split.equivalent) > tolerance || math.Abs(whole.low-split.low) > tolerance || math.Abs(whole.below-split.below) > tolerance {
				t.Fatalf("%s: %v and %v", c.Name, whole.equivalent, split.equivalent)
			}
			for i := range whole.at {
				if (whole.at[i] - split.at[i]).Abs() > time.Millisecond {
					t.Fatalf("%s row %d: %v and %v", c.Name, i, whole.at[i], split.at[i])
				}
			}
		}
	})
}

// TestMoreHeatNeverLowers: a history that is nowhere cooler is worth no less, and
// neither is a longer one; and what met the criterion meets it still.
func TestMoreHeatNeverLowers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := history(t)
		warmer := append([]point(nil), points...)
		for i := range warmer {
			warmer[i].celsius += quantity.Celsius(rapid.Float64Range(0, 3).Draw(t, "warmer"))
		}
		part := points[:rapid.IntRange(1, len(points)).Draw(t, "part")]
		for _, c := range all() {
			cool, warm, some := c.over(points), c.over(warmer), c.over(part)
			if c.Fraction(warm) < c.Fraction(cool)-1e-9 || c.Log10(warm) < c.Log10(cool)-1e-9 || c.Met(cool) && !c.Met(warm) {
				t.Fatalf("%s: %v and, warmer, %v", c.Name, c.Fraction(cool), c.Fraction(warm))
			}
			if c.Fraction(some) > c.Fraction(cool)+1e-9 || c.Met(some) && !c.Met(cool) {
				t.Fatalf("%s: %v and, for a part of it, %v", c.Name, c.Fraction(cool), c.Fraction(some))
			}
			if share := c.LowShare(cool); share < 0 || share > 1+1e-9 || math.IsNaN(share) {
				t.Fatalf("%s: share %v", c.Name, share)
			}
		}
	})
}

// TestUnseenNeverHelps: leaving lines out, for whatever reason, is never worth more.
func TestUnseenNeverHelps(t *testing.T) {
	bad := []quantity.Celsius{quantity.Celsius(math.NaN()), quantity.Celsius(math.Inf(1)), quantity.Celsius(math.Inf(-1)), 1e300, 3276.7, -127}
	rapid.Check(t, func(t *rapid.T) {
		points := history(t)
		for _, c := range all() {
			seen := c.over(points)
			var s Count
			for i := 1; i < len(points); i++ {
				dt := at(points[i].minute) - at(points[i-1].minute)
				switch rapid.IntRange(0, 2).Draw(t, "seen") {
				case 0:
					s = c.Add(s, points[i-1].celsius, points[i].celsius, dt)
				case 1:
					s = c.Gap(s)
				case 2:
					s = c.Add(s, points[i-1].celsius, rapid.SampledFrom(bad).Draw(t, "bad"), dt)
				}
			}
			if c.Fraction(s) > c.Fraction(seen)+1e-9 {
				t.Fatalf("%s: %v seen, %v unseen", c.Name, c.Fraction(seen), c.Fraction(s))
			}
			if s != s {
				t.Fatal("the count holds NaN")
			}
		}
	})
}

func TestAddAllocatesNothing(t *testing.T) {
	for _, c := range all() {
		var s Count
		assert.Zero(t, testing.AllocsPerRun(100, func() { s = c.Add(s, 56.99, 57.01, time.Second) }), c.Name)
	}
}

func BenchmarkAdd(b *testing.B) {
	for _, c := range []*Criterion{RedMeatCriterion(), PoultryCriterion(AnyBird, false), FishCriterion()} {
		b.Run(c.Name, func(b *testing.B) {
			var s Count
			for b.Loop() {
				s = c.Add(s, 61.02, 61.03, time.Second)
			}
		})
	}
}
