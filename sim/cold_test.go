package sim

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/proof"
)

// rehearsed is a shipped product with something else in its file.
func rehearsed(t *testing.T, name string, where profile.Jurisdiction, changes ...string) *Result {
	item, err := catalog.Find(name)
	require.NoError(t, err)
	p, err := profile.Parse(item.File, []byte(strings.NewReplacer(changes...).Replace(string(item.Data))))
	require.NoError(t, err)
	box, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	r, err := Rehearse(t.Context(), Setup{Product: p, Cabinet: box.Value, Seed: 1, Where: where}, nil, nil)
	require.NoError(t, err)
	return r
}

// Thighs that are served hot need no chill; what is uncured is counted by its core, and not by
// what the chamber is set to.
func TestServedHot(t *testing.T) {
	const chill = "  - name: chill\n    heater: off\n    place: ice water\n"
	data, err := catalog.Find("hayloft-chicken")
	require.NoError(t, err)
	at := strings.Index(string(data.Data), chill)
	require.Positive(t, at)
	r := rehearsed(t, "hayloft-chicken", profile.UnitedStates, string(data.Data[at:]),
		"  - {name: serve, chamber: 65 °C, ask: Carve them, until: {eaten: All of it is eaten}}\n", "chill: uncured", "chill: served hot")
	j := r.Verdict[proof.Chilled]
	assert.Equal(t, proof.Met, j.Answer, j.Why)
	assert.Contains(t, j.Why, "a person said that it was eaten, the simulated one")
	assert.Equal(t, "served hot", r.Chill.Rule)
	assert.Empty(t, r.Chill.Legs)
	j = r.Verdict[proof.Process]
	assert.Equal(t, proof.Met, j.Answer, j.Why)

	// The same thighs smoked for three hours at 50 °C before they are cooked.
	r = rehearsed(t, "hayloft-chicken", profile.UnitedStates, "chamber: 73 °C", "chamber: 50 °C", "{after: 40 min}", "{after: 3 h}")
	j = r.Verdict[proof.Process]
	assert.Equal(t, proof.NotMet, j.Answer, j.Why)
	assert.False(t, r.AsPlanned())
}

// A ring of sausage in ice water keeps the rule of each place; the place is said.
func TestCoolingByPlace(t *testing.T) {
	for where, rule := range map[profile.Jurisdiction]string{profile.Canada: "Canada, cured", profile.AustraliaNewZealand: "SCARM, cured"} {
		r := rehearsed(t, "marjoram-ring", where)
		assert.Equal(t, rule, r.Chill.Rule)
		assert.Equal(t, proof.Met, r.Verdict[proof.Chilled].Answer, r.Verdict[proof.Chilled].Why)
		if where == profile.AustraliaNewZealand {
			require.Len(t, r.Chill.Legs, 3)
			assert.Nil(t, r.Chill.Legs[0].FromCelsius, "from the end of the cook")
		}
	}
}
