package forecast_test

import (
	"context"
	"encoding/gob"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fault"
	"fumarium/sim/forecast"
	"fumarium/sim/foreign"
)

var (
	scoreBatches = flag.Int("score-batches", few, "how many batches the forecast is scored on, half of them of another structure; so few are all of one pair")
	scoreSeed    = flag.Uint64("score-seed", 1, "the first seed; 1 is what SCORE.md holds, 1000001 and on what was fitted on")
	scoreKeep    = flag.String("score-keep", "", "keep what was rehearsed in this folder")
)

// few batches are what is scored unless more are asked for: of one pair, undisturbed, with
// a smaller library, in seconds.
const (
	few       = 16
	fewOfPair = 2
)

// members is the size of a library.
func members() int {
	if *scoreBatches == few {
		return 32
	}
	return 64
}

// pairs are the products and cabinets that are scored: thin, thick, bare, cased; with and
// without a fan.
var pairs = [][2]string{
	{"marjoram-ring", "plywood-cabinet"}, {"hayloft-chicken", "fridge-body"}, {"caraway-sticks", "plywood-cabinet"},
	{"lovage-turkey-roll", "plywood-cabinet"}, {"bramble-deer-links", "fridge-body"}, {"dill-trout-sides", "plywood-cabinet"},
	{"juniper-ham", "fridge-body"}, {"marjoram-ring", "steel-box"},
}

// shortEnd is the product with short stages of rest at its end: nothing in them is hard to
// foretell.
func shortEnd(p *profile.Product) *profile.Product {
	short := *p
	short.Stages = slices.Clone(p.Stages)
	last := &short.Stages[len(short.Stages)-1]
	if c := last.Until.Conditions; !last.Heat && len(c) == 1 && c[0].Kind == profile.After {
		last.Until.Conditions = []profile.Condition{{Kind: profile.After, After: 20 * time.Minute}}
	}
	return &short
}

// believed is what a maker believes of a pair.
func believed(t *testing.T, pair [2]string) sim.Setup {
	t.Helper()
	p, err := catalog.Find(pair[0])
	require.NoError(t, err)
	c, err := shipped.Find(pair[1])
	require.NoError(t, err)
	return sim.Setup{Product: shortEnd(p.Value), Cabinet: c.Value, Seed: 1, Excused: true, Longest: 40 * time.Hour}
}

// truth is one batch that is scored.
type truth struct {
	Pair     int
	Other    bool // of another structure
	Never    string
	Track    forecast.Track
	Past     *sim.Past // that it went through, if it was disturbed
	From, To float64   // s, of that
}

// holder holds a batch at a time and restarts it later.
type holder struct{ at, to time.Duration }

func (h *holder) Order(now time.Duration, s *controller.State) (controller.Command, bool) {
	switch {
	case now >= h.at && now < h.to && s.Batch == controller.Running:
		return controller.Command{Kind: controller.Hold}, true
	case now >= h.at && now < h.to:
		return controller.Command{}, true
	case now >= h.to && s.Batch == controller.Held:
		return controller.Command{Kind: controller.Restart}, true
	}
	return controller.Command{}, false
}

// disturb lets one batch of sixty be held for a while, and one have its door open.
func disturb(s *sim.Setup, r *rand.Rand) (at, to time.Duration, door bool) {
	const among = 60
	which := r.IntN(among)
	at = time.Duration(40+r.IntN(160)) * time.Minute
	to = at + time.Duration(5+r.IntN(40))*time.Minute
	switch which {
	case 0:
		s.Operator = &holder{at, to}
	case 1:
		to = at + time.Duration(3+r.IntN(12))*time.Minute
		s.Faults = append(s.Faults, fault.Fault{Kind: fault.DoorOpen, At: at, For: to - at})
		return at, to, true
	default:
		return 0, 0, false
	}
	return at, to, false
}

func batch(t *testing.T, seed uint64, setups []sim.Setup) truth {
	r := rand.New(rand.NewPCG(seed, 0x73636f7265))
	b := truth{Pair: r.IntN(len(pairs)), Other: seed%2 == 0}
	if *scoreBatches == few {
		b.Pair = fewOfPair
	}
	s := setups[b.Pair]
	s.Seed = seed<<20 + 77
	if b.Other {
		room := s.Cabinet.Ambient + quantity.Celsius(8*r.Float64()-4)
		s.Ambient = &room
		s.Plant = foreign.New(s.Product, s.Cabinet, float64(room), seed)
	} else {
		s = sim.Vary(s, 1)
	}
	var at, to time.Duration
	var door bool
	if *scoreBatches != few {
		at, to, door = disturb(&s, r)
	}
	var trace sim.Trace
	result, err := sim.Rehearse(context.Background(), s, &trace, nil)
	require.NoError(t, err)
	m, ok := forecast.MemberOf(result, &trace)
	if to > 0 {
		var doors []sim.Interval
		if door {
			doors = []sim.Interval{{From: at, To: to}}
		}
		b.From, b.To = at.Seconds(), to.Seconds()
		b.Past = forecast.PastOf(&trace.History, to, doors)
	}
	if !ok {
		b.Never = result.Outcome + " " + result.Reason
		return b
	}
	b.Track = m.Track
	return b
}

// kept does something once and keeps it on disk when that is asked for.
func kept[T any](t *testing.T, name string, do func() T) (v T) {
	t.Helper()
	if *scoreKeep == "" {
		return do()
	}
	file := filepath.Join(*scoreKeep, name)
	if f, err := os.Open(file); err == nil {
		defer f.Close()
		require.NoError(t, gob.NewDecoder(f).Decode(&v))
		return v
	}
	v = do()
	f, err := os.Create(file)
	require.NoError(t, err)
	defer f.Close()
	require.NoError(t, gob.NewEncoder(f).Encode(v))
	return v
}

// each does something for every number below n, on all cores.
func each(n int, do func(i int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// A moment at which is scored: a clock time, or a share of the cook.
type moment struct {
	name string
	at   func(begins, ends float64) float64 // s
}

var moments = []moment{
	{"after 1 h", func(_, _ float64) float64 { return 3600 }},
	{"after 2 h", func(_, _ float64) float64 { return 7200 }},
	{"after 4 h", func(_, _ float64) float64 { return 14400 }},
	{"after 6 h", func(_, _ float64) float64 { return 21600 }},
	{"10 % of cook", func(b, e float64) float64 { return b + 0.10*(e-b) }},
	{"25 % of cook", func(b, e float64) float64 { return b + 0.25*(e-b) }},
	{"50 % of cook", func(b, e float64) float64 { return b + 0.50*(e-b) }},
	{"75 % of cook", func(b, e float64) float64 { return b + 0.75*(e-b) }},
	{"90 % of cook", func(b, e float64) float64 { return b + 0.90*(e-b) }},
}

// cook is from the beginning of the first stage that waits for a hot core to the end of
// the last.
func cook(p *profile.Product) (first, last int) {
	first, last = -1, -1
	for i := range p.Stages {
		if p.Stages[i].Until.Has(profile.CoreAtLeast) {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	return first, last
}

// cut is the track as it was at a time.
func cut(t *forecast.Track, at float64) *forecast.Track { return t.Until(at) }

// prior is the rehearsed plan, moved along: what is past has its times, the rest the
// lengths of the rehearsals.
func prior(l *forecast.Library, now *forecast.Track, last int) forecast.Span3 {
	var all []float64
	stage := now.Stages[len(now.Stages)-1]
	for i := range l.Members {
		at := stage.Began
		for _, s := range l.Members[i].Stages {
			if s.Index >= stage.Index && s.Index <= last {
				at = max(now.Elapsed, at+s.Ended-s.Began)
			}
		}
		all = append(all, at)
	}
	slices.Sort(all)
	q := func(q float64) float64 { return all[int(q*float64(len(all)-1)+0.5)] }
	return forecast.Span3{Early: q(0.1), Middle: q(0.5), Late: q(0.9)}
}

// straight goes on as the core rose in the last half hour. It can say nothing while the
// core does not rise.
func straight(now *forecast.Track, target float64) (forecast.Span3, bool) {
	n := len(now.Core) - 1
	from := max(0, n-30)
	rise := float64(now.Core[n]-now.Core[from]) / float64(n-from) // K/min
	if !(rise > 0.005) {
		return forecast.Span3{}, false
	}
	at := now.Elapsed + 60*(target-float64(now.Core[n]))/rise
	return forecast.Span3{Early: at, Middle: at, Late: at}, true
}

// tally is the score of one method over some batches.
type tally struct {
	n, silent, inside int
	pinball           []float64 // min
	ofCook, ofLeft    []float64 // error of the middle, as a share
}

func (y *tally) add(says forecast.Span3, said bool, ends, length, left float64) {
	y.n++
	if !said {
		y.silent++
		return
	}
	if says.Early <= ends && ends <= says.Late {
		y.inside++
	}
	loss := 0.0
	for q, v := range map[float64]float64{0.1: says.Early, 0.5: says.Middle, 0.9: says.Late} {
		loss += max(q*(ends-v), (q-1)*(ends-v)) / 3
	}
	y.pinball = append(y.pinball, loss/60)
	y.ofCook = append(y.ofCook, math.Abs(says.Middle-ends)/length)
	y.ofLeft = append(y.ofLeft, math.Abs(says.Middle-ends)/left)
}

func average(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func median(v []float64) float64 { return quantileOf(v, 0.5) }

func quantileOf(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	o := slices.Sorted(slices.Values(v))
	return o[int(q*float64(len(o)-1)+0.5)]
}

// interval is the 95 % interval of a share by Wilson (J. Am. Stat. Assoc. 22, 1927).
func interval(k, n int) (low, high float64) {
	if n == 0 {
		return 0, 1
	}
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	middle := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return middle - half, middle + half
}

func (y *tally) row(name string) string {
	said := y.n - y.silent
	low, high := interval(y.inside, said)
	return fmt.Sprintf("| %s | %d | %d | %.0f (%.0f to %.0f) | %.1f | %.1f | %.1f | %.1f |", name, y.n, y.silent, 100*float64(y.inside)/float64(said), 100*low, 100*high,
		average(y.pinball), 100*median(y.ofCook), 100*quantileOf(y.ofCook, 0.9), 100*median(y.ofLeft))
}

const head = "| | batches | silent | P10 to P90 holds it, % | pinball, min | median error, % of cook | nine in ten | median, % of what is left |\n|---|---|---|---|---|---|---|---|"

// score rehearses libraries and batches and scores every moment.
func score(t *testing.T, seed uint64, batches int) map[string]*tally {
	t.Helper()
	setups := make([]sim.Setup, len(pairs))
	libraries := make([]*forecast.Library, len(pairs))
	for i, pair := range pairs {
		setups[i] = believed(t, pair)
	}
	truths := make([]truth, batches)
	each(batches, func(i int) {
		n := seed + uint64(i)
		truths[i] = kept(t, fmt.Sprintf("batch-%d", n), func() truth { return batch(t, n, setups) })
	})
	wanted := map[int]bool{}
	for i := range truths {
		wanted[truths[i].Pair] = true
	}
	each(len(pairs), func(i int) {
		if wanted[i] {
			m := kept(t, fmt.Sprintf("library-%d", i), func() []forecast.Member {
				m, err := forecast.Draw(context.Background(), setups[i], 0, members(), nil)
				require.NoError(t, err)
				return m
			})
			libraries[i] = &forecast.Library{Product: setups[i].Product, Members: m}
		}
	})
	anew := make([][]forecast.Member, batches)
	each(batches, func(i int) {
		if b := &truths[i]; b.Past != nil && b.Never == "" {
			anew[i] = kept(t, fmt.Sprintf("anew-%d", seed+uint64(i)), func() []forecast.Member {
				setup := setups[b.Pair]
				setup.Past = b.Past
				m, err := forecast.Draw(context.Background(), setup, 0, members(), nil)
				require.NoError(t, err)
				return m
			})
		}
	})
	all := map[string]*tally{}
	of := func(name string) *tally {
		if all[name] == nil {
			all[name] = &tally{}
		}
		return all[name]
	}
	for i := range truths {
		b := &truths[i]
		family := "same"
		if b.Other {
			family = "other"
		}
		if b.Never != "" {
			of(family+" never ended").n++
			continue
		}
		first, last := cook(setups[b.Pair].Product)
		var begins, ends float64
		for _, s := range b.Track.Stages {
			if s.Index == first {
				begins = s.Began
			}
			if s.Index == last {
				ends = s.Ended
			}
		}
		target := 0.0
		for _, c := range setups[b.Pair].Product.Stages[last].Until.Conditions {
			if c.Kind == profile.CoreAtLeast {
				target = float64(c.Core)
			}
		}
		library := libraries[b.Pair]
		if b.Past != nil && b.To < ends-120 {
			setup := setups[b.Pair]
			setup.Past = b.Past
			library = &forecast.Library{Product: setup.Product, Members: anew[i]}
		}
		for _, m := range moments {
			at := math.Floor(m.at(begins, ends)/60) * 60
			if at >= ends-60 {
				continue
			}
			now := cut(&b.Track, at)
			length, left := ends-begins, ends-at
			if b.Past != nil && at >= b.From && at < b.To {
				continue // it is held, or the door is open
			}
			known := libraries[b.Pair]
			if b.Past != nil && at >= b.To {
				known = library
			}
			f := known.At(now)
			stage := now.Stages[len(now.Stages)-1].Index
			var says forecast.Span3
			if f.Missing == "" {
				says = f.Stages[last-stage]
			}
			groups := []string{family, pairs[b.Pair][1] + " " + family}
			if b.Past != nil && at >= b.To {
				groups = append(groups, "disturbed "+family)
			}
			for _, group := range groups {
				of(group+" | "+m.name+" | forecast").add(says, f.Missing == "", ends, length, left)
				of(group+" | "+m.name+" | prior").add(prior(libraries[b.Pair], now, last), true, ends, length, left)
				line, said := straight(now, target)
				of(group+" | "+m.name+" | straight line").add(line, said, ends, length, left)
			}
		}
	}
	return all
}

// A share of what SCORE.md holds: on batches of both structures together, the forecast
// loses less than the rehearsed plan from half of the cook on, and it is not silent.
func TestScore(t *testing.T) {
	all := score(t, *scoreSeed, *scoreBatches)
	t.Log("\n" + table(all))
	loss := func(method, at string) (sum float64) {
		for _, family := range []string{"same", "other"} {
			y := all[family+" | "+at+" | "+method]
			require.NotNil(t, y)
			require.Less(t, y.silent, y.n, "%s, %s", family, at)
			sum += average(y.pinball)
		}
		return sum
	}
	for _, at := range []string{"50 % of cook", "75 % of cook"} {
		assert.Less(t, loss("forecast", at), loss("prior", at), at)
	}
}

func table(all map[string]*tally) string {
	text := head
	for _, family := range []string{"same", "other", "plywood-cabinet same", "plywood-cabinet other", "fridge-body same", "fridge-body other", "steel-box same", "steel-box other", "disturbed same", "disturbed other"} {
		for _, m := range moments {
			for _, method := range []string{"forecast", "prior", "straight line"} {
				name := family + " | " + m.name + " | " + method
				if y := all[name]; y != nil {
					text += "\n" + y.row(family+", "+m.name+", "+method)
				}
			}
		}
		if y := all[family+" never ended"]; y != nil {
			text += fmt.Sprintf("\n\n%d batches, %s, never ended and are not scored\n", y.n, family)
		}
	}
	return text
}
