package web

import (
	"context"
	"net/http"
)

// Upkeep is what of the cabinet is due to be looked after.
type Upkeep struct {
	Tasks       []Task   `json:"tasks"`
	Wood        []Burnt  `json:"wood"`
	Calibration []string `json:"calibration"` // core probes whose calibration is old or has no date
	Copies      *string  `json:"copies"`      // why not every batch has its copy; null is none or well
}

// A Task is one thing to look after.
type Task struct {
	Name  string `json:"task"`
	Text  string `json:"text"`
	Since string `json:"since"`
	Due   bool   `json:"due"`
}

// Burnt is the wood of one species.
type Burnt struct {
	Species   string  `json:"species"`
	Kilograms float64 `json:"kilograms"`
}

func (s *server) upkeep(w http.ResponseWriter, r *http.Request) *problem {
	if s.Upkeep == nil {
		return refuse(http.StatusNotFound, "this daemon keeps no book of upkeep")
	}
	var u *Upkeep
	p := s.reading(r, func(ctx context.Context) *problem {
		var err error
		if u, err = s.Upkeep(ctx); err != nil {
			return refuse(http.StatusServiceUnavailable, "the book of upkeep could not be read: %v", err)
		}
		return nil
	})
	if p == nil {
		writeJSON(w, "application/json", http.StatusOK, u)
	}
	return p
}

// upkeepDone takes the word of a person.
func (s *server) upkeepDone(w http.ResponseWriter, r *http.Request) *problem {
	body, p := bodyOf(w, r)
	if p != nil {
		return p
	}
	var task string
	if err := readStrings(body, "this", `{"task": "generator"}`, []field{{"task", &task, 0}}); err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	if s.UpkeepDone == nil {
		return refuse(http.StatusNotFound, "this daemon keeps no book of upkeep")
	}
	if err := s.UpkeepDone(task, s.who(r)); err != nil {
		return refuse(http.StatusUnprocessableEntity, "%v", err)
	}
	s.kept(w, Kept{Told: []string{task}})
	return nil
}
