package profile

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/lethality"
)

// file is a product of one or two cuts with what else is to be in it.
func file(species, more string, cuts ...string) []byte {
	list := ""
	for _, c := range cuts {
		list += "    - " + c + "\n"
	}
	return fmt.Appendf(nil, `product: Trial
shape: {form: cylinder, diameter: 40 mm, length: 250 mm, casing: collagen}
species: %s
formula:
  cut:
%s%s
stages:
  - {name: cook, chamber: 80 °C, until: {core: 71 °C}}
`, species, list, more)
}

const (
	chicken = "{name: Chicken breast, mass: 4 kg, water: 75 %, protein: 23 %, fat: 1 %}"
	skin    = "{name: chicken skin, mass: 400 g, water: 50 %, protein: 12 %, fat: 37 %}"
	turkey  = "{name: turkey thighs, mass: 1 kg, water: 74 %, protein: 20 %, fat: 5 %}"
	duck    = "{name: duck legs, mass: 1 kg, water: 70 %, protein: 18 %, fat: 11 %}"
	pork    = "{name: pork shoulder, mass: 4 kg, water: 66 %, protein: 18 %, fat: 15 %}"
	legs    = "{name: thighs, mass: 4 kg, water: 74 %, protein: 20 %, fat: 5 %}"
)

// TestAnyPoultryIsPoultry: with any poultry in it, a product goes by the poultry standard of
// 7 log10; one bird by its own table, others and mixes by the longer one, 12 % fat unless it
// is known to be lean (FSIS Cooking Guideline 2021, pp. 18-20, 35-39).
func TestAnyPoultryIsPoultry(t *testing.T) {
	table := lethality.PoultryCriterion
	for _, c := range []struct {
		species string
		cuts    []string
		want    *lethality.Criterion
	}{
		{"poultry", []string{chicken}, table(lethality.Chicken, true)},
		{"poultry", []string{chicken, skin}, table(lethality.Chicken, false)},
		{"poultry", []string{turkey}, table(lethality.Turkey, false)},
		{"poultry", []string{chicken, turkey}, table(lethality.AnyBird, false)},
		{"poultry", []string{duck}, table(lethality.AnyBird, false)},
		{"poultry", []string{chicken, duck}, table(lethality.AnyBird, false)},
		{"poultry", []string{chicken, pork}, table(lethality.AnyBird, false)},
		{"poultry", []string{legs}, table(lethality.AnyBird, false)},
		{"red meat", []string{pork}, lethality.RedMeatCriterion()},
		{"red meat", []string{pork, turkey}, table(lethality.AnyBird, false)},
		{"red meat", []string{chicken}, table(lethality.Chicken, true)},
		{"game", []string{pork, duck}, table(lethality.AnyBird, false)},
		{"game", []string{pork}, lethality.GameCriterion()},
	} {
		p, err := Parse("trial.yaml", file(c.species, "targets: {core: 71 °C}", c.cuts...))
		require.NoError(t, err)
		assert.Same(t, c.want, p.Criterion(), "%s of %v is %s", c.species, c.cuts, p.Criterion().Name)
	}
}

// TestAFileCannotAskForLess: the lethality of the species is a floor. A file may ask for
// more, or name another process.
func TestAFileCannotAskForLess(t *testing.T) {
	for _, c := range []struct {
		species, more, cut, want string
	}{
		{"red meat", "targets: {lethality: 6.5}", pork, ""},
		{"red meat", "targets: {lethality: 9}", pork, ""},
		{"red meat", "targets: {lethality: 3}", pork, "trial.yaml:7:11: lethality: red meat must reach 6.5 log10, and 3 is less; write 6.5 or more, leave it out, or name another process"},
		{"poultry", "targets: {lethality: 6.5}", chicken, "must reach 7 log10, and 6.5 is less"},
		{"red meat", "targets: {lethality: 6.5}", turkey, "a product with poultry in it must reach 7 log10"},
		{"red meat", "process: not ready to eat\ntargets: {core: 40 °C}", pork, ""},
		{"red meat", "process: not ready to eat\ntargets: {lethality: 3}", pork, "claims no lethality"},
		{"red meat", "process: prayer", pork, "use cooked, not ready to eat, cold smoked or fermented and dried"},
		{"dairy", "", pork, "trial.yaml:3:10: species: the cut \"pork shoulder\" is red meat or game"},
		{"fish", "", chicken, "is poultry"},
	} {
		data := file(c.species, c.more, c.cut)
		p, err := Parse("trial.yaml", data)
		if c.want != "" {
			assert.ErrorContains(t, err, c.want)
			if !strings.Contains(c.more, "prayer") {
				_, err = ParseRecorded("trial.yaml", data)
				assert.NoError(t, err, "a batch may have gone by it")
			}
			continue
		}
		require.NoError(t, err, c.more)
		assert.Equal(t, p.Process == FullyCooked, p.Criterion() != nil)
		assert.True(t, p.ComeUpApplies(), "a low core or another process is no way round the come-up")
	}
	low, err := Parse("trial.yaml", file("red meat", "targets: {core: 50 °C}", pork))
	require.NoError(t, err)
	assert.Same(t, lethality.RedMeatCriterion(), low.Criterion(), "a core of 50 °C is no lower standard")
}

// However little poultry there is, its standard counts (FSIS Cooking Guideline 2021, pp. 18-20):
// no part of a bird hides among the other ingredients. A mix of herbs of that name is none.
func TestNoPoultryAmongTheRest(t *testing.T) {
	with := func(item string) []byte { return hotFile("targets:", "  other:\n    - "+item+"\ntargets:") }
	for item, refused := range map[string]bool{
		"{name: chicken skin, mass: 200 g, as: fat}": true, "{name: duck fat, mass: 200 g, as: fat}": true, "{name: minced turkey liver, mass: 100 g}": true,
		"{name: chicken trimmings, mass: 100 g, as: binder}": true, "{name: poultry seasoning, mass: 5 g}": false, "{name: pork fat, mass: 100 g, as: fat}": false,
	} {
		data := with(item)
		_, err := Parse("trial.yaml", data)
		if refused {
			assert.ErrorContains(t, err, "is poultry, and would not be held to its standard here", item)
			_, err = ParseRecorded("trial.yaml", data)
		}
		assert.NoError(t, err, item)
	}
}
