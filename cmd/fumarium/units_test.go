package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/web"
	"fumarium/profile/quantity"
	"fumarium/profile/sheet"
)

// metric is a figure in °C, K or kg, and none that is part of another unit.
var metric = regexp.MustCompile(`\d ?(°C|K|kg|g)($|[\s,.;:)/])`)

// perUnit is what stays: a mass in a volume or of a length of time.
var perUnit = regexp.MustCompile(`\d g/|\d kg/`)

// In °F and lb no figure of any command that judges, lists or plans is left in °C or kg.
func TestEveryFigureInTheUnitsAskedFor(t *testing.T) {
	cook := file(t, "cook.csv", "elapsed_minutes,core_celsius\n0,10\n60,40\n120,60\n150,72\n180,72\n")
	for _, args := range [][]string{
		{"products"}, {"rehearse"}, {"rehearse", "hayloft-chicken"}, {"rehearse", "dill-trout-sides"}, {"sheet", "marjoram-ring", "--meat", "11 lb 4 oz"},
		{"sheet", "dill-trout-sides"}, {"plan", "marjoram-ring", "--ready", "2099-11-28 12:00", "--runs", "10"}, {"assess", cook, "--cased"},
	} {
		_, plain, _ := call(t, args...)
		_, out, stderr := call(t, append(args, "--units", "F,lb")...)
		require.NotEmpty(t, out, args)
		assert.NotEqual(t, plain, out, args)
		for line := range strings.Lines(out + stderr) {
			if metric.MatchString(line) && !perUnit.MatchString(line) {
				t.Errorf("%v: %s", args, line)
			}
		}
		assert.Regexp(t, `°F|lb|oz`, out, args)
		_, same, _ := call(t, append(args, "--units", "C,kg")...)
		if args[0] != "rehearse" { // which says how fast it was
			assert.Equal(t, plain, same)
		}
	}
}

func TestUnitsOfTheEnvironment(t *testing.T) {
	t.Setenv(unitsVariable, "F lb")
	_, out, _ := call(t, "products")
	assert.Contains(t, out, "159.8 °F")
	assert.Contains(t, out, "12 lb")
	head := strings.Index(strings.SplitN(out, "\n", 2)[0], "stages")
	assert.Positive(t, head)
	for _, line := range strings.Split(out, "\n")[1:3] {
		assert.Regexp(t, `^ +\d|^\d`, string([]rune(line)[head-2:]), "the columns stand under their heads: %s", line)
	}
	_, out, _ = call(t, "products", "--units", "C,kg")
	assert.Contains(t, out, "71 °C", "the flag wins")

	// JSON and files are as they are.
	_, asked, _ := call(t, "products", "--json")
	_, shown, _ := call(t, "products", "--show", "marjoram-ring")
	t.Setenv(unitsVariable, "")
	_, plain, _ := call(t, "products", "--json")
	assert.Equal(t, plain, asked)
	assert.Contains(t, shown, "chamber: 52 °C")

	t.Setenv(unitsVariable, "Kelvin")
	status, _, stderr := call(t, "products")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, stderr, `FUMARIUM_UNITS: there are no units "Kelvin"; write C or F, kg or lb, or one of each as in F,lb`)
	status, _, stderr = call(t, "products", "--units", "F,C")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, stderr, `--units: "F,C" names two units for the same`)
}

// What is shown of a batch under way is not better in °F than it is: a core that heats is
// rounded down, one that cools up.
func TestStatusRoundsToTheSafeSide(t *testing.T) {
	core := float64(quantity.FromFahrenheit(44.96))
	for place, want := range map[string]string{"chamber": "core      44.9 °F\n", "ice water": "core      45.0 °F\n"} {
		var b strings.Builder
		s := web.Status{CoreCelsius: &core}
		s.PlaceNow = place
		printStatus(quantity.Units{Fahrenheit: true}.Writer(&b), &s)
		assert.Contains(t, b.String(), want)
	}
}

// On a sheet in lb the weights stand under each other, and no line is too long.
func TestSheetInPounds(t *testing.T) {
	_, out, _ := call(t, "sheet", "marjoram-ring", "--meat", "11 lb 4 oz", "--units", "F,lb")
	_, list, _ := strings.Cut(out, "WEIGH OUT")
	list, _, _ = strings.Cut(list, "2. CURE")
	rows := strings.Split(strings.Trim(list, "\n"), "\n")
	require.Len(t, rows, 10)
	for _, row := range rows[1:] {
		assert.Equal(t, strings.Index(rows[0], "weigh")+len("weigh"), strings.Index(row, " oz ")+len(" oz"), row)
	}
	for line := range strings.Lines(out) {
		assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), sheet.Width, line)
	}
}

// What is wrong with a text is said in the words of the text; what looks unwise is said
// in the units asked for.
func TestUnitsOfFindings(t *testing.T) {
	text := contractProduct(t)
	wrong := file(t, "wrong.yaml", strings.Replace(text, "chamber: 82 °C", "chamber: 182 °C", 1))
	_, out, _ := call(t, "check", wrong, "--units", "F")
	assert.Contains(t, out, "182 °C is above 130 °C")
	status, _, stderr := call(t, "rehearse", "--ambient", "68", "--units", "F")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, stderr, "write 68 °C or 68 °F")
	_, out, _ = call(t, "rehearse", "--ambient", "50 F", "--load", "11 lb 4 oz", "--units", "F,lb")
	assert.Contains(t, out, "11 lb 4 oz hung, room 50 °F")
	svg := filepath.Join(t.TempDir(), "out.svg")
	_, _, _ = call(t, "rehearse", "--chart", svg, "--units", "F")
	drawn, err := os.ReadFile(svg)
	require.NoError(t, err)
	assert.Contains(t, string(drawn), "core target 159.8 °F")
}
