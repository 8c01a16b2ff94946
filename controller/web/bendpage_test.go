package web_test

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
)

// A person with a phone changes the stage under way: sees how far, what it would come to and
// what it would cost, says why, and is told when another stage has begun meanwhile.
func TestAPersonBendsAStage(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	server := behind(t, handler(l))
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	do2(t, ctx, "sessionStorage.setItem('token', '"+token+"')")
	do(t, ctx, click("bend"))
	until(t, ctx, "document.getElementById('ask-bend').open && "+seen("bend-go"))
	assert.Equal(t, "chamber,core,smoke,skip,end-cooking", read(t, ctx, "[...document.getElementById('bend-what').options].map(o => o.value).join()"))
	assert.Contains(t, read(t, ctx, "document.getElementById('bend-bounds').textContent"), "Now 82\u00a0°C, in the file 82\u00a0°C. From 0\u00a0°C to 110\u00a0°C.")
	picture(t, ctx, "bend-360")
	set := func(id, value string) {
		do2(t, ctx, "const e = document.getElementById('"+id+"'); e.value = '"+value+"'; e.dispatchEvent(new Event('input')); e.dispatchEvent(new Event('change'))")
	}

	// Too hot: the reason stands beside the button, and nothing is sent.
	set("bend-value", "125")
	do(t, ctx, click("bend-go"))
	until(t, ctx, seen("says-bend")+" && document.getElementById('says-bend').textContent.includes('limit')")
	picture(t, ctx, "bend-refused-360")
	assert.Empty(t, l.requests())

	set("bend-what", "end-cooking")
	until(t, ctx, "document.getElementById('bend-bounds').textContent.includes('It goes on with chill.') && document.getElementById('says-bend').hidden")
	do(t, ctx, click("bend-go"))
	until(t, ctx, "document.getElementById('bend-go').textContent === 'Change it' && "+seen("bend-go"))
	shown := read(t, ctx, "document.getElementById('bend-effect').innerText")
	assert.Contains(t, shown, "✗ Core cooked: not met")
	assert.Contains(t, shown, "66.0")
	do2(t, ctx, "document.getElementById('bend-effect').scrollIntoView(); true")
	picture(t, ctx, "bend-effect-360")
	do(t, ctx, click("bend-go"))
	until(t, ctx, seen("says-bend")+" && document.getElementById('says-bend').textContent.startsWith('Say why')")
	assert.Empty(t, l.requests(), "without a reason nothing is changed")
	set("bend-reason", "tastes right")
	do(t, ctx, click("bend-go"))
	until(t, ctx, "!document.getElementById('ask-bend').open && document.activeElement.id === 'answer'")
	require.Len(t, l.requests(), 1)
	got := l.requests()[0]
	assert.Equal(t, controller.EndCooking, got.Command.Kind)
	assert.Equal(t, "tastes right", got.Reason)

	// In the person's units, and what was seen no longer holds once another figure stands there.
	do2(t, ctx, "keep({units: 'F'}); dress()")
	do(t, ctx, click("bend"))
	until(t, ctx, "document.getElementById('bend-value').value === '179.6'")
	set("bend-value", "185")
	do(t, ctx, click("bend-go"))
	until(t, ctx, "document.getElementById('bend-go').textContent === 'Change it'")
	set("bend-value", "190")
	until(t, ctx, "document.getElementById('bend-go').textContent === 'What would it come to?'")
	set("bend-value", "185")
	do(t, ctx, click("bend-go"))
	until(t, ctx, "document.getElementById('bend-go').textContent === 'Change it'")
	set("bend-reason", "late")
	do(t, ctx, click("bend-go"))
	until(t, ctx, "!document.getElementById('ask-bend').open")
	require.Len(t, l.requests(), 2)
	assert.InDelta(t, 85, float64(l.requests()[1].Command.Bend.Chamber), 1e-9)

	// Another stage has begun while the sheet was open.
	do(t, ctx, click("bend"))
	until(t, ctx, "document.getElementById('ask-bend').open")
	put(t, ctx, l, asking())
	until(t, ctx, "document.getElementById('bend-go').disabled && "+seen("says-bend"))
	do(t, ctx, click("bend-leave"))
	done := cooking()
	done.State.Batch = controller.Complete
	put(t, ctx, l, done)
	until(t, ctx, "document.getElementById('bend').hidden || document.getElementById('change').hidden")
	put(t, ctx, l, cooking())
	until(t, ctx, "!document.getElementById('change').hidden")
	do(t, ctx, click("bend"))
	findsNothing(t, ctx, "ask-bend", "ask-bend")
	assert.Empty(t, read(t, ctx, `[...document.querySelectorAll('#ask-bend :is(button, select, input)')].filter(e => e.offsetParent && e.offsetHeight < 56).map(e => e.id).join()`), "too small to touch")
}
