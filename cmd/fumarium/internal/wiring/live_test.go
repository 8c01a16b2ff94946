package wiring

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/loop"
	"fumarium/controller/snapshot"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// TestLiveLoop runs the daemon's loop on a real cabinet: chips' bytes in, lines out,
// on the loop's own clock.
func TestLiveLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		d, p := newDesk(), newPins()
		d.clock = func() time.Duration { return time.Since(began) }
		d.hot = [6]quantity.Celsius{15, 15, 12, 12, 14, 15}
		c := parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1))
		for i, part := range d.parts {
			part.Curve, part.Divider = c.Probes[2+i].Thermistor.Curve, c.Probes[2+i].Thermistor.Divider
		}
		p.on["GPIO12"] = true // the door is shut
		w, err := Open(c, Options{Buses: d, Lines: p, Wait: time.Sleep})
		require.NoError(t, err)
		l, err := loop.New(loop.Config{World: w, Cabinet: c, Log: slog.New(slog.DiscardHandler)})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- l.Run(ctx) }()
		time.Sleep(10 * time.Second)
		s := l.Snapshot()
		for i, r := range []sensors.Reading{s.Inputs.Chamber[0], s.Inputs.Chamber[1], s.Inputs.Core[1], s.Inputs.Ambient} {
			assert.Equal(t, sensors.Good, r.Status(), "probe %d", i)
		}
		entry, err := catalog.Find("caraway-sticks")
		require.NoError(t, err)
		rest, _ := entry.Value.Rest()
		reply, err := l.Do(ctx, snapshot.Request{Command: controller.Command{Kind: controller.Start, Rested: rest}, Product: entry.Value})
		require.NoError(t, err)
		require.True(t, reply.Accepted, reply.Why)
		heated := false
		for range 60 {
			time.Sleep(time.Second)
			heated = heated || l.Snapshot().Inputs.Heater == controller.FeedbackOn
			if q, waits := l.Snapshot().State.Question(); waits {
				_, err = l.Do(ctx, snapshot.Request{Command: controller.Command{Kind: controller.Confirm, Question: q}})
				require.NoError(t, err)
			}
		}
		assert.True(t, heated, "a cold chamber is heated")
		cancel()
		require.NoError(t, <-ended)
		assert.False(t, p.on["GPIO17"] || p.on["GPIO22"], "the loop ends with everything off")
		require.NoError(t, w.Close())
	})
}
