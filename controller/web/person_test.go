package web_test

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
)

// seen is true when an element is on screen, whole, and nothing lies over its middle.
func seen(id string) string {
	return `(() => { const e = document.getElementById('` + id + `'), r = e.getBoundingClientRect();
		if (!r.height || r.top < 0 || r.bottom > innerHeight + 1) return false;
		const at = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
		return at !== null && e.contains(at); })()`
}

const ready = "!document.getElementById('act').hidden && document.getElementById('act').getAttribute('aria-disabled') === 'false'"

// A person with a phone: starts too early and is told why where the finger is, gives the
// reason, answers a hand step while a second browser asks the same, meets a trip, resets it
// once its cause is gone, goes on, loses the line and gets it back, and stops.
func TestAPersonWithAPhone(t *testing.T) {
	ctx := browser(t)
	l := accepting(idle())
	server := behind(t, handler(l))
	sent := func() controller.Command { all := l.requests(); return all[len(all)-1].Command }
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	require.Equal(t, "en", read(t, ctx, "document.documentElement.lang"))

	// Start answers although the cautions are not ticked, and says so beside the button.
	do(t, ctx, click("go"))
	until(t, ctx, seen("says-start")+" && "+seen("go"))
	assert.Empty(t, l.requests())
	l.answers(snapshot.Reply{Why: "a probe does not read what it should", Findings: []string{"probe \"upper rack\" reads low"}, Excusable: true})
	do(t, ctx, click("read"), click("go"), chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	until(t, ctx, "!document.getElementById('ask-token').open && "+seen("says-start")+" && "+seen("go")+" && document.getElementById('findings').textContent.includes('reads low')")
	picture(t, ctx, "refused-360")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#reason"), "winter"))
	l.answers(snapshot.Reply{Accepted: true, Recorded: true, State: controller.Running})
	do(t, ctx, click("go"))
	until(t, ctx, "document.getElementById('because').hidden && !document.getElementById('read').checked")
	assert.Equal(t, "winter", l.requests()[1].Reason)
	assert.True(t, sent().Excused)

	// A hand step comes while the page is scrolled far down: the bar is there all the same.
	do2(t, ctx, "scrollTo(0, 99999)")
	put(t, ctx, l, asking())
	until(t, ctx, seen("act"))
	assert.Equal(t, "true", read(t, ctx, "document.getElementById('act').getAttribute('aria-disabled')"), "a second tap must not answer a new question")
	do(t, ctx, click("act"))
	assert.Len(t, l.requests(), 2, "it settles first")
	until(t, ctx, ready)
	assert.Contains(t, read(t, ctx, "document.title"), "■")
	assert.Equal(t, "/icon.svg?sign=turn", read(t, ctx, "document.getElementById('icon').getAttribute('href')"))
	// It is refused: the reason stands above the same button.
	l.answers(snapshot.Reply{Why: "there is nothing to confirm"})
	do(t, ctx, click("act"))
	until(t, ctx, seen("says-bar")+" && "+seen("act")+" && document.getElementById('says-bar').textContent.includes('nothing to confirm')")
	picture(t, ctx, "refused-bar-360")
	l.answers(snapshot.Reply{Accepted: true, Recorded: true, State: controller.Running})
	until(t, ctx, ready)
	do(t, ctx, click("act"))
	until(t, ctx, "document.activeElement.id === 'answer'")
	assert.Equal(t, controller.Confirm, sent().Kind)
	assert.Equal(t, controller.HandStep, sent().Question.Part)

	// Somebody else answers the next one.
	again := asking()
	again.State.Started += time.Minute
	before := read(t, ctx, "status.prompt.question")
	put(t, ctx, l, again)
	until(t, ctx, "status.prompt.question !== '"+before+"' && "+ready)
	put(t, ctx, l, cooking())
	until(t, ctx, "document.getElementById('bar').hidden && !document.getElementById('told').hidden && document.getElementById('told').textContent.includes('not from here')")

	// A trip: no reset while its cause stands, nor anything that goes on.
	put(t, ctx, l, tripped(true))
	until(t, ctx, seen("know")+" && document.getElementById('act').hidden && document.getElementById('hold').hidden")
	assert.Contains(t, read(t, ctx, "document.getElementById('bar-note').textContent"), "No reset yet: it comes when this is gone: Chamber too hot.")
	assert.Contains(t, read(t, ctx, "document.getElementById('alert').textContent"), "Chamber too hot: 117\u00a0°C")
	do(t, ctx, click("know"))
	until(t, ctx, "busy === null")
	assert.Equal(t, controller.Command{Kind: controller.Acknowledge, Alarm: trip.ChamberHigh}, sent())
	put(t, ctx, l, tripped(false))
	until(t, ctx, ready+" && "+seen("act"))
	assert.Equal(t, "before-reset", read(t, ctx, "document.getElementById('act').getAttribute('aria-describedby')"))
	assert.Contains(t, read(t, ctx, "document.getElementById('bar-lines').innerText"), "Not before the cause is found and gone")
	do(t, ctx, click("act"))
	until(t, ctx, "busy === null")
	assert.Equal(t, controller.Reset, sent().Kind)
	// Going on is a question of its own, with its caution beside it.
	held := tripped(false)
	held.State.Tripped, held.State.Alarms[trip.ChamberHigh] = trip.None, trip.State{}
	put(t, ctx, l, held)
	until(t, ctx, ready+" && "+seen("heat-returns"))
	do(t, ctx, click("act"))
	until(t, ctx, "busy === null")
	assert.Equal(t, controller.Restart, sent().Kind)

	// What a person swears to has a button of its own, apart from the one that ends the noise.
	out := cooking()
	out.State.Alarms[trip.CoreOut] = trip.State{Phase: trip.Unacknowledged, Standing: true, Raised: out.State.Elapsed}
	put(t, ctx, l, out)
	until(t, ctx, ready+" && "+seen("know")+" && document.getElementById('act').textContent === 'The probe is back in the meat'")
	do(t, ctx, click("act"))
	until(t, ctx, "busy === null")
	assert.Equal(t, controller.Command{Kind: controller.Mended, Alarm: trip.CoreOut}, sent())

	// The line is cut: numbers are old, nothing can be sent, and it comes back by itself.
	put(t, ctx, l, cooking())
	until(t, ctx, "document.getElementById('bar').hidden")
	server.cut.Store(true)
	until(t, ctx, "document.body.classList.contains('lost') && "+seen("answer-head")+" && document.getElementById('change').hidden && document.getElementById('act').hidden")
	assert.Regexp(t, `No word for \d+`, read(t, ctx, "document.getElementById('answer-head').textContent"))
	picture(t, ctx, "lost-360")
	server.cut.Store(false)
	until(t, ctx, "!document.body.classList.contains('lost') && document.getElementById('told').textContent.startsWith('Back since')")
	// A controller that stands still is no live number either.
	stuck := cooking()
	stuck.Stepped = noon.Add(-time.Minute)
	put(t, ctx, l, stuck)
	until(t, ctx, "document.getElementById('answer-head').textContent.startsWith('No step for 1')")
	put(t, ctx, l, cooking())

	// The curve by keys: a minute at a time.
	until(t, ctx, "document.querySelector('#line-svg path.core') !== null")
	do2(t, ctx, "document.getElementById('line-svg').focus()")
	do2(t, ctx, "document.activeElement.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowLeft', bubbles: true}))")
	until(t, ctx, "document.getElementById('line-value').textContent.startsWith('11:59: chamber')")

	// Stop asks first, and says what is lost.
	do(t, ctx, click("stop"), click("keep"), click("stop"))
	assert.Contains(t, read(t, ctx, "document.getElementById('stop-what').textContent"), "Core 63.2 of 71.0")
	count := len(l.requests())
	do(t, ctx, click("really-stop"))
	until(t, ctx, "busy === null && !document.getElementById('ask-stop').open")
	require.Len(t, l.requests(), count+1)
	assert.Equal(t, controller.Stop, sent().Kind)

	// Fahrenheit and German, kept by this browser.
	do(t, ctx, click("units"), click("language"))
	until(t, ctx, "document.documentElement.lang === 'de' && document.getElementById('chamber').textContent.endsWith('°F')")
	assert.Equal(t, "Kein Alarm. Nichts zu tun.", read(t, ctx, "document.getElementById('answer-head').textContent"))
	picture(t, ctx, "german-360")
}
