package web_test

import (
	"context"
	"encoding/json"
	"maps"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/controller/web"
)

func TestCommandsReachTheLoop(t *testing.T) {
	cases := map[string]snapshot.Request{
		`{"command":"start","product":"Caraway ring"}`: {Command: controller.Command{Kind: controller.Start}, Product: ring,
			ProductName: "Caraway ring", ProductFile: []byte("product: Caraway ring")},
		`{"command":"start","file":"ring.yaml","product_yaml":"product: Caraway ring"}`: {Command: controller.Command{Kind: controller.Start}, Product: ring,
			ProductName: "ring.yaml", ProductFile: []byte("product: Caraway ring")},
		`{"command":"shelve","alarm":"core-lost","for":"2 h"}`:           {Command: controller.Command{Kind: controller.Shelve, Alarm: trip.CoreLost, For: 2 * time.Hour}},
		`{"command":"confirm","question":"2-ask-22"}`:                    {Command: controller.Command{Kind: controller.Confirm, Question: controller.Question{Stage: 1, Part: controller.HandStep, Batch: 74 * time.Millisecond}}},
		`{"command":"confirm","question":"4-until-2-22"}`:                {Command: controller.Command{Kind: controller.Confirm, Question: controller.Question{Stage: 3, Part: controller.HandStep + 2, Batch: 74 * time.Millisecond}}}, // the step judges
		`{"command":"absence","question":"absence-2-22","for":"40 min"}`: {Command: controller.Command{Kind: controller.Absence, Question: controller.Question{Absence: 2, Batch: 74 * time.Millisecond}, For: 40 * time.Minute}},
		`{"command":"hold"}`:                            {Command: controller.Command{Kind: controller.Hold}},
		`{"command":"restart"}`:                         {Command: controller.Command{Kind: controller.Restart}},
		`{"command":"stop"}`:                            {Command: controller.Command{Kind: controller.Stop}},
		`{"command":"abort"}`:                           {Command: controller.Command{Kind: controller.Abort}},
		`{"command":"acknowledge"}`:                     {Command: controller.Command{Kind: controller.Acknowledge}},
		`{"command":"acknowledge","alarm":"core-lost"}`: {Command: controller.Command{Kind: controller.Acknowledge, Alarm: trip.CoreLost}},
		`{"command":"mended","alarm":"core-lost"}`:      {Command: controller.Command{Kind: controller.Mended, Alarm: trip.CoreLost}},
		`{"command":"reset"}`:                           {Command: controller.Command{Kind: controller.Reset}},
	}
	for body, want := range cases {
		want.Who = "operator from 192.0.2.1" // of the tests' requests
		l := accepting(asking())
		w := ask(handler(l), http.MethodPost, "/api/commands", body)
		assert.Equal(t, http.StatusOK, w.Code, w.Body)
		assert.JSONEq(t, `{"state":"running","recorded":true}`, w.Body.String())
		assert.Equal(t, []snapshot.Request{want}, l.requests(), body)
	}
}

// None of these may reach the loop.
func TestRefusals(t *testing.T) {
	hold := `{"command":"hold"}`
	cases := map[string]struct {
		body   string
		change func(*http.Request)
		status int
		says   string
	}{
		"no token":           {hold, func(r *http.Request) { r.Header.Del("Authorization") }, 401, "Authorization: Bearer"},
		"wrong token":        {hold, header("Authorization", "Bearer guess"), 401, "operator's token"},
		"empty token":        {hold, header("Authorization", "Bearer "), 401, "operator's token"},
		"other scheme":       {hold, header("Authorization", "Basic "+token), 401, "operator's token"},
		"cross-site page":    {hold, header("Sec-Fetch-Site", "cross-site"), 403, "another site"},
		"same-site page":     {hold, header("Sec-Fetch-Site", "same-site"), 403, "another site"},
		"foreign origin":     {hold, header("Origin", "https://evil.example"), 403, "another site"},
		"rebound name":       {hold, host("evil.example:8080"), 421, "evil.example"},
		"form":               {hold, header("Content-Type", "text/plain"), 415, "application/json"},
		"too large":          {`{"command":"start","file":"x","product_yaml":"` + strings.Repeat("a", web.MaxBody) + `"}`, nil, 413, "139264"},
		"product too large":  {`{"command":"start","file":"x","product_yaml":"` + strings.Repeat("a", web.MaxProduct+1) + `"}`, nil, 413, "65536"},
		"largest product":    {`{"command":"start","file":"x.yaml","product_yaml":"` + strings.Repeat(`\n`, web.MaxProduct) + `"}`, nil, 422, "x.yaml:1:1"},
		"empty":              {``, nil, 400, "no JSON object"},
		"list":               {`["hold"]`, nil, 400, "no JSON object"},
		"cut short":          {`{"command":"hold"`, nil, 400, "ends too early"},
		"unknown field":      {`{"command":"hold","now":"yes"}`, nil, 400, `"now"`},
		"other case":         {`{"Command":"hold"}`, nil, 400, `"Command"`},
		"given twice":        {`{"command":"hold","command":"stop"}`, nil, 400, "given twice"},
		"no text":            {`{"command":1}`, nil, 400, "put it in quotes"},
		"nested":             {`{"command":{"a":"b"}}`, nil, 400, "put it in quotes"},
		"trailing":           {hold + hold, nil, 400, "one thing at a time"},
		"former command":     {`{"command":"resume"}`, nil, 422, "send restart"},
		"unknown command":    {`{"command":"burn"}`, nil, 422, "start, confirm, absence, hold, restart, adjust, skip, end-cooking, stop, abort, acknowledge, mended, shelve, reset, ice"},
		"zero command":       {`{"command":"none"}`, nil, 422, "does not exist"},
		"no command":         {`{}`, nil, 422, "does not exist"},
		"start with nothing": {`{"command":"start"}`, nil, 422, "either product"},
		"start with both":    {`{"command":"start","product":"Caraway ring","file":"x","product_yaml":"y"}`, nil, 422, "either product"},
		"unknown product":    {`{"command":"start","product":"stone soup"}`, nil, 422, "there is no stone soup"},
		"bad file":           {`{"command":"start","file":"x.yaml","product_yaml":"y"}`, nil, 422, "x.yaml:1:1"},
		"product for hold":   {`{"command":"hold","product":"Caraway ring"}`, nil, 422, "takes no product"},
		"unknown alarm":      {`{"command":"acknowledge","alarm":"boredom"}`, nil, 422, "boredom"},
		"no such mended":     {`{"command":"mended","alarm":"boredom"}`, nil, 422, "boredom"},
		"mended what":        {`{"command":"mended"}`, nil, 422, "mended needs alarm"},
		"shelve what":        {`{"command":"shelve","for":"1 h"}`, nil, 422, "shelve needs alarm"},
		"shelve for what":    {`{"command":"shelve","alarm":"core-lost"}`, nil, 422, "shelve needs for"},
		"bare confirm":       {`{"command":"confirm"}`, nil, 422, "read what prompt of /api/status asks"},
		"no question":        {`{"command":"confirm","question":"2"}`, nil, 422, "prompt of /api/status"},
		"absence of what":    {`{"command":"absence","for":"1 h"}`, nil, 422, "absence needs question"},
		"absence for what":   {`{"command":"absence","question":"absence-1-22"}`, nil, 422, "absence needs for"},
		"absence unnumbered": {`{"command":"absence","question":"absence-0-22","for":"1 h"}`, nil, 422, "prompt of /api/status"},
		"former question":    {`{"command":"confirm","prompt":"Open the door"}`, nil, 400, "question"},
		"question for hold":  {`{"command":"hold","question":"2-ask-22"}`, nil, 422, "takes no question"},
		"note for hold":      {`{"command":"hold","text":"x"}`, nil, 422, "takes no text"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			l := accepting(asking())
			if c.change == nil {
				c.change = func(*http.Request) {}
			}
			w := ask(handler(l), http.MethodPost, "/api/commands", c.body, c.change)
			assert.Equal(t, c.status, w.Code)
			assert.Contains(t, detail(t, w), c.says)
			assert.Empty(t, l.requests())
			if c.status == http.StatusUnauthorized {
				assert.Contains(t, w.Header().Get("WWW-Authenticate"), "Bearer")
			}
		})
	}
}

// An order takes exactly the fields of its command, as the controller's table has them,
// and what the command needs cannot be left out.
func TestOrdersTakeWhatTheTableSays(t *testing.T) {
	fields := map[string]controller.With{
		"product": controller.WithProduct, "reason": controller.WithProduct | controller.WithReason, "alarm": controller.WithAlarm, "for": controller.WithDuration,
		"question": controller.WithQuestion, "probe": controller.WithProbe, "text": 0, "batch": 0,
		"stage": controller.WithStage, "chamber": controller.WithBend,
	}
	values := map[string]string{"product": ring.Name, "alarm": "core-lost", "for": "1 h", "question": "2-ask-22", "probe": "thick end", "reason": "r", "text": "t", "batch": "b", "stage": "2-stage-22", "chamber": "70 °C"}
	for _, k := range controller.Commands() {
		whole := map[string]string{"command": k.String()}
		for name, of := range fields {
			if k.Needs()&of != 0 {
				whole[name] = values[name]
			}
		}
		send := func(order map[string]string) (*httptest.ResponseRecorder, *loop) {
			body, err := json.Marshal(order)
			require.NoError(t, err)
			l := accepting(asking())
			return ask(handler(l), http.MethodPost, "/api/commands", string(body)), l
		}
		w, l := send(whole)
		assert.Equal(t, http.StatusOK, w.Code, "%v: %s", whole, w.Body)
		if assert.Len(t, l.requests(), 1) {
			assert.NoError(t, l.requests()[0].Complete())
		}
		for name, of := range fields {
			order := maps.Clone(whole)
			switch _, needed := whole[name]; {
			case needed && name != "reason":
				delete(order, name)
			case k.Takes()&of == 0:
				order[name] = values[name]
			default:
				continue
			}
			w, l := send(order)
			assert.Equal(t, http.StatusUnprocessableEntity, w.Code, "%v: %s", order, w.Body)
			assert.Empty(t, l.requests())
		}
	}
}

func TestWithoutATokenNothingCanBeChanged(t *testing.T) {
	l := accepting(cooking())
	w := ask(web.New(web.Config{Loop: l}), http.MethodPost, "/api/commands", `{"command":"hold"}`, header("Authorization", "Bearer "))
	assert.Equal(t, http.StatusUnauthorized, w.Code)
	assert.Contains(t, detail(t, w), "has no operator's token")
	assert.Empty(t, l.requests())
}

func TestWhatTheControllerSays(t *testing.T) {
	l := &loop{snap: cooking(), reply: snapshot.Reply{Why: controller.NotInThisState.String()}}
	w := ask(handler(l), http.MethodPost, "/api/commands", `{"command":"restart"}`)
	assert.Equal(t, http.StatusConflict, w.Code)
	assert.Equal(t, "not possible in this state of the batch", detail(t, w))

	l.reply = snapshot.Reply{Accepted: true, State: controller.Stopping, Unrecorded: "the disk is full"}
	w = ask(handler(l), http.MethodPost, "/api/commands", `{"command":"stop"}`)
	assert.Equal(t, http.StatusOK, w.Code)
	assert.JSONEq(t, `{"state":"stopping","recorded":false,"unrecorded":"the disk is full"}`, w.Body.String())

	l.err = context.DeadlineExceeded
	w = ask(handler(l), http.MethodPost, "/api/commands", `{"command":"stop"}`)
	assert.Equal(t, http.StatusServiceUnavailable, w.Code)
	assert.Contains(t, detail(t, w), "look at the cabinet")
}

func FuzzCommand(f *testing.F) {
	f.Add(`{"command":"hold"}`)
	f.Add(`{"command":"start","file":"a","product_yaml":"b"}`)
	f.Add(`{"command":"hold","command":"hold"}`)
	f.Add(`{"command":"start","product":"marjoram-ring","stuffed_at":"2026-01-31T14:05:00Z","reason":"the cure is old"}`)
	f.Add(`{"command":"confirm","question":"2-ask-22"}`)
	f.Add(`{"command":"acknowledge","alarm":"core-lost"}`)
	f.Add(`{"command":"absence","question":"absence-1-22","for":"1 h"}`)
	f.Add(`{"command":"shelve","alarm":"core-lost","for":"1 h"}`)
	f.Add(`{"command":"note","batch":"2026-01-31-1","text":"rain"}`)
	f.Fuzz(func(t *testing.T, body string) {
		l := accepting(cooking())
		w := ask(handler(l), http.MethodPost, "/api/commands", body)
		if (w.Code == http.StatusOK) != (len(l.requests()) == 1) {
			t.Errorf("%q: status %d, but %d requests reached the loop", body, w.Code, len(l.requests()))
		}
		if w.Code == http.StatusOK && !json.Valid([]byte(body)) {
			t.Errorf("%q was taken but is no JSON", body)
		}
	})
}

// A start that is refused says what speaks against it, and whether a reason would answer that.
func TestARefusedStartSaysWhatSpeaksAgainstIt(t *testing.T) {
	l := &loop{snap: idle(), reply: snapshot.Reply{Why: "a probe", Findings: []string{"it reads low"}, Excusable: true}}
	w := ask(handler(l), http.MethodPost, "/api/commands", `{"command":"start","product":"Caraway ring"}`)
	assert.Equal(t, http.StatusConflict, w.Code)
	assert.JSONEq(t, `{"type":"about:blank","title":"Conflict","status":409,"detail":"a probe","findings":["it reads low"],"excusable":true}`, w.Body.String())

	l = &loop{snap: idle(), reply: snapshot.Reply{Accepted: true, State: controller.Running, Findings: []string{"it reads low"}}}
	w = ask(handler(l), http.MethodPost, "/api/commands", `{"command":"start","product":"Caraway ring","reason":"winter"}`)
	assert.Equal(t, http.StatusOK, w.Code)
	assert.JSONEq(t, `{"state":"running","recorded":false,"findings":["it reads low"]}`, w.Body.String())

	l = accepting(idle())
	w = ask(handler(l), http.MethodPost, "/api/commands", `{"command":"ice","probe":"nobody"}`)
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, detail(t, w), `probe "nobody" is none of chamber or core`)
	assert.Empty(t, l.requests())
}
