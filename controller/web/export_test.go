package web

import "net/http"

// Routes lists the paths of h and their methods, for the test of the description.
func Routes(h http.Handler) map[string][]string {
	all := map[string][]string{}
	for _, r := range h.(*server).routes {
		all[r.path] = append(all[r.path], r.method)
	}
	return all
}
