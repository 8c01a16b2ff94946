package profile

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// dryFile is a sausage that is fermented and dried, with something else in its place.
func dryFile(old, with string) []byte {
	const text = `product: Trial
shape: {form: cylinder, diameter: 40 mm, length: 250 mm, casing: fibrous}
species: red meat
process: fermented and dried
pack: vacuum
formula:
  cut:
    - ` + pork + `
  cure: {name: mix, mass: 9.8 g, nitrite: 6.25 %, method: comminuted}
stages:
  - {name: ferment, chamber: 24 °C, until: {after: 36 h, pH: 5.2}, within: 60 h}
  - {name: dry, heater: off, place: room, until: {weight: 66 %}}
  - {name: measure, heater: off, place: room, until: {water activity: 0.9}}
  - {name: pack, heater: off, place: room, until: {confirm: Pack it}}
`
	return []byte(strings.Replace(text, old, with, 1))
}

func TestFermentedAndDried(t *testing.T) {
	p, err := Parse("trial.yaml", dryFile("", ""))
	require.NoError(t, err)
	assert.Equal(t, FermentedAndDried, p.Process)
	assert.True(t, p.Vacuum)
	assert.False(t, p.Cooked())
	assert.False(t, p.ComeUpApplies(), "it goes by degree-hours")
	for _, c := range []struct {
		what  Measured
		stage int
		most  float64
		asks  string
	}{{SourTo, 0, 5.2, "Measure the pH in the middle of three sausages with a calibrated meter and write it down: none is above 5.2"},
		{DriedTo, 1, .66, "none is above 66 % of what it weighed when it was hung"}, {WaterActivity, 2, .9, "none is above 0.9"}} {
		stage, most, ok := p.MeasuredBy(c.what)
		assert.True(t, ok)
		assert.Equal(t, c.stage, stage)
		assert.InDelta(t, c.most, most, 1e-9)
		conditions := p.Stages[stage].Until.Conditions
		last := conditions[len(conditions)-1]
		assert.Equal(t, Confirmed, last.Kind, "a person's word, in the record")
		assert.Contains(t, last.Confirm, c.asks)
	}
	for name, c := range map[string]struct{ old, with, want string }{
		"no pH":           {", pH: 5.2", "", "trial.yaml:4:10: process: no stage waits for the pH, without which nothing is shown; add pH: 5.3 to the until of the fermenting stage"},
		"sour too late":   {"pH: 5.2", "pH: 5.4", "above it Staphylococcus aureus still grows (FSIS-GD-2023-0002, as quoted)"},
		"a core":          {"pack: vacuum", "targets: {core: 71 °C}", "core: what is fermented and dried is not cooked and claims none"},
		"in any":          {"{after: 36 h, pH: 5.2}", "{any: [{after: 36 h}, {pH: 5.2}]}", "what is measured decides, and cannot stand beside another end"},
		"last":            {"{confirm: Pack it}", "{water activity: 0.85}", "until: the last stage waits for water activity, and nothing would show that it came; add a stage after it"},
		"rubbed":          {"method: comminuted", "method: dry rubbed", "the rules are for minced meat"},
		"in a room":       {"name: ferment, chamber: 24 °C,", "name: ferment, heater: off, place: room,", "until the pH is measured the sausage must hang in the chamber"},
		"fish":            {"red meat", "fish", "the rules are for sausage of meat"},
		"packed for none": {"process: fermented and dried\n", "", "pack: only the rules on sausage that is fermented and dried ask for it here"},
		"too dry":         {"weight: 66 %", "weight: 20 %", "weight: 20 %"},
	} {
		_, err := Parse("trial.yaml", dryFile(c.old, c.with))
		assert.ErrorContains(t, err, c.want, name)
	}
}
