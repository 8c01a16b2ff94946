package web_test

import (
	"encoding/json"
	"net/http"
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
	ask := func(body string) *web.Supposed {
		w := ask(handler(accepting(cooking())), http.MethodPost, "/api/rehearse/suppose", body)
		require.Equal(t, http.StatusOK, w.Code, w.Body)
		got := &web.Supposed{}
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), got))
		return got
	}
	now := cooking().Bounds.Chamber.Now
	assert.InDelta(t, float64(now)+5, *ask(`{"chamber":"+5 K"}`).Chamber, 1e-9)
	assert.InDelta(t, float64(now)-2, *ask(`{"chamber":"-2 K"}`).Chamber, 1e-9)
	assert.InDelta(t, 85, *ask(`{"chamber":"185 F"}`).Chamber, 1e-9)
	got := ask(`{"ready":"2026-03-14T18:00:00+01:00"}`)
	assert.True(t, *got.Reached)
	assert.Equal(t, 30*time.Minute, got.Now.Middle.Sub(got.Then.Middle))
}
