package main

import (
	"context"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/record"
	"fumarium/profile"
	"fumarium/sim"
)

// warmed is a product whose chamber is held for an hour and a half.
const warmed = `product: Warmed curd
shape: {form: slab, thickness: 30 mm, length: 300 mm, width: 200 mm}
species: dairy
formula:
  cut: [{name: curd, mass: 1 kg, water: 60 %, protein: 20 %, fat: 20 %}]
stages:
  - {name: warm, chamber: 60 °C, fan: off, damper: shut, until: {after: 1 h 30 min}}
`

// recordWarmed records so many batches of it, with an element that gives so many times its
// power.
func recordWarmed(t *testing.T, dir, name string, file []byte, batches int, power float64) {
	t.Helper()
	p, err := profile.Parse("curd.yaml", []byte(warmed))
	require.NoError(t, err)
	c, err := cabinet.Parse(name, file)
	require.NoError(t, err)
	r, err := record.Open(record.Options{Dir: dir, World: record.Simulated, Program: "test", Pace: 1, Boot: "boot", Uptime: time.Hour})
	require.NoError(t, err)
	wall := time.Date(2026, 11, 1, 8, 0, 0, 0, time.UTC)
	for i := range batches {
		begun := false
		_, err := sim.Watch(t.Context(), sim.Setup{Product: p, Cabinet: c, Seed: uint64(i) + 1, Answer: sim.Brisk, Power: power, Excused: true}, func(m *sim.Moment) {
			now := record.Moment{Wall: wall.Add(m.Now), ClockSet: true}
			if m.After.Batch.Active() && !begun {
				begun = true
				r.Begin(now, record.Start{
					Product: p, ProductFile: record.File{Name: "curd.yaml", Data: []byte(warmed)},
					Cabinet: c, CabinetFile: record.File{Name: name, Data: file}, Before: *m.Before,
				})
			}
			r.Step(now, &m.Inputs, m.Out, m.Events, m.After, record.By{})
		})
		require.NoError(t, err)
		require.True(t, begun)
	}
	require.NoError(t, r.Close(context.Background()))
}

// Five batches with an element that gives less, after five with one that is whole, are said
// with the figure: on the status before a batch and on the record of the next, which
// replays. Ten alike are said in the metrics, as soon as the last is over.
func TestADriftedCabinetIsSaid(t *testing.T) {
	long(t)
	entry, err := shipped.Find("steel-box")
	require.NoError(t, err)
	of := cabinet.Response{Gain: 290, Lag: 30 * time.Minute, SecondLag: 40 * time.Second, DeadTime: 15 * time.Second}
	data := cabinet.WithLearned(entry.Data, cabinet.Learned{FanOff: of}, "on 2026-10-30, batch 2026-10-30-1:")
	name := file(t, "my-box.yaml", string(data))
	c, err := cabinet.Parse(name, data)
	require.NoError(t, err)
	dir := t.TempDir()
	held := func() (all []controller.HeldFigure) {
		r, err := record.OpenReader(filepath.Join(dir, record.Simulated.File()))
		require.NoError(t, err)
		defer r.Close()
		all, err = r.Held(t.Context())
		require.NoError(t, err)
		return all
	}
	recordWarmed(t, dir, name, data, 9, 1)
	require.Len(t, held(), 9)
	assert.Equal(t, controller.Drift{}, controller.DriftOf(c, held()), "too few")
	alarms := func(d *daemon) (code, meaning string) {
		for _, a := range d.status().Alarms {
			if a.Code == "cabinet-drifted" {
				return a.State, a.Meaning
			}
		}
		return "", ""
	}
	const ratio = "\nfumarium_held_heat_drift_ratio "
	d := startDaemonIn(t, dir, "--cabinet", name, "--pace", "3000")
	_, numbers := d.get("/metrics")
	assert.NotContains(t, numbers, ratio, "nobody knows yet")
	status, _, errs := d.client("start", file(t, "curd.yaml", warmed), "--reason", "trial")
	require.Equal(t, exitGood, status, errs)
	require.Eventually(t, func() bool {
		_, numbers = d.get("/metrics")
		return strings.Contains(numbers, ratio)
	}, time.Minute, 100*time.Millisecond, "with the end of the tenth")
	assert.Regexp(t, ratio+`(0\.9[5-9]|1\.0[0-4]|1\n)`, numbers, "it takes what it did")
	state, _ := alarms(d)
	assert.Empty(t, state)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))

	recordWarmed(t, dir, name, data, 5, 0.75)
	is := controller.DriftOf(c, held())
	assert.True(t, is.Beyond)
	assert.Greater(t, is.Ratio, 1.2)
	d = startDaemonIn(t, dir, "--cabinet", name, "--pace", "1000")
	state, meaning := alarms(d)
	assert.Equal(t, "unacknowledged", state, "before a batch")
	assert.Contains(t, meaning, is.String())
	assert.Contains(t, is.String(), "% more heat than it did.")
	status, _, errs = d.client("start", file(t, "curd.yaml", warmed), "--reason", "trial")
	require.Equal(t, exitGood, status, errs)
	batch := *d.status().Batch
	status, _, errs = d.client("stop")
	require.Equal(t, exitGood, status, errs)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	status, out, errs := call(t, "replay", batch, "--state", dir, "--simulated")
	assert.Equal(t, exitGood, status, out+errs)
}
