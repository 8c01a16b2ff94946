package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"fumarium/controller/caution"
	"fumarium/controller/chart"
	"fumarium/controller/history"
	"fumarium/controller/layout"
	"fumarium/profile/quantity"
	"fumarium/profile/variant"
)

// A Comparison is two batches beside each other. It marshals to the keys of `compare --json`.
type Comparison struct {
	A        string               `json:"a"`
	B        string               `json:"b"`
	Products []variant.Difference `json:"product_differences"` // between the files that they were made by
	// Unknown says why the products could not be compared; empty is that they were.
	Unknown string `json:"unknown,omitempty"`
	Rows    []Row  `json:"rows"`

	titles [2]string
	worlds [2]string
	figure chart.Figure
}

// A Row is one figure or answer of both.
type Row struct {
	Topic  string `json:"topic"`
	What   string `json:"what"`
	A      string `json:"a"` // empty where it has none
	B      string `json:"b"`
	Differ bool   `json:"differ"`
}

// Compare puts two batches beside each other.
func Compare(a, b *Source) *Comparison {
	ra, rb := Make(a), Make(b)
	c := &Comparison{A: a.ID, B: b.ID, Products: []variant.Difference{}, Rows: []Row{}, titles: [2]string{a.Product.Title, b.Product.Title}, worlds: [2]string{a.World, b.World}}
	if a.Replayed != nil && b.Replayed != nil {
		c.Products = append(c.Products, variant.Differences(a.Replayed.Product, b.Replayed.Product)...)
	} else {
		c.Unknown = "one of the batches cannot be replayed by this program, so that what they were made by is not compared"
	}
	c.add("batch", []fact{{"product", a.Product.Title}, {"cabinet", a.Cabinet.Title}, {"started", a.Started.Format("2006-01-02 15:04")}}, []fact{{"product", b.Product.Title}, {"cabinet", b.Cabinet.Title}, {"started", b.Started.Format("2006-01-02 15:04")}})
	c.add("verdict", answers(ra), answers(rb))
	c.add("times", times(ra, a.Course), times(rb, b.Course))
	c.add("weighed", weights(ra), weights(rb))
	c.add("marks out of 5", marksOf(ra), marksOf(rb))
	c.figure = overlaid(a, b)
	return c
}

// A fact is one figure of one batch, as it is shown.
type fact struct{ what, is string }

func (c *Comparison) add(topic string, a, b []fact) {
	of := func(list []fact, what string) string {
		if i := slices.IndexFunc(list, func(f fact) bool { return f.what == what }); i >= 0 {
			return list[i].is
		}
		return ""
	}
	row := func(what string) {
		r := Row{Topic: topic, What: what, A: of(a, what), B: of(b, what)}
		r.Differ = r.A != r.B
		c.Rows = append(c.Rows, r)
	}
	for _, f := range a {
		row(f.what)
	}
	for _, f := range b {
		if !slices.ContainsFunc(a, func(g fact) bool { return g.what == f.what }) {
			row(f.what)
		}
	}
}

func answers(r *Report) []fact {
	state := "under way"
	switch {
	case r.Good != nil && *r.Good:
		state = r.State + ", good"
	case r.State != "":
		state = r.State + ", not good"
	}
	list := []fact{{"ended", state}}
	for _, rule := range r.Rules {
		list = append(list, fact{rule.Rule, rule.Answer})
		for _, m := range rule.Measures {
			list = append(list, fact{m.What, m.Figure})
		}
	}
	return list
}

func times(r *Report, h *history.History) []fact {
	long := func(s float64) string {
		return quantity.FormatDuration(time.Duration(s * float64(time.Second)).Round(time.Minute))
	}
	list := []fact{{"lasted", long(r.ElapsedSeconds)}}
	for _, s := range r.Stages {
		list = append(list, fact{s.Name, long(s.EndSeconds - s.StartSeconds)})
	}
	hottest, peak := math.Inf(-1), math.Inf(-1)
	for _, s := range h.Samples() {
		if quantity.Finite(s.Core) {
			hottest = max(hottest, s.Core)
		}
		if quantity.Finite(s.Chamber) {
			peak = max(peak, s.Chamber)
		}
	}
	if quantity.Finite(hottest) {
		list = append(list, fact{"hottest core", quantity.Celsius(hottest).String()})
	}
	if quantity.Finite(peak) {
		list = append(list, fact{"hottest chamber", quantity.Celsius(peak).String()})
	}
	alarms := 0
	for _, e := range r.Events {
		if e.Alarm != "" && e.Priority != "" {
			alarms++
		}
	}
	return append(list, fact{"alarms", fmt.Sprint(alarms)})
}

func weights(r *Report) (list []fact) {
	if r.Weighed == nil {
		return nil
	}
	for _, i := range r.Weighed.Items {
		if i.TakenKg != nil && r.Weighed.MeatKg > 0 {
			list = append(list, fact{i.Name, quantity.Fixed(*i.TakenKg/r.Weighed.MeatKg*1000, 1) + " g to a kilogram of meat"})
		}
	}
	for _, y := range r.Weighed.Yields {
		list = append(list, fact{y.What + " of " + y.Of, quantity.Fixed(y.Ratio*100, 1) + " %"})
	}
	return list
}

func marksOf(r *Report) (list []fact) {
	for _, m := range r.Marks {
		list = append(list, fact{m.Trait, quantity.Fixed(m.Of5, 1)})
	}
	return list
}

// overlaid draws both from their starts. The first is drawn as every batch is; the second in
// dashes and dots, so that a print in black tells them apart.
func overlaid(a, b *Source) chart.Figure {
	line := func(s *Source, name string, style chart.Style, value func(*history.Sample) float64) chart.Series {
		samples := s.Course.Samples()
		points := make([]chart.Point, len(samples))
		for i := range samples {
			points[i] = chart.Point{X: samples[i].Elapsed.Seconds(), Y: value(&samples[i])}
		}
		return chart.Series{Name: name, Style: style, Points: points}
	}
	chamber := func(s *history.Sample) float64 { return s.Chamber }
	core := func(s *history.Sample) float64 { return s.Core }
	f := chart.Figure{Title: "Core and chamber of both", Subtitle: "A " + a.ID + ", B " + b.ID, Width: 1100, Panels: []chart.Panel{{
		Title: "Temperature", Unit: "°C", Height: 340, Series: []chart.Series{
			line(a, "chamber A", chart.Chamber, chamber), line(a, "core A", chart.Core, core),
			line(b, "chamber B", chart.Faint, chamber), line(b, "core B", chart.Reference, core),
		},
	}}}
	if a.World == "simulated" || b.World == "simulated" {
		f.Footer = "Simulated cabinet: no real reading."
	}
	return f
}

// Text is the comparison in words: what differs, topic by topic.
func (c *Comparison) Text() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("A  %s  %s", c.A, c.titles[0])
	line("B  %s  %s", c.B, c.titles[1])
	line("")
	switch {
	case c.Unknown != "":
		line("%s", c.Unknown)
	case len(c.Products) == 0:
		line("both were made by the same recipe and schedule")
	default:
		line("made otherwise (A → B):")
		for _, d := range c.Products {
			line("  %s", d)
		}
	}
	topic, same := "", 0
	for _, r := range c.Rows {
		if !r.Differ {
			same++
			continue
		}
		if r.Topic != topic {
			topic = r.Topic
			line("\n%s:", topic)
		}
		line("  %s: %s → %s", r.What, none(r.A), none(r.B))
	}
	line("\n%d figures are the same in both", same)
	return b.String()
}

func none(text string) string {
	if text == "" {
		return "none"
	}
	return text
}

//go:embed compare.html
var comparePage string

var compareLayout = layout.Must(layout.Parse("compare", comparePage, map[string]any{"plain": plain, "none": none}))

// HTML writes the comparison as one page that needs nothing else.
func (c *Comparison) HTML(w io.Writer) error {
	var picture bytes.Buffer
	if err := c.figure.WriteSVG(&picture); err != nil {
		return err
	}
	return compareLayout.Execute(w, struct {
		*Comparison
		TitleA, TitleB, Aid string
		Simulated           bool
		Chart               layout.HTML // our own drawing, which escapes what it is told
	}{c, c.titles[0], c.titles[1], caution.Food, c.worlds[0] == "simulated" || c.worlds[1] == "simulated", layout.HTML(picture.String())})
}
