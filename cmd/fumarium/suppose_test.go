package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

// supposes asks what would be of a batch in the middle of its cook, and holds the answers
// against what does happen to a copy of it.
func supposes(t *testing.T, f *forecaster, s *snapshot.Snapshot, m *controller.Machine, w *sim.World) {
	t.Helper()
	s.Bounds = m.Bounds(&s.State)
	state := s.State
	ends := func(change func(*sim.World)) time.Duration { // of the cook
		world, copied := w.Copy(), state
		change(world)
		ended := time.Duration(0)
		require.NoError(t, sim.Run(t.Context(), m, &copied, world, func(now *sim.Moment) bool {
			ended = now.Now
			return copied.Stage == s.State.Stage
		}))
		return ended
	}
	ask := func(what web.Supposition) *web.Supposed {
		t.Helper()
		e, err := f.Suppose(t.Context(), s, what)
		require.NoError(t, err)
		assert.Equal(t, "cook", e.Stage)
		return e
	}
	hotter := s.Bounds.Chamber.Now + 8
	plain := ends(func(*sim.World) {})
	sooner := plain - ends(func(w *sim.World) {
		w.Order(controller.Command{Kind: controller.Adjust, Question: s.Bounds.Stage, Excused: true, Bend: controller.Bend{Parts: controller.BentChamber, Chamber: hotter}})
	})
	require.Greater(t, sooner, 2*time.Minute)
	e := ask(web.Supposition{Chamber: &hotter})
	assert.Equal(t, "chamber "+hotter.String(), e.Change)
	assert.InDelta(t, sooner.Minutes(), e.Now.Middle.Sub(e.Then.Middle).Minutes(), 0.6*sooner.Minutes(), "sooner by so many minutes")
	assert.WithinDuration(t, f.Of("b").Ends[2].Middle, e.Now.Middle, time.Minute, "beside the present forecast")

	late, soon := e.Now.Latest.Add(time.Minute), e.Now.Latest.Add(-3*time.Minute)
	e = ask(web.Supposition{Ready: late})
	assert.True(t, *e.Reached)
	assert.InDelta(t, float64(s.Bounds.Chamber.Now), *e.Chamber, 1e-9, "nothing must change")
	e = ask(web.Supposition{Ready: soon})
	assert.Greater(t, *e.Chamber, float64(s.Bounds.Chamber.Now))
	assert.LessOrEqual(t, *e.Chamber, float64(s.Bounds.Chamber.File+lever))
	assert.True(t, e.Then.Latest.Before(e.Now.Latest))
	open := quantity.Ratio(1)
	if e, err := f.Suppose(t.Context(), s, web.Supposition{Damper: &open, Room: -20}); err != nil {
		assert.ErrorContains(t, err, "no rehearsal comes to its end then")
	} else {
		assert.False(t, e.Then.Middle.Before(e.Now.Middle), "no sooner with an open damper in the cold")
	}
	_, err := f.Suppose(t.Context(), &snapshot.Snapshot{BatchID: "another"}, web.Supposition{Room: -1})
	assert.ErrorContains(t, err, "being rehearsed")
}
