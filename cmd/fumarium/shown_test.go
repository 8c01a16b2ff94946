package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller/web"
)

func TestShown(t *testing.T) {
	for text, want := range map[string]string{
		"good colour, 68 °C":         "good colour, 68 °C",
		"68\u00a0°C 燻製 ‘tender’ ½ 😀": "68\u00a0°C 燻製 ‘tender’ ½ 😀",
		`a \n as typed`:              `a \n as typed`,
		`"quoted" 'so'`:              `"quoted" 'so'`,
		"two\nlines\r\tand a tab":    `two\nlines\r\tand a tab`,
		"\x1b[31mred\x1b[0m":         `\x1b[31mred\x1b[0m`,
		"\x9b31m":                    `\x9b31m`,
		"\u009b31m":                  `\u009b31m`,
		"\x00\x07\x7f":               `\x00\a\x7f`,
		"\u202egnp.exe\u202c":        `\u202egnp.exe\u202c`,
		"\u2066\u200e\u061c":         `\u2066\u200e\u061c`,
		"in\u200bvisible\ufeff":      `in\u200bvisible\ufeff`,
		"\u2028\u2029\u0085":         `\u2028\u2029\u0085`,
		"":                           "",
	} {
		assert.Equal(t, want, shown(text))
	}
	assert.Equal(t, "a\nb\\x1b[A\n", shownLines("a\nb\x1b[A\n"))
}

// Whatever comes in, one plain line comes out, and plain text comes out as it was.
func TestShownIsOnePlainLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		if rapid.Bool().Draw(t, "runes") {
			text = rapid.String().Draw(t, "text")
		}
		got := shown(text)
		if !utf8.ValidString(got) {
			t.Fatalf("%q became %q", text, got)
		}
		for _, r := range got {
			if unicode.In(r, unicode.C, unicode.Zl, unicode.Zp) {
				t.Fatalf("%q became %q with %U in it", text, got, r)
			}
		}
		if shown(got) != got {
			t.Fatalf("%q is changed again", got)
		}
	})
}

// requirePlain fails when anything but lines of printing text went to the terminal.
func requirePlain(t *testing.T, text string) {
	t.Helper()
	require.Equal(t, shownLines(text), text)
}

// What a daemon answers is no reason to trust it with the terminal.
func TestTheStatusOfAnyDaemonIsPlain(t *testing.T) {
	const evil = "x\x1b[2J\nalarm     none\u202e"
	name := evil
	s := web.Status{
		Cabinet: evil, World: evil, State: evil, Product: &name, ElapsedSeconds: new(float64),
		Trip: &web.Trip{Code: evil, Meaning: evil, Action: evil}, Prompt: &web.Prompt{Question: evil, Text: evil},
		Stage: &web.StageNow{Name: evil, EndedBy: evil}, Alarms: []web.Alarm{{Code: evil, Priority: evil, State: evil, Action: evil}},
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			_ = json.NewEncoder(w).Encode(s)
			return
		}
		w.WriteHeader(http.StatusConflict)
		_ = json.NewEncoder(w).Encode(map[string]string{"detail": evil})
	}))
	defer server.Close()
	t.Setenv("FUMARIUM_TOKEN", "a token of the test")
	status, out, _ := call(t, "status", "--server", server.URL)
	require.Equal(t, exitGood, status)
	requirePlain(t, out)
	assert.NotContains(t, out, "\nalarm     none")
	status, out, errText := call(t, "confirm", "--server", server.URL)
	assert.Equal(t, exitBad, status)
	requirePlain(t, out)
	requirePlain(t, errText)
}

func TestNamesOfFilesAreShownPlain(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "a\x1b[2J\nb: good\u202e.yaml")
	require.NoError(t, os.WriteFile(name, []byte("product: x\n"), 0o600))
	for _, args := range [][]string{{"check", name}, {"sheet", name}, {"rehearse", name}, {"assess", name}} {
		_, out, errText := call(t, args...)
		requirePlain(t, out)
		requirePlain(t, errText)
		assert.NotContains(t, out+errText, "\nb: good", args)
	}
	// A column's name is part of the verdict.
	log := file(t, "log.csv", "elapsed_minutes,\"core\nPASS\x1b[A_celsius\"\n0,20\n1,21\n")
	_, out, errText := call(t, "assess", log)
	requirePlain(t, out)
	requirePlain(t, errText)
	log = file(t, "log.csv", strings.ReplaceAll("elapsed_minutes,\"core\nPASS_celsius\"\n0,20\n1,21\n", "PASS", "PASS\u202e"))
	status, out, errText := call(t, "assess", log)
	assert.Equal(t, exitCouldNo, status, out)
	assert.Contains(t, errText, "invisible character")
}
