package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	packageLine = regexp.MustCompile(`(?m)^package (\w+?)(_test)?$`)
	testFunc    = regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T\)`)
	namedTest   = regexp.MustCompile("`(\\w+\\.Test\\w+)`")
)

// TestEveryCaseHasItsTest holds the list of what a verdict must not call good to the tests:
// each row names at least one, and each of them exists.
func TestEveryCaseHasItsTest(t *testing.T) {
	tests := map[string]bool{}
	for _, room := range []string{"profile", "sim", "controller", "cmd"} {
		err := filepath.WalkDir(filepath.Join("..", "..", room), func(path string, _ os.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, "_test.go") {
				return err
			}
			source, err := os.ReadFile(path)
			require.NoError(t, err)
			if name := packageLine.FindSubmatch(source); name != nil {
				for _, f := range testFunc.FindAllSubmatch(source, -1) {
					tests[string(name[1])+"."+string(f[1])] = true
				}
			}
			return nil
		})
		require.NoError(t, err)
	}
	data, err := os.ReadFile(filepath.Join("..", "..", "profile", "CASES.md"))
	require.NoError(t, err)
	rows := 0
	for _, line := range strings.Split(string(data), "\n") {
		cells := strings.Split(line, "|")
		if len(cells) != 5 || strings.Contains(line, "---") || strings.HasPrefix(line, "| case |") {
			assert.False(t, len(cells) != 5 && strings.HasPrefix(line, "|"), "not a row of three cells: %s", line)
			continue
		}
		rows++
		names := namedTest.FindAllStringSubmatch(cells[3], -1)
		assert.NotEmpty(t, names, "no test in the row: %s", line)
		for _, name := range names {
			assert.True(t, tests[name[1]], "the row names a test that does not exist, %s: %s", name[1], line)
		}
	}
	assert.Greater(t, rows, 40)
}
