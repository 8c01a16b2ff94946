package main

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is printed and what JSON holds are the same experiment, and equal seeds give equal
// bytes.
func TestRehearseTune(t *testing.T) {
	long(t)
	status, said, _ := call(t, "rehearse", "caraway-sticks", "--tune")
	require.Equal(t, exitGood, status)
	_, out, _ := call(t, "rehearse", "caraway-sticks", "--tune", "--json")
	_, again, _ := call(t, "rehearse", "caraway-sticks", "--tune", "--json")
	assert.Equal(t, out, again)
	var r tuneResult
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	require.Len(t, r.Learned, 2, "with the fan and without")
	for _, l := range r.Learned {
		assert.Empty(t, l.Refused)
		assert.Contains(t, said, fmt.Sprintf("%.1f K/min (%.1f to %.1f)", 60*l.Slope, 60*l.SlopeLeast, 60*l.SlopeMost))
	}
	require.NotNil(t, r.Then)
	assert.Contains(t, said, fmt.Sprintf("%.1f K over at worst", *r.Then.OvershootKelvin))

	status, _, wrong := call(t, "rehearse", "--tune", "--runs", "5")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, wrong, "--tune stands with")
	status, _, wrong = call(t, "rehearse", "--tune", "--fault", "heater-dead@0s")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, wrong, "--fault")
}
