package web_test

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
)

// Whatever throws while the page is drawn, the person is told where it is seen, no old answer
// or question stays, no button stays dead, and the next step draws all of it again.
func TestAThrownDrawFreezesNothing(t *testing.T) {
	ctx := browser(t)
	l := accepting(asking())
	server := behind(t, handler(l))
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL))
	do2(t, ctx, "sessionStorage.setItem('token', '"+token+"')")
	until(t, ctx, ready)
	l.answers(snapshot.Reply{Accepted: true, Recorded: true, State: controller.Running})
	parts := `['drawFrame', 'drawAnswer', 'drawBar', 'drawHead', 'drawSection', 'drawFigure', 'drawRail', 'drawFood', 'drawLists', 'drawNotes', 'drawButtons', 'drawBend', 'drawIf', 'drawLearn', 'drawSays', 'announce']`
	assert.Equal(t, read(t, ctx, parts+".length"), read(t, ctx, "partsOf(status, null).length"), "another part: let it throw here")
	do2(t, ctx, "window.sound = Object.fromEntries("+parts+".map(p => [p, window[p]]))")
	for _, part := range []string{"drawFrame", "drawAnswer", "drawBar", "drawHead", "drawSection", "drawFigure", "drawRail", "drawFood", "drawLists", "drawNotes", "drawButtons", "drawBend", "drawLearn", "drawSays", "announce"} {
		do2(t, ctx, "window."+part+" = () => { throw new Error('torn'); }")
		sent := len(l.requests())
		if part != "drawBar" {
			do2(t, ctx, "document.getElementById('act').click()")
			until(t, ctx, "busy === null")
			require.Len(t, l.requests(), sent+1, part)
		}
		put(t, ctx, l, asking())
		until(t, ctx, seen("torn"))
		if part == "drawAnswer" {
			assert.Equal(t, "Not all can be shown", read(t, ctx, "document.getElementById('answer-head').textContent"))
			picture(t, ctx, "torn-360")
		}
		assert.Equal(t, "true", read(t, ctx, "document.getElementById('bar').hidden === "+map[bool]string{true: "true", false: "false"}[part == "drawBar"]), part)
		do2(t, ctx, "window."+part+" = window.sound."+part)
		put(t, ctx, l, asking())
		until(t, ctx, "document.getElementById('torn').hidden && document.getElementById('answer-head').textContent === 'No alarm. Your turn.' && "+ready)
	}
	// Should all of it throw, in the press itself: the press after it is taken.
	sent := len(l.requests())
	do2(t, ctx, "window.whole = draw; window.draw = () => { throw new Error('torn'); }; document.getElementById('act').click()")
	until(t, ctx, "busy === null")
	do2(t, ctx, "window.draw = window.whole")
	put(t, ctx, l, asking())
	until(t, ctx, ready)
	do(t, ctx, click("act"))
	until(t, ctx, "busy === null")
	assert.Len(t, l.requests(), sent+1)
	// A list whose making throws is made at the next step, though nothing of it has changed.
	do2(t, ctx, "delete drawn.probes; window.heads = make; window.make = () => { throw new Error('torn'); }; draw(); window.make = window.heads; document.getElementById('probes').replaceChildren(); draw()")
	assert.NotEqual(t, "0", read(t, ctx, "document.getElementById('probes').children.length"))
	assert.Equal(t, "true", read(t, ctx, "document.getElementById('torn').hidden"))
}
