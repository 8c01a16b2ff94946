package loop

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
)

// sticky is a world whose relays refuse to switch on, or to switch anything.
type sticky struct {
	*bench
	refusesOn bool
}

func (s *sticky) Drive(out controller.Outputs) error {
	err := s.bench.Drive(out)
	refuses := false
	s.with(func() { refuses = s.refusesOn })
	if refuses && out != (controller.Outputs{Damper: out.Damper}) {
		return errors.New("the line does not switch on")
	}
	return err
}

// Whoever watches from outside hears of a cycle only when it has ended and the
// outputs are known, and the snapshot never shows what was only asked for.
func TestACycleCountsOnlyWithKnownOutputs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &sticky{bench: &bench{chamber: 20, core: 10}}
		cycles, drives := 0, 0
		l, err := New(Config{World: b, Cabinet: testCabinet(), Log: slog.New(slog.DiscardHandler), Told: []string{"the record was damaged"},
			Cycle: func(s *snapshot.Snapshot) {
				b.with(func() {
					cycles++
					assert.Equal(t, b.drives[len(b.drives)-1].On.Has(controller.Heater), s.State.Out.On.Has(controller.Heater), "after every drive")
					assert.Greater(t, len(b.drives), drives)
					drives = len(b.drives)
				})
			}})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- l.Run(ctx) }()
		count := func() (n int) {
			b.with(func() { n = cycles })
			return n
		}
		synctest.Wait()
		assert.Equal(t, 1, count(), "not before the first step")
		require.NotEmpty(t, l.Snapshot().History.Events())
		assert.Equal(t, "the record was damaged", l.Snapshot().History.Events()[0].Text())
		start(t, l)
		pass(30 * time.Second)
		require.True(t, l.Snapshot().State.Out.On.Has(controller.Heater))
		assert.True(t, l.Snapshot().Heats, "and it is known for how long yet")
		assert.Positive(t, l.Snapshot().HeatLeft)

		b.with(func() { b.slow = 20 * time.Second }) // a bus that does not answer
		before := count()
		pass(15 * time.Second)
		assert.LessOrEqual(t, count(), before+1, "no cycle ends while the bus is silent")
		b.with(func() { b.slow = 0 })
		pass(40 * time.Second)
		require.Greater(t, count(), before+10, "it goes on")

		before = count()
		b.with(func() { b.refusesOn = true })
		pass(3 * time.Second)
		assert.False(t, l.Snapshot().State.Out.On.Has(controller.Heater), "asked for in vain, and off")
		assert.Equal(t, before+3, count(), "off is known")

		b.with(func() { b.fail = errors.New("no such line") })
		before = count()
		pass(5 * time.Second)
		assert.Equal(t, before, count(), "nobody knows what the outputs are: whoever watches must act")
		b.with(func() { b.fail, b.refusesOn = nil, false })
		pass(3 * time.Second)
		assert.Greater(t, count(), before)
		cancel()
		require.NoError(t, <-ended)
	})
}
