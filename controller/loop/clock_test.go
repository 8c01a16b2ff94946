package loop

import (
	"bytes"
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/trip"
)

// A journal may be read while the loop writes: that the bubble's clock orders both the race
// detector does not see.
type journal struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (j *journal) Write(p []byte) (int, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.text.Write(p)
}

func (j *journal) String() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.text.String()
}

// asleep runs a loop on a computer that can be put to sleep: its clock since boot then
// goes on, and every other stands still.
func asleep(t *testing.T) (l *Loop, sleeps func(time.Duration), log *journal) {
	var slept atomic.Int64
	began := time.Now()
	log = &journal{}
	l, err := New(Config{World: &bench{chamber: 20, core: 10}, Cabinet: testCabinet(), Log: slog.New(slog.NewTextHandler(log, nil)),
		Up: func() time.Duration { return time.Since(began) + time.Duration(slept.Load()) }})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- l.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		assert.NoError(t, <-ended)
	})
	synctest.Wait()
	start(t, l)
	pass(30 * time.Second)
	require.True(t, l.Snapshot().State.Out.On.Has(controller.Heater))
	return l, func(d time.Duration) {
		slept.Add(int64(d))
		pass(time.Second)
	}, log
}

// The monotonic clock stands still while a computer sleeps. Ten minutes of it are an
// absence, in which nobody watched, and no step that came a little late.
func TestASleepOfTenMinutesIsAnAbsence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, sleeps, log := asleep(t)
		before := l.Snapshot().State
		sleeps(10 * time.Minute)
		s := l.Snapshot()
		assert.Equal(t, controller.Holding, s.State.Batch)
		assert.False(t, s.State.Out.On.Has(controller.Heater))
		assert.Equal(t, 10*time.Minute+time.Second, s.State.Elapsed-before.Elapsed)
		assert.Equal(t, trip.Unacknowledged, s.State.Alarms[trip.PowerLost].Phase)
		assert.Contains(t, log.String(), "the controller was away for 10 min, by the computer's clock since boot")
		assert.LessOrEqual(t, s.State.StageClock-before.StageClock, time.Second, "what nobody watched counts for no stage")
		pass(time.Hour)
		assert.Equal(t, controller.Held, l.Snapshot().State.Batch)
	})
}

func TestAShortSleepIsALateStep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, sleeps, _ := asleep(t)
		sleeps(30 * time.Second)
		s := l.Snapshot()
		assert.Equal(t, controller.Running, s.State.Batch)
		assert.False(t, s.State.Out.On.Has(controller.Heater))
		assert.Equal(t, uint64(1), s.StepsLate)
		sleeps(5 * time.Hour)
		assert.Equal(t, controller.Aborting, l.Snapshot().State.Batch)
	})
}

// To sleep is no reason to say that somebody changed the time of day: it has gone on as
// the clock since boot has. In the bubble it has not, so this one is stepped by hand.
func TestTheTimeOfDayIsHeldAgainstTheClockSinceBoot(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, sleeps, _ := asleep(t)
		sleeps(90 * time.Second)
		assert.True(t, l.Snapshot().Inputs.ClockStepped, "the bubble's time of day slept, too")
		pass(time.Second)
		assert.False(t, l.Snapshot().Inputs.ClockStepped)
	})
}
