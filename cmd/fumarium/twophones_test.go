package main

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// beside opens the same page in another browser: no cookie, no session and no storage of the
// first one's, in the same process.
func (p *phone) beside(url string, width, height int64) *phone {
	ctx, cancel := chromedp.NewContext(p.ctx, chromedp.WithNewBrowserContext())
	p.t.Cleanup(cancel)
	q := &phone{p.t, ctx}
	q.do(chromedp.EmulateViewport(width, height), chromedp.Navigate(url))
	q.until("typeof status === 'object' && status !== null")
	return q
}

// mayAct waits until the bar's button takes a press.
func (p *phone) mayAct(question string) {
	p.t.Helper()
	p.until("bar !== null && bar.main !== null && bar.lines.join(' ').includes('" + question + "') && document.getElementById('act').getAttribute('aria-disabled') === 'false'")
}

// net makes the line of what matches as slow as this, or cuts it.
func (p *phone) net(pattern string, latency time.Duration, cut bool) {
	p.t.Helper()
	c := &network.Conditions{URLPattern: pattern, Latency: float64(latency.Milliseconds()), DownloadThroughput: -1, UploadThroughput: -1, Offline: cut}
	_, err := chromedp.Call(p.ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{c}})
	require.NoError(p.t, err)
}

// Two browsers have the same question on screen, a phone in wet hands and a desk: one taps
// twice, and it is done once; the other's late press is refused where it can be read. Then
// the line is slow, and cut under a press. A note stands on the page with its time, a notice
// comes by leave alone, and what is over leads to its own page.
func TestTwoBrowsersAndWetHands(t *testing.T) {
	d := launchProgram(t, built(t), t.TempDir(), nil, "--by-hand", "--cabinet", "plywood-cabinet", "--pace", "10") // a quarter of an hour before a hand step is overdue is a minute and a half here
	d.answers()
	d.steps()
	status, _, errText := d.client("start", "marjoram-ring", "--reason", "practice")
	require.Equal(t, exitGood, status, errText)
	p := openPhone(t, d.url, 360, 640)
	q := p.beside(d.url, 1280, 800)
	for _, one := range []*phone{p, q} {
		one.read("sessionStorage.setItem('token', '" + p.token(d.state) + "')")
		one.mayAct("Hang the rings")
	}
	assert.Equal(t, p.read("status.prompt.question"), q.read("status.prompt.question"))
	confirmed := func() int {
		return strings.Count(p.read("JSON.stringify(status.events.map(e => e.text))"), "confirmed by the person")
	}
	require.Zero(t, confirmed())

	// The desk hears nothing for a moment, and does not know it.
	q.read("(() => { stream.close(); polling = true; window.deaf = setInterval(() => { heard = streamed = Date.now(); }, 100); })()")
	p.read("(() => { const b = document.getElementById('act'); b.click(); b.click(); b.click(); })()")
	p.until("status.prompt === null && document.getElementById('bar').hidden")
	assert.Equal(t, 1, confirmed())
	q.mayAct("Hang the rings")
	q.click("act")
	q.seen("says-bar")
	assert.Contains(t, q.read("document.getElementById('says-bar').textContent"), "Not done: nothing waits for a confirmation")
	q.read("(() => { clearInterval(window.deaf); polling = false; stream = null; listen(); poll(); })()")
	q.until("status.prompt === null && document.getElementById('bar').hidden")
	assert.Equal(t, 1, confirmed(), "nothing was done twice")

	// Both hear: what one answers the other sees answered, and has nothing to press.
	next := func() {
		t.Helper()
		code, _, said := d.client("skip", "--reason", "practice")
		require.Equal(t, exitGood, code, said)
	}
	next()
	p.mayAct("Light the smoke generator")
	q.mayAct("Light the smoke generator")
	assert.Equal(t, "Done, go on with smoke", p.read("document.getElementById('act').textContent"))
	assert.Equal(t, "Yes, dry may end", p.read("claimText({prompt: {command: 'confirm', question: '1-until-2-x'}, stages: status.stages})"))
	q.click("act")
	p.until("!document.getElementById('told').hidden && document.getElementById('told').textContent.includes('not from here')")
	assert.Equal(t, "true", p.read("(() => { const r = document.getElementById('told').getBoundingClientRect(); return r.top >= 0 && r.height > 20 && r.bottom < innerHeight; })()"), "it takes no tap, so it is only looked for")

	// A slow line: the press is seen to be on its way, and a second one does nothing.
	next()
	p.mayAct("smoke generator is out")
	p.net(d.url+"/api/commands", 1500*time.Millisecond, false)
	p.click("act")
	p.until("document.getElementById('act').classList.contains('sending') && document.getElementById('act').getAttribute('aria-disabled') === 'true'")
	p.read("document.getElementById('act').click()")
	p.until("busy === null && (status.prompt === null || status.prompt.text.indexOf('is out') < 0)")
	assert.Equal(t, 3, confirmed())

	// A cut line under a press: nobody knows whether it was done, and says so; then nothing
	// is offered, until it comes back by itself.
	p.net("", 0, true)
	p.read("(() => { stream.close(); })()")
	p.click("hold")
	p.until("document.getElementById('says-change').textContent.includes('Nobody knows whether it was done') || document.body.classList.contains('lost')")
	p.until("document.body.classList.contains('lost') && document.getElementById('act').hidden && document.getElementById('change').hidden")
	p.picture("cut-360")
	p.net("", 0, false)
	p.until("!document.body.classList.contains('lost')")
	assert.Equal(t, "running", p.read("status.state"), "what was not sent was not done")

	// A note, with the time of day.
	p.read("document.getElementById('note-box').open = true")
	p.do(chromedp.SendKeys(chromedp.CSS("#note-text"), "windy"))
	p.click("note-keep")
	p.until("/^\\d\\d:\\d\\d windy$/.test(document.getElementById('notes').innerText.trim())")
	p.seen("says-note")

	// Notices: asked for by a press, and shown to who looks elsewhere.
	_, err := chromedp.CallBrowser(p.ctx, browser.SetPermission, browser.SetPermissionParams{Permission: &browser.PermissionDescriptor{Name: "notifications"}, Setting: browser.PermissionSettingGranted, Origin: d.url})
	require.NoError(t, err)
	p.read("Object.defineProperty(document, 'hidden', { get: () => true })")
	p.click("notices")
	p.until("kept.notices === true")
	p.seen("says-show")
	next()
	p.mayAct("Move the rings")
	p.until("(navigator.serviceWorker.ready.then(r => r.getNotifications()).then(l => { window.notices = l.map(n => n.title + ': ' + n.body); }), window.notices || []).length === 1")
	assert.Contains(t, p.read("window.notices[0]"), "■ No alarm. Your turn.")
	p.click("act")
	p.until("(navigator.serviceWorker.ready.then(r => r.getNotifications()).then(l => { window.notices = l; }), window.notices).length === 0")

	// Held while nothing waits, and over: the page leads to the batch's own.
	p.click("stop")
	p.click("really-stop")
	p.until("status.state === 'stopped'")
	p.picture("stopped-360")
	p.click("whole")
	p.until("document.getElementById('past-one')?.hidden === false && document.body.innerText.includes('windy')")
	assert.Equal(t, "/batches/"+q.read("status.batch"), p.read("location.pathname"))
}
