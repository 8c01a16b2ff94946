// Package web serves the page and the JSON API over the loop. It shows a snapshot
// and hands in a command; it can reach no relay and keeps nothing of its own. Its
// assets are embedded, so that it works with the network cut.
//
// Reading is open to whoever reaches the listener. Changing anything needs the
// operator's token or a paired browser's session, a request from our own page or from no browser at all, and a
// body without a surprise in it. Errors are problem details (RFC 9457) that say
// what to do next.
package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"fumarium/controller"
	"fumarium/controller/access"
	"fumarium/controller/caution"
	"fumarium/controller/layout"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/profile"
	"fumarium/profile/source"
	"fumarium/sensors"
)

const (
	// MaxProduct is the largest product file that a start may bring, in bytes. The
	// largest honest one is some ten thousand.
	MaxProduct = 64 << 10
	// maxBody leaves room for a product in which every byte needs another before it.
	maxBody = 2*MaxProduct + 8<<10
	// mostCommands is how many are read, parsed and waited for at once.
	mostCommands = 8
	maxReason    = 500
	maxNote      = 4000
	maxMark      = 40
	// maxWait bounds how long a command waits for its step, which comes within a
	// second. Common practice, no source.
	maxWait = 10 * time.Second
)

//go:embed assets openapi.yaml
var files embed.FS

//go:embed assets/page.html
var pageText string

var page = layout.Must(layout.Parse("page", pageText, nil))

// Loop is what the handlers know of the control loop.
type Loop interface {
	// Snapshot is the latest one, or nil before the first step.
	Snapshot() *snapshot.Snapshot
	// Do hands in a request and waits for the step that takes it.
	Do(ctx context.Context, r snapshot.Request) (snapshot.Reply, error)
}

// Config is what the handlers need. Only Loop is necessary.
type Config struct {
	Loop    Loop
	Metrics http.Handler
	// Token is the operator's. While it is empty, nothing can be changed.
	Token string
	// Sessions are the browsers that may act besides; nil are none.
	Sessions *access.Keeper
	// Pages are the addresses at which other machines open the page, the best one first.
	Pages []string
	// Hosts are names, besides localhost and any IP address, under which the page
	// may be opened. Every other Host is refused: a page from elsewhere can point
	// a name of its own at us, but it cannot choose an address as its name.
	Hosts []string
	// FindProduct also returns the file that the product was read from.
	FindProduct  func(name string) (*profile.Product, []byte, error)
	ParseProduct func(file string, data []byte) (*profile.Product, error)
	ProductNames func() []string // of those that are shipped
	// Own keeps the products that people bring; nil keeps none.
	Own Shelf
	// Check says everything that is wrong or unwise about a product file, which it reads; the
	// product is nil where it cannot be used.
	Check func(file string, data []byte) (*profile.Product, source.Findings)
	// Note keeps a note on a batch; nil keeps none.
	Note func(ctx context.Context, who, batch, text, mark string) error
	// Keep keeps a fact on a batch, which the order names; nil keeps none.
	Keep func(context.Context, *Order) (Kept, error)
	// Hand is the form of weights and lots, marks and photographs; nil is none.
	Hand Hand
	// Upkeep is what of the cabinet is due, and UpkeepDone keeps that a task was done.
	Upkeep     func(context.Context) (*Upkeep, error)
	UpkeepDone func(task, who string) error
	// Archive is the recorded batches; nil is none.
	Archive Archive
	// Outlook is what rehearsals say of a batch, or why they say nothing. It must not wait.
	Outlook func(batch string) (course *outlook.Course, missing string)
	// Forecast is the latest of a batch; nil where there is none. It must not wait.
	Forecast func(batch string) *outlook.Forecast
	// Rehearse makes the course of a product before it is started.
	Rehearse func(context.Context, *profile.Product) (*outlook.Course, error)
	// NotReached notes what this cabinet cannot keep of a product; nil notes nothing.
	NotReached func(ctx context.Context, p *profile.Product, file string) source.Findings
	// Effect rehearses the rest of the batch under way with a change of its stage, and without.
	Effect func(context.Context, *snapshot.Snapshot, controller.Command) (*Effect, error)
	// Suppose makes the rehearsals that explain the batch under way again, with something
	// otherwise from now on.
	Suppose func(context.Context, *snapshot.Snapshot, Supposition) (*Supposed, error)
	Now     func() time.Time // wall clock; nil is time.Now
}

type server struct {
	Config
	token  [sha256.Size]byte
	origin *http.CrossOriginProtection
	routes []route
	mux    *http.ServeMux
	// Two, so that charts of many sizes let nobody wait for the status.
	texts, charts *press
	herald        *herald
	commands      chan struct{} // one for each that is under way
	archive       chan struct{} // held by who reads it
	parsing       sync.Mutex    // one product at a time
	rehearsing    sync.Mutex    // one rehearsal at a time
}

// A route is a pattern of net/http with its method, and what serves it. HEAD is
// answered wherever GET is.
type route struct {
	method, path string
	serve        handler
}

// A handler answers, or returns the problem that is the answer.
type handler func(http.ResponseWriter, *http.Request) *problem

func (h handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if p := h(w, r); p != nil {
		p.write(w)
	}
}

// New builds the handler of the page and the API.
func New(c Config) http.Handler {
	if c.Now == nil {
		c.Now = time.Now
	}
	s := &server{
		Config: c, token: sha256.Sum256([]byte(c.Token)), origin: http.NewCrossOriginProtection(), mux: http.NewServeMux(),
		texts: newPress(c.Loop.Snapshot, c.Now), charts: newPress(c.Loop.Snapshot, c.Now),
		commands: make(chan struct{}, mostCommands), archive: make(chan struct{}, 1),
	}
	s.herald = &herald{latest: c.Loop.Snapshot, now: s.said}
	s.routes = []route{
		{http.MethodGet, "/", s.page},
		{http.MethodGet, "/page.css", asset("assets/page.css", "text/css; charset=utf-8")},
		{http.MethodGet, "/page.js", script(parts)},
		{http.MethodGet, "/batches", asset("assets/batches.html", "text/html; charset=utf-8")},
		{http.MethodGet, "/batches/{batch}", asset("assets/batches.html", "text/html; charset=utf-8")},
		{http.MethodGet, "/batches.js", script(pastParts)},
		{http.MethodGet, "/weigh", asset("assets/weigh.html", "text/html; charset=utf-8")},
		{http.MethodGet, "/weigh.js", script(weighParts)},
		{http.MethodGet, "/hand.css", asset("assets/hand.css", "text/css; charset=utf-8")},
		{http.MethodGet, "/notices.js", asset("assets/notices.js", "text/javascript; charset=utf-8")},
		{http.MethodGet, "/icon.svg", s.icon},
		{http.MethodGet, "/chart.svg", s.chart},
		{http.MethodGet, "/display.png", s.display},
		{http.MethodGet, "/api/openapi.yaml", asset("openapi.yaml", "application/yaml; charset=utf-8")},
		{http.MethodGet, "/api/status", s.status},
		{http.MethodGet, "/api/curve", s.curve},
		{http.MethodGet, "/api/drawing.svg", s.drawing},
		{http.MethodGet, "/api/products", s.products},
		{http.MethodPost, "/api/products", s.allowed(s.bring)},
		{http.MethodGet, "/api/assistant", s.offers},
		{http.MethodPost, "/api/assistant", s.allowed(s.write)},
		{http.MethodPost, "/api/start-sheet", s.allowed(ordered(s.startSheet))},
		{http.MethodPost, "/api/commands", s.allowed(s.command)},
		{http.MethodGet, "/api/events", s.events},
		{http.MethodGet, "/api/batches", s.batches},
		{http.MethodGet, "/api/batches/{batch}", s.batch},
		{http.MethodGet, "/api/batches/{batch}/facts", s.factsOf},
		{http.MethodPost, "/api/batches/{batch}/photos", s.addPhoto},
		{http.MethodGet, "/api/batches/{batch}/photos/{photo}", s.photo},
		{http.MethodPost, "/api/sheet", s.allowed(ordered(s.handSheet))},
		{http.MethodGet, "/api/upkeep", s.upkeep},
		{http.MethodPost, "/api/upkeep", s.allowed(s.upkeepDone)},
		{http.MethodGet, "/api/batches/{batch}/notes", s.notes},
		{http.MethodGet, "/api/plan/curve", s.planCurve},
		{http.MethodPost, "/api/rehearse", s.oneAtATime(ordered(s.rehearse))},
		{http.MethodPost, "/api/rehearse/change", s.oneAtATime(ordered(s.effect))},
		{http.MethodPost, "/api/rehearse/suppose", s.oneAtATime(s.suppose)},
		{http.MethodPost, "/api/pairings", s.pair},
		{http.MethodGet, "/api/sessions", s.listSessions},
		{http.MethodPost, "/api/sessions", s.enter},
		{http.MethodPost, "/api/sessions/revoke", s.revoke},
		{http.MethodGet, "/healthz", s.health},
		{http.MethodGet, "/readyz", s.ready},
	}
	if c.Metrics != nil {
		s.routes = append(s.routes, route{http.MethodGet, "/metrics", func(w http.ResponseWriter, r *http.Request) *problem {
			return s.texts.get(r.Context(), r.URL.Path, func(*snapshot.Snapshot) *rendering { return scraped(c.Metrics) }).answer(w)
		}})
	}
	s.mux.Handle("/", handler(nowhere))
	methods := map[string][]string{}
	for _, r := range s.routes {
		path := r.path
		if path == "/" {
			path = "/{$}" // the page alone
		}
		s.mux.Handle(r.method+" "+path, r.serve)
		methods[path] = append(methods[path], r.method)
	}
	for path, of := range methods {
		s.mux.Handle(path, notBy(of)) // the mux's own answer to another method is plain text
	}
	return s
}

func nowhere(_ http.ResponseWriter, r *http.Request) *problem {
	return refuse(http.StatusNotFound, "there is nothing at %q; the page is at /, the API is described at /api/openapi.yaml", r.URL.Path)
}

// notBy answers every method but those that a path takes.
func notBy(methods []string) handler {
	return func(w http.ResponseWriter, r *http.Request) *problem {
		w.Header().Set("Allow", strings.Join(methods, ", "))
		return refuse(http.StatusMethodNotAllowed, "%s does not take %s; use %s", r.URL.Path, r.Method, strings.Join(methods, " or "))
	}
}

// A problem is an error as problem details (RFC 9457).
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
	// Of a start that is refused: what speaks against it, and whether it is taken with a
	// reason.
	Findings  []string `json:"findings,omitempty"`
	Excusable bool     `json:"excusable,omitempty"`
}

func refuse(status int, format string, args ...any) *problem {
	return &problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: fmt.Sprintf(format, args...)}
}

func (p *problem) write(w http.ResponseWriter) {
	if p.Status == http.StatusUnauthorized {
		w.Header().Set("WWW-Authenticate", `Bearer realm="fumarium"`)
	}
	writeJSON(w, "application/problem+json", p.Status, p)
}

func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "+
		"base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if !Ours(r.Host, s.Hosts) {
		refuse(http.StatusMisdirectedRequest,
			"this daemon does not answer as %q; open it as localhost or by its IP address, or start the daemon with --host-name and the name", r.Host).write(w)
		return
	}
	s.mux.ServeHTTP(w, r)
}

// Ours reports whether the Host header names this machine in a way that no foreign page
// can bring about: localhost, an IP address, or one of the names that a person chose.
func Ours(host string, names []string) bool {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = host
	}
	name = strings.ToLower(strings.TrimSuffix(name, "."))
	if name == "localhost" || strings.HasSuffix(name, ".localhost") {
		return true
	}
	if _, err := netip.ParseAddr(strings.Trim(name, "[]")); err == nil {
		return true
	}
	return slices.ContainsFunc(names, func(h string) bool { return strings.EqualFold(h, name) })
}

func writeJSON(w http.ResponseWriter, kind string, status int, body any) {
	data, err := json.Marshal(body)
	if err != nil {
		notJSON.write(w)
		return
	}
	answer(w, kind, status, append(data, '\n'))
}

// notJSON is for a body of ours that JSON cannot hold, which is a mistake of ours.
var notJSON = refuse(http.StatusInternalServerError, "the answer could not be written as JSON; look at the cabinet and report this")

func asset(name, kind string) handler {
	data, err := files.ReadFile(name)
	if err != nil {
		panic(err) // embedded: cannot be missing
	}
	return func(w http.ResponseWriter, _ *http.Request) *problem {
		answer(w, kind, http.StatusOK, data)
		return nil
	}
}

const errNoStep = "the controller has not made its first step yet; ask again in a few seconds"

// unknownAge is how a status says that nobody knows how old it is. It comes before all
// that is not ours to word.
var unknownAge = []byte(`"age_seconds":null`)

// statusOf is rendered once a step, but for its age: that grows, and must above all when
// there are no more steps.
func (s *server) statusOf(ctx context.Context) *rendering {
	return s.texts.get(ctx, "/api/status", func(snap *snapshot.Snapshot) *rendering {
		if snap == nil {
			return &rendering{problem: refuse(http.StatusServiceUnavailable, "%s", errNoStep)}
		}
		undated := *snap
		undated.Stepped = time.Time{}
		said := NewStatus(&undated, time.Time{})
		said.Plan, said.PlanMissing = s.plan(snap)
		body, err := json.Marshal(said)
		if err != nil {
			return &rendering{problem: notJSON}
		}
		before, after, _ := bytes.Cut(append(body, '\n'), unknownAge)
		return &rendering{kind: "application/json", body: before, after: after, stepped: snap.Stepped}
	})
}

// aged is the age that goes into a status.
func (s *server) aged(r *rendering) []byte {
	if a, ok := ageAt(r.stepped, s.Now()); ok {
		return fmt.Appendf(nil, `"age_seconds":%g`, a.Seconds())
	}
	return unknownAge
}

func (s *server) status(w http.ResponseWriter, req *http.Request) *problem {
	r := s.statusOf(req.Context())
	return r.answer(w, s.aged(r))
}

func (s *server) productNames() []string {
	if s.ProductNames == nil {
		return []string{}
	}
	return append([]string{}, s.ProductNames()...)
}

func (s *server) page(w http.ResponseWriter, r *http.Request) *problem {
	return s.texts.get(r.Context(), r.URL.Path, s.pageOf).answer(w)
}

func (s *server) pageOf(snap *snapshot.Snapshot) *rendering {
	view := struct {
		Cabinet, Summary, World string
		Products                []string
		Simulated               bool

		BeforeHeat                          []string
		Smoulders, HeatReturns, BeforeReset string
	}{Summary: errNoStep, Products: s.productNames(), BeforeHeat: caution.BeforeHeat,
		Smoulders: caution.Smoulders, HeatReturns: caution.HeatReturns, BeforeReset: caution.BeforeReset}
	if snap != nil {
		view.Simulated = snap.Simulated
		view.World = fmt.Sprintf("Simulated, %g× as fast. Nothing is hot.", snap.Pace)
		view.Summary = "At " + snap.Time.Format(time.TimeOnly) + " — " + summary(snap)
		if snap.Cabinet != nil {
			view.Cabinet = snap.Cabinet.Name
		}
	}
	var body bytes.Buffer
	if err := page.Execute(&body, view); err != nil {
		return &rendering{problem: refuse(http.StatusInternalServerError, "the page could not be made: %v; use /api/status instead", err)}
	}
	return &rendering{kind: "text/html; charset=utf-8", body: body.Bytes()}
}

// alive says why the loop does not step any more, or nil.
func (s *server) alive() *problem {
	snap := s.Loop.Snapshot()
	if snap == nil {
		return refuse(http.StatusServiceUnavailable, "%s", errNoStep)
	}
	old, ok := age(snap, s.Now())
	if !ok {
		return refuse(http.StatusServiceUnavailable, "the loop does not say when it made its last step; treat it as stopped")
	}
	if old > controller.LateAfter {
		return refuse(http.StatusServiceUnavailable, "the last step was made %s ago, more than %s; look at the cabinet, then at the daemon's log",
			seconds(old), seconds(controller.LateAfter))
	}
	return nil
}

func (s *server) health(w http.ResponseWriter, _ *http.Request) *problem {
	if p := s.alive(); p != nil {
		return p
	}
	writeJSON(w, "application/json", http.StatusOK, map[string]string{"status": "stepping"})
	return nil
}

func (s *server) ready(w http.ResponseWriter, _ *http.Request) *problem {
	if p := s.alive(); p != nil {
		return p
	}
	snap := s.Loop.Snapshot()
	if snap.Stopping {
		return refuse(http.StatusServiceUnavailable, "the daemon is switching off; start it again before a batch")
	}
	if status := snap.State.Chamber.Reading.Status(); status != sensors.Good {
		return refuse(http.StatusServiceUnavailable, "no chamber probe gives a usable reading; check the probe and its plug")
	}
	writeJSON(w, "application/json", http.StatusOK, map[string]string{"status": "ready"})
	return nil
}
