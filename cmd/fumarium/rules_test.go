package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/formula"
)

//go:generate go test . -run ^TestRulesOfPlaces$ -update

// TestRulesOfPlaces holds the table of rules by place to the code that judges by them.
func TestRulesOfPlaces(t *testing.T) {
	file := filepath.Join("..", "..", "deploy", "rules.md")
	want := rulesOfPlaces(t)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(want), 0o644))
		return
	}
	got, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, want, string(got), "the rules have changed; run: go generate ./...")
}

func rulesOfPlaces(t *testing.T) string {
	var b strings.Builder
	b.WriteString(`# Rules by place

<!-- Made from profile/formula by: go generate ./... -->

A product says whose rules it is made by with ` + "`jurisdiction: US`" + ` (` + strings.Join(places(), ", ") + `). The make
sheet judges by that place and shows what the others would say. Within a place and a kind of limit the first row that
covers a product holds.

- *Basis*: what goes in (ingoing), what may be in the finished product, or what may be left while it is sold (residual);
  of the meat's green weight or of the whole raw batch.
- A limit on what is in the finished product or left is for an analysis. A recipe shows it only where even all of what
  went in keeps it; otherwise the verdict says *not shown*.
- A figure *from memory* warns and never decides: within it, the verdict says *not shown*.
- How a place wants meat cooked and cooled stands below its limits. Cooking is judged by the tables of the US everywhere;
  cooling by the place's own rule where there is one for such a product (` + "`chill: cured` or `uncured`" + ` names the kind), and
  by that of the US otherwise, which the verdict then says.
- Limits on products that no smokehouse makes, such as what is sterilised in its can, are left out.

This is an aid and no legal advice; editions change. For food that is sold, the authority of the place decides.
`)
	for _, j := range profile.Jurisdictions() {
		fmt.Fprintf(&b, "\n## %s\n\n| product | what counts | limit | basis | text | date | how sure |\n|---|---|---|---|---|---|---|\n", j)
		rows := 0
		for _, r := range formula.Rules {
			if r.Where != j {
				continue
			}
			rows++
			assert.NotEmpty(t, r.Text, "%v %s", j, r.Product)
			assert.NotEmpty(t, r.Date, "%v %s", j, r.Product)
			fmt.Fprintf(&b, "| %s | %s | %s | %s, %s | %s | %s | %s |\n", r.Product, r.Of, r.Limit(), r.When, r.Basis, r.Text, r.Date, r.Mark)
		}
		assert.Positive(t, rows, j)
		fmt.Fprintf(&b, "\n| | product | what it says | text | date | how sure | a batch is judged by it |\n|---|---|---|---|---|---|---|\n")
		for _, c := range formula.CustomsOf(j) {
			judged := "no"
			if c.Judged {
				judged = "yes"
			}
			assert.NotEmpty(t, c.Text, "%v %s", j, c.Product)
			fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %s | %s |\n", c.Of, c.Product, c.Says, c.Text, c.Date, c.Mark, judged)
		}
	}
	return b.String()
}

// The product's own word goes before the flag, and the flag before the environment.
func TestWhoseRulesHold(t *testing.T) {
	t.Setenv(jurisdictionVariable, "EU")
	flag, err := placeOf("UK")
	require.NoError(t, err)
	setting, err := placeOf("")
	require.NoError(t, err)
	assert.Equal(t, profile.UnitedKingdom, flag)
	assert.Equal(t, profile.EuropeanUnion, setting)
	_, err = placeOf("Atlantis")
	assert.ErrorContains(t, err, "--jurisdiction Atlantis is not known; use one of US, EU, UK, Canada, Australia/New Zealand")
	t.Setenv(jurisdictionVariable, "Atlantis")
	_, err = placeOf("")
	assert.ErrorContains(t, err, jurisdictionVariable)
	assert.Equal(t, profile.UnitedStates, (&profile.Product{}).Where(profile.NoJurisdiction))
	assert.Equal(t, profile.EuropeanUnion, (&profile.Product{}).Where(profile.EuropeanUnion))
	assert.Equal(t, profile.Canada, (&profile.Product{Jurisdiction: profile.Canada}).Where(profile.EuropeanUnion))
}
