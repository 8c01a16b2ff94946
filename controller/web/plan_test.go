package web_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/outlook"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/source"
)

// course is the ring as it was rehearsed once.
func course() *outlook.Course {
	at := 45.0
	return &outlook.Course{Tried: 1, Curve: []outlook.Point{{Setpoint: &at}, {Seconds: 60}}, Runs: []outlook.Run{{
		{Seconds: 2700}, {Seconds: 7200, Hands: []outlook.Hand{{Text: "Light the smoke generator"}}},
		{Seconds: 2 * 3600}, {Seconds: 3600, Hands: []outlook.Hand{{Text: "Is the ice used up?", Seconds: 1800}}},
	}}}
}

// The batch is four hours old and its third stage began at 170 min, rehearsed to take two
// hours: it ends at 290 min, 50 from now, and the last an hour later.
func TestStatusHasThePlan(t *testing.T) {
	s := status(t, cooking())
	assert.Nil(t, s["plan_missing"])
	plan := s["plan"].(map[string]any)
	stages := plan["stages"].([]any)
	require.Len(t, stages, 4)
	assert.Equal(t, map[string]any{"name": "dry", "start": "2026-03-14T08:00:00Z", "end": "2026-03-14T08:45:00Z", "end_earliest": nil, "end_latest": nil, "place": "unknown"}, stages[0], "this product does not say where")
	assert.Equal(t, "2026-03-14T12:50:00Z", stages[2].(map[string]any)["end"])
	assert.Equal(t, "2026-03-14T13:50:00Z", plan["finish"])
	assert.Equal(t, []any{map[string]any{"stage": "chill", "text": "Is the ice used up?",
		"at": "2026-03-14T13:20:00Z", "earliest": "2026-03-14T13:20:00Z", "latest": "2026-03-14T13:20:00Z"}}, plan["hand_steps"])

	held := cooking()
	held.State.Batch = controller.Held
	s = status(t, held)
	assert.Equal(t, "held", s["plan_missing"])
	assert.Nil(t, s["plan"].(map[string]any)["finish"])

	s = status(t, idle())
	assert.Equal(t, "no batch is under way", s["plan_missing"])
	assert.Nil(t, s["plan"])
}

// Without a course the status says why, and so does one of another product.
func TestNoPlanSaysWhy(t *testing.T) {
	for want, of := range map[string]func(string) (*outlook.Course, string){
		"this daemon does not rehearse":         nil,
		"it is being rehearsed":                 func(string) (*outlook.Course, string) { return nil, "it is being rehearsed" },
		"what was rehearsed is another product": func(string) (*outlook.Course, string) { return &outlook.Course{Runs: []outlook.Run{{}}}, "" },
	} {
		h := configured(accepting(cooking()), func(c *web.Config) { c.Outlook = of })
		for path, key := range map[string]string{"/api/status": "plan_missing", "/api/plan/curve": "missing"} {
			var got map[string]any
			require.NoError(t, json.Unmarshal(ask(h, http.MethodGet, path, "").Body.Bytes(), &got))
			assert.Equal(t, want, got[key], path)
		}
	}
}

// What is rendered once a step is kept by its path: each answers as if it had been asked
// for alone.
func TestAnswersOfOneStepAreNotMixedUp(t *testing.T) {
	course := func(string) (*outlook.Course, string) {
		return &outlook.Course{Runs: []outlook.Run{{}}, Curve: []outlook.Point{{Seconds: 60}}}, ""
	}
	build := func() http.Handler {
		return configured(accepting(cooking()), func(c *web.Config) { c.Outlook = course })
	}
	together := build()
	for _, path := range []string{"/api/status", "/api/curve", "/api/plan/curve", "/api/drawing.svg", "/", "/api/curve"} {
		alone, got := ask(build(), http.MethodGet, path, ""), ask(together, http.MethodGet, path, "")
		require.Equal(t, http.StatusOK, got.Code, path)
		assert.Equal(t, alone.Body.String(), got.Body.String(), path)
	}
}

func TestOneRehearsalAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := configured(accepting(idle()), func(c *web.Config) {
			c.Rehearse = func(ctx context.Context, _ *profile.Product) (*outlook.Course, error) {
				<-ctx.Done() // as long as it may
				return nil, ctx.Err()
			}
		})
		first := make(chan string, 1)
		go func() { first <- ask(h, http.MethodPost, "/api/rehearse", `{"product":"Caraway ring"}`).Body.String() }()
		synctest.Wait()
		w := ask(h, http.MethodPost, "/api/rehearse", `{"product":"Caraway ring"}`)
		assert.Equal(t, http.StatusServiceUnavailable, w.Code)
		assert.Contains(t, w.Body.String(), "another rehearsal is under way")
		assert.Contains(t, <-first, "takes longer than 10 s")
		began := time.Now()
		assert.Contains(t, ask(h, http.MethodPost, "/api/rehearse", `{"product":"Caraway ring"}`).Body.String(), "takes longer")
		assert.Equal(t, 10*time.Second, time.Since(began))
	})
	big := ask(handler(accepting(idle())), http.MethodPost, "/api/rehearse",
		`{"file":"x.yaml","product_yaml":"`+strings.Repeat("x", web.MaxProduct+1)+`"}`)
	assert.Equal(t, http.StatusRequestEntityTooLarge, big.Code)
}

// What the cabinet cannot reach is noted with the rehearsal of a product, and also where that
// did not come to its end. It is looked for no longer than three seconds of the ten.
func TestWhatIsNotReachedIsNotedBeforeAStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		note := source.Finding{File: "ring", Line: 3, Column: 1, Severity: source.Note, Code: "reach", Message: "full power comes to 40 °C", Remedy: "ask for less"}
		slow := false
		var failed error
		h := configured(accepting(idle()), func(c *web.Config) {
			c.NotReached = func(ctx context.Context, _ *profile.Product, _ string) source.Findings {
				if slow {
					<-ctx.Done()
					return nil
				}
				return source.Findings{note}
			}
			c.Rehearse = func(context.Context, *profile.Product) (*outlook.Course, error) { return course(), failed }
		})
		asked := func() (reply struct{ Notes, Findings []string }) {
			require.NoError(t, json.Unmarshal(ask(h, http.MethodPost, "/api/rehearse", `{"product":"Caraway ring"}`).Body.Bytes(), &reply))
			return reply
		}
		const text = "note: ring:3:1: reach: full power comes to 40 °C; ask for less"
		assert.Equal(t, []string{text}, asked().Notes)
		failed = errors.New("it never ends")
		assert.Equal(t, []string{text}, asked().Findings)
		slow, failed = true, nil
		began := time.Now()
		assert.Equal(t, []string{}, asked().Notes)
		assert.Equal(t, 3*time.Second, time.Since(began))
	})
}
