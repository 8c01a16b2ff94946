package web_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/sensors"
)

// description loads openapi.yaml and holds it against OpenAPI 3.1 itself.
func description(t *testing.T, data []byte) (*openapi3.T, error) {
	t.Helper()
	d, err := openapi3.NewLoader().LoadFromData(data)
	if err != nil {
		return nil, err
	}
	return d, d.Validate(t.Context(), openapi3.EnableMultiError())
}

func ours(t *testing.T) *openapi3.T {
	t.Helper()
	data, err := os.ReadFile("openapi.yaml")
	require.NoError(t, err)
	d, err := description(t, data)
	require.NoError(t, err)
	return d
}

// closed lets no object have a property that is not described. A client shall take
// one that it does not know, so the description itself stays open; what this version
// sends shall all be described.
func closed(t *testing.T, d *openapi3.T) *openapi3.T {
	t.Helper()
	no := false
	var seal func(s *openapi3.SchemaRef)
	seal = func(s *openapi3.SchemaRef) {
		if s == nil || s.Ref != "" {
			return
		}
		if s.Value.Type.Is("object") {
			s.Value.AdditionalProperties.Has = &no
		}
		for _, p := range s.Value.Properties {
			seal(p)
		}
		seal(s.Value.Items)
	}
	for _, s := range d.Components.Schemas {
		seal(s)
	}
	sealAll := func(responses map[string]*openapi3.ResponseRef) {
		for _, r := range responses {
			for _, media := range r.Value.Content {
				seal(media.Schema)
			}
		}
	}
	sealAll(d.Components.Responses)
	for _, path := range d.Paths.Map() {
		for _, operation := range path.Operations() {
			sealAll(operation.Responses.Map())
		}
	}
	return d
}

// exchange holds a request and its answer against the description.
func exchange(t *testing.T, d *openapi3.T, r *http.Request, w *httptest.ResponseRecorder) (request, answer error) {
	t.Helper()
	path, of := r.URL.Path, map[string]string{}
	for _, above := range []string{"/api/batches/", "/batches/"} {
		if id, ok := strings.CutPrefix(path, above); ok {
			id, tail, _ := strings.Cut(id+"/", "/")
			path, of["batch"] = strings.TrimSuffix(above+"{batch}/"+tail, "/"), id
		}
	}
	item := d.Paths.Value(path)
	require.NotNil(t, item, path)
	operation := item.GetOperation(r.Method)
	require.NotNil(t, operation, r.Method+" "+r.URL.Path)
	in := &openapi3filter.RequestValidationInput{
		Request: r, QueryParams: r.URL.Query(), PathParams: of,
		Route: &routers.Route{Spec: d, Path: path, PathItem: item, Method: r.Method, Operation: operation},
		Options: &openapi3filter.Options{IncludeResponseStatus: true, AuthenticationFunc: func(_ context.Context, a *openapi3filter.AuthenticationInput) error {
			if a.SecuritySchemeName != "operator" || r.Header.Get("Authorization") != "Bearer "+token {
				return errors.New("not the operator")
			}
			return nil
		}},
	}
	request = openapi3filter.ValidateRequest(t.Context(), in)
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: w.Code, Header: w.Header(), Options: in.Options}
	return request, openapi3filter.ValidateResponse(t.Context(), out.SetBodyBytes(w.Body.Bytes()))
}

// The description is a sound one. Its first version had commas without quotes, which
// made keys of half a sentence; that must be found.
func TestDescriptionIsOpenAPI(t *testing.T) {
	d := ours(t)
	assert.NotEmpty(t, d.Servers)
	for path, item := range d.Paths.Map() {
		for method, operation := range item.Operations() {
			security := operation.Security
			if security == nil {
				security = &d.Security
			}
			assert.NotNil(t, *security, "%s %s does not say whether it needs the token", method, path)
			needs := method != http.MethodGet
			if path == "/api/sessions" { // a code lets in whoever has none yet, and nobody else sees who may
				needs = !needs
			}
			assert.Equal(t, needs, len(*security) > 0, "%s %s", method, path)
			assert.NotNil(t, operation.Responses.Status(http.StatusMisdirectedRequest), "%s %s", method, path)
		}
	}
	data, err := os.ReadFile("openapi.yaml")
	require.NoError(t, err)
	for _, spoil := range [][2]string{
		{`description: "What is happening, in words"`, `description: What is happening, in words`},
		{`summary: The page`, `sumary: The page`},
		{`#/components/schemas/Status"`, `#/components/schemas/State"`},
		{`operationId: products`, `operationId: status`},
	} {
		spoiled := strings.Replace(string(data), spoil[0], spoil[1], 1)
		require.NotEqual(t, string(data), spoiled, spoil[0])
		_, err := description(t, []byte(spoiled))
		assert.Error(t, err, spoil[1])
	}
}

// Every path, method and status of the description is brought about, request and
// answer hold against it, and the handlers have no other path.
func TestDescriptionMatchesTheHandlers(t *testing.T) {
	d := closed(t, ours(t))
	described, paths := []string{}, map[string][]string{}
	for path, item := range d.Paths.Map() {
		for method, operation := range item.Operations() {
			paths[path] = append(paths[path], method)
			for status := range operation.Responses.Map() {
				described = append(described, method+" "+path+" "+status)
			}
		}
	}
	routes := web.Routes(handler(accepting(cooking())))
	for _, methods := range []map[string][]string{paths, routes} {
		for path := range methods {
			slices.Sort(methods[path]) // the description has its own order
		}
	}
	assert.Equal(t, paths, routes)

	const links = `{"name":"Beech links","kind":"sausage","place":"US","meat":"pork-shoulder","fat":"none","percent":"none","casing":"hog-32","cure":"no-1","core":"70","mass":"3 kg"}`
	refusing := &loop{snap: cooking(), reply: snapshot.Reply{Why: "no"}}
	broken := &loop{snap: cooking(), err: assert.AnError}
	cook, none, guessed, unkept := accepting(cooking()), accepting(nil), accepting(cooking()), accepting(cooking())
	type try struct {
		loop   *loop
		body   string
		query  url.Values
		id     string // in the path
		change func(*http.Request)
		// bad is what a client that holds its requests against the description would
		// not have sent.
		bad bool
	}
	tries := map[string][]try{
		"GET / 200":         {{loop: cook}, {loop: none}},
		"GET /page.css 200": {{loop: cook}},
		"GET /page.js 200":  {{loop: cook}},
		"GET /batches 200":  {{loop: cook}}, "GET /batches/{batch} 200": {{loop: cook}}, "GET /batches.js 200": {{loop: cook}},
		"GET /notices.js 200":       {{loop: cook}},
		"GET /icon.svg 200":         {{loop: cook}, {loop: cook, query: url.Values{"sign": {"soon"}}}},
		"GET /chart.svg 200":        {{loop: cook}, {loop: cook, query: url.Values{"width": {"240"}}}, {loop: cook, query: url.Values{"width": {"4000"}}}, {loop: cook, query: url.Values{"units": {"F,lb"}}}},
		"GET /chart.svg 400":        {},
		"GET /chart.svg 503":        {{loop: none}},
		"GET /display.png 200":      {{loop: accepting(displayed())}},
		"GET /display.png 404":      {{loop: cook}, {loop: none}},
		"GET /api/openapi.yaml 200": {{loop: cook}},
		"GET /api/status 200":       {{loop: cook}, {loop: accepting(absent(t))}},
		"GET /api/status 503":       {{loop: none}},
		"GET /api/products 200":     {{loop: cook}},
		"GET /api/products 503":     {{loop: broken}},
		"POST /api/products 201":    {{loop: cook, body: `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`}, {loop: cook, body: `{"file":"ring.yaml","name":"other","product_yaml":"product: Caraway ring","replace":"yes"}`}},
		"POST /api/products 400":    {{loop: cook, body: `{`, bad: true}},
		"POST /api/products 401":    {{loop: cook, change: header("Authorization", "Bearer x"), body: `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`, bad: true}},
		"POST /api/products 403":    {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`}},
		"POST /api/products 409":    {{loop: cook, body: `{"file":"taken.yaml","product_yaml":"product: Caraway ring"}`}},
		"POST /api/products 413":    {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/products 415":    {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`, bad: true}},
		"POST /api/products 422":    {{loop: cook, body: `{"file":"ring.yaml","product_yaml":"product: none"}`}, {loop: cook, body: `{"file":"ring.yaml"}`, bad: true}},
		"GET /api/assistant 200":    {{loop: cook}, {loop: cook, query: url.Values{"kind": {"sausage"}, "meat": {"pork-shoulder"}, "fat": {"pork-belly"}}}},
		"POST /api/assistant 200":   {{loop: cook, body: links}},
		"POST /api/assistant 400":   {{loop: cook, body: `{`, bad: true}, {loop: cook, body: `{"species":"pork"}`, bad: true}},
		"POST /api/assistant 401":   {{loop: cook, change: header("Authorization", "Bearer x"), body: links, bad: true}},
		"POST /api/assistant 403":   {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: links}},
		"POST /api/assistant 413":   {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/assistant 415":   {{loop: cook, change: header("Content-Type", "text/plain"), body: links, bad: true}},
		"POST /api/assistant 422":   {{loop: cook, body: strings.Replace(links, "hog-32", "bare", 1)}, {loop: cook, body: strings.Replace(links, "Beech links", "Refused", 1)}},
		"POST /api/start-sheet 200": {{loop: cook, body: `{"product":"Caraway ring"}`}, {loop: accepting(idle()), body: `{"product":"Caraway ring","stuffed_at":"2026-03-13T18:00:00+01:00"}`}, {loop: none, body: `{"product":"Caraway ring"}`}},
		"POST /api/start-sheet 400": {{loop: cook, body: `{`, bad: true}},
		"POST /api/start-sheet 401": {{loop: cook, change: header("Authorization", "Bearer x"), body: `{"product":"Caraway ring"}`, bad: true}},
		"POST /api/start-sheet 403": {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"product":"Caraway ring"}`}},
		"POST /api/start-sheet 413": {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/start-sheet 415": {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"product":"Caraway ring"}`, bad: true}},
		"POST /api/start-sheet 422": {{loop: cook, body: `{"product":"no such"}`}, {loop: cook, body: `{"product":"Caraway ring","reason":"x"}`, bad: true}, {loop: cook, body: `{"product":"Caraway ring","meat":"five"}`}, {loop: cook, body: `{"product":"Caraway ring","stuffed_at":"2026-03-15T18:00:00+01:00"}`}},
		"GET /api/curve 200":        {{loop: cook}, {loop: accepting(idle())}},
		"GET /api/curve 503":        {{loop: none}},
		"GET /api/drawing.svg 200":  {{loop: cook}, {loop: accepting(idle())}},
		"GET /api/drawing.svg 503":  {{loop: none}},
		"POST /api/commands 200": {{loop: cook, body: `{"command":"hold"}`},
			{loop: cook, body: `{"command":"start","file":"ring.yaml","product_yaml":"product: Caraway ring","stuffed_at":"2026-03-13T18:00:00+01:00","reason":"none"}`},
			{loop: cook, body: `{"command":"shelve","alarm":"core-lost","for":"2 h"}`},
			{loop: cook, body: `{"command":"confirm","question":"4-until-2-22"}`}, {loop: cook, body: `{"command":"mended","alarm":"core-out"}`},
			{loop: cook, body: `{"command":"absence","question":"absence-1-22","for":"40 min"}`},
			{loop: cook, body: `{"command":"adjust","stage":"3-stage-255s0","chamber":"85 °C","smoke":"off","reason":"late guests"}`}},
		"POST /api/commands 400": {{loop: cook, body: `{`, bad: true}, {loop: cook, body: ``, bad: true}, {loop: cook, body: `{"command":"hold","x":"y"}`, bad: true}},
		"POST /api/commands 401": {{loop: cook, change: header("Authorization", "Bearer x"), body: `{"command":"hold"}`, bad: true}},
		"POST /api/commands 403": {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"command":"hold"}`}},
		"POST /api/commands 409": {{loop: refusing, body: `{"command":"hold"}`}, {loop: cook, body: `{"command":"note","text":"no recorder here"}`}},
		"POST /api/commands 413": {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/commands 415": {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"command":"hold"}`, bad: true}},
		"POST /api/commands 422": {{loop: cook, body: `{"command":"x"}`, bad: true}, {loop: cook, body: `{"command":"start","product":"no such"}`},
			{loop: cook, body: `{"command":"confirm"}`}, {loop: cook, body: `{"command":"confirm","question":"the one that waits"}`, bad: true},
			{loop: cook, body: `{"command":"start","product":"Caraway ring","reason":"` + strings.Repeat("x", 501) + `"}`, bad: true}},
		"POST /api/commands 503":             {{loop: broken, body: `{"command":"hold"}`}},
		"GET /api/batches 200":               {{loop: cook}},
		"GET /api/batches 404":               {{loop: none}},
		"GET /api/batches 503":               {{loop: broken}},
		"GET /api/batches/{batch} 200":       {{loop: cook}},
		"GET /api/batches/{batch} 404":       {{loop: cook, id: "another"}, {loop: none}},
		"GET /api/batches/{batch} 409":       {{loop: cook, id: "running"}},
		"GET /api/batches/{batch} 503":       {{loop: broken}},
		"GET /api/batches/{batch}/notes 200": {{loop: cook}, {loop: cook, id: "running"}},
		"GET /api/batches/{batch}/notes 404": {{loop: cook, id: "another"}, {loop: none}},
		"GET /api/batches/{batch}/notes 503": {{loop: broken}},
		"GET /api/events 200":                {{loop: accepting(ending())}},
		"GET /api/plan/curve 200":            {{loop: cook}, {loop: none}},
		"POST /api/rehearse 200":             {{loop: cook, body: `{"product":"Caraway ring"}`}, {loop: none, body: `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`}},
		"POST /api/rehearse 400":             {{loop: cook, body: `{`, bad: true}},
		"POST /api/rehearse 401":             {{loop: cook, change: header("Authorization", "Bearer x"), body: `{"product":"Caraway ring"}`, bad: true}},
		"POST /api/rehearse 403":             {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"product":"Caraway ring"}`}},
		"POST /api/rehearse 409":             {{loop: refusing, body: `{"product":"Caraway ring"}`}},
		"POST /api/rehearse 413":             {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/rehearse 415":             {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"product":"Caraway ring"}`, bad: true}},
		"POST /api/rehearse 422":             {{loop: cook, body: `{"product":"no such"}`}, {loop: cook, body: `{"product":"Caraway ring","reason":"x"}`, bad: true}, {loop: cook, body: `{}`}},
		"POST /api/rehearse 503":             {{loop: broken, body: `{"product":"Caraway ring"}`}},
		"POST /api/pairings 200":             {{loop: cook, body: `{}`}, {loop: cook, body: `{"name":"tablet"}`}},
		"POST /api/pairings 400":             {{loop: cook, body: `{`, bad: true}},
		"POST /api/pairings 401":             {{loop: cook, change: header("Authorization", "Bearer x"), body: `{}`, bad: true}},
		"POST /api/pairings 403":             {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{}`}},
		"POST /api/pairings 409":             {{loop: broken, body: `{}`}},
		"POST /api/pairings 413":             {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/pairings 415":             {{loop: cook, change: header("Content-Type", "text/plain"), body: `{}`, bad: true}},
		"GET /api/sessions 200":              {{loop: cook, change: header("Authorization", "Bearer "+token)}},
		"GET /api/sessions 401":              {{loop: cook, bad: true}},
		"POST /api/sessions 201":             {{loop: cook, body: `{"code":"CODE"}`}},
		"POST /api/sessions 400":             {{loop: cook, body: `{`, bad: true}},
		"POST /api/sessions 403":             {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"code":"CODE"}`}},
		"POST /api/sessions 409":             {{loop: broken, body: `{"code":"CODE"}`}},
		"POST /api/sessions 413":             {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/sessions 415":             {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"code":"CODE"}`, bad: true}},
		"POST /api/sessions 422":             {{loop: cook, body: `{"code":"22222222"}`}},
		"POST /api/sessions 429":             {{loop: guessed, body: `{"code":"22222222"}`}},
		"POST /api/sessions/revoke 200":      {{loop: cook, body: `{"session":"SESSION"}`}},
		"POST /api/sessions/revoke 400":      {{loop: cook, body: `{`, bad: true}},
		"POST /api/sessions/revoke 401":      {{loop: cook, change: header("Authorization", "Bearer x"), body: `{"session":"x"}`, bad: true}},
		"POST /api/sessions/revoke 403":      {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"session":"x"}`}},
		"POST /api/sessions/revoke 413":      {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/sessions/revoke 415":      {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"session":"x"}`, bad: true}},
		"POST /api/sessions/revoke 422":      {{loop: cook, body: `{"session":"x"}`}},
		"POST /api/sessions/revoke 503":      {{loop: unkept, body: `{"session":"SESSION"}`}},
		"POST /api/rehearse/change 200":      {{loop: cook, body: `{"command":"adjust","stage":"3-stage-255s0","chamber":"85 °C"}`}, {loop: cook, body: `{"command":"skip","stage":"3-stage-255s0","reason":"done"}`}},
		"POST /api/rehearse/change 400":      {{loop: cook, body: `{`, bad: true}},
		"POST /api/rehearse/change 401":      {{loop: cook, change: header("Authorization", "Bearer x"), body: `{"command":"skip","stage":"3-stage-255s0"}`, bad: true}},
		"POST /api/rehearse/change 403":      {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"command":"skip","stage":"3-stage-255s0"}`}},
		"POST /api/rehearse/change 409":      {{loop: refusing, body: `{"command":"skip","stage":"3-stage-255s0"}`}, {loop: cook, body: `{"command":"skip","stage":"2-stage-255s0"}`}, {loop: cook, body: `{"command":"adjust","stage":"3-stage-255s0","chamber":"129 °C"}`}},
		"POST /api/rehearse/change 413":      {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/rehearse/change 415":      {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"command":"skip","stage":"3-stage-255s0"}`, bad: true}},
		"POST /api/rehearse/change 422": {{loop: cook, body: `{"command":"hold"}`}, {loop: cook, body: `{"command":"skip"}`}, {loop: cook, body: `{"command":"skip","stage":"3"}`, bad: true},
			{loop: cook, body: `{"command":"adjust","stage":"3-stage-255s0"}`}, {loop: cook, body: `{"command":"adjust","stage":"3-stage-255s0","chamber":"85"}`}},
		"POST /api/rehearse/change 503":  {{loop: broken, body: `{"command":"skip","stage":"3-stage-255s0"}`}, {loop: none, body: `{"command":"skip","stage":"3-stage-255s0"}`}},
		"POST /api/rehearse/suppose 200": {{loop: cook, body: `{"chamber":"+5 K","room":"-8 K","damper":"open"}`}, {loop: cook, body: `{"ready":"2026-03-14T18:00:00Z"}`}},
		"POST /api/rehearse/suppose 400": {{loop: cook, body: `{`, bad: true}},
		"POST /api/rehearse/suppose 401": {{loop: cook, change: header("Authorization", "Bearer x"), body: `{"chamber":"+5 K"}`, bad: true}},
		"POST /api/rehearse/suppose 403": {{loop: cook, change: header("Sec-Fetch-Site", "cross-site"), body: `{"chamber":"+5 K"}`}},
		"POST /api/rehearse/suppose 409": {{loop: accepting(idle()), body: `{"chamber":"+5 K"}`}, {loop: cook, body: `{"chamber":"+50 K"}`}, {loop: cook, body: `{"chamber":"40 °C"}`}},
		"POST /api/rehearse/suppose 413": {{loop: cook, body: strings.Repeat(" ", 1<<20+1), bad: true}},
		"POST /api/rehearse/suppose 415": {{loop: cook, change: header("Content-Type", "text/plain"), body: `{"chamber":"+5 K"}`, bad: true}},
		"POST /api/rehearse/suppose 422": {{loop: cook, body: `{}`}, {loop: cook, body: `{"chamber":"85"}`}, {loop: cook, body: `{"damper":"ajar"}`}, {loop: cook, body: `{"damper":"150 %"}`}, {loop: cook, body: `{"room":"-60 K"}`},
			{loop: cook, body: `{"ready":"2026-03-14T10:00:00Z"}`}, {loop: cook, body: `{"ready":"2026-03-14T18:00:00Z","room":"-8 K"}`}},
		"POST /api/rehearse/suppose 503": {{loop: broken, body: `{"chamber":"+5 K"}`}, {loop: none, body: `{"chamber":"+5 K"}`}},
		"GET /healthz 200":               {{loop: cook}},
		"GET /healthz 503":               {{loop: none}},
		"GET /readyz 200":                {{loop: cook}},
		"GET /readyz 503":                {{loop: none}, {loop: accepting(&snapshot.Snapshot{Stepped: noon})}},
		"GET /metrics 200":               {{loop: cook}, {loop: none}},
	}
	for _, width := range []string{"wide", "239", "4001", "-1"} {
		tries["GET /chart.svg 400"] = append(tries["GET /chart.svg 400"], try{loop: cook, query: url.Values{"width": {width}}, bad: true})
	}
	for path, methods := range paths {
		for _, method := range methods {
			body := map[string]string{"/api/commands": `{"command":"hold"}`, "/api/rehearse": `{"product":"Caraway ring"}`, "/api/rehearse/change": `{"command":"skip","stage":"3-stage-255s0"}`, "/api/rehearse/suppose": `{"chamber":"+5 K"}`, "/api/pairings": `{}`, "/api/sessions": `{"code":"CODE"}`, "/api/sessions/revoke": `{"session":"x"}`, "/api/start-sheet": `{"product":"Caraway ring"}`, "/api/assistant": links, "/api/products": `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`}[path]
			if method == http.MethodGet {
				body = ""
			}
			tries[method+" "+path+" 421"] = []try{{loop: cook, change: host("evil.example"), body: body, bad: path == "/api/sessions" && method == http.MethodGet}}
		}
	}
	for _, key := range described {
		t.Run(key, func(t *testing.T) {
			require.NotEmpty(t, tries[key], "described, but no request here brings it about")
			part := strings.Fields(key)
			for _, q := range tries[key] {
				target := strings.Replace(part[1], "{batch}", cmp.Or(q.id, "cooked"), 1)
				if q.query != nil {
					target += "?" + q.query.Encode()
				}
				var sent *http.Request
				changes := []func(*http.Request){func(r *http.Request) { sent = r }}
				if q.change != nil {
					changes = append(changes, q.change)
				}
				h, body := measured(q.loop), q.body
				if strings.Contains(part[1], "sessions") || part[1] == "/api/pairings" {
					h, body = paired(t, q.loop, q.loop != broken, q.loop == guessed, q.loop == unkept, q.body)
				}
				w := ask(h, part[0], target, body, changes...)
				require.Equal(t, part[2], fmt.Sprint(w.Code), w.Body)
				again := httptest.NewRequest(part[0], target, strings.NewReader(q.body)) // the body was read
				again.Header = sent.Header
				request, answer := exchange(t, d, again, w)
				assert.Equal(t, q.bad, request != nil, "%.200q: %v", q.body, request)
				assert.NoError(t, answer)
			}
		})
	}
	assert.Len(t, described, len(tries), "a request here that is not described")
}

// The description lists the commands that there are, and no other.
func TestDescribedCommandsExist(t *testing.T) {
	var have []any
	for _, k := range controller.Commands() {
		have = append(have, k.String())
	}
	described := ours(t).Components.Schemas["Command"].Value.Properties["command"].Value.Enum
	assert.ElementsMatch(t, append(have, web.Note, web.Weigh, web.Declare, web.Rate, web.Repeat, web.Decide), described)
	for _, c := range described {
		w := ask(handler(accepting(cooking())), http.MethodPost, "/api/commands", fmt.Sprintf(`{"command":%q}`, c))
		assert.NotContains(t, w.Body.String(), "does not exist")
	}
}

// The status keeps to its description in every state, filled or empty.
func TestStatusKeepsToTheDescription(t *testing.T) {
	d := closed(t, ours(t))
	assert.NotNil(t, status(t, cooking())["plan"])
	full := asking()
	full.State.Tripped = trip.ChamberHigh
	for c := trip.None + 1; c < trip.Count; c++ {
		full.State.Alarms[c] = trip.State{Phase: 1 + trip.Phase(c)%3, Standing: true}
	}
	full.State.Wick.Humidity, full.State.Wick.HasHumidity = 0.6, true
	full.Inputs.WetBulb = sensors.At(55)
	full.Inputs.Ember = sensors.At(430)
	smoking := cooking()
	smoking.Inputs.Ember = sensors.At(430)
	smoking.Cabinet.Generator = cabinet.Generator{Lasts: 200 * time.Minute, FullAir: 8 * time.Minute, TurnedDown: 0.7}
	smoking.Product = &profile.Product{Name: "smoked throughout", Stages: slices.Repeat([]profile.Stage{{Name: "smoke", Smoke: true}}, len(ring.Stages))}
	known := status(t, smoking)
	assert.Equal(t, 430.0, known["ember_celsius"])
	assert.Equal(t, 1.0, known["smoke_fuel_ratio"])
	overdone := cooking()
	overdone.State.Heat = killed(203.55)
	eventful := cooking() // an event of every kind
	for k := controller.BatchChanged; !strings.HasPrefix(history.KindName(k), "event "); k++ {
		eventful.History.Add(noon, eventful.State.Elapsed, &eventful.State, controller.Outputs{}, []controller.Event{{
			Kind: k, At: eventful.State.Elapsed, Batch: controller.Held, Stage: 1, By: controller.EndedByPerson, Alarm: trip.CoreLost,
			Command: controller.Reset, Why: controller.NotTripped,
		}})
	}
	eventful.History.Say(noon, eventful.State.Elapsed, "the record was damaged", trip.Soon)
	bare := &snapshot.Snapshot{Time: time.Unix(0, 0).UTC()}
	snaps := map[string]*snapshot.Snapshot{"full": full, "eventful": eventful, "smoking": smoking, "bare": bare, "idle": idle(), "overdone": overdone}
	for b := range controller.BatchStates {
		s := cooking()
		s.State.Batch = b
		snaps[b.String()] = s
	}
	answer := func(s *snapshot.Snapshot) *httptest.ResponseRecorder {
		return ask(handler(accepting(s)), http.MethodGet, "/api/status", "")
	}
	for name, s := range snaps {
		request, err := exchange(t, d, httptest.NewRequest(http.MethodGet, "/api/status", nil), answer(s))
		assert.NoError(t, request, name)
		assert.NoError(t, err, name)
	}
	highest := d.Components.Schemas["Status"].Value.Properties["lethality_log10"].Value.Max
	assert.Equal(t, lethality.MostShown, *highest)

	// The check itself must find faults.
	for old, spoilt := range map[string]string{
		`"chamber_celsius":59.4`: `"chamber_celsius":"hot"`,
		`"pace":60`:              `"pace":60,"surprise":1`,
		`"name":"wick",`:         `"name":"wick","surprise":1,`,
		`"pace":60,`:             ``,
		`"state":"running"`:      `"state":"roaming"`,
		`"time":"2026-03-14T`:    `"time":"14 March`,
		`"lethality_log10":1.3`:  `"lethality_log10":203`,
	} {
		w := answer(full)
		body := w.Body.String()
		require.Contains(t, body, old)
		w.Body.Reset()
		w.Body.WriteString(strings.Replace(body, old, spoilt, 1))
		_, err := exchange(t, d, httptest.NewRequest(http.MethodGet, "/api/status", nil), w)
		assert.Error(t, err, spoilt)
	}
}
