package weighed_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/formula"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

func ring(t testing.TB) *profile.Product {
	e, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	return e.Value
}

func took(what string, kg float64, lot string) weighed.Entry {
	return weighed.Entry{What: what, Mass: quantity.Kilograms(kg), Known: true, Lot: lot}
}

func TestTheCureIsHeldAgainstTheSheetForTheMeatWeighed(t *testing.T) {
	p := ring(t) // 5 kg of meat, 12 g of cure
	for name, c := range map[string]struct {
		entries []weighed.Entry
		bad     bool
		why     string
	}{
		"nothing":             {nil, false, ""},
		"as the sheet":        {[]weighed.Entry{took("pork shoulder", 4.2, ""), took("pork back fat", .8, ""), took("cure no. 1", .012, "")}, false, ""},
		"twice as much":       {[]weighed.Entry{took("cure no. 1", .024, "")}, true, "CURE cure no. 1: 24 g weighed, and the sheet as the product file has it has 12 g: 2.00 times as much"},
		"half the meat":       {[]weighed.Entry{took("pork shoulder", 2.1, ""), took("pork back fat", .4, ""), took("cure no. 1", .012, "")}, true, "for 2.5 kg of meat has 6 g: 2.00 times"},
		"twice the meat":      {[]weighed.Entry{took("pork shoulder", 8.4, ""), took("pork back fat", 1.6, ""), took("cure no. 1", .024, "")}, false, ""},
		"none of it":          {[]weighed.Entry{took("cure no. 1", .0012, "")}, true, "0.10 times"},
		"two lots":            {[]weighed.Entry{took("cure no. 1", .006, "A"), took("cure no. 1", .006, "B")}, false, ""},
		"two lots, too much":  {[]weighed.Entry{took("cure no. 1", .012, "A"), took("cure no. 1", .012, "B")}, true, "2.00 times"},
		"corrected":           {[]weighed.Entry{took("cure no. 1", .024, "A"), took("cure no. 1", .012, "a")}, false, ""},
		"named later":         {[]weighed.Entry{took("cure no. 1", .012, ""), took("cure no. 1", .012, "A")}, false, ""},
		"lot, then weighed":   {[]weighed.Entry{took("cure no. 1", .012, ""), {What: "cure no. 1", Lot: "A"}, took("cure no. 1", .012, "A")}, false, ""},
		"a tenth, over 156":   {[]weighed.Entry{took("cure no. 1", .0131, "")}, true, "as weighed, the meat gets 163.8 ppm nitrite"},
		"salt is no poison":   {[]weighed.Entry{took("salt", .15, "")}, false, ""},
		"erythorbate, thrice": {[]weighed.Entry{took("sodium erythorbate", .0075, "")}, true, "as weighed, the meat gets 1500 ppm erythorbate or ascorbate"},
	} {
		tally := weighed.Of(p, profile.UnitedStates, c.entries)
		why, bad := tally.Bad()
		assert.Equal(t, c.bad, bad, "%s: %s", name, why)
		assert.Contains(t, why, c.why, name)
		rules := proof.RulesOf(tally.Product, profile.UnitedStates, 0)
		v := proof.Judge(&rules, &proof.Claim{}, true)
		tally.Amend(&v)
		if c.bad {
			assert.Equal(t, proof.NotMet, v[proof.Formula].Answer, name)
			assert.NotEmpty(t, tally.Deviations, name)
		} else {
			assert.Equal(t, proof.Met, v[proof.Formula].Answer, name)
		}
	}
	assert.InDelta(t, .012, float64(p.Formula.Cure.Mass), 1e-12, "the product itself stays as it is")
	salt := weighed.Of(p, profile.UnitedStates, []weighed.Entry{took("salt", .15, "")})
	require.Len(t, salt.Deviations, 1)
	assert.Contains(t, salt.Deviations[0], "salt: 150 g weighed")
}

// FSIS Processing Inspectors' Calculations Handbook (Directive 7620.3, rev. 1995), ch. 3:
// 4 oz of cure with 6.25 % nitrite to 100 lb of meat is 156 ppm ingoing, the most allowed.
func TestTheFormulaAsWeighed(t *testing.T) {
	p := ring(t)
	ounce := 0.028349523125
	entries := []weighed.Entry{took("pork shoulder", 84*16*ounce, ""), took("pork back fat", 16*16*ounce, ""), took("cure no. 1", 4*ounce, "")}
	tally := weighed.Of(p, profile.UnitedStates, entries)
	assert.InDelta(t, 156.25, formula.NitritePPM(tally.Product.Formula, formula.GreenWeight), 1e-9)
	_, bad := tally.Bad()
	assert.False(t, bad)
}

// Too little nitrite for a slow chill is seen by the rule on chilling, too.
func TestTheChillGoesByTheCureAsWeighed(t *testing.T) {
	tally := weighed.Of(ring(t), profile.UnitedStates, []weighed.Entry{took("cure no. 1", 0, "")})
	assert.InDelta(t, .012, float64(tally.Product.Formula.Cure.Mass), 1e-12, "nothing weighed is nothing said")
	tally = weighed.Of(ring(t), profile.UnitedStates, []weighed.Entry{took("cure no. 1", .003, "")})
	assert.InDelta(t, 37.5, formula.NitritePPM(tally.Product.Formula, formula.GreenWeight), 1e-9)
}

func TestYields(t *testing.T) {
	tally := weighed.Of(ring(t), profile.UnitedStates, []weighed.Entry{
		took(weighed.Raw, 5.5, ""), took(weighed.Hung, 5.4, ""), took(weighed.Cooked, 4.5, ""),
		{What: weighed.Packed, Pack: 1, Mass: 2, Known: true}, {What: weighed.Packed, Pack: 2, Mass: 9, Known: true}, {What: weighed.Packed, Pack: 2, Mass: 2.4, Known: true},
		{What: weighed.Packed, Pack: 3, Mass: 1, Known: true}, {What: weighed.Packed, Pack: 3, Known: true},
	})
	require.NotNil(t, tally.PackedKg)
	assert.InDelta(t, 4.4, *tally.PackedKg, 1e-12)
	assert.Equal(t, 3, tally.NextPack())
	got := map[string]float64{}
	for _, y := range tally.Yields() {
		got[y.What+" of "+y.Of] = y.Ratio
	}
	assert.InDeltaMapValues(t, map[string]float64{"hung of raw": 5.4 / 5.5, "cooked of hung": 4.5 / 5.4, "cooked of raw": 4.5 / 5.5, "packed of cooked": 4.4 / 4.5, "packed of raw": .8}, got, 1e-9)
	assert.Empty(t, tally.Heavier())
	tally = weighed.Of(ring(t), profile.UnitedStates, []weighed.Entry{took(weighed.Hung, 5.4, ""), took(weighed.Cooked, 54, "")})
	require.Len(t, tally.Heavier(), 1)
	assert.Contains(t, tally.Heavier()[0], "cooked weighs more than hung, 1000.0 %")
	tally = weighed.Of(ring(t), profile.UnitedStates, nil)
	assert.False(t, tally.Known())
	assert.Empty(t, tally.Yields())
}

func TestFind(t *testing.T) {
	p := ring(t)
	for said, want := range map[string]string{"Salt": "salt", "CURE": "cure no. 1", "shoulder": "pork shoulder", "raw": "raw", "casing": "casing"} {
		got, err := weighed.Find(p, said)
		require.NoError(t, err, said)
		assert.Equal(t, want, got)
	}
	for said, why := range map[string]string{"pork": "pork shoulder or pork back fat", "juniper": "nothing that goes into", "": "nothing that goes into"} {
		_, err := weighed.Find(p, said)
		assert.ErrorContains(t, err, why, said)
	}
	p2 := *p
	p2.Formula.Other = append([]profile.Ingredient{{Name: "Salt", Mass: 1}}, p.Formula.Other...)
	assert.Contains(t, weighed.Names(&p2), "salt (2)", "twice the same name")
}

func TestForm(t *testing.T) {
	p := ring(t)
	var form bytes.Buffer
	require.NoError(t, weighed.WriteForm(&form, p, 10))
	assert.Contains(t, form.String(), "cure no. 1,24 g,,\n")
	entries, err := weighed.ReadForm("f.csv", form.Bytes(), p)
	require.NoError(t, err)
	assert.Empty(t, entries, "an empty form says nothing")
	filled := strings.NewReplacer("cure no. 1,24 g,,", "cure no. 1,24 g,24.1 g,C-7", "casing,,,", "casing,,,H 12").Replace(form.String())
	entries, err = weighed.ReadForm("f.csv", []byte(filled), p)
	require.NoError(t, err)
	assert.Equal(t, []weighed.Entry{took("cure no. 1", .0241, "C-7"), {What: "casing", Lot: "H 12"}}, entries)
	entries, err = weighed.ReadForm("f.csv", []byte("\ufeffwhat;sheet;weighed;lot\nsalt;75 g;75 g;\n"), p)
	require.NoError(t, err)
	assert.Equal(t, []weighed.Entry{took("salt", .075, "")}, entries)
	for text, why := range map[string]string{
		"": "f.csv: it is empty", "a,b\n": "f.csv:1: the first line", "what,sheet,weighed,lot\nsalt,75 g,75,\n": "f.csv:2: salt: ",
		"what,sheet,weighed,lot\n\nsage,,1 g,\n": "f.csv:3: \"sage\" is nothing", "what,sheet,weighed,lot\nsalt,75 g,75 g\n": "f.csv:2: 3 columns",
		"what,sheet,weighed,lot\nsalt,75 g,75 t,\n": "f.csv:2: salt", "what,sheet,weighed,lot\nsalt,,5000 kg,\n": "outside 0", "what,sheet,weighed,lot\nraw,,,L1\n": "no lot",
		"what,sheet,weighed,lot\n\"salt,,,\n": "f.csv: ",
	} {
		_, err := weighed.ReadForm("f.csv", []byte(text), p)
		assert.ErrorContains(t, err, why, "%q", text)
	}
}

func FuzzReadForm(f *testing.F) {
	p := ring(f)
	f.Add("what,sheet,weighed,lot\nsalt,75 g,75 g,L1\ncasing,,,H\nraw,,5 kg,\n")
	f.Add("what;sheet;weighed;lot\nsalt;;1 lb 2 oz;\"a;b\"\n")
	f.Add("what,sheet,weighed,lot\n\"salt\n")
	f.Fuzz(func(t *testing.T, text string) {
		entries, err := weighed.ReadForm("f.csv", []byte(text), p)
		if err != nil {
			return
		}
		tally := weighed.Of(p, profile.UnitedStates, entries)
		for _, y := range tally.Yields() {
			if !quantity.Finite(y.Ratio) {
				t.Fatalf("%q: %+v", text, y)
			}
		}
	})
}

// What was taken up of a pickle is the weight hung over that of the meat that went in. The
// formula is judged with it, for twice as much pickle is twice the nitrite; and a pickled
// batch that hangs heavier than it was raw is no slip of the scale.
func TestTheUptakeOfAPickle(t *testing.T) {
	e, err := catalog.Find("juniper-ham") // a tenth is pumped
	require.NoError(t, err)
	p := e.Value
	of := func(entries ...weighed.Entry) weighed.Tally { return weighed.Of(p, profile.UnitedStates, entries) }
	assert.Empty(t, of(took(weighed.Hung, 5.5, "")).Uptake, "nobody weighed what went in")
	assert.Empty(t, of(took(weighed.Raw, 5, "")).Uptake)
	near := of(took(weighed.Raw, 5, ""), took(weighed.Hung, 5.52, ""))
	assert.Equal(t, "pickle: 5 kg of meat hung with 5.52 kg, 10.4 % taken up, and the formula reckons with 10.0 %", near.Uptake)
	assert.Empty(t, near.Deviations)
	assert.Empty(t, near.Heavier())
	assert.Equal(t, p.Formula.Pickle.Uptake, near.Product.Formula.Pickle.Uptake)

	meat := weighed.Names(p)[0]
	far := of(took(meat, 4, ""), took(weighed.Raw, 5, ""), took(weighed.Hung, 4.8, ""))
	require.NotEmpty(t, far.Deviations)
	assert.Contains(t, far.Deviations[0], "20.0 % taken up")
	assert.InDelta(t, 0.20, float64(far.Product.Formula.Pickle.Uptake), 1e-9)
	why, bad := far.Bad()
	assert.True(t, bad)
	assert.Contains(t, why, "as weighed")
	assert.Empty(t, weighed.Of(ring(t), profile.UnitedStates, []weighed.Entry{took(weighed.Raw, 5, ""), took(weighed.Hung, 5.5, "")}).Uptake, "it has no pickle")
}
