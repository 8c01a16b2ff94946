package courier_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/access/certificate"
	"fumarium/controller/courier"
	"fumarium/controller/outlook"
	"fumarium/controller/record"
	"fumarium/sim/recordtest"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// other is the other end: it keeps what is whole in memory, and does to each post what the
// list says. The hub's own tests hold the real one.
type other struct {
	mu    sync.Mutex
	links []record.Link
	do    []string
	posts int
	key   string
	tells string // of the end of a batch, with the last post
}

func (o *other) heads() (all []map[string]any) {
	for _, l := range o.links {
		h := map[string]any{"batch": l.Batch, "links": l.Number + 1, "head": l.Hash.String()}
		if n := len(all); n > 0 && all[n-1]["batch"] == l.Batch {
			all[n-1] = h
		} else {
			all = append(all, h)
		}
	}
	return all
}

func (o *other) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	packed, err := gzip.NewReader(r.Body)
	var body []byte
	if err == nil {
		body, _ = io.ReadAll(packed)
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if r.URL.Path == "/v1/join" {
		_ = json.NewEncoder(w).Encode(map[string]string{"cabinet": "Barn", "world": "simulated", "key": o.key})
		return
	}
	if r.Header.Get("Authorization") != "Bearer "+o.key {
		w.WriteHeader(http.StatusUnauthorized)
		return
	}
	if r.URL.Path == "/v1/links" {
		o.posts++
		o.tells = r.Header.Get("Fumarium-Finish")
		do := ""
		if len(o.do) > 0 {
			do, o.do = o.do[0], o.do[1:]
		}
		switch do {
		case "full":
			w.WriteHeader(http.StatusInsufficientStorage)
			return
		case "busy":
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		case "cut":
			panic(http.ErrAbortHandler)
		}
		links, err := record.ReadLinks(body)
		if err != nil {
			w.WriteHeader(http.StatusBadRequest)
			return
		}
		for _, l := range links {
			if slices.ContainsFunc(o.links, func(k record.Link) bool { return k.Batch == l.Batch && k.Number == l.Number }) {
				continue
			}
			o.links = append(o.links, l)
		}
		if do == "lost" { // it has them, and the board does not hear of it
			panic(http.ErrAbortHandler)
		}
		if do == "refuse" {
			w.WriteHeader(http.StatusConflict)
			_ = json.NewEncoder(w).Encode(map[string]any{"error": "no"})
			return
		}
	}
	_ = json.NewEncoder(w).Encode(map[string]any{"heads": o.heads()})
}

func (o *other) has() []record.Link {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.Clone(o.links)
}

// brings starts a courier of a record at a hub; the log comes back.
func brings(t *testing.T, url string, b *recordtest.Board) *lines {
	hub, err := courier.Join(t.Context(), url, "code", "")
	require.NoError(t, err)
	require.NoError(t, hub.Keep(b.Dir))
	log := &lines{}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	c := &courier.Courier{Dir: b.Dir, File: b.File(), World: b.World, Log: slog.New(slog.NewTextHandler(log, nil)), Look: 20 * time.Millisecond,
		Finish: func() *outlook.Finish {
			return &outlook.Finish{Batch: "a", Made: noon, Range: outlook.Range{Earliest: noon, Middle: noon.Add(time.Hour), Latest: noon.Add(2 * time.Hour)}}
		}}
	go func() { defer close(done); c.Run(ctx) }()
	t.Cleanup(func() { cancel(); <-done })
	return log
}

type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// Whatever becomes of a post, in the end the hub has all links in order and none twice, while
// the board goes on recording.
func TestAllOfItArrivesInTheEnd(t *testing.T) {
	o := &other{key: "key", do: []string{"full", "busy", "cut", "lost", "", "lost", "cut", "full"}}
	hub := httptest.NewServer(o)
	defer hub.Close()
	b := recordtest.Begin(t, t.TempDir(), record.Simulated, noon)
	b.Batch(6)
	log := brings(t, hub.URL, b)
	b.Batch(6)
	b.End()
	want := recordtest.Read(t, b.File())
	require.Eventually(t, func() bool { return len(o.has()) >= len(want) && strings.Contains(log.String(), "has all") }, 30*time.Second, 20*time.Millisecond, log)
	assert.Equal(t, want, o.has())
	assert.Contains(t, log.String(), "stays here until it does")
	o.mu.Lock()
	defer o.mu.Unlock()
	assert.JSONEq(t, `{"batch": "a", "made": "2026-11-25T12:00:00Z", "earliest": "2026-11-25T12:00:00Z", "middle": "2026-11-25T13:00:00Z", "latest": "2026-11-25T14:00:00Z"}`, o.tells)
}

// A hub that takes a post and never answers, or another one's key, costs the board nothing but
// the time of its courier, which ends when it is told to.
func TestAHubThatHangs(t *testing.T) {
	hangs := make(chan struct{})
	hub := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/v1/join" {
			(&other{key: "key"}).ServeHTTP(w, r)
			return
		}
		<-hangs
	}))
	defer hub.Close()
	defer close(hangs)
	b := recordtest.Begin(t, t.TempDir(), record.Simulated, noon)
	brings(t, hub.URL, b)
	id := b.Batch(6)
	b.End() // it does not wait
	r, err := record.OpenReader(b.File())
	require.NoError(t, err)
	defer r.Close()
	v, err := r.Verify(t.Context(), id)
	require.NoError(t, err)
	assert.True(t, v.Whole)
}

// What a person must look into is said once, and the rest goes on; so is a key that was taken
// away.
func TestWhatIsSaid(t *testing.T) {
	o := &other{key: "key", do: []string{"refuse"}}
	hub := httptest.NewServer(o)
	defer hub.Close()
	b := recordtest.Begin(t, t.TempDir(), record.Simulated, noon)
	b.Batch(6)
	log := brings(t, hub.URL, b)
	require.Eventually(t, func() bool { return strings.Contains(log.String(), "the hub refuses batch") }, 10*time.Second, 10*time.Millisecond)
	o.mu.Lock()
	o.key = "another"
	o.mu.Unlock()
	require.Eventually(t, func() bool { return strings.Contains(log.String(), "does not take this board's key") }, 10*time.Second, 10*time.Millisecond)
	b.End()
	assert.Equal(t, 1, strings.Count(log.String(), "the hub refuses batch"))
}

// A hub that says it has more, or something else, is not believed.
func TestAHubThatHasSomethingElse(t *testing.T) {
	o := &other{key: "key", links: recordtest.LinksFrom(t, 1, noon.Add(time.Second))}
	hub := httptest.NewServer(o)
	defer hub.Close()
	b := recordtest.Begin(t, t.TempDir(), record.Simulated, noon)
	b.Batch(6)
	log := brings(t, hub.URL, b)
	require.Eventually(t, func() bool { return strings.Contains(log.String(), "keeps another record") }, 10*time.Second, 10*time.Millisecond)
	b.End()
}

// A key goes over no network in the clear, and a certificate with another fingerprint is refused.
func TestOnlyByTLS(t *testing.T) {
	for _, bad := range []string{"http://hub.example", "hub.example", "ftp://127.0.0.1", "https://user@hub.example", "https://hub.example/path"} {
		_, err := courier.Join(t.Context(), bad, "code", "")
		assert.Error(t, err, bad)
	}
	o := &other{key: "key"}
	hub := httptest.NewTLSServer(o)
	defer hub.Close()
	hub.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, 0)
	_, err := courier.Join(t.Context(), hub.URL, "code", "")
	assert.ErrorContains(t, err, "certificate")
	_, err = courier.Join(t.Context(), hub.URL, "code", strings.Repeat("ab", 32))
	assert.ErrorContains(t, err, "fingerprint")
	_, err = courier.Join(t.Context(), hub.URL, "code", "ab")
	assert.ErrorContains(t, err, "64 hex digits")
	h, err := courier.Join(t.Context(), hub.URL, "code", fingerprint(hub))
	require.NoError(t, err)
	_, err = h.Heads(t.Context())
	require.NoError(t, err)
}

func fingerprint(s *httptest.Server) string { return certificate.Fingerprint(s.Certificate().Raw) }
