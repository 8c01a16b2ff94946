package loop

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// bench is a world under the test's thumb: fixed temperatures, recorded drives.
type bench struct {
	chamber, core quantity.Celsius

	mu      sync.Mutex // the race detector does not see that the bubble's clock orders test and loop
	drives  []controller.Outputs
	fail    error
	hang    error
	slow    time.Duration // what a sample takes
	panics  bool
	samples int
	hung    int
}

func (b *bench) with(f func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f()
}

func (b *bench) Sample(time.Duration) controller.Inputs {
	var slow time.Duration
	b.with(func() {
		b.samples++
		slow = b.slow
		if b.panics {
			panic("a driver's mistake")
		}
	})
	time.Sleep(slow)
	var in controller.Inputs
	// No real probe repeats itself to the last bit.
	flicker := quantity.Celsius(b.samples%2) / 128
	in.Chamber[0], in.Core[0] = sensors.At(b.chamber+flicker), sensors.At(b.core+flicker)
	return in
}

func (b *bench) Drive(out controller.Outputs) (err error) {
	b.with(func() {
		b.drives = append(b.drives, out)
		err = b.fail
	})
	return err
}

func (b *bench) Hang(*profile.Product) (err error) {
	b.with(func() {
		b.hung++
		err = b.hang
	})
	return err
}

func (b *bench) last() (out controller.Outputs) {
	b.with(func() { out = b.drives[len(b.drives)-1] })
	return out
}

func testCabinet() *cabinet.Cabinet {
	relay := cabinet.Relay{Fitted: true, Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}
	heater := relay
	heater.Power = 1000
	return &cabinet.Cabinet{
		Name: "test box", Heater: heater, Fan: relay, Smoke: relay, Limits: cabinet.Limits{ChamberHigh: 110}, Ambient: 15,
		Response: cabinet.Response{Gain: 40, Lag: 20 * time.Minute, SecondLag: 2 * time.Minute, DeadTime: 30 * time.Second},
	}
}

func testProduct() *profile.Product {
	return &profile.Product{Name: "test links", Species: profile.RedMeat, Stages: []profile.Stage{
		{Name: "dry", Heat: true, ChamberSetpoint: 60, Fan: 1, Place: profile.Chamber,
			Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 2 * time.Minute}}}},
		{Name: "cook", Heat: true, ChamberSetpoint: 80, Fan: 1, Place: profile.Chamber,
			Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.CoreAtLeast, Core: 70}}}},
	}}
}

// running starts a loop inside a synctest bubble; end stops it and returns Run's
// error.
func running(t *testing.T, b *bench, pace float64) (l *Loop, end func() error) {
	var log bytes.Buffer
	l, err := New(Config{World: b, Cabinet: testCabinet(), Pace: pace, Log: slog.New(slog.NewTextHandler(&log, nil))})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- l.Run(ctx) }()
	synctest.Wait()
	return l, func() error {
		cancel()
		return <-ended
	}
}

func start(t *testing.T, l *Loop) {
	reply, err := l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Start}, Product: testProduct()})
	require.NoError(t, err)
	require.True(t, reply.Accepted, reply.Why)
}

// pass lets time go by until the loop waits again, so that the test may touch the
// bench.
func pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

func TestOffBeforeTheFirstDecisionAndAfterTheLast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 0)
		b.with(func() { assert.Equal(t, controller.Outputs{Damper: 1}, b.drives[0]) })
		start(t, l)
		pass(time.Minute)
		require.True(t, b.last().On.Has(controller.Heater))
		require.NoError(t, end())
		assert.Equal(t, controller.Outputs{Damper: 1}, b.last())
		assert.True(t, l.Snapshot().Stopping)
		assert.False(t, l.Snapshot().State.Out.On.Has(controller.Heater))
	})
}

func TestOneStepASecondOnARealCabinet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		_, end := running(t, b, 0)
		pass(10*time.Hour + 500*time.Millisecond)
		require.NoError(t, end())
		assert.Equal(t, 36001, b.samples)
	})
}

func TestPaceMakesManyStepsASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 600)
		start(t, l)
		pass(10 * time.Second)
		s := l.Snapshot()
		assert.InDelta(t, 6000, s.State.Elapsed.Seconds(), 5)
		assert.Equal(t, 1, s.State.Stage)
		assert.Zero(t, s.StepsLate)
		assert.True(t, s.Simulated)
		assert.NotEmpty(t, s.History.Samples())
		require.NoError(t, end())
	})
}

func TestEveryOffComesBeforeAnyOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 0)
		start(t, l)
		pass(10 * time.Minute)
		require.NoError(t, end())
		assert.Equal(t, 1, b.hung)
		for i := 1; i < len(b.drives); i++ {
			was, is := b.drives[i-1], b.drives[i]
			on, off := false, false
			for o := range controller.OutputCount {
				on = on || (is.On.Has(o) && !was.On.Has(o))
				off = off || (!is.On.Has(o) && was.On.Has(o))
			}
			assert.False(t, on && off, "drive %d switches on and off at once: %+v to %+v", i, was, is)
		}
	})
}

func TestAFailingRelayIsSwitchedOffAgainAndAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 0)
		start(t, l)
		pass(30 * time.Second)
		broken := errors.New("no such line")
		b.with(func() { b.fail = broken })
		pass(5 * time.Second)
		assert.False(t, b.last().On.Has(controller.Heater), "the last word is off")
		assert.True(t, l.Snapshot().State.Out.On.Has(controller.Heater), "what could not be switched off may be on, and is shown so")
		err := end()
		require.ErrorIs(t, err, broken)
		assert.Contains(t, err.Error(), "cut the mains")
	})
}

func TestAPanicSwitchesOffFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, err := New(Config{World: b, Cabinet: testCabinet(), Log: slog.New(slog.DiscardHandler)})
		require.NoError(t, err)
		done := make(chan any, 1)
		go func() {
			defer func() { done <- recover() }()
			_ = l.Run(t.Context())
		}()
		synctest.Wait()
		start(t, l)
		pass(30 * time.Second)
		require.True(t, b.last().On.Has(controller.Heater))
		b.with(func() { b.panics = true })
		assert.Equal(t, "a driver's mistake", <-done)
		assert.Equal(t, controller.Outputs{Damper: 1}, b.last())
	})
}

func TestAStalledBusIsALateStep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 0)
		start(t, l)
		pass(30 * time.Second)
		b.with(func() { b.slow = 20 * time.Second })
		pass(25 * time.Second)
		b.with(func() { b.slow = 0 })
		pass(time.Minute)
		synctest.Wait()
		assert.NotZero(t, l.Snapshot().StepsLate)
		assert.NotEqual(t, trip.Normal, l.Snapshot().State.Alarms[trip.StepLate].Phase)
		require.NoError(t, end())
	})
}

func TestRefusedRequests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10, hang: errors.New("the hook is broken")}
		l, end := running(t, b, 0)
		_, err := l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Start}})
		require.ErrorContains(t, err, "product")
		reply, err := l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Start}, Product: testProduct()})
		require.NoError(t, err)
		assert.False(t, reply.Accepted)
		assert.Equal(t, "the hook is broken", reply.Why)
		reply, err = l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Hold}})
		require.NoError(t, err)
		assert.False(t, reply.Accepted)
		assert.Nil(t, l.Snapshot().Product)
		require.NoError(t, end())

		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		_, err = l.Do(ctx, snapshot.Request{Command: controller.Command{Kind: controller.Hold}})
		require.ErrorIs(t, err, context.Canceled, "nobody serves an ended loop")
	})
}

// A hold, a restart and a stop last one step each before the next is possible. What is asked
// for in that second waits for its end; a stop waits for nothing.
func TestACommandInTheSecondOfAnotherWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 0)
		start(t, l)
		send := func(kind controller.CommandKind) chan snapshot.Reply {
			said := make(chan snapshot.Reply, 1)
			go func() {
				reply, err := l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: kind}, Product: testProduct()})
				assert.NoError(t, err)
				said <- reply
			}()
			synctest.Wait()
			return said
		}
		at := func(want controller.BatchState, said chan snapshot.Reply) {
			t.Helper()
			reply := <-said
			assert.True(t, reply.Accepted, reply.Why)
			assert.Equal(t, want, reply.State)
		}
		at(controller.Holding, send(controller.Hold))
		at(controller.Restarting, send(controller.Restart))
		at(controller.Holding, send(controller.Hold)) // which is possible at once

		restart, hold := send(controller.Restart), send(controller.Hold)
		for _, said := range []chan snapshot.Reply{restart, hold} {
			reply := <-said
			assert.False(t, reply.Accepted, "it is held already, and the last word was to hold it")
			assert.Equal(t, controller.NotInThisState.String(), reply.Why)
		}
		synctest.Wait()
		assert.Equal(t, controller.Held, l.Snapshot().State.Batch)
		at(controller.Restarting, send(controller.Restart))
		at(controller.Holding, send(controller.Hold))

		restart, stop := send(controller.Restart), send(controller.Stop)
		at(controller.Stopping, stop)
		reply := <-restart
		assert.False(t, reply.Accepted, "nothing is left to go on with")
		assert.Equal(t, controller.NotInThisState.String(), reply.Why)
		assert.Equal(t, controller.Stopped, reply.State)
		at(controller.Running, send(controller.Start))
		at(controller.Stopping, send(controller.Stop))
		at(controller.Running, send(controller.Start))
		require.NoError(t, end())
	})
}

func TestPublishedSnapshotsDoNotChange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 60)
		start(t, l)
		synctest.Wait()
		first := l.Snapshot()
		events, curve, stages := slices.Clone(first.History.Events()), fmt.Sprint(first.History.Samples()), slices.Clone(first.History.Stages())
		require.False(t, stages[0].Over)
		pass(10 * time.Second)
		require.True(t, l.Snapshot().History.Stages()[0].Over)
		assert.Equal(t, events, first.History.Events())
		assert.Equal(t, curve, fmt.Sprint(first.History.Samples()))
		assert.Equal(t, stages, first.History.Stages())
		require.NoError(t, end())
	})
}

func TestNewRefusesWhatItCannotRun(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	for name, cfg := range map[string]Config{
		"no world":      {Cabinet: testCabinet(), Log: log},
		"no cabinet":    {World: &bench{}, Log: log},
		"negative pace": {World: &bench{}, Cabinet: testCabinet(), Log: log, Pace: -1},
	} {
		_, err := New(cfg)
		assert.Error(t, err, name)
	}
}

func TestEnergyAndOperationsAreCounted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{chamber: 20, core: 10}
		l, end := running(t, b, 0)
		start(t, l)
		pass(5 * time.Minute)
		s := l.Snapshot()
		require.NoError(t, end())
		closures := 0
		for i := 1; i < len(b.drives); i++ {
			if b.drives[i].On.Has(controller.Heater) && !b.drives[i-1].On.Has(controller.Heater) {
				closures++
			}
		}
		assert.EqualValues(t, closures, s.History.Use().Switched[controller.Heater])
		// At 20 °C with a setpoint of 60 °C the heater stays on; 1 kW for 300 s but
		// for the first window.
		assert.InDelta(t, 300e3, s.HeaterEnergyJoules(), 25e3)
	})
}

// The error of the cores goes with the start, from the cabinet.
func TestAStartCarriesTheCoresError(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := testCabinet()
		c.Probes = append(c.Probes, cabinet.Probe{Name: "core", Role: cabinet.CoreProbe, Chip: cabinet.Simulated, Error: 1.5, HasError: true})
		b := &bench{chamber: 20, core: 10}
		l, err := New(Config{World: b, Cabinet: c, Log: slog.New(slog.DiscardHandler)})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- l.Run(ctx) }()
		synctest.Wait()
		start(t, l)
		assert.Equal(t, quantity.Kelvin(1.5), l.Snapshot().State.CoreError)
		cancel()
		assert.NoError(t, <-ended)
	})
}
