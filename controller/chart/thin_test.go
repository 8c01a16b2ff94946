package chart

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func anySeries(t *rapid.T) []Point {
	var points []Point
	x := 0.0
	for range rapid.IntRange(0, 400).Draw(t, "n") {
		y := float64(rapid.IntRange(-99, 99).Draw(t, "y"))
		if rapid.IntRange(0, 15).Draw(t, "unknown") == 0 {
			y = math.NaN()
		}
		points = append(points, Point{x, y})
		x += rapid.Float64Range(0, 3).Draw(t, "dx")
	}
	return points
}

// Each column keeps the lowest and the highest of its points, at most four of
// them, in their order, and invents none.
func TestColumnsKeepExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := anySeries(t)
		column := func(x float64) int { return int(x / 10) }
		type bounds struct {
			lo, hi float64
			n      int
		}
		sum := func(points []Point) map[int]bounds {
			m := map[int]bounds{}
			for _, p := range points {
				if !known(p.Y) {
					continue
				}
				b, ok := m[column(p.X)]
				if !ok {
					b = bounds{p.Y, p.Y, 0}
				}
				m[column(p.X)] = bounds{math.Min(b.lo, p.Y), math.Max(b.hi, p.Y), b.n + 1}
			}
			return m
		}
		var kept []Point
		for _, run := range columns(points, column) {
			kept = append(kept, run...)
		}
		want, got := sum(points), sum(kept)
		if len(want) != len(got) {
			t.Fatalf("%d columns became %d", len(want), len(got))
		}
		for c, w := range want {
			g := got[c]
			if g.lo != w.lo || g.hi != w.hi || g.n > 4 || g.n > w.n {
				t.Fatalf("column %d: %v became %v", c, w, g)
			}
		}
		k := 0
		for _, p := range points {
			if k < len(kept) && p == kept[k] {
				k++
			}
		}
		if k != len(kept) {
			t.Fatalf("point %d of those kept is out of order or invented", k)
		}
	})
}

func TestColumnsBreakAtUnknown(t *testing.T) {
	nan := math.NaN()
	column := func(x float64) int { return int(x) }
	for name, c := range map[string]struct {
		in   []Point
		want []int // lengths of the runs
	}{
		"none":               {nil, nil},
		"unknown only":       {[]Point{{0, nan}, {1, nan}}, nil},
		"gap between":        {[]Point{{0, 1}, {1, nan}, {2, 1}, {3, 1}}, []int{1, 2}},
		"gap at both ends":   {[]Point{{0, nan}, {1, 1}, {2, 1}, {3, nan}}, []int{2}},
		"gap inside a pixel": {[]Point{{0, 1}, {0.4, nan}, {0.8, 2}}, []int{2}},
		"infinite":           {[]Point{{0, 1}, {1, math.Inf(1)}, {2, 1}}, []int{1, 1}},
	} {
		t.Run(name, func(t *testing.T) {
			var got []int
			for _, run := range columns(c.in, column) {
				got = append(got, len(run))
			}
			assert.Equal(t, c.want, got)
		})
	}
}

// Whatever is dropped lies within the tolerance of the line that is left.
func TestSwingingDoorKeepsWithinTolerance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const tolerance = 0.5
		var run []xy
		x := 0.0
		for range rapid.IntRange(0, 200).Draw(t, "n") {
			run = append(run, xy{x, rapid.Float64Range(-5, 5).Draw(t, "y")})
			x += rapid.SampledFrom([]float64{0, 0.1, 1, 7}).Draw(t, "dx")
		}
		kept := swingingDoor(run, tolerance)
		k := 0
		for i, p := range run {
			if k < len(kept) && p == kept[k] {
				k++
			}
			off := math.Inf(1)
			if len(kept) == 1 {
				off = 0
			}
			for j := 1; j < len(kept); j++ {
				a, b := kept[j-1], kept[j]
				switch {
				case p.x < a.x || p.x > b.x:
				case a.x == b.x:
					off = math.Min(off, math.Max(0, math.Max(math.Min(a.y, b.y)-p.y, p.y-math.Max(a.y, b.y))))
				default:
					off = math.Min(off, math.Abs(a.y+(b.y-a.y)*(p.x-a.x)/(b.x-a.x)-p.y))
				}
			}
			if off > tolerance+1e-9 {
				t.Fatalf("point %d is off by %g", i, off)
			}
		}
		if k != len(kept) {
			t.Fatal("kept a point that was not there")
		}
	})
}

func TestSwingingDoorStraightLine(t *testing.T) {
	var run []xy
	for i := range 1000 {
		run = append(run, xy{float64(i), 3 * float64(i)})
	}
	assert.Equal(t, []xy{run[0], run[999]}, swingingDoor(run, 0.1))
}

func TestStairs(t *testing.T) {
	assert.Equal(t, []xy{{0, 1}, {5, 1}, {5, 4}, {9, 4}, {9, 2}}, stairs([]xy{{0, 1}, {5, 4}, {9, 2}}))
}

func TestTrace(t *testing.T) {
	for want, run := range map[string][]xy{
		"M1 2h.1":             {{1, 2}},
		"M0 0l1 1":            {{0, 0}, {1, 1}},
		"M0 .5h10v-3l-1.2-.4": {{0, 0.5}, {10, 0.5}, {10, -2.5}, {8.8, -2.9}},
		"M-.3 -.1l.1 .1":      {{-0.3, -0.1}, {-0.2, 0.01}},
	} {
		assert.Equal(t, want, string(trace(nil, run)))
	}
}

func TestTrackFollowsTheLine(t *testing.T) {
	tr := newTrack(10)
	tr.add([]xy{{1, 0}, {5, 8}, {5, 2}})
	require.True(t, math.IsNaN(tr.top[0]))
	assert.Equal(t, 2.0, tr.top[2])
	assert.Equal(t, 4.0, tr.bottom[2])
	assert.Equal(t, 2.0, tr.top[5])
	assert.Equal(t, 8.0, tr.bottom[5])
	require.True(t, math.IsNaN(tr.top[6]))
	assert.Zero(t, tr.distance(box{2, 3, 4, 5}))
	assert.Equal(t, 2.0, tr.distance(box{2, 10, 5, 12}))
}
