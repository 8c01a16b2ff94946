package layout

import (
	"bytes"
	"errors"
	"html/template"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type leaf struct {
	Name  string
	Count int
	Kg    *float64
	Of    []leaf
	Say   loud
	hid   string //lint:ignore U1000 a layout asks for it
}

type loud string

func (l loud) String() string { return strings.ToUpper(string(l)) }

type whole struct {
	*leaf
	Chart any
	Yes   bool
	None  *leaf
}

var funcs = map[string]any{
	"fixed":  func(digits int, v float64) string { return strings.Repeat("#", digits) + template.HTMLEscapeString("") },
	"broken": func(int) (HTML, error) { return "", errFull },
	"plain":  func(s string) string { return s },
}

func data() whole {
	kg := 2.5
	return whole{leaf: &leaf{Name: `<b>"Ring" & 'co'</b>`, Count: 3, Kg: &kg, Say: "ho", Of: []leaf{{Name: "one"}, {Name: "two", Count: 2, Kg: &kg}}}, Yes: true}
}

// The standard library's html/template is the outside check: the same layout with the same
// data gives the same page. It writes a plus sign as a number, which a browser reads alike.
func TestItFillsAsTheStandardLibraryDoes(t *testing.T) {
	for name, text := range map[string]string{
		"text":         `<p>{{.Name}} {{.Count}} {{.Yes}} {{.Say}}</p>`,
		"an attribute": `<p class="a {{.Name}}" title="{{.Say}}">x</p>`,
		"a title":      `<title>{{.Name}}, {{.Count}}</title><p>{{.Name}}</p>`,
		"pointers":     `{{.Kg}} {{with .None}}some{{else}}none{{end}} {{fixed 2 .Kg}}`,
		"branches":     `<p{{if .Yes}} class="y"{{end}}>{{if not .Yes}}a{{else if eq .Count 3}}b{{else}}c{{end}}{{if ne .Name "x"}}d{{end}}</p>`,
		"choices":      `{{or .None .Name}} {{and .Yes .Count}} {{len .Of}} {{len .Name}} {{if and .Yes (gt3 .Count)}}!{{end}}`,
		"lists":        `<ul>{{range .Of}}<li>{{.Name}} {{$.Count}}{{range .Of}}x{{else}}-{{end}}</li>{{end}}</ul>`,
		"numbered":     `{{range $i, $p := .Of}}{{if $i}}, {{end}}{{$p.Name}}{{if $p.Kg}} {{fixed 1 $p.Kg}}{{end}}{{end}}`,
		"variables":    `{{$last := ""}}{{range .Of}}{{if eq $last .Name}}same{{end}}{{$last = .Name}}{{end}}{{$last}}{{with .Count}}{{.}}{{end}}`,
		"parts":        `{{define "it"}}<i>{{.Name}}</i>{{end}}{{range .Of}}{{template "it" .}}{{end}}{{template "it" .}}`,
		"pipes":        `{{.Name | plain}} {{/* nothing */}} {{- " x" -}} {{1}}`,
		"a script":     `<script>var a = "</p>" < 3;</script><p>{{.Name}}</p><!-- <b a="> --><p>{{.Name}}</p>`,
	} {
		all := map[string]any{"gt3": func(n int) bool { return n >= 3 }}
		for k, v := range funcs {
			all[k] = v
		}
		if name == "pointers" || name == "numbered" { // neither has the real one's digits
			all["fixed"] = func(digits int, v float64) float64 { return v }
		}
		l, err := Parse("a", text, all)
		require.NoError(t, err, name)
		var ours, theirs bytes.Buffer
		require.NoError(t, l.Execute(&ours, data()), name)
		require.NoError(t, template.Must(template.New("a").Funcs(all).Parse(text)).Execute(&theirs, data()), name)
		mine := strings.ReplaceAll(ours.String(), `<!-- <b a="> -->`, "") // theirs leaves comments out
		assert.Equal(t, strings.ReplaceAll(theirs.String(), "&#43;", "+"), mine, name)
	}
}

// Both pages of this program as the standard library reads them: nothing in them is beyond
// this package.
func TestThePagesAreWithinTheLanguage(t *testing.T) {
	page, err := os.ReadFile("../web/assets/page.html")
	require.NoError(t, err)
	view := struct {
		Cabinet, Summary, World             string
		Products, BeforeHeat                []string
		Simulated                           bool
		Smoulders, HeatReturns, BeforeReset string
	}{"<Box>", "a & b", "w", []string{"x", `"y"`}, []string{"z"}, true, "s", "h", "b"}
	var ours, theirs bytes.Buffer
	require.NoError(t, Must(Parse("page", string(page), nil)).Execute(&ours, view))
	require.NoError(t, template.Must(template.New("page").Parse(string(page))).Execute(&theirs, view))
	assert.Equal(t, theirs.String(), ours.String())
}

// In a style a text stays within its quotes, whatever it is.
func TestAStyle(t *testing.T) {
	l := Must(Parse("a", `<style>@page { content: "Batch {{.}}" }</style><p>{{.}}</p>`, nil))
	var b bytes.Buffer
	require.NoError(t, l.Execute(&b, `a-1"}</style><x>\`))
	assert.Equal(t, `<style>@page { content: "Batch a-1\22 \7d \3c \2f style\3e \3c x\3e \5c " }</style><p>a-1&#34;}&lt;/style&gt;&lt;x&gt;\</p>`, b.String())
}

// What cannot be filled in safely, or is not there, ends the page before any of it is written.
func TestNoHalfPage(t *testing.T) {
	for text, why := range map[string]string{
		`<p>x</p><a href="{{.Name}}">`:         "{{.Name}} stands where nothing can be filled in safely",
		`<a onclick="{{.Name}}">`:              "safely",
		`<a STYLE="{{.Name}}">`:                "safely",
		`<a {{.Name}}>`:                        "safely",
		`<{{.Name}}>`:                          "safely",
		`<a title={{.Name}}>`:                  "safely",
		`<script>{{.Name}}</script>`:           "safely",
		`<SCRIPT src="x">{{.Name}}</SCRIPT>`:   "safely",
		`<!-- {{.Name}} -->`:                   "safely",
		`<a title='{{.Name}}'>`:                "single quote",
		`<p`:                                   "ends within a tag",
		`<p title="{{.Chart}}">x</p>{{.Gone}}`: "has no field Gone",
		`<p>x</p>{{broken 1}}`:                 "broken: full",
		`{{.hid}}`:                             "has no field hid",
		`{{.None.Name}}`:                       "Name is asked of nothing",
		`{{.Count.Name}}`:                      "Name is asked of a int",
		`{{range .Count}}x{{end}}`:             "is no list",
		`{{fixed .Name 2}}`:                    "is not given",
		`{{fixed 2}}`:                          "is given 1 values",
		`{{eq 1 "x"}}`:                         "is compared",
		`{{template "none"}}`:                  `no part "none"`,
		`{{.Name .Count}}`:                     "takes nothing",
		`{{range .Of}}{{break}}{{end}}`:        "is not understood",
	} {
		l, err := Parse("a", text, funcs)
		require.NoError(t, err, text)
		var b bytes.Buffer
		err = l.Execute(&b, data())
		if assert.Error(t, err, text) {
			assert.Contains(t, err.Error(), why, text)
		}
		assert.Zero(t, b.Len(), text)
	}
	_, err := Parse("a", `{{if}}`, nil)
	assert.Error(t, err)
	_, err = Parse("a", `{{nothing 1}}`, nil)
	assert.ErrorContains(t, err, "nothing")
	assert.Panics(t, func() { Must(Parse("a", `{{`, nil)) })
	assert.ErrorIs(t, Must(Parse("a", `x`, nil)).Execute(full{}, nil), errFull)
}

type full struct{}

var errFull = errors.New("full")

func (full) Write([]byte) (int, error) { return 0, errFull }

// HTML goes as it is between tags, and nowhere else.
func TestHTMLBetweenTags(t *testing.T) {
	d := data()
	d.Chart = HTML("<svg/>")
	var b bytes.Buffer
	require.NoError(t, Must(Parse("a", `<p title="{{.Chart}}">{{.Chart}}</p>`, nil)).Execute(&b, d))
	assert.Equal(t, `<p title="&lt;svg/&gt;"><svg/></p>`, b.String())
}

// FuzzText holds for any text: it never leads out of the place where it is filled in.
func FuzzText(f *testing.F) {
	for _, text := range []string{"", "x", `"><script>`, "</style>", "\x00", "&amp;", "'", "\\\n"} {
		f.Add(text)
	}
	l := Must(Parse("a", `<style>a{b:"{{.}}"}</style><p title="{{.}}">{{.}}</p>`, nil))
	f.Fuzz(func(t *testing.T, text string) {
		var b bytes.Buffer
		if err := l.Execute(&b, text); err != nil {
			t.Fatal(err)
		}
		page := b.String()
		for part, most := range map[string]int{"<": 4, ">": 4, `"`: 4, "</style>": 1, "\x00": 0} {
			if n := strings.Count(page, part); n != most {
				t.Fatalf("%q stands %d times in %q", part, n, page)
			}
		}
	})
}
