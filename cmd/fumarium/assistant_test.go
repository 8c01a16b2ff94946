package main

import (
	"flag"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/assistant"
	"fumarium/sim"
)

var wholeAssistant = flag.Bool("assistant-whole", false, "check every combination that the product assistant offers, instead of every so manieth")

// eachChoice walks all that the assistant offers.
func eachChoice(each func(assistant.Choice)) {
	c := assistant.Choice{Name: "Trial", Mass: "3 kg"}
	for _, k := range assistant.Kinds {
		c.Kind = k
		for _, meat := range assistant.OffersFor(c).Meats {
			c.Meat, c.Fat = meat.Key, ""
			for _, fat := range assistant.OffersFor(c).Fats {
				c.Fat = fat.Key
				o := assistant.OffersFor(c)
				for _, place := range o.Places {
					c.Place = place.Key
					for _, cure := range assistant.OffersFor(c).Cures {
						for _, lean := range o.Percents {
							for _, casing := range o.Casings {
								for _, core := range o.Cores {
									c.Percent, c.Casing, c.Cure, c.Core = lean.Key, casing.Key, cure.Key, core.Key
									each(c)
								}
							}
						}
					}
				}
			}
		}
	}
}

// Every so manieth of all that the assistant offers, or all of it, passes check in the place
// that was chosen: parser, lint, the formula by the rules of the place, and so the gate. A
// few of them are rehearsed: each comes to its end and is good, without an alarm.
func TestEveryOfferPassesCheck(t *testing.T) {
	long(t)
	home, err := findCabinet(defaultCabinet)
	require.NoError(t, err)
	every, rehearse := map[assistant.Kind]int{assistant.Sausage: 61, assistant.Piece: 5, assistant.Sides: 2}, 97
	if *wholeAssistant {
		every, rehearse = map[assistant.Kind]int{assistant.Sausage: 1, assistant.Piece: 1, assistant.Sides: 1}, 401
	}
	masses := []string{"3 kg", "0.5 kg", "11 lb 4 oz", "200 kg"}
	n, tried, rehearsed := 0, 0, 0
	used := map[string]bool{}
	eachChoice(func(c assistant.Choice) {
		if n++; n%every[c.Kind] != 0 {
			return
		}
		c.Mass = masses[tried%len(masses)]
		tried++
		for _, f := range c.Fields() {
			used[f.Key+" "+*f.Value] = true
		}
		text, err := assistant.Write(c)
		require.NoError(t, err, "%v", c)
		p, found := judge(home, profile.NoJurisdiction)("x.yaml", []byte(text))
		if !assert.Empty(t, found, "%v\n%s", c, text) {
			return
		}
		assert.Equal(t, c.Place, p.Jurisdiction.String())
		if tried%rehearse != 1 && (c.Kind == assistant.Sausage || tried%13 != 1) && !(*wholeAssistant && c.Kind == assistant.Sides) {
			return
		}
		rehearsed++
		r, err := sim.Rehearse(t.Context(), sim.Setup{Product: p, Cabinet: home, Load: min(p.Formula.Mass(), 6), Seed: uint64(tried), Answer: 2 * time.Minute, Examine: true}, nil, nil)
		require.NoError(t, err)
		assert.True(t, r.Good() && r.AsPlanned(), "%v: %s %s", c, r.Outcome, r.Reason)
		assert.Empty(t, r.Alarms, "%v", c)
		assert.Empty(t, r.Doubts, "%v", c)
	})
	t.Logf("%d offered, %d checked, %d rehearsed", n, tried, rehearsed)
	assert.Greater(t, n, 50000)
	assert.GreaterOrEqual(t, rehearsed, 6)
	c := assistant.Choice{}
	for _, k := range assistant.Kinds { // nothing that is offered was left out
		c.Kind = k
		o := assistant.OffersFor(c)
		for key, offers := range map[string][]assistant.Offer{"kind": o.Kinds, "meat": o.Meats, "casing": o.Casings, "cure": o.Cures, "place": o.Places} {
			for _, one := range offers {
				assert.True(t, used[key+" "+one.Key], "%s %s was never tried", key, one.Key)
			}
		}
	}
}

// By flags, and by asking: the same choices write the same file. What cannot be made so is
// refused with the reason, and nothing is written over.
func TestProductsNew(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	flags := []string{"--name", "Beech links", "--kind", "sausage", "--place", "EU", "--meat", "pork-shoulder-lean", "--fat", "pork-back-fat", "--percent", "25",
		"--casing", "hog-32", "--cure", "no-1", "--core", "70", "--mass", "3kg"}
	new := func(more ...string) (int, string, string) {
		return call(t, append(append([]string{"products", "new"}, flags...), more...)...)
	}
	status, out, errText := new()
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, "kept as beech-links")
	_, text, _ := call(t, "products", "--show", "beech-links")
	assert.Contains(t, text, "# USDA SR24 10072 Pork, fresh, shoulder, whole, separable lean only, raw")
	status, out, errText = new("--out", "-")
	require.Equal(t, exitGood, status, errText)
	assert.Contains(t, text, out)
	status, _, errText = call(t, "rehearse", "beech-links")
	assert.Equal(t, exitGood, status, errText)

	var c assistant.Choice
	var said strings.Builder
	answers := "Beech links\n9\nsausage\nEU\npork-shoulder-lean\npork-back-fat\n25\nhog-32\nno-1\n70\n3kg\n"
	require.NoError(t, complete(&c, strings.NewReader(answers), &said, true))
	asked, err := assistant.Write(c)
	require.NoError(t, err)
	assert.Equal(t, out, asked)
	assert.Contains(t, said.String(), "that is none of them")
	assert.Contains(t, said.String(), "pork back fat  (USDA SR24 10004 Pork, fresh, backfat, raw)")
	assert.Error(t, complete(&assistant.Choice{}, strings.NewReader("Beech links\nsausage\n"), &said, true), "it ends")

	name := filepath.Join(t.TempDir(), "x.yaml")
	status, _, errText = new("--out", name)
	assert.Equal(t, exitGood, status, errText)
	status, _, errText = new("--out", name)
	assert.Equal(t, exitBad, status)
	assert.Contains(t, errText, "nothing was written")
	status, _, errText = new("--mass", "4kg")
	assert.Equal(t, exitBad, status, "another product is kept under the name")
	assert.Contains(t, errText, "kept already")

	for _, refused := range []struct{ flags, why string }{
		{"--casing bare", "its surface stays dry"}, {"--kind piece --meat pork-loin-lean --fat none --percent none --casing fibrous-65 --cure none", "not safe without nitrite"},
		{"--place US --cure curing-salt", "is not offered"}, {"--percent 99", "take one of 15, 20, 25, 30"}, {"--name a:b", "no name"}, {"--mass 1g", "outside"},
	} {
		status, out, errText = new(append(strings.Fields(refused.flags), "--out", "-")...)
		assert.Equal(t, exitBad, status, refused.flags)
		assert.Contains(t, errText, refused.why)
		assert.Empty(t, out)
	}
	status, _, errText = call(t, "products", "new", "--name", "X", "--kind", "sides")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errText, "--meat is missing; take one of trout, salmon, whitefish")
}
