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

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/caution"
	"fumarium/controller/trip"
	"fumarium/profile/assistant"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
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
	require.Len(t, all, 4)
	places := regexp.MustCompile(`\{\w+\}`)
	for key, text := range en {
		assert.Contains(t, de, key)
		assert.ElementsMatch(t, places.FindAllString(text, -1), places.FindAllString(de[key], -1), key)
		assert.NotContains(t, text+de[key], "!", "no exclamation marks: %s", key)
		assert.NotRegexp(t, `log\d|log₁₀`, text+de[key], key)
	}
	assert.Len(t, de, len(en))
	// The answer line on the narrowest phone, as the design has it.
	for language, of := range map[string]map[string]string{"en": en, "de": de} {
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

// What the controller says to whoever stands before the page has its German, sentence by
// sentence with # for a number: every alarm, caution, refusal, choice of the assistant and
// state of a probe. Nothing stands there that the controller does not say.
func TestWhatTheControllerSaysHasItsGerman(t *testing.T) {
	german := texts(t)["said de"]
	said := map[string]bool{}
	say := func(text string) {
		text = regexp.MustCompile(` ?\(mended [\w-]+\)`).ReplaceAllString(text, "")
		text = regexp.MustCompile(`\d+(?:\.\d+)?`).ReplaceAllString(strings.Join(strings.Fields(text), " "), "#")
		for text != "" {
			sentence, rest := text, ""
			if at := regexp.MustCompile(`[.!?] [A-Z]`).FindStringIndex(text); at != nil {
				sentence, rest = text[:at[0]+1], text[at[0]+2:]
			}
			said[sentence] = true
			assert.Equal(t, strings.Count(sentence, "#"), strings.Count(german[sentence], "#"), sentence)
			assert.NotEmpty(t, german[sentence], sentence)
			text = rest
		}
	}
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		say(e.Meaning)
		say(e.Action)
		say(e.Mended)
		for _, more := range e.More {
			say(more.Text)
		}
	}
	for _, text := range append(caution.BeforeHeat, caution.Smoulders, caution.HeatReturns, caution.BeforeReset) {
		say(text)
	}
	for _, text := range proof.Uncovered() {
		say(text)
	}
	for r := controller.Refusal(1); r.String() != "refused"; r++ {
		say(r.String())
	}
	for s := sensors.Status(0); s <= sensors.Implausible; s++ {
		say(s.String())
	}
	for r := cabinet.ChamberProbe; r.String() != quantity.Unknown; r++ {
		say(r.String())
	}
	for _, kind := range assistant.Kinds {
		c := assistant.Choice{Kind: kind}
		for _, meat := range assistant.OffersFor(c).Meats {
			c.Meat, c.Fat = meat.Key, ""
			o := assistant.OffersFor(c)
			for _, fat := range o.Fats {
				c.Fat = fat.Key
				o.Percents = append(o.Percents, assistant.OffersFor(c).Percents...)
			}
			for _, place := range o.Places {
				c.Place = place.Key
				o.Cures = append(o.Cures, assistant.OffersFor(c).Cures...)
			}
			for _, offers := range [][]assistant.Offer{o.Kinds, o.Places, o.Meats, o.Fats, o.Percents, o.Casings, o.Cures, o.Cores} {
				for _, one := range offers {
					say(one.Words)
				}
			}
		}
	}
	for _, at := range []string{"1 s", "1 min", "1 min 2 s", "1 h", "1 h 2 min"} { // as snapshot has it of an absence
		say("For how long was the controller away, from its last step to its return? The clock does not show it; it was at least " + at + ". Say the longest that it may have been, or stop the batch; nothing heats until then")
	}
	spoken := spokenSomewhere(t)
	for sentence := range german {
		assert.True(t, said[sentence] || spoken(sentence), "nobody says: %s", sentence)
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
	var all strings.Builder // of scripts and pages
	for _, name := range parts {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		all.Write(data)
		assert.LessOrEqual(t, strings.Count(string(data), "\n"), 500, name)
		for _, m := range asked.FindAllStringSubmatch(string(data), -1) {
			assert.Contains(t, en, m[1], name)
		}
		said := strings.ReplaceAll(string(data), "'does not apply'", "''") // an answer of the API
		assert.Empty(t, sentence.FindAllString(said, -1), name)
	}
	pages, err := filepath.Glob("assets/*.html")
	require.NoError(t, err)
	for _, name := range pages {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		all.Write(data)
	}
	begun := regexp.MustCompile(`'((?:[\w-]+\.)+|by )' \+`).FindAllStringSubmatch(all.String(), -1) // keys that the script puts together
	for key := range en {
		asked := strings.Contains(all.String(), "'"+key+"'") || strings.Contains(all.String(), `"`+key+`"`)
		for _, of := range begun {
			asked = asked || strings.HasPrefix(key, of[1])
		}
		assert.True(t, asked, "no page asks for %q", key)
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
