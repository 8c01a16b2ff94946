package label

import (
	_ "embed"
	"io"
	"strings"
	"unicode"

	"fumarium/controller/layout"
	"fumarium/controller/square"
)

//go:embed label.html
var page string

var pages = layout.Must(layout.Parse("label", page, map[string]any{
	"plain": plain, "orBlank": orBlank, "square": drawn, "weight": (*Label).Weight, "simulated": (*Label).Simulated, "upper": Ingredient.Upper,
}))

// plain is a person's text without what would turn round or hide the text beside it.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsPrint(r):
			return unicode.ReplacementChar
		}
		return r
	}, text)
}

// drawn is a text as a code to scan.
func drawn(text string) (layout.HTML, error) {
	code, err := square.OnAPack(text)
	if err != nil {
		return "", err
	}
	return layout.HTML(code.SVG("the code as a square to read")), nil
}

// HTML writes the labels as one page that needs nothing else, two in a row, to be printed on
// A4 or Letter and cut apart.
func (l *Label) HTML(w io.Writer) error { return pages.Execute(w, l) }
