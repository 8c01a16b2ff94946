package web_test

import (
	"encoding/json"
	"fmt"
	"fumarium/controller/access"
	"fumarium/controller/web"
	"regexp"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/caution"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
)

// in shows a state to the page, as whoever reads it has set their browser.
func in(t *testing.T, ctx ctx, l *loop, server *between, s state, pace float64, settings string) {
	t.Helper()
	s.snap.Pace = pace // tells it from the one before
	server.plan.Store(s.plan)
	put(t, ctx, l, s.snap)
	until(t, ctx, fmt.Sprintf("status !== null && status.pace === %g", pace))
	do2(t, ctx, "keep("+settings+"); barSince = 0; dress(); scrollTo(0, 0)")
}

// What readers of many kinds see, in one browser: other units, the other language, a system
// that forces its own colours, text twice as large, a phone on its side; and what axe-core
// says of what is folded away at first.
func TestReadersOfManyKinds(t *testing.T) {
	ctx := browser(t)
	l := accepting(cooking())
	server := behind(t, configured(l, func(c *web.Config) { c.Sessions = access.New(func() time.Time { return noon }) }))
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null && sectionOf !== ''")

	// The page's script brings figures into the units that were asked for as quantity does.
	texts := []string{caution.BeforeReset, caution.HeatReturns, "core 54.4 °C (129.9 °F), 4 °C at the end", "ramp 30 °C/h, at most 0.5 K/min", "4 kg hung, 500 g, 12.5 g", `"55.5 °C" is written; 55.5 °C is meant`,
		"1.2 g/mL, 40 kg/m³, 12 W/m²K, 5 kWh", "the rest in water of 80–90 °C (as quoted), 72 °C", "2026-11-28 °C", "cook2-open@1h=-15K", "4 to 6 kg", "54.3 / 60.1 °C", "−17.8 °C", "8°C, 5kg", "3.3 °C or colder, 67.8 °C or more"}
	for c := trip.None + 1; c < trip.Count; c++ {
		texts = append(texts, c.Entry().Meaning, c.Entry().Action)
	}
	for tenths := -400; tenths < 1300; tenths++ {
		v := quantity.Fixed(float64(tenths)/10, 1)
		texts = append(texts, v+" °C", "at least "+v+" °C", "at most "+v+" °C", v+" K", v+" kg")
	}
	asked, err := json.Marshal(texts)
	require.NoError(t, err)
	for _, units := range []quantity.Units{{}, {Fahrenheit: true}, {Pounds: true}, {Fahrenheit: true, Pounds: true}} {
		set := map[bool]string{false: "C", true: "F"}[units.Fahrenheit] + "', mass: '" + map[bool]string{false: "kg", true: "lb"}[units.Pounds]
		do2(t, ctx, "keep({units: '"+set+"'})")
		var shown []string
		require.NoError(t, json.Unmarshal([]byte(read(t, ctx, "JSON.stringify("+string(asked)+".map(figured))")), &shown))
		for i, text := range texts {
			require.Equal(t, units.Text(text), shown[i], "%s in %v", text, units)
		}
	}

	// In °F and lb no figure of any state is left in °C or kg, spoken ones and axes included.
	metric := regexp.MustCompile(`[^\n]*\d[\s\x{a0}]?(?:°C|K|kg|g)(?:$|[\s,.;:)/])[^\n]*`)
	all := append(states(t), state{"held-asking", heldAsking(), false, nil})
	for i, s := range all {
		in(t, ctx, l, server, s, float64(100+i), "{units: 'F', mass: 'lb', language: 'en'}")
		do2(t, ctx, "for (const e of document.querySelectorAll('details')) e.open = true")
		said := read(t, ctx, "document.body.innerText + ' ' + [...document.querySelectorAll('[aria-label], [aria-valuetext]')].map(e => e.getAttribute('aria-label') + ' ' + e.getAttribute('aria-valuetext')).join('\\n')")
		assert.Empty(t, metric.FindAllString(said, -1), s.name)
		assert.NotContains(t, said, "log10", s.name)
	}

	// In German what a person wrote into the product file stays as it is, and the names of
	// sources; both say so.
	const own = "Light the smoke generator and open the damper a quarter"
	for i, s := range all {
		in(t, ctx, l, server, s, float64(150+i), "{units: 'C', mass: 'kg', language: 'de'}")
		do2(t, ctx, "for (const e of document.querySelectorAll('details')) e.open = true")
		english := read(t, ctx, `[...document.querySelectorAll('[lang=en]')].filter(e => e.getClientRects().length && e.textContent.trim() && !e.closest('#maker-meat-source, #maker-fat-source') && e.textContent !== '`+own+`')
			.map(e => e.id + ' ' + e.textContent.trim().slice(0, 60)).join(' | ')`)
		assert.Empty(t, english, s.name)
		assert.Equal(t, "true", read(t, ctx, "[...document.querySelectorAll('#bar-lines li[lang]')].every(e => e.lang === (e.textContent === '"+own+"' ? 'en' : 'de'))"), s.name)
		assert.NotRegexp(t, `reaches|have passed|you confirm`, read(t, ctx, "document.getElementById('rail').textContent"), s.name)
		picture(t, ctx, s.name+"-german")
	}
	do2(t, ctx, "keep({language: 'en'}); dress(); document.getElementById('maker').open = false")

	// A held batch whose hand step waits is asked first whether to go on.
	assert.Equal(t, "Go on with smoke", read(t, ctx, "document.getElementById('act').textContent"))
	assert.Contains(t, read(t, ctx, "document.getElementById('bar-note').textContent"), "Then: Light the smoke generator")
	in(t, ctx, l, server, state{"prompt", asking(), true, nil}, 130, "{units: 'C'}")
	assert.Equal(t, "Done, go on with smoke", read(t, ctx, "document.getElementById('act').textContent"))
	assert.Contains(t, read(t, ctx, "document.getElementById('act').getAttribute('aria-label')"), "Done, go on with smoke: Light the smoke generator")

	// Forced colours: what is told apart by being filled still is, and nothing vanishes.
	one := func(params *emulation.SetEmulatedMediaParams) {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, *params)
		require.NoError(t, err)
	}
	for _, scheme := range []string{"dark", "light"} {
		one(&emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "forced-colors", Value: "active"}, {Name: "prefers-color-scheme", Value: scheme}}})
		for i, s := range all {
			in(t, ctx, l, server, s, float64(200+i), "{units: 'C'}")
			picture(t, ctx, s.name+"-forced-"+scheme)
			assert.Equal(t, "", read(t, ctx, `(() => { const of = e => getComputedStyle(e), ground = of(document.body).backgroundColor;
				return [...document.querySelectorAll('.sign, .section *, #line-svg path, #line-svg text')].filter(e => e.getClientRects().length)
					.filter(e => { const s = of(e); return [s.fill, s.stroke, s.color, s.backgroundColor, s.borderTopColor].every(c => c === ground || c === 'none' || c === 'rgba(0, 0, 0, 0)'); }).map(e => e.outerHTML.slice(0, 80)).join(); })()`), s.name)
			coloursStand(t, ctx, s.name+"-forced-"+scheme)
		}
	}
	one(&emulation.SetEmulatedMediaParams{})

	// Text twice as large, as a person set it; and a phone on its side.
	for _, view := range []struct {
		name          string
		width, height int64
		points        int64
	}{{"large", 390, 844, 32}, {"large-desk", 1280, 800, 32}, {"side", 640, 360, 16}, {"side-390", 844, 390, 16}, {"zoomed", 320, 640, 16}} {
		_, err := chromedp.Call(ctx, page.SetFontSizes, page.SetFontSizesParams{FontSizes: &page.FontSizes{Standard: view.points}})
		require.NoError(t, err)
		do(t, ctx, chromedp.EmulateViewport(view.width, view.height), chromedp.Reload())
		until(t, ctx, "typeof status === 'object' && status !== null && sectionOf !== ''")
		for i, s := range all {
			in(t, ctx, l, server, s, float64(300+i), "{units: 'C'}")
			picture(t, ctx, s.name+"-"+view.name)
			wants := []string{"answer-head"}
			if read(t, ctx, "bar !== null && Boolean(bar.main)") == "true" {
				wants = append(wants, "act")
			}
			look(t, ctx, s.name+"-"+view.name, wants)
			if view.height < 480 {
				findsNothing(t, ctx, s.name+"-"+view.name)
			}
		}
	}
	_, err = chromedp.Call(ctx, page.SetFontSizes, page.SetFontSizesParams{FontSizes: &page.FontSizes{Standard: 16}})
	require.NoError(t, err)

	// axe-core, with what is folded away at first opened.
	do(t, ctx, chromedp.EmulateViewport(390, 844), chromedp.Reload())
	until(t, ctx, "typeof status === 'object' && status !== null && sectionOf !== ''")
	for i, s := range all {
		if s.name != "idle" && s.name != "run" && s.name != "complete" {
			continue
		}
		in(t, ctx, l, server, s, float64(400+i), "{units: 'C'}")
		do2(t, ctx, "for (const e of document.querySelectorAll('details')) e.open = true; sessionStorage.setItem('token', '"+token+"'); newCode()")
		until(t, ctx, "offered !== null && !document.getElementById('pair-code').hidden")
		findsNothing(t, ctx, s.name+"-open")
	}
}

// heldAsking is a batch that was held while a hand step waited.
func heldAsking() *snapshot.Snapshot {
	s := asking()
	s.State.Batch = controller.Held
	s.State.Out, s.State.Heater.HasSetpoint, s.State.Heater.Demand = controller.Outputs{Damper: 0.25}, false, 0
	return s
}
