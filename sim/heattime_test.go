package sim

import (
	"flag"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
)

var heatDraws = flag.Int("heat-draws", heatDrawsByDefault, "how many draws of each shipped product in each shipped cabinet to hold against the end of the heat")

// Every third pair of product and cabinet, and of that the setup itself and one draw.
const (
	heatDrawsByDefault = 2
	heatPairsEvery     = 3
)

// spentByGood is how much of the time that heat may last a good batch may use. Measured with
// -heat-draws 200 and -run '/(Mustard|Dill|Hayloft|Lovage|Heather)', 4,000 batches: at most
// 0.59, the cook of the turkey roll in the plywood cabinet; a stage of fixed time uses up
// to a half by itself. In 506 batches of the campaign without a fault, whose loads and
// rooms are drawn more widely: 0.70.
const spentByGood = 0.75

// The end of the heat is for what goes wrong: a shipped product in a shipped cabinet stays
// far away from it.
func TestGoodBatchesStayFarFromTheEndOfTheHeat(t *testing.T) {
	products, err := catalog.All()
	require.NoError(t, err)
	cabinets, err := shipped.All()
	require.NoError(t, err)
	for i, p := range products {
		for j, c := range cabinets {
			if *heatDraws == heatDrawsByDefault && (i+j)%heatPairsEvery != 0 {
				continue
			}
			t.Run(p.Value.Name+" in "+c.Value.Name, func(t *testing.T) {
				t.Parallel()
				m, err := controller.New(p.Value, c.Value)
				require.NoError(t, err)
				most, stage := 0.0, ""
				for n := range *heatDraws {
					r, err := Watch(t.Context(), Vary(Setup{Product: p.Value, Cabinet: c.Value, Seed: 1}, n), func(now *Moment) {
						if spent := m.HeatSpent(now.After); spent > most {
							most, stage = spent, p.Value.Stages[now.After.Stage].Name
						}
					})
					require.NoError(t, err)
					require.Equal(t, "complete", r.Outcome)
					for _, a := range r.Alarms {
						assert.NotContains(t, []string{"stage-overdue", "prompt-overdue", "heat-ended"}, a.Code, "draw %d", n)
					}
				}
				t.Logf("spent %.3f of the time at most, in stage %s", most, stage)
				assert.Less(t, most, spentByGood)
			})
		}
	}
}
