package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"

	"fumarium/controller"
	"fumarium/controller/caution"
	"fumarium/controller/layout"
	"fumarium/controller/trip"
	"fumarium/profile/deviation"
	"fumarium/profile/quantity"
)

//go:embed report.html
var page string

// mostEmbedded is the largest photograph that stands in the page itself, in bytes: those that
// the page of a batch sends are smaller.
const mostEmbedded = 1 << 20

var pages = layout.Must(layout.Parse("report", page, map[string]any{
	"plain": plain,
	"picture": func(p Photo) layout.HTML { // whose type and bytes are of an alphabet that ends no attribute
		switch {
		case p.Data == nil:
			return ""
		case len(p.Data) > mostEmbedded || p.Type != "image/jpeg" && p.Type != "image/png":
			return layout.HTML(fmt.Sprintf("<p>%d bytes, too many to stand here: it lies beside the record.</p>", len(p.Data)))
		}
		return layout.HTML(`<img alt="" src="data:` + p.Type + ";base64," + base64.StdEncoding.EncodeToString(p.Data) + `">`)
	},
	"long": func(s Stage) float64 { return s.Lasted() },
	"lasted": func(seconds float64) string {
		return quantity.FormatDuration(time.Duration(seconds * float64(time.Second)).Round(time.Second))
	},
	"at": func(seconds float64) string { // since the start
		s := int(seconds + 0.5)
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	},
	"kg": func(v *float64) string {
		if v == nil {
			return "not weighed"
		}
		return quantity.Fixed(*v, 3) + " kg"
	},
	"percent": func(r float64) string { return quantity.Fixed(r*100, 1) + " %" },
	"fixed": func(digits int, v any) string {
		switch v := v.(type) {
		case *float64:
			return quantity.Fixed(*v, digits)
		case float64:
			return quantity.Fixed(v, digits)
		}
		return quantity.Unknown
	},
	"loud": func(priority string) bool { return priority == trip.Now.String() || priority == trip.Soon.String() },
	"ended": func(by string) string { // a key of the product file
		switch by {
		case controller.EndedByTime.String():
			return "its time"
		case controller.EndedByPerson.String():
			return "a person"
		}
		return by
	},
	"class": func(answer string) string { return strings.ReplaceAll(answer, " ", "-") },
	"hour": func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.Format("2 Jan 15:04:05")
	},
	"moment": func(t time.Time) string { return t.Format("2 January 2006 15:04 MST") },
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

// HTML writes the report as one page that needs nothing else: to be read, kept and
// printed on A4 or Letter. Short leaves out what an inspector does not ask for first, so
// that it goes on one sheet.
func (r *Report) HTML(w io.Writer, short bool) error { return r.HTMLIn(w, short, quantity.Units{}) }

// HTMLIn is the page with its figures in these units; its JSON and seconds stay SI.
func (r *Report) HTMLIn(w io.Writer, short bool, u quantity.Units) error {
	figure := r.chart
	figure.Units = u
	var picture bytes.Buffer
	if err := figure.WriteSVG(&picture); err != nil {
		return err
	}
	var filled bytes.Buffer
	if err := pages.Execute(&filled, struct {
		*Report
		Short    bool
		Chart    layout.HTML // our own drawing, which escapes what it is told
		Who, Aid string
	}{r, short, layout.HTML(picture.String()), deviation.Who, caution.Food}); err != nil {
		return err
	}
	_, err := io.WriteString(w, u.Text(filled.String()))
	return err
}
