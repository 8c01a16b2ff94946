package web_test

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/access"
	"fumarium/controller/web"
)

// On the page of a batch a pairing code does as on the first page: this browser may then act,
// and what waited for it is done. A code that is none is answered in the dialog.
func TestACodeOnThePageOfABatch(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	keep := access.New(func() time.Time { return noon })
	var kept []string
	server := behind(t, configured(l, func(c *web.Config) {
		c.Sessions = keep
		c.Note = func(_ context.Context, who, b, said, _ string) error {
			kept = append(kept, who+" "+b+" "+said)
			return nil
		}
	}))
	code, _ := keep.Code("kitchen phone")
	for _, path := range []string{"/batches/cooked", "/weigh?batch=cooked"} { // both pages have the same dialog
		do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL+path))
		until(t, ctx, "typeof tokenGiven === 'function' && document.getElementById('token-says').hidden && document.getElementById('token').type === 'text'")
	}
	do(t, ctx, chromedp.Navigate(server.URL+"/batches/cooked"))
	until(t, ctx, "!document.getElementById('past-one').hidden")
	do2(t, ctx, "document.getElementById('past-text').value = 'firm'")
	do(t, ctx, click("past-keep"))
	until(t, ctx, "document.getElementById('ask-token').open")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#token"), "2222-2222\r"))
	until(t, ctx, seen("token-says"))
	picture(t, ctx, "batch-code-360")
	assert.Empty(t, kept)
	do2(t, ctx, "document.getElementById('token').value = ''")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#token"), code+"\r"))
	until(t, ctx, "!document.getElementById('ask-token').open && "+seen("past-kept")+" && document.getElementById('past-kept').textContent === 'Kept.'")
	require.Len(t, kept, 1)
	assert.Regexp(t, "^browser kitchen phone .* cooked firm$", kept[0])
	assert.Equal(t, "null", read(t, ctx, "sessionStorage.getItem('token')"), "a code is no token")
}

// What is due of the cabinet stands below the earlier batches; a press says that it is done,
// with a code as anywhere, what is refused is read where the finger is, and the list follows.
func TestUpkeepOnAPhone(t *testing.T) {
	ctx := browser(t)
	tasks := []web.Task{
		{Name: "cabinet", Text: "wash it", Since: "1 of 10 batches"},
		{Name: "generator", Text: "brush it", Since: "3 of 3 batches", Due: true},
	}
	copies := "the last copy failed: no space"
	var done []string
	refused := false
	server := behind(t, configured(accepting(idle()), func(c *web.Config) {
		c.Upkeep = func(context.Context) (*web.Upkeep, error) {
			return &web.Upkeep{Tasks: slices.Clone(tasks), Wood: []web.Burnt{{Species: "beech", Kilograms: 0.3}}, Calibration: []string{"core 1: no date"}, Copies: &copies}, nil
		}
		c.UpkeepDone = func(task, who string) error {
			if refused {
				return errors.New("the book could not be written: no space; make room")
			}
			done = append(done, task+" "+who)
			tasks[1].Since, tasks[1].Due = "0 of 3 batches", false
			return nil
		}
	}))
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL+"/batches"))
	until(t, ctx, "!document.getElementById('upkeep').hidden && document.querySelectorAll('#upkeep-list li').length === 3")
	assert.Equal(t, "2 are due.", read(t, ctx, "document.getElementById('upkeep-head').textContent"), "a probe's calibration, too")
	assert.Contains(t, read(t, ctx, "document.querySelector('#upkeep-list li.due').textContent"), "■ Smoke generator")
	assert.Contains(t, read(t, ctx, "document.getElementById('upkeep-list').textContent"), "core 1: no date")
	assert.Contains(t, read(t, ctx, "document.getElementById('upkeep-copies').textContent"), "no space")
	assert.Contains(t, read(t, ctx, "document.getElementById('wood-list').textContent"), "beech: 0.30 kg")
	assert.Equal(t, "true", read(t, ctx, "document.documentElement.scrollWidth <= 360"))
	press := func() {
		do2(t, ctx, "document.querySelector('#upkeep-list [aria-label=\"Done: Smoke generator\"]').click()")
	}
	press()
	until(t, ctx, "document.getElementById('ask-token').open")
	picture(t, ctx, "upkeep-code-360")
	assert.Empty(t, done, "nobody has said who they are")
	refused = true
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	until(t, ctx, seen("past-says"))
	assert.Contains(t, read(t, ctx, "document.getElementById('past-says').textContent"), "make room")
	refused = false
	press()
	until(t, ctx, "document.querySelectorAll('#upkeep-list li.due').length === 1")
	assert.Equal(t, "One is due.", read(t, ctx, "document.getElementById('upkeep-head').textContent"))
	require.Len(t, done, 1)
	assert.Regexp(t, "^generator operator from ", done[0])
	findsNothing(t, ctx, "upkeep at 360")
	picture(t, ctx, "upkeep-360")
}

// A person with a phone looks at an earlier batch: verdict, what to do with the product,
// times, peak, curve, rules and notes; a mark is added, and the batch under way is elsewhere.
func TestEarlierBatchesOnAPhone(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	var text, mark, batch string
	h := configured(l, func(c *web.Config) {
		c.Note = func(_ context.Context, _, b, said, m string) error { batch, text, mark = b, said, m; return nil }
	})
	server := behind(t, h)
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL+"/batches"))
	until(t, ctx, "document.querySelectorAll('#past-list li').length === 2")
	assert.Equal(t, "2 batches are recorded.", read(t, ctx, "document.getElementById('answer-head').textContent"))
	assert.Equal(t, "/,/batches/cooked", read(t, ctx, "[...document.querySelectorAll('#past-list a')].map(a => a.getAttribute('href')).join()"))
	picture(t, ctx, "batches-360")
	inEverySize(t, ctx, "batches", "document.querySelectorAll('#past-list li').length === 2")
	do(t, ctx, chromedp.Navigate(server.URL+"/batches/cooked"))
	until(t, ctx, "!document.getElementById('past-one').hidden && document.querySelector('#line-svg svg') !== null")
	page := read(t, ctx, "document.body.innerText")
	for _, words := range []string{"Keep it cold", "Core peak", "71.8\u00a0°C", "4/5 a little dry", "21:00", "Core cooked not shown", "How it went"} {
		assert.Contains(t, page, words)
	}
	picture(t, ctx, "batch-360")
	inEverySize(t, ctx, "batch", "!document.getElementById('past-one').hidden && document.querySelector('#line-svg svg') !== null && document.querySelector('#line-svg svg').clientWidth <= innerWidth") // the curve is drawn anew a moment after
	do(t, ctx, chromedp.EmulateViewport(640, 360))                                                                                                                                                       // turned on its side
	until(t, ctx, "document.querySelector('#line-svg svg').clientWidth > 500")
	do(t, ctx, chromedp.EmulateViewport(360, 640))
	until(t, ctx, "document.querySelector('#line-svg svg').clientWidth < 360")
	assert.Equal(t, "true", read(t, ctx, "document.documentElement.scrollWidth <= document.documentElement.clientWidth"))
	do2(t, ctx, "sessionStorage.setItem('token', '"+token+"'); document.getElementById('past-mark').value = 'good'; document.getElementById('past-text').value = 'firm'")
	do(t, ctx, click("past-keep"))
	until(t, ctx, seen("past-kept")+" && document.getElementById('past-kept').textContent === 'Kept.'")
	assert.Equal(t, []string{"cooked", "firm", "good"}, []string{batch, text, mark})
	picture(t, ctx, "batch-note-360")
	findsNothing(t, ctx, "a batch")
	do(t, ctx, chromedp.Navigate(server.URL+"/batches/another"))
	until(t, ctx, "document.getElementById('past-says').textContent.includes('there is no such batch')")
	assert.Equal(t, http.StatusOK, ask(h, http.MethodGet, "/batches/cooked", "").Code)
}
