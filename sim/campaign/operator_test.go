package campaign

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/sim"
)

// TestCampaignOperated is TestCampaign with people at the cabinet: half as many
// batches, those of the same seeds. Repeat one with -run TestSeed and the seed printed.
func TestCampaignOperated(t *testing.T) {
	long(t)
	if *oneSeed != 0 {
		t.Skip("one seed only")
	}
	outcomes, orders := map[string]int{}, map[string]int{}
	steps, good := 0, 0
	for _, r := range campaign(t, *first|Operated, max(*batches/2, 1)) {
		judged(t, r)
		outcomes[r.Result.Outcome]++
		steps += r.Steps
		if r.Result.AsPlanned() {
			good++
		}
		for _, o := range r.Setup.Operator.(*operator).said {
			orders[o.command.Kind.String()]++
		}
	}
	t.Logf("%d batches, %d steps: %v; %d good; orders %v", max(*batches/2, 1), steps, outcomes, good, orders)
}

// The people change neither product nor faults of a seed, and a seed gives them again.
func TestOperatedIsTheSameBatch(t *testing.T) {
	stock, err := Shipped()
	require.NoError(t, err)
	doors, kinds := 0, map[controller.CommandKind]bool{}
	for seed := uint64(1); seed <= 60; seed++ {
		plain, operated, again := stock.Draw(seed), stock.Draw(seed|Operated), stock.Draw(seed|Operated)
		assert.Nil(t, plain.Operator)
		assert.Equal(t, plain.Product.Name, operated.Product.Name)
		for i, f := range plain.Faults {
			assert.Equal(t, f, operated.Faults[i])
		}
		assert.Equal(t, plain.Seed, operated.Seed)
		assert.False(t, plain.Cabinet.Door.Fitted)
		if operated.Cabinet.Door.Fitted {
			doors++
		}
		var s controller.State
		for now := sim.Step; now < 24*time.Hour; now += sim.Step {
			a, taken := operated.Operator.Order(now, &s)
			b, takenAgain := again.Operator.Order(now, &s)
			if a != b || taken != takenAgain {
				t.Fatalf("seed %d at %s: %+v, then %+v", seed, now, a, b)
			}
			kinds[a.Kind] = true
		}
	}
	assert.InDelta(t, 30, doors, 15)
	for _, k := range append(controller.Commands(), controller.NoCommand, controller.CommandKinds) {
		// Ice and Tune are between two batches; these people are at one, and others bend its stages.
		if k == controller.Ice || k == controller.Tune || k.Needs()&controller.WithStage != 0 {
			continue
		}
		assert.True(t, kinds[k], "%s never drawn", k)
	}
}
