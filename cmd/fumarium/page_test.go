package main

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A whole batch by hand on a phone, from the product assistant to the verdict, in the
// simulated cabinet of the real daemon: every question is answered by the one button of the bar. On the way the
// chamber's probe is lost for a while and trips. In the cook the page is loaded anew and
// still has the curve.
func TestWholeBatchByHandOnAPhone(t *testing.T) {
	d := launchProgram(t, built(t), t.TempDir(), nil, "--by-hand", "--cabinet", "plywood-cabinet", "--pace", "1500", "--fault", "chamber-open@3h+20m")
	d.answers()
	d.steps()
	p := openPhone(t, d.url, 360, 640)
	read, until := p.read, p.until
	chosenOnThePhone(p, d)
	read("document.getElementById('read').click()")
	p.click("go") // too early: the cure has not rested
	until("!document.getElementById('because').hidden")
	p.seen("says-start")
	p.seen("go")
	read("document.getElementById('reason').value = 'practice'")
	p.click("go")
	until("status.state !== 'idle'")
	assert.Equal(t, "Beech links", read("status.product"))
	var pressed []string
	anew := false
	defer func() {
		if t.Failed() { // what it waited for
			t.Log(strings.Join(pressed, "\n"), read("JSON.stringify({bar, busy, state: status.state, at: status.elapsed_seconds, stage: status.stage, prompt: status.prompt, alarms: status.alarms, reason: status.reason})"))
		}
	}()
	require.Eventually(t, func() bool {
		if read("status !== null && ['complete', 'stopped', 'aborted'].includes(status.state)") == "true" {
			return true
		}
		if !anew && read("status !== null && status.stage !== null && status.stage.name") == "cook" {
			anew = true
			p.do(chromedp.Reload())
			until("typeof status === 'object' && status !== null && document.querySelector('#line-svg path.core') !== null")
			return false
		}
		if read("bar !== null && bar.main && !document.getElementById('act').hidden && document.getElementById('act').getAttribute('aria-disabled') === 'false'") == "true" {
			if read("(() => { const r = document.getElementById('act').getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight + 1; })()") != "true" {
				t.Errorf("the one right button is not on screen: %s", read("bar.key"))
			}
			pressed = append(pressed, read("bar.kind + ': ' + bar.lines[0]"))
			read("document.getElementById('act').click()")
		} else if read("bar !== null && bar.quiet && busy === null") == "true" {
			read("document.getElementById('know').click()")
		}
		return false
	}, 3*time.Minute, 200*time.Millisecond)
	assert.GreaterOrEqual(t, len(pressed), 6, "one for each hand step")
	assert.True(t, anew)
	assert.Contains(t, strings.Join(pressed, " "), "now: ", "the trip is reset")
	assert.Contains(t, read("JSON.stringify(status.events.map(e => e.kind))"), "trip")
	t.Log(strings.Join(pressed, "\n"))
	assert.Equal(t, "complete", read("status.state"))
	until("document.getElementById('answer-head').textContent.startsWith('Complete.')")
	assert.Contains(t, read("document.getElementById('food-strong').textContent"), "ooked")
	p.do(chromedp.Reload())
	until("typeof status === 'object' && status !== null && document.querySelector('#line-svg path.core') !== null && document.querySelector('#line-svg path.core').getAttribute('d').length > 100")
	assert.Equal(t, "true", read("status.not_covered.length > 0 && document.querySelectorAll('#uncovered-list li').length === status.not_covered.length"))
}

// chosenOnThePhone makes a product with the assistant, and has its sheet looked at.
func chosenOnThePhone(p *phone, d *daemon) {
	t := p.t
	p.read("document.getElementById('maker').open = true")
	p.until("offered !== null && document.getElementById('maker-kind').options.length === 3")
	pick := func(field, key string) {
		p.until("[...document.getElementById('maker-" + field + "').options].some(o => o.value === '" + key + "')")
		p.read("(() => { const e = document.getElementById('maker-" + field + "'); e.value = '" + key + "'; e.dispatchEvent(new Event('change')); })()")
	}
	for _, choice := range [][2]string{{"kind", "sausage"}, {"place", "EU"}, {"meat", "pork-shoulder-lean"}, {"fat", "pork-back-fat"}, {"percent", "25"}, {"casing", "hog-32"}, {"cure", "no-1"}, {"core", "70"}} {
		pick(choice[0], choice[1])
	}
	p.until("document.getElementById('maker-meat-source').textContent.includes('USDA SR24 10072')")
	p.read("document.getElementById('maker-meat-box').scrollIntoView()")
	p.picture("maker-1")
	p.click("maker-write") // nameless: told so where the finger is
	p.until("!document.getElementById('says-maker').hidden")
	p.seen("says-maker")
	p.do(chromedp.SendKeys(chromedp.CSS("#maker-name"), "Beech links"), chromedp.SendKeys(chromedp.CSS("#maker-mass"), "4 kg"))
	p.click("maker-write")
	p.seen("ask-token")
	p.do(chromedp.SendKeys(chromedp.CSS("#token"), p.token(d.state)+"\r"))
	p.until("document.getElementById('says-maker').textContent === 'Kept as beech-links.' && document.getElementById('choice').value === 'beech-links'")
	p.seen("says-maker")
	p.picture("maker-2")
	p.until("sheet !== null && trial !== null && !trial.missing && document.querySelector('#trial-curve path.core') !== null")
	assert.Equal(t, "4", p.read("sheet.meat_kilograms"))
	assert.Equal(t, "0", p.read("sheet.findings.length"))
	p.read("document.getElementById('gate-title').scrollIntoView()")
	p.picture("maker-3")
}
