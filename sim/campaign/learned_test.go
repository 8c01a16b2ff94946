package campaign

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/sim"
)

// tuned is the stock with cabinets that have learned, each by an experiment of its own with
// noisy probes.
func tuned(t *testing.T) Stock {
	stock, err := Shipped()
	require.NoError(t, err)
	for i, e := range stock.Cabinets {
		_, learned, err := sim.Tune(context.Background(), sim.Setup{Product: stock.Products[0].Value, Cabinet: e.Value, Seed: uint64(i), Answer: sim.Brisk})
		require.NoError(t, err)
		require.NotEqual(t, cabinet.Learned{}, learned, e.Key)
		c := *e.Value
		c.Learned = learned
		stock.Cabinets[i].Value = &c
	}
	return stock
}

// TestCampaignLearned is TestCampaign in cabinets that have learned: what must hold after
// every step holds. A tenth as many batches.
func TestCampaignLearned(t *testing.T) {
	long(t)
	if *oneSeed != 0 {
		t.Skip("one seed only")
	}
	stock := tuned(t)
	n := max(*batches/10, 6)
	outcomes, good := map[string]int{}, 0
	for _, r := range onAllCores(t, n, func(i int) (*Report, error) { return Run(context.Background(), stock, *first+uint64(i)) }) {
		judged(t, r)
		outcomes[r.Result.Outcome]++
		if r.Result.AsPlanned() {
			good++
		}
	}
	t.Logf("%d batches in cabinets that have learned: %v, %d good", n, outcomes, good)
}

// No shipped product raises an alarm in a cabinet that has learned which it does not raise
// with the constants of its file. All of them in one cabinet, or with -batches 200 or more in
// each.
func TestLearningRaisesNoAlarm(t *testing.T) {
	long(t)
	plain, err := Shipped()
	require.NoError(t, err)
	learned := tuned(t)
	cabinets := 1
	if *batches >= 200 {
		cabinets = len(plain.Cabinets)
	}
	type pair struct{ before, after *sim.Result }
	n := len(plain.Products)
	for i, p := range onAllCores(t, n*cabinets, func(i int) (p pair, err error) {
		s := sim.Setup{Product: plain.Products[i%n].Value, Cabinet: plain.Cabinets[i/n].Value, Seed: 1, Answer: sim.Brisk}
		if p.before, err = sim.Rehearse(context.Background(), s, nil, nil); err != nil {
			return p, err
		}
		s.Cabinet = learned.Cabinets[i/n].Value
		p.after, err = sim.Rehearse(context.Background(), s, nil, nil)
		return p, err
	}) {
		before := map[string]bool{}
		for _, a := range p.before.Alarms {
			before[a.Code] = true
		}
		for _, a := range p.after.Alarms {
			assert.True(t, before[a.Code], "%s in %s raises %s", plain.Products[i%n].Key, plain.Cabinets[i/n].Key, a.Code)
		}
		assert.Equal(t, p.before.Outcome, p.after.Outcome, "%s in %s", plain.Products[i%n].Key, plain.Cabinets[i/n].Key)
	}
	t.Logf("%d products in %d cabinets", n, cabinets)
}
