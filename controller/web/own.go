package web

import (
	"errors"
	"net/http"
	"strings"

	"fumarium/profile/source"
)

// A Shelf keeps products that people bring.
type Shelf interface {
	Names() ([]string, error)
	// Add keeps a file under a name, or makes one of the file's where it is empty, and says
	// which. It writes over another product only where replace says so, and else is ErrTaken.
	Add(name, file string, data []byte, replace bool) (kept string, err error)
}

// ErrTaken says that another product is kept under the name.
var ErrTaken = errors.New("another product is kept under this name already")

// productList is what a start can name.
type productList struct {
	Products []string `json:"products"` // own ones first
	Own      []string `json:"own"`
}

func (s *server) products(w http.ResponseWriter, _ *http.Request) *problem {
	list := productList{Own: []string{}}
	if s.Own != nil {
		names, err := s.Own.Names()
		if err != nil {
			return refuse(http.StatusServiceUnavailable, "own products cannot be read: %v", err)
		}
		list.Own = append(list.Own, names...)
	}
	list.Products = append(append([]string{}, list.Own...), s.productNames()...)
	writeJSON(w, "application/json", http.StatusOK, list)
	return nil
}

// asked is what a start would ask of findings: each in words, and whether one forbids it.
func asked(found source.Findings) (texts []string, forbidden bool) {
	texts = []string{}
	for _, f := range found {
		forbidden = forbidden || f.Severity == source.Error
		f.Excerpt = ""
		texts = append(texts, f.Severity.Asks()+": "+f.Error())
	}
	return texts, forbidden
}

// brought is the answer to a product that was kept.
type brought struct {
	Name     string   `json:"name"`
	Findings []string `json:"findings"` // advice; a start then wants a reason
}

// bring keeps a product that somebody wrote, unless something is wrong with it.
func (s *server) bring(w http.ResponseWriter, r *http.Request) *problem {
	body, p := bodyOf(w, r)
	if p != nil {
		return p
	}
	var name, file, text, replace string
	if err := readStrings(body, "a product", `{"file": "my-ring.yaml", "product_yaml": "..."}`, []field{
		{"name", &name, 0}, {"file", &file, 0}, {"product_yaml", &text, 0}, {"replace", &replace, 0},
	}); err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	switch {
	case s.Own == nil || s.Check == nil:
		return refuse(http.StatusConflict, "this daemon keeps no products")
	case file == "" || strings.TrimSpace(text) == "":
		return refuse(http.StatusUnprocessableEntity, "this needs file, the name of the file, and product_yaml, its text")
	case len(text) > MaxProduct:
		return refuse(http.StatusRequestEntityTooLarge, "the product file has more than %d bytes; check that it is the right one", MaxProduct)
	case replace != "" && replace != "yes":
		return refuse(http.StatusUnprocessableEntity, "replace is yes, or left out")
	}
	found, p := s.checked(file, []byte(text))
	if p != nil {
		return p
	}
	kept, err := s.Own.Add(name, file, []byte(text), replace == "yes")
	if errors.Is(err, ErrTaken) {
		p := refuse(http.StatusConflict, "%v; send replace: yes to have this one in its place, or another name", err)
		p.Excusable = true
		return p
	} else if err != nil {
		return refuse(http.StatusUnprocessableEntity, "the product was not kept: %v", err)
	}
	writeJSON(w, "application/json", http.StatusCreated, brought{kept, found})
	return nil
}

// checked holds a product file against what check says of it, and refuses one with errors.
func (s *server) checked(file string, data []byte) (advice []string, p *problem) {
	s.parsing.Lock()
	defer s.parsing.Unlock()
	product, found := s.Check(file, data)
	texts, forbidden := asked(found)
	if product == nil || forbidden {
		p := refuse(http.StatusUnprocessableEntity, "the file was not kept: %d things are wrong or unwise in it; mend what says error and bring it again", len(found))
		if len(found) == 1 {
			p.Detail = "the file was not kept: one thing is wrong with it; mend it and bring it again"
		}
		p.Findings = texts
		return nil, p
	}
	return texts, nil
}
