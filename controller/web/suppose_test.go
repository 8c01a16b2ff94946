package web_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
)

// supposed is what would be: half an hour sooner.
func supposed(s *snapshot.Snapshot, what web.Supposition) *web.Supposed {
	at := func(minutes int) outlook.Range {
		t := s.Time.Add(time.Duration(minutes) * time.Minute)
		return outlook.Range{Earliest: t, Middle: t.Add(time.Hour), Latest: t.Add(2 * time.Hour)}
	}
	e := &web.Supposed{Stage: "cook", Change: "something", Now: at(60), Then: at(30), Rehearsals: 8}
	if what.Chamber != nil {
		v := float64(*what.Chamber)
		e.Chamber = &v
	}
	if !what.Ready.IsZero() {
		yes := true
		e.Reached = &yes
	}
	return e
}

// A supposition is read as adjust would be, or by how much otherwise, and held to the same
// bounds.
func TestASuppositionIsRead(t *testing.T) {
	told := func(body string) *web.Supposed {
		w := ask(handler(accepting(cooking())), http.MethodPost, "/api/rehearse/suppose", body)
		require.Equal(t, http.StatusOK, w.Code, w.Body)
		got := &web.Supposed{}
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), got))
		return got
	}
	refused := func(body string) *httptest.ResponseRecorder {
		return ask(handler(accepting(cooking())), http.MethodPost, "/api/rehearse/suppose", body)
	}
	now := cooking().Bounds.Chamber.Now
	assert.InDelta(t, float64(now)+5, *told(`{"chamber":"+5 K"}`).Chamber, 1e-9)
	assert.InDelta(t, float64(now)-2, *told(`{"chamber":"-2 K"}`).Chamber, 1e-9)
	assert.InDelta(t, 85, *told(`{"chamber":"185 F"}`).Chamber, 1e-9)
	got := told(`{"ready":"2026-03-14T18:00:00+01:00"}`)
	assert.True(t, *got.Reached)
	assert.Equal(t, 30*time.Minute, got.Now.Middle.Sub(got.Then.Middle))

	// A damper or a room may be so from later on, and neither a chamber nor what is past.
	told(`{"room":"-8 K","from":"2026-03-14T22:00:00+01:00"}`)
	for body, why := range map[string]string{
		`{"chamber":"+5 K","from":"2026-03-14T22:00:00+01:00"}`: "from is of damper and room",
		`{"room":"-8 K","from":"2026-03-14T02:00:00+01:00"}`:    "is past; give a time to come",
		`{"room":"-8 K","from":"22:00"}`:                        "is no RFC 3339 time",
	} {
		w := refused(body)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, body)
		assert.Contains(t, w.Body.String(), why)
	}
}
