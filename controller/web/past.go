package web

import (
	"context"
	"errors"
	"net/http"
	"time"

	"fumarium/controller/outlook"
)

// An Archive is where batches are that were recorded.
type Archive interface {
	// List gives all of them, the latest first, without their course.
	List(context.Context) ([]PastBatch, error)
	// Batch gives one that is over, with all that is known of it, or ErrNoBatch or
	// ErrUnderWay.
	Batch(ctx context.Context, id string) (*WholeBatch, error)
	// Notes gives those of a batch, under way or over, oldest first, or ErrNoBatch.
	Notes(ctx context.Context, id string) ([]PastNote, error)
}

// What an Archive may say of a batch.
var (
	ErrNoBatch  = errors.New("there is no such batch; take one from /api/batches")
	ErrUnderWay = errors.New("the batch is under way; see /api/status until it is over")
)

// A PastBatch is one batch in a list.
type PastBatch struct {
	Batch          string     `json:"batch"`
	World          string     `json:"world"`
	Product        string     `json:"product"`
	Cabinet        string     `json:"cabinet"`
	Started        time.Time  `json:"started"`
	Ended          *time.Time `json:"ended"`
	State          *string    `json:"state"` // how it ended; null while it has not
	Why            *string    `json:"why"`   // it was closed by the program
	ElapsedSeconds float64    `json:"elapsed_seconds"`
}

// A WholeBatch is a batch that is over.
type WholeBatch struct {
	PastBatch
	Good        *bool           `json:"good"` // null is not known
	Ending      string          `json:"ending"`
	Rules       []Rule          `json:"rules"`
	NotCovered  []string        `json:"not_covered"`
	PeakCore    *float64        `json:"peak_core_celsius"`
	PeakChamber *float64        `json:"peak_chamber_celsius"`
	Stages      []PastStage     `json:"stages"`
	Notes       []PastNote      `json:"notes"` // oldest first
	Points      []outlook.Point `json:"points"`
}

// A PastStage is one stage as it went.
type PastStage struct {
	Name         string   `json:"name"`
	StartSeconds float64  `json:"start_seconds"` // since the start of the batch
	EndSeconds   *float64 `json:"end_seconds"`
	EndedBy      *string  `json:"ended_by"` // null where the batch ended first
}

// A PastNote is one note or mark, with the time of day at which it was made.
type PastNote struct {
	Time time.Time `json:"time"`
	Who  string    `json:"who"`
	Text string    `json:"text"`
	Mark string    `json:"mark"`
}

// reading is for one who reads batches: a long one takes seconds, and one processor shall
// be busy with it at most.
func (s *server) reading(r *http.Request, read func(context.Context) *problem) *problem {
	if s.Archive == nil {
		return refuse(http.StatusNotFound, "this daemon keeps no record; there are no batches to show")
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	busy := refuse(http.StatusServiceUnavailable, "others read batches now, or it is a long one; ask again in some seconds")
	select {
	case s.archive <- struct{}{}:
		defer func() { <-s.archive }()
	case <-ctx.Done():
		return busy
	case <-left(ctx):
		return busy
	}
	p := read(ctx)
	if ctx.Err() != nil {
		return busy
	}
	return p
}

func (s *server) batches(w http.ResponseWriter, r *http.Request) *problem {
	var list []PastBatch
	p := s.reading(r, func(ctx context.Context) *problem {
		var err error
		if list, err = s.Archive.List(ctx); err != nil {
			return refuse(http.StatusServiceUnavailable, "the record could not be read: %v", err)
		}
		return nil
	})
	if p == nil {
		writeJSON(w, "application/json", http.StatusOK, map[string][]PastBatch{"batches": append([]PastBatch{}, list...)})
	}
	return p
}

// refusal is what a reader of one batch is told.
func refusal(err error) *problem {
	switch {
	case errors.Is(err, ErrNoBatch):
		return refuse(http.StatusNotFound, "%v", err)
	case errors.Is(err, ErrUnderWay):
		return refuse(http.StatusConflict, "%v", err)
	case err != nil:
		return refuse(http.StatusServiceUnavailable, "the record could not be read: %v", err)
	}
	return nil
}

func (s *server) notes(w http.ResponseWriter, r *http.Request) *problem {
	var list []PastNote
	p := s.reading(r, func(ctx context.Context) *problem {
		var err error
		list, err = s.Archive.Notes(ctx, r.PathValue("batch"))
		return refusal(err)
	})
	if p == nil {
		writeJSON(w, "application/json", http.StatusOK, map[string][]PastNote{"notes": append([]PastNote{}, list...)})
	}
	return p
}

func (s *server) batch(w http.ResponseWriter, r *http.Request) *problem {
	var whole *WholeBatch
	p := s.reading(r, func(ctx context.Context) *problem {
		var err error
		whole, err = s.Archive.Batch(ctx, r.PathValue("batch"))
		return refusal(err)
	})
	if p == nil {
		writeJSON(w, "application/json", http.StatusOK, whole)
	}
	return p
}
