package loop

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
)

// stuck is a world whose only contact can weld, with a feedback; after an error only a
// wanted sounder is on.
type stuck struct {
	*bench
	welded bool
	is     controller.Outputs
	clicks int // of the sounder
}

func (s *stuck) Sample(d time.Duration) controller.Inputs {
	in := s.bench.Sample(d)
	in.Heater = controller.FeedbackOff
	s.with(func() {
		if s.welded || s.is.On.Has(controller.Heater) {
			in.Heater = controller.FeedbackOn
		}
	})
	return in
}

func (s *stuck) Drive(out controller.Outputs) error {
	err := s.bench.Drive(out)
	s.with(func() {
		was := s.is.On.Has(controller.Sounder)
		if s.is = out; s.welded {
			s.is = out.OnlySounder()
			if err == nil {
				err = fmt.Errorf("%w: read back", ErrLive)
			}
		}
		if s.is.On.Has(controller.Sounder) != was {
			s.clicks++
		}
	})
	return err
}

func (s *stuck) run(t *testing.T) (l *Loop, cycles func() int, end func() error) {
	n := 0
	cab := testCabinet()
	cab.Sounder, cab.Heater.Feedback = cabinet.Relay{Fitted: true}, cabinet.Wire{Fitted: true}
	l, err := New(Config{World: s, Cabinet: cab, Log: slog.New(slog.DiscardHandler), Cycle: func(*snapshot.Snapshot) { s.with(func() { n++ }) }})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- l.Run(ctx) }()
	synctest.Wait()
	cycles = func() (is int) {
		s.with(func() { is = n })
		return is
	}
	return l, cycles, func() error {
		cancel()
		return <-ended
	}
}

// A loop that finds the element live goes on, so that it can be heard and seen.
func TestALiveElementAtTheStartIsSaidAndHeard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &stuck{bench: &bench{chamber: 20, core: 10}, welded: true}
		l, cycles, end := s.run(t)
		require.Equal(t, 1, cycles(), "ready: nothing is left that a restart could mend")
		reply, err := l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Start}, Product: testProduct()})
		require.NoError(t, err)
		require.False(t, reply.Accepted)
		assert.Contains(t, reply.Why, "cut the mains")
		pass(time.Minute)
		assert.Greater(t, cycles(), 55)
		assert.Equal(t, trip.HeaterWelded, l.Snapshot().State.Tripped)
		assert.True(t, l.Snapshot().State.Out.On.Has(controller.Heater), "what has voltage is shown so")
		assert.True(t, l.Snapshot().State.Out.On.Has(controller.Sounder))
		s.with(func() {
			assert.Equal(t, controller.Outputs{On: controller.SetOf(controller.Sounder), Damper: s.is.Damper}, s.is)
			assert.Equal(t, 1, s.clicks, "it does not stutter")
		})
		err = end()
		require.ErrorIs(t, err, ErrLive)
		assert.Contains(t, err.Error(), "cut the mains")
	})
}

// One that welds meanwhile is heard at once; whoever watches may try once more.
func TestAContactThatWeldsIsHeardAndTheWatchRunsOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &stuck{bench: &bench{chamber: 20, core: 10}}
		l, cycles, end := s.run(t)
		start(t, l)
		pass(30 * time.Second)
		s.with(func() { s.welded = true })
		pass(time.Minute)
		before := cycles()
		require.NotEqual(t, trip.None, l.Snapshot().State.Tripped)
		assert.NotEqual(t, trip.Normal, l.Snapshot().State.Alarms[trip.HeaterWelded].Phase)
		pass(10 * time.Second)
		assert.Equal(t, before, cycles())
		s.with(func() {
			assert.Equal(t, controller.Outputs{On: controller.SetOf(controller.Sounder), Damper: s.is.Damper}, s.is)
			s.welded = false
		})
		pass(3 * time.Second)
		assert.Greater(t, cycles(), before, "it has let go")
		s.with(func() { s.fail = errors.New("no such line") })
		pass(3 * time.Second)
		assert.True(t, s.last().On.Has(controller.Sounder), "heard also when nothing is known")
		s.with(func() { s.fail = nil })
		require.NoError(t, end())
	})
}
