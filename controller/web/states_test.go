package web_test

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
)

// state is one state of the page that is looked at in every size.
type state struct {
	name string
	snap *snapshot.Snapshot
	plan bool // the rehearsal's plan stands in the status
	// wants are what is on the first screen then: ids.
	wants []string
}

func states(t *testing.T) []state {
	soon := cooking()
	soon.State.Alarms[trip.CoreOut] = trip.State{Phase: trip.Unacknowledged, Standing: true, Since: soon.State.Elapsed - 3*time.Minute, Raised: soon.State.Elapsed - 3*time.Minute}
	hot := tripped(true)
	cooled := tripped(false)
	held := cooking()
	held.State.Batch, held.State.Out, held.State.Heater.HasSetpoint, held.State.Heater.Demand = controller.Held, controller.Outputs{Damper: 0.25}, false, 0
	over := cooking()
	over.State.Batch, over.State.Out.On, over.State.Ended = controller.Complete, 0, 5*time.Hour
	return []state{
		{"idle", idle(), false, []string{"answer-head", "section"}},
		{"run", displayed(), true, []string{"answer-head", "food-line", "chamber", "core", "rail"}},
		{"run-no-plan", cooking(), false, []string{"answer-head", "food-line", "chamber", "core", "rail"}},
		{"prompt", asking(), true, []string{"answer-head", "food-line", "chamber", "core", "bar", "act"}},
		{"soon", soon, true, []string{"answer-head", "food-line", "chamber", "core", "bar", "act", "know"}},
		{"trip", hot, false, []string{"answer-head", "food-line", "chamber", "core", "bar", "know"}},
		{"reset", cooled, false, []string{"answer-head", "food-line", "chamber", "core", "bar", "act"}},
		{"held", held, false, []string{"answer-head", "bar", "act"}},
		{"absence", absent(t), false, []string{"answer-head", "bar", "act", "away"}},
		{"complete", over, false, []string{"answer-head", "food-line"}},
	}
}

// tripped is a batch whose chamber is over the limit, or was.
func tripped(still bool) *snapshot.Snapshot {
	s := cooking()
	c := *s.Cabinet
	c.Limits.ChamberHigh = 115
	s.Cabinet = &c
	s.State.Tripped, s.State.Batch = trip.ChamberHigh, controller.Held
	s.State.Out, s.State.Heater.HasSetpoint, s.State.Heater.Demand = controller.Outputs{On: controller.SetOf(controller.Sounder), Damper: 0.25}, false, 0
	s.State.Alarms[trip.ChamberHigh] = trip.State{Phase: trip.Unacknowledged, Standing: still, Since: s.State.Elapsed - 2*time.Minute, Raised: s.State.Elapsed - 2*time.Minute}
	if still {
		s.State.Chamber.Reading, s.Inputs.Chamber[0] = hotReading, hotReading
	} else {
		s.State.Alarms[trip.ChamberHigh].Phase = trip.Acknowledged
	}
	return s
}

// between stands between page and handler: it can cut the line, and puts the plan of a
// rehearsal into the status.
type between struct {
	*httptest.Server
	cut, plan atomic.Bool
}

func behind(t *testing.T, h http.Handler) *between {
	b := &between{}
	b.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if b.cut.Load() {
			panic(http.ErrAbortHandler)
		}
		if r.URL.Path == "/api/events" { // the polls stand in
			http.NotFound(w, r)
			return
		}
		answer := httptest.NewRecorder()
		h.ServeHTTP(answer, r)
		body := answer.Body.Bytes()
		if b.plan.Load() && r.URL.Path == "/api/status" {
			body = planned(body)
		}
		if b.plan.Load() && r.URL.Path == "/api/plan/curve" {
			answer.Code, body = http.StatusOK, []byte(`{"batch":null,"missing":null,"points":[{"seconds":14400,"setpoint_celsius":82,"chamber_celsius":82,"core_celsius":63},{"seconds":18000,"setpoint_celsius":82,"chamber_celsius":82,"core_celsius":67},
				{"seconds":21600,"setpoint_celsius":82,"chamber_celsius":82,"core_celsius":71},{"seconds":25200,"setpoint_celsius":null,"chamber_celsius":40,"core_celsius":20}]}`)
		}
		for key, values := range answer.Header() {
			if key != "Content-Length" {
				w.Header()[key] = values
			}
		}
		w.WriteHeader(answer.Code)
		_, _ = w.Write(body)
	}))
	t.Cleanup(b.Close)
	return b
}

// planned adds a plan to a status: the cook ends two hours and twenty minutes on, the chill
// half an hour later, the end between three and four hours from now.
func planned(body []byte) []byte {
	var s map[string]any
	if json.Unmarshal(bytes.TrimSpace(body), &s) != nil {
		return body
	}
	at := func(d time.Duration) string { return noon.Add(d).Format(time.RFC3339) }
	m := time.Minute
	s["plan"] = map[string]any{
		"made": at(-4 * time.Hour), "finish": at(200 * m), "finish_earliest": at(180 * m), "finish_latest": at(240 * m),
		"stages":     []any{map[string]any{"name": "smoke", "start": at(-200 * m), "end": at(90 * m), "place": "chamber"}, map[string]any{"name": "cook", "start": at(-60 * m), "end": at(140 * m), "place": "chamber"}, map[string]any{"name": "chill", "start": at(140 * m), "end": at(200 * m), "place": "ice water"}},
		"hand_steps": []any{map[string]any{"stage": "chill", "text": "Is the ice used up?", "at": at(190 * m), "earliest": at(180 * m), "latest": at(200 * m)}},
	}
	out, err := json.Marshal(s)
	if err != nil {
		return body
	}
	return out
}
