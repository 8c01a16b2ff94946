package keys

import (
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/source"
)

// refused are keys that a parser asks for only to refuse them, or to read files that are
// older than the table.
var refused = map[string][]string{
	"product": {"stages.until.any.pH", "stages.until.any.weight", "stages.until.any.water activity", "stages.until.any.eaten"},
	"cabinet": {"generator.burn", "generator.lighting"},
}

// TestTheTableIsTheParser holds the table against what the parsers ask, both ways: of the
// complete files, the shipped ones and everything under testdata, good or bad.
func TestTheTableIsTheParser(t *testing.T) {
	for _, kind := range Files {
		t.Run(kind, func(t *testing.T) {
			asked, err := askedOf(kind)
			require.NoError(t, err)
			told := map[string]bool{}
			for _, r := range files[kind].rows {
				assert.False(t, told[r.at], "%s stands in the table twice", r.at)
				told[r.at] = true
				assert.Contains(t, asked, r.at, "no parser asks for it")
			}
			for path := range asked {
				assert.True(t, told[path] || slices.Contains(refused[kind], path), "the table lacks %s", path)
			}
			var notes source.Asked
			for name, data := range others(t, kind) {
				_ = files[kind].ask(name, data, &notes) // bad files show what is asked, too
			}
			require.NotEmpty(t, notes.Keys())
			for _, k := range notes.Keys() {
				assert.True(t, told[k.Path] || slices.Contains(refused[kind], k.Path), "the table lacks %s", k.Path)
				if a := asked[k.Path]; k.Range != "" {
					assert.Equal(t, a.Range, k.Range, k.Path)
				}
				for _, w := range k.Words {
					assert.Contains(t, asked[k.Path].Words, w, k.Path)
				}
			}
		})
	}
}

var asks = regexp.MustCompile(`\.(?:Take|Need)\("([^"]+)"\)`)

// TestEveryKeyOfTheParsersSourceIsTold finds keys that a parser asks for on a way that no
// file here goes.
func TestEveryKeyOfTheParsersSourceIsTold(t *testing.T) {
	for kind, room := range map[string]string{"product": "profile", "cabinet": "controller/cabinet"} {
		told := map[string]bool{}
		for _, r := range files[kind].rows {
			told[r.at[strings.LastIndexByte(r.at, '.')+1:]] = true
		}
		names, err := filepath.Glob(filepath.Join("..", "..", "..", "..", filepath.FromSlash(room), "*.go"))
		require.NoError(t, err)
		found := 0
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			for _, m := range asks.FindAllStringSubmatch(string(data), -1) {
				found++
				assert.True(t, told[m[1]], "%s asks for %s, and the table lacks it", name, m[1])
			}
		}
		assert.Greater(t, found, 30, room)
	}
}

func others(t *testing.T, kind string) map[string][]byte {
	all := map[string][]byte{}
	root := filepath.Join("..", "..", "..", "..", "testdata", kind+"s")
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".yaml" {
			return err
		}
		all[path], err = os.ReadFile(path)
		return err
	}))
	require.NotEmpty(t, all)
	if kind == "product" {
		items, err := catalog.All()
		require.NoError(t, err)
		for _, i := range items {
			all[i.File] = i.Data
		}
		return all
	}
	items, err := shipped.All()
	require.NoError(t, err)
	for _, i := range items {
		all[i.File] = i.Data
	}
	data, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "deploy", "cabinet.yaml"))
	require.NoError(t, err)
	all["deploy/cabinet.yaml"] = data
	return all
}

// TestEveryKeyIsToldWhole: what is needed has no default, what is not says what it is
// without; every key says what may stand there, and a value has an example.
func TestEveryKeyIsToldWhole(t *testing.T) {
	for _, kind := range Files {
		all, err := Of(kind)
		require.NoError(t, err)
		asked, err := askedOf(kind)
		require.NoError(t, err)
		for _, k := range all {
			a := asked[k.Path]
			assert.NotEmpty(t, k.Meaning, k.Path)
			assert.NotEmpty(t, k.Values, k.Path)
			assert.Equal(t, k.Needed, k.Default == "" && k.Without == "", "%s: needed, or what it is without", k.Path)
			assert.False(t, k.Default != "" && k.Without != "", k.Path)
			assert.Equal(t, k.Example == "", (a.Keys || a.List > 0) && len(a.Words) == 0, k.Path)
			for _, r := range files[kind].rows {
				assert.False(t, r.at == k.Path && r.form != "" && k.Values != r.form, "%s: the parser has said what may stand there", k.Path)
			}
		}
	}
}

// TestWordsAndRangesAreWhatTheParserRefusesBy: what is none of the words is answered with
// them, and what is beyond a limit with that limit.
func TestWordsAndRangesAreWhatTheParserRefusesBy(t *testing.T) {
	for _, kind := range Files {
		all, err := Of(kind)
		require.NoError(t, err)
		asked, err := askedOf(kind)
		require.NoError(t, err)
		for _, k := range all {
			if k.Example == "" {
				continue
			}
			a := asked[k.Path]
			err := files[kind].ask(a.File, with(t, a, "neverheardof"), &source.Asked{})
			said := ""
			if k.Range != "" || len(k.Words) > 0 {
				require.Error(t, err, k.Path)
			}
			if err != nil {
				said = err.Error()
			}
			if len(k.Words) == 0 {
				assert.NotContains(t, said, "; use ", "%s takes words that nobody noted", k.Path)
			}
			for _, w := range k.Words {
				assert.Contains(t, said, w, k.Path)
			}
			if k.Range == "" {
				continue
			}
			assert.Regexp(t, `^(from|above) .+ to .+`, k.Range, k.Path)
			low, high, _ := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(k.Range, "from "), "above "), " to ")
			far := beyond(t, high)
			err = files[kind].ask(a.File, with(t, a, far), &source.Asked{})
			require.Error(t, err, "%s: %s", k.Path, far)
			assert.Contains(t, err.Error(), "is above "+high, "%s: %s", k.Path, far)
			if strings.HasPrefix(k.Range, "above ") {
				err = files[kind].ask(a.File, with(t, a, low), &source.Asked{})
				assert.ErrorContains(t, err, "is not above "+low, k.Path)
			}
		}
	}
}

var figure = regexp.MustCompile(`^-?[0-9.]+`)

// beyond is a value above one, in its unit.
func beyond(t *testing.T, limit string) string {
	number := figure.FindString(limit)
	v, err := strconv.ParseFloat(number, 64)
	require.NoError(t, err, limit)
	return strconv.FormatFloat(2*v+1, 'f', -1, 64) + limit[len(number):]
}

// TestDefaultsAreWhatTheParserTakes reads every complete file without each key that has a
// default, and with the default in its place: both are the same.
func TestDefaultsAreWhatTheParserTakes(t *testing.T) {
	for _, kind := range Files {
		all, err := Of(kind)
		require.NoError(t, err)
		asked, err := askedOf(kind)
		require.NoError(t, err)
		checked := 0
		for _, k := range all {
			if k.Default == "" {
				continue
			}
			a := asked[k.Path]
			without := lines(t, a)
			without[a.Line-1] = "#"
			if above := without[a.Line-2]; strings.HasSuffix(above, ":") && depth(without[a.Line]) <= depth(above) {
				without[a.Line-2] += " {}" // it was the only key there
			}
			said, err := parsed(kind, a.File, with(t, a, k.Default))
			require.NoError(t, err, k.Path)
			left, err := parsed(kind, a.File, []byte(strings.Join(without, "\n")))
			require.NoError(t, err, k.Path)
			assert.True(t, reflect.DeepEqual(said, left), "%s: %s is not what the parser takes without it", k.Path, k.Default)
			own, err := parsed(kind, a.File, []byte(strings.Join(lines(t, a), "\n")))
			require.NoError(t, err)
			if k.Default != k.Example {
				assert.False(t, reflect.DeepEqual(own, left), "%s: nothing comes of it", k.Path)
			}
			checked++
		}
		assert.NotZero(t, checked)
	}
}

func depth(line string) int { return len(line) - len(strings.TrimLeft(line, " ")) }

func parsed(kind, file string, data []byte) (any, error) {
	if kind == "product" {
		return profile.Parse(file, data)
	}
	return cabinet.Parse(file, data)
}

// TestEveryExampleStandsInAFileThatParses: it is printed as "key: example", and so it
// stands there.
func TestEveryExampleStandsInAFileThatParses(t *testing.T) {
	for _, kind := range Files {
		all, err := Of(kind)
		require.NoError(t, err)
		asked, err := askedOf(kind)
		require.NoError(t, err)
		for _, k := range all {
			if k.Example == "" {
				continue
			}
			a := asked[k.Path]
			line := strings.TrimPrefix(strings.TrimSpace(lines(t, a)[a.Line-1]), "- ")
			assert.Equal(t, line, k.Name()+": "+k.Example, k.Path)
		}
	}
}

func lines(t *testing.T, a source.AskedKey) []string {
	data, err := complete.ReadFile(a.File)
	require.NoError(t, err)
	return strings.Split(string(data), "\n")
}

// with is the file with another value at the key.
func with(t *testing.T, a source.AskedKey, value string) []byte {
	all := lines(t, a)
	head, _, found := strings.Cut(all[a.Line-1], ": ")
	require.True(t, found, a.Path)
	all[a.Line-1] = head + ": " + value
	return []byte(strings.Join(all, "\n"))
}
