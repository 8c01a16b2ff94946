package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/sensors"
)

// browser starts a headless Chromium of its own with nothing in it.
func browser(t *testing.T) context.Context {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not on PATH; install it: apt-get install -y chromium")
		}
		t.Skip("chromium is not on PATH; apt-get install -y chromium runs this test")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
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
		png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
	}
}

const chamberText = "document.getElementById('chamber').textContent"

func TestPageInABrowser(t *testing.T) {
	ctx := browser(t)
	l := accepting(asking())
	api := handler(l)
	var broken, refused atomic.Bool
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if broken.Load() {
			panic(http.ErrAbortHandler)
		}
		answer := httptest.NewRecorder()
		api.ServeHTTP(answer, r)
		if answer.Code == http.StatusUnauthorized {
			refused.Store(true)
		}
		for key, values := range answer.Header() {
			w.Header()[key] = values
		}
		w.WriteHeader(answer.Code)
		_, _ = w.Write(answer.Body.Bytes())
	}))
	defer server.Close()

	// A violated policy or a script error would show here.
	do(t, ctx, chromedp.EmulateViewport(375, 812, chromedp.EmulateScale(2)), chromedp.Navigate(server.URL))
	until(t, ctx, chamberText+" === '59.4 °C'")
	until(t, ctx, "!document.getElementById('confirm').disabled") // a new question settles first
	until(t, ctx, "document.getElementById('chart').naturalWidth > 0")
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
	require.NoError(t, err)
	for _, want := range []string{"Simulated cabinet, 60 times real time", "Light the smoke generator", "139 °F", "63.2 °C", "waiting for"} {
		assert.Contains(t, text, want)
	}
	picture(t, ctx, "prompt-375")

	// The first command asks for the token; a wrong one asks again; then the command
	// that waited is sent once.
	do(t, ctx, click("confirm"), chromedp.SendKeys(chromedp.CSS("#token"), "wrong\r"))
	until(t, ctx, "document.getElementById('token-why').textContent.includes('operator')")
	assert.True(t, refused.Load())
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#token"), token+"\r"))
	until(t, ctx, "!document.getElementById('ask-token').open && !document.getElementById('confirm').disabled")
	require.Len(t, l.requests(), 1)
	assert.Equal(t, controller.Command{Kind: controller.Confirm, Question: controller.Question{Stage: 1, Part: controller.HandStep, Batch: time.Hour}}, l.requests()[0].Command)

	// The prompt goes, an alarm and a trip come; stop asks first.
	abnormal := cooking()
	abnormal.State.Tripped, abnormal.State.Batch = trip.ChamberHigh, controller.Held
	abnormal.State.Out, abnormal.State.Heater.HasSetpoint, abnormal.State.Heater.Demand = controller.Outputs{On: controller.SetOf(controller.Sounder), Damper: 0.25}, false, 0
	for c, phase := range map[trip.Code]trip.Phase{trip.ChamberHigh: trip.Unacknowledged, trip.CoreLost: trip.ReturnedUnacknowledged, trip.StageOvertime: trip.Acknowledged,
		trip.CoreOut: trip.Acknowledged} {
		abnormal.State.Alarms[c].Phase = phase
	}
	put(t, ctx, l, abnormal)
	until(t, ctx, "document.getElementById('prompt').hidden && document.querySelectorAll('#alarms li').length === 4")
	picture(t, ctx, "alarms-375")
	shown, err := chromedp.Run(ctx, chromedp.Evaluate[string]("['before-reset', 'smoulders', 'heat-returns'].filter(id => document.getElementById(id).offsetParent).join()"))
	require.NoError(t, err)
	assert.Equal(t, "before-reset,smoulders", shown, "a trip comes before restarting")
	labels, err := chromedp.Run(ctx, chromedp.Evaluate[string]("[...document.querySelectorAll('#alarms button')].map(b => b.textContent).join()"))
	require.NoError(t, err)
	assert.Equal(t, "Acknowledge,The probe is back in the meat,Acknowledge", labels)
	// The button that claims something settles first, too, and sends the claim.
	for i, want := range []controller.Command{{Kind: controller.Acknowledge, Alarm: trip.ChamberHigh}, {Kind: controller.Mended, Alarm: trip.CoreOut}} {
		button := fmt.Sprintf("document.querySelectorAll('#alarms button')[%d]", i)
		until(t, ctx, "!"+button+".disabled && ("+button+".click(), true)")
		until(t, ctx, "!document.getElementById('stop').disabled")
		require.Len(t, l.requests(), 2+i)
		assert.Equal(t, want, l.requests()[1+i].Command)
	}
	l.answers(snapshot.Reply{Accepted: true, State: controller.Stopping, Unrecorded: "the disk is full"})
	do(t, ctx, click("stop"), click("keep"), click("stop"), click("really-stop"))
	until(t, ctx, "!document.getElementById('stop').disabled")
	require.Len(t, l.requests(), 4)
	assert.Equal(t, controller.Stop, l.requests()[3].Command.Kind)
	until(t, ctx, "document.body.innerText.includes('Done (stop), but not on disk: the disk is full.')")

	// A held batch says what restart brings.
	held := cooking()
	held.State.Batch, held.State.Out, held.State.Heater.HasSetpoint, held.State.Heater.Demand = controller.Held, controller.Outputs{Damper: 0.25}, false, 0
	put(t, ctx, l, held)
	until(t, ctx, "!document.getElementById('restart').disabled && document.getElementById('heat-returns').offsetParent !== null")
	picture(t, ctx, "held-375")

	// How long an absence was is asked for in place of the answer to a hand step.
	away := absent(t)
	put(t, ctx, l, away)
	until(t, ctx, "!document.getElementById('absence-form').hidden && document.getElementById('confirm').hidden && document.getElementById('absence').disabled")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#away"), "40 min"))
	until(t, ctx, "!document.getElementById('absence').disabled") // it settles first
	picture(t, ctx, "absence-375")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS("#away"), "\r"))
	until(t, ctx, "!document.getElementById('stop').disabled")
	require.Len(t, l.requests(), 5)
	assert.Equal(t, controller.Command{Kind: controller.Absence, Question: controller.Question{Absence: 1, Batch: time.Hour}, For: 40 * time.Minute}, l.requests()[4].Command)

	// Nothing is wider than a phone, and every target is high enough for a wet thumb.
	type target struct {
		ID            string
		Width, Height float64
	}
	for name, s := range map[string]*snapshot.Snapshot{"prompt": asking(), "alarms": abnormal, "cook": cooking(), "held": held, "idle": idle(), "absence": away} {
		put(t, ctx, l, s)
		until(t, ctx, "document.getElementById('state').textContent === '"+s.State.Batch.String()+"' && document.getElementById('prompt').hidden === "+map[bool]string{true: "false", false: "true"}[name == "prompt" || name == "absence"])
		overflow, err := chromedp.Run(ctx, chromedp.Evaluate[int]("document.documentElement.scrollWidth - document.documentElement.clientWidth"))
		require.NoError(t, err)
		assert.Zero(t, overflow, name)
		found, err := chromedp.Run(ctx, chromedp.Evaluate[string](`JSON.stringify([...document.querySelectorAll('button, select, summary, .check')].
			filter(e => e.offsetParent).map(e => ({ID: e.id || e.textContent, Width: e.offsetWidth, Height: e.offsetHeight})))`))
		require.NoError(t, err)
		var targets []target
		require.NoError(t, json.Unmarshal([]byte(found), &targets))
		assert.NotEmpty(t, targets)
		for _, b := range targets {
			assert.GreaterOrEqual(t, min(b.Width, b.Height), 48.0, "%s: %s", name, b.ID)
		}
		if name == "cook" {
			picture(t, ctx, "cook-375")
			do(t, ctx, chromedp.EmulateViewport(1200, 900))
			picture(t, ctx, "cook-1200")
			do(t, ctx, chromedp.EmulateViewport(375, 812, chromedp.EmulateScale(2)))
		}
	}

	// No minus sign on a zero, and no figure beyond what may be claimed.
	frozen := cooking()
	frozen.State.Chamber.Reading, frozen.State.Core.Coldest, frozen.Inputs.WetBulb = sensors.At(-0.04), sensors.At(-17.8), sensors.At(-0.01)
	frozen.State.Heat = killed(3594)
	put(t, ctx, l, frozen)
	until(t, ctx, chamberText+" === '0.0 °C'")
	text, err = chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
	require.NoError(t, err)
	for _, want := range []string{"−17.8 °C", "\n0 °F", "more than 20 log₁₀"} {
		assert.Contains(t, text, want)
	}
	assert.NotRegexp(t, `[-−]0(\.0+)?\D`, text)

	// Start only after the cautions.
	put(t, ctx, l, idle())
	until(t, ctx, "!document.getElementById('start').hidden")
	picture(t, ctx, "idle-375")
	disabled, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("document.getElementById('go').disabled"))
	require.NoError(t, err)
	assert.True(t, disabled)
	do(t, ctx, click("read"), chromedp.WaitEnabled(chromedp.CSS("#go")), click("go"))
	until(t, ctx, "!document.getElementById('read').checked")
	require.Len(t, l.requests(), 6)
	assert.Equal(t, snapshot.Request{Command: controller.Command{Kind: controller.Start}, Product: ring, Who: "operator",
		ProductName: "Caraway ring", ProductFile: []byte("product: Caraway ring")}, l.requests()[5])

	// A controller that stands still is no live number, and neither is a lost line.
	stuck := cooking()
	stuck.Stepped = noon.Add(-time.Minute)
	put(t, ctx, l, stuck)
	until(t, ctx, "document.body.classList.contains('lost') && document.getElementById('lost').textContent.includes('no step for 1 min')")
	put(t, ctx, l, cooking())
	until(t, ctx, "!document.body.classList.contains('lost')")
	broken.Store(true)
	until(t, ctx, "document.getElementById('lost').textContent.startsWith('No answer since ')")
	struck, err := chromedp.Run(ctx, chromedp.Evaluate[string]("getComputedStyle(document.getElementById('chamber')).textDecorationLine"))
	require.NoError(t, err)
	assert.Equal(t, "line-through", struck)
	picture(t, ctx, "lost-375")
	do(t, ctx, chromedp.EmulateViewport(1200, 900))
	broken.Store(false)
	until(t, ctx, "!document.body.classList.contains('lost')")
	put(t, ctx, l, abnormal)
	until(t, ctx, "document.querySelectorAll('#alarms li').length === 4")
	picture(t, ctx, "alarms-1200")
}
