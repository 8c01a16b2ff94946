// Package said makes of a cabinet's status what is published of it: bodies under topics, and
// the description by which home automation finds them. What is not known is null, never a
// number. There is no topic here that anybody could write a command to.
package said

import (
	"encoding/json"
	"slices"
	"time"
)

// A Message is one thing to publish.
type Message struct {
	Topic  string
	Body   []byte
	Retain bool // the newest of a topic is all that matters; else each one counts
}

// Status is what is read of the daemon's own (its openapi.yaml).
type Status struct {
	Time            time.Time                               `json:"time"`
	AgeSeconds      *float64                                `json:"age_seconds"`
	World           string                                  `json:"world"`
	Cabinet         string                                  `json:"cabinet"`
	Batch           *string                                 `json:"batch"`
	Product         *string                                 `json:"product"`
	State           string                                  `json:"state"`
	Stopping        bool                                    `json:"stopping"`
	Summary         string                                  `json:"summary"`
	Stage           *struct{ Name string }                  `json:"stage"`
	ElapsedSeconds  *float64                                `json:"elapsed_seconds"`
	SetpointCelsius *float64                                `json:"setpoint_celsius"`
	ChamberCelsius  *float64                                `json:"chamber_celsius"`
	CoreCelsius     *float64                                `json:"core_celsius"`
	HumidityRatio   *float64                                `json:"humidity_ratio"`
	HeaterDutyRatio *float64                                `json:"heater_duty_ratio"`
	Outputs         map[string]*bool                        `json:"outputs"`
	Prompt          *struct{ Text string }                  `json:"prompt"`
	Trip            *struct{ Code, Meaning, Action string } `json:"trip"`
	Alarms          []Alarm                                 `json:"alarms"`
	Good            *bool                                   `json:"good"`
	Ending          *string                                 `json:"ending"`
	Plan            *Plan                                   `json:"plan"`
	PlanMissing     *string                                 `json:"plan_missing"`
	Events          []Event                                 `json:"events"`
}

// Alarm is one alarm that is not normal.
type Alarm struct {
	Code     string     `json:"code"`
	Priority string     `json:"priority"`
	State    string     `json:"state"`
	Meaning  string     `json:"meaning"`
	Action   string     `json:"action"`
	Trips    bool       `json:"trips"`
	Standing bool       `json:"standing"`
	Since    *time.Time `json:"since"`
}

// Plan is what is still to come, and when.
type Plan struct {
	Made           time.Time       `json:"made"`
	Stages         json.RawMessage `json:"stages"`
	HandSteps      json.RawMessage `json:"hand_steps"`
	Finish         *time.Time      `json:"finish"`
	FinishEarliest *time.Time      `json:"finish_earliest"`
	FinishLatest   *time.Time      `json:"finish_latest"`
	From           string          `json:"from"`
	Missing        *string         `json:"forecast_missing"`
}

// Event is one thing that happened.
type Event struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind"`
	Time     time.Time `json:"time"`
	Stage    *string   `json:"stage"`
	Alarm    *string   `json:"alarm"`
	Priority *string   `json:"priority"`
	Text     string    `json:"text"`
}

// state is the body of the topic state.
type state struct {
	Time            time.Time        `json:"time"`
	World           string           `json:"world"`
	Cabinet         string           `json:"cabinet"`
	Batch           *string          `json:"batch"`
	Product         *string          `json:"product"`
	State           string           `json:"state"`
	Summary         string           `json:"summary"`
	Stage           *string          `json:"stage"`
	ElapsedSeconds  *float64         `json:"elapsed_seconds"`
	SetpointCelsius *float64         `json:"setpoint_celsius"`
	ChamberCelsius  *float64         `json:"chamber_celsius"`
	CoreCelsius     *float64         `json:"core_celsius"`
	HumidityRatio   *float64         `json:"humidity_ratio"`
	HeaterDutyRatio *float64         `json:"heater_duty_ratio"`
	Outputs         map[string]*bool `json:"outputs"`
	Prompt          *string          `json:"prompt"`
	Trip            *string          `json:"trip"`
	Alarms          int              `json:"alarms"`
	Alarm           *string          `json:"alarm"` // the most pressing
	Good            *bool            `json:"good"`
	Ending          *string          `json:"ending"`
	Finish          *time.Time       `json:"finish"`
	FinishEarliest  *time.Time       `json:"finish_earliest"`
	FinishLatest    *time.Time       `json:"finish_latest"`
	EventsDropped   int              `json:"events_dropped"` // since the program began, because the broker was away too long
}

// All common practice, no source.
const (
	// stateEvery is how often what is measured is told; what happens is told at once.
	stateEvery = 5 * time.Second
	// Stale is how old a step may be before its readings are none.
	Stale = 30 * time.Second
	// expires is after how long without a word home automation shall forget a value.
	expires = 2 * time.Minute
)

// The bodies of the topic availability.
const (
	Online  = "online"
	Offline = "offline"
)

// A Teller knows what was said of one cabinet, and says what is new.
type Teller struct {
	ID        string // of the cabinet in topics
	Prefix    string // of its topics
	Discovery string // of the topic that describes it; empty describes nothing
	Version   string

	said      map[string]string
	at        time.Time // of the state that was said last
	key       string
	last      string // event
	seen      bool
	available string
}

// Topic is one of the cabinet's topics.
func (t *Teller) Topic(name string) string { return t.Prefix + "/" + t.ID + "/" + name }

// Gone says that nothing is known of the cabinet.
func (t *Teller) Gone() []Message { return t.stands(Offline) }

func (t *Teller) stands(is string) []Message {
	if t.available == is {
		return nil
	}
	t.available = is
	return []Message{{t.Topic("availability"), []byte(is), true}}
}

// News is what a status has to say that was not said yet. dropped are events that nobody got.
func (t *Teller) News(s *Status, now time.Time, dropped int) (all []Message) {
	if s.AgeSeconds == nil || *s.AgeSeconds > Stale.Seconds() || s.Stopping {
		return t.Gone()
	}
	if t.said == nil {
		t.said = map[string]string{}
	}
	put := func(topic string, v any) {
		body, err := json.Marshal(v)
		if err != nil { // of a raw part that is no JSON; the daemon wrote it
			return
		}
		if t.said[topic] != string(body) {
			t.said[topic] = string(body)
			all = append(all, Message{topic, body, true})
		}
	}
	if t.Discovery != "" {
		put(t.Discovery+"/device/fumarium-"+t.ID+"/config", t.described(s))
	}
	is := stateOf(s, dropped)
	if key := keyOf(is); now.Sub(t.at) >= stateEvery || key != t.key {
		t.at, t.key = now, key
		put(t.Topic("state"), is)
		put(t.Topic("forecast"), forecastOf(s))
	}
	put(t.Topic("alarms"), append([]Alarm{}, s.Alarms...))
	all = append(all, t.stands(Online)...)
	events := s.Events
	if i := slices.IndexFunc(events, func(e Event) bool { return e.ID == t.last }); i >= 0 {
		events = events[i+1:]
	}
	for _, e := range events {
		if t.seen { // what was before this program came was told then
			body, _ := json.Marshal(eventOf(e, s))
			all = append(all, Message{t.Topic("event"), body, false})
		}
		t.last = e.ID
	}
	t.seen = true
	return all
}

// stateOf is the body of the topic state.
func stateOf(s *Status, dropped int) state {
	is := state{
		Time: s.Time, World: s.World, Cabinet: s.Cabinet, Batch: s.Batch, Product: s.Product, State: s.State, Summary: s.Summary, ElapsedSeconds: s.ElapsedSeconds,
		SetpointCelsius: s.SetpointCelsius, ChamberCelsius: s.ChamberCelsius, CoreCelsius: s.CoreCelsius, HumidityRatio: s.HumidityRatio, HeaterDutyRatio: s.HeaterDutyRatio,
		Outputs: s.Outputs, Alarms: len(s.Alarms), Good: s.Good, Ending: s.Ending, EventsDropped: dropped,
	}
	if s.Stage != nil {
		is.Stage = &s.Stage.Name
	}
	if s.Prompt != nil {
		is.Prompt = &s.Prompt.Text
	}
	if s.Trip != nil {
		is.Trip = &s.Trip.Code
	}
	if len(s.Alarms) > 0 {
		text := s.Alarms[0].Meaning + ": " + s.Alarms[0].Action
		is.Alarm = &text
	}
	if s.Plan != nil {
		is.Finish, is.FinishEarliest, is.FinishLatest = s.Plan.Finish, s.Plan.FinishEarliest, s.Plan.FinishLatest
	}
	return is
}

// keyOf is what of a state is told at once, as text: what does not change with every step.
func keyOf(is state) string {
	is.Time, is.Summary, is.ElapsedSeconds, is.SetpointCelsius, is.ChamberCelsius, is.CoreCelsius, is.HumidityRatio, is.HeaterDutyRatio = time.Time{}, "", nil, nil, nil, nil, nil, nil
	is.Outputs, is.Finish, is.FinishEarliest, is.FinishLatest = nil, nil, nil, nil
	body, _ := json.Marshal(is)
	return string(body)
}

// forecast is the body of the topic forecast.
type forecast struct {
	Batch *string `json:"batch"`
	*Plan
	Why *string `json:"missing"` // why there is none, or why a part of it is not known
}

func forecastOf(s *Status) forecast { return forecast{s.Batch, s.Plan, s.PlanMissing} }

// event is the body of the topic event.
type event struct {
	Type      string  `json:"event_type"` // as the convention calls a kind
	Batch     *string `json:"batch"`
	Simulated bool    `json:"simulated"`
	Event
}

func eventOf(e Event, s *Status) event { return event{e.Kind, s.Batch, s.World != "real", e} }
