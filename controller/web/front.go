package web

import (
	"encoding/json"
	"math"
	"net/http"
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/controller/section"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// Front is what the page needs beside the readings to say what comes next and how far the
// food is.
type Front struct {
	CoreTargetCelsius   *float64   `json:"core_target_celsius"`
	ChamberLimitCelsius *float64   `json:"chamber_limit_celsius"` // of the cabinet
	KillRatio           *float64   `json:"kill_ratio"`            // of what is required, at most 1
	CookedAt            *time.Time `json:"cooked_at"`             // about when the core was cooked, by the curve
	ComeUpLimitSeconds  *float64   `json:"come_up_limit_seconds"`
	Display             bool       `json:"display"` // the cabinet has one
	PlaceNow            string     `json:"place"`   // of the product: chamber, ice water, ...; empty without a stage
	HandSteps           []HandStep `json:"hand_steps"`
}

// HandStep is one thing that the product asks of a person, in the order of the product.
type HandStep struct {
	Stage int    `json:"stage"`
	Text  string `json:"text"`
	State string `json:"state"` // done, due or ahead
	// At is when it was answered, or since when it is due.
	At *time.Time `json:"at"`
}

func nameOf(c trip.Code) string {
	if c == trip.None {
		return ""
	}
	return c.String()
}

// ago is the time of day at which the controller's clock showed at.
func ago(s *snapshot.Snapshot, at time.Duration) *time.Time {
	t := s.Time.Add(at - s.State.Elapsed).Truncate(time.Second)
	return &t
}

// inBatch is the time of day at which the batch was so old.
func inBatch(s *snapshot.Snapshot, age time.Duration) *time.Time { return ago(s, s.State.Started+age) }

func stageTimes(s *snapshot.Snapshot, i int) (began, ended *time.Time) {
	for _, stage := range s.History.Stages() {
		if stage.Index != i {
			continue
		}
		began = inBatch(s, stage.Began)
		if stage.Over {
			ended = inBatch(s, stage.Ended)
		}
	}
	return began, ended
}

func frontOf(s *snapshot.Snapshot) Front {
	st, p := &s.State, s.Product
	f := Front{HandSteps: []HandStep{}}
	if s.Cabinet != nil {
		f.Display = s.Cabinet.Panel.Display != ""
		f.ChamberLimitCelsius = quantity.OrNull(s.Cabinet.Limits.ChamberHigh, s.Cabinet.Limits.ChamberHigh > 0)
	}
	if p == nil || st.Batch == controller.Idle {
		return f
	}
	f.CoreTargetCelsius = quantity.OrNull(p.Targets.Core, p.Targets.HasCore)
	if p.ComeUpApplies() {
		f.ComeUpLimitSeconds = quantity.OrNull(proof.ComeUp.Limit.Seconds(), true)
	}
	if k := p.Criterion(); k != nil && k.Required > 0 {
		if v, _, ok := s.LethalityLog10(); ok && quantity.Finite(v) {
			f.KillRatio = quantity.OrNull(min(1, v/k.Required), true)
		}
	}
	if v, ok := s.Verdict(); ok && v[proof.Cooked].Answer == proof.Met {
		f.CookedAt = cookedAt(s)
	}
	if stage := st.CurrentStage(p); stage != nil {
		f.PlaceNow = stage.Place.String()
		if stage.Place == 0 {
			f.PlaceNow = profile.Chamber.String()
		}
	}
	f.HandSteps = handSteps(s)
	return f
}

// cookedAt goes along the curve until the core has had what is required; nil where the
// curve, which is thinner than what was counted, does not show it.
func cookedAt(s *snapshot.Snapshot) *time.Time {
	r := s.State.Rules(s.Product)
	k := r.Criterion
	if k == nil {
		return nil
	}
	e := quantity.Celsius(s.State.CoreError)
	var count lethality.Count
	var last history.Sample
	for i, at := range s.History.Samples() {
		if i > 0 && at.Elapsed > last.Elapsed {
			if math.IsNaN(at.Core) || math.IsNaN(last.Core) {
				count = k.Gap(count)
			} else {
				count = k.Add(count, quantity.Celsius(last.Core)-e, quantity.Celsius(at.Core)-e, at.Elapsed-last.Elapsed)
			}
			if k.Met(count) {
				return inBatch(s, at.Elapsed)
			}
		}
		last = at
	}
	return nil
}

func handSteps(s *snapshot.Snapshot) []HandStep {
	steps := []HandStep{}
	waits, waiting := s.State.Waiting(s.Product)
	for i := range s.Product.Stages {
		stage := &s.Product.Stages[i]
		texts := []string{}
		if stage.Ask != "" {
			texts = append(texts, stage.Ask)
		}
		for _, c := range stage.Until.Conditions {
			if c.Kind == profile.Confirmed {
				texts = append(texts, c.Confirm)
			}
		}
		for _, text := range texts {
			step := HandStep{Stage: i, Text: text, State: "ahead"}
			for _, went := range s.History.Stages() {
				if went.Index != i {
					continue
				}
				for _, w := range went.Waits {
					if w.Prompt == text && w.Done {
						step.State, step.At = "done", inBatch(s, w.Answered)
					}
				}
			}
			if waiting && waits.Question.Stage == i && waits.Text == text {
				step.State, step.At = "due", ago(s, waits.Since)
			}
			steps = append(steps, step)
		}
	}
	return steps
}

// Curve is what the batch has gone through, by its history, which survives a restart.
type Curve struct {
	Batch   *string    `json:"batch"`
	Start   *time.Time `json:"start"` // of the batch
	Seconds []float64  `json:"seconds"`
	Chamber []*float64 `json:"chamber_celsius"`
	Set     []*float64 `json:"setpoint_celsius"`
	Core    []*float64 `json:"core_celsius"` // the coldest
}

func curveOf(s *snapshot.Snapshot) Curve {
	c := Curve{Seconds: []float64{}, Chamber: []*float64{}, Set: []*float64{}, Core: []*float64{}}
	if s.State.Batch == controller.Idle {
		return c
	}
	c.Batch, c.Start = word(s.BatchID), inBatch(s, 0)
	tenth := func(v float64) *float64 { return quantity.OrNull(math.Round(v*10)/10, quantity.Finite(v)) }
	for _, at := range s.History.Samples() {
		c.Seconds = append(c.Seconds, math.Round(at.Elapsed.Seconds()))
		c.Chamber, c.Set, c.Core = append(c.Chamber, tenth(at.Chamber)), append(c.Set, tenth(at.Setpoint)), append(c.Core, tenth(at.Core))
	}
	return c
}

func (s *server) curve(w http.ResponseWriter, r *http.Request) *problem {
	return s.texts.get(r.Context(), r.URL.Path, func(snap *snapshot.Snapshot) *rendering {
		if snap == nil {
			return &rendering{problem: refuse(http.StatusServiceUnavailable, "%s", errNoStep)}
		}
		body, err := json.Marshal(curveOf(snap))
		if err != nil {
			return &rendering{problem: notJSON}
		}
		return &rendering{kind: "application/json", body: append(body, '\n')}
	}).answer(w)
}

// drawing is the cabinet cut open, with the product where it is now.
func (s *server) drawing(w http.ResponseWriter, r *http.Request) *problem {
	return s.texts.get(r.Context(), r.URL.Path, func(snap *snapshot.Snapshot) *rendering {
		if snap == nil || snap.Cabinet == nil {
			return &rendering{problem: refuse(http.StatusServiceUnavailable, "%s", errNoStep)}
		}
		place := profile.Place(0)
		if stage := snap.State.CurrentStage(snap.Product); stage != nil {
			place = max(stage.Place, profile.Chamber)
		}
		return &rendering{kind: "image/svg+xml", body: section.Draw(snap.Cabinet, snap.Product, place)}
	}).answer(w)
}
