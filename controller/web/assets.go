package web

import (
	"bytes"
	"fmt"
	"net/http"

	"fumarium/controller/trip"
)

// parts are the files of the page's script, in the order in which they are read. They
// share one scope and go out as one file.
var parts = []string{"words.js", "units.js", "answer.js", "figure.js", "timeline.js", "lists.js", "start.js", "maker.js", "enter.js", "pair.js", "bend.js", "learn.js", "page.js"}

// pastParts are those of the page of earlier batches.
var pastParts = []string{"words.js", "units.js", "answer.js", "enter.js", "hand.js", "upkeep.js", "batches.js"}

// weighParts are those of the page on which weights, lots and photographs are put on record.
var weighParts = []string{"words.js", "units.js", "enter.js", "hand.js", "weigh.js"}

// script is a page's script, with the texts before it.
func script(parts []string) handler {
	texts, err := files.ReadFile("assets/texts.json")
	if err != nil {
		panic(err) // embedded: cannot be missing
	}
	whole := fmt.Appendf(nil, "const texts = %s;\n", bytes.TrimSpace(texts))
	for _, name := range parts {
		part, err := files.ReadFile("assets/" + name)
		if err != nil {
			panic(err)
		}
		whole = append(append(whole, part...), '\n')
	}
	return func(w http.ResponseWriter, _ *http.Request) *problem {
		answer(w, "text/javascript; charset=utf-8", http.StatusOK, whole)
		return nil
	}
}

// signs are the shapes of the page's icon: what wants a person, or none.
var signs = map[string]string{
	trip.Now.String():   `<path fill="#b00020" d="M8 1l7.5 14H.5z"/><path fill="#fff" d="M7 6h2v4H7zm0 5h2v2H7z"/>`,
	trip.Soon.String():  `<path fill="#943e00" d="M8 0l8 8-8 8-8-8z"/><path fill="#fff" d="M7 3h2v6H7zm0 7h2v2H7z"/>`,
	trip.Later.String(): `<circle fill="#6a5700" cx="8" cy="8" r="8"/><path fill="#fff" d="M7 3h2v6H7zm0 7h2v2H7z"/>`,
	"turn":              `<path fill="#1e2a33" d="M0 0h16v16H0z"/><path fill="#fff" d="M7 3h2v6H7zm0 8h2v2H7z"/>`,
	"lost":              `<path fill="#fff" stroke="#14181b" stroke-width="2" stroke-dasharray="3 2" d="M1 1h14v14H1z"/><path fill="none" stroke="#14181b" stroke-width="2" d="M5.500 6q0-2.500 2.500-2.500T10.500 6 8 8.500V10m0 1.500v2"/>`,
}

// icon is the one that the tab shows, with the sign that was asked for.
func (s *server) icon(w http.ResponseWriter, r *http.Request) *problem {
	shape, ok := signs[r.URL.Query().Get("sign")]
	if !ok {
		return asset("assets/icon.svg", "image/svg+xml")(w, r)
	}
	answer(w, "image/svg+xml", http.StatusOK, []byte(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16">`+shape+`</svg>`))
	return nil
}
