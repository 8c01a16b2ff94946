package main

import (
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/album"
	"fumarium/controller/record"
)

// aSlice is a drawn photograph of no real food.
func aSlice(t *testing.T, file string) {
	m := image.NewRGBA(image.Rect(0, 0, 640, 400))
	for y := range 400 {
		for x := range 640 {
			c := color.RGBA{230, 226, 215, 255}
			if dx, dy := x-320, y-200; dx*dx+dy*dy < 150*150 {
				c = color.RGBA{150, uint8(60 + (x*y)%37), 58, 255}
			}
			m.Set(x, y, c)
		}
	}
	f, err := os.Create(file)
	require.NoError(t, err)
	require.NoError(t, errors.Join(jpeg.Encode(f, m, nil), f.Close()))
}

// A simulated batch from the form on the page to the report as Chromium prints it: the sheet
// ticked off before it with one weight that is off, weights at their steps, a mark and a
// photograph; a second like it with one change, compared; a lot traced both ways. PAGES names a
// folder that keeps what was printed.
func TestFromTheFormToThePaper(t *testing.T) {
	t.Parallel()
	d := startDaemon(t, "--cabinet", "fridge-body", "--pace", "10000")
	do := func(want int, args ...string) string {
		t.Helper()
		code, out, said := d.client(args...)
		require.Equal(t, want, code, out+said)
		return out + said
	}
	p := openPhone(t, d.url, 360, 640)
	token, err := os.ReadFile(filepath.Join(d.state, tokenFile))
	require.NoError(t, err)
	p.read("sessionStorage.setItem('token', '" + strings.TrimSpace(string(token)) + "')")
	shot := func(name string) {
		if dir := os.Getenv("PAGES"); dir != "" {
			png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
		}
	}
	fill := func(line, mass, lot string) {
		t.Helper()
		n := p.read("linesOf(weighFacts).findIndex(l => l.name === '" + line + "')")
		p.read("['mass:" + mass + "', 'lot:" + lot + "'].map(x => x.split(':')).forEach(([kind, text]) => { const e = document.getElementById(kind + '-" + n + "'); if (e && text) { e.value = text; e.dispatchEvent(new Event('input')); } })")
		if p.read("document.getElementById('keep-"+n+"') !== null") == "true" {
			p.read("document.getElementById('weigh-says').hidden = true, document.getElementById('keep-" + n + "').click()")
			p.until("!document.getElementById('weigh-says').hidden")
		}
	}
	p.do(chromedp.Navigate(d.url + "/weigh?product=caraway-sticks&meat=4%20kg"))
	p.until("typeof weighFacts === 'object' && weighFacts !== null && document.querySelectorAll('#weigh-list li').length > 3")
	p.read("[...document.querySelectorAll('button.as')].forEach(b => b.click())")
	p.read("[...document.querySelectorAll('input.lot')].forEach((e, n) => { e.value = 'L-' + n; e.dispatchEvent(new Event('input')); })")
	fill("salt", "89", "S-7")
	fill("raw", "4.31 kg", "")
	p.read("document.getElementById('draft-hold').click()")
	p.until("!document.getElementById('weigh-off').hidden")
	shot("form")
	do(exitGood, "start", "caraway-sticks", "--meat", "4kg", "--reason", "trial")
	p.read("document.getElementById('draft-record').click()")
	p.until("location.search.startsWith('?batch=') && typeof weighFacts === 'object' && weighFacts !== null && weighFacts.batch !== ''")
	fill("hung", "4,22", "")
	d.line("batch complete")
	fill("cooked", "3.4", "")
	fill("packed", "0.412", "")
	fill("packed", "0.398", "")
	shot("weighed")
	first := idsOf(t, d.state)[0]
	p.do(chromedp.Navigate(d.url + "/batches/" + first))
	p.until("document.querySelectorAll('#mark-list li').length === 5")
	p.read("document.querySelectorAll('#mark-list li:nth-child(3) button')[3].click()")
	p.until("!document.getElementById('mark-says').hidden")
	slice := filepath.Join(t.TempDir(), "slice.jpg")
	aSlice(t, slice)
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#photo-file"), []string{slice}))
	p.read("document.getElementById('photo-text').value = 'cut cold', document.getElementById('photo-form').requestSubmit()")
	p.until("document.querySelectorAll('#photo-list img').length === 1 && document.querySelector('#photo-list img').naturalWidth === 640")
	shot("finished")
	assert.Contains(t, do(exitGood, "photo", slice, "--text", "the same <once> more"), "photograph 02.jpg")
	do(exitGood, "decide", "batch", "too salty for sale; kept for the house; Ada")
	do(exitGood, "start", "--like", first, "--change", "salt: 1.9 %", "--reason", "trial")
	d.line("batch complete")
	do(exitGood, "rate", "smoke", "5")
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	second := idsOf(t, d.state)[0]
	require.NotEqual(t, first, second)

	there := func(want int, args ...string) string {
		t.Helper()
		code, out, said := call(t, append(args, "--simulated", "--state", d.state)...)
		require.Equal(t, want, code, out+said)
		return out
	}
	assert.Contains(t, there(exitGood, "trace", "S-7"), first)
	assert.Contains(t, there(exitGood, "trace", first+"/2"), "lot S-7")
	folder := t.TempDir()
	there(exitGood, "compare", first, second, "--into", folder)
	there(exitGood, "report", first, "--into", folder)
	report, text := theFile(t, folder, first+".html")
	for _, want := range []string{"salt: 89 g weighed", "S-7", "cut cold", "the same &lt;once&gt; more", "data:image/jpeg;base64,", "as taken in", "too salty for sale", "packed, 2 packs", "smoke"} {
		assert.Contains(t, text, want)
	}
	compared, _ := theFile(t, folder, "*-and-*.html")
	for name, page := range map[string]string{"report": report, "compared": compared} {
		address := url.URL{Scheme: "file", Path: page}
		p.do(chromedp.Navigate(address.String()))
		pdf, err := chromedp.Run(p.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFPrintBackground()))
		require.NoError(t, err)
		sheets := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1))
		assert.Positive(t, sheets)
		assert.LessOrEqual(t, sheets, 8, name)
		if dir := os.Getenv("PAGES"); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "form-"+name+".pdf"), pdf, 0o644))
		}
	}
	// A photograph that was changed or lost is said to be.
	a := album.Of(d.state, first)
	require.NoError(t, os.WriteFile(filepath.Join(a.Dir(), "01.jpg"), []byte("else"), 0o600))
	require.NoError(t, os.Remove(filepath.Join(a.Dir(), "02.jpg")))
	there(exitGood, "report", first, "--into", folder)
	_, text = theFile(t, folder, first+".html")
	assert.Contains(t, text, album.Changed)
	assert.Contains(t, text, album.Missing)
	assert.NotContains(t, text, "data:image")

	// What it cost, what is left, and what is due.
	here := func(want int, args ...string) string {
		t.Helper()
		code, out, said := call(t, append(args, "--state", d.state)...)
		require.Equal(t, want, code, out+said)
		return out + said
	}
	here(exitGood, "cost", "price", "salt", "10")
	here(exitGood, "cost", "price", "energy", "0,32")
	out := there(exitGood, "cost", first)
	assert.Regexp(t, `(?m)^salt +89 g +10\.00 +0\.89$`, out)
	assert.Contains(t, out, "TOO LOW   without a price: beef shank trim")
	assert.Contains(t, out, "a kilogram packed")
	here(exitUsage, "cost", "price", "salt", "dear")
	here(exitGood, "stock", "bought", "salt", "s-7", "1kg")
	assert.Regexp(t, `(?m)^salt +s-7 +1 kg +89 g +911 g +1$`, there(exitGood, "stock"))
	assert.Contains(t, there(exitGood, "upkeep"), "2 of 3 batches")
	here(exitGood, "upkeep", "every", "generator", "--batches", "2")
	assert.Regexp(t, `(?m)^DUE +generator`, there(exitBad, "upkeep"))
	here(exitGood, "upkeep", "done", "generator")
	here(exitGood, "upkeep", "wood", "Beech", "300g")
	assert.Regexp(t, `wood +beech +300 g burnt`, there(exitBad, "upkeep")) // the simulated batches lie ahead of the clock
	here(exitUsage, "upkeep", "done", "nothing")
}

// Whoever keeps copies learns that they fail from more than the log.
func TestCopiesThatFailAreSeen(t *testing.T) {
	state := t.TempDir()
	now := time.Date(2026, 11, 29, 12, 0, 0, 0, time.UTC)
	cab, err := findCabinet("plywood-cabinet")
	require.NoError(t, err)
	k := &keeper{dir: state, world: record.Real, cabinet: cab, now: func() time.Time { return now }}
	seen := func() string {
		u, err := k.Upkeep(t.Context())
		require.NoError(t, err)
		if u.Copies == nil {
			return ""
		}
		return *u.Copies
	}
	assert.Empty(t, seen())
	require.NoError(t, tellCopies(state, "/media/stick", now, nil))
	assert.Empty(t, seen())
	require.NoError(t, tellCopies(state, "/media/stick", now.Add(time.Hour), errors.New("no space left")))
	assert.Contains(t, seen(), "no space left; whole last on 2026-11-29 12:00")
	assert.True(t, k.fresh().CopiesFail)
	finds := upkeepFinds(t.Context(), state, k.cabinet, now)
	last := finds[len(finds)-1]
	assert.Equal(t, "copies", last.What)
	assert.False(t, last.Good)
	require.NoError(t, tellCopies(state, "/media/stick", now.Add(2*time.Hour), nil))
	assert.Empty(t, seen())

	from, to := t.TempDir(), filepath.Join(t.TempDir(), "photos")
	aSlice(t, filepath.Join(from, "01.jpg"))
	require.NoError(t, copyPhotos(from, to))
	require.NoError(t, copyPhotos(filepath.Join(from, "none"), to))
	require.NoError(t, exec.Command("cmp", filepath.Join(from, "01.jpg"), filepath.Join(to, "01.jpg")).Run())
}
