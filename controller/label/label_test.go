package label_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/label"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

func source(t *testing.T, product string, entries ...weighed.Entry) *label.Source {
	e, err := catalog.Find(product)
	require.NoError(t, err)
	s := &label.Source{Batch: "2026-11-28-1", World: "real", Head: strings.Repeat("ab", 32), Over: true, Good: true, Ending: "complete and good", Product: e.Value}
	if len(entries) > 0 {
		tally := weighed.Of(e.Value, profile.UnitedStates, entries)
		s.Tally = &tally
	}
	return s
}

func made(t *testing.T, s *label.Source) *label.Label {
	l, err := label.Make(s)
	require.NoError(t, err)
	return l
}

// Regulation (EU) 1169/2011, Article 18: in descending order of weight, as recorded at the
// time of their use.
func TestIngredientsInOrderOfMass(t *testing.T) {
	l := made(t, source(t, "marjoram-ring"))
	assert.Equal(t, "pork shoulder, pork back fat, crushed ice, potato starch, salt, cure no. 1 (salt, sodium nitrite), white pepper, marjoram, sodium erythorbate, natural casing", l.List())
	l = made(t, source(t, "marjoram-ring", weighed.Entry{What: "marjoram", Mass: .5, Known: true}))
	assert.Contains(t, l.List(), "pork back fat, marjoram, crushed ice", "as it was weighed")
	l = made(t, source(t, "juniper-ham"))
	assert.True(t, strings.HasPrefix(l.List(), "fresh ham, "), l.List())
	for _, i := range l.Ingredients[1:] {
		assert.Less(t, i.Kilograms, l.Ingredients[0].Kilograms/5, "of a pickle what is taken up: %s", i.Name)
	}
}

// The fourteen of Regulation (EU) 1169/2011, Annex II, each by a name that tells it, and
// names that only look like one.
func TestAllergensAreMarked(t *testing.T) {
	for name, want := range map[string]string{
		"wheat flour": "wheat", "rye meal": "rye", "barley malt": "barley", "oat bran": "oats", "shrimps": "crustaceans", "egg white": "egg", "anchovy paste": "fish",
		"peanuts": "peanut", "soy sauce": "soy", "dried skimmed milk": "milk", "hazelnuts": "nuts", "celery seed": "celery", "mustard seed": "mustard",
		"sesame": "sesame", "sodium metabisulphite": "sulphites", "lupin meal": "lupin", "squid": "molluscs", "mustard and celery": "celery, mustard",
		"nutmeg": "", "coconut milk": "", "potato flour": "", "eggplant": "", "gammon": "", "butternut": "", "salt": "",
	} {
		p := &profile.Product{Name: "x", Formula: profile.Formula{Cut: []profile.Meat{{Name: "pork", Mass: 1}}, Other: []profile.Ingredient{{Name: name, Mass: .1}}}}
		l := made(t, &label.Source{Batch: "b", Over: true, Good: true, Product: p})
		assert.Equal(t, want, l.Ingredients[1].Allergens, name)
		if want != "" {
			assert.Contains(t, l.List(), "["+strings.ToUpper(want)+"]")
		}
	}
	s := source(t, "dill-trout-sides")
	assert.Contains(t, made(t, s).List(), "trout sides with skin [FISH]")
	s = source(t, "hayloft-chicken")
	what := weighed.Names(s.Product)[0]
	text, err := label.Check(label.Allergen, strings.ToUpper(what)+": milk, Fish  roe", s.Product)
	require.NoError(t, err)
	s.Declared.Add(label.Allergen, text)
	assert.Contains(t, made(t, s).List(), what+" [MILK, FISH ROE]")
	s = source(t, "mustard-slicer")
	s.Declared.Add(label.Allergen, "mustard seed: none at all")
	assert.Contains(t, made(t, s).List(), "MUSTARD, NONE AT ALL", "what a name tells, no word takes back")
}

// Nobody said how long it keeps: then nothing says so.
func TestNoShelfLifeThatNobodyStated(t *testing.T) {
	for _, name := range catalog.Names() {
		s := source(t, name)
		l := made(t, s)
		text := l.Text(l.Packs[0])
		assert.Contains(t, text, "Use by: "+label.Blank, name)
		assert.Contains(t, text, "Packed on: "+label.Blank)
		assert.Contains(t, text, "Weight: "+label.Blank)
		assert.NotRegexp(t, `20\d\d-\d\d-\d\d[^-]|days|weeks|months`, strings.ReplaceAll(text, s.Batch, ""))
		assert.Subset(t, l.Missing, []string{"use-by", "storage", "packed-on", "maker", "what a pack weighs"})
		s.Declared.Add(label.UseBy, "2026-12-20")
		s.Declared.Add(label.UseBy, "2026-12-18")
		assert.Contains(t, made(t, s).Text(l.Packs[0]), "Use by: 2026-12-18", "the last word")
	}
	s := source(t, "marjoram-ring")
	s.Declared.Add(label.UseBy, "2026-11-20")
	s.Declared.Add(label.PackedOn, "2026-11-28")
	_, err := label.Make(s)
	assert.ErrorContains(t, err, "use-by 2026-11-20 is before packed-on 2026-11-28")
}

func TestWhatIsNotGoodIsHeld(t *testing.T) {
	s := source(t, "marjoram-ring")
	s.Good, s.Ending = false, "complete, not good: cooked not met: <b>cold</b>"
	l := made(t, s)
	text := l.Text(l.Packs[0])
	assert.Contains(t, text, "HOLD: DO NOT EAT, DO NOT SELL")
	assert.NotContains(t, text, "Ingredients")
	var page bytes.Buffer
	require.NoError(t, l.HTML(&page))
	assert.Contains(t, page.String(), "HOLD: DO NOT EAT")
	assert.Contains(t, page.String(), "&lt;b&gt;cold")
	assert.NotContains(t, page.String(), "Use by")
	s.Over = false
	assert.Equal(t, "it is not over", made(t, s).Hold)
	cold := *source(t, "dill-trout-sides").Product
	cold.Process = profile.ColdSmoked
	assert.Equal(t, "Smoked cold: raw", made(t, &label.Source{Batch: "b", Over: true, Good: true, Product: &cold}).Raw)
	cold.Process = profile.NotReadyToEat
	assert.Contains(t, made(t, &label.Source{Batch: "b", Over: true, Good: true, Product: &cold}).Raw, "cook it through")
	s = source(t, "marjoram-ring")
	s.World = "simulated"
	l = made(t, s)
	assert.Contains(t, l.Text(l.Packs[0]), "SIMULATED: NO FOOD")
}

func TestPacks(t *testing.T) {
	pack := func(n int, kg quantity.Kilograms) weighed.Entry {
		return weighed.Entry{What: weighed.Packed, Pack: n, Mass: kg, Known: true}
	}
	s := source(t, "marjoram-ring", pack(1, .4), pack(2, .41))
	l := made(t, s)
	require.Len(t, l.Packs, 2)
	assert.Equal(t, "2026-11-28-1/2", l.Packs[1].Code)
	assert.Equal(t, l.Packs[1].Code+" sha256:"+s.Head, l.Packs[1].QR)
	assert.Contains(t, l.Text(l.Packs[1]), "Weight: 410 g\n")
	s.Only = 2
	assert.Len(t, made(t, s).Packs, 1)
	s.Only = 3
	_, err := label.Make(s)
	assert.ErrorContains(t, err, "no pack 3")
}

func TestCheck(t *testing.T) {
	p := source(t, "marjoram-ring").Product
	for _, c := range []struct {
		f         label.Fact
		text, why string
	}{
		{label.UseBy, "soon", "is no date"}, {label.UseBy, "2026-02-30", "is no date"}, {label.PackedOn, "", "needs a text"}, {label.Storage, strings.Repeat("x", 201), "at most"},
		{label.Allergen, "milk", "a colon"}, {label.Allergen, "sage: milk", "is no ingredient"}, {label.Allergen, "raw: milk", "is no ingredient"}, {"halal", "yes", "nothing that a label has"},
	} {
		_, err := label.Check(c.f, c.text, p)
		assert.ErrorContains(t, err, c.why, "%s %s", c.f, c.text)
	}
	text, err := label.Check(label.Storage, " at  4 °C\n or colder ", p)
	require.NoError(t, err)
	assert.Equal(t, "at 4 °C or colder", text)
}
