package web_test

import (
	"encoding/json"
	"html"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
)

func texts(t *testing.T) map[string]map[string]string {
	t.Helper()
	data, err := os.ReadFile("assets/texts.json")
	require.NoError(t, err)
	var all map[string]map[string]string
	require.NoError(t, json.Unmarshal(data, &all))
	return all
}

// Both languages have the same texts with the same places for values, an own line for every
// alarm, and lines that are short enough for the place where they stand.
func TestBothLanguagesSayTheSame(t *testing.T) {
	all := texts(t)
	en, de := all["en"], all["de"]
	require.Len(t, all, 2)
	places := regexp.MustCompile(`\{\w+\}`)
	for key, text := range en {
		assert.Contains(t, de, key)
		assert.ElementsMatch(t, places.FindAllString(text, -1), places.FindAllString(de[key], -1), key)
		assert.NotContains(t, text+de[key], "!", "no exclamation marks: %s", key)
		assert.NotRegexp(t, `log\d|log₁₀`, text+de[key], key)
	}
	assert.Len(t, de, len(en))
	// The answer line on the narrowest phone, as the design has it.
	for language, of := range all {
		for key, text := range of {
			if strings.HasPrefix(key, "head.") {
				assert.LessOrEqual(t, utf8.RuneCountInString(text), 26, "%s %s: %s", language, key, text)
			}
		}
		for _, key := range []string{"answer.quiet", "answer.turn", "answer.idle", "answer.held"} {
			assert.LessOrEqual(t, utf8.RuneCountInString(of[key]), 26, "%s %s", language, key)
		}
		for _, key := range []string{"confirm", "reset", "absence", "know"} {
			assert.LessOrEqual(t, utf8.RuneCountInString(of[key]), 30, "%s %s", language, key)
		}
	}
	for c := trip.None + 1; c < trip.Count; c++ {
		assert.Contains(t, en, "head."+c.String())
	}
}

// No text of the page stands outside the one file: not in the script, where every key that
// is asked for is there, nor in the page but for what stands in without the script.
func TestTextsStandInOneFile(t *testing.T) {
	en := texts(t)["en"]
	parts, err := filepath.Glob("assets/*.js")
	require.NoError(t, err)
	asked := regexp.MustCompile(`\bt\('([^']+)'[,)]`)
	sentence := regexp.MustCompile(`'[A-Z][a-z]+ [a-z]+[^']*'|'[a-z]+ [a-z]+ [a-z]+'`)
	for _, name := range parts {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		assert.LessOrEqual(t, strings.Count(string(data), "\n"), 500, name)
		for _, m := range asked.FindAllStringSubmatch(string(data), -1) {
			assert.Contains(t, en, m[1], name)
		}
		said := strings.ReplaceAll(string(data), "'does not apply'", "''") // an answer of the API
		assert.Empty(t, sentence.FindAllString(said, -1), name)
	}
	page, err := os.ReadFile("assets/page.html")
	require.NoError(t, err)
	for _, m := range regexp.MustCompile(`data-(?:t|label)="([^"]+)"`).FindAllStringSubmatch(string(page), -1) {
		assert.Contains(t, en, m[1])
	}
	_, body, _ := strings.Cut(string(page), "<body")
	body = regexp.MustCompile(`(?s)<noscript>.*?</noscript>|\{\{.*?\}\}|<[^>]*>`).ReplaceAllString(">"+strings.TrimPrefix(body, ` class="waiting">`), "")
	assert.NotRegexp(t, `[A-Za-z]{2}`, html.UnescapeString(body))
	assert.Equal(t, http.StatusOK, ask(handler(accepting(idle())), http.MethodGet, "/page.js", "").Code)
}

// The files of the script share one scope: a name that two of them declare stops the whole page.
func TestNoNameOfTheScriptIsDeclaredTwice(t *testing.T) {
	parts, err := filepath.Glob("assets/*.js")
	require.NoError(t, err)
	declared, in := regexp.MustCompile(`(?m)^(?:const|let|(?:async )?function) (\w+)|(?m)^let (?:\w+ = [^,\n]+, )+(\w+) = `), map[string]string{}
	for _, name := range parts {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, m := range declared.FindAllStringSubmatch(string(data), -1) {
			for _, n := range m[1:] {
				if n == "" {
					continue
				}
				assert.NotContains(t, in, n, "%s, and %s", name, in[n])
				in[n] = name
			}
		}
	}
	assert.Greater(t, len(in), 50)
}
