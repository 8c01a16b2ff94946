package sim

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"sort"
	"sync"
	"sync/atomic"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// How much rehearsals of a spread differ from the setup they start from: standard
// deviations of normal draws cut off at two of them. Common practice, no source.
const (
	spreadLoad     = 0.05 // relative
	spreadDiameter = 0.03 // relative
	spreadAmbient  = 2.0  // K
	spreadFilm     = 0.10 // relative
)

// Spread rehearses the setup runs times on all cores, each time with another seed
// and with load, diameter, ambient and film coefficient drawn around the setup's; unless
// the setup fixes them, so are the person's answers.
// The first run is the setup itself. progress is called from several goroutines
// with the number of runs done. Equal setups give equal spreads, whatever the
// number of cores.
func Spread(ctx context.Context, setup Setup, runs int, progress func(done int)) (*SpreadResult, error) {
	if runs < 1 {
		runs = 1
	}
	results := make([]*Result, runs)
	errs := make([]error, runs)
	var next, done atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), runs) {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= runs {
					return
				}
				if results[i], errs[i] = Rehearse(ctx, Vary(setup, i), nil, nil); errs[i] != nil {
					next.Store(int64(runs)) // one failed or was cancelled: start no more
					return
				}
				n := done.Add(1)
				if progress != nil {
					progress(int(n))
				}
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return gather(setup.Product, results), nil
}

// gather sums up many rehearsals. The whole duration counts over all of them, the
// stages only over those that went as planned, which have every stage.
func gather(p *profile.Product, results []*Result) *SpreadResult {
	spread := &SpreadResult{Runs: len(results), Stages: []StageSpread{}}
	whole := make([]float64, 0, len(results))
	ends := make([][]float64, len(p.Stages))
	for _, r := range results {
		whole = append(whole, r.ElapsedSeconds)
		if !r.AsPlanned() {
			continue
		}
		spread.Complete++
		for i := range ends {
			ends[i] = append(ends[i], r.Stages[i].EndSeconds)
		}
	}
	sort.Float64s(whole)
	at := func(ordered []float64, q float64) float64 { return math.Round(quantile(ordered, q)) }
	spread.P10Seconds, spread.P50Seconds, spread.P90Seconds = at(whole, 0.1), at(whole, 0.5), at(whole, 0.9)
	for i := range ends {
		if len(ends[i]) == 0 {
			break
		}
		sort.Float64s(ends[i])
		spread.Stages = append(spread.Stages, StageSpread{
			Name: p.Stages[i].Name, EndP50Seconds: at(ends[i], 0.5), EndP90Seconds: at(ends[i], 0.9),
		})
	}
	return spread
}

// Vary is the setup of run i of a Spread; run 0 is the setup itself.
func Vary(s Setup, i int) Setup {
	if i == 0 {
		return s
	}
	r := rand.New(rand.NewPCG(s.Seed, uint64(i)))
	normal := func(deviation float64) float64 {
		for {
			if v := r.NormFloat64(); math.Abs(v) <= 2 {
				return v * deviation
			}
		}
	}
	load := loadOf(s) * quantity.Kilograms(1+normal(spreadLoad))
	diameter := s.Diameter
	if diameter == 0 {
		diameter = 2 * s.Product.Shape.HalfThickness()
	}
	diameter *= quantity.Meters(1 + normal(spreadDiameter))
	ambient := s.Cabinet.Ambient
	if s.Ambient != nil {
		ambient = *s.Ambient
	}
	ambient += quantity.Celsius(normal(spreadAmbient))
	film := s.FilmFactor
	if film == 0 {
		film = 1
	}
	s.Load, s.Diameter, s.Ambient = load, diameter, &ambient
	s.FilmFactor = film * (1 + normal(spreadFilm))
	s.Seed = r.Uint64()
	return s
}

// quantile interpolates between the ordered values (type 7 of Hyndman and Fan,
// The American Statistician 50, 1996).
func quantile(ordered []float64, q float64) float64 {
	at := q * float64(len(ordered)-1)
	low := int(math.Floor(at))
	if low+1 >= len(ordered) {
		return ordered[len(ordered)-1]
	}
	return ordered[low] + (at-float64(low))*(ordered[low+1]-ordered[low])
}
