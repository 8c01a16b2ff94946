// Package desk is the hub's door: boards post their records and people look. It answers and
// asks nothing: there is no address of a board in it, so that nothing from here can start heat.
package desk

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/record"
)

// All common practice, no source.
const (
	// mostBody bounds a post when it is unpacked: one longest link, and what it travels in.
	mostBody = record.MostLink + 1<<20
	// mostAtOnce posts are read and checked at once; others wait, and then are told to come again.
	mostAtOnce = 16
	waits      = 5 * time.Second
	// comeAgain is what a board is told to wait, in seconds.
	comeAgain = "15"
	// mostAnswer bounds one answer with links.
	mostAnswer = 1 << 20
	// guesses are how many codes and words may be tried at once, and in each second after.
	guesses = 20
)

// A Desk answers boards and people.
type Desk struct {
	store   *store.Store
	log     *slog.Logger
	scratch string // folder for files that live as long as one answer
	slots   chan struct{}
	reading chan struct{} // one report is made at a time
	secure  bool
	mux     *http.ServeMux

	mu      sync.Mutex
	left    float64 // guesses
	counted time.Time
	expects map[int]expected // by cabinet; not kept: the next post tells it anew
}

// New makes the door of a store. secure says that it is reached by TLS alone.
func New(s *store.Store, scratch string, secure bool, log *slog.Logger) *Desk {
	d := &Desk{store: s, log: log, scratch: scratch, secure: secure, slots: make(chan struct{}, mostAtOnce), reading: make(chan struct{}, 1), mux: http.NewServeMux(), left: guesses, counted: time.Now(), expects: map[int]expected{}}
	d.mux.HandleFunc("POST /v1/join", d.join)
	d.mux.HandleFunc("GET /v1/heads", d.board(d.heads))
	d.mux.HandleFunc("POST /v1/heads", d.board(d.compare))
	d.mux.HandleFunc("POST /v1/links", d.board(d.take))
	d.mux.HandleFunc("GET /v1/links", d.board(d.give))
	d.pages()
	return d
}

// Handler is what to serve.
func (d *Desk) Handler() http.Handler {
	guard := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		if d.secure {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		guard.Handler(d.mux).ServeHTTP(w, r)
	})
}

// guess reports whether one more code or word may be tried now.
func (d *Desk) guess() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := time.Now()
	d.left = min(guesses, d.left+now.Sub(d.counted).Seconds())
	d.counted = now
	if d.left < 1 {
		return false
	}
	d.left--
	return true
}

// answer is what a board gets.
type answer struct {
	Error string `json:"error,omitempty"`
	Heads []head `json:"heads,omitempty"`
}

// head is the end of a chain as it is told.
type head struct {
	Batch string `json:"batch"`
	Links int64  `json:"links"`
	Hash  string `json:"head"`
}

func told(heads []record.Head) []head {
	all := make([]head, len(heads))
	for i, h := range heads {
		all[i] = head{h.Batch, h.Links, h.Hash.String()}
	}
	return all
}

func reply(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(v)
}

// refuse answers with what went wrong, and a wait where it may go better later.
func (d *Desk) refuse(w http.ResponseWriter, err error, heads []record.Head) {
	status := http.StatusServiceUnavailable
	conflict := (*store.Conflict)(nil)
	switch {
	case errors.As(err, &conflict):
		d.log.Warn("a post does not go with what is kept", "batch", conflict.Batch, "kind", conflict.Kind, "why", conflict.Why)
		reply(w, http.StatusConflict, answer{conflict.Error(), told(heads)})
		return
	case errors.Is(err, store.ErrKey):
		reply(w, http.StatusUnauthorized, answer{Error: err.Error()})
		return
	case errors.Is(err, store.ErrBusy), errors.Is(err, context.Canceled):
	case store.IsFull(err):
		status = http.StatusInsufficientStorage
		d.log.Error("the database has no room", "err", err)
	default:
		d.log.Error("the database does not answer as it should", "err", err)
	}
	w.Header().Set("Retry-After", comeAgain)
	text := "the hub cannot keep it now; send it again later" // what the database says is not for boards
	if status == http.StatusInsufficientStorage {
		text = "the hub has no room; make room there"
	}
	reply(w, status, answer{Error: text})
}

// board lets through what comes with a good key.
func (d *Desk) board(then func(w http.ResponseWriter, r *http.Request, cabinet int)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		key, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
		if !ok {
			reply(w, http.StatusUnauthorized, answer{Error: store.ErrKey.Error()})
			return
		}
		cabinet, _, err := d.store.Known(r.Context(), key)
		if err != nil {
			d.refuse(w, err, nil)
			return
		}
		then(w, r, cabinet)
	}
}

func (d *Desk) join(w http.ResponseWriter, r *http.Request) {
	var asked struct{ Code string }
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 4096)).Decode(&asked); err != nil {
		reply(w, http.StatusBadRequest, answer{Error: "this is no JSON with a code"})
		return
	}
	if !d.guess() {
		w.Header().Set("Retry-After", "5")
		reply(w, http.StatusTooManyRequests, answer{Error: "too many codes were tried; wait some seconds and try again"})
		return
	}
	name, world, key, err := d.store.Join(r.Context(), asked.Code)
	switch {
	case errors.Is(err, store.ErrCode):
		reply(w, http.StatusForbidden, answer{Error: err.Error()})
	case err != nil:
		d.refuse(w, err, nil)
	default:
		d.log.Info("a board joined", "cabinet", name, "world", world)
		reply(w, http.StatusOK, map[string]string{"cabinet": name, "world": world, "key": key})
	}
}

func (d *Desk) heads(w http.ResponseWriter, r *http.Request, cabinet int) {
	heads, err := d.store.Heads(r.Context(), cabinet)
	if err != nil {
		d.refuse(w, err, nil)
		return
	}
	reply(w, http.StatusOK, answer{Heads: told(heads)})
}

func (d *Desk) compare(w http.ResponseWriter, r *http.Request, cabinet int) {
	var asked struct{ Heads []head }
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 8<<20)).Decode(&asked); err != nil {
		reply(w, http.StatusBadRequest, answer{Error: "this is no list of heads"})
		return
	}
	heads := make([]record.Head, len(asked.Heads))
	for i, h := range asked.Heads {
		hash, err := record.ParseHash(h.Hash)
		if err != nil {
			reply(w, http.StatusBadRequest, answer{Error: err.Error()})
			return
		}
		heads[i] = record.Head{Batch: h.Batch, Links: h.Links, Hash: hash}
	}
	kept, err := d.store.Compare(r.Context(), cabinet, heads)
	if err != nil {
		d.refuse(w, err, nil)
		return
	}
	reply(w, http.StatusOK, answer{Heads: told(kept)})
}

// take reads a whole post before anything of it is looked at: one that was cut off is none.
// Who waits for the database holds no place among those that are read, so that the next
// transaction takes all that wait.
func (d *Desk) take(w http.ResponseWriter, r *http.Request, cabinet int) {
	links, ok := d.read(w, r)
	if !ok {
		return
	}
	heads, err := d.store.Accept(r.Context(), cabinet, links)
	if err != nil {
		d.refuse(w, err, heads)
		return
	}
	d.expect(cabinet, r.Header.Get("Fumarium-Finish"))
	reply(w, http.StatusOK, answer{Heads: told(heads)})
}

// read gives the links of a post, in its turn, or answers why not.
func (d *Desk) read(w http.ResponseWriter, r *http.Request) (links []record.Link, ok bool) {
	wait := time.NewTimer(waits)
	defer wait.Stop()
	select {
	case d.slots <- struct{}{}:
		defer func() { <-d.slots }()
	case <-wait.C:
		d.refuse(w, store.ErrBusy, nil)
		return nil, false
	case <-r.Context().Done():
		return nil, false
	}
	body := io.Reader(http.MaxBytesReader(w, r.Body, mostBody))
	if r.Header.Get("Content-Encoding") == "gzip" {
		unpacked, err := gzip.NewReader(body)
		if err != nil {
			reply(w, http.StatusBadRequest, answer{Error: "it is not packed as it says"})
			return nil, false
		}
		body = unpacked
	}
	data, err := io.ReadAll(io.LimitReader(body, mostBody+1))
	if err == nil && len(data) > mostBody {
		reply(w, http.StatusRequestEntityTooLarge, answer{Error: "it is longer than " + strconv.Itoa(mostBody) + " bytes; send fewer links at once"})
		return nil, false
	}
	if err == nil {
		links, err = record.ReadLinks(data)
	}
	if err != nil {
		reply(w, http.StatusBadRequest, answer{Error: "these are no links: " + err.Error()})
		return nil, false
	}
	return links, true
}

func (d *Desk) give(w http.ResponseWriter, r *http.Request, cabinet int) {
	from, err := strconv.ParseInt(r.FormValue("from"), 10, 64)
	if err != nil || from < 0 {
		reply(w, http.StatusBadRequest, answer{Error: "from is no number of a link"})
		return
	}
	links, err := d.store.Links(r.Context(), cabinet, r.FormValue("batch"), from, mostAnswer)
	if err != nil {
		d.refuse(w, err, nil)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	_ = record.WriteLinks(w, links)
}
