package web_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/sensors"
)

type object = map[string]any

func description(t *testing.T) object {
	t.Helper()
	data, err := os.ReadFile("openapi.yaml")
	require.NoError(t, err)
	var d object
	require.NoError(t, yaml.Unmarshal(data, &d))
	return d
}

// follow replaces a $ref by what it points at.
func follow(d, node object) object {
	ref, ok := node["$ref"].(string)
	if !ok {
		return node
	}
	at := d
	for _, key := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		at = at[key].(object)
	}
	return at
}

// faults holds a value against a schema, for the few words that ours uses. It is
// stricter than JSON Schema: a property that is not listed is a fault.
func faults(d, schema object, value any, where string) []string {
	schema = follow(d, schema)
	if choices, ok := schema["oneOf"].([]any); ok {
		var all []string
		for _, c := range choices {
			found := faults(d, c.(object), value, where)
			if len(found) == 0 {
				return nil
			}
			all = append(all, found...)
		}
		return all
	}
	kind := map[bool]string{true: "null"}[value == nil]
	switch v := value.(type) {
	case bool:
		kind = "boolean"
	case float64:
		if kind = "number"; v == float64(int(v)) && schema["type"] == "integer" {
			kind = "integer"
		}
	case string:
		kind = "string"
	case []any:
		kind = "array"
	case object:
		kind = "object"
	}
	kinds, ok := schema["type"].([]any)
	if !ok {
		kinds = []any{schema["type"]}
	}
	var found []string
	if !slices.Contains(kinds, any(kind)) {
		found = append(found, fmt.Sprintf("%s is %s, not %v", where, kind, kinds))
	}
	if enum, ok := schema["enum"].([]any); ok && !slices.Contains(enum, value) {
		found = append(found, fmt.Sprintf("%s is %v, not of %v", where, value, enum))
	}
	switch v := value.(type) {
	case []any:
		for i, item := range v {
			found = append(found, faults(d, schema["items"].(object), item, fmt.Sprintf("%s[%d]", where, i))...)
		}
	case object:
		properties, _ := schema["properties"].(object)
		for key, item := range v {
			property, ok := properties[key].(object)
			if !ok {
				found = append(found, where+"."+key+" is not described")
				continue
			}
			found = append(found, faults(d, property, item, where+"."+key)...)
		}
		required, _ := schema["required"].([]any)
		for _, key := range required {
			if _, ok := v[key.(string)]; !ok {
				found = append(found, fmt.Sprintf("%s.%v is missing", where, key))
			}
		}
	}
	return found
}

// Every path, method and status of the description is brought about, with the
// media type and body that it promises, and the handlers have no other path.
func TestDescriptionMatchesTheHandlers(t *testing.T) {
	d := description(t)
	described := map[string]object{} // "GET /path 200" to its response
	paths := map[string][]string{}
	for path, methods := range d["paths"].(object) {
		for method, operation := range methods.(object) {
			method = strings.ToUpper(method)
			paths[path] = append(paths[path], method)
			for status, response := range operation.(object)["responses"].(object) {
				described[method+" "+path+" "+status] = follow(d, response.(object))
			}
		}
	}
	assert.Equal(t, paths, web.Routes(handler(accepting(cooking()))))

	refusing := &loop{snap: cooking(), reply: snapshot.Reply{Why: "no"}}
	broken := &loop{snap: cooking(), err: assert.AnError}
	cook, none := accepting(cooking()), accepting(nil)
	requests := map[string]struct {
		loop   *loop
		body   string
		query  string
		change func(*http.Request)
	}{
		"GET / 200":                 {loop: cook},
		"GET / 421":                 {loop: cook, change: host("evil.example")},
		"GET /page.css 200":         {loop: cook},
		"GET /page.js 200":          {loop: cook},
		"GET /icon.svg 200":         {loop: cook},
		"GET /chart.svg 200":        {loop: cook},
		"GET /chart.svg 400":        {loop: cook, query: "?width=wide"},
		"GET /chart.svg 503":        {loop: none},
		"GET /api/openapi.yaml 200": {loop: cook},
		"GET /api/status 200":       {loop: cook},
		"GET /api/status 503":       {loop: none},
		"GET /api/products 200":     {loop: cook},
		"POST /api/commands 200":    {loop: cook, body: `{"command":"hold"}`},
		"POST /api/commands 400":    {loop: cook, body: `{`},
		"POST /api/commands 401":    {loop: cook, change: header("Authorization", "Bearer x")},
		"POST /api/commands 403":    {loop: cook, change: header("Sec-Fetch-Site", "cross-site")},
		"POST /api/commands 409":    {loop: refusing, body: `{"command":"hold"}`},
		"POST /api/commands 413":    {loop: cook, body: strings.Repeat(" ", 1<<20+1)},
		"POST /api/commands 415":    {loop: cook, change: header("Content-Type", "text/plain")},
		"POST /api/commands 422":    {loop: cook, body: `{"command":"x"}`},
		"POST /api/commands 503":    {loop: broken, body: `{"command":"hold"}`},
		"GET /healthz 200":          {loop: cook},
		"GET /healthz 503":          {loop: none},
		"GET /readyz 200":           {loop: cook},
		"GET /readyz 503":           {loop: none},
		"GET /metrics 200":          {loop: cook},
	}
	for key, response := range described {
		t.Run(key, func(t *testing.T) {
			q, ok := requests[key]
			require.True(t, ok, "described, but no request here brings it about")
			if q.change == nil {
				q.change = func(*http.Request) {}
			}
			part := strings.Fields(key)
			w := ask(handler(q.loop), part[0], part[1]+q.query, q.body, q.change)
			require.Equal(t, part[2], fmt.Sprint(w.Code), w.Body)
			for media, content := range response["content"].(object) {
				got, _, _ := strings.Cut(w.Header().Get("Content-Type"), ";")
				if part[1] != "/metrics" { // the stand-in does not set it
					assert.Equal(t, media, got)
				}
				if schema, ok := content.(object)["schema"].(object); ok {
					var body any
					require.NoError(t, json.Unmarshal(w.Body.Bytes(), &body))
					assert.Empty(t, faults(d, schema, body, "body"))
				}
			}
		})
	}
	assert.Len(t, described, len(requests), "a request here that is not described")
}

// The status keeps to its description in every state, filled or empty.
func TestStatusKeepsToTheDescription(t *testing.T) {
	d := description(t)
	schema := d["components"].(object)["schemas"].(object)["Status"].(object)
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
	bare := &snapshot.Snapshot{Time: time.Unix(0, 0).UTC()}
	snaps := map[string]*snapshot.Snapshot{"full": full, "smoking": smoking, "bare": bare, "idle": idle()}
	for b := range controller.BatchStates {
		s := cooking()
		s.State.Batch = b
		snaps[b.String()] = s
	}
	for name, s := range snaps {
		assert.Empty(t, faults(d, schema, status(t, s), name))
	}
	spoiled := status(t, full)
	spoiled["chamber_celsius"], spoiled["surprise"] = "hot", 1.0
	delete(spoiled, "trip")
	assert.Len(t, faults(d, schema, spoiled, "spoiled"), 3, "the check itself must find faults")
}
