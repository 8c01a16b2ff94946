package shipped_test

import (
	"fmt"

	"fumarium/controller/cabinet/shipped"
)

// The shipped cabinets are read like anybody's file.
func ExampleFind() {
	c, err := shipped.Find("fridge-body")
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(c.Value.Name, c.Value.Limits.ChamberHigh)
	_, err = shipped.Find("castle")
	fmt.Println(err != nil)
	// Output:
	// Converted refrigerator body 95 °C
	// true
}
