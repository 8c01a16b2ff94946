package web_test

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
)

// On a slow line the answer to an earlier choice comes after later ones were made: it takes
// none of them back.
func TestALateOfferTakesNoChoiceBack(t *testing.T) {
	ctx := browser(t)
	server := behind(t, handler(accepting(idle())))
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	do2(t, ctx, "document.getElementById('maker').open = true")
	until(t, ctx, "document.getElementById('maker-kind').options.length > 1")
	choose := func(field, key string) {
		until(t, ctx, "[...document.getElementById('maker-"+field+"').options].some(o => o.value === '"+key+"')")
		do2(t, ctx, "const e = document.getElementById('maker-"+field+"'); e.value = '"+key+"'; e.dispatchEvent(new Event('change'))")
	}
	do2(t, ctx, `window.line = fetch; window.late = 0; window.fetch = async (...a) => {
		const answer = await window.line(...a);
		if (String(a[0]).includes('kind=sides')) { await new Promise(go => setTimeout(go, 2000)); window.late++; }
		return answer; }`)
	choose("kind", "sides")
	choose("kind", "sausage")
	choose("meat", "pork-shoulder-lean")
	choose("fat", "pork-back-fat")
	choose("percent", "25")
	until(t, ctx, "window.late === 1")
	time.Sleep(500 * time.Millisecond) // for what it must not do
	assert.Equal(t, "sausage pork-shoulder-lean pork-back-fat 25", read(t, ctx, "['kind', 'meat', 'fat', 'percent'].map(f => document.getElementById('maker-' + f).value).join(' ')"))
}
