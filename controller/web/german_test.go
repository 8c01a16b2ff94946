package web_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	gotoken "go/token"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/formula"
	"fumarium/profile/lint"
	"fumarium/profile/proof"
	"fumarium/profile/source"
	"fumarium/sim"
)

// spoken are the files whose every text can stand on the page: findings of check, reasons of
// rules, doubts of probes, refusals.
var spoken = []string{
	"profile/lint/*.go", "profile/proof/*.go", "profile/formula/{class,cure,ferment,fish,judge}.go", "profile/rest.go", "profile/kinds.go",
	"profile/parse*.go", "profile/source/{asked,document,format,read}.go", "profile/quantity/parse.go", "controller/doubt.go",
	"cmd/fumarium/internal/daybook/daybook.go", "sim/reach.go",
	"controller/{event,absence,parted}.go", "controller/tune/fit.go", "cmd/fumarium/lessons.go", // the log, and what was learned
}

// unsaid are texts of those files that no person reads on the page: sums of the make sheet,
// words of the product file, which stay as they are written there, names of sources, and what
// errors of YAML and quantities are known by.
var unsaid = regexp.MustCompile(` = | / %s|× | of protein|%s of meat / |^, (?:option 3|Food Code)|^(?:no rule|total raw batch|salt of the meat|added water as defined|there is none in the cure|%s, (?:%s, )?on the %s .*)$|` +
	`^(?:cooked sausage|uncooked sausage|fresh (?:pork|beef) sausage|Italian sausage|rind-on bacon|whole muscle|dry rubbed|ascorbic acid|isolated soy protein|potassium nitrite|cold smoked|exempt tuna|rinsed roe|not met|not shown|does not apply)$|` +
	`^(?:end of stream|quoted scalar|block sequence entries are not allowed|expected node content|unknown anchor|',' or '.'|cannot start any token|mapping values are not allowed|yaml: |source: %w|could not find expected ':'|tab character|expected key|\^.*)$|` +
	`mend or take out that line|^a line of the book says|probes were (?:not )?compared|(?:right|shown) in ice water|` +
	`^alarm %s \(|^fumarium learned %s --write|^what was learned was not noted`) // these are said on the command line alone

// alsoSpoken are files of which some texts stand on the page, besides much else.
var alsoSpoken = []string{
	"controller/web/*.go", "controller/{bend,heldheat}.go", "controller/access/access.go", "profile/formula/*.go", "profile/words.go", "profile/assistant/*.go", "profile/fish/*.go",
	"profile/ferment/*.go", "profile/chilling/*.go", "profile/lethality/*.go", "sim/rehearse.go", "cmd/fumarium/kept.go", "cmd/fumarium/upkeep.go",
	"controller/history/history.go", "controller/loop/*.go", "controller/evidence.go", "controller/learning.go", "controller/record/recorder.go", "profile/weighed/weighed.go", "cmd/fumarium/{weigh,run,opening,rehearse_tune}.go",
}

// spokenSomewhere reports whether all words of a key stand in texts of those files.
func spokenSomewhere(t *testing.T) func(key string) bool {
	var all strings.Builder
	for text := range literals(t, append(slices.Clone(spoken), alsoSpoken...), `\pL{2}`) {
		all.WriteString(numbers.ReplaceAllString(text, "#") + "\n" + text + "\n")
	}
	stands := func(words string) bool {
		words = strings.Trim(words, " ,.;:?()")
		return len(words) < 3 || strings.Contains(all.String(), words)
	}
	return func(key string) bool {
		for _, words := range regexp.MustCompile(verb.String()+`|[#§]`).Split(key, -1) {
			joined := false // of two texts
			for i := range len(words) {
				joined = joined || words[i] == ' ' && stands(words[:i]) && stands(words[i:])
			}
			if !stands(words) && !joined {
				return false
			}
		}
		return true
	}
}

var numbers = regexp.MustCompile(`\d+(?:\.\d+)?`)

var verb = regexp.MustCompile(`%(?:\[\d+\])?[.\d]*[a-zA-Z]`)

// literals are the texts like these in files, by where they stand.
func literals(t *testing.T, globs []string, words string) map[string]string {
	t.Helper()
	found, like := map[string]string{}, regexp.MustCompile(words)
	for _, glob := range globs {
		before, rest, several := strings.Cut(glob, "{")
		names := []string{glob}
		if several {
			list, after, _ := strings.Cut(rest, "}")
			names = names[:0]
			for name := range strings.SplitSeq(list, ",") {
				names = append(names, before+name+after)
			}
		}
		for _, name := range names {
			paths, err := filepath.Glob("../../" + name)
			require.NoError(t, err)
			require.NotEmpty(t, paths, name)
			for _, path := range paths {
				if strings.HasSuffix(path, "_test.go") {
					continue
				}
				fset := gotoken.NewFileSet()
				file, err := parser.ParseFile(fset, path, nil, 0)
				require.NoError(t, err)
				ast.Inspect(file, func(n ast.Node) bool {
					switch n := n.(type) {
					case *ast.ImportSpec:
						return false
					case *ast.Field: // a tag
						n.Tag = nil
					case *ast.BasicLit:
						if text, err := strconv.Unquote(n.Value); err == nil && n.Kind == gotoken.STRING && like.MatchString(text) {
							found[text] = fset.Position(n.Pos()).String()
						}
					}
					return true
				})
			}
		}
	}
	return found
}

func TestEveryFindingAndReasonHasItsGerman(t *testing.T) {
	german := texts(t)["said de"]
	for text, where := range literals(t, spoken, `\pL{2,}.* |^ .*\pL{2,}`) { // of more words than one
		if unsaid.MatchString(text) {
			continue
		}
		stands := func(x string) bool {
			if german[x] != "" {
				return true
			}
			for key := range german {
				if strings.Contains(key, x) {
					return true
				}
			}
			return false
		}
		trimmed := strings.Trim(text, " ;:(.")
		has := slices.ContainsFunc([]string{text, strings.TrimSuffix(text, " (%s)"), trimmed, numbers.ReplaceAllString(trimmed, "#")}, stands)
		if sentences := regexp.MustCompile(`[.?] `).Split(trimmed, -1); !has && len(sentences) > 1 {
			has = !slices.ContainsFunc(sentences, func(x string) bool { return !stands(x) })
		}
		assert.True(t, has, "%s: no German in texts.json, under \"said de\", for %q", where, text)
	}
	for key, words := range german { // as much is put in, and nothing is left out
		if verb.MatchString(strings.ReplaceAll(key, "%%", "")) {
			slots := regexp.MustCompile(`(?:` + verb.String() + `)+`)
			assert.Len(t, slots.FindAllString(strings.ReplaceAll(words, "%%", ""), -1), len(slots.FindAllString(strings.ReplaceAll(key, "%%", ""), -1)), key)
		}
	}
}

// heard is what check, rules and parsers say of the shipped products, whole and spoilt.
func heard(t *testing.T) []string {
	t.Helper()
	entries, err := catalog.All()
	require.NoError(t, err)
	said, drawn := map[string]string{}, rand.New(rand.NewPCG(1, 2))
	shape := regexp.MustCompile(`"[^"]*"|-?\d+(?:\.\d+)?`)
	say := func(text string) { said[shape.ReplaceAllString(text, "#")] = text }
	hear := func(file string, data string, draws int) {
		p, err := profile.Parse(file, []byte(data))
		if found, ok := err.(source.Findings); ok {
			for _, f := range found {
				f.Excerpt = ""
				say("error: " + f.Error())
			}
		}
		if err != nil {
			return
		}
		found := lint.Product(p, file, lint.Cabinet{ChamberHigh: 115, CoreError: 1.5, Where: profile.Jurisdiction(drawn.IntN(3))}) // it rehearses
		for _, where := range []profile.Jurisdiction{0, 1, 2} {
			for _, f := range append(found, formula.Judge(p, p.Where(where)).Findings...) {
				say(f.Severity.Asks() + ": " + f.Error())
			}
			rules := proof.RulesOf(p, where, 1)
			for range draws {
				c := proof.Claim{Passed: drawn.IntN(9), Cooled: time.Duration(drawn.IntN(9)) * time.Hour, Warm: time.Duration(drawn.IntN(20)) * time.Hour, Eaten: drawn.IntN(2) == 0}
				c.Surface.Cook, c.Surface.Seen = 3*time.Hour, time.Duration(drawn.IntN(4))*time.Hour
				c.Smoking.Hung, c.Smoking.Warm, c.Smoking.Hot = time.Duration(drawn.IntN(60))*time.Hour, time.Duration(drawn.IntN(30))*time.Hour, time.Duration(drawn.IntN(2))*time.Hour
				c.ComeUp.Begun, c.ComeUp.Time, c.ComeUp.Unproven = drawn.IntN(2) == 0, time.Duration(drawn.IntN(9))*time.Hour, drawn.IntN(2) == 0
				for _, j := range proof.Judge(&rules, &c, drawn.IntN(2) == 0) {
					say(j.Why)
				}
			}
		}
		if c, err := shipped.Find("steel-box"); err == nil && file != "mine.yaml" {
			short, err := sim.Reach(t.Context(), sim.Setup{Product: p, Cabinet: c.Value})
			require.NoError(t, err)
			if more, ok := sim.TooMuch(p, c.Value, file); ok {
				say(more.Severity.Asks() + ": " + more.Error())
			}
			for i := range short {
				found := short[i].Finding(p, file)
				say(found.Severity.Asks() + ": " + found.Error())
			}
		}
		_, why := p.Rest()
		say(why)
	}
	for _, e := range entries {
		whole := string(e.Data)
		hear(e.File, whole, 60)
		lines := strings.Split(whole, "\n")
		for i := range lines {
			hear("mine.yaml", strings.Join(slices.Delete(slices.Clone(lines), i, i+1), "\n"), 6)
			for _, other := range []string{"7", "999", "-3"} {
				if numbers.MatchString(lines[i]) {
					changed := slices.Clone(lines)
					changed[i] = numbers.ReplaceAllString(lines[i], other)
					hear("mine.yaml", strings.Join(changed, "\n"), 2)
				}
			}
		}
	}
	var all []string
	for _, text := range said {
		all = append(all, text)
	}
	slices.Sort(all)
	return all
}

// What check says of products that are spoilt in some thousand ways, and the reasons of their
// rules, come out in German on the page, with no English left between names and figures.
func TestFindingsAndReasonsInGerman(t *testing.T) {
	if testing.Short() { // minutes with the race detector, for what a browser reads in seconds
		t.Skip("long, and of one goroutine: it runs without -short")
	}
	all := heard(t)
	t.Logf("%d different texts", len(all))
	list, err := json.Marshal(all)
	require.NoError(t, err)
	ctx := browser(t)
	server := behind(t, handler(accepting(idle())))
	do(t, ctx, chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	do2(t, ctx, "keep({language: 'de'}); dress()")
	left := read(t, ctx, string(list)+`.map(text => [text, said(text), tongue(text)]).filter(([text, german, tongue]) => tongue !== 'de' ||
		/\b(the|is|are|and|of|with|without|for|not|has|than|takes|write)\b/.test(german.replace(/"[^"]*"|\([^()]*\)|\{[^{}]*\}|not ready to eat|fermented and dried|not above|: for: /g, ''))).map(x => x.slice(0, 2).join('\n\t')).join('\n')`)
	assert.Empty(t, left)
	if dir := os.Getenv("SCREENSHOTS"); dir != "" {
		words := read(t, ctx, string(list)+`.map(text => text + '\n\t' + said(text)).join('\n')`)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "german.txt"), []byte(words), 0o644))
	}
}
