package main

import (
	"encoding/json"
	"net/http"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/proof"
)

// A product that ends by the clock alone: nothing shows that it was cooked.
const unshown = `product: Quick links
source: Made up for a test; common practice, no source
shape: {form: cylinder, diameter: 20 mm, length: 150 mm, casing: collagen}
species: red meat
formula:
  cut: [{name: shoulder, mass: 2 kg, water: 68 %, protein: 19 %, fat: 12 %}]
  other: [{name: salt, mass: 36 g, as: salt}]
targets: {core: 71 °C, lethality: 6.5, chill: uncured}
stages:
  - {name: warm, chamber: 60 °C, until: {after: 10 min}}
  - {name: rest, heater: off, place: cold room, until: {after: 10 min}}
`

// Five times the cure: 750 ppm of nitrite, where 9 CFR 424.21(c) allows 156.
const poisoned = `product: Poisoned links
source: Made up for a test; common practice, no source
shape: {form: cylinder, diameter: 20 mm, length: 150 mm, casing: collagen}
species: red meat
formula:
  cut: [{name: shoulder, mass: 5 kg, water: 68 %, protein: 19 %, fat: 12 %}]
  cure: {name: cure no. 1, mass: 60 g, nitrite: 6.25 %, method: comminuted, rest: 12 h}
  other: [{name: salt, mass: 60 g, as: salt}]
targets: {core: 71 °C, lethality: 6.5, chill: cured}
stages:
  - {name: cook, chamber: 82 °C, until: {core: 71 °C, lethality: 6.5}, within: 5 h}
  - {name: chill, heater: off, ask: Into the ice water, until: {core: 4 °C}, within: 2 h}
`

// What check calls an error is not started, sheeted or rehearsed as good, whatever reason is
// given: too much nitrite, and the slow way of chilling without the cure that it asks for.
func TestErrorsStartNowhere(t *testing.T) {
	uncured := strings.Replace(unshown, "chill: uncured", "chill: cured", 1)
	d := startDaemon(t, "--cabinet", "plywood-cabinet", "--pace", "100")
	for code, text := range map[string]string{"nitrite-high": poisoned, "chill-cure": uncured} {
		name := file(t, "product.yaml", text)
		for _, args := range [][]string{{"check", name}, {"sheet", name}, {"rehearse", name}} {
			status, out, errText := call(t, args...)
			assert.Equal(t, exitBad, status, "%v: %s%s", args, out, errText)
		}
		status, out, _ := call(t, "check", name)
		assert.Contains(t, out, code, status)
		for _, reason := range [][]string{nil, {"--reason", "it has always been so"}} {
			status, _, errText := d.client(append([]string{"start", name, "--stuffed", "40h"}, reason...)...)
			assert.Equal(t, exitBad, status)
			assert.Contains(t, errText, "error: product.yaml:")
			assert.Contains(t, errText, code)
			assert.NotContains(t, errText, "--reason", "none would help")
		}
	}
	assert.Equal(t, "idle", d.status().State)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
}

// Advice wants a reason, which goes on the record with it; and a batch that completes without
// its lethality is complete and not good, wherever anybody looks.
func TestABatchWithoutItsLethalityIsNotGood(t *testing.T) {
	d := startDaemon(t, "--cabinet", "plywood-cabinet", "--pace", "2000")
	name := file(t, "quick.yaml", unshown)
	status, _, errText := d.client("start", name)
	assert.Equal(t, exitBad, status)
	assert.Contains(t, errText, "check has advice on this product")
	assert.Contains(t, errText, "advice: quick.yaml:1:1: core-low")
	assert.Contains(t, errText, "--reason TEXT")
	status, out, errText := d.client("start", name, "--reason", "a trial without meat")
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, "on record advice: quick.yaml:1:1: core-low")
	d.line("batch complete")
	d.line("complete, not good: cooked not met")

	s := d.status() // and its exit status
	require.NotNil(t, s.Good)
	assert.False(t, *s.Good)
	assert.Contains(t, *s.Ending, "complete, not good: cooked not met: 0.0 log10 counted, 6.5 required")
	assert.Contains(t, s.Summary, "Complete after 20 min, NOT good")
	code, out, _ := d.client("status")
	assert.Equal(t, exitBad, code)
	assert.Contains(t, out, "ending    complete, not good")
	answered, metrics := d.get("/metrics")
	assert.Equal(t, http.StatusOK, answered)
	assert.Contains(t, metrics, "\nfumarium_batch_good 0\n")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))

	status, out, errText = call(t, "batches", "sim-", "--simulated", "--state", d.state, "--json")
	assert.Equal(t, exitBad, status, errText)
	var b shownBatch
	require.NoError(t, json.Unmarshal([]byte(out), &b))
	require.NotNil(t, b.Good)
	assert.False(t, *b.Good)
	assert.Equal(t, *s.Ending, b.Ending)
	require.Len(t, b.Notes, 1)
	assert.Equal(t, shownNote{b.Notes[0].Time, "fumarium", *s.Ending, ""}, b.Notes[0])
	assert.Contains(t, b.Commands[0].Reason, "a trial without meat (despite: advice: quick.yaml:1:1: core-low")

	// The rehearsal says the same of it.
	status, out, _ = call(t, "rehearse", name)
	assert.Equal(t, exitBad, status)
	assert.Contains(t, out, "complete, NOT good, after 20 min")
	assert.Contains(t, out, "check, advice: "+name+":1:1: core-low")
}

// What is set with FUMARIUM_JURISDICTION reaches the verdict of a product that names no
// place: 120 ppm of sodium nitrite is shown in the US (9 CFR 424.21(c): 156 ppm), and in the
// EU (Regulation (EU) 2023/2108) only an analysis shows what is left while it is sold. It
// stays that of the batch, whatever is set when the record is read.
func TestTheVerdictGoesByThePlaceThatIsSet(t *testing.T) {
	cured := strings.Replace(unshown, "  other:", "  cure: {name: cure no. 1, mass: 3.84 g, nitrite: 6.25 %, method: comminuted, rest: 12 h}\n  other:", 1)
	name := file(t, "cured.yaml", cured)
	for place, want := range map[string]string{"EU": "not shown", "US": "met"} {
		d := launchDaemon(t, t.TempDir(), []string{jurisdictionVariable + "=" + place}, "--cabinet", "plywood-cabinet", "--pace", "2000")
		d.answers()
		d.steps()
		status, _, errText := d.client("start", name, "--stuffed", "40h", "--reason", "a trial without meat")
		require.Equal(t, exitGood, status, errText)
		d.line("batch complete")
		d.line("complete, not good: cooked not met")
		rules := d.status().Rules
		assert.Equal(t, "formula", rules[proof.Formula].Rule)
		assert.Equal(t, want, rules[proof.Formula].Answer, rules[proof.Formula].Why)
		assert.Contains(t, rules[proof.Formula].Why, "by the rules of "+place)
		assert.Equal(t, exitGood, d.end(syscall.SIGTERM))

		t.Setenv(jurisdictionVariable, "US")
		_, out, _ := call(t, "replay", "sim-", "--simulated", "--state", d.state)
		assert.Contains(t, out, "by the rules of "+place)
		_, page := theFile(t, reportOf(t, exitBad, d.state), "*.html")
		assert.Contains(t, page, "Rules of: "+place, "the formula beside the verdict is held to the same")

		t.Setenv(jurisdictionVariable, place)
		setup, err := (&rehearseOptions{cabinet: "plywood-cabinet", runs: 1}).setup(name)
		require.NoError(t, err)
		assert.Equal(t, place, setup.Where.String(), "the rehearsal is told as well")
	}
}
