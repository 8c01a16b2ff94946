package web_test

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/sensors"
)

var hotReading = sensors.At(117)

// sizes are those that the page is looked at in, in CSS pixels.
var sizes = []struct {
	name          string
	width, height int64
}{{"360", 360, 640}, {"390", 390, 844}, {"768", 768, 1024}, {"1280", 1280, 800}, {"1920", 1920, 1080}}

// audit is axe-core, where the tests have it: .ci/test fetches it. It never goes to a
// reader of the page.
func audit(t *testing.T) string {
	t.Helper()
	path := os.Getenv("FUMARIUM_TEST_AXE")
	if path == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("FUMARIUM_TEST_AXE names no axe.min.js; .ci/test fetches it with npm pack axe-core")
		}
		return ""
	}
	script, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(script)
}

// findsNothing lets axe-core look at the page as it stands, or at some elements of it.
func findsNothing(t *testing.T, ctx ctx, name string, elements ...string) {
	t.Helper()
	axeFinds(t, ctx, name, "['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice']", elements)
}

// coloursStand looks with those rules of it that colours can break, where the page is one
// that findsNothing has looked at in other colours: most of its rules read words and
// structure, which are the same.
func coloursStand(t *testing.T, ctx ctx, name string) {
	t.Helper()
	axeFinds(t, ctx, name, "{type: 'rule', values: ['color-contrast', 'link-in-text-block']}", nil)
}

func axeFinds(t *testing.T, ctx ctx, name, rules string, elements []string) {
	t.Helper()
	axe := audit(t)
	if axe == "" {
		return
	}
	if read(t, ctx, "typeof axe") == "undefined" {
		do2(t, ctx, axe+"; true")
	}
	where := "document"
	if len(elements) > 0 {
		where = "['#" + strings.Join(elements, "', '#") + "']"
	}
	assert.Equal(t, "[]", read(t, ctx, `axe.run(`+where+`, {runOnly: `+rules+`}).then(r => JSON.stringify(r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.target + ' ' + n.failureSummary).join(' | '))))`), name)
}

// Every state in every size: nothing is wider than the screen, what must be seen is seen
// without scrolling, nothing is smaller than a wet thumb needs, no text is under 15 px, and
// axe-core finds nothing.
func TestEveryStateInEverySize(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	server := behind(t, handler(l))
	for _, scheme := range []string{"light", "dark"} {
		for _, size := range sizes {
			if scheme == "dark" && size.width != 390 && os.Getenv("SCREENSHOTS") == "" {
				continue // for a person to look at
			}
			do(t, ctx, chromedp.EmulateViewport(size.width, size.height), chromedp.Navigate(server.URL))
			until(t, ctx, "document.getElementById('answer-head').textContent !== ''")
			do2(t, ctx, "keep({scheme: '"+scheme+"'}); dress()")
			for i, s := range states(t) {
				s.snap.Pace = float64(60 + i) // tells it from the one before
				name := s.name + "-" + size.name + "-" + scheme
				server.plan.Store(s.plan)
				put(t, ctx, l, s.snap)
				until(t, ctx, fmt.Sprintf("status !== null && status.pace === %g", s.snap.Pace))
				do2(t, ctx, "barSince = 0; draw(); show('told', false); fetchCurves(); scrollTo(0, 0); true")
				until(t, ctx, "sectionOf !== '' && (status.state === 'idle' || document.querySelector('#line-svg svg') !== null)")
				picture(t, ctx, name)
				if scheme == "dark" && size.width != 390 {
					continue
				}
				look(t, ctx, name, s.wants)
				if s.name == "run" || s.name == "prompt" || s.name == "soon" { // when it is done is read as well
					assert.Equal(t, "true", read(t, ctx, `(() => { const bar = document.getElementById('bar'), foot = bar.offsetHeight && getComputedStyle(bar).position === 'fixed' ? bar.getBoundingClientRect().top : innerHeight;
						return document.getElementById('rail').lastElementChild.getBoundingClientRect().bottom <= foot + 4; })()`), "%s: when it is done", name)
				}
				if scheme == "dark" {
					coloursStand(t, ctx, name)
				} else {
					findsNothing(t, ctx, name)
				}
			}
		}
	}
}

func look(t *testing.T, ctx ctx, name string, wants []string) {
	t.Helper()
	assert.Equal(t, "", read(t, ctx, `document.documentElement.scrollWidth <= document.documentElement.clientWidth ? '' :
		[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1).slice(0, 6).map(e => e.tagName + '#' + e.id + '.' + e.getAttribute('class')).join()`), "%s: wider than the screen", name)
	assert.Equal(t, "", read(t, ctx, `[...document.querySelectorAll('#line-svg *')].filter(e => /NaN|undefined/.test(e.outerHTML) || e.tagName === 'rect' && parseFloat(e.getAttribute('x')) < 0).map(e => e.outerHTML).join()`), "%s: drawn nowhere", name)
	ids, err := json.Marshal(wants)
	require.NoError(t, err)
	assert.Equal(t, "", read(t, ctx, string(ids)+`.filter(id => { const e = document.getElementById(id), r = e.getBoundingClientRect();
		if (!e.offsetParent && getComputedStyle(e).position !== 'fixed' || r.top < 0 || r.top >= innerHeight || id !== 'rail' && r.bottom > innerHeight + 1) return true;
		const at = document.elementFromPoint(r.left + Math.min(r.width / 2, 40), r.top + Math.min(r.height / 2, 20));
		return !at || !e.contains(at) && !at.contains(e); }).join()`), "%s: not on the first screen", name)
	assert.Equal(t, "", read(t, ctx, `[...document.querySelectorAll('button, select, summary, .check, input:not([type=checkbox])')].filter(e => e.offsetParent && !e.closest('dialog') && e.offsetHeight < 56)
		.map(e => (e.id || e.textContent) + ' ' + e.offsetHeight).join()`), "%s: too small to touch", name)
	assert.Equal(t, "", read(t, ctx, `[...document.querySelectorAll('body *')].filter(e => e.getClientRects().length && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) && parseFloat(getComputedStyle(e).fontSize) < 15)
		.map(e => e.tagName + e.id + ' ' + e.textContent.slice(0, 20)).join()`), "%s: smaller than 15", name)
}

// inEverySize holds the other pages in every size, in German and dark as well: nothing is
// wider than the screen, too small to read or, but for tables of marks, to touch.
func inEverySize(t *testing.T, ctx ctx, name, ready string) {
	t.Helper()
	for _, settings := range []string{"{}", "{language: 'de', scheme: 'dark'}"} {
		do2(t, ctx, "keep("+settings+")")
		do(t, ctx, chromedp.Reload())
		until(t, ctx, ready)
		for _, size := range sizes {
			do(t, ctx, chromedp.EmulateViewport(size.width, size.height))
			until(t, ctx, ready) // a curve is drawn anew
			at := fmt.Sprintf("%s-%s-%s", name, size.name, read(t, ctx, "kept.language"))
			picture(t, ctx, at)
			look(t, ctx, at, []string{})
		}
		coloursStand(t, ctx, name)
	}
	do2(t, ctx, "keep({language: 'en', scheme: ''})")
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Reload())
	until(t, ctx, ready)
}

// On the wall a prompt is read at three metres: capitals of at least 2 % of the screen's
// height (they are at least 0.7 of the size of the letters), and no word is under that.
func TestWallView(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	server := behind(t, handler(l))
	do(t, ctx, chromedp.EmulateViewport(1920, 1080), chromedp.Navigate(server.URL+"/?view=wall"))
	until(t, ctx, "status !== null && sectionOf !== ''")
	for i, s := range states(t) {
		s.snap.Pace = float64(60 + i)
		put(t, ctx, l, s.snap)
		until(t, ctx, fmt.Sprintf("status !== null && status.pace === %g", s.snap.Pace))
		do2(t, ctx, "barSince = 0; draw(); scrollTo(0, 0)")
		picture(t, ctx, "wall-"+s.name)
		assert.Equal(t, "", read(t, ctx, `['bar-lines', 'answer-head', 'chamber', 'core'].map(id => document.getElementById(id)).filter(e => e.offsetParent && e.textContent)
			.filter(e => parseFloat(getComputedStyle(e.querySelector('li') || e).fontSize) * 0.7 < innerHeight * 0.02).map(e => e.id).join()`), s.name)
		if s.name == "prompt" || s.name == "trip" || s.name == "soon" {
			look(t, ctx, "wall-"+s.name, []string{"answer-head", "chamber", "core", "bar"})
		}
	}
}
