package desk_test

import (
	"context"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/sim/recordtest"
)

// Every page of the hub on a phone (360 by 640 points) and on a screen: nothing is wider than
// it but tables that scroll by themselves, what is pressed is at least 44 points high (WCAG 2.2
// asks for 24), and axe-core 4.14.1 finds nothing. Report and comparison are papers of
// controller/report, made for A4 and Letter: they are held to WCAG alone, not to what axe calls
// best practice.
func TestPagesInABrowser(t *testing.T) {
	t.Parallel()
	chromium, err := exec.LookPath("chromium")
	path := os.Getenv("FUMARIUM_TEST_AXE")
	if err != nil || path == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("this needs chromium on PATH and axe.min.js at FUMARIUM_TEST_AXE; .ci/test brings both")
		}
		t.Skip("without chromium and axe.min.js at FUMARIUM_TEST_AXE")
	}
	axe, err := os.ReadFile(path)
	require.NoError(t, err)
	h := opened(t)
	names := []string{"Barn, left", "The walk-in behind the old dairy, second door on the right"}
	links := recordtest.Links(t, 2)
	for i, name := range names {
		b := h.joined(name)
		status, said := h.post(b.Key, wire(t, links[:len(links)-5*i]))
		require.Equal(t, http.StatusOK, status, said)
	}
	links[3].Number += 900
	b := h.joined("Shed")
	h.post(b.Key, wire(t, links[3:4])) // an alarm of the hub
	word, err := h.AddPerson(t.Context(), "Ada", store.Administer)
	require.NoError(t, err)
	session, err := h.Enter(t.Context(), word)
	require.NoError(t, err)

	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Minute)
	defer cancel()
	ctx, cancel = chromedp.NewExecAllocator(ctx, chromedp.ExecPath(chromium), chromedp.UserDataDir(t.TempDir()), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true))
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	read := func(expression string) string {
		t.Helper()
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("(async () => String(await ("+expression+")))()", chromedp.EvalAwaitPromise))
		require.NoError(t, err)
		return text
	}
	one := "?" + url.Values{"cabinet": {names[0]}, "name": {links[0].Batch}}.Encode()
	pages := []string{"/", "/batches", "/lots?lot=L+7", "/haccp", "/alarms", "/people", "/batch" + one,
		"/report" + one, "/compare" + one + "&" + url.Values{"with": {names[1] + " / " + links[0].Batch}}.Encode()}
	for i, size := range [][2]int64{{360, 640}, {1280, 800}} {
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(size[0], size[1]), chromedp.Navigate(h.URL)))
		for _, page := range append([]string{""}, pages...) {
			if page == "/" && i == 0 { // after the door was looked at
				read("document.cookie = 'fumarium_hub=" + session + "; path=/'")
			}
			if page != "" {
				require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(h.URL+page)))
			}
			if dir := os.Getenv("SCREENSHOTS"); dir != "" {
				png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
				require.NoError(t, err)
				require.NoError(t, os.WriteFile(dir+"/hub-"+url.PathEscape(page)[:min(12, len(url.PathEscape(page)))]+[]string{"-phone", "-screen"}[i]+".png", png, 0o644))
			}
			paper := strings.HasPrefix(page, "/report") || strings.HasPrefix(page, "/compare")
			assert.Equal(t, "0", read("Math.max(0, document.documentElement.scrollWidth - "+strconv.FormatInt(size[0], 10)+")"), "%s is wider than %d points", page, size[0])
			assert.Equal(t, "", read(`[...document.querySelectorAll('button, input:not([type=hidden]), select')].filter(e => e.offsetHeight < 44).map(e => e.outerHTML).join(' ')`), "%s: too low for a thumb", page)
			_, err := chromedp.Run(ctx, chromedp.Evaluate[bool](string(axe)+"; true"))
			require.NoError(t, err)
			rules := "'wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa'"
			if !paper {
				rules += ", 'best-practice'"
			}
			assert.Equal(t, "[]", read(`axe.run(document, {runOnly: [`+rules+`]}).then(r => JSON.stringify(r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.target + ' ' + n.failureSummary).join(' | '))))`), "%s, %d points", page, size[0])
		}
	}
	status, page := h.visitor(store.Look).get(pages[len(pages)-1])
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, page, names[0]+" / "+links[0].Batch)
	assert.Contains(t, page, names[1]+" / "+links[0].Batch)
	status, _ = h.visitor(store.Note).get("/compare" + one + "&with=x")
	assert.Equal(t, http.StatusBadRequest, status)
}
