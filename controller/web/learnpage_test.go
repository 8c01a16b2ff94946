package web_test

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/tune"
	"fumarium/sensors"
)

// learning is a cabinet that learns, in the phase given.
func learning(t *testing.T, phase tune.Phase) *snapshot.Snapshot {
	t.Helper()
	s := cooking()
	c := *s.Cabinet
	c.Limits.ChamberHigh, c.Fan.Fitted = 115, true
	s.Cabinet = &c
	p, _, err := controller.Experiment(s.Cabinet, 15)
	require.NoError(t, err)
	s.Product = p
	s.State.Stage, s.State.Learns = 1, true
	s.State.Heater.Tune = tune.State{Phase: phase, Cycles: 3, From: 15}
	s.State.Chamber.Reading = sensors.At(48)
	return s
}

// A person with a phone lets the cabinet learn, sees how far it is, stops it, and reads what
// came of it.
func TestAPersonLetsTheCabinetLearn(t *testing.T) {
	ctx := browser(t)
	idle := cooking()
	idle.State.Batch = controller.Idle
	l := accepting(idle)
	server := behind(t, handler(l))
	do(t, ctx, chromedp.EmulateViewport(360, 640), chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	do2(t, ctx, "sessionStorage.setItem('token', '"+token+"')")
	do2(t, ctx, "document.getElementById('learn-box').open = true")
	do(t, ctx, click("learn-go"))
	until(t, ctx, "busy === null")
	require.Len(t, l.requests(), 1)
	assert.Equal(t, controller.Tune, l.requests()[0].Command.Kind)

	put(t, ctx, l, learning(t, tune.Full))
	until(t, ctx, "document.getElementById('learn-now').textContent.includes('full heat up to 60')")
	assert.Contains(t, read(t, ctx, "document.getElementById('learn-now').textContent"), "Learns with the fan")
	assert.Equal(t, "true", read(t, ctx, "document.getElementById('learn-box').hidden"))
	assert.InDelta(t, 0.05+0.45*33/45, number(t, ctx, "document.getElementById('learn-bar').value"), 0.01)
	picture(t, ctx, "learn-360")
	do2(t, ctx, "document.getElementById('learn').scrollIntoView()")
	picture(t, ctx, "learn-progress-360")
	findsNothing(t, ctx, "learn", "learn")
	put(t, ctx, l, learning(t, tune.Relay))
	until(t, ctx, "document.getElementById('learn-now').textContent.includes('time 3 of 6')")
	assert.NotContains(t, commandsOf(t, ctx), "hold", "what learns is not held")
	assert.Contains(t, commandsOf(t, ctx), "stop")

	idle.Learned = &snapshot.Learned{Batch: "2026-11-29-1", Lines: []string{"fan on: rises by 5.9 K/min"}, Kept: "cabinet.yaml holds it"}
	put(t, ctx, l, idle)
	until(t, ctx, "document.getElementById('learned').textContent.includes('cabinet.yaml holds it')")
	assert.Equal(t, "true", read(t, ctx, "document.getElementById('learn-now').hidden"))
}

func commandsOf(t *testing.T, ctx ctx) string {
	t.Helper()
	return read(t, ctx, "status.commands.join()")
}

func number(t *testing.T, ctx ctx, expression string) float64 {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[float64](expression))
	require.NoError(t, err)
	return v
}
