package web

import (
	"net/http"
)

// Routes lists the paths of h and their methods, for the test of the description.
func Routes(h http.Handler) map[string][]string {
	all := map[string][]string{}
	for _, r := range h.(*server).routes {
		all[r.path] = append(all[r.path], r.method)
	}
	return all
}

// Rendered is how often h has rendered something: charts, and all else.
func Rendered(h http.Handler) (charts, texts int) {
	s := h.(*server)
	for _, p := range []*press{&s.charts, &s.texts} {
		p.mu.Lock()
		defer p.mu.Unlock()
	}
	return s.charts.runs, s.texts.runs
}

// The limits that tests look at.
const MaxBody = maxBody
