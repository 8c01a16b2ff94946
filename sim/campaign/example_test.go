package campaign_test

import (
	"context"
	"fmt"

	"fumarium/sim/campaign"
)

// One batch of the campaign: what its seed draws, and the rules that it breaks.
func ExampleRun() {
	stock, err := campaign.Shipped()
	if err != nil {
		fmt.Println(err)
		return
	}
	report, err := campaign.Run(context.Background(), stock, 7)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("rules broken:", len(report.Violations))
	// Output:
	// rules broken: 0
}
