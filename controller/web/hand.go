package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"strings"

	scale "fumarium/profile/weighed"
)

// Facts is what people put on the record of one batch, under way or over.
type Facts struct {
	Batch   string        `json:"batch"`
	Product string        `json:"product"`
	Sheet   *scale.Tally  `json:"sheet"`
	Yields  []scale.Yield `json:"yields"`
	Heavier []string      `json:"heavier"` // weights that cannot be
	Bad     bool          `json:"bad"`     // nobody must eat of it before that is judged
	Remedy  string        `json:"remedy"`  // what to do if it is bad
	Traits  []string      `json:"traits"`  // that are usually marked
	Marks   []FactMark    `json:"marks"`
	Photos  []Photo       `json:"photos"`
}

// A FactMark is the last mark of a trait.
type FactMark struct {
	Trait string  `json:"trait"`
	Mark  float64 `json:"mark"`
	Text  string  `json:"text"`
}

// A Photo is a photograph of a batch, and how it stands against its hash on the record.
type Photo struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Text   string `json:"text"`
	Who    string `json:"who"`
	State  string `json:"state"`
	Whole  bool   `json:"whole"`
}

// A Hand keeps and tells what people say of batches besides commands.
type Hand interface {
	// Facts are those of a batch, or ErrNoBatch.
	Facts(ctx context.Context, batch string) (*Facts, error)
	// Sheet is a form held against the sheet of a product, before there is a batch.
	Sheet(product, meat, form string) (*Facts, error)
	AddPhoto(ctx context.Context, who, batch, text string, data []byte) (Kept, error)
	// Photo is one as it was taken in, or an error.
	Photo(ctx context.Context, batch, name string) (data []byte, kind string, err error)
}

const errNoHand = "this daemon keeps no record of batches"

func (s *server) factsOf(w http.ResponseWriter, r *http.Request) *problem {
	if s.Hand == nil {
		return refuse(http.StatusNotFound, errNoHand)
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	f, err := s.Hand.Facts(ctx, r.PathValue("batch"))
	if p := handProblem(err); p != nil {
		return p
	}
	writeJSON(w, "application/json", http.StatusOK, f)
	return nil
}

func handProblem(err error) *problem {
	switch {
	case errors.Is(err, ErrNoBatch):
		return refuse(http.StatusNotFound, "%v", err)
	case err != nil:
		return refuse(http.StatusServiceUnavailable, "the record could not be read: %v", err)
	}
	return nil
}

// handSheet holds what was weighed against the sheet of a product that is not started yet. It
// changes nothing, but reads and reckons: hence for who may start.
func (s *server) handSheet(w http.ResponseWriter, _ *http.Request, o *Order) *problem {
	if p := o.only("a sheet", "product", "meat", "form"); p != nil {
		return p
	}
	if s.Hand == nil || o.Product == "" {
		return refuse(http.StatusUnprocessableEntity, "this needs product, a name from /api/products")
	}
	s.parsing.Lock()
	f, err := s.Hand.Sheet(o.Product, o.Meat, o.Form)
	s.parsing.Unlock()
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "%v", err)
	}
	writeJSON(w, "application/json", http.StatusOK, f)
	return nil
}

// maxPhoto is the largest photograph that is read, in bytes.
const maxPhoto = 4 << 20

// addPhoto takes the bytes of a photograph. A form of another site cannot send that type.
func (s *server) addPhoto(w http.ResponseWriter, r *http.Request) *problem {
	if p := s.foreign(r); p != nil {
		return p
	}
	if p := s.authorized(r); p != nil {
		return p
	}
	defer keepPlace(r.Context())()
	if kind := r.Header.Get("Content-Type"); kind != "image/jpeg" && kind != "image/png" {
		return refuse(http.StatusUnsupportedMediaType, "a photograph is sent as its bytes, with Content-Type: image/jpeg or image/png")
	}
	if s.Hand == nil {
		return refuse(http.StatusNotFound, errNoHand)
	}
	text := strings.TrimSpace(r.URL.Query().Get("text"))
	if len(text) > maxReason {
		return refuse(http.StatusUnprocessableEntity, "the words to a photograph have more than %d bytes; shorten them", maxReason)
	}
	data, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxPhoto))
	if err != nil {
		return refuse(http.StatusRequestEntityTooLarge, "the photograph is larger than %d bytes, or was cut off; make it smaller", maxPhoto)
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	kept, err := s.Hand.AddPhoto(ctx, s.who(r), r.PathValue("batch"), text, data)
	switch {
	case errors.Is(err, ErrNoBatch):
		return refuse(http.StatusNotFound, "%v", err)
	case err != nil:
		return refuse(http.StatusUnprocessableEntity, "%v", err)
	}
	s.kept(w, kept)
	return nil
}

func (s *server) photo(w http.ResponseWriter, r *http.Request) *problem {
	if s.Hand == nil {
		return refuse(http.StatusNotFound, errNoHand)
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	data, kind, err := s.Hand.Photo(ctx, r.PathValue("batch"), r.PathValue("photo"))
	if err != nil {
		return refuse(http.StatusNotFound, "%v", err)
	}
	answer(w, kind, http.StatusOK, data)
	return nil
}
