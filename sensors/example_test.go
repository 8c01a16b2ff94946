package sensors_test

import (
	"fmt"

	"fumarium/sensors"
)

// A reading gives its number only while it may be used. What could not be read is a
// status, never a number.
func ExampleReading() {
	for _, r := range []sensors.Reading{sensors.At(71.5), sensors.Fault(sensors.Open), {}} {
		if t, ok := r.Value(); ok {
			fmt.Println(t)
		} else {
			fmt.Println(r.Status())
		}
	}
	// Output:
	// 71.5 °C
	// open circuit
	// not read
}
