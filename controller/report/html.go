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

// mostEmbedded is how many bytes of photographs stand in the page itself, the first ones: as
// they are, so that their hashes can be tried on it. With as much again and more for the page
// a board of 512 MiB still makes it, and a mail takes it; common practice, no source. The page
// of a batch sends photographs of some 0.2 MiB.
const mostEmbedded = 12 << 20

var pages = layout.Must(layout.Parse("report", page, map[string]any{
	"plain": plain,
	"long":  func(s Stage) float64 { return s.Lasted() },
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

// A shown is a photograph as it stands in the page.
type shown struct {
	Photo
	Picture layout.HTML // its type and bytes are of an alphabet that ends no attribute
}

func pictures(photos []Photo) (all []shown) {
	room := mostEmbedded
	for _, p := range photos {
		s := shown{Photo: p}
		switch room -= len(p.Data); {
		case p.Data == nil:
		case room < 0 || p.Type != "image/jpeg" && p.Type != "image/png":
			s.Picture = "<p>Not shown here, for the page would be too large: it lies beside the record.</p>"
			room += len(p.Data)
		default:
			s.Picture = layout.HTML(`<img alt="" src="data:` + p.Type + ";base64," + base64.StdEncoding.EncodeToString(p.Data) + `">`)
		}
		all = append(all, s)
	}
	return all
}

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
		Photos   []shown
		Who, Aid string
	}{r, short, layout.HTML(picture.String()), pictures(r.Photos), deviation.Who, caution.Food}); err != nil {
		return err
	}
	_, err := io.WriteString(w, u.Text(filled.String()))
	return err
}
