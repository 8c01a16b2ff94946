package sim_test

import (
	"context"
	"fmt"
	"time"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

// A whole batch before anything is lit, in a fraction of a second.
func ExampleRehearse() {
	product, _ := catalog.Find("caraway-sticks")
	cabinet, _ := shipped.Find("plywood-cabinet")
	result, err := sim.Rehearse(context.Background(), sim.Setup{
		Product: product.Value, Cabinet: cabinet.Value, Seed: 1, Answer: 2 * time.Minute,
	}, nil, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(result.Outcome, result.Good())
	for _, s := range result.Stages {
		fmt.Println(s.Name, s.EndedBy)
	}
	// Output:
	// complete true
	// dry confirm
	// smoke after
	// cook core
	// chill core
	// bloom after
}
