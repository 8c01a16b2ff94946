package web_test

import (
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile/quantity"
)

// bounded is what the machine says may be changed in the stages of these tests: the cook
// waits for its core and for nothing else.
func bounded(s *snapshot.Snapshot) {
	s.Bounds = controller.Bounds{
		Known: true, Stage: s.State.StageName(), After: 3,
		Chamber: controller.Bound[quantity.Celsius]{Can: true, Now: 82, File: 82, Low: 0, High: 110},
		Core:    controller.Bound[quantity.Celsius]{Can: true, Now: 71, File: 71, Low: 0, High: 100},
		Smoke:   controller.Bound[quantity.Ratio]{Can: true, Now: 0, File: 0, Low: 0.1, High: 1},
	}
	if s.State.Stage == 1 {
		s.Bounds.Core = controller.Bound[quantity.Celsius]{}
		s.Bounds.Time = controller.Bound[time.Duration]{Can: true, Now: 2 * time.Hour, File: 2 * time.Hour, Low: time.Minute, High: 4 * time.Hour}
	}
}

// effect is what a change would come to: half an hour sooner, and not cooked.
func effect(s *snapshot.Snapshot, c controller.Command) *web.Effect {
	at := func(d time.Duration) *time.Time {
		t := s.Time.Add(d)
		return &t
	}
	yes, no, peak, less := true, false, 71.4, 66.0
	rules := func(answer string) []web.Rule {
		return []web.Rule{{Rule: "cooked", Answer: answer, Why: "by the table"}}
	}
	change := c.Kind.String()
	if c.Kind == controller.Adjust {
		change = c.Bend.String()
	}
	return &web.Effect{
		Stage: "cook", Change: change,
		Before: web.Course{StageEnd: at(time.Hour), Finish: at(3 * time.Hour), PeakCore: &peak, Good: &yes, Rules: rules("met")},
		After:  web.Course{StageEnd: at(30 * time.Minute), Finish: at(150 * time.Minute), PeakCore: &less, Good: &no, Rules: rules("not met")},
	}
}

func TestWhatMayBeChanged(t *testing.T) {
	change := func(s *snapshot.Snapshot) *web.Change {
		var got web.Status
		w := ask(handler(accepting(s)), http.MethodGet, "/api/status", "")
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &got))
		return got.Change
	}
	got := change(cooking())
	require.NotNil(t, got)
	assert.Equal(t, "3-stage-255s0", got.Stage)
	assert.Equal(t, &web.Range{Now: 82, File: 82, Low: 0, High: 110}, got.Chamber)
	assert.Nil(t, got.Time)
	assert.Equal(t, "chill", *got.After)
	assert.Equal(t, "chill", *got.Next)
	got = change(asking())
	assert.Equal(t, 4*3600.0, got.Time.High)
	hanging := asking()
	hanging.State.Stage, hanging.Bounds.Stage.Stage = 0, 0
	got = change(hanging)
	assert.Nil(t, got.Next, "the product is being hung")
	assert.Nil(t, got.After)
	last := cooking()
	last.State.Stage, last.Bounds.After = len(ring.Stages)-1, 0
	got = change(last)
	assert.Nil(t, got.After)
	assert.Empty(t, *got.Next)
	for name, s := range map[string]*snapshot.Snapshot{"idle": idle(), "nothing known": {Time: noon, Stepped: noon}} {
		assert.Nil(t, change(s), name)
	}
	over := cooking()
	over.State.Batch = controller.Complete
	assert.Nil(t, change(over))
}

// A change reaches the loop as it was written, in whatever units.
func TestAChangeIsHandedIn(t *testing.T) {
	for body, want := range map[string]controller.Command{
		`{"command":"adjust","stage":"3-stage-255s0","chamber":"185 °F","reason":"late"}`:            {Kind: controller.Adjust, Bend: controller.Bend{Parts: controller.BentChamber, Chamber: 85}},
		`{"command":"adjust","stage":"3-stage-255s0","smoke":"off","reason":"bitter"}`:               {Kind: controller.Adjust, Bend: controller.Bend{Parts: controller.BentSmoke}},
		`{"command":"adjust","stage":"3-stage-255s0","smoke":"40 %","core":"68 °C","reason":"thin"}`: {Kind: controller.Adjust, Bend: controller.Bend{Parts: controller.BentSmoke | controller.BentCore, Smoke: 0.4, Core: 68}},
		`{"command":"adjust","stage":"3-stage-255s0","time":"1 h 30 min","reason":"pale"}`:           {Kind: controller.Adjust, Bend: controller.Bend{Parts: controller.BentTime, Time: 90 * time.Minute}},
		`{"command":"skip","stage":"3-stage-255s0","reason":"pale"}`:                                 {Kind: controller.Skip},
		`{"command":"end-cooking","stage":"3-stage-255s0","reason":"done"}`:                          {Kind: controller.EndCooking},
	} {
		l := accepting(cooking())
		w := ask(handler(l), http.MethodPost, "/api/commands", body)
		require.Equal(t, http.StatusOK, w.Code, "%s: %s", body, w.Body)
		want.Excused = true
		want.Question = controller.Question{Stage: 2, Part: controller.WholeStage, Batch: time.Hour}
		got := l.requests()[0]
		assert.InDelta(t, float64(want.Bend.Chamber), float64(got.Command.Bend.Chamber), 1e-9)
		got.Command.Bend.Chamber = want.Bend.Chamber
		assert.Equal(t, want, got.Command)
		assert.NotEmpty(t, got.Reason)
	}
	for body, says := range map[string]string{
		`{"command":"skip","stage":"3-stage-255s0"}`:                                       "needs reason",
		`{"command":"skip","reason":"x"}`:                                                  "needs stage",
		`{"command":"skip","stage":"3-ask-255s0","reason":"x"}`:                            "is none",
		`{"command":"skip","stage":"3-stage","reason":"x"}`:                                "is none",
		`{"command":"adjust","stage":"3-stage-255s0","reason":"x"}`:                        "what is to change",
		`{"command":"adjust","stage":"3-stage-255s0","reason":"x","chamber":"85"}`:         "chamber:",
		`{"command":"adjust","stage":"3-stage-255s0","reason":"x","smoke":"a little"}`:     "smoke:",
		`{"command":"skip","stage":"3-stage-255s0","reason":"x","chamber":"85 °C"}`:        "takes no chamber",
		`{"command":"hold","stage":"3-stage-255s0"}`:                                       "takes no stage",
		`{"command":"adjust","stage":"3-stage-255s0","reason":"x","time":"half an hour"}`:  "time:",
		`{"command":"adjust","stage":"3-stage-255s0","reason":"  ","chamber":"85 °C"}`:     "needs reason",
		`{"command":"adjust","stage":"3-stage-255s0","reason":"x","core":"155","time":""}`: "core:",
	} {
		l := accepting(cooking())
		w := ask(handler(l), http.MethodPost, "/api/commands", body)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, body)
		assert.Contains(t, detail(t, w), says, body)
		assert.Empty(t, l.requests())
	}
}

// What a change would come to is said from the finish that the page shows.
func TestTheEffectOfAChange(t *testing.T) {
	w := ask(handler(accepting(cooking())), http.MethodPost, "/api/rehearse/change", `{"command":"end-cooking","stage":"3-stage-255s0"}`)
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	var got web.Effect
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &got))
	var shown web.Status
	require.NoError(t, json.Unmarshal(ask(handler(accepting(cooking())), http.MethodGet, "/api/status", "").Body.Bytes(), &shown))
	assert.Equal(t, shown.Plan.Finish.UTC(), got.Before.Finish.UTC())
	assert.Equal(t, 30*time.Minute, got.Before.Finish.Sub(*got.After.Finish))
	assert.Equal(t, "not met", got.After.Rules[0].Answer)
}
