package campaign

import (
	"context"
	"flag"
	"fmt"
	"runtime"
	"slices"
	"sort"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/sim/fault"
)

var (
	oneSeed = flag.Uint64("seed", 0, "run only the batch of this seed, and print all about it")
	batches = flag.Int("batches", 40, "how many batches to run")
	first   = flag.Uint64("first", 1, "seed of the first batch")
	plainly = flag.Bool("faultless", false, "draw the same batches without their faults: what trips then is a nuisance")
	only    = flag.String("kinds", "", "draw only these kinds of fault, separated by commas; repeat a seed with the same ones")
)

// campaign runs batches on all cores.
func campaign(t *testing.T, from uint64, n int) []*Report {
	stock, err := Shipped()
	require.NoError(t, err)
	for _, name := range strings.FieldsFunc(*only, func(r rune) bool { return r == ',' }) {
		i := slices.IndexFunc(fault.All(), func(k fault.Kind) bool { return k.String() == name })
		require.GreaterOrEqual(t, i, 0, "-kinds: no kind %q; fumarium rehearse --help lists them", name)
		stock.Kinds = append(stock.Kinds, fault.All()[i])
	}
	stock.Faultless = *plainly
	return onAllCores(t, n, func(i int) (*Report, error) { return Run(context.Background(), stock, from+uint64(i)) })
}

// onAllCores gives what do makes of each number below n.
func onAllCores[T any](t *testing.T, n int, do func(i int) (T, error)) []T {
	made, errs := make([]T, n), make([]error, n)
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				made[i], errs[i] = do(i)
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		require.NoError(t, err)
	}
	return made
}

func TestCampaign(t *testing.T) {
	long(t)
	if *oneSeed != 0 {
		t.Skip("one seed only")
	}
	outcomes := map[string]int{}
	steps, good, cold := 0, 0, 0
	spent := 0.0
	plain := nuisances{}
	for _, r := range campaign(t, *first, *batches) {
		judged(t, r)
		outcomes[r.Result.Outcome]++
		steps += r.Steps
		if r.Result.AsPlanned() {
			good++
		}
		if r.WitnessCold {
			cold++
		}
		if plain.count(t, r) {
			spent = max(spent, r.HeatSpent)
		}
	}
	t.Logf("%d batches, %d steps: %v; %d good, of which %d would leave a piece 10 %% thicker in stiller air short of its heat",
		*batches, steps, outcomes, good, cold)
	t.Logf("%s; at most %.2f of the time that heat may last", plain, spent)
}

// opened is how long somebody may have a door open at a time. Beyond that it was left open,
// which this program is to say without a switch, too.
const opened = 10 * time.Minute

// nuisances counts batches without a fault but doors that were opened for a while, and what
// called the person in them.
type nuisances struct {
	batches, tripped int
	calls            map[string]int
}

// count takes in a batch, and reports whether it is one of these.
func (n *nuisances) count(t *testing.T, r *Report) bool {
	if slices.ContainsFunc(r.Setup.Faults, func(f fault.Fault) bool { return f.Kind != fault.DoorOpen || f.For == 0 || f.For > opened }) {
		return false
	}
	if n.batches++; n.calls == nil {
		n.calls = map[string]int{}
	}
	tripped := false
	for _, a := range r.Result.Alarms {
		if a.Priority == trip.Later.String() {
			continue
		}
		n.calls[a.Code]++
		word := "said"
		if c, _ := trip.Parse(a.Code); c.Entry().Trips {
			tripped, word = true, "TRIPPED"
		}
		t.Logf("without a fault %s: %s at %.0f s, seed %d: %s", word, a.Code, a.AtSeconds, r.Seed, Describe(r.Setup))
	}
	if tripped {
		n.tripped++
	}
	return true
}

func (n nuisances) String() string {
	return fmt.Sprintf("%d batches without a fault, %d of them tripped; loud alarms in them: %v", n.batches, n.tripped, n.calls)
}

// TestSeed repeats one batch: go test ./sim/campaign -run TestSeed -seed N -v
func TestSeed(t *testing.T) {
	if *oneSeed == 0 {
		return // only with -seed
	}
	r := campaign(t, *oneSeed, 1)[0]
	judged(t, r)
	t.Logf("%s\n%+v", Describe(r.Setup), *r.Result)
}

// known is a rule that some faults are known to break, and why that is so.
type known struct {
	rule   Rule
	all    []fault.Kind // all of them happened
	any    []fault.Kind // and one of these
	slight bool         // and the rule is broken by no more than a probe is off unnoticed
	why    string
}

// knownLimits are lies that nothing on board can tell from the truth, or not at once.
// They belong into the cautions, not out of sight.
var knownLimits = []known{
	{rule: CoreWasThere, any: []fault.Kind{fault.CoreOffset}, why: coreOffset},
	{rule: ClaimIsTrue, any: []fault.Kind{fault.CoreOffset}, why: coreOffset},
	{rule: CoreWasThere, any: []fault.Kind{fault.CoreWire}, why: coreWire},
	{rule: ClaimIsTrue, any: []fault.Kind{fault.CoreWire}, why: coreWire},
	{rule: ClaimIsTrue, any: []fault.Kind{fault.CoreFrozen},
		why: "a core that stands still is known for frozen only after half an hour or more; what was counted until then stays"},
	{rule: CoreWasThere, any: []fault.Kind{fault.CoreOut, fault.CoreSwapped}, slight: true, why: coreInAir},
	{rule: ClaimIsTrue, any: []fault.Kind{fault.CoreOut, fault.CoreSwapped}, slight: true, why: coreInAir},
	{rule: CoreWasThere, all: []fault.Kind{fault.Careless}, any: []fault.Kind{fault.CoreOut, fault.CoreSwapped}, why: believed},
	{rule: ClaimIsTrue, all: []fault.Kind{fault.Careless}, any: []fault.Kind{fault.CoreOut, fault.CoreSwapped}, why: believed},
}

const (
	coreOffset = "a core probe that reads a few kelvin wrong looks like meat of another temperature; nothing is called good by it"
	coreWire   = "a core probe of another wire than its chip is set to looks like meat of another temperature; nothing is called good by it"
	coreInAir  = "a core probe that slips into air within 2 K of the core's temperature makes no jump"
	believed   = "who says that the probe is back in the meat is believed"
)

// excused finds why a violation is known.
func excused(r *Report, v Violation) (string, bool) {
	for _, k := range knownLimits {
		happened := func(kind fault.Kind) bool { return fault.Any(r.Setup.Faults, kind) }
		if k.rule == v.Rule && fault.Any(r.Setup.Faults, k.any...) && !slices.ContainsFunc(k.all, func(kind fault.Kind) bool { return !happened(kind) }) &&
			(!k.slight || v.Slight) {
			return k.why, true
		}
	}
	return "", false
}

func judged(t *testing.T, r *Report) {
	kinds := ""
	if *only != "" {
		kinds = " -kinds " + *only
	}
	if *plainly {
		kinds += " -faultless"
	}
	sort.Slice(r.Violations, func(a, b int) bool { return r.Violations[a].At < r.Violations[b].At })
	for _, v := range r.Violations {
		if why, ok := excused(r, v); ok {
			t.Logf("seed %d at %s: %s: %s (known: %s)", r.Seed, v.At, v.Rule, v.Text, why)
			continue
		}
		t.Errorf("at %s broken: %s: %s\n  %s\n  repeat: go test ./sim/campaign -run TestSeed -v -seed %d%s", v.At, v.Rule, v.Text, Describe(r.Setup), r.Seed, kinds)
	}
}

// long leaves out a test under -short: minutes of one goroutine's steps, which the race
// detector would make ten times as long and could find nothing in. CI runs it without.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and of one goroutine: it runs without -short")
	}
}
