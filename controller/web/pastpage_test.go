package web_test

import (
	"context"
	"net/http"
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
	do(t, ctx, chromedp.Navigate(server.URL+"/batches/cooked"))
	until(t, ctx, "!document.getElementById('past-one').hidden && document.querySelector('#line-svg svg') !== null")
	page := read(t, ctx, "document.body.innerText")
	for _, words := range []string{"Keep it cold", "Core peak", "71.8\u00a0°C", "4/5 a little dry", "21:00", "Core cooked not shown", "How it went"} {
		assert.Contains(t, page, words)
	}
	picture(t, ctx, "batch-360")
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
