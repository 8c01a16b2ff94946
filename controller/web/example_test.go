package web_test

import (
	"fmt"
	"time"

	"fumarium/controller/web"
)

func ExampleNewStatus() {
	s := web.NewStatus(cooking(), noon.Add(1500*time.Millisecond))
	fmt.Println(s.Summary)
	fmt.Println(s.Commands)
	fmt.Printf("age %g s, wet bulb read: %t\n", *s.AgeSeconds, s.WetBulbCelsius != nil)
	// Output:
	// Cook: chamber 81.6 °C of 82 °C, core 63.2 °C; ends when core reaches 71 °C and lethality reaches 6.5
	// [hold adjust skip end-cooking stop abort]
	// age 1.5 s, wet bulb read: false
}
