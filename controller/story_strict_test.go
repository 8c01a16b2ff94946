package controller_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A slip of the pen in a story must not pass for a story about something else.
func TestStoriesAreReadStrictly(t *testing.T) {
	for text, fault := range map[string]string{
		"bake 20m\n----\n":                        `unknown directive "bake"`,
		"run 20m chambre=20\n----\n":              `run: unknown key "chambre"`,
		"run 20m air=warm\n----\n":                `"warm" is no number`,
		"run 20m 30m\n----\n":                     "run: 2 words where 1 to 1 belong",
		"run 20m air=1 air=2\n----\n":             `key "air" stands twice`,
		"run 20m every=0s\n----\n":                "steps of 0s never get anywhere",
		"run soon\n----\n":                        "run: ",
		"set air=20..30\n----\n":                  "20..30 takes time",
		"set door=ajar\n----\n":                   "door=ajar is none of none, shut, open, unread",
		"set core1=meat-cold\n----\n":             `"-cold" is no number`,
		"until alarm core-gone\n----\n":           `unknown alarm "core-gone"`,
		"until dinner\n----\n":                    `unknown event "dinner"`,
		"until stage\n----\n":                     "what follows stage",
		"acknowledge core-gone\n----\n":           `unknown alarm "core-gone"`,
		"shelve core-lost long=1h\n----\n":        `shelve: unknown key "long"`,
		"start slowly\n----\n":                    `unknown word "slowly"`,
		"confirm 2-perhaps\n----\n":               `unknown question "2-perhaps"`,
		"absence absence-0 for=1h\n----\n":        `unknown question "absence-0"`,
		"mended\n----\n":                          "mended: 0 words where 1 to 1 belong",
		"hold fast\n----\n":                       "hold: 1 words where 0 to 0 belong",
		"each dance\n----\n":                      `unknown command "dance"`,
		"show mercy\n----\n":                      `unknown view "mercy"`,
		"product cake\n----\n":                    "no such file",
		"cabinet oven\n----\n":                    "no such file",
		"----\n":                                  "dashes without a directive",
		"hold\n\n----\n":                          "an empty line before the dashes",
		"hold\n":                                  "no dashes below them",
		"hold\n----\n":                            "the story has no end",
		"hold\n----\n\nend\n----\n\nstop\n----\n": `"stop" stands after the end, in line 4`,
	} {
		_, err := parseStory("s.txt", text)
		if assert.Error(t, err, text) {
			assert.Contains(t, err.Error(), fault)
			assert.Contains(t, err.Error(), "s.txt:")
		}
	}
}

// An alarm that no story has raised is one of which nobody would see that it changes.
func TestEveryAlarmHasAStory(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "stories", "*.txt"))
	require.NoError(t, err)
	var told strings.Builder
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		told.Write(text)
	}
	for _, name := range alarms() {
		assert.Contains(t, told.String(), "alarm "+name+" raised", name)
	}
}
