package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A whole batch by hand on a phone, from the start to the verdict, in the simulated cabinet
// of the real daemon: every question is answered by the one button of the bar. On the way the
// chamber's probe is lost for a while and trips. In the cook the page is loaded anew and
// still has the curve.
func TestWholeBatchByHandOnAPhone(t *testing.T) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not on PATH; install it: apt-get install -y chromium")
		}
		t.Skip("chromium is not on PATH; apt-get install -y chromium runs this test")
	}
	d := launchProgram(t, built(t), t.TempDir(), nil, "--by-hand", "--cabinet", "plywood-cabinet", "--pace", "1500", "--fault", "chamber-open@3h+20m")
	d.answers()
	d.steps()
	token, err := os.ReadFile(filepath.Join(d.state, "operator-token"))
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Minute)
	defer cancel()
	ctx, cancel = chromedp.NewExecAllocator(ctx, chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("disable-background-networking", true))
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	read := func(expression string) string {
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("String("+expression+")"))
		require.NoError(t, err)
		return text
	}
	until := func(expression string) {
		t.Helper()
		require.Eventually(t, func() bool { return read(expression) == "true" }, time.Minute, 100*time.Millisecond, expression)
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(d.url)))
	until("typeof status === 'object' && status !== null")
	read("sessionStorage.setItem('token', '" + strings.TrimSpace(string(token)) + "')")
	choice := read("[...document.getElementById('choice').options].findIndex(o => o.textContent.toLowerCase().includes('marjoram'))")
	require.NotEqual(t, "-1", choice)
	read("document.getElementById('choice').selectedIndex = " + choice)
	read("document.getElementById('read').click()")
	read("document.getElementById('go').click()") // too early: the cure has not rested
	until("status.state !== 'idle' || !document.getElementById('because').hidden")
	if read("status.state") == "idle" {
		read("document.getElementById('reason').value = 'practice'")
		read("document.getElementById('go').click()")
	}
	until("status.state !== 'idle'")
	var pressed []string
	anew := false
	require.Eventually(t, func() bool {
		if read("status !== null && ['complete', 'stopped', 'aborted'].includes(status.state)") == "true" {
			return true
		}
		if !anew && read("status !== null && status.stage !== null && status.stage.name") == "cook" {
			anew = true
			require.NoError(t, chromedp.Do(ctx, chromedp.Reload()))
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
	require.NoError(t, chromedp.Do(ctx, chromedp.Reload()))
	until("typeof status === 'object' && status !== null && document.querySelector('#line-svg path.core') !== null && document.querySelector('#line-svg path.core').getAttribute('d').length > 100")
	assert.Equal(t, "true", read("status.not_covered.length > 0 && document.querySelectorAll('#uncovered-list li').length === status.not_covered.length"))
}
