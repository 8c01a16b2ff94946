package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "rewrite the pictures under testdata")

func render(t require.TestingT, f Figure) []byte {
	var b bytes.Buffer
	require.NoError(t, f.WriteSVG(&b))
	return b.Bytes()
}

// The pictures are for a person to look at as much as for the comparison:
// after -update, look at them before keeping them.
//
// The last bit of a float differs between processors, and with it a tenth of a pixel:
// the pictures are byte for byte those of an amd64, elsewhere they are alike.
func TestPictures(t *testing.T) {
	for name, f := range map[string]Figure{
		"cure-batch":        cureBatch(1100, 30),
		"cure-batch-narrow": cureBatch(375, 30),
		"busy-batch":        busyBatch(1000),
	} {
		t.Run(name, func(t *testing.T) {
			got := render(t, f)
			path := filepath.Join("testdata", name+".svg")
			if *update {
				require.NoError(t, os.WriteFile(path, got, 0o644))
			}
			want, err := os.ReadFile(path)
			require.NoError(t, err)
			if runtime.GOARCH == "amd64" {
				require.True(t, bytes.Equal(want, got), "%s differs; run with -update and look at the change", path)
			}
			assert.NoError(t, alike(want, got))
			assert.Error(t, alike(want, bytes.Replace(got, []byte("stroke"), []byte("strike"), 1)))
			assert.Error(t, alike(want, bytes.Replace(got, []byte("M"), []byte("M1"), 1)))
		})
	}
}

var figures = regexp.MustCompile(`-?\d+(\.\d+)?`)

// alike compares two pictures but for a tenth of a pixel.
func alike(want, got []byte) error {
	if w, g := figures.ReplaceAll(want, []byte("#")), figures.ReplaceAll(got, []byte("#")); !bytes.Equal(w, g) {
		return errors.New("the pictures differ in more than numbers")
	}
	w, g := figures.FindAll(want, -1), figures.FindAll(got, -1)
	for i := range w {
		x, _ := strconv.ParseFloat(string(w[i]), 64)
		y, _ := strconv.ParseFloat(string(g[i]), 64)
		if math.Abs(x-y) > 0.11 {
			return fmt.Errorf("number %d is %s, and was %s", i, g[i], w[i])
		}
	}
	return nil
}

// A parsed is what the structural tests want to know of a picture.
type parsed struct {
	view        box
	title, desc string
	role        string
	texts       []placedText
	series      map[string]string // data-series to path data
	seriesCount int
}

type placedText struct {
	box  box
	size float64
	text string
}

// parse walks the whole document, so it fails on anything ill-formed.
func parse(svg []byte) (parsed, error) {
	p := parsed{series: map[string]string{}}
	dec := xml.NewDecoder(bytes.NewReader(svg))
	dec.Strict = true
	depth := 0
	var open struct {
		name string
		attr map[string]string
		text strings.Builder
	}
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			if depth != 0 {
				return p, errors.New("unclosed element")
			}
			return p, nil
		}
		if err != nil {
			return p, err
		}
		switch e := tok.(type) {
		case xml.StartElement:
			attr := map[string]string{}
			for _, a := range e.Attr {
				attr[a.Name.Local] = a.Value
				if strings.Contains(a.Value, "NaN") && a.Name.Local != "data-series" || a.Name.Local == "style" || a.Name.Local == "id" || a.Name.Local == "href" {
					return p, fmt.Errorf("attribute %s=%q", a.Name.Local, a.Value)
				}
			}
			open.name, open.attr = e.Name.Local, attr
			open.text.Reset()
			if depth == 0 {
				if e.Name.Space != "http://www.w3.org/2000/svg" || e.Name.Local != "svg" {
					return p, fmt.Errorf("root is %v", e.Name)
				}
				p.role = attr["role"]
				f := strings.Fields(attr["viewBox"])
				if len(f) != 4 {
					return p, fmt.Errorf("viewBox %q", attr["viewBox"])
				}
				p.view.x1, _ = strconv.ParseFloat(f[2], 64)
				p.view.y1, _ = strconv.ParseFloat(f[3], 64)
			}
			if name, ok := attr["data-series"]; ok {
				p.series[name] = attr["d"]
				p.seriesCount++
			}
			depth++
		case xml.CharData:
			open.text.Write(e)
		case xml.EndElement:
			depth--
			switch e.Name.Local {
			case "title":
				p.title = open.text.String()
			case "desc":
				p.desc = open.text.String()
			case "text":
				var v [3]float64
				for i, k := range []string{"x", "y", "font-size"} {
					if v[i], err = strconv.ParseFloat(open.attr[k], 64); err != nil {
						return p, err
					}
				}
				s := open.text.String()
				w := textWidth(s, v[2], open.attr["font-weight"] != "")
				x := v[0]
				switch open.attr["text-anchor"] {
				case "middle":
					x -= w / 2
				case "end":
					x -= w
				}
				// Capitals of the usual faces reach 0.73 em up; 0.2 em down is
				// where a descender ends.
				p.texts = append(p.texts, placedText{box{x, v[1] - 0.75*v[2], x + w, v[1] + 0.2*v[2]}, v[2], s})
			}
		}
	}
}

// untidy reports the first text that leaves the picture or touches another.
func (p parsed) untidy() error {
	for i, a := range p.texts {
		if a.box.x0 < -0.2 || a.box.y0 < 0 || a.box.x1 > p.view.x1+0.2 || a.box.y1 > p.view.y1 {
			return fmt.Errorf("%q at %.1f leaves the picture of %.1f", a.text, a.box, p.view)
		}
		for _, b := range p.texts[:i] {
			if a.box.grown(-0.2).overlaps(b.box.grown(-0.2)) {
				return fmt.Errorf("%q at %.1f overlaps %q at %.1f", a.text, a.box, b.text, b.box)
			}
		}
	}
	return nil
}

func TestLabelsStandClear(t *testing.T) {
	for _, width := range []int{MinWidthPixels, 320, 375, 480, 700, 960, 1200, 2400} {
		for name, f := range map[string]Figure{"cure": cureBatch(width, 60), "busy": busyBatch(width)} {
			p, err := parse(render(t, f))
			require.NoError(t, err)
			assert.NoError(t, p.untidy(), "%s at %d", name, width)
			for _, text := range p.texts {
				assert.GreaterOrEqual(t, text.size, 10.0, "%q", text.text)
			}
		}
	}
}

func TestStructure(t *testing.T) {
	f := cureBatch(1100, 30)
	p, err := parse(render(t, f))
	require.NoError(t, err)
	assert.Equal(t, "img", p.role)
	assert.Equal(t, f.Title, p.title)
	assert.Equal(t, 6, p.seriesCount)
	for _, want := range []string{"Stages: dry 46 min, smoke 2 h 1 min", "abnormal, at 2 h 10 min Door open for 3 min", "core 3.8 to 71.0, last", "Heater duty, %: 0 to 76.0"} {
		assert.Contains(t, p.desc, want)
	}
	assert.Equal(t, 2, strings.Count(p.series["core"], "M"), "the missing readings break the core's line once")
	assert.Equal(t, 1, strings.Count(p.series["chamber"], "M"))
	var said []string
	for _, text := range p.texts {
		said = append(said, text.text)
	}
	for _, want := range []string{"dry", "smoke", "cook", "chill", "bloom", "core target 71 °C", "core", "chamber", "surface", "setpoint", "°C", "°F", "1 h 30", "07:30"} {
		assert.Contains(t, said, want)
	}
}

func TestSameFigureSameBytes(t *testing.T) {
	assert.Equal(t, render(t, busyBatch(800)), render(t, busyBatch(800)))
}

func TestFigureIsLeftAlone(t *testing.T) {
	f, g := cureBatch(700, 60), cureBatch(700, 60)
	f.Marks[0], f.Marks[4] = f.Marks[4], f.Marks[0]
	g.Marks[0], g.Marks[4] = g.Marks[4], g.Marks[0]
	render(t, f)
	for _, p := range [][]Panel{f.Panels, g.Panels} {
		assert.Equal(t, [2]float64{0, 100}, [2]float64{*p[2].Min, *p[2].Max})
		p[2].Min, p[2].Max = nil, nil // pointers print as addresses
	}
	assert.True(t, fmt.Sprint(g) == fmt.Sprint(f)) // NaN is not equal to itself, its print is
}

// Two cores that run together look alike; a name beside both would be a guess.
func TestAmbiguousNamesGoToTheLegend(t *testing.T) {
	var a, b, c []Point
	for x := 0.0; x <= 3600; x += 60 {
		a, b, c = append(a, Point{x, x / 60}), append(b, Point{x, x/60 + 0.1}), append(c, Point{x, 60})
	}
	legend := func(first, second Style) []string {
		f := tidy(Figure{Panels: []Panel{{Unit: "°C", Series: []Series{{Name: "one", Points: a, Style: first}, {Name: "two", Points: b, Style: second}, {Name: "three", Points: c, Style: Tertiary}}}}})
		d := &drawing{f: f, width: 960}
		d.timeRange()
		d.planPanels()
		var names []string
		for _, item := range d.panels[0].legend {
			names = append(names, item.text)
		}
		return names
	}
	assert.Equal(t, []string{"one", "two", "three"}, legend(Primary, Primary))
	assert.Empty(t, legend(Primary, Reference), "where colours differ, both names find a side")
}

func TestFahrenheitScaleMeetsCelsius(t *testing.T) {
	// t/°C = (t/°F − 32)/1.8 (NIST SP 811, 2008 edition, appendix B; recalled from memory).
	p := panelPlan{Panel: Panel{Unit: "°C", Min: new(0.0), Max: new(100.0), Series: []Series{{Points: []Point{{0, 50}}}}}, height: 1800}
	p.scale()
	at := map[string]float64{}
	for _, tick := range p.beside {
		at[tick.label] = tick.at
	}
	assert.InDelta(t, 10, at["50"], 1e-9)
	assert.InDelta(t, 60, at["140"], 1e-9)
	assert.InDelta(t, 85, at["185"], 1e-9)
}

func TestContrast(t *testing.T) {
	// WCAG 2.2, success criterion 1.4.3: text at least 4.5:1, with the relative
	// luminance as defined there (recalled from memory).
	luminance := func(colour string) float64 {
		v, err := strconv.ParseUint(colour[1:], 16, 32)
		require.NoError(t, err)
		l := 0.0
		for i, weight := range []float64{0.0722, 0.7152, 0.2126} {
			c := float64(v>>(8*i)&0xff) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			l += weight * c
		}
		return l
	}
	contrast := func(a, b string) float64 {
		x, y := luminance(a), luminance(b)
		return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
	}
	require.InDelta(t, 21, contrast("#000000", "#ffffff"), 1e-9)
	for _, c := range []string{inkStrong, ink, inkFaint, alarm} {
		assert.GreaterOrEqual(t, contrast(c, ground), 4.5, c)
	}
	assert.GreaterOrEqual(t, contrast(white, alarm), 4.5)
	for _, lane := range []string{laneEven, laneOdd} {
		assert.GreaterOrEqual(t, contrast(ink, lane), 4.5)
	}
	for _, l := range looks {
		for _, plot := range []string{bandEven, bandOdd, ground} {
			assert.GreaterOrEqual(t, contrast(l.label, plot), 4.5, "%v on %s", l, plot)
		}
		// Success criterion 1.4.11: graphics at least 3:1.
		if l != looks[Area] {
			assert.GreaterOrEqual(t, contrast(l.stroke, bandOdd), 3.0, "%v", l)
		}
	}
	// Core, chamber and setpoint without colour: by shade, and by weight or dash.
	core, chamber, setpoint := looks[Core], looks[Chamber], looks[Setpoint]
	assert.GreaterOrEqual(t, contrast(core.stroke, chamber.stroke), 3.0)
	assert.Greater(t, core.width, 1.3*chamber.width)
	assert.Empty(t, core.dash+chamber.dash)
	assert.NotEmpty(t, setpoint.dash)
}

func TestStylesDifferWithoutColour(t *testing.T) {
	seen := map[string]int{}
	for s, l := range looks {
		key := fmt.Sprint(l.dash, "/", l.width)
		other, twice := seen[key]
		assert.False(t, twice, "styles %d and %d print alike", s, other)
		seen[key] = s
	}
}

func TestRepeatedStyleGetsItsOwnDash(t *testing.T) {
	seen := map[string]bool{}
	for n := range 5 {
		dash := Primary.look(n).dash
		assert.False(t, seen[dash], "repeat %d", n)
		seen[dash] = true
	}
}

func TestRefusals(t *testing.T) {
	good := func() Figure { return Figure{Panels: []Panel{{Title: "Temperature", Unit: "°C"}}} }
	for name, c := range map[string]struct {
		spoil func(*Figure)
		want  string
	}{
		"no panel":       {func(f *Figure) { f.Panels = nil }, "chart: the figure has no panel; give it at least one"},
		"narrow":         {func(f *Figure) { f.Width = 10 }, "chart: width 10 is outside 240 to 4000 pixels"},
		"negative width": {func(f *Figure) { f.Width = -1 }, "chart: width -1 is outside"},
		"many panels":    {func(f *Figure) { f.Panels = make([]Panel, 17) }, "17 panels are more than 16"},
		"span backwards": {func(f *Figure) { f.Spans = []Span{{From: 20, To: 10, Label: "cook"}} }, `chart: span 1 "cook": ends at 10 s, before it begins at 20 s`},
		"span endless":   {func(f *Figure) { f.Spans = []Span{{To: math.Inf(1)}} }, "is not a time"},
		"mark nowhere":   {func(f *Figure) { f.Marks = []Mark{{X: math.NaN(), Label: "door"}} }, `chart: mark 1 "door": NaN is not a time`},
		"height":         {func(f *Figure) { f.Panels[0].Height = 3 }, `chart: panel 1 "Temperature": height 3 is outside 40 to 2000`},
		"axis":           {func(f *Figure) { f.Panels[0].Min, f.Panels[0].Max = new(5.0), new(5.0) }, "leaves no room"},
		"axis end":       {func(f *Figure) { f.Panels[0].Min = new(math.Inf(-1)) }, "axis end -Inf is not a number"},
		"rule":           {func(f *Figure) { f.Panels[0].Rules = []Rule{{Y: math.NaN()}} }, "rule 1"},
		"style":          {func(f *Figure) { f.Panels[0].Series = []Series{{Style: 99}} }, "style 99 does not exist"},
		"time backwards": {func(f *Figure) { f.Panels[0].Series = []Series{{Name: "core", Points: []Point{{9, 1}, {8, 1}}}} },
			`chart: panel 1 "Temperature": series 1 "core": point 2 at 8 s is earlier than the one before, at 9 s; sort the points`},
		"time unknown": {func(f *Figure) { f.Panels[0].Series = []Series{{Points: []Point{{math.NaN(), 1}}}} }, "point 1: NaN is not a time"},
		"absurd value": {func(f *Figure) { f.Panels[0].Series = []Series{{Points: []Point{{0, 1e300}}}} }, "value 1e+300 is beyond"},
		"many series":  {func(f *Figure) { f.Panels[0].Series = make([]Series, 33) }, "33 series are more than 32"},
	} {
		t.Run(name, func(t *testing.T) {
			f := good()
			c.spoil(&f)
			var b bytes.Buffer
			err := f.WriteSVG(&b)
			require.ErrorContains(t, err, c.want)
			assert.Zero(t, b.Len(), "nothing is written on an error")
		})
	}
}

type fullDisk struct{}

var errFull = errors.New("full")

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestWriterFailureIsReported(t *testing.T) {
	require.ErrorIs(t, cureBatch(700, 60).WriteSVG(fullDisk{}), errFull)
}

func TestPoorDataStillDraws(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, points := range map[string][]Point{
		"empty":     nil,
		"one point": {{5, 20}},
		"all NaN":   {{0, nan}, {1, nan}},
		"all Inf":   {{0, inf}, {1, -inf}},
		"flat":      {{0, 20}, {3600, 20}},
		"same time": {{7, 1}, {7, 2}, {7, 3}},
		"huge":      {{0, -1e12}, {MaxTimeSeconds, 1e12}},
		"tiny":      {{0, 1e-300}, {1e-300, 2e-300}},
		"before":    {{-MaxTimeSeconds, 1}, {MaxTimeSeconds, 2}},
		"alternate": {{0, 1}, {60, nan}, {120, 2}, {180, nan}, {240, 1}},
	} {
		for style := range styleCount {
			t.Run(fmt.Sprint(name, style), func(t *testing.T) {
				p, err := parse(render(t, Figure{
					Panels: []Panel{
						{Title: "Temperature", Unit: "°C", Series: []Series{{Name: "core", Points: points, Style: style}}},
						{Title: "Duty", Ratio: true, Height: MinHeightPixels, Series: []Series{{Name: "duty", Points: points, Style: style, Step: true}}},
					},
					ClockStart: time.Date(2026, 11, 2, 23, 59, 59, 0, time.UTC),
				}))
				require.NoError(t, err)
				require.NoError(t, p.untidy())
			})
		}
	}
}

// A percent step coarser than the axis once put its tick outside the plot.
func TestTicksStayOnTheAxis(t *testing.T) {
	for _, unit := range []string{"%", "°C", ""} {
		for _, ends := range [][2]float64{{1e-6, 3e-6}, {0.2, 0.4}, {99.9, 100}, {-1e12, 1e12}, {1e6, 1e6 + 1}} {
			p := panelPlan{Panel: Panel{Unit: unit, Min: &ends[0], Max: &ends[1]}, height: 100}
			p.scale()
			require.NotEmpty(t, p.ticks)
			for _, tick := range append(p.ticks, p.beside...) {
				assert.InDelta(t, 50, p.py(tick.at), 50.01, "%q on %v %s", tick.label, ends, unit)
			}
		}
	}
}

func TestNoDataIsSaid(t *testing.T) {
	p, err := parse(render(t, Figure{Panels: []Panel{{Title: "Temperature", Unit: "°C", Series: []Series{
		{Name: "core", Points: []Point{{0, 20}, {60, 30}}}, {Name: "wet bulb", Points: []Point{{0, math.NaN()}}, Style: Tertiary},
	}}}}))
	require.NoError(t, err)
	assert.Contains(t, fmt.Sprint(p.texts), "wet bulb: no data")
	assert.Contains(t, p.desc, "wet bulb no data")
	assert.Equal(t, 1, p.seriesCount)
}

func TestThousandSpansAndMarks(t *testing.T) {
	f := Figure{Panels: []Panel{{Title: "Temperature", Unit: "°C"}}}
	for i := range 1000 {
		f.Spans = append(f.Spans, Span{From: float64(60 * i), To: float64(60*i + 60), Label: fmt.Sprint("stage ", i), Shade: i})
		f.Marks = append(f.Marks, Mark{X: float64(60 * i), Label: "event", Abnormal: i == 777})
	}
	f.Marks[777].Label = "the one that matters"
	svg := render(t, f)
	assert.Less(t, len(svg), 200_000)
	p, err := parse(svg)
	require.NoError(t, err)
	require.NoError(t, p.untidy())
	assert.Contains(t, fmt.Sprint(p.texts), "the one that matters", "a full key keeps the abnormal")
	assert.Contains(t, fmt.Sprint(p.texts), "more, not listed here")
}

func TestLongNoisySeriesStaySmall(t *testing.T) {
	points := make([]Point, 100_000)
	noise := uint32(1)
	for i := range points {
		noise = noise*1664525 + 1013904223
		points[i] = Point{float64(i), float64(noise >> 8)}
	}
	var series []Series
	for i := range 8 {
		series = append(series, Series{Name: fmt.Sprint("probe ", i), Points: points, Style: Style(i) % styleCount, Step: i%2 == 0})
	}
	svg := render(t, Figure{Panels: []Panel{{Title: "Noise", Series: series}}})
	assert.Less(t, len(svg), 200_000)
}

func TestSpikeSurvives(t *testing.T) {
	points := make([]Point, 100_000)
	for i := range points {
		points[i] = Point{float64(i), 60}
	}
	points[54_321].Y = 95
	p, err := parse(render(t, Figure{Panels: []Panel{{Title: "Chamber", Height: 100, Min: new(0.0), Max: new(100.0), Series: []Series{{Name: "chamber", Points: points}}}}}))
	require.NoError(t, err)
	assert.Contains(t, p.series["chamber"], "-35", "35 degrees at one pixel each")
}

func TestTextIsEscaped(t *testing.T) {
	const nasty = `<script>alert("1")</script>&amp;'` + "\x00\x1b\n\xff\u202e]]>"
	f := Figure{Title: nasty, Subtitle: nasty, Footer: nasty,
		Spans: []Span{{To: 3600, Label: nasty}}, Marks: []Mark{{X: 60, Label: nasty}},
		Panels: []Panel{{Title: nasty, Unit: nasty, Rules: []Rule{{1, nasty}}, Series: []Series{{Name: nasty, Points: []Point{{0, 1}}}, {Name: nasty}}}}}
	svg := render(t, f)
	assert.NotContains(t, string(svg), "<script")
	p, err := parse(svg)
	require.NoError(t, err)
	assert.Contains(t, p.title, `<script>alert("1")</script>&amp;'`)
	assert.NotContains(t, p.title, "\u202e")
}

// anyFigure draws figures nobody would; unless wild, all of them must draw.
func anyFigure(t *rapid.T, wild bool) Figure {
	values := []*rapid.Generator[float64]{rapid.Float64Range(-50, 150), rapid.Float64Range(0, 1), rapid.Float64Range(-1e12, 1e12), rapid.SampledFrom([]float64{0, 1, -1e-12})}
	moments := []*rapid.Generator[float64]{rapid.Float64Range(0, 50_000), rapid.Float64Range(0, 60), rapid.Float64Range(-1e9, 1e9)}
	shortest := 0.0
	if wild {
		values = append(values, rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1)}))
		moments = append(moments, rapid.Float64())
		shortest = -10
	}
	value, known := rapid.OneOf(values...), rapid.OneOf(values[:4]...)
	sample := rapid.OneOf(known, known, rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1)}))
	// One scale of time per figure, or everything would fall into one pixel.
	moment := moments[rapid.IntRange(0, len(moments)-1).Draw(t, "time scale")]
	text := rapid.OneOf(rapid.SampledFrom([]string{"", "dry", "smoke", "cook", "core target 71 °C", "Move the sticks into ice water", "<&>"}), rapid.String())
	f := Figure{
		Title: text.Draw(t, "title"), Subtitle: text.Draw(t, "subtitle"), Footer: text.Draw(t, "footer"),
		Width: rapid.SampledFrom([]int{0, 240, 375, 700, 1200}).Draw(t, "width"),
	}
	if rapid.Bool().Draw(t, "clock") {
		f.ClockStart = time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "start"), 0).UTC()
	}
	for range rapid.IntRange(1, 3).Draw(t, "panels") {
		p := Panel{Title: text.Draw(t, "panel"), Unit: rapid.SampledFrom([]string{"°C", "%", "", "kg of something very long"}).Draw(t, "unit"),
			Height: rapid.SampledFrom([]int{0, 40, 60, 300}).Draw(t, "height"), Ratio: rapid.Bool().Draw(t, "ratio")}
		for range rapid.IntRange(0, 4).Draw(t, "series") {
			s := Series{Name: text.Draw(t, "name"), Style: Style(rapid.IntRange(0, int(styleCount)-1).Draw(t, "style")), Step: rapid.Bool().Draw(t, "step")}
			x := moment.Draw(t, "x")
			for range rapid.IntRange(0, 12).Draw(t, "points") {
				s.Points = append(s.Points, Point{x, sample.Draw(t, "y")})
				x += rapid.Float64Range(0, 4000).Draw(t, "dx")
			}
			p.Series = append(p.Series, s)
		}
		for range rapid.IntRange(0, 2).Draw(t, "rules") {
			p.Rules = append(p.Rules, Rule{value.Draw(t, "rule"), text.Draw(t, "rule label")})
		}
		if limits := rapid.IntRange(0, 7).Draw(t, "limits"); limits < 2 {
			p.Min = new(value.Draw(t, "min"))
			if limits == 1 {
				p.Max = new(*p.Min + math.Abs(*p.Min)*rapid.Float64Range(1e-6, 10).Draw(t, "room") + 1e-6)
			}
		} else if limits == 2 {
			p.Max = new(value.Draw(t, "max"))
		}
		if !wild && p.Max != nil && *p.Max > MaxMagnitude {
			p.Min, p.Max = nil, nil
		}
		f.Panels = append(f.Panels, p)
	}
	for i := range rapid.IntRange(0, 8).Draw(t, "spans") {
		from := moment.Draw(t, "from")
		f.Spans = append(f.Spans, Span{From: from, To: from + rapid.Float64Range(shortest, 20_000).Draw(t, "long"), Label: text.Draw(t, "span"), Shade: i})
	}
	for range rapid.IntRange(0, 8).Draw(t, "marks") {
		f.Marks = append(f.Marks, Mark{moment.Draw(t, "mark"), text.Draw(t, "mark label"), rapid.Bool().Draw(t, "abnormal")})
	}
	return f
}

func TestAnyFigureDrawsTidily(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b bytes.Buffer
		if err := anyFigure(t, false).WriteSVG(&b); err != nil {
			t.Fatal(err)
		}
		p, err := parse(b.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		if err := p.untidy(); err != nil {
			t.Fatal(err)
		}
	})
}

func drawsOrRefuses(t *rapid.T) {
	var b bytes.Buffer
	if err := anyFigure(t, true).WriteSVG(&b); err != nil {
		if !strings.HasPrefix(err.Error(), "chart: ") || b.Len() > 0 {
			t.Fatalf("%v, after %d bytes", err, b.Len())
		}
		return
	}
	if _, err := parse(b.Bytes()); err != nil {
		t.Fatal(err)
	}
}

func TestWildFigureDrawsOrRefuses(t *testing.T) { rapid.Check(t, drawsOrRefuses) }

// A figure takes thousands of random bytes: from nothing, a fuzzer is long in getting
// past the first panel.
func FuzzWriteSVG(f *testing.F) {
	for seed := range byte(8) {
		data := make([]byte, 16<<10)
		_, _ = rand.NewChaCha8([32]byte{seed}).Read(data)
		f.Add(data)
	}
	f.Fuzz(rapid.MakeFuzz(drawsOrRefuses))
}

func BenchmarkTwelveHours(b *testing.B) {
	f := cureBatch(960, 10)
	samples := 0
	for _, p := range f.Panels {
		for _, s := range p.Series {
			samples += len(s.Points)
		}
	}
	b.ReportAllocs()
	var n int
	for b.Loop() {
		var out bytes.Buffer
		if err := f.WriteSVG(&out); err != nil {
			b.Fatal(err)
		}
		n = out.Len()
	}
	b.ReportMetric(float64(n), "bytes")
	b.ReportMetric(float64(samples), "points")
}

// In °F the scale, the target and the description are in °F, the thin scale in °C, and the
// caller's figure stays as it was.
func TestUnits(t *testing.T) {
	points := []Point{{0, 10}, {3600, 60}}
	f := Figure{Panels: []Panel{{Title: "Temperature", Unit: "°C", Series: []Series{{Name: "core", Points: points}}, Rules: []Rule{{Y: 71, Label: "core target 71 °C"}}}},
		Units: quantity.Units{Fahrenheit: true}}
	var b bytes.Buffer
	require.NoError(t, f.WriteSVG(&b))
	svg := b.String()
	assert.Contains(t, svg, "core target 159.8 °F")
	assert.Contains(t, svg, "Temperature, °F: core 50.0 to 140.0, last 140.0")
	assert.Contains(t, svg, ">150</text>")
	assert.Contains(t, svg, ">°C</text>")
	assert.NotContains(t, svg, "71 °C")
	assert.Equal(t, 10.0, points[0].Y)
	assert.Equal(t, 71.0, f.Panels[0].Rules[0].Y)
}
