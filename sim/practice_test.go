package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// thinLinks is the case that the trade's rules of thumb speak of: pork links in
// hog casing, stepped up in a home cabinet. All its figures are check values,
// common practice, no source; no shipped product uses them.
func thinLinks() *profile.Product {
	hours := func(h float64) profile.Until {
		return profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: time.Duration(h * float64(time.Hour))}}}
	}
	heat := func(name string, fahrenheit float64, until profile.Until) profile.Stage {
		return profile.Stage{Name: name, Heat: true, ChamberSetpoint: quantity.FromFahrenheit(fahrenheit), Place: profile.Chamber,
			HasDamper: true, Damper: 0.25, Until: until}
	}
	dry := heat("dry", 100, hours(1))
	dry.Fan, dry.Damper = 1, 1
	smoke := heat("smoke", 150, hours(2))
	smoke.Smoke = true
	core := quantity.FromFahrenheit(155)
	return &profile.Product{
		Name: "thin links", Species: profile.RedMeat,
		Shape: profile.Shape{Form: profile.Cylinder, Diameter: 0.034, Length: 0.15, Casing: profile.NaturalCasing},
		Formula: profile.Formula{
			Cut:   []profile.Meat{{Name: "pork shoulder", Mass: 4.5, Water: 0.60, Protein: 0.17, Fat: 0.22}},
			Other: []profile.Ingredient{{Name: "salt", Mass: 0.08, As: profile.Salt}, {Name: "water", Mass: 0.4, As: profile.Water}},
		},
		Targets: profile.Targets{HasCore: true, Core: core},
		Stages: []profile.Stage{
			dry, smoke, heat("step", 175, hours(2)),
			heat("cook", 195, profile.Until{Conditions: []profile.Condition{{Kind: profile.CoreAtLeast, Core: core}}}),
			{Name: "ice", Place: profile.IceWater, Until: hours(1.0 / 6)},
			{Name: "bloom", Place: profile.Room, Until: hours(2)},
		},
	}
}

// TestRulesOfThumb holds the simulator against what makers see. Common practice,
// no source. That pieces hang without touching each other or the wall is the one
// rule it cannot show: it knows one piece in even air.
func TestRulesOfThumb(t *testing.T) {
	p := thinLinks()
	c := builtCabinet(t, "plywood-cabinet")
	room := quantity.Celsius(20)
	var trace Trace
	r, err := Rehearse(context.Background(), Setup{Product: p, Cabinet: c, Seed: 1, Ambient: &room}, &trace, nil)
	require.NoError(t, err)
	require.Equal(t, "complete", r.Outcome)
	stage := func(name string) StageResult {
		for _, s := range r.Stages {
			if s.Name == name {
				return s
			}
		}
		t.Fatalf("no stage %s", name)
		return StageResult{}
	}
	took := func(name string) time.Duration {
		s := stage(name)
		return time.Duration((s.EndSeconds - s.StartSeconds) * float64(time.Second))
	}
	core := float64(p.Targets.Core)

	t.Logf("surface activity after drying %.3f", activityAfter(t, p, "dry"))
	for _, s := range r.Stages {
		t.Logf("%-6s core at its end %.1f °C, took %v", s.Name, s.CoreEndCelsius, took(s.Name))
	}
	assert.Less(t, activityAfter(t, p, "dry"), 0.97, "an hour with the fan and without smoke dries the casing")
	assert.Less(t, stage("step").CoreEndCelsius, core, "two hours at 66 °C and two at 79 °C are not enough")
	assert.Greater(t, took("cook"), 3*time.Minute, "the last stage takes minutes")
	assert.Less(t, took("cook"), 2*time.Hour, "and no more than two hours")
	// 54.4 °C is where the lethality tables of FSIS Appendix A begin.
	assert.Less(t, stage("ice").CoreEndCelsius, 54.4, "ten minutes in ice water stop the cooking")
	last := trace.Samples[len(trace.Samples)-1]
	assert.InDelta(t, float64(room), last.Core, 4, "after two hours of bloom the links have come to the room")
	assert.InDelta(t, last.Surface, last.Core, 0.5)
}

// activityAfter reruns the batch up to the end of a stage and looks at the surface.
func activityAfter(t *testing.T, p *profile.Product, name string) float64 {
	room := quantity.Celsius(20)
	w, err := NewWorld(Setup{Product: p, Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1, Ambient: &room})
	require.NoError(t, err)
	m, err := controller.New(p, w.setup.Cabinet)
	require.NoError(t, err)
	var s controller.State
	command := controller.Command{Kind: controller.Start, Excused: true}
	for elapsed := time.Duration(0); elapsed < Longest; elapsed += Step {
		in := w.Sample(elapsed)
		in.Command = command
		next, out, events := m.Step(s, in)
		s = next
		for _, e := range events {
			if e.Kind == controller.StageEnded && p.Stages[e.Stage].Name == name {
				return w.Plant().SurfaceActivity()
			}
		}
		command = w.Answer(&s)
		w.Drive(out)
		w.Advance()
	}
	t.Fatal("the stage never ended")
	return 1
}
