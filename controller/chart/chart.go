// Package chart draws the one kind of chart the project has: panels stacked
// over a shared time axis, stages as bands, events as marks. It turns a Figure
// into SVG bytes and does nothing else: it knows no batch, no probe and no
// clock, opens no file, and gives the same bytes for the same figure. Only how
// core, chamber and setpoint look is settled here, so that it is the same
// wherever they are shown.
//
// The look follows high-performance HMI practice (ANSI/ISA-101.01): light grey
// ground, greys and blues for what is normal, colour only for what is not, and
// every difference carried by line style, shape or number as well as colour,
// so that a black-and-white print says the same. Labels sit on their lines;
// where no clear place exists they move to a legend.
//
// Long series are thinned to a few points per pixel column, keeping each
// column's lowest and highest, and then by the swinging-door rule that process
// historians use, so no spike is lost and the file stays small.
//
// The SVG carries no script, no style sheet, no external reference, no style
// attribute and no id, so several fit into one page under a strict content
// security policy.
package chart

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"fumarium/profile/quantity"
)

// Limits on a figure. Beyond them WriteSVG returns an error: such a figure is
// a mistake of the caller, and a chart of it would mislead.
const (
	MinWidthPixels       = 240
	MaxWidthPixels       = 4000
	MinHeightPixels      = 40
	MaxHeightPixels      = 2000
	MaxPanels            = 16
	MaxSeriesPerPanel    = 32
	MaxTimeSeconds       = 3.2e9 // about a century; a time.Duration holds three
	MaxMagnitude         = 1e12
	DefaultWidthPixels   = 960
	DefaultPanelPixels   = 180
	leastTimeSpanSeconds = 10
)

// A Point is one sample.
type Point struct {
	X float64 // seconds since the start
	Y float64 // in the panel's unit; NaN or infinite means unknown, and breaks the line
}

// A Style is how a series is drawn. The zero Style is Primary.
type Style uint8

// The styles. They differ in weight and dash as well as in shade.
const (
	Primary   Style = iota // the line to look at first, e.g. the core
	Secondary              // next to it, e.g. the chamber
	Tertiary               // a third measured line, e.g. the wet bulb
	Reference              // what was asked for, dashed, e.g. the setpoint
	Faint                  // background, fine dots, e.g. the surface
	Forecast               // what is expected, wide dots
	Area                   // filled from zero, e.g. heater duty
	styleCount
)

// What the three temperatures of every batch look like: the core a heavy dark line,
// the chamber a lighter blue one, the setpoint dashed. Weight, shade and dash tell
// them apart without colour.
const (
	Core     = Primary
	Chamber  = Secondary
	Setpoint = Reference
)

// A Series is one line, or one area, of a panel.
type Series struct {
	Name   string
	Points []Point // X never decreases
	Style  Style
	Step   bool // hold each value until the next point
}

// A Span is a stretch of the time axis, such as a stage. Spans should not
// overlap; where they do, the later one is drawn over the earlier.
type Span struct {
	From, To float64 // seconds since the start
	Label    string
	Shade    int // odd values are shaded darker; let neighbours alternate
}

// A Mark is something that happened at a moment: a prompt, an alarm.
type Mark struct {
	X        float64 // seconds since the start
	Label    string
	Abnormal bool // drawn in the only loud colour of the chart
}

// A Rule is a horizontal line to compare with, such as the core target.
type Rule struct {
	Y     float64
	Label string
}

// A Panel is one plot. A panel in °C has a thin scale in °F at its right side,
// or the other way round.
type Panel struct {
	Title, Unit string
	Height      int // of the plot itself, in pixels; 0 is DefaultPanelPixels
	Series      []Series
	Rules       []Rule
	Min, Max    *float64 // ends of the axis; nil is chosen from the data
	Ratio       bool     // values are ratios, 1 being the whole; the axis is in %
}

// A Figure is a whole chart.
type Figure struct {
	Title, Subtitle, Footer string
	Width                   int // pixels; 0 is DefaultWidthPixels
	Panels                  []Panel
	Spans                   []Span
	Marks                   []Mark
	// ClockStart is the time of day at X = 0, in the zone to show. Zero leaves
	// only the elapsed scale.
	ClockStart time.Time
	// Units are those that scales and texts are shown in. Figure takes °C all the same.
	Units quantity.Units
}

// WriteSVG writes the figure as one SVG document, or returns an error and
// writes nothing. Text is cleaned of what XML can't hold, and escaped.
func (f Figure) WriteSVG(w io.Writer) error {
	if err := f.check(); err != nil {
		return err
	}
	if _, err := w.Write(draw(f.shown())); err != nil {
		return fmt.Errorf("chart: writing the picture: %w", err)
	}
	return nil
}

// shown is the figure in its units; what it was made from stays as it is.
func (f Figure) shown() Figure {
	if f.Units == (quantity.Units{}) {
		return f
	}
	text := f.Units.Text
	f.Title, f.Subtitle, f.Footer = text(f.Title), text(f.Subtitle), text(f.Footer)
	f.Spans, f.Marks, f.Panels = slices.Clone(f.Spans), slices.Clone(f.Marks), slices.Clone(f.Panels)
	for i := range f.Spans {
		f.Spans[i].Label = text(f.Spans[i].Label)
	}
	for i := range f.Marks {
		f.Marks[i].Label = text(f.Marks[i].Label)
	}
	for i := range f.Panels {
		f.Panels[i] = f.Panels[i].shown(f.Units)
	}
	return f
}

func (p Panel) shown(u quantity.Units) Panel {
	p.Rules = slices.Clone(p.Rules)
	for i := range p.Rules {
		p.Rules[i].Label = u.Text(p.Rules[i].Label)
	}
	if p.Unit != "°C" || !u.Fahrenheit {
		return p
	}
	p.Unit = "°F"
	convert := func(v float64) float64 { return quantity.Celsius(v).Fahrenheit() }
	for i := range p.Rules {
		p.Rules[i].Y = convert(p.Rules[i].Y)
	}
	for _, end := range []**float64{&p.Min, &p.Max} {
		if *end != nil {
			v := convert(**end)
			*end = &v
		}
	}
	p.Series = slices.Clone(p.Series)
	for i := range p.Series {
		points := slices.Clone(p.Series[i].Points)
		for k := range points {
			points[k].Y = convert(points[k].Y)
		}
		p.Series[i].Points = points
	}
	return p
}

func (f Figure) check() error {
	if f.Width != 0 && (f.Width < MinWidthPixels || f.Width > MaxWidthPixels) {
		return fmt.Errorf("chart: width %d is outside %d to %d pixels; choose one within, or 0 for %d",
			f.Width, MinWidthPixels, MaxWidthPixels, DefaultWidthPixels)
	}
	if len(f.Panels) == 0 {
		return fmt.Errorf("chart: the figure has no panel; give it at least one")
	}
	if len(f.Panels) > MaxPanels {
		return fmt.Errorf("chart: %d panels are more than %d; draw two figures", len(f.Panels), MaxPanels)
	}
	for i, s := range f.Spans {
		if !moment(s.From) || !moment(s.To) {
			return fmt.Errorf("chart: span %d %q: from %g to %g is not a time within ±%g s; leave it out until both are known",
				i+1, s.Label, s.From, s.To, float64(MaxTimeSeconds))
		}
		if s.To < s.From {
			return fmt.Errorf("chart: span %d %q: ends at %g s, before it begins at %g s; swap them", i+1, s.Label, s.To, s.From)
		}
	}
	for i, m := range f.Marks {
		if !moment(m.X) {
			return fmt.Errorf("chart: mark %d %q: %g is not a time within ±%g s; give the time it happened", i+1, m.Label, m.X, float64(MaxTimeSeconds))
		}
	}
	for i, p := range f.Panels {
		if err := p.check(); err != nil {
			return fmt.Errorf("chart: panel %d %q: %w", i+1, p.Title, err)
		}
	}
	return nil
}

func (p Panel) check() error {
	if p.Height != 0 && (p.Height < MinHeightPixels || p.Height > MaxHeightPixels) {
		return fmt.Errorf("height %d is outside %d to %d pixels; choose one within, or 0 for %d",
			p.Height, MinHeightPixels, MaxHeightPixels, DefaultPanelPixels)
	}
	if len(p.Series) > MaxSeriesPerPanel {
		return fmt.Errorf("%d series are more than %d; split the panel", len(p.Series), MaxSeriesPerPanel)
	}
	for _, end := range []*float64{p.Min, p.Max} {
		if end != nil && !magnitude(*end) {
			return fmt.Errorf("axis end %g is not a number within ±%g; set it, or leave it nil", *end, float64(MaxMagnitude))
		}
	}
	if p.Min != nil && p.Max != nil && *p.Max-*p.Min < math.Max(1e-9, 1e-9*math.Max(math.Abs(*p.Min), math.Abs(*p.Max))) {
		return fmt.Errorf("axis from %g to %g leaves no room; set the larger as Max", *p.Min, *p.Max)
	}
	for i, r := range p.Rules {
		if !magnitude(r.Y) {
			return fmt.Errorf("rule %d %q: %g is not a number within ±%g; leave it out until it is known", i+1, r.Label, r.Y, float64(MaxMagnitude))
		}
	}
	for i, s := range p.Series {
		if s.Style >= styleCount {
			return fmt.Errorf("series %d %q: style %d does not exist; use one of the named styles", i+1, s.Name, s.Style)
		}
		last := math.Inf(-1)
		for k, pt := range s.Points {
			if !moment(pt.X) {
				return fmt.Errorf("series %d %q: point %d: %g is not a time within ±%g s; drop the point", i+1, s.Name, k+1, pt.X, float64(MaxTimeSeconds))
			}
			if pt.X < last {
				return fmt.Errorf("series %d %q: point %d at %g s is earlier than the one before, at %g s; sort the points", i+1, s.Name, k+1, pt.X, last)
			}
			last = pt.X
			if known(pt.Y) && !magnitude(pt.Y) {
				return fmt.Errorf("series %d %q: point %d: value %g is beyond ±%g; drop the point", i+1, s.Name, k+1, pt.Y, float64(MaxMagnitude))
			}
		}
	}
	return nil
}

// known tells a measured value from an unknown one.
func known(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func magnitude(v float64) bool { return math.Abs(v) <= MaxMagnitude } // false for NaN
func moment(x float64) bool    { return math.Abs(x) <= MaxTimeSeconds }
