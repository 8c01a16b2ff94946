package campaign

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
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
	steps, good, plain := 0, 0, nuisances{}
	for _, r := range campaign(t, *first|Operated, max(*batches/2, 1)) {
		judged(t, r)
		plain.count(t, r)
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
	t.Log(plain)
}

// What people do in a walk-in of brick is no fault: its walls warm the air again, for long,
// after a door was open, while a batch is held, and behind a damper that was let go for that.
// Seeds that tripped, with the damper that is driven and with one set by hand.
func TestBrickThatWarmsTheAirAgainTripsNothing(t *testing.T) {
	long(t)
	stock, err := Shipped()
	require.NoError(t, err)
	stock.Faultless = true
	driven, byHand := stock, stock
	driven.Cabinets, byHand.Cabinets = nil, nil
	for _, c := range stock.Cabinets {
		if c.Key == "masonry-walk-in" {
			require.True(t, c.Value.Damper.Fitted)
			driven.Cabinets = append(driven.Cabinets, c)
			box := *c.Value
			box.Damper = cabinet.Relay{}
			c.Value = &box
			byHand.Cabinets = append(byHand.Cabinets, c)
		}
	}
	quiet := func(name string, stock Stock, seeds ...uint64) {
		for i, r := range onAllCores(t, len(seeds), func(i int) (*Report, error) { return Run(t.Context(), stock, seeds[i]|Operated) }) {
			for _, a := range r.Result.Alarms {
				c, _ := trip.Parse(a.Code)
				assert.False(t, c.Entry().Trips, "%s, seed %d: %s at %.0f s", name, seeds[i], a.Code, a.AtSeconds)
			}
		}
	}
	quiet("drawn", stock, 1000033, 1000174, 1000261)
	quiet("driven", driven, 1000016, 1000033, 1000054, 1000089, 1000106, 1000129, 1000191)
	quiet("by hand", byHand, 1000015, 1000033, 1000088)
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
