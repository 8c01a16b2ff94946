package web_test

import (
	"context"
	"encoding/json"
	"errors"
	"html"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/caution"
	"fumarium/controller/history"
	"fumarium/controller/metrics"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

const token = "a-token-of-the-tests"

var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

var ring = &profile.Product{
	Name: "Caraway ring", Species: profile.RedMeat, Targets: profile.Targets{HasCore: true, Core: 71},
	Stages: []profile.Stage{
		{Name: "dry", Heat: true, ChamberSetpoint: 45, Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 45 * time.Minute}}}},
		{Name: "smoke", Heat: true, ChamberSetpoint: 60, Smoke: true, Ask: "Light the smoke generator and open the damper a quarter",
			Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 2 * time.Hour}}}},
		{Name: "cook", Heat: true, ChamberSetpoint: 82, Until: profile.Until{Conditions: []profile.Condition{
			{Kind: profile.CoreAtLeast, Core: 71}, {Kind: profile.LethalityAtLeast, Lethality: 6.5}}}},
		{Name: "chill", Until: profile.Until{Any: true, Conditions: []profile.Condition{
			{Kind: profile.CoreAtMost, Core: 4}, {Kind: profile.Confirmed, Confirm: "Is the ice used up?"}}}},
	},
}

// cooking is the third stage of the ring in a simulated cabinet.
func cooking() *snapshot.Snapshot {
	s := &snapshot.Snapshot{
		Simulated: true, Pace: 60, Time: noon, Stepped: noon, Product: ring,
		Cabinet: &cabinet.Cabinet{
			Name: "Brick kiln",
			Probes: []cabinet.Probe{
				{Name: "upper rack", Role: cabinet.ChamberProbe}, {Name: "thick end", Role: cabinet.CoreProbe},
				{Name: "wick", Role: cabinet.WetBulbProbe}, {Name: "shed", Role: cabinet.AmbientProbe}, {Name: "wood", Role: cabinet.EmberProbe},
			},
			Heater: cabinet.Relay{Fitted: true}, Fan: cabinet.Relay{Fitted: true}, Smoke: cabinet.Relay{Fitted: true}, Sounder: cabinet.Relay{Fitted: true},
		},
	}
	cooked(&s.History, noon, ring)
	s.Inputs.Chamber[0] = sensors.At(81.6)
	s.Inputs.Core[0] = sensors.At(63.2)
	s.Inputs.Ambient = sensors.At(9)
	s.State = controller.State{
		Begun: true, Elapsed: 5 * time.Hour, Started: time.Hour, StageEntered: 4 * time.Hour, Batch: controller.Running, Stage: 2, StageClock: 55 * time.Minute,
		Out: controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan), Damper: 0.25},
	}
	s.State.ComeUp, s.State.Heat = lethality.ComeUp{Time: 2 * time.Hour, Begun: true, Done: true}, heat()
	s.State.Heater.HasSetpoint, s.State.Heater.Setpoint, s.State.Heater.Demand = true, 82, 0.42
	s.State.Chamber.Reading, s.State.Core.Coldest, s.State.Core.Hottest = sensors.At(81.6), sensors.At(63.2), sensors.At(63.2)
	bounded(s)
	return s
}

// cooked is the history of the first four hours of the ring, up to now: dry, smoke and
// the cook under way, in which a core probe was lost ten minutes ago.
func cooked(h *history.History, now time.Time, p *profile.Product) {
	const start, whole, step = time.Hour, 4 * time.Hour, 5 * time.Second
	happens := map[time.Duration][]controller.Event{
		0:                 {{Kind: controller.BatchChanged, Batch: controller.Running}, {Kind: controller.StageBegan}},
		45 * time.Minute:  {{Kind: controller.StageEnded, By: controller.EndedByTime}, {Kind: controller.StageBegan, Stage: 1}, {Kind: controller.Asked, Stage: 1}},
		50 * time.Minute:  {{Kind: controller.Answered, Stage: 1}},
		170 * time.Minute: {{Kind: controller.StageEnded, Stage: 1, By: controller.EndedByTime}, {Kind: controller.StageBegan, Stage: 2}},
		230 * time.Minute: {{Kind: controller.AlarmRaised, Alarm: trip.CoreLost}},
	}
	h.Begin("2026-03-14-1", p, start)
	st := controller.State{Batch: controller.Running, Started: start}
	st.Heater.HasSetpoint = true
	for x := time.Duration(0); x <= whole; x += step {
		at := quantity.Celsius(45 + 37*x.Hours()/4)
		st.Elapsed, st.Heater.Setpoint = start+x, at
		st.Chamber.Reading = sensors.At(at + quantity.Celsius(math.Sin(x.Minutes()/7)))
		st.Core.Coldest = sensors.At(quantity.Celsius(8 + 55*x.Hours()/4))
		var out controller.Outputs
		out.On.Set(controller.Heater, math.Mod(x.Seconds(), 20)/20 < 0.3+0.1*math.Sin(x.Minutes()/9))
		events := happens[x]
		for i := range events {
			events[i].At = st.Elapsed
		}
		h.Add(now.Add(x-whole), st.Elapsed, &st, out, events)
	}
}

// asking is the stage before it, while its hand step waits.
func asking() *snapshot.Snapshot {
	s := cooking()
	s.State.Stage, s.State.Asking, s.State.StageClock = 1, true, 0
	s.State.Chamber.Reading, s.State.Heater.Setpoint, s.Inputs.Chamber[0] = sensors.At(59.4), 60, sensors.At(59.4)
	s.State.Alarms[trip.PromptWaiting] = trip.State{Standing: true, Since: s.State.Elapsed - 90*time.Second}
	bounded(s)
	return s
}

func idle() *snapshot.Snapshot {
	s := cooking()
	s.Product, s.History = nil, history.History{}
	s.State = controller.State{Begun: true, Out: controller.Outputs{Damper: 1}}
	s.State.Chamber.Reading = sensors.At(12)
	return s
}

// loop is a control loop that remembers what it was asked.
type loop struct {
	mu    sync.Mutex
	snap  *snapshot.Snapshot
	reply snapshot.Reply
	err   error
	asked []snapshot.Request
}

func (l *loop) Snapshot() *snapshot.Snapshot {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.snap
}

func (l *loop) Do(_ context.Context, r snapshot.Request) (snapshot.Reply, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.asked = append(l.asked, r)
	return l.reply, l.err
}

func (l *loop) answers(r snapshot.Reply) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.reply = r
}

func (l *loop) requests() []snapshot.Request {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.asked
}

func (l *loop) put(s *snapshot.Snapshot) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.snap = s
}

func accepting(s *snapshot.Snapshot) *loop {
	return &loop{snap: s, reply: snapshot.Reply{Accepted: true, Recorded: true, State: controller.Running}}
}

func handler(l *loop) http.Handler { return configured(l, func(*web.Config) {}) }

func configured(l *loop, change func(*web.Config)) http.Handler {
	c := web.Config{
		Loop: l, Token: token, Hosts: []string{"kiln.example"}, Now: func() time.Time { return noon.Add(time.Second) },
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("fumarium_build_info 1\n")) }),
		FindProduct: func(name string) (*profile.Product, []byte, error) {
			if name != ring.Name {
				return nil, nil, errors.New("products: there is no " + name + "; take one that is listed")
			}
			return ring, []byte("product: Caraway ring"), nil
		},
		ParseProduct: func(file string, data []byte) (*profile.Product, error) {
			if string(data) != "product: Caraway ring" {
				return nil, errors.New(file + ":1:1: stages are missing; add them")
			}
			return ring, nil
		},
		ProductNames: func() []string { return []string{ring.Name} },
		Own:          shelf{l},
		Check:        judged,
		Archive:      archive{l},
		Hand:         scales{loop: l},
		Upkeep: func(context.Context) (*web.Upkeep, error) {
			return &web.Upkeep{Tasks: []web.Task{{Name: "generator", Text: "brush it", Since: "3 of 3 batches", Due: true}}, Wood: []web.Burnt{{Species: "beech", Kilograms: 0.3}}, Calibration: []string{}}, l.err
		},
		UpkeepDone: func(task, _ string) error {
			if task != "generator" {
				return errors.New("no such task")
			}
			return nil
		},
		Outlook: func(string) (*outlook.Course, string) { return course(), "" },
		Effect: func(_ context.Context, s *snapshot.Snapshot, c controller.Command) (*web.Effect, error) {
			switch {
			case l.err != nil:
				return nil, context.DeadlineExceeded
			case !l.reply.Accepted:
				return nil, errors.New("a stage never ends")
			}
			return effect(s, c), nil
		},
		Suppose: func(_ context.Context, s *snapshot.Snapshot, what web.Supposition) (*web.Supposed, error) {
			if l.err != nil {
				return nil, context.DeadlineExceeded
			}
			return supposed(s, what), nil
		},
		Rehearse: func(context.Context, *profile.Product) (*outlook.Course, error) {
			switch {
			case l.err != nil:
				return nil, context.DeadlineExceeded
			case !l.reply.Accepted:
				return nil, errors.New("a stage never ends")
			}
			return course(), nil
		},
	}
	if l.snap == nil {
		c.Archive, c.Hand, c.Upkeep, c.UpkeepDone = nil, nil, nil, nil
	}
	change(&c)
	return web.New(c)
}

// measured is the handler with the real metrics.
func measured(l *loop) http.Handler {
	return configured(l, func(c *web.Config) { c.Metrics = metrics.New(l.Snapshot, "test").Handler() })
}

// ask makes a request as a careful client would; change may spoil it.
func ask(h http.Handler, method, path, body string, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Host = "127.0.0.1:8080"
	if method == http.MethodPost {
		r.Header.Set("Authorization", "Bearer "+token)
		r.Header.Set("Content-Type", "application/json")
	}
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func header(key, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set(key, value) }
}

func host(name string) func(*http.Request) { return func(r *http.Request) { r.Host = name } }

func status(t *testing.T, s *snapshot.Snapshot) map[string]any {
	t.Helper()
	w := ask(handler(accepting(s)), http.MethodGet, "/api/status", "")
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	var body map[string]any
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &body))
	return body
}

// detail checks that w is a problem and returns what it says.
func detail(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	assert.Equal(t, "application/problem+json", w.Header().Get("Content-Type"))
	var p struct {
		Type, Title, Detail string
		Status              int
	}
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &p), w.Body.String())
	// RFC 9457, sections 3.1 and 4.2.1: with about:blank the title is the phrase of
	// the status code, and the status member repeats the code.
	assert.Equal(t, "about:blank", p.Type)
	assert.Equal(t, http.StatusText(w.Code), p.Title)
	assert.Equal(t, w.Code, p.Status)
	assert.NotEmpty(t, p.Detail)
	return p.Detail
}

func TestStatusOfACook(t *testing.T) {
	s := cooking()
	s.State.Alarms[trip.StageOvertime] = trip.State{Phase: trip.Unacknowledged}
	s.State.Alarms[trip.ChamberHigh] = trip.State{Phase: trip.Acknowledged}
	s.State.Alarms[trip.ChamberLost] = trip.State{Phase: trip.ReturnedUnacknowledged}
	s.State.Tripped = trip.ChamberHigh
	got := status(t, s)
	assert.Equal(t, "2026-03-14T12:00:00Z", got["time"])
	assert.Equal(t, 1.0, got["age_seconds"])
	assert.Equal(t, "simulated", got["world"])
	assert.Equal(t, 81.6, got["chamber_celsius"])
	assert.Equal(t, 63.2, got["core_celsius"])
	assert.Equal(t, 14400.0, got["elapsed_seconds"])
	assert.InDelta(t, 1.3, got["lethality_log10"], 1e-12) // 13.416 s / 10.32 s
	assert.Equal(t, "Cook: chamber 81.6 °C of 82 °C, core 63.2 °C; ends when core reaches 71 °C and lethality reaches 6.5", got["summary"])
	assert.Equal(t, map[string]any{"heater": true, "fan": true, "smoke": false, "humidifier": nil, "sounder": false, "light": nil, "damper": nil, "cooler": nil}, got["outputs"])
	stage := got["stage"].(map[string]any)
	assert.Equal(t, []any{
		map[string]any{"kind": "core", "text": "core reaches 71 °C", "now": "63.2 °C", "progress_ratio": nil},
		map[string]any{"kind": "lethality", "text": "lethality reaches 6.5", "now": "1.30", "progress_ratio": stage["conditions"].([]any)[1].(map[string]any)["progress_ratio"]},
	}, stage["conditions"])
	assert.InDelta(t, 0.2, stage["conditions"].([]any)[1].(map[string]any)["progress_ratio"], 1e-12)
	var states, alarms []any
	for _, s := range got["stages"].([]any) {
		states = append(states, s.(map[string]any)["state"])
	}
	for _, a := range got["alarms"].([]any) {
		alarms = append(alarms, a.(map[string]any)["code"])
	}
	assert.Equal(t, []any{"done", "done", "current", "ahead"}, states)
	assert.Equal(t, []any{"chamber-high", "chamber-lost", "stage-overtime"}, alarms, "by priority")
	assert.Equal(t, "chamber-high", got["trip"].(map[string]any)["code"])
	assert.Equal(t, "core falls to 4 °C or you confirm: Is the ice used up?", got["stages"].([]any)[3].(map[string]any)["ended_by"])
}

// heat is a fifth of what 150 °F asks for, 13.4 of 67 s: 1.3 log10.
func heat() lethality.Count { return killed(1.3) }

func killed(log10 float64) lethality.Count {
	t := lethality.RedMeat.Reference
	return lethality.RedMeatCriterion().Add(lethality.Count{}, t, t, time.Duration(log10/lethality.MeatLog10*float64(67*time.Second)))
}

// What is counted beyond any claim is not shown as if it were one.
func TestLethalityIsCapped(t *testing.T) {
	for _, counted := range []float64{203.55, 3594} {
		s := cooking()
		s.State.Heat = killed(counted)
		got := status(t, s)
		assert.Equal(t, 20.0, got["lethality_log10"])
		assert.Equal(t, true, got["lethality_capped"])
		cook := got["stage"].(map[string]any)["conditions"].([]any)[1].(map[string]any)
		assert.Equal(t, "more than 20", cook["now"])
		assert.Equal(t, 1.0, cook["progress_ratio"])
		scrape := ask(measured(accepting(s)), http.MethodGet, "/metrics", "").Body.String()
		assert.Contains(t, scrape, "\nfumarium_lethality_log10 20\n")
		assert.Contains(t, scrape, "20 stands for 20 or more")
	}
	got := status(t, cooking())
	assert.Equal(t, false, got["lethality_capped"])
}

// A little below 0 °C is 0.0 °C in words, not -0.0 °C.
func TestNoMinusSignOnAZero(t *testing.T) {
	s := cooking()
	s.State.Chamber.Reading, s.State.Core.Coldest = sensors.At(-0.04), sensors.At(-0.04)
	got := status(t, s)
	assert.Contains(t, got["summary"], "chamber 0.0 °C of 82 °C, core 0.0 °C;")
	assert.Equal(t, "0.0 °C", got["stage"].(map[string]any)["conditions"].([]any)[0].(map[string]any)["now"])
	assert.Equal(t, -0.04, got["chamber_celsius"], "programs get what was read")
}

// How long it heats yet without a person's word is a figure, and nothing where it does not heat.
func TestStatusSaysWhenTheHeatEnds(t *testing.T) {
	s := cooking()
	s.HeatLeft, s.Heats = 90*time.Minute, true
	assert.Equal(t, 5400.0, status(t, s)["heat_left_seconds"])
	s.HeatLeft = 0
	assert.Equal(t, 0.0, status(t, s)["heat_left_seconds"])
	s.Heats = false
	assert.Nil(t, status(t, s)["heat_left_seconds"])
}

// Whatever is not known is null; a real 0 stays a 0.
func TestNullIsNotZero(t *testing.T) {
	s := cooking()
	s.State.Chamber.Reading, s.State.Core.Coldest, s.State.Core.Hottest = sensors.Fault(sensors.Open), sensors.Reading{}, sensors.Reading{}
	s.Inputs = controller.Inputs{}
	s.Inputs.Core[0] = sensors.At(0)
	s.State.Heater.HasSetpoint, s.State.Heater.Demand = false, 0
	s.State.ComeUp, s.State.Heat = lethality.ComeUp{}, lethality.Count{}
	s.Stepped = time.Time{}
	got := status(t, s)
	for _, key := range []string{"chamber_celsius", "core_celsius", "wet_bulb_celsius", "ember_celsius", "smoke_fuel_ratio", "humidity_ratio", "setpoint_celsius", "lethality_log10", "come_up_seconds", "heat_left_seconds", "age_seconds", "prompt", "trip"} {
		assert.Contains(t, got, key)
		assert.Nil(t, got[key], key)
	}
	assert.Equal(t, 0.0, got["heater_duty_ratio"])
	probes := got["probes"].([]any)
	assert.Equal(t, map[string]any{"name": "upper rack", "role": "chamber", "status": "not read", "celsius": nil, "alarm": nil}, probes[0])
	assert.Equal(t, map[string]any{"name": "thick end", "role": "core", "status": "good", "celsius": 0.0, "alarm": nil}, probes[1])
	assert.Equal(t, "Cook: chamber not read of 82 °C, core not read; ends when core reaches 71 °C and lethality reaches 6.5", got["summary"])
}

func TestSummaryAndCommandsOfEachState(t *testing.T) {
	cases := map[controller.BatchState]struct {
		summary  string
		commands []any
	}{
		controller.Idle:       {"No batch: heater off, chamber 81.6 °C", []any{"start", "ice", "tune"}},
		controller.Running:    {"Cook: chamber 81.6 °C of 82 °C, core 63.2 °C; ends when core reaches 71 °C and lethality reaches 6.5", []any{"hold", "adjust", "skip", "end-cooking", "stop", "abort"}},
		controller.Holding:    {"Holding in cook: heater off, chamber 81.6 °C, core 63.2 °C", []any{"stop", "abort"}},
		controller.Held:       {"Held in cook: heater off, chamber 81.6 °C, core 63.2 °C", []any{"restart", "adjust", "skip", "end-cooking", "stop", "abort"}},
		controller.Restarting: {"Restarting in cook: heater off, chamber 81.6 °C, core 63.2 °C", []any{"hold", "stop", "abort"}},
		controller.Stopping:   {"Stopping in cook: heater off, chamber 81.6 °C, core 63.2 °C", []any{"abort"}},
		controller.Stopped:    {"Stopped after 4 h: heater off, chamber 81.6 °C, core 63.2 °C", []any{"start", "ice", "tune"}},
		controller.Aborting:   {"Aborting in cook: heater off, chamber 81.6 °C, core 63.2 °C", []any{}},
		controller.Aborted:    {"Aborted after 4 h: heater off, chamber 81.6 °C, core 63.2 °C", []any{"start", "ice", "tune"}},
		controller.Complete:   {"Complete after 4 h, NOT good: heater off, chamber 81.6 °C, core 63.2 °C", []any{"start", "ice", "tune"}},
	}
	require.Len(t, cases, int(controller.BatchStates))
	for b, want := range cases {
		s := cooking()
		s.State.Batch, s.State.Ended = b, 5*time.Hour
		s.State.Out.On.Set(controller.Heater, false)
		got := status(t, s)
		assert.Equal(t, want.summary, got["summary"])
		assert.Equal(t, want.commands, got["commands"], b.String())
	}
	s := cooking()
	s.State.Batch, s.State.Tripped = controller.Held, trip.ChamberHigh
	assert.Equal(t, []any{"adjust", "skip", "end-cooking", "stop", "abort", "reset"}, status(t, s)["commands"], "a trip comes before restarting")
	s.State.Out.On.Set(controller.Heater, true) // what the outputs say, not what the state should mean
	assert.Equal(t, "Held in cook: heater on, chamber 81.6 °C, core 63.2 °C; tripped by chamber-high", status(t, s)["summary"])
	waiting := status(t, asking())
	assert.Equal(t, map[string]any{"question": "2-ask-255s0", "command": "confirm", "text": ring.Stages[1].Ask, "waiting_seconds": 90.0}, waiting["prompt"])
	assert.Contains(t, waiting["commands"], "confirm")
	assert.Contains(t, waiting["summary"], "its clock waits for you: Light the smoke generator")
}

// absent is a batch that nobody knows the length of an absence of, a minute after it.
func absent(t *testing.T) *snapshot.Snapshot {
	t.Helper()
	s := cooking()
	entry, err := shipped.Find(shipped.Default)
	require.NoError(t, err)
	m, err := controller.New(s.Product, entry.Value)
	require.NoError(t, err)
	s.Inputs.PowerLost, s.Inputs.Away = true, controller.AwayUnknown
	for _, wait := range []time.Duration{40 * time.Second, time.Second, 59 * time.Second} {
		s.Inputs.Elapsed = s.State.Elapsed + wait
		s.State, _, _ = m.Step(s.State, s.Inputs)
		s.Inputs.PowerLost, s.Inputs.Away = false, controller.AwayAsGiven
	}
	return s
}

func TestAnAbsenceOfUnknownLengthIsAskedFor(t *testing.T) {
	got := status(t, absent(t))
	assert.Equal(t, "held", got["state"])
	assert.Contains(t, got["summary"], "heater off")
	assert.Contains(t, got["summary"], "; how long the controller was away is not known, at least 40 s: say it, or stop the batch")
	assert.Equal(t, []any{"absence", "stop", "abort"}, without(got["commands"].([]any), "acknowledge", "shelve"), "no restart")
	prompt := got["prompt"].(map[string]any)
	assert.Equal(t, "absence-1-255s0", prompt["question"])
	assert.Equal(t, "absence", prompt["command"])
	assert.Equal(t, 60.0, prompt["waiting_seconds"])
	assert.Contains(t, prompt["text"], "at least 40 s")
}

func without(all []any, names ...string) (left []any) {
	for _, a := range all {
		if !slices.Contains(names, a.(string)) {
			left = append(left, a)
		}
	}
	return left
}

// A foreign page can point a name of its own at a loopback address (DNS
// rebinding), but the browser then sends that name.
func TestHostsThatAreAnswered(t *testing.T) {
	for name, want := range map[string]int{
		"localhost:8080": 200, "LOCALHOST": 200, "kiln.localhost:1": 200, "127.0.0.1": 200, "[::1]:8080": 200, "192.168.7.20:8080": 200, "kiln.example:8080": 200,
		"evil.example": 421, "localhost.evil.example": 421, "127.0.0.1.evil.example:8080": 421, "": 421,
	} {
		for _, path := range []string{"/api/status", "/", "/metrics"} {
			w := ask(handler(accepting(cooking())), http.MethodGet, path, "", host(name))
			if assert.Equal(t, want, w.Code, "%s %s", name, path); want != http.StatusOK {
				assert.Contains(t, detail(t, w), "--host-name")
			}
		}
	}
}

func TestHealthAndReadiness(t *testing.T) {
	spoil := func(f func(*snapshot.Snapshot)) *snapshot.Snapshot { s := cooking(); f(s); return s }
	cases := map[string]struct {
		snap           *snapshot.Snapshot
		health, ready  int
		saysOfReadyNot string
	}{
		"stepping":   {cooking(), 200, 200, ""},
		"no step":    {nil, 503, 503, "first step"},
		"stuck":      {spoil(func(s *snapshot.Snapshot) { s.Stepped = noon.Add(-time.Minute) }), 503, 503, "61 s ago"},
		"no stamp":   {spoil(func(s *snapshot.Snapshot) { s.Stepped = time.Time{} }), 503, 503, "does not say"},
		"no chamber": {spoil(func(s *snapshot.Snapshot) { s.State.Chamber.Reading = sensors.Fault(sensors.Open) }), 200, 503, "check the probe"},
		"stopping":   {spoil(func(s *snapshot.Snapshot) { s.Stopping = true }), 200, 503, "switching off"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			h := handler(accepting(c.snap))
			assert.Equal(t, c.health, ask(h, http.MethodGet, "/healthz", "").Code)
			w := ask(h, http.MethodGet, "/readyz", "")
			assert.Equal(t, c.ready, w.Code)
			if c.saysOfReadyNot != "" {
				assert.Contains(t, detail(t, w), c.saysOfReadyNot)
			}
		})
	}
}

func TestUnknownPathsAndMethods(t *testing.T) {
	h := handler(accepting(cooking()))
	w := ask(h, http.MethodGet, "/api/relays", "")
	assert.Equal(t, http.StatusNotFound, w.Code)
	assert.Contains(t, detail(t, w), "/api/openapi.yaml")
	w = ask(h, http.MethodGet, "/api/commands", "")
	assert.Equal(t, http.StatusMethodNotAllowed, w.Code)
	assert.Equal(t, "POST", w.Header().Get("Allow"))
	assert.Contains(t, detail(t, w), "use POST")
	ends := handler(accepting(ending()))
	for path, methods := range web.Routes(h) {
		h := h
		if path == "/api/events" { // which ends only with the daemon
			h = ends
		}
		for _, method := range []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions, "BREW"} {
			w := ask(h, method, path, "")
			if slices.Contains(methods, method) || method == http.MethodHead && methods[0] == http.MethodGet {
				assert.NotEqual(t, http.StatusMethodNotAllowed, w.Code, "%s %s", method, path)
				continue
			}
			assert.Equal(t, http.StatusMethodNotAllowed, w.Code, "%s %s", method, path)
			assert.Equal(t, strings.Join(methods, ", "), w.Header().Get("Allow"))
			assert.Contains(t, detail(t, w), "use "+strings.Join(methods, " or "))
		}
	}
	for _, path := range []string{"/page", "/api", "/api/", "/api/status/", "/page.css/x"} {
		assert.Equal(t, http.StatusNotFound, ask(h, http.MethodGet, path, "").Code, path)
		assert.Equal(t, http.StatusNotFound, ask(h, http.MethodPost, path, "").Code, path)
	}
	assert.Equal(t, http.StatusOK, ask(h, http.MethodHead, "/api/status", "").Code)
}

// The page runs no code and no style but its own files, and nothing is stored.
func TestPageAndItsHeaders(t *testing.T) {
	w := ask(handler(accepting(idle())), http.MethodGet, "/", "")
	policy := w.Header().Get("Content-Security-Policy")
	assert.Contains(t, policy, "default-src 'none'")
	assert.NotContains(t, policy, "unsafe")
	assert.Equal(t, "no-store", w.Header().Get("Cache-Control"))
	assert.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
	body := w.Body.String()
	assert.Contains(t, body, "<option>Caraway ring</option>")
	assert.Contains(t, body, "Simulated, ")
	assert.Contains(t, body, "No batch: heater off")
	assert.NotRegexp(t, `<style|style=|<script>|onclick|https?://`, body)

	script := ask(handler(accepting(idle())), http.MethodGet, "/page.js", "").Body.String()
	script = strings.ReplaceAll(script, "http://www.w3.org/2000/svg", "") // a name, fetched from nowhere
	assert.NotRegexp(t, `innerHTML|outerHTML|eval\(|https?://|localStorage[^\n]*oken`, script, "text only, no network elsewhere, no token that outlives the tab")
	nasty := cooking()
	nasty.Cabinet.Name = `<script>alert(1)</script>`
	assert.NotContains(t, ask(handler(accepting(nasty)), http.MethodGet, "/", "").Body.String(), "<script>alert")
}

func TestChart(t *testing.T) {
	for name, s := range map[string]*snapshot.Snapshot{"cook": cooking(), "idle": idle()} {
		for _, width := range []string{"", "?width=350"} {
			w := ask(handler(accepting(s)), http.MethodGet, "/chart.svg"+width, "")
			assert.Equal(t, http.StatusOK, w.Code, "%s: %s", name, w.Body)
			assert.Equal(t, "image/svg+xml", w.Header().Get("Content-Type"))
		}
	}
	// A batch before this one has left an alarm behind; it is not drawn.
	s := cooking()
	assert.Contains(t, ask(handler(accepting(s)), http.MethodGet, "/chart.svg", "").Body.String(), "core-lost")
	s.History.Begin("2026-03-14-2", ring, s.State.Elapsed)
	assert.NotContains(t, ask(handler(accepting(s)), http.MethodGet, "/chart.svg", "").Body.String(), "core-lost")
}

// A reader gets scales and labels in the units asked for, and no other reader's.
func TestChartInUnits(t *testing.T) {
	h := handler(accepting(cooking()))
	in := func(query string) (int, string) {
		w := ask(h, http.MethodGet, "/chart.svg"+query, "")
		return w.Code, w.Body.String()
	}
	_, usual := in("")
	code, asked := in("?units=F,lb")
	assert.Equal(t, http.StatusOK, code)
	assert.Contains(t, usual, "Temperature, °C:")
	assert.Contains(t, asked, "Temperature, °F:")
	assert.NotContains(t, asked, "Temperature, °C:")
	_, again := in("?units=C")
	assert.Equal(t, usual, again)
	code, said := in("?units=kelvin")
	assert.Equal(t, http.StatusBadRequest, code)
	assert.Contains(t, said, "there are no units")
}

// Events come as structure: nobody has to read the words.
func TestEventsAreStructure(t *testing.T) {
	events := web.NewStatus(cooking(), noon).Events
	require.Len(t, events, 9)
	text := func(s string) *string { return &s }
	assert.Equal(t, web.Event{
		ID: "2026-03-14-1/540.0", Kind: "stage ended", Time: noon.Add(-195 * time.Minute), ElapsedSeconds: 2700,
		Stage: text("dry"), EndedBy: text("after"), Text: "stage dry ends: its time is over",
	}, events[2])
	assert.Equal(t, web.Event{
		ID: "2026-03-14-1/600.0", Kind: "answered", Time: noon.Add(-190 * time.Minute), ElapsedSeconds: 3000,
		Stage: text("smoke"), Text: "stage smoke confirmed by the person",
	}, events[5])
	alarm := events[8]
	assert.Equal(t, "alarm core-lost (soon): ", alarm.Text[:len("alarm core-lost (soon): ")])
	alarm.Text = ""
	assert.Equal(t, web.Event{
		ID: "2026-03-14-1/2760.0", Kind: "alarm raised", Time: noon.Add(-10 * time.Minute), ElapsedSeconds: 13800,
		Alarm: text("core-lost"), Priority: text("soon"),
	}, alarm)

	s := cooking()
	for range 500 {
		s.History.Say(noon, s.State.Elapsed, "still here", 0)
	}
	events = web.NewStatus(s, noon).Events
	assert.Len(t, events, 200, "the latest")
	assert.Equal(t, "2026-03-14-1/2881.said.499", events[199].ID)
}

// Each button of the page that brings heat or takes smoke away has its caution beside
// it, in the words of the command line.
func TestPageGivesTheCautions(t *testing.T) {
	body := html.UnescapeString(ask(handler(accepting(cooking())), http.MethodGet, "/", "").Body.String())
	script, err := os.ReadFile("assets/page.js")
	require.NoError(t, err)
	for id, text := range map[string]string{"smoulders": caution.Smoulders, "heat-returns": caution.HeatReturns, "before-reset": caution.BeforeReset} {
		assert.Regexp(t, `<p id="`+id+`"[^>]*>`+regexp.QuoteMeta(text)+`</p>`, body)
	}
	assert.Contains(t, body, `<button id="hold" type="button" aria-describedby="smoulders"`)
	// The one button of the bar is described by the caution of what it does; the browser's
	// test sees it beside the button.
	assert.Contains(t, string(script), "bar.main.body.command === 'reset' ? 'before-reset' : bar.caution")
	_, dialog, found := strings.Cut(body, `<dialog id="ask-stop"`)
	require.True(t, found)
	dialog, _, _ = strings.Cut(dialog, "</dialog>")
	assert.Contains(t, dialog, caution.Smoulders)
	for _, text := range caution.BeforeHeat {
		assert.Contains(t, body, "<li data-said>"+text+"</li>")
	}
}

func BenchmarkStatus(b *testing.B) {
	h := handler(accepting(cooking()))
	b.ReportAllocs()
	for b.Loop() {
		ask(h, http.MethodGet, "/api/status", "")
	}
}

// What a batch lacks stands in the status once it is over.
func TestTheEndOfABatchIsJudged(t *testing.T) {
	s := cooking()
	got := status(t, s)
	assert.Nil(t, got["good"])
	assert.Nil(t, got["ending"])
	s = cooking()
	s.State.Batch, s.State.Ended = controller.Complete, 5*time.Hour
	got = status(t, s)
	assert.Equal(t, false, got["good"])
	assert.Contains(t, got["ending"], "complete, not good: cooked not met: ")
}
