package campaign

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestCampaignBent is TestCampaign with someone who changes stages while they run, at any
// time and to anything: a tenth as many batches. Repeat one with -run TestSeed and the seed
// printed.
func TestCampaignBent(t *testing.T) {
	if *oneSeed != 0 {
		t.Skip("one seed only")
	}
	outcomes, orders := map[string]int{}, map[string]int{}
	bent, good := 0, 0
	for _, r := range campaign(t, *first|Bending, max(*batches/10, 6)) {
		judged(t, r)
		outcomes[r.Result.Outcome]++
		said := r.Setup.Operator.(*bender).said
		for _, o := range said {
			orders[o.command.Kind.String()]++
		}
		if bent += len(said); r.Result.AsPlanned() {
			good++
		}
	}
	assert.Positive(t, bent)
	t.Logf("%v; %d good; orders %v", outcomes, good, orders)
}
