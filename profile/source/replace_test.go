package source_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/source"
)

func TestReplace(t *testing.T) {
	const file = "# kept\na: {b: 75 g, list: [{name: Salt, mass: 'x y'}, {name: sugar, mass: \"q\"}]} # and this\none: {name: cure, mass: 3 g}\nlong: |\n  text\n°: ä\n"
	for _, c := range []struct {
		path      []string
		was, want string
	}{
		{[]string{"a", "b"}, "75 g", "b: \"1\\\"\","}, {[]string{"a", "list", "salt", "mass"}, "x y", "mass: \"1\\\"\"}, {name"},
		{[]string{"a", "list", "sugar", "mass"}, "q", "sugar, mass: \"1\\\"\"}"}, {[]string{"one", "cure", "mass"}, "3 g", "{name: cure, mass: \"1\\\"\"}"}, {[]string{"°"}, "ä", "°: \"1\\\"\"\n"},
	} {
		got, was, err := source.Replace("f", []byte(file), `1"`, c.path...)
		require.NoError(t, err, c.path)
		assert.Equal(t, c.was, was)
		assert.Contains(t, string(got), c.want)
		assert.Contains(t, string(got), "# kept\n")
		assert.Contains(t, string(got), "# and this\n")
	}
	for _, path := range [][]string{{"b"}, {"a", "list", "pepper", "mass"}, {"a", "b", "c"}} {
		_, _, err := source.Replace("f", []byte(file), "1", path...)
		assert.ErrorIs(t, err, source.ErrNoKey)
	}
	for _, path := range [][]string{{"a"}, {"long"}, {"a", "list"}} {
		_, _, err := source.Replace("f", []byte(file), "1", path...)
		assert.ErrorContains(t, err, "cannot be changed in its place")
	}
	_, _, err := source.Replace("f", []byte(file), "1\n2", "a", "b")
	assert.Error(t, err)
}
