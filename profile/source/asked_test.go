package source

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
)

// What is noted is what was asked for, at its path, needed only if no mapping of that path
// could do without; reading without notes is the same.
func TestWhatIsAskedIsNoted(t *testing.T) {
	const text = "name: x\nparts:\n  - size: 4 cm\n    kind: red\n  - size: 5 cm\n"
	read := func(d *Document) error {
		root := d.Root()
		root.Need("name").Text()
		root.Take("absent")
		for i, item := range root.Need("parts").List(3) {
			m := item.Map()
			ReadIn(m.Need("size"), quantity.ParseLength, Range[quantity.Meters]{Low: 0, High: 1, Above: true, Text: quantity.Meters.String, Why: "it is small"})
			if i == 0 {
				m.Need("kind")
			}
			Choice(m.Take("kind"), []Word[int]{{"red", 1}, {"blue", 2}})
			m.Done()
		}
		root.Done()
		return d.Err()
	}
	d, err := Open("f.yaml", []byte(text))
	require.NoError(t, err)
	require.NoError(t, read(d))

	var notes Asked
	d, err = Open("f.yaml", []byte(text))
	require.NoError(t, err)
	d.Ask(&notes)
	require.NoError(t, read(d))
	got := map[string]AskedKey{}
	may := map[string]string{}
	var order []string
	for _, k := range notes.Keys() {
		got[k.Path], may[k.Path] = k, k.May()
		order = append(order, k.Path)
	}
	assert.Equal(t, []string{"name", "absent", "parts", "parts.size", "parts.kind"}, order)
	assert.Equal(t, map[string]string{"name": "one line of text, 200 characters at most", "absent": "", "parts": "a list of 1 to 3, each with keys of its own",
		"parts.size": "above 0 mm to 1000 mm (it is small)", "parts.kind": "red or blue"}, may)
	for path, always := range map[string]bool{"name": true, "absent": false, "parts": true, "parts.size": true, "parts.kind": false} {
		assert.Equal(t, always, got[path].Always, path)
	}
	assert.Equal(t, "4 cm", got["parts.size"].Example)
	assert.Equal(t, 3, got["parts.size"].Line)
}
