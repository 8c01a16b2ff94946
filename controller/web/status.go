package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// Status is the body of GET /api/status. Unknown is null, never 0.
type Status struct {
	Time       time.Time `json:"time"`        // of the step, on the cabinet's clock
	AgeSeconds *float64  `json:"age_seconds"` // wall time since the step
	World      string    `json:"world"`       // simulated or real
	Pace       float64   `json:"pace"`
	Cabinet    string    `json:"cabinet"`
	Batch      *string   `json:"batch"` // under way or the last, in the record
	Product    *string   `json:"product"`
	State      string    `json:"state"`
	Stopping   bool      `json:"stopping"` // the daemon is switching off
	Summary    string    `json:"summary"`  // what is happening, in words
	Commands   []string  `json:"commands"` // what makes sense now

	// Plan is what is still to come, and when; PlanMissing is why that, or a part of it, is
	// not known.
	Plan        *outlook.Plan `json:"plan"`
	PlanMissing *string       `json:"plan_missing"`

	Stage          *StageNow `json:"stage"`
	Change         *Change   `json:"change"` // what of that stage may be changed; null where nothing may
	Stages         []Stage   `json:"stages"`
	ElapsedSeconds *float64  `json:"elapsed_seconds"` // of the batch

	SetpointCelsius *float64 `json:"setpoint_celsius"`
	AimsLowerKelvin *float64 `json:"aims_lower_kelvin"` // than the setpoint, because the damper will be closed by hand
	ChamberCelsius  *float64 `json:"chamber_celsius"`
	CoreCelsius     *float64 `json:"core_celsius"` // the coldest
	WetBulbCelsius  *float64 `json:"wet_bulb_celsius"`
	EmberCelsius    *float64 `json:"ember_celsius"`    // of the wood in the smoke generator
	SmokeFuelRatio  *float64 `json:"smoke_fuel_ratio"` // left, by the air it was given
	HumidityRatio   *float64 `json:"humidity_ratio"`
	HeaterDutyRatio *float64 `json:"heater_duty_ratio"`
	HeatLeftSeconds *float64 `json:"heat_left_seconds"` // until it ends without a person's word
	Probes          []Probe  `json:"probes"`

	Outputs     map[string]*bool `json:"outputs"` // null is not fitted
	DamperRatio *float64         `json:"damper_ratio"`
	Prompt      *Prompt          `json:"prompt"`
	Trip        *Trip            `json:"trip"`
	Alarms      []Alarm          `json:"alarms"` // most pressing first

	LethalityLog10  *float64 `json:"lethality_log10"`
	LethalityCapped bool     `json:"lethality_capped"` // more was counted than is shown
	ComeUpSeconds   *float64 `json:"come_up_seconds"`
	Evidence        *string  `json:"evidence"`    // what the probes have shown for a start; null in a batch
	Doubts          []string `json:"doubts"`      // what speaks against a probe before a start
	Good            *bool    `json:"good"`        // the last batch, once it is over
	Ending          *string  `json:"ending"`      // the same in words
	Rules           []Rule   `json:"rules"`       // that the batch is held to; none before one
	NotCovered      []string `json:"not_covered"` // by any of the rules; none before a batch
	Events          []Event  `json:"events"`      // oldest first

	Learning *Learning `json:"learning"` // null while the cabinet does not learn
	Learned  *Learned  `json:"learned"`  // null until it has

	Front
}

// Rule is what can be said of one rule by now: met, not met, not shown, does not apply.
type Rule struct {
	Rule   string `json:"rule"`
	Answer string `json:"answer"`
	Why    string `json:"why"`
}

// RulesOf writes a verdict for programs.
func RulesOf(v proof.Verdict) []Rule {
	rules := make([]Rule, len(v))
	for r, j := range v {
		rules[r] = Rule{proof.Rule(r).String(), j.Answer.String(), j.Why}
	}
	return rules
}

// StageNow is the stage under way.
type StageNow struct {
	Index          int         `json:"index"`
	Name           string      `json:"name"`
	ElapsedSeconds float64     `json:"elapsed_seconds"`
	EndedBy        string      `json:"ended_by"`
	Conditions     []Condition `json:"conditions"`
}

// Condition is one thing the stage under way waits for.
type Condition struct {
	Kind          string   `json:"kind"` // its key in the product file
	Text          string   `json:"text"`
	Now           *string  `json:"now"`
	ProgressRatio *float64 `json:"progress_ratio"` // null where there is no honest zero
}

// Stage is one stage of the product.
type Stage struct {
	Name           string   `json:"name"`
	State          string   `json:"state"`           // done, current, ahead or skipped
	ChamberCelsius *float64 `json:"chamber_celsius"` // null: heater off
	Smoke          bool     `json:"smoke"`
	EndedBy        string   `json:"ended_by"`
	// When it began and ended, as far as it has.
	Began *time.Time `json:"began"`
	Ended *time.Time `json:"ended"`
}

// Probe is one probe of the cabinet.
type Probe struct {
	Name    string   `json:"name"`
	Role    string   `json:"role"`
	Status  string   `json:"status"`
	Celsius *float64 `json:"celsius"`
	Alarm   *string  `json:"alarm"` // for which it does not count now, though it may read
}

// Prompt is a hand step or a question that waits for the person.
type Prompt struct {
	Question       string  `json:"question"` // to be sent back with the answer
	Command        string  `json:"command"`  // that answers it
	Text           string  `json:"text"`
	WaitingSeconds float64 `json:"waiting_seconds"`
}

// Trip is the latched trip.
type Trip struct {
	Code    string `json:"code"`
	Meaning string `json:"meaning"`
	Action  string `json:"action"`
	// BlockedBy are the trips whose cause stands: until they are gone no reset is taken.
	BlockedBy []string `json:"blocked_by"`
}

// Alarm is one alarm that is not normal.
type Alarm struct {
	Code     string `json:"code"`
	Priority string `json:"priority"`
	State    string `json:"state"`
	Meaning  string `json:"meaning"`
	Action   string `json:"action"`
	Mended   string `json:"mended,omitempty"`
	Trips    bool   `json:"trips"`
	Standing bool   `json:"standing"` // its condition holds now
	// Since is when it last came up.
	Since *time.Time `json:"since"`
}

// Event is one thing that happened. What does not belong to its kind is null.
type Event struct {
	ID             string    `json:"id"` // the same after a restart
	Kind           string    `json:"kind"`
	Time           time.Time `json:"time"`
	ElapsedSeconds float64   `json:"elapsed_seconds"`
	State          *string   `json:"state"` // of the batch, once it has changed
	Stage          *string   `json:"stage"`
	EndedBy        *string   `json:"ended_by"` // what ended the stage
	Alarm          *string   `json:"alarm"`
	Priority       *string   `json:"priority"` // of an alarm or a word from the program
	Command        *string   `json:"command"`  // that was refused
	Refusal        *string   `json:"refusal"`  // why
	Text           string    `json:"text"`     // all of it in words
}

// mostEvents is how many of the latest events a status holds.
const mostEvents = 200

func eventsOf(h *history.History) []Event {
	all := h.Events()
	all = all[max(0, len(all)-mostEvents):]
	events := make([]Event, len(all))
	for i := range all {
		e := &all[i]
		events[i] = Event{
			ID: e.ID.String(), Kind: history.KindName(e.Kind), Time: e.Wall, ElapsedSeconds: e.Elapsed.Seconds(),
			Stage: word(e.StageName()), Alarm: word(e.Alarm.String()), Text: e.Text(),
		}
		if e.Priority != 0 {
			events[i].Priority = word(e.Priority.String())
		}
		switch e.Kind {
		case controller.BatchChanged:
			events[i].State = word(e.Batch.String())
		case controller.StageEnded:
			events[i].EndedBy = word(e.By.String())
		case controller.Refused:
			events[i].Command, events[i].Refusal = word(e.Command.String()), word(e.Why.String())
		}
	}
	return events
}

// word is a text that may be missing.
func word(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

var roleText = map[cabinet.Role]string{
	cabinet.ChamberProbe: "chamber", cabinet.CoreProbe: "core",
	cabinet.WetBulbProbe: "wet bulb", cabinet.AmbientProbe: "ambient",
	cabinet.EmberProbe: "ember",
}

// NewStatus says in the words of the API what s holds; now is the wall clock.
func NewStatus(s *snapshot.Snapshot, now time.Time) Status {
	st := &s.State
	status := Status{
		Time: s.Time, World: "real", Pace: s.Pace, Batch: word(s.BatchID), State: st.Batch.String(), Stopping: s.Stopping,
		Summary: summary(s), Commands: commands(s),
		Stages: []Stage{}, Probes: []Probe{}, Alarms: []Alarm{}, Rules: []Rule{}, Doubts: []string{}, NotCovered: []string{},
		Outputs: map[string]*bool{}, DamperRatio: quantity.OrNull(st.Out.Damper, true),
	}
	if s.Simulated {
		status.World = "simulated"
	}
	if a, ok := age(s, now); ok {
		status.AgeSeconds = quantity.OrNull(a.Seconds(), true)
	}
	if st.Batch != controller.Idle {
		status.ElapsedSeconds = quantity.OrNull(s.BatchElapsed().Seconds(), true)
	}
	status.SetpointCelsius = quantity.OrNull(st.Heater.Setpoint, st.Heater.HasSetpoint)
	lower := st.Heater.AimsLower()
	status.AimsLowerKelvin = quantity.OrNull(math.Round(float64(lower)*10)/10, st.Heater.HasSetpoint && lower >= controller.AimSaid)
	status.ChamberCelsius = quantity.OrNull(st.Chamber.Reading.Value())
	status.CoreCelsius = quantity.OrNull(st.Core.Coldest.Value())
	status.WetBulbCelsius = quantity.OrNull(s.Inputs.WetBulb.Value())
	status.EmberCelsius = quantity.OrNull(s.Inputs.Ember.Value())
	status.SmokeFuelRatio = quantity.OrNull(st.FuelLeft(s.Product, s.Cabinet))
	status.HumidityRatio = quantity.OrNull(st.Wick.Humidity, st.Wick.HasHumidity)
	status.HeatLeftSeconds = quantity.OrNull(s.HeatLeft.Seconds(), s.Heats)
	if v, capped, ok := s.LethalityLog10(); ok {
		status.LethalityLog10, status.LethalityCapped = quantity.OrNull(v, true), capped
	}
	if d, ok := s.ComeUp(); ok {
		status.ComeUpSeconds = quantity.OrNull(d.Seconds(), true)
	}
	if v, ok := s.Verdict(); ok {
		status.Rules, status.NotCovered = RulesOf(v), proof.Uncovered()
	}
	if good, text, ok := s.Ending(); ok {
		status.Good, status.Ending = &good, &text
	}
	if c := s.Cabinet; c != nil {
		status.Cabinet = c.Name
		if !st.Batch.Active() {
			status.Evidence = word(controller.Examined(c, st))
			for _, d := range controller.Doubts(c, st) {
				status.Doubts = append(status.Doubts, d.Text(c))
			}
		}
		status.HeaterDutyRatio = quantity.OrNull(st.Heater.Demand, c.Heater.Fitted)
	}
	for o := range controller.OutputCount {
		status.Outputs[o.String()] = nil
		if s.Cabinet != nil && o.Fitted(s.Cabinet) {
			on := st.Out.On.Has(o)
			status.Outputs[o.String()] = &on
		}
	}
	for _, p := range s.Probes() {
		shown := Probe{Name: p.Name, Role: roleText[p.Role], Status: p.Reading.Status().String(), Celsius: quantity.OrNull(p.Reading.Value())}
		if slot, ok := controller.SlotOf(s.Cabinet, p.Name); ok {
			shown.Alarm = word(nameOf(st.Disbelieved(slot)))
		}
		status.Probes = append(status.Probes, shown)
	}
	if p := s.Product; p != nil {
		status.Product = &p.Name
		for i := range p.Stages {
			stage := &p.Stages[i]
			began, ended := stageTimes(s, i)
			status.Stages = append(status.Stages, Stage{
				Began: began, Ended: ended,
				Name: stage.Name, State: stageState(st, i, began != nil), Smoke: stage.Smoke, EndedBy: endedBy(stage),
				ChamberCelsius: quantity.OrNull(stage.ChamberSetpoint, stage.Heat),
			})
		}
	}
	if stage := st.CurrentStage(s.Product); stage != nil {
		at := &StageNow{
			Index: st.Stage, Name: stage.Name, ElapsedSeconds: s.StageElapsed().Seconds(),
			EndedBy: endedBy(stage), Conditions: []Condition{},
		}
		for _, c := range stage.Until.Conditions {
			at.Conditions = append(at.Conditions, condition(s, c))
		}
		status.Stage = at
	}
	if p, ok := st.Waiting(s.Product); ok {
		status.Prompt = &Prompt{
			Question: p.Question.String(), Command: controller.Confirm.String(), Text: p.Text, WaitingSeconds: max(0, (st.Elapsed - p.Since).Seconds()),
		}
		if p.Question.Absence > 0 {
			status.Prompt.Command = controller.Absence.String()
		}
	}
	here := controller.PartsOf(s.Cabinet)
	if st.Tripped != trip.None {
		e := st.Tripped.Entry()
		status.Trip = &Trip{Code: e.Name, Meaning: e.Meaning, Action: e.Do(here), BlockedBy: []string{}}
		for c := range st.Blocks().Each {
			status.Trip.BlockedBy = append(status.Trip.BlockedBy, c.String())
		}
	}
	for _, c := range s.Pressing() {
		e := c.Entry()
		if c == trip.CabinetDrifted {
			e.Meaning = s.Inputs.Drift.Beside(e.Meaning)
		}
		status.Alarms = append(status.Alarms, Alarm{
			Code: e.Name, Priority: e.Priority.String(), State: st.Alarms[c].Phase.String(), Meaning: e.Meaning, Action: e.Do(here), Mended: e.Says(here),
			Trips: e.Trips, Standing: st.Alarms[c].Standing, Since: ago(s, st.Alarms[c].Raised),
		})
	}
	status.Events = eventsOf(&s.History)
	status.Learning, status.Learned = learningOf(s), learnedOf(s)
	status.Change = changeOf(s)
	status.Front = frontOf(s)
	return status
}

// age is the wall time since the step, and false when the loop did not note it.
func age(s *snapshot.Snapshot, now time.Time) (time.Duration, bool) { return ageAt(s.Stepped, now) }

func ageAt(stepped, now time.Time) (time.Duration, bool) {
	return max(0, now.Sub(stepped)), !stepped.IsZero()
}

// commands lists what the controller would not refuse at once. It only decides
// which buttons are offered; the controller still judges each command.
func commands(s *snapshot.Snapshot) []string {
	offered := []string{}
	for _, k := range controller.Commands() {
		if k.Offered(&s.State) {
			offered = append(offered, k.String())
		}
	}
	return offered
}

func stageState(st *controller.State, i int, began bool) string {
	switch {
	case st.Skipped(i) && !began && st.Batch != controller.Idle:
		return "skipped"
	case st.Batch == controller.Idle || i > st.Stage:
		return "ahead"
	case i < st.Stage || st.Batch == controller.Complete:
		return "done"
	case st.Batch.Active():
		return "current"
	}
	return "ahead" // stopped or aborted within it: it never ended
}

func celsius(t quantity.Celsius) string { return quantity.Fixed(float64(t), 1) + " °C" }

// conditionKinds are the keys of the product file.
var conditionKinds = map[profile.ConditionKind]string{
	profile.After: "after", profile.CoreAtLeast: "core", profile.CoreAtMost: "core", profile.LethalityAtLeast: "lethality", profile.Confirmed: "confirm",
}

func conditionText(c profile.Condition) string {
	switch c.Kind {
	case profile.After:
		return quantity.FormatDuration(c.After) + " have passed"
	case profile.CoreAtLeast:
		return "core reaches " + c.Core.String()
	case profile.CoreAtMost:
		return "core falls to " + c.Core.String()
	case profile.LethalityAtLeast:
		return "lethality reaches " + strconv.FormatFloat(c.Lethality, 'f', -1, 64)
	case profile.Confirmed:
		return "you confirm: " + c.Confirm
	}
	return quantity.Unknown
}

// reads says what a core must read that may be wrong.
func reads(coreError quantity.Kelvin, c profile.Condition) string {
	e := quantity.Celsius(coreError)
	if c.Kind == profile.CoreAtMost {
		e = -e
	} else if c.Kind != profile.CoreAtLeast {
		return ""
	}
	if e == 0 {
		return ""
	}
	return fmt.Sprintf(", read as %v, for the probe may be wrong by %v", c.Core+e, coreError)
}

func endedBy(stage *profile.Stage) string {
	texts := make([]string, len(stage.Until.Conditions))
	for i, c := range stage.Until.Conditions {
		texts[i] = conditionText(c)
	}
	if stage.Until.Any {
		return strings.Join(texts, " or ")
	}
	return strings.Join(texts, " and ")
}

func condition(s *snapshot.Snapshot, c profile.Condition) Condition {
	result := Condition{Kind: conditionKinds[c.Kind], Text: conditionText(c) + reads(s.State.CoreError, c)}
	say := func(text string) { result.Now = &text }
	switch c.Kind {
	case profile.After:
		say(quantity.FormatDuration(s.StageElapsed()))
		result.ProgressRatio = quantity.OrNull(min(1, s.StageElapsed().Seconds()/c.After.Seconds()), c.After > 0)
	case profile.CoreAtLeast, profile.CoreAtMost:
		if t, ok := s.State.Core.Coldest.Value(); ok && c.Kind == profile.CoreAtLeast {
			say(celsius(t))
		} else if t, ok := s.State.Core.Hottest.Value(); ok && c.Kind == profile.CoreAtMost {
			say(celsius(t))
		}
	case profile.LethalityAtLeast:
		if v, capped, ok := s.LethalityLog10(); ok && quantity.Finite(v) {
			say(lethality.Text(v, capped, 2))
			result.ProgressRatio = quantity.OrNull(min(1, v/c.Lethality), c.Lethality > 0)
		}
	}
	return result
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.0f s", d.Seconds()) }
