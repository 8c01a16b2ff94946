package lethality_test

import (
	"fmt"
	"time"

	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// A core that sits at 60 °C (140 °F) is 10 °F, one z, below the reference of
// 150 °F, so each of its minutes is worth a tenth of a minute there. Twelve
// minutes make F = 1.2 min; divided by D = 0.172 min that is 6.98 log10.
func ExampleCriterion_Add() {
	c := lethality.RedMeatCriterion(false)
	var s lethality.Count
	for range 12 * 60 {
		s = c.Add(s, 60, 60, time.Second)
	}
	fmt.Printf("F %.1f min, %.2f log10 of %.1f, met: %t\n", c.Equivalent(s).Minutes(), c.Log10(s), c.Required, c.Met(s))
	// Output: F 1.2 min, 6.98 log10 of 6.5, met: true
}

// Chicken held at 141 °F is judged by the row below, 140 °F: 35 min. Twenty
// minutes are 20/35 of its 7 log10. Reaching 142 °F afterwards adds to that row
// and starts the next.
func ExampleCriterion_Best() {
	c := lethality.PoultryCriterion(lethality.FatUnknown)
	s := c.Add(lethality.Count{}, quantity.FromFahrenheit(141), quantity.FromFahrenheit(141), 20*time.Minute)
	row, counted, _ := c.Best(s)
	fmt.Printf("%.0f °F: %v of %v, %.1f log10\n", row.At.Fahrenheit(), counted, row.Hold, c.Log10(s))

	s = c.Add(s, quantity.FromFahrenheit(142), quantity.FromFahrenheit(142), 15*time.Minute)
	row, counted, _ = c.Best(s)
	fmt.Printf("%.0f °F: %v of %v, met: %t\n", row.At.Fahrenheit(), counted, row.Hold, c.Met(s))
	// Output:
	// 140 °F: 20m0s of 35m0s, 4.0 log10
	// 140 °F: 35m0s of 35m0s, met: true
}
