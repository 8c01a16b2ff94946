package label

import (
	_ "embed"
	"fmt"
	"io"
	"strings"
	"unicode"

	"github.com/boombuler/barcode/qr"

	"fumarium/controller/layout"
)

//go:embed label.html
var page string

var pages = layout.Must(layout.Parse("label", page, map[string]any{
	"plain": plain, "orBlank": orBlank, "square": square, "weight": (*Label).Weight, "simulated": (*Label).Simulated, "upper": Ingredient.Upper,
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

// quiet is the margin that a QR code needs, in modules (ISO/IEC 18004, 4 on each side).
const quiet = 4

// square draws a text as a QR code, with a quarter of it to spare for grease and scratches.
func square(text string) (layout.HTML, error) {
	code, err := qr.Encode(text, qr.Q, qr.Unicode)
	if err != nil {
		return "", err
	}
	n := code.Bounds().Dx()
	var path strings.Builder
	for y := range n {
		for x := 0; x < n; x++ {
			from := x
			for x < n && dark(code.At(x, y).RGBA()) {
				x++
			}
			if x > from {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", from+quiet, y+quiet, x-from, x-from)
			}
		}
	}
	side := n + 2*quiet
	return layout.HTML(fmt.Sprintf(`<svg viewBox="0 0 %d %d" shape-rendering="crispEdges" role="img" aria-label="the code as a square to read"><rect width="%d" height="%d" fill="#fff"/><path d="%s"/></svg>`, side, side, side, side, path.String())), nil
}

func dark(r, _, _, _ uint32) bool { return r < 0x8000 }

// HTML writes the labels as one page that needs nothing else, two in a row, to be printed on
// A4 or Letter and cut apart.
func (l *Label) HTML(w io.Writer) error { return pages.Execute(w, l) }
