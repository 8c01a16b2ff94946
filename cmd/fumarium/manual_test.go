package main

import (
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile/quantity"
)

//go:generate go test . -run ^TestAlarmManualIsTheCatalogue$ -update

var update = flag.Bool("update", false, "make the pages of deploy anew; read the difference before you keep it")

// madeFrom is the line of the manual behind which everything is made here.
const madeFrom = "<!-- From here on made from the alarm catalogue (controller/trip) by: go generate ./... -->\n"

// TestAlarmManualIsTheCatalogue holds the manual to the catalogue and to the hazard
// table: every alarm stands in it, with a test of a hazard's row that looks at it.
func TestAlarmManualIsTheCatalogue(t *testing.T) {
	file := filepath.Join("..", "..", "deploy", "alarms.md")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	own, rest, found := strings.Cut(string(data), madeFrom)
	require.True(t, found, "%s has lost the line %q", file, madeFrom)
	want := alarmManual(t)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(own+madeFrom+want), 0o644))
		return
	}
	assert.Equal(t, want, rest, "the alarm catalogue or hazards.md has changed; run: go generate ./...")
}

func alarmManual(t *testing.T) string {
	looks := hazardTests(t)
	var b strings.Builder
	for p := trip.Now; p < trip.Priorities; p++ {
		fmt.Fprintf(&b, "\n## %s\n", capital(p.String()))
		for c := trip.None + 1; c < trip.Count; c++ {
			e := c.Entry()
			if e.Priority != p {
				continue
			}
			tests := looks[c]
			assert.NotEmpty(t, tests, "%s: no row of deploy/hazards.md names a test that looks at trip.%s; write the test, then the row", e.Name, constant(c))
			facts := []string{e.Priority.String()}
			if e.Trips {
				facts = append(facts, "trip")
			}
			if e.Delay > 0 {
				facts = append(facts, "after "+quantity.FormatDuration(e.Delay))
			} else {
				facts = append(facts, "at once")
			}
			if len(e.Suppresses) > 0 {
				names := make([]string, len(e.Suppresses))
				for i, other := range e.Suppresses {
					names[i] = other.String()
				}
				facts = append(facts, "silences "+strings.Join(names, " and "))
			}
			fmt.Fprintf(&b, "\n### %s\n\n*%s*\n\n%s\n\n**Do:** %s\n\nTests: `%s`\n",
				e.Name, strings.Join(facts, ", "), e.Meaning, e.DoAnywhere(), strings.Join(tests, "`, `"))
		}
	}
	return b.String()
}

func capital(word string) string { return strings.ToUpper(word[:1]) + word[1:] }

// TestAnAlarmThatDoesNotExist must be told apart by whoever scripts it, without asking
// a daemon.
func TestAnAlarmThatDoesNotExist(t *testing.T) {
	for _, command := range []string{"acknowledge", "shelve"} {
		status, _, stderr := call(t, command, "boredom", "--server", "http://127.0.0.1:1")
		assert.Equal(t, exitUsage, status)
		assert.Contains(t, stderr, `no alarm is called "boredom"`)
		status, help, _ := call(t, command, "--help")
		assert.Equal(t, exitGood, status)
		for c := trip.None + 1; c < trip.Count; c++ {
			assert.Contains(t, stderr, c.String())
			assert.True(t, command == "shelve" || strings.Contains(help, c.String()), "%s --help: %s", command, c)
		}
	}
	status, _, _ := call(t, "acknowledge", "core-out", "--server", "http://127.0.0.1:1", "--state", t.TempDir())
	assert.Equal(t, exitCouldNo, status, "that one exists; the daemon does not")
}

// constant is the name of an alarm's code: no-heat is trip.NoHeat.
func constant(c trip.Code) (name string) {
	for word := range strings.SplitSeq(c.String(), "-") {
		name += string(unicode.ToUpper(rune(word[0]))) + word[1:]
	}
	return name
}

// hazardTests finds, among the tests that hazards.md names, those that look at each
// alarm: by its code or by its name.
func hazardTests(t *testing.T) map[trip.Code][]string {
	table, err := os.ReadFile(filepath.Join("..", "..", "deploy", "hazards.md"))
	require.NoError(t, err)
	codes := map[string]trip.Code{}
	for c := trip.None + 1; c < trip.Count; c++ {
		codes[constant(c)], codes[fmt.Sprintf("%q", c)] = c, c
	}
	looks := map[trip.Code][]string{}
	err = filepath.WalkDir(filepath.Join("..", ".."), func(path string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || !strings.Contains(string(table), "`"+f.Name.Name+"`") {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				c := trip.None
				switch n := n.(type) {
				case *ast.SelectorExpr:
					if x, ok := n.X.(*ast.Ident); ok && x.Name == "trip" {
						c = codes[n.Sel.Name]
					}
				case *ast.BasicLit:
					c = codes[n.Value]
				}
				if c != trip.None && !slices.Contains(looks[c], f.Name.Name) {
					looks[c] = append(looks[c], f.Name.Name)
				}
				return true
			})
		}
		return nil
	})
	require.NoError(t, err)
	for _, names := range looks {
		slices.Sort(names)
	}
	return looks
}
