package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
)

// course is that of the batch under way, or why there is none.
func (s *server) course(snap *snapshot.Snapshot) (course *outlook.Course, missing string) {
	switch {
	case snap == nil || !snap.State.Batch.Active() || snap.Product == nil:
		return nil, "no batch is under way"
	case s.Outlook == nil:
		return nil, "this daemon does not rehearse"
	}
	course, missing = s.Outlook(snap.BatchID)
	if course != nil && !course.Fits(snap.Product) {
		return nil, "what was rehearsed is another product"
	}
	return course, missing
}

func (s *server) plan(snap *snapshot.Snapshot) (plan *outlook.Plan, missing *string) {
	course, why := s.course(snap)
	if course != nil {
		if plan, why = course.Of(snap); s.Forecast != nil {
			plan.Foretell(s.Forecast(snap.BatchID), snap.State.Stage)
		}
	}
	return plan, word(why)
}

// A curve is the rehearsed batch, to be drawn under the real one.
type curve struct {
	Batch   *string         `json:"batch"`
	Missing *string         `json:"missing"` // why there are no points
	Points  []outlook.Point `json:"points"`
}

func (s *server) planCurve(w http.ResponseWriter, r *http.Request) *problem {
	return s.texts.get(r.Context(), r.URL.Path, func(snap *snapshot.Snapshot) *rendering {
		course, missing := s.course(snap)
		c := curve{Missing: word(missing), Points: []outlook.Point{}}
		if course != nil {
			c.Batch, c.Points = word(snap.BatchID), course.Curve
		}
		body, err := json.Marshal(c)
		if err != nil {
			return &rendering{problem: notJSON}
		}
		return &rendering{kind: "application/json", body: append(body, '\n')}
	}).answer(w)
}

// preview is what a product would come to if it were started now.
type preview struct {
	Product string          `json:"product"`
	Tried   int             `json:"tried"` // rehearsals; the plan says how many it goes by
	Plan    *outlook.Plan   `json:"plan"`
	Points  []outlook.Point `json:"points"`
	Notes   []string        `json:"notes"` // what this cabinet cannot keep of it
}

// noting is how long what cannot be kept is looked for, of maxWait.
const noting = 3 * time.Second

// oneAtATime is for what changes nothing, but costs much to rehearse: it is answered one at
// a time, and only to who may start and change.
func (s *server) oneAtATime(answer handler) handler {
	return s.allowed(func(w http.ResponseWriter, r *http.Request) *problem {
		if !s.rehearsing.TryLock() {
			return refuse(http.StatusServiceUnavailable, "another rehearsal is under way; send it again in some seconds")
		}
		defer s.rehearsing.Unlock()
		return answer(w, r)
	})
}

// rehearse answers what a start would come to.
func (s *server) rehearse(w http.ResponseWriter, r *http.Request, o *Order) *problem {
	if p := o.only("a rehearsal", "product", "file", "product_yaml", "meat"); p != nil {
		return p
	}
	var request snapshot.Request
	if p := s.product(o, &request); p != nil {
		return p
	}
	if s.Rehearse == nil {
		return refuse(http.StatusConflict, "this daemon does not rehearse")
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	notes := s.notReached(ctx, &request)
	course, err := s.Rehearse(ctx, request.Product)
	if errors.Is(err, context.DeadlineExceeded) {
		return refuse(http.StatusServiceUnavailable, "rehearsing %s takes longer than %s here; ask again when less is going on, or use fumarium plan", request.Product.Name, seconds(maxWait))
	} else if err != nil {
		p := refuse(http.StatusConflict, "%s was not rehearsed: %v", request.Product.Name, err)
		p.Findings = notes
		return p
	}
	start := s.Now()
	if snap := s.Loop.Snapshot(); snap != nil {
		start = snap.Time
	}
	writeJSON(w, "application/json", http.StatusOK, preview{request.Product.Name, course.Tried, course.Before(request.Product, start), course.Curve, notes})
	return nil
}

func (s *server) notReached(ctx context.Context, r *snapshot.Request) []string {
	if s.NotReached == nil {
		return []string{}
	}
	ctx, cancel := context.WithTimeout(ctx, noting)
	defer cancel()
	notes, _ := asked(s.NotReached(ctx, r.Product, r.ProductName))
	return notes
}
