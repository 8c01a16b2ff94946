package web

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"fumarium/controller"
)

// The commands that are none of the controller's: they put something on the record of a
// batch, under way or long over.
const (
	Note    = "note"
	Weigh   = "weigh"
	Declare = "declare"
	Rate    = "rate"
	Repeat  = "repeat"
	Decide  = "decide"
)

// facts are those that a Keeper takes, with the fields of each.
var facts = map[string][]string{
	Weigh:   {"what", "mass", "lot", "pack", "form"},
	Declare: {"what", "text"},
	Rate:    {"what", "mark", "text"},
	Repeat:  {"what"},
	Decide:  {"what", "text"},
}

// Kept is what became of a fact.
type Kept struct {
	Told       []string // what is on record of it now
	Deviations []string // what is off, as far as that shows
	Bad        bool     // the food must not be eaten for it before somebody has judged
}

// note keeps a note on a batch, the one under way or the last unless it is named.
func (s *server) note(w http.ResponseWriter, r *http.Request, o *Order) *problem {
	s.which(o)
	switch {
	case s.Note == nil || o.Batch == "":
		return refuse(http.StatusConflict, "there is no batch to note anything on; name one with batch")
	case strings.TrimSpace(o.Text+o.Mark) == "" || len(o.Text) > maxNote || len(o.Mark) > maxMark:
		return refuse(http.StatusUnprocessableEntity, "a note needs text, at most %d bytes, or a mark, at most %d", maxNote, maxMark)
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	if err := s.Note(ctx, s.who(r), o.Batch, strings.TrimSpace(o.Text), strings.TrimSpace(o.Mark)); err != nil {
		return refuse(http.StatusConflict, "the note was not kept: %v", err)
	}
	s.kept(w, Kept{})
	return nil
}

// fact keeps what a person knows of a batch, likewise.
func (s *server) fact(w http.ResponseWriter, r *http.Request, o *Order) *problem {
	s.which(o)
	if s.Keep == nil || o.Batch == "" {
		return refuse(http.StatusConflict, "there is no batch to keep that with; name one with batch")
	}
	for _, f := range o.fields() {
		if *f.value != "" && f.name != "batch" && !slices.Contains(facts[o.Command], f.name) {
			return refuse(http.StatusUnprocessableEntity, "%s takes no %s; leave it out", o.Command, f.name)
		}
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	o.Who = s.who(r)
	kept, err := s.Keep(ctx, o)
	if err != nil {
		return refuse(http.StatusConflict, "%v", err)
	}
	s.kept(w, kept)
	return nil
}

// which names the batch that an order is for, if it does not.
func (s *server) which(o *Order) {
	if snap := s.Loop.Snapshot(); o.Batch == "" && snap != nil {
		o.Batch = snap.BatchID
	}
}

func (s *server) kept(w http.ResponseWriter, k Kept) {
	state := controller.Idle
	if snap := s.Loop.Snapshot(); snap != nil {
		state = snap.State.Batch
	}
	writeJSON(w, "application/json", http.StatusOK, Accepted{State: state.String(), Recorded: true, Told: k.Told, Deviations: k.Deviations, Bad: k.Bad})
}
