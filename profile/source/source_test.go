package source

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

func Example() {
	doc, err := Open("larder.yaml", []byte("hook: brass\nlenght: 12\nmass: 2,5 kg\n"))
	if err != nil {
		fmt.Println(err)
		return
	}
	root := doc.Root().Named("a larder")
	_ = root.Need("hook").Text()
	_, _ = Read(root.Need("length"), quantity.ParseLength)
	_, _ = Read(root.Need("mass"), quantity.ParseMass)
	root.Done()
	fmt.Println(doc.Err())
	// Output:
	// larder.yaml:2:1: a larder has no key "lenght"; did you mean length?
	//   1 | hook: brass
	//   2 | lenght: 12
	//     | ^
	//   3 | mass: 2,5 kg
	// larder.yaml:3:7: mass: "2,5 kg" has a decimal comma; write 2.5 kg
	//   1 | hook: brass
	//   2 | lenght: 12
	//   3 | mass: 2,5 kg
	//     |       ^
}

// TestPlaces holds line and column of faults, counted in characters from 1.
func TestPlaces(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"after letters of two bytes", "é: [ü, {é: 1, é: 2}]\n", "1:15: é is given twice, first in line 1"},
		{"after a byte order mark", "\ufeffa: 1\na: 2\n", "2:1: a is given twice, first in line 1"},
		{"after carriage returns", "a: 1\r\na: 2\r\n", "2:1: a is given twice"},
		{"after bare carriage returns", "a: 1\ra: 2\r", "2:1: a is given twice"},
		{"after a next-line and a line separator", "a: 1\u0085b: 1\u2028a: 2", "3:1: a is given twice"},
		{"tab", "a:\n\tb: 1\n", "2:1: a tab stands where blanks belong"},
		{"nothing but blanks", " \n\n", "1:1: the file is empty"},
		{"NUL", "a: 1\nb: \x00\n", "2:4: the byte 0x00 is not text"},
		{"wide characters", "a: \xff\xfe", "1:4: the byte 0xff is not UTF-8 text"},
		{"16-bit text", "\xff\xfea\x00:\x00", "1:1: the byte 0xff is not UTF-8 text"},
		{"escape", "a: \x1b[31m", "1:4: the byte 0x1b is not text"},
		{"quotation mark", "a: 'b\nc: d\n", "1:4: the quotation mark opened here is not closed"},
		{"bracket", "a: [b\nc: d\n", "1:4: the bracket opened here is not closed"},
		{"number sign", "a: {n: cure #1, m: 2}\nb: 1\n", "1:13: # begins a comment, so the rest of the line and the } in it are not read; put a text with # in quotation marks"},
		{"number sign at the end", "a: {n: cure #1, m: 2}", "1:13: # begins a comment"},
		{"number sign in brackets", "a: [x, y #2, z]\nb: 1\n", "1:10: # begins a comment, so the rest of the line and the ] in it are not read"},
		{"number sign in a list", "l:\n  - {n: ü, m: 'it # is', o: cure #1, p: 2}\n  - {n: x}\n", "2:34: # begins a comment"},
		{"number sign on a later line", "l: {n: x,\n  m: \"a # b\", o: #1}\nc: 1\n", "2:18: # begins a comment"},
		{"comment after a comma", "l: {n: x, # the } is missing\n  m: 1\nc: 1\n", "1:4: the brace opened here is not closed"},
		{"comment without a brace", "l: {n: x # first\nc: 1\n", "1:4: the brace opened here is not closed"},
		{"reserved sign", "a: @b\n", "1:4: a text cannot start with '@'"},
		{"alias to nothing", "a: *b\n", "1:4: a text cannot start with *"},
		{"alias", "a: &x 1\nb: *x\n", "1:4: &x marks a value"},
		{"set", "? [a]\n: b\n", "1:3: a key must be a plain word"},
		{"empty key", "a: 1\n'': 2\n", "2:1: a key must be a plain word"},
		{"lone question mark", "?", "1:2: a key must be a plain word"},
		{"second document", "a: 1\n---\nb: 1\n", "2:1: a second document starts here"},
		{"second document after an end mark", "a: 1\n...\nb: 1\n", "3:1: a second document starts here"},
		{"fault in a second document", "a: 1\n---\nb: [\n", "4:1: a value is missing before this place"},
		{"file that ends in a bracket", "a: [", "1:5: a value is missing before this place"},
		{"deep brackets", strings.Repeat("[", 30), "1:17: nested deeper than 16 levels"},
		{"deep indentation", strings.Repeat("- ", 30) + "a", "nested deeper than 16 levels"},
		{"two colons", "a: b: c\n", "1:5: there is a colon where no key can end"},
		{"directive", "%BOGUS 1\n---\na: 1\n", "1:7: a line cannot start with %"},
		{"list of lines", "- a\nb: 1\n", "2:1: this does not line up"},
		{"key without colon", "a: 1\nb\nc: 2\n", "a key without its colon"},
	} {
		doc, err := Open("f", []byte(c.text))
		if err == nil {
			err = doc.Err()
		}
		if c.want == "" {
			assert.NoError(t, err, c.name)
		} else if assert.Error(t, err, c.name) {
			assert.Contains(t, err.Error(), c.want, c.name)
		}
	}
}

func TestSize(t *testing.T) {
	_, err := Open("f", make([]byte, MaxBytes+1))
	assert.EqualError(t, err, "f:1:1: the file is larger than the limit of 1048576 bytes; check that this is the right file")
	just := []byte("a: 1\n#" + strings.Repeat("x", MaxBytes-6))
	require.Len(t, just, MaxBytes)
	_, err = Open("f", just)
	assert.NoError(t, err)
}

func TestDecimalCommaInBraces(t *testing.T) {
	for text, want := range map[string]string{
		"{n: 55,5}":           `1:5: n: "55,5" has a decimal comma; write 55.5`,
		"{n: 2,5 kg, m: 1 g}": `1:5: n: "2,5 kg" has a decimal comma; write 2.5 kg`,
		"{n: 1,500 g}":        `1:5: n: "1,500 g" has a comma in the number; write 1.500 g, or 1500 g if the comma was to part thousands`,
	} {
		doc, err := Open("f", []byte(text))
		require.NoError(t, err)
		m := doc.Root()
		Read(m.Need("n"), quantity.ParseMass)
		Read(m.Take("m"), quantity.ParseMass)
		m.Done()
		var faults Findings
		require.ErrorAs(t, doc.Err(), &faults)
		assert.Len(t, faults, 1, text)
		assert.Equal(t, "f:"+want, faults[0].Error())
	}
}

// TestWords holds that words are taken as written, whatever YAML makes of them.
func TestWords(t *testing.T) {
	words := []Word[int]{{"off", 1}, {"no", 2}, {"null hypothesis", 3}, {"010", 4}, {"1e3", 5}}
	for text, want := range map[string]int{"off": 1, "no": 2, "'no'": 2, "010": 4, "1e3": 5, "null hypothesis": 3} {
		doc, err := Open("f", []byte("a: "+text))
		require.NoError(t, err)
		got, ok := Choice(doc.Root().Need("a"), words)
		assert.True(t, ok)
		assert.Equal(t, want, got)
		assert.NoError(t, doc.Err())
	}
	for _, text := range []string{"OFF", "false", "~", "", "[off]", "{off: 1}"} {
		doc, err := Open("f", []byte("a: "+text))
		require.NoError(t, err)
		_, ok := Choice(doc.Root().Need("a"), words)
		assert.False(t, ok)
		assert.Error(t, doc.Err(), text)
	}
}

// TestAbsent holds that reading what is not there gives zeros and no faults.
func TestAbsent(t *testing.T) {
	var m *Map
	v := m.Take("a")
	assert.False(t, v.Present() || m.Has("a") || m.Empty())
	assert.Zero(t, m.Line())
	assert.Empty(t, v.Text())
	assert.Nil(t, v.Map())
	assert.Nil(t, v.List(3))
	_, ok := Read(m.Need("b"), quantity.ParseMass)
	assert.False(t, ok)
	_, ok = Choice(v, []Word[int]{{"x", 1}})
	assert.False(t, ok)
	assert.NotPanics(t, func() {
		m.Done()
		m.Fault("x", "y")
		m.FaultAt("a", "x", "y")
		m.Named("n")
		v.Fault("x", "y")
	})
}

func TestText(t *testing.T) {
	for text, want := range map[string]string{
		"a: ' b '":                            "",
		"a: \"two\\nlines\"":                  "has more than one line",
		"a: \"\\u202e\"":                      "the invisible character U+202E",
		"a: ring #2":                          "the text ends before #2, because # begins a comment",
		"a: 'ring #2' #2":                     "",
		"a: 'ring #2' # the second":           "",
		"a: ring#2 # the second":              "",
		"a: \"\\u0007\"":                      "the invisible character U+0007",
		"a: " + strings.Repeat("ü", MaxText):  "",
		"a: ü" + strings.Repeat("ü", MaxText): "201 characters, the limit is 200",
		"a: |\n  one line\n":                  "",
		"a: ''":                               "the value is empty",
		"a: '  '":                             "the value is empty",
		"a: null":                             "the value is empty",
	} {
		doc, err := Open("f", []byte(text))
		require.NoError(t, err, text)
		got := doc.Root().Need("a").Text()
		if want == "" {
			assert.NoError(t, doc.Err(), text)
			assert.Equal(t, strings.TrimSpace(got), got)
			assert.NotEmpty(t, got)
		} else if assert.Error(t, doc.Err(), text) {
			assert.Contains(t, doc.Err().Error(), want)
			assert.Empty(t, got)
		}
	}
}

func TestRange(t *testing.T) {
	r := Range[int]{Low: 1, High: 3}
	number := func(s string) (int, error) { return len(s), nil }
	for text, want := range map[string]string{"xx": "", "xxx": "", "x": "", "xxxx": "is above 3; write a value from 1 to 3"} {
		doc, _ := Open("f", []byte("a: "+text))
		_, ok := ReadIn(doc.Root().Need("a"), number, r)
		assert.Equal(t, want == "", ok)
		if want != "" {
			assert.ErrorContains(t, doc.Err(), want)
		}
	}
	doc, _ := Open("f", []byte("a: x"))
	_, ok := ReadIn(doc.Root().Need("a"), number, Range[int]{Low: 1, High: 3, Above: true, Why: "so it is"})
	assert.False(t, ok)
	assert.ErrorContains(t, doc.Err(), "x is not above 1; write a value above 1 to 3 (so it is)")

	doc, _ = Open("f", []byte("a: x"))
	Read(doc.Root().Need("a"), func(string) (int, error) { return 0, errors.New("no remedy known") })
	assert.ErrorContains(t, doc.Err(), "a: no remedy known")
}

func TestNearest(t *testing.T) {
	words := []string{"chamber", "ramp", "until", "on"}
	for text, want := range map[string]string{
		"chanber": "chamber", "Chamber": "chamber", "hcamber": "chamber", "untill": "until", "rmap": "ramp",
		"colour": "", "": "", "x": "", strings.Repeat("chamber", 9): "",
	} {
		assert.Equal(t, want, nearest(text, words), text)
	}
}

// TestDistance holds that distance is one: zero only for equal words, the same
// both ways, and never more than writing the longer word anew.
func TestDistance(t *testing.T) {
	word := rapid.StringMatching(`[a-dé]{0,6}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		n := distance(a, b)
		if (n == 0) != (a == b) || n != distance(b, a) || n > max(utf8.RuneCountInString(a), utf8.RuneCountInString(b)) {
			t.Fatalf("distance %d", n)
		}
	})
	// Examples of the edit distance as taught; recalled from memory.
	assert.Equal(t, 3, distance("kitten", "sitting"))
	assert.Equal(t, 1, distance("form", "from"))
}

// TestCaret holds that the caret stands below the character at fault, however
// long or odd the line.
func TestCaret(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before := rapid.StringOfN(rapid.RuneFrom([]rune("ab é\t{}\u202e")), 0, 400, -1).Draw(t, "before")
		after := rapid.StringOfN(rapid.RuneFrom([]rune("xy ö\t\x1b")), 0, 400, -1).Draw(t, "after")
		lines := []string{"first", before + "@" + after, "third"}
		text := excerpt(lines, 2, utf8.RuneCountInString(before)+1)
		rows := strings.Split(text, "\n")
		if len(rows) != 4 {
			t.Fatalf("%d rows:\n%s", len(rows), text)
		}
		at := utf8.RuneCountInString(strings.TrimSuffix(rows[2], "^"))
		if shown := []rune(rows[1]); at >= len(shown) || shown[at] != '@' {
			t.Fatalf("caret in the wrong place:\n%s", text)
		}
		if strings.ContainsAny(text, "\t\x1b\u202e") || utf8.RuneCountInString(rows[1]) > clipped+12 {
			t.Fatalf("not fit for a terminal: %q", text)
		}
	})
}

func TestExcerptOutside(t *testing.T) {
	assert.Empty(t, excerpt(nil, 1, 1))
	assert.Empty(t, excerpt([]string{"a"}, 2, 1))
	assert.Empty(t, excerpt([]string{"a"}, 0, 1))
	assert.Equal(t, "  1 | a\n    |     ^", excerpt([]string{"a", "", ""}, 1, 5))
}

// TestPlacesOfReaders holds where the readers point: at the value, at the key, or
// at the start of the mapping.
func TestPlacesOfReaders(t *testing.T) {
	doc, err := Open("f", []byte("top: 1\nlist:\n  - {b: 2, c: [1, 2, 3], d: 5}\n"))
	require.NoError(t, err)
	m := doc.Root().Take("list").List(1)[0].Map()
	assert.Equal(t, 3, m.Line())
	m.Fault("whole", "-")
	m.FaultAt("b", "key", "-")
	m.FaultAt("absent", "nothing", "-")
	m.Take("d").Named("dee").Fault("value", "-")
	m.Take("d").Fault("said once", "-")
	assert.Len(t, m.Take("c").List(3), 3)
	assert.Nil(t, m.Take("c").List(2))
	assert.Nil(t, m.Take("b").List(2))
	m.Take("absent")
	m.Done()
	var faults Findings
	require.ErrorAs(t, doc.Err(), &faults)
	var got []string
	for _, f := range faults {
		got = append(got, fmt.Sprintf("%d:%d %s", f.Line, f.Column, f.Message))
	}
	assert.Equal(t, []string{"3:5 whole", "3:6 b: key", "3:9 b: there is a single value where a list belongs", "3:15 c: 3 items, the limit is 2", "3:29 dee: value"}, got)
}

// TestManyFaults holds that a file of nothing but faults gives a list that can
// be read, and that reading stops when nobody will want to know more.
func TestManyFaults(t *testing.T) {
	for name, c := range map[string]struct {
		text  string
		found int
		said  string
	}{
		"no more than a list":  {strings.Repeat("? [x]\n", maxFaults), 50, ""},
		"more than a list":     {strings.Repeat("? [x]\n", mostFound-1), 499, "449 more faults from here on"},
		"more than is counted": {strings.Repeat("? [x]\n", 20_000), 500, "at least 450 more faults from here on"},
		"unknown keys":         {numbered("key%d:\n", 9000), 500, "at least 450 more faults from here on"},
		"marks":                {numbered("key%d: &mark x\n", 9000), 500, "at least 450 more faults from here on"},
	} {
		t.Run(name, func(t *testing.T) {
			doc, err := Open("f", []byte(c.text))
			require.NoError(t, err)
			m := doc.Root()
			m.Take("something")
			m.Done()
			assert.Len(t, doc.faults, c.found)
			var faults Findings
			require.ErrorAs(t, doc.Err(), &faults)
			if c.said == "" {
				assert.Len(t, faults, maxFaults)
				return
			}
			require.Len(t, faults, maxFaults+1)
			assert.Equal(t, c.said, faults[maxFaults].Message)
		})
	}
}

func numbered(format string, n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, format, i)
	}
	return b.String()
}

// FuzzOpen holds for any bytes: no panic, places inside the file, and nothing
// that writes to the terminal. It walks all of the tree the way readers do.
func FuzzOpen(f *testing.F) {
	for _, s := range []string{"a: 1\n", "a: &x [1, *x]\n", "{n: 55,5 °C}", "\ta", "a: |\n  b\n", "? a\n: b", "%YAML 1.2\n---\na", "a: 1\u2028b: 2", "\"\\ud800\"", "g\tg:"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		doc, err := Open("f", data)
		if (doc == nil) == (err == nil) {
			t.Fatalf("document %v, error %v", doc, err)
		}
		if err == nil {
			walk(doc.Root(), 0)
			err = doc.Err()
		}
		if err == nil {
			return
		}
		var faults Findings
		if !errors.As(err, &faults) || len(faults) == 0 || len(faults) > maxFaults+1 {
			t.Fatalf("not faults: %T %v", err, err)
		}
		lines := 1 + strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + strings.Count(string(data), "\u0085") +
			strings.Count(string(data), "\u2028") + strings.Count(string(data), "\u2029")
		for _, fault := range faults {
			if fault.Line < 1 || fault.Line > lines || fault.Column < 1 {
				t.Fatalf("outside the file: %+v", fault)
			}
		}
		if strings.ContainsAny(err.Error(), "\x1b\x00\r\t\u202e") || !utf8.ValidString(err.Error()) {
			t.Fatalf("not fit for a terminal: %q", err.Error())
		}
	})
}

func walk(m *Map, depth int) {
	if m == nil || depth > maxDepth {
		return
	}
	for key := range m.keys {
		v := m.Take(key)
		switch len(key) % 4 {
		case 0:
			walk(v.Map(), depth+1)
		case 1:
			for _, item := range v.List(10) {
				walk(item.Map(), depth+1)
			}
		case 2:
			_ = v.Text()
		default:
			_, _ = Read(v, quantity.ParseTemperature)
		}
	}
	m.Done()
}

// One form for every room: what stands in a file has its place, and nothing else has.
func TestFindingAsJSON(t *testing.T) {
	for _, c := range []struct {
		finding    Finding
		line, json string
	}{
		{Finding{File: "a.yaml", Line: 3, Column: 7, Severity: Warning, Code: "fat-out", Message: "too hot", Remedy: "cool it"},
			"a.yaml:3:7: fat-out: too hot; cool it",
			`{"file":"a.yaml","line":3,"column":7,"warning":true,"severity":"warning","code":"fat-out","message":"too hot","remedy":"cool it"}`},
		{Finding{File: "a.yaml", Line: 1, Column: 1, Message: "no shape"}, "a.yaml:1:1: no shape",
			`{"file":"a.yaml","line":1,"column":1,"warning":false,"severity":"error","code":"","message":"no shape","remedy":""}`},
		{Finding{Severity: Note, Code: "salt", Message: "much salt"}, "salt: much salt", `{"severity":"note","code":"salt","message":"much salt","remedy":""}`},
	} {
		assert.Equal(t, c.line, c.finding.Error())
		got, err := json.Marshal(c.finding)
		require.NoError(t, err)
		assert.Equal(t, c.json, string(got))
	}
}
