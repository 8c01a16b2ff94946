package sim

import (
	"context"
	"math"
	"runtime"
	"sort"
	"sync"
	"sync/atomic"

	"fumarium/controller"
	"fumarium/profile"
)

// Spread rehearses the setup runs times on all cores, each time with another seed
// and with all that is unknown drawn around the setup's: load, size, room, air, moisture,
// heat, probe and cabinet. Unless the setup fixes them, so are the person's answers.
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

// gather sums up many rehearsals. Times are of those that came to their end, whether or
// not a limit was met on the way: to leave out the slow ones would promise too much. One
// that never ended counts as later than all that did.
func gather(p *profile.Product, results []*Result) *SpreadResult {
	spread := &SpreadResult{Runs: len(results), Stages: []StageSpread{}}
	ends := make([][]float64, len(p.Stages))
	var asked [][]float64
	for i, hand := range results[0].Prompts {
		spread.Hands, asked = append(spread.Hands, HandSpread{Text: hand.Text}), append(asked, nil)
		for _, r := range results {
			if r.Outcome == controller.Complete.String() && i < len(r.Prompts) {
				asked[i] = append(asked[i], r.Prompts[i].AtSeconds)
			}
		}
	}
	for _, r := range results {
		if r.AsPlanned() {
			spread.Complete++
		}
		if r.Outcome != controller.Complete.String() {
			continue
		}
		spread.Ended++
		for i := range ends {
			ends[i] = append(ends[i], r.Stages[i].EndSeconds)
		}
	}
	if spread.Ended == 0 {
		return spread
	}
	at := func(ordered []float64, q float64) float64 {
		return math.Round(quantile(ordered, min(1, q*float64(spread.Runs)/float64(spread.Ended))))
	}
	for i := range asked {
		sort.Float64s(asked[i])
		h := &spread.Hands[i]
		h.Early, h.Middle, h.Latest = at(asked[i], 0.1), at(asked[i], 0.5), at(asked[i], 0.9)
	}
	for i := range ends {
		sort.Float64s(ends[i])
		spread.Stages = append(spread.Stages, StageSpread{
			Name: p.Stages[i].Name, EndP50Seconds: at(ends[i], 0.5), EndP90Seconds: at(ends[i], 0.9),
		})
	}
	whole := ends[len(ends)-1]
	spread.P10Seconds, spread.P50Seconds, spread.P90Seconds = at(whole, 0.1), at(whole, 0.5), at(whole, 0.9)
	return spread
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
