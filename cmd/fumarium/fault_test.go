package main

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/sim/fault"
)

func TestRehearseWithFaults(t *testing.T) {
	status, out, _ := call(t, "rehearse", "caraway-sticks", "--json", "--fault", "core-open@3h+2m", "--fault", "ambient-step@2h=-15K")
	assert.Equal(t, exitGood, status)
	var r struct {
		Outcome string
		Alarms  []struct{ Code string }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	assert.Equal(t, "complete", r.Outcome)
	require.NotEmpty(t, r.Alarms)
	assert.Equal(t, "core-lost", r.Alarms[0].Code)

	// As warm as its board, it may be another probe since, of another type.
	status, _, _ = call(t, "rehearse", "caraway-sticks", "--fault", "core-open@1h10m+2m")
	assert.Equal(t, exitBad, status)

	status, out, _ = call(t, "rehearse", "caraway-sticks", "--fault", "chamber-open@1h")
	assert.Equal(t, exitBad, status)
	assert.Contains(t, out, "with the fault chamber-open@1h")
	assert.Contains(t, out, "held by the trip chamber-lost")
}

func TestRehearseFaultMistakes(t *testing.T) {
	status, _, errs := call(t, "rehearse", "--fault", "gremlin@1h")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errs, "core-open@1h10m+2m", "an example")
	status, out, _ := call(t, "rehearse", "--help")
	assert.Equal(t, exitGood, status)
	for _, k := range fault.All() {
		assert.Contains(t, out, k.String())
	}
	shown := regexp.MustCompile(`\S+@\S+`).FindAllString(strings.NewReplacer("KIND@TIME[+DURATION][=VALUE]", "", "FILE.png@TIME", "").Replace(out), -1)
	assert.GreaterOrEqual(t, len(shown), 3)
	for _, spec := range shown {
		_, err := fault.Parse(strings.TrimRight(spec, ".,;"))
		assert.NoError(t, err, "an example of the help")
	}
}
