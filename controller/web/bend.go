package web

import (
	"context"
	"errors"
	"net/http"
	"time"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/profile/quantity"
)

// Change is what of the stage under way a person may change now, and how far. A part that
// the stage does not have is null.
type Change struct {
	Stage   string `json:"stage"` // to be sent back with the change, so that no other stage is changed
	Chamber *Range `json:"chamber_celsius"`
	Core    *Range `json:"core_celsius"`
	Time    *Range `json:"time_seconds"`
	Smoke   *Range `json:"smoke_ratio"` // of full air; zero, for none, is always taken
	// Changed is what somebody has changed of it already, in words.
	Changed *string `json:"changed"`
	// After is the stage to which end-cooking goes; null where nothing heats any more, and
	// empty where nothing comes after the heat.
	After *string `json:"after_cooking"`
	Next  *string `json:"after_skip"` // empty where it is the last
}

// Range is one part: as it is, as the file has it, and how far it may go.
type Range struct {
	Now  float64 `json:"now"`
	File float64 `json:"file"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

func rangeOf[T ~float64](b controller.Bound[T]) *Range {
	if !b.Can {
		return nil
	}
	return &Range{float64(b.Now), float64(b.File), float64(b.Low), float64(b.High)}
}

// changeOf gives what may be changed, or nil where no change would be taken.
func changeOf(s *snapshot.Snapshot) *Change {
	b := &s.Bounds
	if !b.Known || !controller.Adjust.Offered(&s.State) || s.Product == nil || s.State.Stage >= len(s.Product.Stages) {
		return nil
	}
	c := &Change{Stage: b.Stage.String(), Chamber: rangeOf(b.Chamber), Core: rangeOf(b.Core), Smoke: rangeOf(b.Smoke), Changed: word(s.State.Bend.String())}
	if t := b.Time; t.Can {
		c.Time = &Range{t.Now.Seconds(), t.File.Seconds(), t.Low.Seconds(), t.High.Seconds()}
	}
	name := func(i int) *string {
		text := ""
		if i < len(s.Product.Stages) {
			text = s.Product.Stages[i].Name
		}
		return &text
	}
	if !(s.State.Asking && s.State.Stage == 0) { // while the product is being hung neither is taken
		c.Next = name(s.State.Stage + 1)
		if b.After > 0 {
			c.After = name(b.After)
		}
	}
	return c
}

// Effect is what a change would come to, by rehearsals of the batch with and without it.
type Effect struct {
	Stage  string `json:"stage"`
	Change string `json:"change"` // in words
	Before Course `json:"before"`
	After  Course `json:"after"`
}

// Course is how the rest of the batch went in one rehearsal.
type Course struct {
	Missing  *string    `json:"missing"`   // why nothing can be said; then all else is null
	StageEnd *time.Time `json:"stage_end"` // of the stage under way
	Finish   *time.Time `json:"finish"`
	PeakCore *float64   `json:"peak_core_celsius"`
	Good     *bool      `json:"good"`
	Rules    []Rule     `json:"rules"`
}

// stage is the one that the person has read; the step judges whether it is still under way.
func stage(o *Order, r *snapshot.Request) *problem {
	if o.Stage == "" {
		return refuse(http.StatusUnprocessableEntity, "%s needs stage: read change of /api/status, and send its stage back, so that no other is changed unread", o.Command)
	}
	q, ok := controller.ParseQuestion(o.Stage)
	if !ok || q.Part != controller.WholeStage || q.Batch == 0 {
		return refuse(http.StatusUnprocessableEntity, "stage %q is none; send the one that change of /api/status has", o.Stage)
	}
	r.Command.Question = q
	return nil
}

// reason is why a stage is changed.
func reason(o *Order, r *snapshot.Request) *problem {
	if p := o.because(r); p != nil {
		return p
	}
	if r.Reason == "" {
		return refuse(http.StatusUnprocessableEntity, "%s needs reason: why the stage is changed; it goes on the record", o.Command)
	}
	return nil
}

// bend is what is to change. Each is a figure with its unit, as a product file has it.
func bend(o *Order, r *snapshot.Request) *problem {
	b := &r.Command.Bend
	var bad *problem
	take := func(key, text string, part controller.BentParts, read func() error) {
		if text == "" || bad != nil {
			return
		}
		if err := read(); err != nil {
			bad = refuse(http.StatusUnprocessableEntity, "%s: %v", key, err)
		}
		b.Parts |= part
	}
	var err error
	take("chamber", o.Chamber, controller.BentChamber, func() error { b.Chamber, err = quantity.ParseTemperature(o.Chamber); return err })
	take("core", o.Core, controller.BentCore, func() error { b.Core, err = quantity.ParseTemperature(o.Core); return err })
	take("time", o.Time, controller.BentTime, func() error { b.Time, err = quantity.ParseDuration(o.Time); return err })
	take("smoke", o.Smoke, controller.BentSmoke, func() error {
		if o.Smoke == "off" {
			return nil
		}
		b.Smoke, err = quantity.ParseRatio(o.Smoke)
		return err
	})
	if bad == nil && b.Parts == 0 {
		bad = refuse(http.StatusUnprocessableEntity, "%s needs one of chamber, core, time and smoke: what is to change", o.Command)
	}
	return bad
}

// effect answers what a change would come to.
func (s *server) effect(w http.ResponseWriter, r *http.Request, o *Order) *problem {
	if kind, ok := controller.ParseCommand(o.Command); !ok || kind.Needs()&controller.WithStage == 0 {
		return refuse(http.StatusUnprocessableEntity, "command %q changes no stage; send one of adjust, skip, end-cooking", o.Command)
	}
	if o.Reason == "" {
		o.Reason = "rehearsed" // nobody has to say why before he has seen it
	}
	request, p := s.request(o)
	if p != nil {
		return p
	}
	snap := s.Loop.Snapshot()
	switch {
	case s.Effect == nil:
		return refuse(http.StatusConflict, "this daemon does not rehearse")
	case snap == nil:
		return refuse(http.StatusServiceUnavailable, "%s", errNoStep)
	}
	if why := snap.Bounds.Refused(&request.Command, &snap.State); why != 0 {
		return refuse(http.StatusConflict, "%s", why)
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	e, err := s.Effect(ctx, snap, request.Command)
	if errors.Is(err, context.DeadlineExceeded) {
		return refuse(http.StatusServiceUnavailable, "rehearsing it takes longer than %s here; ask again when less is going on, or send the change without", seconds(maxWait))
	} else if err != nil {
		return refuse(http.StatusConflict, "it was not rehearsed: %v", err)
	}
	s.moveAlong(snap, e)
	writeJSON(w, "application/json", http.StatusOK, e)
	return nil
}

// moveAlong says both courses from the finish that the plan has, where there is one: by what
// else is known of the batch it is nearer to the truth, and the page shows it.
func (s *server) moveAlong(snap *snapshot.Snapshot, e *Effect) {
	plan, _ := s.plan(snap)
	if plan == nil || plan.Finish == nil || e.Before.Finish == nil {
		return
	}
	by := plan.Finish.Sub(*e.Before.Finish)
	finish := *plan.Finish
	e.Before.Finish = &finish
	if e.After.Finish != nil {
		after := e.After.Finish.Add(by)
		if after.Before(snap.Time) {
			after = snap.Time
		}
		e.After.Finish = &after
	}
}
