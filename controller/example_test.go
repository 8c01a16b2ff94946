package controller_test

import (
	"fmt"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/sensors"
)

// A batch begins, a chamber probe breaks, and the heater is off in the same step. Half a
// minute later that trips: what is latched then stays off, also when the probe answers
// again, until a person resets it.
func Example() {
	product, _ := catalog.Find("caraway-sticks")
	cabinet, _ := shipped.Find("plywood-cabinet")
	machine, err := controller.New(product.Value, cabinet.Value)
	if err != nil {
		fmt.Println(err)
		return
	}
	var state controller.State
	for second := range 60 {
		in := controller.Inputs{Elapsed: time.Duration(second) * time.Second}
		in.Chamber[0], in.Core[0] = sensors.At(20), sensors.At(4)
		switch {
		case second == 0:
			in.Command = controller.Command{Kind: controller.Start, Rested: 24 * time.Hour}
		case second >= 20:
			in.Chamber[0] = sensors.Fault(sensors.Open)
		}
		next, out, events := machine.Step(state, in)
		if second == 19 || second == 20 {
			fmt.Printf("%2d s: asked of the heater %.0f %%, on: %s\n", second, 100*next.Heater.Demand, out.On)
		}
		for _, e := range events {
			fmt.Printf("%2d s: %.60s\n", second, e.Text(product.Value))
		}
		state = next
	}
	// Output:
	// 0 s: batch running
	//  0 s: stage dry begins
	//  0 s: stage dry waits for the person: Hang the sticks so that none
	// 19 s: asked of the heater 25 %, on: fan
	// 20 s: asked of the heater 0 %, on: fan
	// 50 s: alarm chamber-lost (now): No chamber probe gives a usable re
	// 50 s: trip chamber-lost: heater latched off until reset
	// 50 s: batch holding
	// 51 s: batch held
}
