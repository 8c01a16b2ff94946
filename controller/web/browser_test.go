package web_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"fumarium/controller/snapshot"
)

// browser starts a headless Chromium of its own with nothing in it. A test with one waits
// much, for the page and for a person's seconds: another runs beside it.
func browser(t *testing.T) context.Context {
	t.Helper()
	t.Parallel()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not on PATH; install it: apt-get install -y chromium")
		}
		t.Skip("chromium is not on PATH; apt-get install -y chromium runs this test")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx,
		chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true),
	)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

// put shows s to the page at once: the page polls when it becomes visible.
func put(t *testing.T, ctx context.Context, l *loop, s *snapshot.Snapshot) {
	t.Helper()
	l.put(s)
	_, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("document.dispatchEvent(new Event('visibilitychange'))"))
	require.NoError(t, err)
}

// until waits for a JavaScript expression to come true.
func until(t *testing.T, ctx context.Context, expression string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(15*time.Second)))
	if err != nil {
		body, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
		require.NoError(t, err, "%s never came true; the page says:\n%s", expression, body)
	}
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, steps...))
}

func click(id string) chromedp.Action[chromedp.Void] {
	return chromedp.Click(chromedp.CSS("#"+id), chromedp.NodeVisible)
}

// picture keeps a screenshot where SCREENSHOTS says, for a person to look at.
func picture(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	if dir := os.Getenv("SCREENSHOTS"); dir != "" {
		png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
	}
}

// ctx is one, in a signature that would be too long.
type ctx = context.Context

// do2 runs a script that gives nothing back.
func do2(t *testing.T, ctx context.Context, script string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("(() => {"+script+"})(), true"))
	require.NoError(t, err)
}

// read gives what an expression says, waited for.
func read(t *testing.T, ctx context.Context, expression string) string {
	t.Helper()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("(async () => String(await ("+expression+")))()", chromedp.EvalAwaitPromise))
	require.NoError(t, err)
	return text
}
