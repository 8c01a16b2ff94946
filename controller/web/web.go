// Package web serves the page and the JSON API over the loop. It shows a snapshot
// and hands in a command; it can reach no relay and keeps nothing of its own. Its
// assets are embedded, so that it works with the network cut.
//
// Reading is open to whoever reaches the listener. Changing anything needs the
// operator's token, a request from our own page or from no browser at all, and a
// body without a surprise in it. Errors are problem details (RFC 9457) that say
// what to do next.
package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"maps"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/caution"
	"fumarium/controller/chart"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

const (
	maxBodyBytes = 1 << 20 // a product file is a few kilobytes
	maxReason    = 500
	maxNote      = 4000
	// maxWait bounds how long a command waits for its step, which comes within a
	// second. Common practice, no source.
	maxWait = 10 * time.Second
)

//go:embed assets openapi.yaml
var files embed.FS

var page = template.Must(template.New("page.html").Funcs(template.FuncMap{
	"line": func(of string) template.HTML { return template.HTML(chart.Sample(lines[of])) }, // made by us, of nothing that came in
}).ParseFS(files, "assets/page.html"))

// lines is how the trend draws what the page shows as numbers.
var lines = map[string]chart.Style{"chamber": chart.Chamber, "core": chart.Core, "setpoint": chart.Setpoint}

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
	// Hosts are names, besides localhost and any IP address, under which the page
	// may be opened. Every other Host is refused: a page from elsewhere can point
	// a name of its own at us, but it cannot choose an address as its name.
	Hosts []string
	// FindProduct also returns the file that the product was read from.
	FindProduct  func(name string) (*profile.Product, []byte, error)
	ParseProduct func(file string, data []byte) (*profile.Product, error)
	ProductNames func() []string
	// Note keeps a note on a batch; nil keeps none.
	Note func(ctx context.Context, batch, text string) error
	Now  func() time.Time // wall clock; nil is time.Now
}

type server struct {
	Config
	token  [sha256.Size]byte
	origin *http.CrossOriginProtection
	routes map[string]route // by path; all paths are fixed
}

// A route maps methods to what serves them.
type route map[string]func(http.ResponseWriter, *http.Request) *problem

// New builds the handler of the page and the API.
func New(c Config) http.Handler {
	if c.Now == nil {
		c.Now = time.Now
	}
	s := &server{Config: c, token: sha256.Sum256([]byte(c.Token)), origin: http.NewCrossOriginProtection()}
	s.routes = map[string]route{
		"/":                 {http.MethodGet: s.page},
		"/page.css":         {http.MethodGet: asset("assets/page.css", "text/css; charset=utf-8")},
		"/page.js":          {http.MethodGet: asset("assets/page.js", "text/javascript; charset=utf-8")},
		"/icon.svg":         {http.MethodGet: asset("assets/icon.svg", "image/svg+xml")},
		"/chart.svg":        {http.MethodGet: s.chart},
		"/api/openapi.yaml": {http.MethodGet: asset("openapi.yaml", "application/yaml; charset=utf-8")},
		"/api/status":       {http.MethodGet: s.status},
		"/api/products":     {http.MethodGet: s.products},
		"/api/commands":     {http.MethodPost: s.command},
		"/healthz":          {http.MethodGet: s.health},
		"/readyz":           {http.MethodGet: s.ready},
	}
	if c.Metrics != nil {
		s.routes["/metrics"] = route{http.MethodGet: func(w http.ResponseWriter, r *http.Request) *problem {
			c.Metrics.ServeHTTP(w, r)
			return nil
		}}
	}
	return s
}

// A problem is an error as problem details (RFC 9457).
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
}

func refuse(status int, format string, args ...any) *problem {
	return &problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: fmt.Sprintf(format, args...)}
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
	if p := s.serve(w, r); p != nil {
		if p.Status == http.StatusUnauthorized {
			h.Set("WWW-Authenticate", `Bearer realm="fumarium"`)
		}
		writeJSON(w, "application/problem+json", p.Status, p)
	}
}

func (s *server) serve(w http.ResponseWriter, r *http.Request) *problem {
	if !s.ours(r.Host) {
		return refuse(http.StatusMisdirectedRequest,
			"this daemon does not answer as %q; open it as localhost or by its IP address, or start the daemon with --host-name and the name", r.Host)
	}
	methods, ok := s.routes[r.URL.Path]
	if !ok {
		return refuse(http.StatusNotFound, "there is nothing at %q; the page is at /, the API is described at /api/openapi.yaml", r.URL.Path)
	}
	method := r.Method
	if method == http.MethodHead {
		method = http.MethodGet
	}
	serve, ok := methods[method]
	if !ok {
		allow := strings.Join(slices.Sorted(maps.Keys(methods)), ", ")
		w.Header().Set("Allow", allow)
		return refuse(http.StatusMethodNotAllowed, "%s does not take %s; use %s", r.URL.Path, r.Method, allow)
	}
	return serve(w, r)
}

// ours reports whether the Host header names us in a way that no foreign page can
// bring about.
func (s *server) ours(host string) bool {
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
	return slices.ContainsFunc(s.Hosts, func(h string) bool { return strings.EqualFold(h, name) })
}

func writeJSON(w http.ResponseWriter, kind string, status int, body any) {
	data, err := json.Marshal(body)
	if err != nil { // a body of ours that JSON cannot hold is a mistake of ours
		kind, status = "application/problem+json", http.StatusInternalServerError
		data = []byte(`{"type":"about:blank","title":"Internal Server Error","status":500,"detail":"the answer could not be written as JSON; look at the cabinet and report this"}`)
	}
	w.Header().Set("Content-Type", kind)
	w.WriteHeader(status)
	_, _ = w.Write(append(data, '\n')) // a client that has gone is no concern of ours
}

func asset(name, kind string) func(http.ResponseWriter, *http.Request) *problem {
	data, err := files.ReadFile(name)
	if err != nil {
		panic(err) // embedded: cannot be missing
	}
	return func(w http.ResponseWriter, _ *http.Request) *problem {
		w.Header().Set("Content-Type", kind)
		_, _ = w.Write(data)
		return nil
	}
}

const errNoStep = "the controller has not made its first step yet; ask again in a few seconds"

func (s *server) status(w http.ResponseWriter, _ *http.Request) *problem {
	snap := s.Loop.Snapshot()
	if snap == nil {
		return refuse(http.StatusServiceUnavailable, "%s", errNoStep)
	}
	writeJSON(w, "application/json", http.StatusOK, NewStatus(snap, s.Now()))
	return nil
}

func (s *server) productNames() []string {
	if s.ProductNames == nil {
		return []string{}
	}
	return append([]string{}, s.ProductNames()...)
}

func (s *server) products(w http.ResponseWriter, _ *http.Request) *problem {
	writeJSON(w, "application/json", http.StatusOK, map[string][]string{"products": s.productNames()})
	return nil
}

func (s *server) page(w http.ResponseWriter, _ *http.Request) *problem {
	view := struct {
		Cabinet, Summary string
		Products         []string
		Simulated        bool
		Pace             float64

		BeforeHeat                          []string
		Smoulders, HeatReturns, BeforeReset string
	}{Summary: errNoStep, Products: s.productNames(), BeforeHeat: caution.BeforeHeat,
		Smoulders: caution.Smoulders, HeatReturns: caution.HeatReturns, BeforeReset: caution.BeforeReset}
	if snap := s.Loop.Snapshot(); snap != nil {
		view.Simulated, view.Pace = snap.Simulated, snap.Pace
		view.Summary = "At " + snap.Time.Format(time.TimeOnly) + " — " + summary(snap)
		if snap.Cabinet != nil {
			view.Cabinet = snap.Cabinet.Name
		}
	}
	var body bytes.Buffer
	if err := page.Execute(&body, view); err != nil {
		return refuse(http.StatusInternalServerError, "the page could not be made: %v; use /api/status instead", err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(body.Bytes())
	return nil
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

func (s *server) authorized(r *http.Request) *problem {
	if s.Token == "" {
		return refuse(http.StatusUnauthorized, "this daemon has no operator's token, so nothing can be changed; give it one and start it again")
	}
	scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	given := sha256.Sum256([]byte(token)) // equal lengths for the comparison
	if same := subtle.ConstantTimeCompare(given[:], s.token[:]); same != 1 || !strings.EqualFold(scheme, "Bearer") {
		return refuse(http.StatusUnauthorized, "changing anything needs the operator's token; send it as \"Authorization: Bearer TOKEN\"")
	}
	return nil
}

// An order is the body of POST /api/commands.
type order struct {
	command, product, file, productYAML, alarm, prompt, stuffedAt, reason, shelveFor, batch, text string
}

// Accepted is the answer to a command that was taken.
type Accepted struct {
	State string `json:"state"` // of the batch, after the step that took it
}

func (s *server) command(w http.ResponseWriter, r *http.Request) *problem {
	if err := s.origin.Check(r); err != nil {
		return refuse(http.StatusForbidden, "the request comes from another site's page; open this daemon's own page and do it there")
	}
	if p := s.authorized(r); p != nil {
		return p
	}
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return refuse(http.StatusUnsupportedMediaType, "a command is JSON; send it with \"Content-Type: application/json\"")
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBodyBytes))
	if tooLarge := (*http.MaxBytesError)(nil); errors.As(err, &tooLarge) {
		return refuse(http.StatusRequestEntityTooLarge, "the body is larger than %d bytes; a product file is a few thousand", maxBodyBytes)
	} else if err != nil {
		return refuse(http.StatusBadRequest, "the body could not be read: %v; send it again", err)
	}
	o, err := readOrder(body)
	if err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	if o.command == "note" {
		return s.note(w, r, o)
	}
	request, p := s.request(o)
	if p != nil {
		return p
	}
	request.Who = "operator"
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	reply, err := s.Loop.Do(ctx, request)
	if err != nil {
		return refuse(http.StatusServiceUnavailable, "the controller did not answer: %v; look at the cabinet before you try again", err)
	}
	if !reply.Accepted {
		return refuse(http.StatusConflict, "%s", reply.Why)
	}
	writeJSON(w, "application/json", http.StatusOK, Accepted{State: reply.State.String()})
	return nil
}

// readOrder reads a flat object of strings. It is stricter than encoding/json,
// which takes the last of two equal keys, any case of a key, and trailing text.
func readOrder(body []byte) (order, error) {
	var o order
	fields := map[string]*string{
		"command": &o.command, "product": &o.product, "file": &o.file,
		"product_yaml": &o.productYAML, "alarm": &o.alarm, "prompt": &o.prompt,
		"stuffed_at": &o.stuffedAt, "reason": &o.reason, "for": &o.shelveFor, "batch": &o.batch, "text": &o.text,
	}
	d := json.NewDecoder(bytes.NewReader(body))
	token, err := d.Token()
	if err != nil || token != json.Delim('{') {
		return o, errors.New(`the body is no JSON object; send for example {"command": "hold"}`)
	}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return o, fmt.Errorf("the body is no JSON: %w; correct it", err)
		}
		name, _ := key.(string)
		field, ok := fields[name]
		if !ok {
			return o, fmt.Errorf("field %q is unknown or given twice; a command has command, product, file, product_yaml, stuffed_at, reason, alarm, for, prompt, batch and text, each once", name)
		}
		value, err := d.Token()
		if err != nil {
			return o, fmt.Errorf("the body is no JSON: %w; correct it", err)
		}
		text, ok := value.(string)
		if !ok {
			return o, fmt.Errorf("field %q is no text; put it in quotes", name)
		}
		*field = text
		delete(fields, name)
	}
	if _, err := d.Token(); err != nil {
		return o, fmt.Errorf("the body ends too early: %w; send it whole", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return o, errors.New("something follows the JSON object; send one command at a time")
	}
	return o, nil
}

// rest works out how long the product has rested, and says what is missing in
// more words than the controller has.
func (s *server) rest(o order, r *snapshot.Request) *problem {
	need, why := r.Product.Rest()
	r.Reason = strings.TrimSpace(o.reason)
	r.Command.Excused = r.Reason != ""
	if len(r.Reason) > maxReason {
		return refuse(http.StatusUnprocessableEntity, "the reason has more than %d bytes; shorten it", maxReason)
	}
	if o.stuffedAt != "" {
		at, err := time.Parse(time.RFC3339, o.stuffedAt)
		if err != nil {
			return refuse(http.StatusUnprocessableEntity, "stuffed_at %q is no RFC 3339 time; write it like 2026-11-25T18:30:00+01:00", o.stuffedAt)
		}
		if r.Command.Rested = s.Now().Sub(at); r.Command.Rested < 0 {
			return refuse(http.StatusUnprocessableEntity, "stuffed_at %s lies ahead; check the date and the zone", o.stuffedAt)
		}
	}
	switch {
	case r.Command.Rested >= need || r.Command.Excused:
		return nil
	case o.stuffedAt == "":
		return refuse(http.StatusConflict, "%s rests for %s before it is heated (%s); say when it was stuffed, or give a reason to start without",
			r.Product.Name, quantity.FormatDuration(need), why)
	}
	return refuse(http.StatusConflict, "%s rests for %s before it is heated (%s); %s are still to go, wait or give a reason to start without",
		r.Product.Name, quantity.FormatDuration(need), why, quantity.FormatDuration(need-r.Command.Rested))
}

// request turns an order into what the loop takes.
func (s *server) request(o order) (snapshot.Request, *problem) {
	kind, ok := kinds[o.command]
	if o.command == "resume" { // its name until ISA-88's was taken
		return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "command resume does not exist; to go on with a held batch send restart")
	}
	if !ok {
		return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "command %q does not exist; send one of %s", o.command, kindNames)
	}
	for _, f := range []struct {
		name, value string
		of          controller.CommandKind
	}{
		{"product", o.product, controller.Start}, {"file", o.file, controller.Start}, {"product_yaml", o.productYAML, controller.Start},
		{"stuffed_at", o.stuffedAt, controller.Start}, {"reason", o.reason, controller.Start},
		{"alarm", o.alarm, controller.Acknowledge}, {"prompt", o.prompt, controller.Confirm}, {"for", o.shelveFor, controller.Shelve},
		{"batch", o.batch, controller.NoCommand}, {"text", o.text, controller.NoCommand},
	} {
		if f.value != "" && f.of != kind && !(f.name == "alarm" && kind == controller.Shelve) {
			return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "%s takes no %s; leave it out", o.command, f.name)
		}
	}
	request := snapshot.Request{Command: controller.Command{Kind: kind}}
	switch kind {
	case controller.Start:
		if p := s.product(o, &request); p != nil {
			return snapshot.Request{}, p
		}
		if p := s.rest(o, &request); p != nil {
			return snapshot.Request{}, p
		}
	case controller.Acknowledge, controller.Shelve:
		if request.Command.Alarm, ok = trip.Parse(o.alarm); !ok && o.alarm != "" {
			return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "alarm %q does not exist; take a code from /api/status, or leave it out for all", o.alarm)
		}
		if kind == controller.Shelve {
			d, err := quantity.ParseDuration(o.shelveFor)
			if err != nil {
				return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "shelve needs for, a duration such as 2 h: %v", err)
			}
			request.Command.For = d
		}
	case controller.Confirm:
		if p := s.samePrompt(o.prompt); p != nil {
			return snapshot.Request{}, p
		}
	}
	return request, nil
}

// samePrompt refuses to confirm a hand step that is not the one the person has
// read: a second tap of a wet finger must not answer the next question.
func (s *server) samePrompt(read string) *problem {
	snap := s.Loop.Snapshot()
	if read == "" || snap == nil {
		return nil
	}
	if now, ok := snap.State.Waiting(snap.Product); !ok || now.Text != read {
		return refuse(http.StatusConflict, "the hand step that you confirm no longer waits; read what is asked now")
	}
	return nil
}

// product finds what a start asks for and puts it into the request.
func (s *server) product(o order, r *snapshot.Request) *problem {
	var err error
	switch {
	case o.product != "" && o.productYAML == "" && o.file == "" && s.FindProduct != nil:
		r.ProductName = o.product
		r.Product, r.ProductFile, err = s.FindProduct(o.product)
	case o.product == "" && o.productYAML != "" && o.file != "" && s.ParseProduct != nil:
		r.ProductName, r.ProductFile = o.file, []byte(o.productYAML)
		r.Product, err = s.ParseProduct(o.file, r.ProductFile)
	default:
		return refuse(http.StatusUnprocessableEntity, "start needs either product, a name from /api/products, or both file and product_yaml")
	}
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "%v", err)
	}
	if r.Product == nil {
		return refuse(http.StatusUnprocessableEntity, "there is no product %q; take a name from /api/products", o.product)
	}
	return nil
}

// note keeps a note on a batch, the one under way or the last unless it is named.
func (s *server) note(w http.ResponseWriter, r *http.Request, o order) *problem {
	snap := s.Loop.Snapshot()
	if o.batch == "" && snap != nil {
		o.batch = snap.BatchID
	}
	switch {
	case s.Note == nil || o.batch == "":
		return refuse(http.StatusConflict, "there is no batch to note anything on; name one with batch")
	case strings.TrimSpace(o.text) == "" || len(o.text) > maxNote:
		return refuse(http.StatusUnprocessableEntity, "a note needs text, at most %d bytes", maxNote)
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	if err := s.Note(ctx, o.batch, strings.TrimSpace(o.text)); err != nil {
		return refuse(http.StatusConflict, "the note was not kept: %v", err)
	}
	state := controller.Idle
	if snap != nil {
		state = snap.State.Batch
	}
	writeJSON(w, "application/json", http.StatusOK, Accepted{State: state.String()})
	return nil
}

var kinds, kindNames = func() (map[string]controller.CommandKind, string) {
	byName, names := map[string]controller.CommandKind{}, []string{}
	for k := controller.NoCommand + 1; k < controller.CommandKinds; k++ {
		byName[k.String()] = k
		names = append(names, k.String())
	}
	return byName, strings.Join(names, ", ")
}()

// width reads the width of the chart that was asked for, 0 for the usual one.
func width(r *http.Request) (int, error) {
	text := r.URL.Query().Get("width")
	if text == "" {
		return 0, nil
	}
	return strconv.Atoi(text)
}
