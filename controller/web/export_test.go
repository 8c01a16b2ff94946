package web

import "net/http"

// Routes lists the paths of h and their methods, for the test of the description.
func Routes(h http.Handler) map[string][]string {
	all := map[string][]string{}
	for path, methods := range h.(*server).routes {
		for m := range methods {
			all[path] = append(all[path], m)
		}
	}
	return all
}
