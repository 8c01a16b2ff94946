package sim

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

//go:generate go test . -run ^TestEveryShippedProductInEveryLargeCabinet$ -update

var update = flag.Bool("update", false, "write the table of the manual anew")

// lossElsewhere is what is published of the loss of a like product, in the manual's words.
// Toldrá is the Handbook of Meat Processing, 2010; the others are named in full.
var lossElsewhere = map[string]string{
	"caraway-sticks":   "6 to 12 %, sausages like frankfurters (from memory)",
	"marjoram-ring":    "6 to 12 %, sausages like frankfurters (from memory)",
	"hayloft-chicken":  "15 to 25 %, with bones (from memory)",
	"heather-loin":     "6 to 15 %, smoked pork in the house (Packers' Encyclopedia 1922)",
	"orchard-bacon":    "12 to 17 % of the pumped weight (Meat Sci. 140, 2018), 5 to 10 % (from memory)",
	"juniper-ham":      "13.6 to 15.7 % in a water bath without casing (Toldrá)",
	"dill-trout-sides": "12 to 22 % (from memory); 24 to 29 % in steam (Food Sci. Technol. Int. 14, 2008)",
}

// A cook is what a rehearsal came to in the chamber.
type cook struct{ hours, loss, humid float64 }

func (c cook) String() string {
	return fmt.Sprintf("%.1f h, %.0f %%, %.0f %%RH", c.hours, 100*c.loss, 100*c.humid)
}

const cooksFrom, cooksTo = "<!-- rehearsed cooks: written by go generate -->", "<!-- end of the rehearsed cooks -->"

// tellCooks holds the manual's table against what was rehearsed, or writes it.
func tellCooks(t *testing.T, products, cabinets []string, cooks map[string]cook) {
	t.Helper()
	if runtime.GOARCH != "amd64" || len(cooks) < len(products)*len(cabinets) {
		return // elsewhere the last digit may differ; and who runs a part has no table
	}
	var b strings.Builder
	b.WriteString("\n\n| product | " + strings.Join(cabinets, " | ") + " | loss published of the like |\n|---|" + strings.Repeat("---|", len(cabinets)+1) + "\n")
	for _, p := range products {
		fmt.Fprintf(&b, "| %s |", p)
		for _, c := range cabinets {
			fmt.Fprintf(&b, " %s |", cooks[c+"/"+p])
		}
		elsewhere := lossElsewhere[p]
		if elsewhere == "" {
			elsewhere = "none found"
		}
		fmt.Fprintf(&b, " %s |\n", elsewhere)
	}
	b.WriteString("\n")
	file := filepath.Join("..", "deploy", "manual.md")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	before, rest, found := strings.Cut(string(data), cooksFrom)
	require.True(t, found, "%s has lost the line %q", file, cooksFrom)
	old, after, found := strings.Cut(rest, cooksTo)
	require.True(t, found, "%s has lost the line %q", file, cooksTo)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(before+cooksFrom+b.String()+cooksTo+after), 0o644))
		return
	}
	assert.Equal(t, b.String(), old, "go generate ./sim")
}
