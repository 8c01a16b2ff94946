package profile

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// hotFile is a supper that is served hot, with something else in its place.
func hotFile(old, with string) []byte {
	const text = `product: Trial
shape: {form: slab, thickness: 26 mm, length: 130 mm, width: 90 mm}
species: red meat
formula:
  cut:
    - ` + pork + `
targets: {core: 71 °C, chill: served hot}
stages:
  - {name: cook, chamber: 88 °C, until: {core: 71 °C}}
  - {name: serve, chamber: 65 °C, until: {eaten: All of it is eaten}}
`
	return []byte(strings.Replace(text, old, with, 1))
}

// A product that is served hot waits in its last stage for the word of a person that it was
// eaten; nothing else may.
func TestServedHot(t *testing.T) {
	p, err := Parse("trial.yaml", hotFile("", ""))
	require.NoError(t, err)
	assert.Equal(t, ServedHot, p.Targets.Chill)
	assert.Equal(t, "served hot", p.Targets.Chill.String())
	stage, _, ok := p.MeasuredBy(Eaten)
	assert.True(t, ok && stage == 1)
	assert.Equal(t, "All of it is eaten", p.Stages[1].Until.Conditions[0].Confirm)
	assert.Nil(t, p.ChillRule(UnitedStates))
	for name, c := range map[string]struct{ old, with, want string }{
		"nobody asks":    {"eaten:", "confirm:", "no stage ends with the word of a person that it was eaten"},
		"is chilled":     {"served hot", "uncured", "it waits until all is eaten, and the product is not served hot"},
		"goes on":        {"- {name: cook", "- {name: early, chamber: 65 °C, until: {eaten: All of it is eaten}}\n  - {name: cook", "it waits until all is eaten, and a stage follows"},
		"is not cooked":  {"species:", "process: not ready to eat\nspecies:", "only what is cooked can be served hot"},
		"or time passes": {"{eaten: All of it is eaten}", "{any: [{after: 1 h}, {eaten: All of it is eaten}]}", "what is measured decides, and cannot stand beside another end"},
	} {
		data := hotFile(c.old, c.with)
		_, err := Parse("trial.yaml", data)
		assert.ErrorContains(t, err, c.want, name)
	}
}

// Muscle in one piece is what the Canadian manual means by intact: not ground, pumped, tumbled
// or stuffed.
func TestIntact(t *testing.T) {
	for text, want := range map[string]bool{
		"": true,
		"  cure: {name: mix, mass: 5 g, nitrite: 6.25 %, method: dry rubbed, rest: 7 d}\n": true,
		"  cure: {name: mix, mass: 5 g, nitrite: 6.25 %, method: pumped}\n":                false,
		"  cure: {name: mix, mass: 5 g, nitrite: 6.25 %, method: comminuted}\n":            false,
	} {
		p, err := Parse("trial.yaml", hotFile("targets:", text+"targets:"))
		require.NoError(t, err, text)
		assert.Equal(t, want, p.Intact(), text)
	}
	p, err := Parse("trial.yaml", hotFile("width: 90 mm", "width: 90 mm, casing: net"))
	require.NoError(t, err)
	assert.False(t, p.Intact(), "several pieces may be tied together")
}
