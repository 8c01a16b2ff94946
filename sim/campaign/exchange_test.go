package campaign

import (
	"context"
	"flag"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/sensors/thermocouple"
	"fumarium/sim"
	"fumarium/sim/fault"
)

var exchanges = flag.Int("exchanges", 2, "how many batches to draw for each way in which a core probe is exchanged, or comes loose")

// An exchange is what happens to a core probe in mid-batch, and when.
type exchange struct {
	name  string
	fault func(r draws, at time.Duration) []fault.Fault
	near  bool // while the core is about as warm as the board, else while it is far warmer
	wrong bool
}

var otherWires = []thermocouple.Type{thermocouple.J, thermocouple.E, thermocouple.N}

// wired is a core probe of another wire from some time on.
func wired(r draws, at time.Duration) fault.Fault {
	return fault.Fault{Kind: fault.CoreWire, At: at, Value: float64(otherWires[r.IntN(len(otherWires))])}
}

var exchangedCores = []exchange{
	{"exchanged, as warm as its board", func(r draws, at time.Duration) []fault.Fault { return []fault.Fault{wired(r, at)} }, true, true},
	{"exchanged with the power off", func(r draws, at time.Duration) []fault.Fault {
		off := time.Duration(r.log(10, 110)) * time.Second
		return []fault.Fault{{Kind: fault.PowerCut, At: at - 5*time.Second, For: off + 5*time.Second}, wired(r, at)}
	}, true, true},
	{"exchanged, far warmer", func(r draws, at time.Duration) []fault.Fault { return []fault.Fault{wired(r, at)} }, false, true},
	{"loose, far warmer", func(r draws, at time.Duration) []fault.Fault {
		return []fault.Fault{{Kind: fault.CoreOpen, At: at, For: time.Duration(r.log(3, 60)) * time.Second}}
	}, false, false},
	{"loose for a moment", func(r draws, at time.Duration) []fault.Fault {
		return []fault.Fault{{Kind: fault.CoreOpen, At: at, For: time.Duration(1+r.IntN(2)) * time.Second}}
	}, true, false},
}

// moment finds in the batch of a setup without faults a time at which its core is as near to
// the board as it gets, within 2 K, or at least 25 K warmer. Zero is none.
func moment(setup sim.Setup, r draws, near bool) (at time.Duration, cooked bool, err error) {
	var times []time.Duration
	result, err := sim.Watch(context.Background(), setup, func(m *sim.Moment) {
		apart := m.World.Built().Core() - *setup.Ambient
		heats := m.After.CurrentStage(setup.Product) != nil && !setup.Product.Chilling(m.After.Stage) && m.After.Batch.Active() && !m.After.Asking && m.Now > 10*time.Minute
		if heats && (near && math.Abs(float64(apart)) <= 2 || !near && apart >= 25) {
			times = append(times, m.Now)
		}
	})
	if err != nil || len(times) == 0 {
		return 0, false, err
	}
	return times[r.IntN(len(times))], result.Verdict[proof.Cooked].Answer == proof.Met, nil
}

// A core probe that is exchanged for one of another wire never shows a batch to be cooked, unless
// it is, be it while nothing can tell the two apart, or with the power off; one that comes loose and is
// the same again goes on showing it.
func TestAnExchangedCoreShowsNothing(t *testing.T) {
	long(t)
	stock, err := Shipped()
	require.NoError(t, err)
	for k, x := range exchangedCores {
		t.Run(x.name, func(t *testing.T) {
			met, of := 0, 0
			for _, c := range onAllCores(t, 3**exchanges, func(i int) (c struct{ plain, met, drawn bool }, err error) {
				seed := uint64(8800000 + 100000*k + i)
				r := draws{rand.New(rand.NewPCG(seed, 0x65786368))}
				setup := stock.Draw(seed)
				setup.Faults, setup.Answer = nil, 2*time.Minute
				if setup.Product.Criterion() == nil || cores(setup.Cabinet) == 0 {
					return c, nil
				}
				at, plain, err := moment(setup, r, x.near)
				if err != nil || at == 0 {
					return c, err
				}
				setup.Faults = x.fault(r, at)
				allowing, truth, before := setup.Product.Criterion().Allowing(-probeError), lethality.Count{}, *setup.Start
				result, err := sim.Watch(context.Background(), setup, func(m *sim.Moment) {
					core := m.World.Built().Core()
					truth, before = allowing.Add(truth, before, core, sim.Step), core
				})
				if err != nil {
					return c, err
				}
				c.plain, c.drawn, c.met = plain, true, result.Verdict[proof.Cooked].Answer == proof.Met
				if x.wrong { // what was cooked before stays so
					c.met = c.met && !allowing.Met(truth)
				}
				if c.met == x.wrong && plain {
					t.Logf("seed %d: %s; cooked %s: %s", seed, Describe(setup), result.Verdict[proof.Cooked].Answer, result.Verdict[proof.Cooked].Why)
				}
				return c, nil
			}) {
				if !c.drawn || !c.plain {
					continue
				}
				if of++; c.met {
					met++
				}
			}
			t.Logf("%d batches that would be shown cooked, %d are", of, met)
			require.NotZero(t, of)
			if x.wrong {
				assert.Zero(t, met)
			} else {
				assert.Equal(t, of, met)
			}
		})
	}
}

func cores(c *cabinet.Cabinet) (n int) {
	for i := range c.Probes {
		if c.Probes[i].Role == cabinet.CoreProbe {
			n++
		}
	}
	return n
}
