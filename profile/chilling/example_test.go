package chilling_test

import (
	"fmt"
	"time"

	"fumarium/profile/chilling"
	"fumarium/profile/quantity"
)

// A roll leaves the cook at 160 °F and passes 130 °F after half an hour. From there
// it takes 85 min to 80 °F, where 90 are allowed, and 285 more to 40 °F, where 300
// are.
func ExampleRule_Over() {
	rule := chilling.Uncured()
	var log []chilling.Point
	for _, reading := range [][2]float64{{0, 160}, {30, 130}, {75, 100}, {115, 80}, {240, 55}, {400, 40}} {
		log = append(log, chilling.Point{At: time.Duration(reading[0]) * time.Minute, Temperature: quantity.FromFahrenheit(reading[1])})
	}
	state := rule.Over(log)
	for _, leg := range rule.Legs(state) {
		fmt.Printf("%.0f to %.0f °F: %v of %v, pass: %t\n", leg.From.Fahrenheit(), leg.To.Fahrenheit(), leg.Took, leg.Within, leg.Pass)
	}
	fmt.Println("pass:", rule.Pass(state))
	// Output:
	// 130 to 80 °F: 1h25m0s of 1h30m0s, pass: true
	// 80 to 40 °F: 4h45m0s of 5h0m0s, pass: true
	// pass: true
}
