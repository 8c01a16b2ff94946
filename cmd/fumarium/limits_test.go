package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/sim"
)

// What is printed and what JSON holds of the model's limits are the same rehearsals.
func TestRehearseLimits(t *testing.T) {
	long(t)
	status, said, _ := call(t, "rehearse", "caraway-sticks", "--limits")
	require.Equal(t, exitGood, status)
	_, plain, _ := call(t, "rehearse", "caraway-sticks", "--json")
	assert.NotContains(t, plain, `"limits"`)
	_, out, _ := call(t, "rehearse", "caraway-sticks", "--limits", "--json")
	var r struct {
		Losses *sim.LossResult
		Yield  float64 `json:"yield_percent"`
		Limits *sim.LimitsResult
	}
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	require.NotNil(t, r.Limits)
	require.NotNil(t, r.Losses)
	assert.InDelta(t, 100, r.Yield+r.Losses.EvaporationPercent+r.Losses.DripPercent+r.Losses.FatPercent, 0.01)
	assert.Contains(t, said, r.Losses.Words())
	for _, l := range r.Limits.Limits {
		assert.Contains(t, said, l.What)
	}
	for _, what := range r.Limits.Unmodelled {
		assert.Contains(t, said, what)
	}
}
