package sim

import (
	"context"
	"encoding/json"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sim/fault"
)

func faulty(t testing.TB, specs ...string) Setup {
	s := Setup{Product: product(t, "caraway-sticks"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 3, Longest: 16 * time.Hour}
	for _, spec := range specs {
		f, err := fault.Parse(spec)
		require.NoError(t, err)
		s.Faults = append(s.Faults, f)
	}
	return s
}

func TestWhatBecomesOfABatchWithAFault(t *testing.T) {
	long(t)
	for _, c := range []struct {
		spec, outcome, reason, alarm string
		good                         bool
	}{
		{"chamber-open@1h+3m", "complete", "", "chamber-lost", true},
		{"chamber-open@1h", "held", "held by the trip chamber-lost", "chamber-lost", false},
		// Near to its board's temperature a core that was out of sight may be another.
		{"core-open@1h+5m", "complete", "", "core-lost", false},
		{"core-open@2h20m+45s", "complete", "", "core-lost", true},
		{"core-open@1h", "running", "gave up after 16 h: a stage never ends", "core-lost", false},
		{"stall@1h+8s", "complete", "", "step-late", true},
		{"stall@1h+30s", "complete", "", "power-lost", true}, // the watchdog has ended it
		{"power-cut@1h+10m", "complete", "", "power-lost", false},
		{"power-cut@2h20m+1m", "complete", "", "power-lost", true},
		// The meat warms while nobody sets its probe: how the core came up nobody saw, so that
		// is not shown.
		{"away@0s+30m", "complete", "", "prompt-waiting", false},
		{"away@0s+2h30m", "complete", "", "heat-ended", false},
		{"heater-dead@10m", "held", "held by the trip heat-unanswered", "heat-unanswered", false},
		{"fire@2h+10m=3kW", "complete", "", "chamber-high", true},
		{"disk-low@1h+10m", "complete", "", "disk-low", true},
	} {
		t.Run(c.spec, func(t *testing.T) {
			r := rehearse(t, faulty(t, c.spec))
			assert.Equal(t, c.outcome, r.Outcome)
			assert.Equal(t, c.reason, r.Reason)
			assert.Equal(t, c.good, r.Good())
			codes := []string{}
			for _, a := range r.Alarms {
				codes = append(codes, a.Code)
			}
			assert.Contains(t, codes, c.alarm)
		})
	}
}

// Only a cabinet that has a probe in the room can miss it.
func TestARehearsalSaysThatTheRoomProbeIsLost(t *testing.T) {
	for name, has := range map[string]bool{"masonry-walk-in": true, "plywood-cabinet": false} {
		s := faulty(t, "ambient-open@1h+30m")
		s.Cabinet = builtCabinet(t, name)
		require.Equal(t, has, s.Cabinet.Has(cabinet.AmbientProbe), name)
		r := rehearse(t, s)
		assert.True(t, r.Good(), name)
		lost := []AlarmResult{}
		for _, a := range r.Alarms {
			if a.Code == "ambient-lost" {
				lost = append(lost, a)
			}
		}
		want := []AlarmResult{}
		if has {
			want = append(want, AlarmResult{Code: "ambient-lost", Priority: "later", AtSeconds: 3660})
		}
		assert.Equal(t, want, lost, name)
	}
}

// Weather and a missing ice bath are no faults of the controller, but they show.
func TestWeatherAndIceMatter(t *testing.T) {
	long(t)
	plain := rehearse(t, faulty(t))
	cold := rehearse(t, faulty(t, "ambient-step@30m=-20K"))
	assert.Greater(t, cold.EnergyJoules, plain.EnergyJoules*1.05)
	ramp := rehearse(t, faulty(t, "ambient-ramp@30m+4h=5K/h"))
	assert.Less(t, ramp.EnergyJoules, plain.EnergyJoules)
	noIce := rehearse(t, faulty(t, "no-ice@0s+12h"))
	assert.Greater(t, noIce.Stages[3].EndSeconds-noIce.Stages[3].StartSeconds,
		3*(plain.Stages[3].EndSeconds-plain.Stages[3].StartSeconds))
}

// A probe on the floor reads the air: the wet bulb reads the dry one, the core the
// chamber.
func TestProbesInTheWrongPlace(t *testing.T) {
	s := faulty(t, "core-out@1h", "wick-dry@1h")
	s.Cabinet = builtCabinet(t, "fridge-body")
	w, err := NewWorld(s)
	require.NoError(t, err)
	for range 2 * 3600 {
		out := controller.Outputs{Damper: 0.2}
		out.On.Set(controller.Heater, w.Built().Chamber() < 70)
		w.Drive(out)
		w.Advance()
	}
	in := w.Sample(2 * time.Hour)
	chamber := float64(w.Built().Chamber())
	core, ok := in.Core[0].Value()
	require.True(t, ok)
	assert.InDelta(t, chamber, float64(core), 1.5)
	assert.Less(t, float64(w.Built().Core()), chamber-5)
	wet, ok := in.WetBulb.Value()
	require.True(t, ok)
	assert.InDelta(t, chamber, float64(wet), 1.5)
	assert.Less(t, float64(w.Built().WetBulb()), chamber-5)
}

func TestFaultsAreRepeatable(t *testing.T) {
	text := func() string {
		r, err := Rehearse(context.Background(), faulty(t, "chamber-noise@1h+1h=4K", "core-open@2h+1m"), nil, nil)
		require.NoError(t, err)
		b, err := json.Marshal(r)
		require.NoError(t, err)
		return string(b)
	}
	assert.Equal(t, text(), text())
}

// One who watches sees every second, and changes nothing.
func TestWatch(t *testing.T) {
	s := faulty(t, "power-cut@30m+10m")
	plain := rehearse(t, s)
	seen, cut := 0, 0
	var last time.Duration
	r, err := Watch(context.Background(), s, func(m *Moment) {
		assert.Equal(t, time.Duration(seen)*Step, m.Now)
		seen++
		last = m.Now
		if m.Call == fault.Cut {
			cut++
			assert.False(t, m.World.Driven().Heater && cut > 1)
		}
	})
	require.NoError(t, err)
	assert.Equal(t, 600, cut)
	assert.InDelta(t, r.ElapsedSeconds, last.Seconds(), 0.5)
	assert.Equal(t, plain, r)
}

// A second of a cabinet without faults allocates nothing.
func TestNoFaultsCostNothing(t *testing.T) {
	w, err := NewWorld(Setup{Product: product(t, "caraway-sticks"), Cabinet: builtCabinet(t, "plywood-cabinet")})
	require.NoError(t, err)
	allocations := testing.AllocsPerRun(100, func() {
		_ = w.Call()
		_ = w.Sample(0)
		w.Drive(controller.Outputs{})
		w.Advance()
	})
	assert.Zero(t, allocations)
	assert.Equal(t, quantity.Celsius(0), w.felt-w.room)
}

// What hangs at the front is not in the control path: with its faults every step gives the
// same outputs, and the batch comes to the same.
func TestTheFrontChangesNothing(t *testing.T) {
	long(t)
	outputs := func(specs ...string) (all []controller.Outputs, said map[string]bool) {
		s, said := faulty(t, append(specs, "disk-low@90h")...), map[string]bool{} // watched second by second in either case
		_, err := Watch(context.Background(), s, func(m *Moment) {
			m.Out.On.Set(controller.Sounder, false) // which calls for them
			m.Out.On.Set(controller.Light, false)
			all = append(all, m.Out)
			for _, c := range []trip.Code{trip.DisplayDead, trip.ButtonStuck} {
				said[c.String()] = said[c.String()] || m.After.Alarms[c].Standing
			}
		})
		require.NoError(t, err)
		return all, said
	}
	plain, said := outputs()
	assert.Equal(t, map[string]bool{"display-dead": false, "button-stuck": false}, said)
	for spec, alarm := range map[string]string{"display-unplugged@1h+20m": "display-dead", "button-stuck@0s": "button-stuck", "button-chattering@2h": "button-stuck", "i2c-stuck@30m+5m": "display-dead"} {
		got, said := outputs(spec)
		assert.Equal(t, plain, got, spec)
		assert.True(t, said[alarm], spec)
	}
}

// A bus that is stuck takes every chip on it away and no other, and gives them back.
func TestAStuckBusTakesItsChips(t *testing.T) {
	s := faulty(t, "i2c-stuck@1m+1m", "ambient-stale@10m")
	data, err := os.ReadFile("../testdata/cabinets/on-chips.yaml")
	require.NoError(t, err)
	s.Cabinet, err = cabinet.Parse("on-chips.yaml", data)
	require.NoError(t, err)
	w, err := NewWorld(s)
	require.NoError(t, err)
	for sec := range 12 * 60 {
		stuck := sec >= 60 && sec < 120
		in := w.Sample(time.Duration(sec) * time.Second)
		assert.Equal(t, sensors.Good, in.Chamber[0].Status(), "on SPI")
		assert.Equal(t, sensors.Good, in.Core[0].Status(), "on SPI")
		assert.Equal(t, stuck, in.Core[1].Status() == sensors.BusError, "%d s", sec)
		assert.Equal(t, stuck, in.Ambient.Status() == sensors.BusError, "%d s", sec)
		assert.Equal(t, sec >= 600, in.Ambient.Status() == sensors.Stale, "%d s", sec)
		w.Advance()
	}
}
