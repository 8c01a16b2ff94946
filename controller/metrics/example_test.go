package metrics_test

import (
	"bufio"
	"fmt"
	"net/http/httptest"
	"strings"

	"fumarium/controller/metrics"
	"fumarium/controller/snapshot"
)

// A probe that gives no reading is told by its good gauge; it has no temperature.
func ExampleMetrics_Handler() {
	m := metrics.New(func() *snapshot.Snapshot { return running() }, "0.1.0")
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	for lines := bufio.NewScanner(w.Body); lines.Scan(); {
		if line := lines.Text(); strings.HasPrefix(line, "fumarium_core_celsius") || strings.HasPrefix(line, "fumarium_probe_good{probe=\"th") {
			fmt.Println(line)
		}
	}
	// Output:
	// fumarium_core_celsius{probe="thick end"} 63.125
	// fumarium_probe_good{probe="thick end"} 1
	// fumarium_probe_good{probe="thin end"} 0
}
