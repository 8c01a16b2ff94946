package web

import (
	"net/http"
	"strings"

	"fumarium/profile/assistant"
)

// choices are the fields of a choice by their keys.
func choices(c *assistant.Choice) []field {
	fields := []field{{"name", &c.Name, 0}, {"mass", &c.Mass, 0}}
	for _, f := range c.Fields() {
		fields = append(fields, field{f.Key, f.Value, 0})
	}
	return fields
}

// offers is what the product assistant offers, given what is chosen already.
func (s *server) offers(w http.ResponseWriter, r *http.Request) *problem {
	var c assistant.Choice
	query := r.URL.Query()
	for _, f := range choices(&c) {
		*f.value = query.Get(f.name)
	}
	writeJSON(w, "application/json", http.StatusOK, assistant.OffersFor(c))
	return nil
}

// writtenProduct is what the assistant wrote. Nothing of it is kept yet.
type writtenProduct struct {
	File        string `json:"file"`
	ProductYAML string `json:"product_yaml"`
}

// write has the assistant write a product, and refuses what does not pass check here.
func (s *server) write(w http.ResponseWriter, r *http.Request) *problem {
	body, p := bodyOf(w, r)
	if p != nil {
		return p
	}
	var c assistant.Choice
	if err := readStrings(body, "a choice", `{"name": "Beech links", "kind": "sausage"}`, choices(&c)); err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	text, err := assistant.Write(c)
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "it was not written: %v", err)
	}
	file := strings.ReplaceAll(strings.ToLower(c.Name), " ", "-") + ".yaml"
	if s.Check != nil {
		s.parsing.Lock()
		_, found := s.Check(file, []byte(text))
		s.parsing.Unlock()
		if len(found) > 0 {
			p := refuse(http.StatusUnprocessableEntity, "it was not written: it does not pass check in this cabinet; choose otherwise")
			p.Findings, _ = asked(found)
			return p
		}
	}
	writeJSON(w, "application/json", http.StatusOK, writtenProduct{file, text})
	return nil
}
