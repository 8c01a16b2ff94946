package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/profile/quantity"
)

// A Supposition is what somebody asks what it would come to, of the batch under way. It
// changes nothing.
type Supposition struct {
	Chamber *quantity.Celsius // of the stage under way, as adjust takes it
	Damper  *quantity.Ratio   // set by hand
	Room    quantity.Kelvin   // warmer by so much
	From    time.Time         // of damper and room; zero is now
	Ready   time.Time         // what must change, so that it is ready then; zero is not asked
}

// Supposed is what it would come to, beside what is foretold now.
type Supposed struct {
	Stage      string        `json:"stage"`
	Change     string        `json:"change"` // in words
	Now        outlook.Range `json:"now"`
	Then       outlook.Range `json:"then"`
	Rehearsals int           `json:"rehearsals"` // that were made again for it
	// Chamber is what the stage would have to be heated to for the time that was asked for;
	// null where no chamber was looked for.
	Chamber *float64 `json:"chamber_celsius"`
	Reached *bool    `json:"reached"` // that time, by nine in ten; null where none was asked for
	// Worse is how many of the rehearsals came to no end, or missed what the food needs.
	Worse int     `json:"worse"`
	Rule  *string `json:"rule"` // one that was missed
}

// suppose answers what would be.
func (s *server) suppose(w http.ResponseWriter, r *http.Request) *problem {
	body, p := bodyOf(w, r)
	if p != nil {
		return p
	}
	snap := s.Loop.Snapshot()
	switch {
	case s.Suppose == nil:
		return refuse(http.StatusConflict, "this daemon does not rehearse")
	case snap == nil:
		return refuse(http.StatusServiceUnavailable, "%s", errNoStep)
	case snap.Product == nil || !snap.State.Batch.Active():
		return refuse(http.StatusConflict, "no batch is under way; fumarium plan says what one would come to")
	}
	what, p := supposition(body, snap)
	if p != nil {
		return p
	}
	ctx, cancel := context.WithTimeout(r.Context(), maxWait)
	defer cancel()
	said, err := s.Suppose(ctx, snap, what)
	if errors.Is(err, context.DeadlineExceeded) {
		return refuse(http.StatusServiceUnavailable, "rehearsing it takes longer than %s here; ask again when less is going on", seconds(maxWait))
	} else if err != nil {
		return refuse(http.StatusConflict, "nobody can say yet: %v", err)
	}
	writeJSON(w, "application/json", http.StatusOK, said)
	return nil
}

// supposition reads what is asked. What no stage may be changed to is not rehearsed either.
func supposition(body []byte, snap *snapshot.Snapshot) (what Supposition, p *problem) {
	var chamber, damper, room, from, ready string
	err := readStrings(body, "a supposition", `{"chamber": "+5 K"}`, []field{{"chamber", &chamber, 0}, {"damper", &damper, 0}, {"room", &room, 0}, {"from", &from, 0}, {"ready", &ready, 0}})
	if err != nil {
		return what, refuse(http.StatusBadRequest, "%v", err)
	}
	bad := func(key string, err error) (Supposition, *problem) {
		return what, refuse(http.StatusUnprocessableEntity, "%s: %v", key, err)
	}
	if chamber+damper+room+ready == "" {
		return what, refuse(http.StatusUnprocessableEntity, "it needs one of chamber, damper, room and ready: what would be otherwise")
	}
	if ready != "" && chamber+damper+room+from != "" {
		return what, refuse(http.StatusUnprocessableEntity, "ready looks for what must change; send it alone")
	}
	if chamber != "" {
		to, err := Changed(chamber, snap.Bounds.Chamber.Now)
		if err != nil {
			return bad("chamber", err)
		}
		order := controller.Command{Kind: controller.Adjust, Question: snap.Bounds.Stage, Excused: true, Bend: controller.Bend{Parts: controller.BentChamber, Chamber: to}}
		if why := snap.Bounds.Refused(&order, &snap.State); why != 0 {
			return what, refuse(http.StatusConflict, "%s", why)
		}
		what.Chamber = &to
	}
	if damper != "" {
		share, err := DamperShare(damper)
		if err != nil {
			return bad("damper", err)
		}
		what.Damper = &share
	}
	if room != "" {
		if what.Room, err = quantity.ParseTemperatureDifference(room); err != nil {
			return bad("room", err)
		}
		if what.Room < -LargestRoom || what.Room > LargestRoom {
			return what, refuse(http.StatusUnprocessableEntity, "room: %s is more than %v either way; no night brings that", room, LargestRoom)
		}
	}
	if from != "" && damper+room == "" {
		return what, refuse(http.StatusUnprocessableEntity, "from is of damper and room; a chamber is changed now")
	}
	for _, at := range []struct {
		key, text string
		into      *time.Time
	}{{"from", from, &what.From}, {"ready", ready, &what.Ready}} {
		if at.text == "" {
			continue
		}
		if *at.into, err = time.Parse(time.RFC3339, at.text); err != nil {
			return what, refuse(http.StatusUnprocessableEntity, "%s: %q is no RFC 3339 time; write it like 2026-11-25T18:30:00+01:00", at.key, at.text)
		}
		if !at.into.After(snap.Time) {
			return what, refuse(http.StatusUnprocessableEntity, "%s: %s is past; give a time to come", at.key, at.text)
		}
	}
	if ready != "" {
		if !snap.Bounds.Chamber.Can {
			return what, refuse(http.StatusConflict, "the stage under way heats nothing, so nothing but its own time changes when it is ready")
		}
	}
	return what, nil
}

// LargestRoom is by how much a room may be supposed warmer or colder; own magnitude.
const LargestRoom quantity.Kelvin = 40

// Changed reads a temperature, or by how much one shall be changed: "+5 K", "-3 K".
func Changed(text string, now quantity.Celsius) (quantity.Celsius, error) {
	if strings.HasPrefix(text, "+") || strings.HasPrefix(text, "-") {
		by, err := quantity.ParseTemperatureDifference(text)
		return now + quantity.Celsius(by), err
	}
	return quantity.ParseTemperature(text)
}

// DamperShare reads open, shut or a share.
func DamperShare(text string) (quantity.Ratio, error) {
	switch text {
	case "open":
		return 1, nil
	case "shut":
		return 0, nil
	}
	share, err := quantity.ParseRatio(text)
	if err == nil && share > 1 {
		err = errors.New(text + " is more than open; write open, shut or a share such as 50 %")
	}
	return share, err
}
