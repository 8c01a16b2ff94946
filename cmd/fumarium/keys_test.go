package main

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/keys"
)

func TestKeys(t *testing.T) {
	code, all, _ := call(t, "keys")
	require.Equal(t, exitGood, code)
	for _, kind := range keys.Files {
		assert.Contains(t, all, "Keys of a "+kind+" file\n")
		_, alone, _ := call(t, "keys", kind)
		assert.Contains(t, all, alone)
	}

	_, out, _ := call(t, "keys", "product", "stages.chamber")
	assert.Equal(t, `Keys of a product file

stages.chamber
  what the chamber is heated to
  takes:    from 0 °C to 130 °C (a smokehouse works below that; above it dripping fat can catch fire)
  left out: needed without heater
  example:  chamber: 55 °C

`, out)
	_, out, _ = call(t, "keys", "product", "stages.chamber", "--units", "F")
	assert.Contains(t, out, "from 32 °F to 266 °F")
	assert.Contains(t, out, "example:  chamber: 55 °C", "as it stands in the file")

	_, out, _ = call(t, "keys", "second lag", "until.any")
	for _, want := range []string{"stages.until.any\n", "stages.until.any.confirm\n", "response.second lag\n"} {
		assert.Contains(t, out, want)
	}
	assert.NotContains(t, out, "stages.until\n")

	code, _, stderr := call(t, "keys", "cabinet", "stages")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, `no cabinet file has a key "stages"; `+"`fumarium keys` tells all there are")
}

func TestKeysJSON(t *testing.T) {
	_, out, _ := call(t, "keys", "--json")
	var all []keys.Key
	d := json.NewDecoder(strings.NewReader(out))
	d.DisallowUnknownFields()
	require.NoError(t, d.Decode(&all))
	at := slices.IndexFunc(all, func(k keys.Key) bool { return k.File == "cabinet" && k.Path == "mains" })
	require.GreaterOrEqual(t, at, 0)
	assert.Equal(t, keys.Key{File: "cabinet", Path: "mains", Meaning: "what thermocouple chips filter out", Values: "50 Hz or 60 Hz", Words: []string{"50 Hz", "60 Hz"},
		Default: "50 Hz", Example: "60 Hz"}, all[at])
}
