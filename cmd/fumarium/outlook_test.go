package main

import (
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/outlook"
	"fumarium/controller/snapshot"
	"fumarium/profile/catalog"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// The course that the daemon makes is the spread that plan goes by: the same median.
func TestCourseIsTheSpread(t *testing.T) {
	p, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	c, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	setup := sim.Setup{Product: p.Value, Cabinet: c.Value, Seed: 1, Excused: true}
	made, err := course(t.Context(), setup, nil, outlookRuns, 0)
	require.NoError(t, err)
	require.True(t, made.Fits(p.Value))
	require.Len(t, made.Runs, outlookRuns)
	assert.LessOrEqual(t, len(made.Curve), mostCurve)
	assert.Greater(t, len(made.Curve), mostCurve/2)
	spread, err := sim.Spread(t.Context(), setup, outlookRuns, nil)
	require.NoError(t, err)
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	plan := made.Before(p.Value, start)
	for i, s := range spread.Stages {
		assert.InDelta(t, s.EndP50Seconds, plan.Stages[i].End.Sub(start).Seconds(), 1, s.Name)
	}
	assert.InDelta(t, spread.P90Seconds, plan.Latest.Sub(start).Seconds(), 1)
	assert.NotEmpty(t, plan.Hands)

	file := filepath.Join(t.TempDir(), outlookFile)
	require.NoError(t, writeOutlook(file, &outlooked{Batch: "b", Course: made}))
	kept, err := readOutlook(file)
	require.NoError(t, err)
	assert.Equal(t, &outlooked{Batch: "b", Course: made}, kept, "the same after a restart")

	c.Value.Rehearsal.Width = 0
	_, err = course(t.Context(), setup, nil, 1, 0)
	assert.ErrorContains(t, err, "no rehearsal section")
}

// What is rehearsed of a batch goes by the room as its chip measures it: the simulated chip,
// its driver, the step's inputs, the rehearsal's setup, and the course that comes of it.
func TestThePlanGoesByTheRoom(t *testing.T) {
	p, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "cabinets", "on-chips.yaml"))
	require.NoError(t, err)
	text := regexp.MustCompile(`(?m)^.*role: ambient.*$`).ReplaceAll(data, []byte("  - {name: in the room, role: ambient, chip: BME280, bus: simulated}"))
	c, err := cabinet.Parse("box.yaml", append(text, "\naltitude: 800 m\n"...))
	require.NoError(t, err)
	frost, err := fault.Parse("ambient-step@0s=-20K")
	require.NoError(t, err)
	w, err := wiring.Open(c, wiring.Options{Product: p.Value, Seed: 3, Faults: []fault.Fault{frost}})
	require.NoError(t, err)
	defer w.Close()
	require.NoError(t, w.Hang(p.Value))
	s := &snapshot.Snapshot{}
	for now := time.Duration(0); now < 10*time.Second; now += time.Second {
		s.Inputs = w.Sample(now)
	}
	plans := planner{cabinet: c}
	setup := plans.setup(p.Value, s)
	require.NotNil(t, setup.Ambient)
	assert.InDelta(t, float64(c.Ambient)-20, float64(*setup.Ambient), 1)
	assert.InDelta(t, c.Pressure(), setup.Pressure, 50)
	assert.Less(t, setup.Pressure, 93e3)
	assert.InDelta(t, 0.6, float64(setup.Humidity), 0.01)

	expected, err := sim.Rehearse(t.Context(), plans.setup(p.Value, nil), nil, nil)
	require.NoError(t, err)
	measured, err := sim.Rehearse(t.Context(), setup, nil, nil)
	require.NoError(t, err)
	assert.Greater(t, measured.EnergyJoules, 1.05*expected.EnergyJoules, "it is colder than the file has it")
	damp := setup
	damp.Humidity = 1
	moist, err := sim.Rehearse(t.Context(), damp, nil, nil)
	require.NoError(t, err)
	assert.NotEqual(t, measured.YieldPercent, moist.YieldPercent)

	for name, in := range map[string]controller.Inputs{ // that no weather is
		"nothing measured": {}, "a room that is dry as none": {AirHumidity: 0.001}, "no air": {AirPascal: 31e3},
	} {
		bare := plans.setup(p.Value, &snapshot.Snapshot{Inputs: in})
		assert.Equal(t, plans.setup(p.Value, nil), bare, name)
	}
}

// A daemon says when its batch will be done, draws the course, and answers before a start
// what one would come to.
func TestTheDaemonPlansAhead(t *testing.T) {
	d := startDaemon(t, "--cabinet", "fridge-body", "--pace", "10")
	status, body := d.post("/api/rehearse", `{"product":"caraway-sticks"}`)
	require.Equal(t, http.StatusOK, status, body)
	assert.Contains(t, body, `"finish":"20`)
	code, _, errText := d.client("start", "caraway-sticks", "--stuffed", "13h")
	require.Equal(t, exitGood, code, errText)
	s := d.status()
	for began := time.Now(); s.Plan == nil && time.Since(began) < time.Minute; s = d.status() {
		require.NotNil(t, s.PlanMissing)
		time.Sleep(100 * time.Millisecond)
	}
	require.NotNil(t, s.Plan)
	assert.Equal(t, outlookRuns, s.Plan.Runs)
	require.NotNil(t, s.Plan.Finish)
	assert.True(t, s.Plan.Finish.After(s.Time))
	assert.Equal(t, outlook.FromRehearsals, s.Plan.From)
	require.NotNil(t, s.Plan.ForecastMissing, "that takes longer than somebody waits here")
	_, drawn := d.get("/api/plan/curve")
	assert.Contains(t, drawn, `"chamber_celsius":`)
	code, _, errText = d.client("hold")
	require.Equal(t, exitGood, code, errText)
	s = d.status()
	require.NotNil(t, s.PlanMissing)
	assert.Nil(t, s.Plan.Finish)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	kept, err := readOutlook(filepath.Join(d.state, outlookFile))
	require.NoError(t, err)
	assert.NotNil(t, kept.Course)
}
