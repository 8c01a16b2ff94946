package web_test

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
)

// A person with a phone asks in German what a hotter chamber and a cold night would come to,
// and sees it beside the present forecast. Nothing is changed by it.
func TestAPersonAsksWhatIf(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	server := behind(t, handler(l))
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	do2(t, ctx, "sessionStorage.setItem('token', '"+token+"'); keep({language: 'de'}); dress()")
	set := func(id, value string) {
		do2(t, ctx, "const e = document.getElementById('"+id+"'); e.value = '"+value+"'; e.dispatchEvent(new Event('input')); e.dispatchEvent(new Event('change'))")
	}
	text := func(id string) string { return read(t, ctx, "document.getElementById('"+id+"').innerText") }
	answered := "document.querySelectorAll('#if-answer td').length > 0"
	do(t, ctx, click("if"))
	until(t, ctx, "document.getElementById('ask-if').open && "+seen("if-go"))
	assert.Equal(t, "Wann wäre sie fertig?", text("if-title"))
	assert.Equal(t, `{"chamber":"+5 K"}`, read(t, ctx, "JSON.stringify(ifOrder())"))
	do(t, ctx, click("if-go"))
	until(t, ctx, answered)
	assert.Contains(t, text("if-answer"), "Nach 8 Proben, von hier an wiederholt.")
	assert.Contains(t, text("if-answer"), "Acht von zehn")
	times := read(t, ctx, "[...document.querySelectorAll('#if-answer tbody tr:first-child td')].map(e => e.textContent).join(' | ')")
	assert.Regexp(t, `^\D*\d+:\d\d\D* \| \D*\d+:\d\d\D*$`, times)
	assert.True(t, read(t, ctx, "String(document.documentElement.scrollWidth <= innerWidth)") == "true", "wider than the phone")
	picture(t, ctx, "whatif-360")

	// Another figure is another question, and a night begins when the clock comes to it.
	set("if-by", "-3,5")
	until(t, ctx, "!("+answered+")")
	assert.Equal(t, `{"chamber":"-3.5 K"}`, read(t, ctx, "JSON.stringify(ifOrder())"))
	do2(t, ctx, "const w = document.getElementById('if-what'); w.value = 'cold'; w.dispatchEvent(new Event('change'))")
	until(t, ctx, seen("if-from"))
	assert.Equal(t, "-8 K 22:00 true", read(t, ctx, "(o => [o.room, new Date(o.from).toTimeString().slice(0, 5), new Date(o.from) > new Date(status.time)].join(' '))(ifOrder())"))
	do(t, ctx, click("if-go"))
	until(t, ctx, answered)
	do2(t, ctx, "keep({units: 'F'}); dress(); fillIf()")
	assert.Equal(t, "-14 F", read(t, ctx, "ifOrder().room"))
	set("if-by", "-400")
	do(t, ctx, click("if-go"))
	until(t, ctx, seen("says-if"))
	findsNothing(t, ctx, "ask-if", "ask-if")
	assert.Empty(t, read(t, ctx, `[...document.querySelectorAll('#ask-if :is(button, select, input)')].filter(e => e.offsetParent && e.offsetHeight < 56).map(e => e.id).join()`), "too small to touch")
	do(t, ctx, click("if-leave"))
	assert.Empty(t, l.requests(), "it changes nothing")
}
