package sheet_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
	"fumarium/profile/sheet"
	"fumarium/profile/source"
)

var update = flag.Bool("update", false, "rewrite the expected sheets; read the difference before keeping it")

const cases = "../../testdata/sheets"

func product(t rapid.TB, name string) *profile.Product {
	data, err := os.ReadFile(filepath.Join(cases, name, "product.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, err := profile.Parse(name+".yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestText(t *testing.T) {
	for name, o := range map[string]sheet.Options{
		"juniper-sticks": {Meat: 7.25},
		"cider-bacon":    {},
		"sloe-ham":       {},
	} {
		got := sheet.Make(product(t, name), o).Text()
		file := filepath.Join(cases, name, "expected.txt")
		if *update {
			require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		assert.Equal(t, string(want), got, name)
	}
}

// The JSON has the keys that others rely on, no more and no fewer, and null where
// there is nothing.
func TestJSON(t *testing.T) {
	keys := func(v any) []string { return slices.Sorted(maps.Keys(v.(map[string]any))) }
	marshal := func(s sheet.Sheet) map[string]any {
		data, err := json.Marshal(s)
		require.NoError(t, err)
		var m map[string]any
		require.NoError(t, json.Unmarshal(data, &m))
		return m
	}
	m := marshal(sheet.Make(product(t, "juniper-sticks"), sheet.Options{Meat: 10}))
	assert.Equal(t, []string{"added_water_percent", "binder_percent", "composition", "elsewhere", "erythorbate", "fat_percent", "findings", "items",
		"jurisdiction", "meat_kg", "more", "nitrite", "salt_percent", "total_kg"}, keys(m))
	assert.Equal(t, []string{"basis", "floor_ppm", "limit_ppm", "name", "pass", "ppm", "shown", "when", "why"}, keys(m["nitrite"]))
	assert.Equal(t, []string{"basis", "floor_ppm", "limit_ppm", "name", "pass", "ppm", "shown", "when", "why"}, keys(m["erythorbate"]))
	assert.Equal(t, []string{"ash", "carbohydrate", "fat", "protein", "water"}, keys(m["composition"]))
	assert.Equal(t, []string{"kg", "name"}, keys(m["items"].([]any)[0]))

	assert.Equal(t, 10., m["meat_kg"])
	assert.Len(t, m["items"], 7)
	assert.Equal(t, map[string]any{"name": "cure no. 1", "kg": 0.025}, m["items"].([]any)[2])
	nitrite := m["nitrite"].(map[string]any)
	assert.InDelta(t, 156.25, nitrite["ppm"], 1e-9)
	assert.Equal(t, []any{156., 120., true}, []any{nitrite["limit_ppm"], nitrite["floor_ppm"], nitrite["pass"]})
	assert.Nil(t, m["erythorbate"].(map[string]any)["floor_ppm"])
	// 75 g of salt and 12.5 g · 93.75 % of cure in 5 kg.
	assert.InDelta(t, (75+11.71875)/5000*100, m["salt_percent"], 1e-9)
	juniper := 3 * 4.92892159375 * 0.45e-3
	total := 5 + 0.0125 + 0.075 + 0.25 + 0.08 + juniper
	assert.InDelta(t, 2*total, m["total_kg"], 1e-9)
	assert.InDelta(t, (3.5*0.03+1.5*0.88)/total*100, m["fat_percent"], 1e-9)
	assert.InDelta(t, 0.25/total*100, m["added_water_percent"], 1e-9)
	assert.InDelta(t, 0.08/total*100, m["binder_percent"], 1e-9)
	sum := 0.0
	for _, v := range m["composition"].(map[string]any) {
		sum += v.(float64)
	}
	assert.InDelta(t, 1, sum, 1e-9)
	assert.Equal(t, []any{}, m["findings"], "an empty list, not null")

	m = marshal(sheet.Make(product(t, "cider-bacon"), sheet.Options{}))
	findings := m["findings"].([]any)
	require.NotEmpty(t, findings)
	assert.Equal(t, []string{"code", "message", "remedy", "severity"}, keys(findings[0]))
	assert.Equal(t, "error", findings[0].(map[string]any)["severity"])

	e, err := catalog.Find("hayloft-chicken")
	require.NoError(t, err)
	m = marshal(sheet.Make(e.Value, sheet.Options{}))
	assert.Contains(t, m, "nitrite")
	assert.Nil(t, m["nitrite"], "no cure is not 0 ppm")
	assert.Nil(t, m["erythorbate"])
}

// Every shipped product passes its own check, as written and scaled, and fits the
// page.
func TestShippedProducts(t *testing.T) {
	all, err := catalog.All()
	require.NoError(t, err)
	for _, e := range all {
		for _, meat := range []quantity.Kilograms{0, 0.4, 2, 37.5} {
			s := sheet.Make(e.Value, sheet.Options{Meat: meat})
			assert.True(t, s.Pass(), "%s: %v", e.Key, s.Findings)
			for _, f := range s.Findings {
				assert.Equal(t, source.Note, f.Severity, "%s: %s: %s", e.Key, f.Code, f.Message)
			}
			fits(t, s.Text())
			if s.Nitrite != nil {
				assert.True(t, s.Nitrite.Pass, e.Key)
				assert.True(t, s.Erythorbate.Pass, e.Key)
			}
		}
	}
}

func fits(t rapid.TB, text string) {
	t.Helper()
	for i, line := range strings.Split(text, "\n") {
		if n := utf8.RuneCountInString(line); n > sheet.Width || line != strings.TrimRight(line, " ") || strings.ContainsAny(line, "\t\r\u00a0") {
			t.Fatalf("line %d has %d characters: %q", i+1, n, line)
		}
	}
}

func TestMakeLeavesTheProductAlone(t *testing.T) {
	p, again := product(t, "cider-bacon"), product(t, "cider-bacon")
	sheet.Make(p, sheet.Options{Meat: 9}).Text()
	assert.Equal(t, again, p)
	assert.Panics(t, func() { sheet.Make(p, sheet.Options{Meat: -1}) })
	assert.Panics(t, func() { sheet.Make(p, sheet.Options{Meat: quantity.Kilograms(math.NaN())}) })
}

// What stands on the wall is right as it is shown: the cure that the sheet says to
// weigh passes, and is within half a percent or half of the scale's last digit.
func TestTheWeightOnTheWallPasses(t *testing.T) {
	for _, name := range []string{"caraway-sticks", "heather-loin", "orchard-bacon"} {
		e, err := catalog.Find(name)
		require.NoError(t, err)
		rapid.Check(t, func(t *rapid.T) {
			meat := quantity.Kilograms(rapid.Float64Range(0.1, 80).Draw(t, "meat"))
			s := sheet.Make(e.Value, sheet.Options{Meat: meat})
			fits(t, s.Text())
			f := formula.Scale(e.Value.Formula, meat)
			shown := "???"
			for line := range strings.Lines(s.Text()) {
				if rest, ok := strings.CutPrefix(line, "   [ ] "+f.Cure.Name+" (6.25 % nitrite)"); ok {
					shown = strings.Join(strings.Fields(rest)[:2], " ")
					break
				}
			}
			var bad error
			if f.Cure.Mass, bad = quantity.ParseMass(shown); bad != nil {
				t.Fatal(bad)
			}
			scaled := *e.Value
			scaled.Formula = f
			got := formula.Judge(&scaled, profile.UnitedStates).Nitrite
			if !got.Pass || math.Abs(got.PPM-s.Nitrite.PPM) > max(0.005, 0.005/(float64(meat)*2.4))*s.Nitrite.PPM {
				t.Fatalf("%s of cure on %v: %v ppm, meant %v ppm", shown, meat, got.PPM, s.Nitrite.PPM)
			}
		})
	}
}

// Ounces and pounds beside the grams: 1 lb is 0.45359237 kg (agreement of 1959,
// recalled from memory).
func TestPounds(t *testing.T) {
	for kilograms, want := range map[float64]string{
		0.45359237: "1 lb  0.0 oz", 0.453: "15.98 oz", 0.4535: "1 lb  0.0 oz", 4.5359237: "10 lb  0.0 oz", 1: "2 lb  3.3 oz",
		0.0125: "0.441 oz", 0.1: "3.53 oz", 0.90: "1 lb 15.7 oz", 0.907: "2 lb  0.0 oz",
	} {
		p := product(t, "juniper-sticks")
		p.Formula.Other[0].Mass = quantity.Kilograms(kilograms)
		row := ""
		for line := range strings.Lines(sheet.Make(p, sheet.Options{}).Text()) {
			if strings.HasPrefix(line, "   [ ] salt ") {
				row = line
			}
		}
		assert.Contains(t, row, " "+want+" ", "%v kg", kilograms)
	}
}

// Whatever a product is called, the sheet keeps its 80 columns.
func TestLongNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := product(t, rapid.SampledFrom([]string{"juniper-sticks", "cider-bacon"}).Draw(t, "product"))
		name := rapid.StringMatching(`[a-zé0-9]{1,120}( [a-z%°]{1,90}){0,4}`)
		p.Name, p.Formula.Cut[0].Name, p.Formula.Cure.Name = name.Draw(t, "product"), name.Draw(t, "cut"), name.Draw(t, "cure")
		p.Stages[0].Name, p.Stages[1].Ask = name.Draw(t, "stage"), name.Draw(t, "ask")
		o := sheet.Options{Meat: quantity.Kilograms(rapid.Float64Range(0.05, 499).Draw(t, "meat"))}
		if rapid.Bool().Draw(t, "Canada") {
			o.Where = profile.Canada
		}
		fits(t, sheet.Make(p, o).Text())
	})
}

func ExampleMake() {
	p := &profile.Product{Name: "Trial links", Species: profile.RedMeat, Class: profile.CookedSausage}
	p.Formula = profile.Formula{
		Cut:   []profile.Meat{{Name: "pork shoulder", Mass: 1, Water: 0.66, Protein: 0.18, Fat: 0.15}},
		Cure:  profile.Cure{Name: "cure no. 1", Mass: 0.0024, Nitrite: 0.0625, Method: profile.Comminuted},
		Other: []profile.Ingredient{{Name: "salt", Mass: 0.0154, As: profile.Salt}},
	}
	s := sheet.Make(p, sheet.Options{Meat: 4.2})
	for _, i := range s.Items {
		fmt.Printf("%s %.4f kg\n", i.Name, i.Kilograms)
	}
	fmt.Printf("%.1f ppm nitrite, salt %.2f %%, pass %v\n", s.Nitrite.PPM, s.SaltPercent, s.Pass())
	// Output:
	// pork shoulder 4.2000 kg
	// cure no. 1 0.0101 kg
	// salt 0.0647 kg
	// 150.0 ppm nitrite, salt 1.76 %, pass true
}
