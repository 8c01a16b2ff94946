package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/record"
	"fumarium/controller/report"
)

// madeBatch is a whole simulated batch on the record that was weighed, with a note that would
// spoil a page.
func madeBatch(t *testing.T) (state string) {
	t.Helper()
	d := startBuilt(t, "--cabinet", "fridge-body", "--pace", "10000")
	form := filled(t, "caraway-sticks", "4kg", map[string]string{"raw": "4.31 kg", "hung": "4.22 kg", "salt": "89 g"})
	code, _, said := d.client("start", "caraway-sticks", "--reason", "trial <i>of</i> the report", "--taken", form)
	require.Equal(t, exitGood, code, said)
	d.line("batch complete")
	code, _, said = d.client("weigh", "cooked", "3.4kg")
	require.Equal(t, exitGood, code, said)
	code, _, said = d.client("weigh", "packed", "3.38kg")
	require.Equal(t, exitGood, code, said)
	code, _, said = d.client("note", "firm & <script>alert(1)</script>\u202egrey")
	require.Equal(t, exitGood, code, said)
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	return d.state
}

// stoppedBatch is one that was ended before it was cooked.
func stoppedBatch(t *testing.T) (state string) {
	t.Helper()
	d := startBuilt(t, "--cabinet", "masonry-walk-in", "--pace", "3000")
	code, _, said := d.client("start", "marjoram-ring", "--reason", "trial")
	require.Equal(t, exitGood, code, said)
	d.line("stage smoke begins")
	code, _, said = d.client("stop")
	require.Equal(t, exitGood, code, said)
	d.line("batch stopped")
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	return d.state
}

func reportOf(t *testing.T, want int, state string, args ...string) (folder string) {
	t.Helper()
	folder = t.TempDir()
	code, out, said := call(t, append([]string{"report", "sim-", "--simulated", "--state", state, "--into", folder}, args...)...)
	require.Equal(t, want, code, out+said)
	return folder
}

func theFile(t *testing.T, folder, pattern string) (name, text string) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(folder, pattern))
	require.NoError(t, err)
	require.Len(t, found, 1, pattern)
	data, err := os.ReadFile(found[0])
	require.NoError(t, err)
	return found[0], string(data)
}

// The report says what status, replay and assess say, each by its own way.
func TestTheReportOfAGoodBatch(t *testing.T) {
	t.Parallel()
	state := madeBatch(t)
	folder := reportOf(t, exitGood, state)
	_, page := theFile(t, folder, "*.html")
	for _, want := range []string{
		"Caraway barn sticks", "Simulated: no real reading, and no food.", "complete and good", "nearest row of the table", "FSIS Cooking Guideline",
		"firm &amp; &lt;script&gt;", "trial &lt;i&gt;of&lt;/i&gt;", "beef shank trim", "simulated person", "<svg", "whole, with the state in which it ended", "yield by scale", "salt: 89 g weighed", "L-CURE",
	} {
		assert.True(t, strings.Contains(page, want), want)
	}
	assert.NotContains(t, page, "<script")
	assert.NotContains(t, page, "\u202e", "nothing turns the text round")
	assert.NotRegexp(t, `(src|href)=|url\(|@import`, page, "it needs nothing else")

	// In other units no figure of the page is left in °C or kg, axis included.
	_, other := theFile(t, reportOf(t, exitGood, state, "--units", "F,lb"), "*.html")
	words := regexp.MustCompile(`<(?:style|title)[^>]*>[^<]*</[^>]*>|<[^>]*>`).ReplaceAllString(other, " ")
	for line := range strings.Lines(words) {
		if metric.MatchString(line) && !perUnit.MatchString(line) && !strings.Contains(line, `"`) {
			t.Errorf("%s", strings.TrimSpace(line))
		}
	}
	assert.Regexp(t, `\d °F`, words)
	assert.Regexp(t, `\d lb`, words)

	var told report.Report
	_, text := theFile(t, folder, "*.json")
	require.NoError(t, json.Unmarshal([]byte(text), &told))
	code, out, said := call(t, "report", told.ID, "--simulated", "--state", state, "--json")
	require.Equal(t, exitGood, code, said)
	assert.JSONEq(t, text, out)
	code, out, said = call(t, "replay", told.ID, "--simulated", "--state", state, "--json")
	require.Equal(t, exitGood, code, said)
	var replayed struct {
		Rules []struct{ Rule, Answer, Why string }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &replayed))
	require.Len(t, told.Rules, len(replayed.Rules))
	for i, r := range told.Rules {
		if r.Rule == "record" { // a report compares no decision
			replayed.Rules[i].Why = "whole, with the state in which it ended"
		}
		assert.Equal(t, replayed.Rules[i].Rule+": "+replayed.Rules[i].Answer+": "+replayed.Rules[i].Why, r.Rule+": "+r.Answer+": "+r.Why)
		for _, m := range r.Measures {
			assert.NotEmpty(t, m.Limit, m.What)
			assert.NotEmpty(t, m.Figure, m.What)
			assert.NotEmpty(t, m.Source, m.What)
		}
		if r.Answer == "met" && r.Rule != "record" {
			assert.NotEmpty(t, r.Measures, "%s is met, by which figure?", r.Rule)
		}
	}
	assert.NotContains(t, told.Ending, "not shown are record", "it has been checked by now")
	require.NotNil(t, told.Good)
	assert.True(t, *told.Good)
	assert.True(t, told.Whole)
	assert.Len(t, told.Stages, 5)
	assert.Empty(t, told.Worksheet)

	// The seconds: one line a step; and who knows nothing of the batch but that file finds
	// it cooked, too.
	name, seconds := theFile(t, folder, "*.csv")
	lines, err := csv.NewReader(strings.NewReader(seconds)).ReadAll()
	require.NoError(t, err)
	r, err := record.OpenReader(filepath.Join(state, record.Simulated.File()))
	require.NoError(t, err)
	defer r.Close()
	b, err := r.Batch(t.Context(), told.ID)
	require.NoError(t, err)
	assert.EqualValues(t, b.Steps, len(lines)-1)
	assert.Equal(t, "0", lines[1][0], "from the start of the batch")
	assert.Equal(t, []string{"elapsed_seconds", "chamber_celsius", "wet_bulb_celsius", "core_1_celsius", "core_2_celsius", "ember_celsius", "heater_on", "fan_on", "smoke_on", "humidifier_on", "sounder_on", "cooler_on"}, lines[0])
	at := func(i int) float64 {
		v, err := strconv.ParseFloat(lines[i][0], 64)
		require.NoError(t, err)
		return v
	}
	heated := 0.0
	for i := 1; i+1 < len(lines); i++ {
		if lines[i][6] == "1" {
			heated += at(i+1) - at(i)
		}
	}
	_, out, said = call(t, "cost", told.ID, "--simulated", "--state", state, "--json")
	var cost cost
	require.NoError(t, json.Unmarshal([]byte(out), &cost), out+said)
	assert.InDelta(t, heated, cost.Heater.Seconds, 1)
	assert.Greater(t, heated, 60.0)
	_, out, said = call(t, "assess", name, "--species", "red-meat", "--cased", "--nitrite-ppm", "150", "--erythorbate-ppm", "500", "--json")
	var assessed struct {
		Lethality []struct{ Pass bool }
		ComeUp    struct{ Pass bool } `json:"come_up"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &assessed), out+said)
	require.NotEmpty(t, assessed.Lethality)
	assert.True(t, assessed.Lethality[0].Pass)
	assert.True(t, assessed.ComeUp.Pass)

	code, _, _ = call(t, "report", told.ID, "--simulated", "--state", state, "--into", filepath.Join(folder, "nowhere"))
	assert.Equal(t, exitCouldNo, code)
}

func TestTheReportOfABatchThatIsNotGood(t *testing.T) {
	t.Parallel()
	state := stoppedBatch(t)
	folder := reportOf(t, exitBad, state)
	_, page := theFile(t, folder, "*.html")
	for _, want := range []string{"Deviations, and what the guidance allows", "cooked not met", "hold all of it at 4 °C or below", "stopped, not good"} {
		assert.True(t, strings.Contains(page, want), want)
	}
	// Changed after the fact: the report says so and where.
	file := filepath.Join(state, record.Simulated.File())
	change := exec.Command("python3", "-c", "import sqlite3,sys; c=sqlite3.connect(sys.argv[1]); [c.execute('drop trigger '+n) for (n,) in c.execute(\"select name from sqlite_master where type='trigger'\").fetchall()]; c.execute(\"update link set steps=steps+1 where number=3\"); c.commit()", file)
	if _, err := exec.LookPath("python3"); err == nil {
		said, err := change.CombinedOutput()
		require.NoError(t, err, "%s", said)
		_, page = theFile(t, reportOf(t, exitCouldNo, state), "*.html") // the seconds of that link cannot be read
		assert.Contains(t, page, `<p class="not-met">broken at link 3`)
	}
}

// Both papers, both forms, as Chromium prints them: nothing is wider than the paper, and
// the short one is one sheet; and on a phone nothing is wider than that, the log of critical
// limits neither. PAGES names a folder that keeps them, for a person to look at.
func TestTheReportPrints(t *testing.T) {
	t.Parallel()
	chromium := debian(t, "chromium", "chromium")
	good, bad := madeBatch(t), stoppedBatch(t)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	ctx, cancel = chromedp.NewExecAllocator(ctx, chromedp.ExecPath(chromium), chromedp.UserDataDir(t.TempDir()), chromedp.Headless, chromedp.NoSandbox,
		chromedp.DisableGPU, chromedp.NoFirstRun, chromedp.Flag("disable-dev-shm-usage", true))
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	for _, c := range []struct {
		name, state string
		exit        int
		args        []string
		most        int
	}{
		{"good", good, exitGood, nil, 6}, {"bad", bad, exitBad, nil, 9},
		{"good-short", good, exitGood, []string{"--short"}, 1}, {"bad-short", bad, exitBad, []string{"--short"}, 1},
	} {
		page, _ := theFile(t, reportOf(t, c.exit, c.state, c.args...), "*.html")
		address := url.URL{Scheme: "file", Path: page}
		for paper, size := range map[string]chromedp.PaperSize{"A4": chromedp.PaperA4, "Letter": chromedp.PaperLetter} {
			require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(address.String())))
			pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPrintBackground()))
			require.NoError(t, err)
			if dir := os.Getenv("PAGES"); dir != "" {
				require.NoError(t, os.WriteFile(filepath.Join(dir, c.name+"-"+paper+".pdf"), pdf, 0o644))
			}
			sheets := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1))
			assert.LessOrEqual(t, sheets, c.most, "%s on %s", c.name, paper)
			assert.Positive(t, sheets)
			wide, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("document.documentElement.scrollWidth > document.documentElement.clientWidth"))
			require.NoError(t, err)
			assert.False(t, wide, "%s is wider than its window", c.name)
		}
		onAPhone(t, ctx, c.name, address.String())
	}
	folder := t.TempDir()
	code, out, said := call(t, "haccp", "--since", "2020-01-01", "--until", "2099-12-31", "--into", folder, "--simulated", "--state", bad)
	require.Equal(t, exitBad, code, out+said)
	page, _ := theFile(t, folder, "*.html")
	address := url.URL{Scheme: "file", Path: page}
	onAPhone(t, ctx, "haccp", address.String())
}

// onAPhone looks at a paper at 360 points: nothing is wider, but for a chart that is moved
// under the finger inside its frame.
func onAPhone(t *testing.T, ctx context.Context, name, address string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(address)))
	wide, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.documentElement.scrollWidth + ': ' + [...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > 360.5 && !e.closest('svg')).map(e => e.outerHTML.slice(0, 80)).join()`))
	require.NoError(t, err)
	assert.Equal(t, "360: ", wide, name)
	if dir := os.Getenv("PAGES"); dir != "" {
		png, err := chromedp.Run(ctx, chromedp.FullScreenshot(90))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+"-phone.jpg"), png, 0o644))
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateReset()))
}
