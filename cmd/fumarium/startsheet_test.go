package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A phone is a headless Chromium of a phone's size with the page of a daemon in it.
type phone struct {
	t   *testing.T
	ctx context.Context
}

func openPhone(t *testing.T, url string, width, height int64) *phone {
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not on PATH; install it: apt-get install -y chromium")
		}
		t.Skip("chromium is not on PATH; apt-get install -y chromium runs this test")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("disable-background-networking", true))
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	p := &phone{t, ctx}
	p.do(chromedp.EmulateViewport(width, height), chromedp.Navigate(url))
	p.until("typeof status === 'object' && status !== null")
	return p
}

func (p *phone) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	require.NoError(p.t, chromedp.Do(p.ctx, steps...))
}

func (p *phone) read(expression string) string {
	p.t.Helper()
	text, err := chromedp.Run(p.ctx, chromedp.Evaluate[string]("String("+expression+")"))
	require.NoError(p.t, err, expression)
	return text
}

func (p *phone) until(expression string) {
	p.t.Helper()
	require.Eventually(p.t, func() bool { return p.read(expression) == "true" }, time.Minute, 100*time.Millisecond, expression)
}

// click taps what is on screen with nothing over it.
func (p *phone) click(id string) {
	p.t.Helper()
	p.read("document.getElementById('" + id + "').scrollIntoView({ block: 'center', behavior: 'instant' })")
	p.seen(id)
	p.do(chromedp.Click(chromedp.CSS("#"+id), chromedp.NodeVisible))
}

// seen waits until an element is on screen, whole, with nothing over its middle.
func (p *phone) seen(id string) {
	p.t.Helper()
	p.until(`(() => { const e = document.getElementById('` + id + `'), r = e.getBoundingClientRect();
		if (!r.height || r.top < 0 || r.bottom > innerHeight + 1) return false;
		const at = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
		return at !== null && e.contains(at); })()`)
}

// picture keeps a screenshot where SCREENSHOTS says, for a person to look at.
func (p *phone) picture(name string) {
	p.t.Helper()
	if dir := os.Getenv("SCREENSHOTS"); dir != "" {
		png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
		require.NoError(p.t, err)
		require.NoError(p.t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
	}
}

func (p *phone) token(state string) string {
	token, err := os.ReadFile(filepath.Join(state, tokenFile))
	require.NoError(p.t, err)
	return strings.TrimSpace(string(token))
}

// On a phone: a file with faults is brought and all of them are on screen; a good one is
// kept and chosen; its sheet says what to weigh for the meat in hand, how long it rests,
// what it would come to, and what speaks against it. Nothing is wider than the screen.
func TestStartSheetOnAPhone(t *testing.T) {
	d := launchProgram(t, built(t), t.TempDir(), nil, "--by-hand", "--cabinet", "plywood-cabinet", "--pace", "1")
	d.answers()
	d.steps()
	p := openPhone(t, d.url, 360, 640)
	bad, good := file(t, "bad-ring.yaml", strings.Replace(poisoned, "species: red meat", "species: red mead", 1)), file(t, "My ring.yaml", goodRing(t))
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#bring-file"), []string{bad}))
	p.seen("ask-token")
	p.do(chromedp.SendKeys(chromedp.CSS("#token"), p.token(d.state)+"\r"))
	p.until("!document.getElementById('says-bring').hidden")
	p.seen("says-bring")
	p.picture("bring-bad")
	assert.Contains(t, p.read("document.getElementById('bring-findings').textContent"), `"red mead"`)
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#bring-file"), []string{file(t, "poisoned.yaml", poisoned)}))
	p.until("document.getElementById('bring-findings').textContent.includes('nitrite-high')")
	assert.NotContains(t, p.read("[...document.getElementById('choice').options].map(o => o.value).join()"), "poisoned")

	p.do(chromedp.SetUploadFiles(chromedp.CSS("#bring-file"), []string{good}))
	p.until("document.getElementById('choice').value === 'my-ring' && sheet !== null")
	p.seen("says-bring")
	assert.Equal(t, "Kept as my-ring.", p.read("document.getElementById('says-bring').textContent"))
	p.do(chromedp.SendKeys(chromedp.CSS("#meat"), "1 kg\t"))
	p.until("sheet !== null && sheet.meat_kilograms === 1 && trial !== null && document.querySelector('#trial-curve path.core') !== null")
	p.read("document.querySelector('#sheet details').open = true")
	assert.Contains(t, p.read("document.getElementById('weigh').innerText"), "2.4\u00a0g", "a fifth of 12 g")
	assert.Contains(t, p.read("document.getElementById('gate').innerText"), "It rests 12\u00a0h before heat; say when it was made.")
	p.read("(() => { const at = new Date(Date.now() - 11 * 3600000 - new Date().getTimezoneOffset() * 60000); document.getElementById('stuffed').value = at.toISOString().slice(0, 16); document.getElementById('stuffed').dispatchEvent(new Event('change')); })()")
	p.until("sheet !== null && sheet.rest.rested_seconds > 0 && trial !== null")
	assert.Regexp(t, `It rests yet for (59|60) min|It rests yet for 1 h`, strings.ReplaceAll(p.read("document.getElementById('gate').innerText"), "\u00a0", " "))
	assert.Regexp(t, `^Done \d\d:\d\d`, p.read("document.getElementById('trial-done').textContent"))
	p.read("document.getElementById('choice').scrollIntoView()")
	p.picture("sheet-1")
	p.read("document.getElementById('trial').scrollIntoView()")
	p.picture("sheet-2")
	p.read("document.getElementById('gate-title').scrollIntoView()")
	p.picture("sheet-3")
	assert.Equal(t, "true", p.read("document.documentElement.scrollWidth <= document.documentElement.clientWidth"))
	p.click("read")
	p.click("go")
	p.until("!document.getElementById('because').hidden")
	p.seen("says-start")
	p.seen("go")
	p.picture("sheet-refused")
	p.do(chromedp.SendKeys(chromedp.CSS("#reason"), "practice"))
	p.click("go")
	p.until("status.state === 'running'")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	_, out, _ := call(t, "batches", "sim-", "--simulated", "--state", d.state, "--json")
	assert.Contains(t, out, "practice")
}

// goodRing is a shipped file, as a person would have changed it.
func goodRing(t *testing.T) string {
	status, out, errText := call(t, "products", "--show", "marjoram-ring")
	require.Equal(t, exitGood, status, errText)
	return strings.Replace(out, "Marjoram ring sausage", "My own ring", 1)
}
