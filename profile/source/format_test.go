package source

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two steps of a file that does not exist: what was called wood became fuel, and then
// stood below generator.
var invented = []Step{
	func(m *Map) { m.Rename("wood", "fuel") },
	func(m *Map) { m.Rename("blower", "fan"); m.Rename("nothing", "something") },
}

func TestFormat(t *testing.T) {
	read := func(text string, steps []Step) (fuel, fan string, ok bool, err error) {
		doc, err := Open("f.yaml", []byte(text))
		require.NoError(t, err)
		root := doc.Root().Named("a thing")
		if ok = root.Format(steps...); ok {
			fuel, fan = root.Need("fuel").Text(), root.Need("fan").Text()
			root.Done()
		}
		return fuel, fan, ok, doc.Err()
	}
	for text, says := range map[string]string{
		"wood: beech\nblower: big\n":                    "",
		"format: 1\nwood: beech\nblower: big\n":         "",
		"format: 2\nfuel: beech\nblower: big\n":         "",
		"fuel: beech\nfan: big\nformat: 3\n":            "",
		"format: 2\nwood: beech\nblower: big\n":         `2:1: a thing has no key "wood"`,
		"wood: beech\nfuel: oak\nblower: big\n":         `1:1: a thing has no key "wood"`,
		"format: 4\nchips: beech\n":                     "1:9: format: the file is of format 4, and this program knows formats up to 3; use the newer program",
		"format: 0\nwood: beech\n":                      `"0" is no format`,
		"format: 1.5\nwood: beech\n":                    `"1.5" is no format`,
		"format: 01\nwood: beech\n":                     `"01" is no format`,
		"format: {a: b}\nwood: beech\nblower: big\n":    "format",
		"format: 99999999999999999999\nwood: beech\n":   "is no format",
		"# a remark\nwood: [beech]\nblower: big\n":      "2:7: fuel: ",
		"wood: beech\nformat: 2\nblower: big\nfan: x\n": `no key "wood"`,
	} {
		fuel, fan, _, err := read(text, invented)
		if says == "" {
			require.NoError(t, err, text)
			assert.Equal(t, "beech big", fuel+" "+fan, text)
			continue
		}
		require.Error(t, err, text)
		assert.ErrorContains(t, err, says, text)
	}
	// What a newer program wrote is one fault, and not one for each key besides.
	_, _, ok, err := read("format: 2\nwhatever: 1\nit: 2\n", nil)
	assert.False(t, ok)
	assert.Len(t, err.(Findings), 1)
}
