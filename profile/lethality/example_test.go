package lethality_test

import (
	"fmt"
	"time"

	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// A core that sits at 60 °C (140 °F) for twelve minutes has met its row. By the integral,
// 140 °F is 10 °F, one z, below the reference of 150 °F, so each of its minutes is worth a
// tenth of a minute there: F = 1.2 min; divided by D = 0.172 min that is 6.98 log10.
func ExampleCriterion_Add() {
	c := lethality.RedMeatCriterion()
	var s lethality.Count
	for range 12 * 60 {
		s = c.Add(s, 60, 60, time.Second)
	}
	fmt.Printf("%.2f log10 of %.1f, met: %t; F %.1f min, %.2f log10 by the integral\n", c.Log10(s), c.Required, c.Met(s), c.Equivalent(s).Minutes(), c.Integral(s))
	// Output: 6.50 log10 of 6.5, met: true; F 1.2 min, 6.98 log10 by the integral
}

// A bird held at 141.5 °F is judged by the row below, that of chicken at 141 °F: 28.7 min.
// Twenty minutes are 20/28.7 of its 7 log10. Reaching 142 °F afterwards adds to that row
// and starts the next.
func ExampleCriterion_Best() {
	c := lethality.PoultryCriterion(lethality.AnyBird, false)
	s := c.Add(lethality.Count{}, quantity.FromFahrenheit(141.5), quantity.FromFahrenheit(141.5), 20*time.Minute)
	row, counted, _ := c.Best(s)
	fmt.Printf("%.0f °F: %v of %v, %.1f log10\n", row.At.Fahrenheit(), counted, row.Hold, c.Log10(s))

	s = c.Add(s, quantity.FromFahrenheit(142), quantity.FromFahrenheit(142), 15*time.Minute)
	row, counted, _ = c.Best(s)
	fmt.Printf("%.0f °F: %v of %v, met: %t\n", row.At.Fahrenheit(), counted, row.Hold, c.Met(s))
	// Output:
	// 141 °F: 20m0s of 28m42s, 4.9 log10
	// 141 °F: 35m0s of 28m42s, met: true
}
