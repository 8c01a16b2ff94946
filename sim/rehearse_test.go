package sim

import (
	"context"
	"encoding/json"
	"math"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/chart"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sim/fault"
)

func product(t testing.TB, name string) *profile.Product {
	entry, err := catalog.Find(name)
	require.NoError(t, err)
	return entry.Value
}

func builtCabinet(t testing.TB, name string) *cabinet.Cabinet {
	entry, err := shipped.Find(name)
	require.NoError(t, err)
	return entry.Value
}

func rehearse(t testing.TB, s Setup) *Result {
	result, err := Rehearse(context.Background(), s, nil, nil)
	require.NoError(t, err)
	return result
}

// Every shipped product must come out of the cabinet it will most likely meet:
// complete, without an alarm, through its come-up in six hours, with a believable
// yield and a chamber that is held. The person answers at once: the bounds are those of
// the control, and what lies hung and waits longer is another test's.
func TestEveryShippedProductInEveryLargeCabinet(t *testing.T) {
	long(t)
	entries, err := catalog.All()
	require.NoError(t, err)
	cabinets, cooks := []string{"plywood-cabinet", "fridge-body", "masonry-walk-in"}, map[string]cook{}
	for _, name := range cabinets {
		c := builtCabinet(t, name)
		for _, e := range entries {
			t.Run(name+"/"+e.Key, func(t *testing.T) {
				one, seconds := cook{}, 0.0
				r, err := Watch(t.Context(), Setup{Product: e.Value, Cabinet: c, Seed: 1, Answer: Brisk}, func(m *Moment) {
					if stage := m.After.CurrentStage(e.Value); stage != nil && stage.Place == profile.Chamber && m.After.Batch.Active() {
						one.humid += float64(m.World.Built().Humidity())
						seconds++
					}
				})
				require.NoError(t, err)
				one.hours, one.loss, one.humid = seconds/3600, 1-*r.YieldPercent/100, one.humid/seconds
				cooks[name+"/"+e.Key] = one
				assert.Equal(t, "complete", r.Outcome)
				assert.True(t, r.AsPlanned())
				shown := c.Has(cabinet.WetBulbProbe) || !slices.Contains(bareOnes, e.Key)
				assert.Equal(t, shown, r.Good(), r.Surface.Why)
				for _, a := range r.Alarms {
					assert.Equal(t, "later", a.Priority, "alarm %s", a.Code)
				}
				assert.Len(t, r.Stages, len(e.Value.Stages))
				if r.Control.OvershootKelvin != nil {
					assert.Less(t, *r.Control.OvershootKelvin, 5.0)
					swing := 1.0
					if slices.ContainsFunc(e.Value.Stages, func(s profile.Stage) bool { return s.HasHumidity }) {
						swing = 1.5 // steam comes in bursts
					}
					if c.Damper.Fitted {
						swing += 0.2 // it opens and shuts (TestADrivenDamperHoldsTheChamber)
					}
					assert.Less(t, *r.Control.HoldRMSKelvin, swing)
				}
				if r.Lethality.ComeUpSeconds != nil {
					assert.Less(t, *r.Lethality.ComeUpSeconds, 6*3600.0, "come-up limit, FSIS Cooking Guideline 2021")
				}
				assert.Greater(t, *r.YieldPercent, 75.0)
				assert.LessOrEqual(t, *r.YieldPercent, 100.5)
			})
		}
	}
	tellCooks(t, catalog.Names(), cabinets, cooks)
}

// The sheet-steel box has no fan and takes a small load.
func TestSmallBoxTakesSmallLoads(t *testing.T) {
	for _, name := range []string{"caraway-sticks", "marjoram-ring", "hayloft-chicken"} {
		r := rehearse(t, Setup{Product: product(t, name), Cabinet: builtCabinet(t, "steel-box"), Load: 1, Seed: 1})
		assert.Equal(t, "complete", r.Outcome, name)
		assert.True(t, r.AsPlanned(), name)
		assert.Equal(t, name != "hayloft-chicken", r.Good(), name)
	}
}

// bareOnes want the humidity shown by a wet bulb, which not every cabinet has.
var bareOnes = []string{"hayloft-chicken", "heather-loin", "orchard-bacon"}

// What is said of a bare surface is what the cabinet's wet bulb measured from loading on.
func TestTheSurfaceIsAsItWasMeasured(t *testing.T) {
	for name, want := range map[string]struct {
		answer proof.Answer
		why    string
	}{
		"steel-box":       {proof.NotShown, "was not measured"}, // has no wet bulb
		"plywood-cabinet": {proof.Met, "options 1 and 2: steam or shut dampers"},
		"fridge-body":     {proof.Met, "options 1 and 2: steam or shut dampers"},
		"masonry-walk-in": {proof.Met, "options 1 and 2: steam or shut dampers"},
	} {
		r := rehearse(t, Setup{Product: product(t, "hayloft-chicken"), Cabinet: builtCabinet(t, name), Load: 1, Seed: 1, Answer: Brisk})
		assert.Equal(t, want.answer, r.Verdict[proof.Surface].Answer, name)
		assert.Contains(t, r.Surface.Why, want.why, name)
		assert.Equal(t, want.answer == proof.Met, *r.Surface.Pass)
	}
	r := rehearse(t, Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "fridge-body"), Seed: 1, Answer: Brisk})
	assert.Nil(t, r.Surface.Pass, "a casing")
}

// The walk-in takes forty kilograms: they cost more heat and come up more slowly
// at first. (They need not take longer in all: what they give off makes the air
// humid, and humid air cooks faster.)
func TestALargeLoad(t *testing.T) {
	s := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "masonry-walk-in"), Seed: 1, Load: 5}
	small := rehearse(t, s)
	s.Load = 40
	large := rehearse(t, s)
	assert.Equal(t, "complete", large.Outcome)
	assert.Greater(t, large.EnergyJoules, small.EnergyJoules)
	assert.Less(t, large.Stages[0].CoreEndCelsius, small.Stages[0].CoreEndCelsius)
	assert.InDelta(t, *small.YieldPercent, *large.YieldPercent, 0.5)
}

func TestEqualSeedsGiveEqualBytes(t *testing.T) {
	s := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 7}
	text := func(s Setup) string {
		r := rehearse(t, s)
		spread, err := Spread(context.Background(), s, 5, nil)
		require.NoError(t, err)
		r.Spread = spread
		b, err := json.Marshal(r)
		require.NoError(t, err)
		return string(b)
	}
	first := text(s)
	before := runtime.GOMAXPROCS(1)
	second := text(s)
	runtime.GOMAXPROCS(before)
	assert.Equal(t, first, second)
	s.Seed = 8
	assert.NotEqual(t, first, text(s))
}

func TestWarmerThickerAndColderMatter(t *testing.T) {
	base := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1}
	normal := rehearse(t, base).ElapsedSeconds
	thick := base
	thick.Diameter = 0.055
	assert.Greater(t, rehearse(t, thick).ElapsedSeconds, normal)
	still := base
	still.FilmFactor = 0.7
	assert.Greater(t, rehearse(t, still).ElapsedSeconds, normal)
	winter := base
	cold := quantity.Celsius(-5)
	winter.Ambient = &cold
	assert.Greater(t, rehearse(t, winter).EnergyJoules, rehearse(t, base).EnergyJoules)
}

func TestSetupErrorsNameTheNumber(t *testing.T) {
	good := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet")}
	hot := quantity.Celsius(60)
	cases := map[string]struct {
		change func(*Setup)
		text   string
	}{
		"no product":   {func(s *Setup) { s.Product = nil }, "no product"},
		"no cabinet":   {func(s *Setup) { s.Cabinet = nil }, "no cabinet"},
		"no build":     {func(s *Setup) { c := *s.Cabinet; c.Rehearsal = cabinet.Rehearsal{}; s.Cabinet = &c }, "rehearsal section"},
		"load":         {func(s *Setup) { s.Load = 1000 }, "1000 kg"},
		"diameter":     {func(s *Setup) { s.Diameter = 0.001 }, "1 mm"},
		"hot room":     {func(s *Setup) { s.Ambient = &hot }, "60 °C"},
		"hot at start": {func(s *Setup) { h := quantity.Celsius(90); s.Start = &h }, "90 °C"},
	}
	for name, c := range cases {
		s := good
		c.change(&s)
		_, err := Rehearse(context.Background(), s, nil, nil)
		assert.ErrorContains(t, err, c.text, name)
	}
}

func TestACabinetWithoutAnswerFromItsProbeNeverStarts(t *testing.T) {
	c := *builtCabinet(t, "plywood-cabinet")
	c.Probes = []cabinet.Probe{{Name: "core", Role: cabinet.CoreProbe}}
	r := rehearse(t, Setup{Product: product(t, "marjoram-ring"), Cabinet: &c})
	assert.Equal(t, "idle", r.Outcome)
	assert.Contains(t, r.Reason, "no chamber probe")
	assert.Zero(t, r.EnergyJoules)
	assert.False(t, r.Good())
}

func TestAStageThatNeverEndsGivesUp(t *testing.T) {
	long(t)
	p := *product(t, "marjoram-ring")
	p.Stages = []profile.Stage{{Name: "wait", Place: profile.Room,
		Until: profile.Until{Conditions: []profile.Condition{{Kind: profile.CoreAtMost, Core: -5}}}}}
	r := rehearse(t, Setup{Product: &p, Cabinet: builtCabinet(t, "plywood-cabinet")})
	assert.Equal(t, "running", r.Outcome)
	assert.Contains(t, r.Reason, "never ends")
	assert.False(t, r.Good())
}

func TestRehearsalCanBeCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	s := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet")}
	_, err := Rehearse(ctx, s, nil, nil)
	require.ErrorIs(t, err, context.Canceled)
	_, err = Spread(ctx, s, 50, nil)
	require.ErrorIs(t, err, context.Canceled)
}

func TestTraceAndFigure(t *testing.T) {
	p := product(t, "marjoram-ring")
	var trace Trace
	ticks := 0
	setup := Setup{Product: p, Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1}
	r, err := Rehearse(context.Background(), setup, &trace,
		func(time.Duration, *controller.State) { ticks++ })
	require.NoError(t, err)
	assert.InDelta(t, r.ElapsedSeconds/60, ticks, 2)
	assert.InDelta(t, r.ElapsedSeconds/60, len(trace.Truth), 2)
	heat := 0.0
	for _, d := range trace.History.Duties() {
		heat += d.Ratio * (d.To - d.From).Seconds()
	}
	power := float64(builtCabinet(t, "plywood-cabinet").Heater.Power)
	assert.InDelta(t, r.EnergyJoules, heat*power, 0.01*r.EnergyJoules, "the drawn duty must hold the energy")
	figure := trace.Figure(setup, r)
	assert.Len(t, figure.Spans, len(p.Stages))
	assert.NotEmpty(t, figure.Marks)
	styles := map[string]chart.Style{}
	for _, s := range figure.Panels[0].Series {
		styles[s.Name] = s.Style
	}
	assert.Equal(t, map[string]chart.Style{"core": chart.Core, "chamber": chart.Chamber, "setpoint": chart.Setpoint, "surface": chart.Faint}, styles, "as on the page")

	f, err := fault.Parse("core-offset@1h=-8K")
	require.NoError(t, err)
	setup.Faults, trace = []fault.Fault{f}, Trace{}
	r, err = Rehearse(context.Background(), setup, &trace, nil)
	require.NoError(t, err)
	names := ""
	for _, s := range trace.Figure(setup, r).Panels[0].Series {
		names += s.Name + ", "
	}
	assert.Equal(t, "chamber, setpoint, core, surface, true chamber, true core, ", names, "what a probe says may be wrong then")
}

// The front end reads what the file's calibration makes right, with the noise of one
// sample; the channel behind it gives the truth, with what the median leaves of that: the
// variance of the median of three is 1 - √3/π of one sample's (sensors/channel has the
// source).
func TestProbeFollowsWithItsErrorAndItsNoise(t *testing.T) {
	c := *builtCabinet(t, "plywood-cabinet")
	c.Probes = []cabinet.Probe{{Name: "chamber", Role: cabinet.ChamberProbe, Offset: 2, Stretch: 0.01}}
	w, err := NewWorld(Setup{Product: product(t, "marjoram-ring"), Cabinet: &c, Seed: 3})
	require.NoError(t, err)
	truth := float64(w.Built().Probe())
	for name, want := range map[string]struct {
		read        func(time.Duration) controller.Inputs
		mean, noise float64
	}{
		"front end": {w.Feel, (truth - 2) / 1.01, float64(DefaultNoise)},
		"channel":   {w.Sample, truth, float64(DefaultNoise) * math.Sqrt(1-math.Sqrt(3)/math.Pi)},
	} {
		sum, squares, n := 0.0, 0.0, 12000
		for range n {
			v, ok := want.read(0).Chamber[0].Value()
			require.True(t, ok)
			e := float64(v) - want.mean
			sum += e
			squares += e * e
		}
		assert.InDelta(t, 0, sum/float64(n), 0.01, name)
		assert.InDelta(t, want.noise, math.Sqrt(squares/float64(n)), 0.01, name)
	}
	assert.Equal(t, sensors.Unread, w.Sample(0).Core[0].Status(), "a probe that is not fitted is not read")
}

// Hyndman and Fan, Sample Quantiles in Statistical Packages, The American
// Statistician 50 (1996), definition 7; the figures are the arithmetic of the
// definition.
func TestQuantile(t *testing.T) {
	x := []float64{1, 2, 4, 8, 16}
	assert.InDelta(t, 1.4, quantile(x, 0.1), 1e-12)
	assert.InDelta(t, 4, quantile(x, 0.5), 1e-12)
	assert.InDelta(t, 12.8, quantile(x, 0.9), 1e-12)
	assert.InDelta(t, 16, quantile(x, 1), 1e-12)
	assert.InDelta(t, 3, quantile([]float64{3}, 0.9), 1e-12)
}

// BenchmarkBatch rehearses one whole batch and reports how many times faster than
// real time that is.
func BenchmarkBatch(b *testing.B) {
	s := Setup{Product: product(b, "marjoram-ring"), Cabinet: builtCabinet(b, "plywood-cabinet"), Seed: 1, Answer: Brisk}
	virtual := 0.0
	for b.Loop() {
		virtual += rehearse(b, s).ElapsedSeconds
	}
	b.ReportMetric(virtual/b.Elapsed().Seconds(), "times_real_time")
}

// BenchmarkThousandBatches is the spread that a plan is made from, on all cores.
func BenchmarkThousandBatches(b *testing.B) {
	s := Setup{Product: product(b, "marjoram-ring"), Cabinet: builtCabinet(b, "plywood-cabinet"), Seed: 1}
	for b.Loop() {
		_, err := Spread(context.Background(), s, 1000, nil)
		require.NoError(b, err)
	}
}

// The place that is set is that of the verdict: 150 ppm of sodium nitrite is within 156 ppm
// (9 CFR 424.21(c)), and its 100 ppm of the ion over 80 ppm (Regulation (EU) 2023/2108).
func TestARehearsalGoesByThePlaceThatIsSet(t *testing.T) {
	setup := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1, Answer: Brisk}
	for set, want := range map[profile.Jurisdiction]proof.Answer{
		profile.NoJurisdiction: proof.Met, profile.UnitedStates: proof.Met, profile.EuropeanUnion: proof.NotMet,
	} {
		setup.Where = set
		r := rehearse(t, setup)
		assert.Equal(t, want, r.Verdict[proof.Formula].Answer, "%s: %s", set, r.Verdict[proof.Formula].Why)
		assert.Equal(t, want == proof.Met, r.Good(), "%s: %+v", set, r.Verdict)
	}
}

// A cabinet whose core probe may be wrong cooks further and chills further, by as much.
func TestACoreThatMayBeWrongIsCookedFurther(t *testing.T) {
	good := builtCabinet(t, "plywood-cabinet")
	wrong := *good
	wrong.Probes = slices.Clone(good.Probes)
	for i := range wrong.Probes {
		if wrong.Probes[i].Role == cabinet.CoreProbe {
			wrong.Probes[i].Error, wrong.Probes[i].HasError = 1.5, true
		}
	}
	p := product(t, "marjoram-ring")
	a := rehearse(t, Setup{Product: p, Cabinet: good, Seed: 1, Answer: Brisk})
	b := rehearse(t, Setup{Product: p, Cabinet: &wrong, Seed: 1, Answer: Brisk})
	assert.True(t, b.Good(), "%+v", b.Verdict)
	assert.InDelta(t, a.Core.PeakCelsius+1.5, b.Core.PeakCelsius, 0.5)
	assert.Greater(t, b.ElapsedSeconds, a.ElapsedSeconds)
	assert.Contains(t, b.Verdict[proof.Chilled].Why, "1.5 K")
	assert.NotContains(t, a.Verdict[proof.Chilled].Why, " K ")
}

// long leaves out a test under -short: minutes of one goroutine's steps, which the race
// detector would make ten times as long and could find nothing in. CI runs it without.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and of one goroutine: it runs without -short")
	}
}
