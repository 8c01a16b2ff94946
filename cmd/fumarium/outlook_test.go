package main

import (
	"net/http"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/outlook"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

// The course that the daemon makes is the spread that plan goes by: the same median.
func TestCourseIsTheSpread(t *testing.T) {
	p, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	c, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	setup := sim.Setup{Product: p.Value, Cabinet: c.Value, Seed: 1, Excused: true}
	made, err := course(t.Context(), setup, outlookRuns, 0)
	require.NoError(t, err)
	require.True(t, made.Fits(p.Value))
	require.Len(t, made.Runs, outlookRuns)
	assert.LessOrEqual(t, len(made.Curve), mostCurve)
	assert.Greater(t, len(made.Curve), mostCurve/2)
	spread, err := sim.Spread(t.Context(), setup, outlookRuns, nil)
	require.NoError(t, err)
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	plan := made.Before(p.Value, start)
	for i, s := range spread.Stages {
		assert.InDelta(t, s.EndP50Seconds, plan.Stages[i].End.Sub(start).Seconds(), 1, s.Name)
	}
	assert.InDelta(t, spread.P90Seconds, plan.Latest.Sub(start).Seconds(), 1)
	assert.NotEmpty(t, plan.Hands)

	file := filepath.Join(t.TempDir(), outlookFile)
	require.NoError(t, writeOutlook(file, &outlooked{Batch: "b", Course: made}))
	kept, err := readOutlook(file)
	require.NoError(t, err)
	assert.Equal(t, &outlooked{Batch: "b", Course: made}, kept, "the same after a restart")

	c.Value.Rehearsal.Width = 0
	_, err = course(t.Context(), setup, 1, 0)
	assert.ErrorContains(t, err, "no rehearsal section")
}

// A daemon says when its batch will be done, draws the course, and answers before a start
// what one would come to.
func TestTheDaemonPlansAhead(t *testing.T) {
	d := startDaemon(t, "--cabinet", "fridge-body", "--pace", "10")
	status, body := d.post("/api/rehearse", `{"product":"caraway-sticks"}`)
	require.Equal(t, http.StatusOK, status, body)
	assert.Contains(t, body, `"finish":"20`)
	code, _, errText := d.client("start", "caraway-sticks", "--stuffed", "13h")
	require.Equal(t, exitGood, code, errText)
	s := d.status()
	for began := time.Now(); s.Plan == nil && time.Since(began) < time.Minute; s = d.status() {
		require.NotNil(t, s.PlanMissing)
		time.Sleep(100 * time.Millisecond)
	}
	require.NotNil(t, s.Plan)
	assert.Equal(t, outlookRuns, s.Plan.Runs)
	require.NotNil(t, s.Plan.Finish)
	assert.True(t, s.Plan.Finish.After(s.Time))
	assert.Equal(t, outlook.FromRehearsals, s.Plan.From)
	require.NotNil(t, s.Plan.ForecastMissing, "that takes longer than somebody waits here")
	_, drawn := d.get("/api/plan/curve")
	assert.Contains(t, drawn, `"chamber_celsius":`)
	code, _, errText = d.client("hold")
	require.Equal(t, exitGood, code, errText)
	s = d.status()
	require.NotNil(t, s.PlanMissing)
	assert.Nil(t, s.Plan.Finish)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	kept, err := readOutlook(filepath.Join(d.state, outlookFile))
	require.NoError(t, err)
	assert.NotNil(t, kept.Course)
}
