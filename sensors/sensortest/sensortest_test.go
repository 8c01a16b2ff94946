package sensortest

import (
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/max31855"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

// spoiled is a good driver with one habit of a careless one.
type spoiled struct {
	*max31855.Dev
	habit func(now time.Duration, r sensors.Reading) sensors.Reading
	quiet bool // it keeps its errors to itself
}

func (s *spoiled) Read(now time.Duration) sensors.Reading { return s.habit(now, s.Dev.Read(now)) }

func (s *spoiled) Err() error {
	if s.quiet {
		return nil
	}
	return s.Dev.Err()
}

// listener notes that a case failed and ends it.
type listener struct {
	testing.TB
	failed bool
}

func (l *listener) Helper() {}

func (l *listener) Fatalf(string, ...any) {
	l.failed = true
	runtime.Goexit()
}

func (l *listener) Fatal(...any) { l.Fatalf("") }

func failing(t *testing.T, d Driver) (names []string) {
	for _, c := range cases {
		l := &listener{TB: t}
		done := make(chan struct{})
		go func() {
			defer close(done)
			c.run(d.bench(l))
		}()
		<-done
		if l.failed {
			names = append(names, c.name)
		}
	}
	return names
}

// The contract finds the habits it is there to find, and nothing in a good driver.
func TestTheContractFindsCarelessDrivers(t *testing.T) {
	driver := func(habit func() func(time.Duration, sensors.Reading) sensors.Reading, quiet bool) Driver {
		return Driver{
			Open: func(t testing.TB, s *Scene) (sensors.Probe, Breakable) {
				chip := chips.NewMAX31855(s.World(), thermocouple.K)
				dev, err := max31855.New(chip.Port(), &max31855.DefaultOpts)
				require.NoError(t, err)
				return &spoiled{dev, habit(), quiet}, chip
			},
			Interval: max31855.Interval, Settle: 300 * time.Millisecond, Tolerance: 0.25,
			Wire: map[chips.Fault]sensors.Status{chips.OpenWire: sensors.Open},
		}
	}
	type habit = func(time.Duration, sensors.Reading) sensors.Reading
	none := func() habit { return func(_ time.Duration, r sensors.Reading) sensors.Reading { return r } }
	assert.Empty(t, failing(t, driver(none, false)))
	assert.Contains(t, failing(t, driver(none, true)), "bus-error", "errors kept quiet")

	zero := func() habit {
		return func(_ time.Duration, r sensors.Reading) sensors.Reading {
			if r.Status() != sensors.Good {
				return sensors.At(0)
			}
			return r
		}
	}
	for _, name := range []string{"before-first", "bus-error", "all-zeros", "all-ones", "wire", "too-soon", "power-dip"} {
		assert.Contains(t, failing(t, driver(zero, false)), name, "zero for a missing value")
	}
	last := func() habit {
		held := sensors.Reading{}
		return func(_ time.Duration, r sensors.Reading) sensors.Reading {
			if r.Status() == sensors.Good {
				held = r
			}
			return held
		}
	}
	for _, name := range []string{"bus-error", "all-zeros", "wire", "too-soon"} {
		assert.Contains(t, failing(t, driver(last, false)), name, "the last good value for a missing one")
	}
	warm := func() habit {
		return func(_ time.Duration, r sensors.Reading) sensors.Reading {
			if v, ok := r.Value(); ok {
				return sensors.At(v + quantity.Celsius(0.5))
			}
			return r
		}
	}
	assert.Contains(t, failing(t, driver(warm, false)), "measures", "half a kelvin off")
	same := func() habit {
		return func(_ time.Duration, r sensors.Reading) sensors.Reading {
			if r.Status() == sensors.BusError {
				return sensors.Fault(sensors.Open)
			}
			return r
		}
	}
	assert.Contains(t, failing(t, driver(same, false)), "bus-error", "every fault under one name")
}
