package web

import (
	"context"
	"errors"
	"io"
	"mime"
	"net/http"
)

// Accepted is the answer to a command that was taken.
type Accepted struct {
	State string `json:"state"` // of the batch, after the step that took it
	// Recorded says that the command is on disk; otherwise Unrecorded says why not.
	Recorded   bool   `json:"recorded"`
	Unrecorded string `json:"unrecorded,omitempty"`
	// Findings are what spoke against a start that was taken for a reason.
	Findings []string `json:"findings,omitempty"`
	// Of a fact: what is on record of it now, and what is off. Bad says that nobody must eat
	// of it before that is judged.
	Told       []string `json:"told,omitempty"`
	Deviations []string `json:"deviations,omitempty"`
	Bad        bool     `json:"bad,omitempty"`
}

// permitted says what forbids a request that changes something or costs much, whatever is in it.
func (s *server) permitted(r *http.Request) *problem {
	if p := s.foreign(r); p != nil {
		return p
	}
	if p := s.authorized(r); p != nil {
		return p
	}
	return plainJSON(r)
}

// allowed answers only who may start and change, and keeps their place meanwhile.
func (s *server) allowed(answer handler) handler {
	return func(w http.ResponseWriter, r *http.Request) *problem {
		if p := s.permitted(r); p != nil {
			return p
		}
		defer keepPlace(r.Context())()
		return answer(w, r)
	}
}

// ordered reads the order that a request brings.
func ordered(answer func(http.ResponseWriter, *http.Request, *Order) *problem) handler {
	return func(w http.ResponseWriter, r *http.Request) *problem {
		o, p := order(w, r)
		if p != nil {
			return p
		}
		return answer(w, r, o)
	}
}

// fromOurPage says what forbids a request that nobody has to be known for.
func (s *server) fromOurPage(r *http.Request) *problem {
	if p := s.foreign(r); p != nil {
		return p
	}
	return plainJSON(r)
}

// foreign refuses what a page of another site sends, whatever cookie goes with it.
func (s *server) foreign(r *http.Request) *problem {
	if err := s.origin.Check(r); err != nil {
		return refuse(http.StatusForbidden, "the request comes from another site's page; open this daemon's own page and do it there")
	}
	return nil
}

// plainJSON refuses what a form can send.
func plainJSON(r *http.Request) *problem {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return refuse(http.StatusUnsupportedMediaType, "a command is JSON; send it with \"Content-Type: application/json\"")
	}
	return nil
}

// bodyOf is the body of a request that is permitted.
func bodyOf(w http.ResponseWriter, r *http.Request) ([]byte, *problem) {
	return bodyWithin(w, r, maxBody)
}

func bodyWithin(w http.ResponseWriter, r *http.Request, most int64) ([]byte, *problem) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, most))
	if tooLarge := (*http.MaxBytesError)(nil); errors.As(err, &tooLarge) {
		return nil, refuse(http.StatusRequestEntityTooLarge, "the body is larger than %d bytes; a product file is a few thousand", most)
	} else if err != nil {
		return nil, refuse(http.StatusBadRequest, "the body could not be read: %v; send it again", err)
	}
	return body, nil
}

// order reads the body of a request that is permitted.
func order(w http.ResponseWriter, r *http.Request) (*Order, *problem) {
	body, p := bodyOf(w, r)
	if p != nil {
		return nil, p
	}
	o, err := readOrder(body)
	if err != nil {
		return nil, refuse(http.StatusBadRequest, "%v", err)
	}
	return o, nil
}

func (s *server) command(w http.ResponseWriter, r *http.Request) *problem {
	select {
	case s.commands <- struct{}{}:
		defer func() { <-s.commands }()
	default:
		return refuse(http.StatusServiceUnavailable, "%d commands are under way already; send it again in a moment", mostCommands)
	}
	o, p := order(w, r)
	if p != nil {
		return p
	}
	if o.Command == Note {
		return s.note(w, r, o)
	}
	if facts[o.Command] != nil {
		return s.fact(w, r, o)
	}
	request, p := s.request(o)
	if p != nil {
		return p
	}
	request.Who = s.who(r)
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	reply, err := s.Loop.Do(ctx, request)
	if err != nil {
		return refuse(http.StatusServiceUnavailable, "the controller did not answer: %v; look at the cabinet before you try again", err)
	}
	if !reply.Accepted {
		p := refuse(http.StatusConflict, "%s", reply.Why)
		p.Findings, p.Excusable = reply.Findings, reply.Excusable
		return p
	}
	writeJSON(w, "application/json", http.StatusOK, Accepted{State: reply.State.String(), Recorded: reply.Recorded, Unrecorded: reply.Unrecorded, Findings: reply.Findings})
	return nil
}
