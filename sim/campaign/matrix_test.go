package campaign

import (
	"context"
	"flag"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/sim/fault"
)

var matrix = flag.Int("matrix", 60, fmt.Sprintf("how many cells to run of the matrix of every two faults and every occasion; there are %d", cells()))

// Two faults at once, where a batch is least at rest: at a stage border, at a hand step, and
// while the controller is away or comes back. The rules are those of TestCampaign.
func TestTwoFaultsAtOnce(t *testing.T) {
	long(t)
	if *oneSeed != 0 {
		t.Skip("one seed only")
	}
	outcomes, good := map[occasion]map[string]int{}, 0
	for _, r := range campaign(t, *first|Paired, *matrix) {
		judged(t, r)
		_, _, on := cell(r.Seed)
		if outcomes[on] == nil {
			outcomes[on] = map[string]int{}
		}
		outcomes[on][r.Result.Outcome]++
		if r.Result.AsPlanned() {
			good++
		}
	}
	for on, came := range outcomes {
		t.Logf("two faults %s: %v", on, came)
	}
	t.Logf("%d of %d cells; %d good", *matrix, cells(), good)
}

// As many seeds as there are cells have each two kinds at each occasion once, and they begin
// together there.
func TestTheMatrixHasEveryPair(t *testing.T) {
	type key struct {
		one, other fault.Kind
		on         occasion
	}
	seen := map[key]bool{}
	for seed := range uint64(cells()) {
		one, other, on := cell(seed | Paired)
		assert.NotEqual(t, one, other)
		seen[key{one, other, on}] = true
	}
	assert.Len(t, seen, cells())

	stock, err := Shipped()
	require.NoError(t, err)
	for seed := range uint64(4) {
		seed |= Paired
		setup, again := stock.Draw(seed), stock.Draw(seed)
		require.NoError(t, pair(context.Background(), &setup, seed))
		require.NoError(t, pair(context.Background(), &again, seed))
		assert.Equal(t, setup.Faults, again.Faults)
		one, other, on := cell(seed)
		drawn := setup.Faults[len(setup.Faults)-2:]
		assert.Equal(t, []fault.Kind{one, other}, []fault.Kind{drawn[0].Kind, drawn[1].Kind})
		apart := map[occasion]time.Duration{atABorder: 2 * borderWithin, atAHandStep: time.Hour, whileItIsAway: longestAway + comesBack}[on]
		assert.LessOrEqual(t, (drawn[0].At - drawn[1].At).Abs(), apart, on)
	}
}
