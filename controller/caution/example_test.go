package caution_test

import (
	"fmt"

	"fumarium/controller/caution"
)

// In front of a paper's own text, each line with a mark.
func ExampleMarked() {
	fmt.Println(caution.Marked("# ", "# ", caution.HeatReturns))
	// Output:
	// # Heat comes back: hands and tools out, door shut, nobody at the wiring.
}
