package sim

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/profile"
)

// peaks is by how much the true air of each stage, as its mean over a minute, passed what
// the setpoint was at that moment; what is taken over from a hotter stage counts once it
// has cooled.
func peaks(t *testing.T, m *controller.Machine, s Setup) (over []float64) {
	w, err := NewWorld(s)
	require.NoError(t, err)
	rest, _ := s.Product.Rest()
	w.Order(controller.Command{Kind: controller.Start, Rested: rest})
	over = make([]float64, len(s.Product.Stages))
	var state controller.State
	var minute [60]float64
	sum, n, ceiling := 0.0, 0, 0.0
	require.NoError(t, Run(context.Background(), m, &state, w, func(o *Moment) bool {
		air := float64(w.plant.At(OnProbe)) // what control can know of
		sum += air - minute[n%60]
		minute[n%60] = air
		n++
		stage := state.CurrentStage(s.Product)
		if stage == nil || stage.Place != profile.Chamber || o.Now > 12*time.Hour {
			return false
		}
		if mean := sum / 60; n >= 60 && state.Heater.HasSetpoint {
			setpoint := float64(state.Heater.Setpoint)
			if n == 60 {
				ceiling = mean
			}
			ceiling = max(setpoint, min(ceiling, mean))
			over[state.Stage] = max(over[state.Stage], mean-ceiling)
		}
		return true
	}))
	return over
}

// However long a person takes to close the damper, the air does not shoot over, nor in a
// stage that is cooler than its smoke.
func TestNoAnswerIsTooLate(t *testing.T) {
	long(t)
	answers := []time.Duration{time.Second, time.Minute, 2 * time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour}
	for _, name := range []string{"plywood-cabinet", "fridge-body", "masonry-walk-in", "steel-box"} {
		c := builtCabinet(t, name)
		for _, key := range []string{"dill-trout-sides", "hayloft-chicken"} {
			p := product(t, key)
			m, err := controller.New(p, c)
			require.NoError(t, err)
			s := Setup{Product: p, Cabinet: c, Seed: 1, Load: 3}
			if name == "steel-box" {
				s.Load = 1
			}
			rows := map[bool][]float64{}
			for _, answer := range answers {
				s.Answer = answer
				worst := map[bool]float64{}
				for i, over := range peaks(t, m, s) {
					fan := c.Fan.Fitted && p.Stages[i].Fan > 0
					worst[fan] = max(worst[fan], over)
				}
				for fan, over := range worst {
					rows[fan] = append(rows[fan], math.Round(10*over)/10)
				}
				assert.LessOrEqual(t, worst[true], 2.0, "%s, %s, with a fan, after %v", name, key, answer)
				assert.LessOrEqual(t, worst[false], 5.0, "%s, %s, without, after %v", name, key, answer)
			}
			t.Logf("%-16s %-16s K over after %v: with a fan %v, without %v", name, key, answers, rows[true], rows[false])
		}
	}
}

// A fan that stops by itself makes the film at the walls worse, and the element gives off
// what still air does not take.
func TestAFanThatStopsDoesNotShootOver(t *testing.T) {
	p := *product(t, "marjoram-ring")
	p.Stages = append(p.Stages[:0:0], p.Stages[:2]...)
	for i := range p.Stages {
		stage := &p.Stages[i]
		stage.Ask, stage.Smoke, stage.ChamberSetpoint, stage.Ramp, stage.Damper, stage.Until = "", false, 60, 0, 0, p.Stages[1].Until
	}
	for _, name := range []string{"plywood-cabinet", "fridge-body", "masonry-walk-in"} {
		c := builtCabinet(t, name)
		m, err := controller.New(&p, c)
		require.NoError(t, err)
		over := peaks(t, m, Setup{Product: &p, Cabinet: c, Seed: 1, Answer: Brisk})
		t.Logf("%-16s %.1f K over with the fan, %.1f after it has stopped", name, over[0], over[1])
		assert.LessOrEqual(t, over[0], 2.0, name)
		assert.LessOrEqual(t, over[1], 5.0, name)
	}
}
