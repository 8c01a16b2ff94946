package metrics_test

import (
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/metrics"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

var update = flag.Bool("update", false, "rewrite the golden scrape; read the difference before you keep it")

// running is a cook under way in a cabinet with everything fitted but a
// humidifier, with one core probe open and one alarm up.
func running() *snapshot.Snapshot {
	s := &snapshot.Snapshot{
		Simulated: true, Pace: 60,
		Cabinet: &cabinet.Cabinet{
			Name: "Brick kiln",
			Probes: []cabinet.Probe{
				{Name: "upper rack", Role: cabinet.ChamberProbe},
				{Name: "thick end", Role: cabinet.CoreProbe},
				{Name: "lower rack", Role: cabinet.ChamberProbe},
				{Name: "thin end", Role: cabinet.CoreProbe},
				{Name: "wick", Role: cabinet.WetBulbProbe},
				{Name: "wood", Role: cabinet.EmberProbe},
				{Name: "shed", Role: cabinet.AmbientProbe},
			},
			Heater:  cabinet.Relay{Fitted: true, Power: 1500},
			Fan:     cabinet.Relay{Fitted: true},
			Smoke:   cabinet.Relay{Fitted: true},
			Sounder: cabinet.Relay{Fitted: true},
		},
		Product: &profile.Product{
			Name: "Caraway ring", Species: profile.RedMeat, Targets: profile.Targets{HasCore: true, Core: 71},
			Stages: []profile.Stage{{Name: "smoke"}, {Name: "cook"}},
		},
		StepsLate:    2,
		RecordErrors: 3, RecordKept: true,
	}
	used(&s.History, 412, 7, 2400*time.Second)
	s.Inputs.Chamber[0] = sensors.At(81.5)
	s.Inputs.Chamber[1] = sensors.At(80.25)
	s.Inputs.Core[0] = sensors.At(63.125)
	s.Inputs.Core[1] = sensors.Fault(sensors.Open)
	s.Inputs.WetBulb = sensors.At(55)
	s.Inputs.Ember = sensors.At(441.5)
	s.Inputs.Ambient = sensors.At(9)
	s.State = controller.State{
		Begun: true, Batch: controller.Running, Stage: 1, StageClock: 25 * time.Minute,
		Out: controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan)},
	}
	s.State.ComeUp, s.State.Heat = lethality.ComeUp{Time: 2 * time.Hour, Begun: true, Done: true}, halfCooked()
	s.State.Heater.HasSetpoint, s.State.Heater.Setpoint, s.State.Heater.Demand = true, 82, 0.42
	s.State.Alarms[trip.CoreLost] = trip.State{Phase: trip.Unacknowledged, Standing: true}
	return s
}

// used switches heater and fan so often, and has the heater on for so long in all.
func used(h *history.History, heater, fan int, on time.Duration) {
	var idle controller.State
	at := time.Duration(0)
	put := func(after time.Duration, outputs ...controller.Output) {
		at += after
		h.Add(time.Time{}, at, &idle, controller.Outputs{On: controller.SetOf(outputs...)}, nil)
	}
	for i := range heater {
		if i < fan {
			put(time.Second, controller.Fan)
		} else {
			put(time.Second)
		}
		put(time.Second, controller.Heater)
		each := 5 * time.Second
		if i == heater-1 {
			each = on - time.Duration(i)*each
		}
		put(each)
	}
}

func over(s *snapshot.Snapshot) *metrics.Metrics {
	return metrics.New(func() *snapshot.Snapshot { return s }, "0.1.0")
}

// scrape asks the handler as Prometheus does and returns our own lines, with the
// toolchain's version taken out.
func scrape(t testing.TB, m *metrics.Metrics) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, w.Code)
	var own strings.Builder
	for line := range strings.Lines(w.Body.String()) {
		if strings.HasPrefix(strings.TrimPrefix(strings.TrimPrefix(line, "# HELP "), "# TYPE "), "fumarium_") {
			own.WriteString(strings.ReplaceAll(line, runtime.Version(), "GOVERSION"))
		}
	}
	return own.String()
}

func TestGoldenScrape(t *testing.T) {
	m := over(running())
	m.ObserveStep(2*time.Millisecond, 0)
	m.ObserveStep(1500*time.Millisecond, 20*time.Millisecond)
	m.ShowReaders(func() metrics.Readers { return metrics.Readers{Open: 12, Refused: 3, Dropped: 4, Stalled: 5} })
	m.ShowUpkeep(func() *metrics.Upkeep {
		return &metrics.Upkeep{Due: map[string]bool{"generator": true, "gasket": false}, WoodKilograms: map[string]float64{"beech": 1.2}}
	})
	done := time.Date(2026, 3, 14, 14, 0, 0, 0, time.UTC)
	m.ShowForecast(func() *outlook.Forecast {
		return &outlook.Forecast{Ends: []outlook.Range{{}, {Earliest: done.Add(-time.Hour), Middle: done, Latest: done.Add(90 * time.Minute)}}}
	})
	got := scrape(t, m)
	const golden = "testdata/scrape.txt"
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

// While nobody can say when it will be done, the scrape has no such metric.
func TestNoForecastNoMetric(t *testing.T) {
	for _, f := range []*outlook.Forecast{nil, {}, {Missing: "held"}} {
		m := over(running())
		m.ShowForecast(func() *outlook.Forecast { return f })
		assert.NotContains(t, scrape(t, m), "forecast_finish")
	}
}

func TestBeforeTheFirstStepOnlyBuildInfo(t *testing.T) {
	got := scrape(t, over(nil))
	assert.Contains(t, got, `fumarium_build_info{goversion="GOVERSION",version="0.1.0"} 1`)
	for _, family := range families(got) {
		assert.Contains(t, []string{"fumarium_build_info", "fumarium_step_duration_seconds", "fumarium_step_delay_seconds"}, family)
	}
}

func TestWorldIsNamedOnlyWhenSimulated(t *testing.T) {
	s := running()
	assert.Contains(t, scrape(t, over(s)), `fumarium_build_info{goversion="GOVERSION",version="0.1.0",world="simulated"} 1`)
	s.Simulated = false
	assert.NotContains(t, scrape(t, over(s)), "world=")
}

// A family with nothing behind it must be missing altogether; a 0 would draw a
// cold chamber where there is a broken wire.
// halfCooked is half of what 145 °F asks for, 2 of 4 min: 3.25 log10.
func halfCooked() lethality.Count {
	t := quantity.FromFahrenheit(145)
	return lethality.RedMeatCriterion().Add(lethality.Count{}, t, t, 2*time.Minute)
}

func TestAbsentWhenUnread(t *testing.T) {
	cases := map[string]struct {
		lose   func(*snapshot.Snapshot)
		absent []string
	}{
		"chamber":             {func(s *snapshot.Snapshot) { s.Inputs.Chamber = [cabinet.MaxChamberProbes]sensors.Reading{} }, []string{"fumarium_chamber_celsius"}},
		"core":                {func(s *snapshot.Snapshot) { s.Inputs.Core = [cabinet.MaxCoreProbes]sensors.Reading{} }, []string{"fumarium_core_celsius"}},
		"wet bulb":            {func(s *snapshot.Snapshot) { s.Inputs.WetBulb = sensors.Fault(sensors.Stale) }, []string{"fumarium_wet_bulb_celsius"}},
		"ember":               {func(s *snapshot.Snapshot) { s.Inputs.Ember = sensors.Reading{} }, []string{"fumarium_ember_celsius"}},
		"setpoint":            {func(s *snapshot.Snapshot) { s.State.Heater.HasSetpoint = false }, []string{"fumarium_setpoint_celsius"}},
		"lethality of cheese": {func(s *snapshot.Snapshot) { s.Product.Species = profile.Dairy }, []string{"fumarium_lethality_log10"}},
		"core never read": {func(s *snapshot.Snapshot) { s.State.ComeUp, s.State.Heat = lethality.ComeUp{}, lethality.Count{} },
			[]string{"fumarium_come_up_seconds", "fumarium_lethality_log10"}},
		"no batch": {func(s *snapshot.Snapshot) { s.State = controller.State{Begun: true} },
			[]string{"fumarium_stage_info", "fumarium_stage_elapsed_seconds", "fumarium_verdict_state", "fumarium_come_up_seconds", "fumarium_lethality_log10", "fumarium_setpoint_celsius"}},
		"no record": {func(s *snapshot.Snapshot) { s.RecordKept = false }, []string{"fumarium_record_errors_total"}},
		"no heater": {func(s *snapshot.Snapshot) { s.Cabinet.Heater.Fitted = false }, []string{"fumarium_heater_duty_ratio", "fumarium_heater_energy_joules_total"}},
	}
	before := families(scrape(t, over(running())))
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			s := running()
			c.lose(s)
			after := families(scrape(t, over(s)))
			for _, family := range c.absent {
				assert.Contains(t, before, family)
				assert.NotContains(t, after, family)
			}
			assert.Len(t, after, len(before)-len(c.absent), "nothing else may go")
		})
	}
}

func TestEveryProbeStateAndAlarmHasItsSeries(t *testing.T) {
	got := scrape(t, over(running()))
	assert.Contains(t, got, `fumarium_probe_good{probe="thin end"} 0`)
	assert.NotContains(t, got, `fumarium_core_celsius{probe="thin end"}`)
	assert.NotContains(t, got, `output="humidifier"`, "not fitted")
	assert.Equal(t, int(controller.BatchStates), strings.Count(got, "\nfumarium_batch_state{"))
	for c := trip.None + 1; c < trip.Count; c++ {
		want := "0"
		if c == trip.CoreLost {
			want = "1"
		}
		assert.Equal(t, 1, strings.Count(got, fmt.Sprintf("\nfumarium_alarm_state{alarm=%q,", c)), "%s has one series, whatever its state", c)
		assert.Contains(t, got, fmt.Sprintf("\nfumarium_alarm_state{alarm=%q,priority=%q} %s\n", c, c.Entry().Priority, want))
	}
	for p := range trip.Phases {
		s := running()
		s.State.Alarms[trip.CoreLost].Phase = p
		assert.Contains(t, scrape(t, over(s)), fmt.Sprintf("\nfumarium_alarm_state{alarm=\"core-lost\",priority=\"soon\"} %d\n", p))
		assert.Regexp(t, fmt.Sprintf(`HELP fumarium_alarm_state .*\b%d %s`, p, p), got, "what the number stands for")
	}
	assert.NotContains(t, got, `fumarium_trip_latched{alarm="core-lost"}`, "no trip")
	assert.Contains(t, got, `fumarium_trip_latched{alarm="chamber-high"} 0`)
	s := running()
	s.State.Tripped = trip.ChamberHigh
	assert.Contains(t, scrape(t, over(s)), `fumarium_trip_latched{alarm="chamber-high"} 1`)
}

// The verdict is the one that the page gives, rule by rule.
func TestTheVerdictHasItsSeries(t *testing.T) {
	s := running()
	got := scrape(t, over(s))
	v, ok := s.Verdict()
	require.True(t, ok)
	for r, j := range v {
		line := fmt.Sprintf("\nfumarium_verdict_state{rule=%q} %d\n", proof.Rule(r), j.Answer)
		if proof.Rule(r) == proof.Recorded {
			assert.NotContains(t, got, `rule="record"`, "it is for who has read the record")
			continue
		}
		assert.Contains(t, got, line)
		assert.Regexp(t, fmt.Sprintf(`HELP fumarium_verdict_state .*\b%d %s`, j.Answer, j.Answer), got, "what the number stands for")
	}
	s.State.Batch = controller.Idle
	assert.NotContains(t, scrape(t, over(s)), "fumarium_verdict_state", "nothing is said of no batch")
}

// Two probes with one name, or a name that is no UTF-8, spoil their own series and
// no other: a scrape must not fail because of a cabinet file.
func TestBadNamesSpoilNothingElse(t *testing.T) {
	s := running()
	s.Cabinet.Probes[2].Name = s.Cabinet.Probes[0].Name
	s.Product.Name = "ring \xff"
	got := scrape(t, over(s))
	assert.Contains(t, got, `fumarium_chamber_celsius{probe="upper rack"} 81.5`)
	assert.Contains(t, got, `fumarium_stage_info{product="ring `+"\uFFFD"+`",stage="cook"} 1`)
	assert.Contains(t, got, "fumarium_lethality_log10 3.25\n")
}

// promtool finds missing help, missing _total and a few bad units; it lets
// percent, watts and minutes pass, so those are checked by hand. Base units:
// Prometheus documentation, "Metric and label naming", as of August 2026.
func TestNamesKeepToTheNamingPractice(t *testing.T) {
	problems, err := testutil.GatherAndLint(over(running()).Gatherer())
	require.NoError(t, err)
	assert.Empty(t, problems)

	last := []string{"celsius", "seconds", "joules_total", "ratio", "on", "good", "state", "info", "log10", "operations_total", "late_total", "errors_total", "latched"}
	for _, family := range families(scrape(t, over(running()))) {
		ok := false
		for _, unit := range last {
			ok = ok || strings.HasSuffix(family, "_"+unit)
		}
		assert.True(t, ok, "%s ends in no base unit; name the quantity in celsius, seconds, joules or as a ratio", family)
		assert.NotRegexp(t, `percent|watt|minute|hour|milli|kilo|kelvin|fahrenheit|[A-Z]`, family)
	}
}

func TestScrapesWhileStepping(t *testing.T) {
	m := over(running())
	var work sync.WaitGroup
	for range 4 {
		work.Go(func() { m.ObserveStep(time.Millisecond, 0) })
		work.Go(func() { scrape(t, m) })
	}
	work.Wait()
	assert.Contains(t, scrape(t, m), "fumarium_step_duration_seconds_count 4\n")
	assert.Contains(t, scrape(t, m), "fumarium_step_delay_seconds_count 4\n")
}

func families(scrape string) []string {
	var names []string
	for _, m := range regexp.MustCompile(`(?m)^# TYPE (\S+)`).FindAllStringSubmatch(scrape, -1) {
		names = append(names, m[1])
	}
	return names
}

func BenchmarkScrape(b *testing.B) {
	h := over(running()).Handler()
	r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	b.ReportAllocs()
	for b.Loop() {
		h.ServeHTTP(httptest.NewRecorder(), r)
	}
}

// Whether a batch was good is said once it is over, and not before.
func TestGoodIsSaidOfABatchThatIsOver(t *testing.T) {
	s := running()
	assert.NotContains(t, scrape(t, over(s)), "fumarium_batch_good")
	s.State.Batch = controller.Complete
	assert.Contains(t, scrape(t, over(s)), "\nfumarium_batch_good 0\n", "it was not cooked")
	raw := *s.Product
	raw.Process, raw.Targets = profile.NotReadyToEat, profile.Targets{}
	s.Product = &raw
	_, text, _ := s.Ending()
	assert.Contains(t, scrape(t, over(s)), "\nfumarium_batch_good 1\n", text)
	s.State.Batch = controller.Stopped
	assert.Contains(t, scrape(t, over(s)), "\nfumarium_batch_good 0\n", "it was not brought to its end")
	s.State.Batch = controller.Idle
	assert.NotContains(t, scrape(t, over(s)), "fumarium_batch_good")
}
