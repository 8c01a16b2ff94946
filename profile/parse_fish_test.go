package profile

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/fish"
	"fumarium/profile/quantity"
)

const (
	side = "{name: salmon side, mass: 2 kg, water: 68 %, protein: 20 %, fat: 11 %}"
)

// fishFile is a fish product that is smoked at so much.
func fishFile(chamber, more string) []byte {
	return []byte(`product: Trial
shape: {form: slab, thickness: 20 mm, length: 250 mm, width: 100 mm}
species: fish
formula:
  cut:
    - ` + side + `
` + more + `
stages:
  - {name: smoke, chamber: ` + chamber + `, until: {after: 6 h}}
`)
}

func TestFishFacts(t *testing.T) {
	p, err := Parse("trial.yaml", fishFile("24 °C", `process: cold smoked
fish: {kind: mackerel, parasites: {frozen: -35 °C, then: -20 °C, for: 24 h}, loin: {salt: 2.5 %, water: 68 %, nitrite: 120 ppm}, pack: vacuum, keep: 38 °F, histamine: 15 mg/kg}`))
	require.NoError(t, err)
	assert.Equal(t, ColdSmoked, p.Process)
	assert.Equal(t, FishFacts{Kind: fish.Mackerel, Parasites: fish.Frozen, Freezing: fish.Freezing{To: -35, Kept: -20, For: 24 * time.Hour},
		Loin: Loin{Measured: true, Salt: .025, Water: .68, NitritePPM: 120}, Packed: fish.InVacuum, HasKeep: true, Keep: quantity.FromFahrenheit(38), HasHistamine: true, Histamine: 15}, p.Fish)
	assert.False(t, p.Cooked())
	assert.Nil(t, p.Criterion())
	assert.False(t, p.ComeUpApplies())

	p, err = Parse("trial.yaml", fishFile("24 °C", "process: cold smoked\nfish: {parasites: farmed on pellets}"))
	require.NoError(t, err)
	assert.Equal(t, fish.Farmed, p.Fish.Parasites)
	assert.Equal(t, fish.Salmon, p.FishKind(), "by the name of its cut")
}

func TestFishFactsThatAreRefused(t *testing.T) {
	for name, c := range map[string]struct{ chamber, more, want string }{
		"too warm":      {"40 °C", "process: cold smoked", "trial.yaml:9:19: chamber: 40 °C is too warm to smoke fish cold, the limit is 32.2 °C; keep the chamber at most 32.2 °C for 20 h, or 10 °C for 24 h (Maine ch. 359), or cook it"},
		"a core":        {"24 °C", "process: cold smoked\ntargets: {core: 63 °C}", "core: fish that is smoked cold is raw and claims none; remove it, or write process: cooked"},
		"short":         {"24 °C", "fish: {parasites: {frozen: -20 °C, for: 100 h}}", "trial.yaml:7:36: for: -20 °C for 100 h kills no parasite for certain; freeze it -20 °C or colder for 168 h, -35 °C"},
		"a home's":      {"24 °C", "fish: {parasites: {frozen: -18 °C, for: 500 h}}", "-18 °C for 500 h kills no parasite for certain"},
		"a word":        {"24 °C", "fish: {parasites: prayed for}", "use farmed on pellets, exempt tuna or rinsed roe"},
		"no tuna":       {"24 °C", "fish: {kind: mackerel, parasites: exempt tuna}", "parasites: the fish is not named as tuna but as mackerel; write kind: tuna if"},
		"spoilt":        {"24 °C", "fish: {kind: mackerel, histamine: 60 ppm}", "throw it away (FDA CPG 540.525)"},
		"no unit":       {"24 °C", "fish: {histamine: 60}", "write it in ppm or mg/kg"},
		"warm store":    {"24 °C", "fish: {keep: 5 °C}", "smoked fish is kept at 38 °F or colder (Michigan R 285.569; Maine ch. 359)"},
		"too much":      {"24 °C", "fish: {loin: {salt: 60 %, water: 68 %}}", "salt and water add up to 128 % of the loin"},
		"no water":      {"24 °C", "fish: {loin: {salt: 2.4 %}}", "loin needs the key water"},
		"unknown fish":  {"24 °C", "fish: {kind: mermaid}", `"mermaid" is not known`},
		"unknown key":   {"24 °C", "fish: {parasite: frozen}", `fish has no key "parasite"; did you mean parasites?`},
		"unknown store": {"24 °C", "fish: {pack: paper}", "use air or vacuum"},
	} {
		_, err := Parse("trial.yaml", fishFile(c.chamber, c.more))
		assert.ErrorContains(t, err, c.want, name)
	}
	_, err := Parse("trial.yaml", file("red meat", "fish: {pack: air}", pork))
	assert.ErrorContains(t, err, "fish: the product is no fish; remove it, or write species: fish")
	_, err = Parse("trial.yaml", file("red meat", "process: cold smoked", pork))
	assert.ErrorContains(t, err, "process: only fish is smoked cold")
}
