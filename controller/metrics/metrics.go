// Package metrics shows the latest snapshot to Prometheus. Every scrape makes its
// metrics anew from one snapshot; nothing is cached and nothing is counted here
// but the duration and the delay of the steps. What was not read is absent, never 0. It drives
// nothing and hands in no command.
//
// Names follow the Prometheus naming practice: base units, one unit to a name,
// ratios from 0 to 1, counters that end in _total, energy instead of power.
package metrics

import (
	"fmt"
	"net/http"
	"runtime"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
)

// stepBuckets reach from a step on a fast machine to twice the second that a step
// may take. In seconds.
var stepBuckets = []float64{
	10e-6, 30e-6, 100e-6, 300e-6, 1e-3, 3e-3, 10e-3, 30e-3, 0.1, 0.3, 1, 2,
}

// lateBuckets reach from what a busy machine does to the delay that is an alarm. In
// seconds.
var lateBuckets = []float64{
	1e-3, 3e-3, 10e-3, 30e-3, 0.1, 0.3, 1, (controller.LateAfter - time.Second).Seconds(),
}

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("fumarium_"+name, help, labels, nil)
}

// numbered lists what the values of a series stand for, from 0 to before end.
func numbered[T interface {
	~uint8
	fmt.Stringer
}](end T) string {
	words := make([]string, end)
	for v := range end {
		words[v] = fmt.Sprintf("%d %s", v, v)
	}
	return strings.Join(words, ", ")
}

var (
	chamber      = desc("chamber_celsius", "Chamber temperature (dry bulb) at each probe with a good reading.", "probe")
	core         = desc("core_celsius", "Core temperature at each probe with a good reading.", "probe")
	wetBulb      = desc("wet_bulb_celsius", "Wet bulb temperature in the chamber.")
	ember        = desc("ember_celsius", "Temperature of the smouldering wood in the smoke generator.")
	smokeFuel    = desc("smoke_fuel_ratio", "Share of the smoke generator's filling that is left, by the air it was given; only while a stage smokes.")
	setpoint     = desc("setpoint_celsius", "Chamber setpoint where its ramp is now.")
	probeGood    = desc("probe_good", "Whether the probe gives a usable reading.", "probe")
	heaterDuty   = desc("heater_duty_ratio", "Duty that the control law asks of the heater.")
	outputOn     = desc("output_on", "Whether the output is switched on; only outputs that are fitted.", "output")
	heaterEnergy = desc("heater_energy_joules_total", "Rated heater power times its on-time since the daemon began.")
	operations   = desc("relay_operations_total", "How often the output has been switched since the daemon began.", "output")
	relayWear    = desc("relay_wear_ratio", "Share of its rated cycles that the heater's relay has been used for; only where the cabinet file has them.", "output")
	heldDrift    = desc("held_heat_drift_ratio", "Heat that holds the chamber over what held it at first, by batches of one product since the cabinet learned; only where ten of them tell.")
	batchState   = desc("batch_state", "State of the batch (ISA-88): 1 for the one it is in.", "state")
	batchGood    = desc("batch_good", "Whether the last batch completed, showed what applies of cooked, come-up, surface, chilled and process, and no rule is not met; only once it is over.")
	stageInfo    = desc("stage_info", "Product and stage under way.", "product", "stage")
	stageElapsed = desc("stage_elapsed_seconds", "Time that the stage under way has counted.")
	alarmState   = desc("alarm_state", "State of the alarm (ISA-18.2): "+numbered(trip.Phases)+".", "alarm", "priority")
	verdictState = desc("verdict_state", "What can be said of the rule that the batch is held to, by now or since it ended: "+numbered(proof.DoesNotApply+1)+".", "rule")
	reduction    = desc("lethality_log10", fmt.Sprintf("Log10 reduction that the core has accumulated; %[1]g stands for %[1]g or more.", lethality.MostShown))
	comeUp       = desc("come_up_seconds", fmt.Sprintf("Time the core has spent between %v and %v while heating.", lethality.ComeUpBand.From, lethality.ComeUpBand.To))
	stepsLate    = desc("steps_late_total", "Steps that came too late since the daemon began.")
	recordErrors = desc("record_errors_total", "Attempts to write the batch record that failed, since the daemon began.")
	finishes     = desc("forecast_finish_timestamp_seconds", "When the batch will be done by its forecast, on the cabinet's clock: 0.5 the middle, one in ten sooner than 0.1, one in ten later than 0.9; absent while nobody can say.", "quantile")
	connections  = desc("connections", "Connections to page and API.")
	turnedAway   = desc("connections_ended_total", "Connections that were ended since the daemon began: full, no place was free; silent, it made room for another; stalled, it did not take its answer.", "why")
	upkeepDue    = desc("upkeep_due", "Whether that is due to be cleaned or looked after, as last read, at most ten minutes ago.", "task")
	woodBurnt    = desc("wood_kilograms_total", "Wood that was burnt, as people said it.", "species")
	copiesFail   = desc("copies_failing", "Whether a batch has no copy in the folder for copies; absent while the book cannot be read.")
	latched      = desc("trip_latched", "Whether the trip is latched: the heater stays off until a person resets it.", "alarm")
	buildInfo    = desc("build_info", "Version of the program; world is set when the cabinet is simulated.", "version", "goversion")
	simInfo      = desc("build_info", "Version of the program; world is set when the cabinet is simulated.", "version", "goversion", "world")
)

// Metrics is the registry of one daemon. It is safe for concurrent use.
type Metrics struct {
	source   func() *snapshot.Snapshot
	version  string
	registry *prometheus.Registry
	steps    prometheus.Histogram
	late     prometheus.Histogram
}

// New makes the metrics over source, which may return nil before the first step.
func New(source func() *snapshot.Snapshot, version string) *Metrics {
	m := &Metrics{source: source, version: version, registry: prometheus.NewRegistry()}
	m.steps = prometheus.NewHistogram(prometheus.HistogramOpts{
		Name:    "fumarium_step_duration_seconds",
		Help:    "Wall time of one step: reading, deciding, driving.",
		Buckets: stepBuckets,
	})
	m.late = prometheus.NewHistogram(prometheus.HistogramOpts{
		Name:    "fumarium_step_delay_seconds",
		Help:    "How much later than a period after the step before each step began.",
		Buckets: lateBuckets,
	})
	m.registry.MustRegister(
		prometheus.CollectorFunc(m.collect), m.steps, m.late,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	return m
}

// Handler serves the scrape.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		// One metric that cannot be shown must not hide the others.
		ErrorHandling: promhttp.ContinueOnError,
		Registry:      m.registry,
	})
}

// ObserveStep counts one step: how long it took, and how much too late it began.
func (m *Metrics) ObserveStep(took, late time.Duration) {
	m.steps.Observe(took.Seconds())
	m.late.Observe(late.Seconds())
}

// Readers are those of page and API since the daemon began.
type Readers struct {
	Open    int    // connections now
	Refused uint64 // no place was free
	Dropped uint64 // silent, made room for another
	Stalled uint64 // did not take an answer
}

// ShowReaders adds them to the scrape.
func (m *Metrics) ShowReaders(now func() Readers) {
	m.registry.MustRegister(prometheus.CollectorFunc(func(out chan<- prometheus.Metric) {
		r := now()
		out <- prometheus.MustNewConstMetric(connections, prometheus.GaugeValue, float64(r.Open))
		for why, n := range map[string]uint64{"full": r.Refused, "silent": r.Dropped, "stalled": r.Stalled} {
			out <- prometheus.MustNewConstMetric(turnedAway, prometheus.CounterValue, float64(n), why)
		}
	}))
}

// Upkeep is what of the cabinet is due.
type Upkeep struct {
	Due           map[string]bool
	WoodKilograms map[string]float64
	CopiesFail    bool
}

// ShowUpkeep adds it to the scrape; nil is not known.
func (m *Metrics) ShowUpkeep(now func() *Upkeep) {
	m.registry.MustRegister(prometheus.CollectorFunc(func(out chan<- prometheus.Metric) {
		u := now()
		if u == nil {
			return
		}
		flag := func(is bool) float64 {
			if is {
				return 1
			}
			return 0
		}
		for task, due := range u.Due {
			out <- prometheus.MustNewConstMetric(upkeepDue, prometheus.GaugeValue, flag(due), task)
		}
		for species, kg := range u.WoodKilograms {
			out <- prometheus.MustNewConstMetric(woodBurnt, prometheus.CounterValue, kg, species)
		}
		out <- prometheus.MustNewConstMetric(copiesFail, prometheus.GaugeValue, flag(u.CopiesFail))
	}))
}

// ShowForecast adds when the batch will be done to the scrape; nil where nobody can say.
func (m *Metrics) ShowForecast(now func() *outlook.Forecast) {
	m.registry.MustRegister(prometheus.CollectorFunc(func(out chan<- prometheus.Metric) {
		f := now()
		if f == nil || f.Missing != "" || len(f.Ends) == 0 {
			return
		}
		last := f.Ends[len(f.Ends)-1]
		for quantile, at := range map[string]time.Time{"0.1": last.Earliest, "0.5": last.Middle, "0.9": last.Latest} {
			out <- prometheus.MustNewConstMetric(finishes, prometheus.GaugeValue, float64(at.UnixMilli())/1000, quantile)
		}
	}))
}

func (m *Metrics) collect(out chan<- prometheus.Metric) {
	send := func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string) {
		for i := range labels { // the text format knows only UTF-8
			labels[i] = strings.ToValidUTF8(labels[i], "\uFFFD")
		}
		out <- prometheus.MustNewConstMetric(d, kind, v, labels...)
	}
	gauge := func(d *prometheus.Desc, v float64, labels ...string) { send(d, prometheus.GaugeValue, v, labels...) }
	counter := func(d *prometheus.Desc, v float64, labels ...string) {
		send(d, prometheus.CounterValue, v, labels...)
	}

	s := m.source()
	if s != nil && s.Simulated {
		gauge(simInfo, 1, m.version, runtime.Version(), "simulated")
	} else {
		gauge(buildInfo, 1, m.version, runtime.Version())
	}
	if s == nil {
		return
	}
	for _, p := range s.Probes() {
		celsius, good := p.Reading.Value()
		gauge(probeGood, truth(good), p.Name)
		if !good {
			continue
		}
		switch p.Role {
		case cabinet.ChamberProbe:
			gauge(chamber, float64(celsius), p.Name)
		case cabinet.CoreProbe:
			gauge(core, float64(celsius), p.Name)
		case cabinet.WetBulbProbe:
			gauge(wetBulb, float64(celsius))
		case cabinet.EmberProbe:
			gauge(ember, float64(celsius))
		}
	}
	if s.State.Heater.HasSetpoint {
		gauge(setpoint, float64(s.State.Heater.Setpoint))
	}
	if s.Cabinet != nil {
		if s.Cabinet.Heater.Fitted {
			gauge(heaterDuty, s.State.Heater.Demand)
			counter(heaterEnergy, s.HeaterEnergyJoules())
		}
		for o := range controller.OutputCount {
			if o.Fitted(s.Cabinet) {
				gauge(outputOn, truth(s.State.Out.On.Has(o)), o.String())
				counter(operations, float64(s.History.Use().Switched[o]), o.String())
			}
		}
	}
	if s.WearKnown {
		gauge(relayWear, s.RelayWear, controller.Heater.String())
	}
	if s.Inputs.Drift.Ratio > 0 {
		gauge(heldDrift, s.Inputs.Drift.Ratio)
	}
	for b := range controller.BatchStates {
		gauge(batchState, truth(s.State.Batch == b), b.String())
	}
	if good, _, ok := s.Ending(); ok {
		gauge(batchGood, truth(good))
	}
	if v, ok := s.Verdict(); ok {
		for r, j := range v {
			if rule := proof.Rule(r); rule != proof.Recorded { // that is for who has read the record
				gauge(verdictState, float64(j.Answer), rule.String())
			}
		}
	}
	if stage := s.State.CurrentStage(s.Product); stage != nil {
		gauge(stageInfo, 1, s.Product.Name, stage.Name)
		gauge(stageElapsed, s.StageElapsed().Seconds())
	}
	for c := trip.None + 1; c < trip.Count; c++ {
		gauge(alarmState, float64(s.State.Alarms[c].Phase), c.String(), c.Entry().Priority.String())
	}
	for c := trip.None + 1; c < trip.Count; c++ {
		if c.Entry().Trips {
			gauge(latched, truth(s.State.Tripped == c), c.String())
		}
	}
	if v, _, ok := s.LethalityLog10(); ok {
		gauge(reduction, v)
	}
	if d, ok := s.ComeUp(); ok {
		gauge(comeUp, d.Seconds())
	}
	if v, ok := s.State.FuelLeft(s.Product, s.Cabinet); ok {
		gauge(smokeFuel, float64(v))
	}
	counter(stepsLate, float64(s.StepsLate))
	if s.RecordKept {
		counter(recordErrors, float64(s.RecordErrors))
	}
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
