package main

import (
	"cmp"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

//go:generate go test . -run ^TestThirdPartyLicences$ -update

// boards are the machines that the program is built for, as GOARCH.
var boards = []string{"amd64", "arm64", "arm", "riscv64"}

// licenceFile is how the authors of modules call what must go along with a program.
// edl-v10 is the Eclipse Distribution License, a BSD licence with 3 clauses, which may be
// taken in place of the EPL of the same module's LICENSE, and is taken here.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|copyright|notice)|[-_.]licen[cs]e|^edl-v10$`)

// licenceKinds are the licences that may be linked in, by a sentence that only that
// one has. A module under another is a decision: read it first.
var licenceKinds = []struct{ name, sentence string }{
	{"Apache 2.0", "Apache License Version 2.0, January 2004"},
	{"MIT", "Permission is hereby granted, free of charge, to any person obtaining a copy of this software"},
	{"BSD with 3 clauses", "to endorse or promote products derived from this software without specific prior written permission"},
}

// TestThirdPartyLicences holds deploy/third-party-licences.md to the modules that are
// linked into the programs on any board. It reads the module cache and no network.
func TestThirdPartyLicences(t *testing.T) {
	file := filepath.Join("..", "..", "deploy", "third-party-licences.md")
	want := thirdParty(t)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(want), 0o644))
		return
	}
	got, err := os.ReadFile(file)
	require.NoError(t, err)
	if string(got) != want { // two hundred kilobytes are no message
		t.Errorf("%s is not what go.mod links in (first difference: line %d); run: go generate ./cmd/fumarium", file, firstDifference(string(got), want))
	}
}

func firstDifference(a, b string) int {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return i + 1
		}
	}
	return min(len(x), len(y)) + 1
}

// thirdParty is the page: a table of modules, then every text once.
func thirdParty(t *testing.T) string {
	goroot := golist(t, nil, "env", "GOROOT")[0]
	folders := map[string][]string{"Go's runtime and standard library": {goroot}}
	roots := map[string]string{"Go's runtime and standard library": goroot}
	for _, board := range boards {
		env := []string{"GOOS=linux", "GOARCH=" + board, "CGO_ENABLED=0"}
		const format = `{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}|{{.Dir}}|{{$.Dir}}{{end}}{{end}}`
		for _, line := range golist(t, env, "list", "-deps", "-f", format, ".", "../fumarium-hub", "../fumarium-mqtt") {
			part := strings.Split(line, "|")
			require.Len(t, part, 3, line)
			roots[part[0]] = part[1]
			// A folder may have a licence of its own, down from the module's.
			for dir := part[2]; ; dir = filepath.Dir(dir) {
				if !slices.Contains(folders[part[0]], dir) {
					folders[part[0]] = append(folders[part[0]], dir)
				}
				if dir == part[1] {
					break
				}
			}
		}
	}
	require.Greater(t, len(folders), 10)

	modules := make([]string, 0, len(folders))
	for m := range folders {
		modules = append(modules, m)
	}
	slices.Sort(modules)
	var table, texts strings.Builder
	users := map[string][]string{}
	var order []string
	for _, m := range modules {
		kind := ""
		slices.Sort(folders[m])
		for _, dir := range folders[m] {
			entries, err := os.ReadDir(dir)
			require.NoError(t, err)
			for _, e := range entries {
				if e.IsDir() || !licenceFile.MatchString(e.Name()) || strings.HasSuffix(e.Name(), ".go") {
					continue
				}
				data, err := os.ReadFile(filepath.Join(dir, e.Name()))
				require.NoError(t, err)
				text := strings.TrimSpace(strings.ReplaceAll(string(data), "\r\n", "\n"))
				if name := strings.TrimSuffix(e.Name(), ".txt"); dir == roots[m] && (strings.EqualFold(name, "LICENSE") || name == "edl-v10") {
					kind = cmp.Or(kindOf(text), kind)
				}
				name, err := filepath.Rel(roots[m], filepath.Join(dir, e.Name()))
				require.NoError(t, err)
				if users[text] == nil {
					order = append(order, text)
				}
				users[text] = append(users[text], m+": "+filepath.ToSlash(name))
			}
		}
		assert.NotEmpty(t, kind, "%s has no LICENSE of a known kind below %s; read what it asks for before you link it in", m, roots[m])
		fmt.Fprintf(&table, "| %s | %s |\n", m, kind)
	}
	for _, text := range order {
		fence := "````````"
		require.NotContains(t, text, fence)
		texts.WriteString("\n## " + strings.Join(users[text], "\n## ") + "\n\n" + fence + "text\n" + text + "\n" + fence + "\n")
	}
	return `# What is linked into fumarium, fumarium-hub and fumarium-mqtt, and its licences

Made from the module cache by: go generate ./cmd/fumarium. Whoever hands a program on hands these texts on with it.
They say nothing of fumarium's own code.

| module | licence |
|---|---|
` + table.String() + texts.String()
}

func kindOf(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	for _, k := range licenceKinds {
		if strings.Contains(text, k.sentence) {
			return k.name
		}
	}
	return ""
}

// golist asks the go command and returns its lines, each once.
func golist(t *testing.T, env []string, args ...string) []string {
	t.Helper()
	c := exec.Command("go", args...)
	c.Env = append(os.Environ(), env...)
	c.Stderr = os.Stderr
	out, err := c.Output()
	require.NoError(t, err, "go %s", strings.Join(args, " "))
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	lines = slices.DeleteFunc(lines, func(l string) bool { return l == "" })
	slices.Sort(lines)
	return slices.Compact(lines)
}
