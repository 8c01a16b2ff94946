package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var changelog = filepath.Join("..", "..", "deploy", "changelog")

var (
	heading = regexp.MustCompile(`^fumarium \((\d+\.\d+\.\d+)\) [A-Za-z][A-Za-z-]*; urgency=(low|medium|high)$`)
	trailer = regexp.MustCompile(`^ -- [^<>]+ <[^<> ]+@[^<> ]+>  (\w{3}, \d{2} \w{3} \d{4} \d{2}:\d{2}:\d{2} [+-]\d{4})$`)
)

// readChangelog reads Debian's form of a changelog and returns the versions.
func readChangelog(text string) (versions []string, err error) {
	var last time.Time
	entries, open := 0, false
	for i, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		wrong := func(what string) error { return fmt.Errorf("line %d: %s: %q", i+1, what, line) }
		head, tail := heading.FindStringSubmatch(line), trailer.FindStringSubmatch(line)
		switch {
		case len(line) > 80:
			return nil, wrong("longer than a terminal is wide")
		case head != nil && !open:
			if len(versions) > 0 && !older(head[1], versions[len(versions)-1]) {
				return nil, wrong("not older than the version above")
			}
			versions, open, entries = append(versions, head[1]), true, 0
		case tail != nil && open:
			at, err := time.Parse(time.RFC1123Z, tail[1])
			switch {
			case err != nil:
				return nil, wrong(err.Error())
			case at.Format(time.RFC1123Z) != tail[1]:
				return nil, wrong("the date falls on another day of the week")
			case !last.IsZero() && !at.Before(last):
				return nil, wrong("not older than the date above")
			case entries == 0:
				return nil, wrong("a version without a change")
			}
			last, open = at, false
		case open && strings.HasPrefix(line, "  * ") && len(line) > 4:
			entries++
		case open && entries > 0 && strings.HasPrefix(line, "    ") && strings.TrimSpace(line) != "":
		case line == "":
		default:
			return nil, wrong("neither a heading, a change, nor a trailer in its place")
		}
	}
	if open {
		return nil, fmt.Errorf("the last version has no trailer")
	}
	return versions, nil
}

// older compares versions of three numbers.
func older(a, b string) bool {
	x, y := strings.Split(a, "."), strings.Split(b, ".")
	for i := range x {
		m, _ := strconv.Atoi(x[i])
		n, _ := strconv.Atoi(y[i])
		if m != n {
			return m < n
		}
	}
	return false
}

// TestChangelog holds the changelog to the form that Debian's tools read
// (deb-changelog(5)), newest first.
func TestChangelog(t *testing.T) {
	data, err := os.ReadFile(changelog)
	require.NoError(t, err)
	versions, err := readChangelog(string(data))
	require.NoError(t, err)
	assert.NotEmpty(t, versions)

	good := "fumarium (0.2.0) UNRELEASED; urgency=medium\n\n  * More.\n\n -- fumarium <fumarium@localhost>  Thu, 26 Nov 2026 08:00:00 +0000\n\n" +
		"fumarium (0.1.0) UNRELEASED; urgency=medium\n\n  * First,\n    and on.\n\n -- fumarium <fumarium@localhost>  Wed, 25 Nov 2026 08:00:00 +0000\n"
	_, err = readChangelog(good)
	require.NoError(t, err)
	for name, change := range map[string][2]string{
		"a wrong weekday":         {"Thu, 26", "Fri, 26"},
		"one blank before a date": {">  Wed", "> Wed"},
		"the older one first":     {"26 Nov 2026", "19 Nov 2026"},
		"a version that is none":  {"(0.2.0)", "(next)"},
		"versions out of order":   {"(0.2.0)", "(0.0.9)"},
		"a tab":                   {"  * More", "\t* More"},
		"no entry":                {"  * More.\n", ""},
		"no trailer":              {" -- fumarium <fumarium@localhost>  Wed, 25 Nov 2026 08:00:00 +0000\n", ""},
		"a long line":             {"More", strings.Repeat("more ", 20)},
	} {
		t.Run(name, func(t *testing.T) {
			require.Contains(t, good, change[0])
			_, err := readChangelog(strings.Replace(good, change[0], change[1], 1))
			assert.Error(t, err)
		})
	}
}

// TestDebianReadsTheChangelog asks Debian's own reader as well.
func TestDebianReadsTheChangelog(t *testing.T) {
	program, err := exec.LookPath("dpkg-parsechangelog")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("dpkg-parsechangelog is not on PATH; install it: apt-get install -y dpkg-dev")
		}
		t.Skip("dpkg-parsechangelog is not on PATH; apt-get install -y dpkg-dev runs this test")
	}
	data, err := os.ReadFile(changelog)
	require.NoError(t, err)
	versions, err := readChangelog(string(data))
	require.NoError(t, err)
	cmd := exec.Command(program, "--file", changelog, "--all", "--show-field", "Version")
	var warnings strings.Builder
	cmd.Stderr = &warnings
	newest, err := cmd.Output()
	require.NoError(t, err, warnings.String())
	assert.Empty(t, warnings.String())
	assert.Equal(t, versions[0], strings.TrimSpace(string(newest)))
}
