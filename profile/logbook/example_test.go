package logbook_test

import (
	"fmt"
	"strings"

	"fumarium/profile/logbook"
)

// Any logger's file with a time and columns that name their unit.
func ExampleRead() {
	log, err := logbook.Read("ring.csv", strings.NewReader("elapsed_minutes,core_fahrenheit,note\n0,41.0,in\n30,104.0,\n60,158.0,done\n"))
	if err != nil {
		fmt.Println(err)
		return
	}
	core := log.Columns[0]
	for row := range log.Rows() {
		t, ok := core.Reading(row)
		fmt.Println(log.At(row), t, ok)
	}
	fmt.Println("ignored:", log.Ignored)
	// Output:
	// 0s 5 °C true
	// 30m0s 40 °C true
	// 1h0m0s 70 °C true
	// ignored: [note]
}
