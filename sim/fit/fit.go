// Package fit learns from the record of a batch what a rehearsal only believes: how fast the
// air moves at the product, how fast moisture moves in it, how much of the element's glow
// misses the tray, how much the cabinet leaks and what its heater gives. It rehearses the
// batch again and again, with the same answers, and moves those numbers until chamber, core,
// duty and what was weighed afterwards come out as they were recorded (Gauss-Newton with a
// prior). What the record cannot tell stays as it was believed, and is named.
package fit

import (
	"context"
	"errors"
	"math"
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/sim"
	"fumarium/sim/forecast"
)

// A Record is what a batch left behind.
type Record struct {
	Track forecast.Track
	Past  *sim.Past
	Left  float64 // share of the hung mass that was weighed when it was cooked; 0 is not weighed
}

// RecordOf takes it from a history.
func RecordOf(h *history.History, elapsed time.Duration, left float64) *Record {
	return &Record{Track: forecast.TrackOf(h, elapsed), Past: forecast.PastOf(h, elapsed, nil), Left: left}
}

// A Result is what was learned.
type Result struct {
	Learned sim.Learned
	Untold  []sim.Part // that the record could not tell
	// Before and After are by how much the rehearsal misses the record, in standard
	// deviations of a record that fits: root of the mean square.
	Before, After float64
	Rehearsals    int
}

const (
	// What one reading says less than its figure, for the simulated cabinet is built
	// otherwise than the real one; own magnitudes.
	coreSigma, chamberSigma, dutySigma, lengthSigma, weightSigma = 2.0, 3.0, 0.15, 0.05, 0.02
	// every is how far apart readings are compared, in minutes; of all of a stage, no more
	// than counted are worth something, for they hang together.
	every, counted = 10.0, 4.0
	// step is by how much a number is moved to see what comes of it.
	step   = 0.4
	rounds = 3
	// told is what of its deviation may be left of a number that the record tells.
	told = 0.8
)

// Furthest is how far a number may come from what was believed at first, in its standard
// deviations.
const Furthest = 2.5

// Fit learns from a record. The prior is what batches before have told; rest may be nil.
func Fit(ctx context.Context, setup sim.Setup, record *Record, prior sim.Learned, rest func(time.Duration, *controller.State)) (*Result, error) {
	f := fitter{ctx: ctx, setup: setup, record: record, rest: rest, free: make([]bool, sim.Parts)}
	f.setup.Past = record.Past
	for i := range prior {
		if prior[i].Left == 0 {
			prior[i].Left = 1
		}
		f.free[i] = true
	}
	f.prior = prior
	if len(f.spans()) == 0 {
		return nil, errors.New("no stage of it heated the chamber for half an hour")
	}
	z := make([]float64, sim.Parts)
	for i := range z {
		z[i] = prior[i].Middle
	}
	r, err := f.residuals(z)
	if err != nil {
		return nil, err
	}
	result := &Result{Before: rms(r)}
	z, r, left, err := f.descend(z, r, rounds)
	if err != nil {
		return nil, err
	}
	for i := range z {
		if left[i] > told*prior[i].Left {
			f.free[i], z[i] = false, prior[i].Middle
			result.Untold = append(result.Untold, sim.Part(i+1))
		}
	}
	if len(result.Untold) > 0 && len(result.Untold) < len(z) { // the others anew without them
		if r, err = f.residuals(z); err == nil {
			z, r, left, err = f.descend(z, r, 1)
		}
		if err != nil {
			return nil, err
		}
	}
	for i := range z {
		result.Learned[i] = prior[i]
		if f.free[i] {
			result.Learned[i] = sim.Known{Middle: z[i], Left: left[i]}
		} else if prior[i] == (sim.Known{Left: 1}) {
			result.Learned[i] = sim.Known{}
		}
	}
	result.After, result.Rehearsals = rms(r), f.runs
	if len(result.Untold) == len(z) {
		result.After = result.Before
	}
	return result, nil
}

func rms(r []float64) float64 {
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(r)))
}

type fitter struct {
	ctx    context.Context
	setup  sim.Setup
	record *Record
	prior  sim.Learned
	free   []bool // which are moved
	rest   func(time.Duration, *controller.State)
	runs   int
}

// spans are the stages that are compared: heated, and long enough.
func (f *fitter) spans() (spans []forecast.Span) {
	for _, s := range f.record.Track.Stages {
		stage := &f.setup.Product.Stages[s.Index]
		if stage.Heat && stage.Place == profile.Chamber && s.Ended-s.Began >= 1800 {
			spans = append(spans, s)
		}
	}
	return spans
}

// residuals are by what a rehearsal misses the record.
func (f *fitter) residuals(z []float64) ([]float64, error) {
	var l sim.Learned
	for i := range z {
		l[i].Middle = z[i]
	}
	var trace sim.Trace
	result, err := sim.Rehearse(f.ctx, l.Of(f.setup), &trace, f.rest)
	if err != nil {
		return nil, err
	}
	f.runs++
	model, real := forecast.TrackOf(&trace.History, trace.History.Elapsed()), &f.record.Track
	var all []float64
	for _, s := range f.spans() {
		m, had := model.Stage(s.Index)
		n := math.Floor((s.Ended - s.Began) / 60 / every)
		worth := math.Sqrt(min(1, counted/n))
		for k := 1.0; k <= n; k++ {
			minute := s.Began/60 + k*every
			same := min(m.Began/60+k*every, m.Ended/60)
			before := max(same-every, m.Began/60)
			all = append(all,
				off(forecast.Value(real.Core, minute)-forecast.Value(model.Core, same), coreSigma, worth, had),
				off(forecast.Value(real.Chamber, minute)-forecast.Value(model.Chamber, same), chamberSigma, worth, had),
				off((forecast.Value(real.On, minute)-forecast.Value(real.On, minute-every))/every-
					(forecast.Value(model.On, same)-forecast.Value(model.On, before))/max(same-before, 1), dutySigma, worth, had))
		}
		if u := f.setup.Product.Stages[s.Index].Until; s.Over && (u.Has(profile.CoreAtLeast) || u.Has(profile.LethalityAtLeast)) {
			all = append(all, off(math.Log((s.Ended-s.Began)/max(m.Ended-m.Began, 60)), lengthSigma, 1, had))
		}
	}
	if f.record.Left > 0 && result.YieldPercent != nil {
		all = append(all, off(f.record.Left-*result.YieldPercent/100, weightSigma, 1, true))
	}
	return all, nil
}

// off is by how much something is off, at most as much as means nothing any more; a stage that
// the rehearsal did not come to is as far off as that.
func off(by, sigma, worth float64, had bool) float64 {
	const most = 5
	if math.IsNaN(by) { // nobody read it
		return 0
	}
	if !had {
		return most * worth
	}
	return min(max(by/sigma, -most), most) * worth
}

// cost is what is made small: what the record is missed by, and what was believed.
func (f *fitter) cost(z, r []float64) float64 {
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	for i := range z {
		d := (z[i] - f.prior[i].Middle) / f.prior[i].Left
		sum += d * d
	}
	return sum
}

// descend moves the free numbers some times, and says what of the deviation of each is left.
func (f *fitter) descend(z, r []float64, rounds int) (at, residuals, left []float64, err error) {
	n := len(z)
	for range rounds {
		a, b := make([][]float64, n), make([]float64, n)
		slopes := make([][]float64, n)
		for i := range n {
			if !f.free[i] {
				continue
			}
			moved := append([]float64(nil), z...)
			h := step
			if z[i] > 0 {
				h = -step // back towards what was believed
			}
			moved[i] += h
			other, err := f.residuals(moved)
			if err != nil {
				return nil, nil, nil, err
			}
			for k := range other {
				slopes[i] = append(slopes[i], (other[k]-r[k])/h)
			}
		}
		for i := range n {
			a[i] = make([]float64, n)
			left := f.prior[i].Left
			a[i][i] = 1 / (left * left)
			if !f.free[i] {
				continue
			}
			b[i] = -(z[i] - f.prior[i].Middle) / (left * left)
			for k, v := range slopes[i] {
				b[i] -= v * r[k]
			}
			for j := range n {
				for k := range slopes[j] {
					a[i][j] += slopes[i][k] * slopes[j][k]
				}
			}
		}
		move, spread := solve(a, b)
		left = spread
		better := false
		for share := 1.0; share > 0.2 && !better; share /= 2 {
			next := append([]float64(nil), z...)
			for i := range next {
				if f.free[i] {
					next[i] = min(max(z[i]+share*move[i], -Furthest), Furthest)
				}
			}
			other, err := f.residuals(next)
			if err != nil {
				return nil, nil, nil, err
			}
			if better = f.cost(next, other) < f.cost(z, r); better {
				z, r = next, other
			}
		}
		if !better {
			break
		}
	}
	return z, r, left, nil
}

// solve solves a x = b by Cholesky's factors of a, which is symmetric and positive definite,
// and gives the roots of the diagonal of its inverse.
func solve(a [][]float64, b []float64) (x, roots []float64) {
	n := len(b)
	l := make([][]float64, n)
	for i := range n {
		l[i] = make([]float64, n)
		for j := 0; j <= i; j++ {
			sum := a[i][j]
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			if i == j {
				l[i][i] = math.Sqrt(sum)
			} else {
				l[i][j] = sum / l[j][j]
			}
		}
	}
	by := func(b []float64) []float64 {
		x := append([]float64(nil), b...)
		for i := range n {
			for k := range i {
				x[i] -= l[i][k] * x[k]
			}
			x[i] /= l[i][i]
		}
		for i := n - 1; i >= 0; i-- {
			for k := i + 1; k < n; k++ {
				x[i] -= l[k][i] * x[k]
			}
			x[i] /= l[i][i]
		}
		return x
	}
	for i := range n {
		unit := make([]float64, n)
		unit[i] = 1
		roots = append(roots, math.Sqrt(by(unit)[i]))
	}
	return by(b), roots
}
