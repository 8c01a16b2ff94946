package sim_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile/catalog"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// Probes that are wrong from the start, in every shipped cabinet: each is named before
// anything heats, and only a reason starts the batch. What wanders off only later, and a
// probe that hangs in a room as warm as the cabinet at rest, cannot show here.
func TestWrongProbesAreNamedBeforeTheStart(t *testing.T) {
	p, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	cabinets, err := shipped.All()
	require.NoError(t, err)
	require.Len(t, cabinets, 4)
	for _, c := range cabinets {
		for spec, says := range map[string]string{
			"chamber1-offset@0s=-20K": "no chamber cools below", "chamber1-offset@0s=-30K": "no chamber cools below",
			"chamber1-offset@0s=-4K": "in ice water", "core1-offset@0s=-5K": "in ice water",
			// Type E gives about 60 µV/K around room temperature and N about 26 where K gives
			// 40 (IEC 60584-1, see sensors/thermocouple): right at rest, wrong in ice.
			"core1-wire@0s=E": "in ice water", "chamber1-wire@0s=N": "in ice water",
			"chamber1-drift@0s=-20K/h": "", "chamber1-outside@0s": "",
		} {
			f, err := fault.Parse(spec)
			require.NoError(t, err)
			setup := sim.Setup{Product: p.Value, Cabinet: c.Value, Seed: 1, Faults: []fault.Fault{f}, Examine: true}
			w, err := sim.NewWorld(setup)
			require.NoError(t, err)
			m, err := controller.New(p.Value, c.Value)
			require.NoError(t, err)
			s := sim.Examine(m, w)
			var said []string
			for _, d := range controller.Doubts(c.Value, &s) {
				said = append(said, d.Text(c.Value))
			}
			if says == "" {
				assert.Empty(t, said, "%s, %s", c.Value.Name, spec)
				continue
			}
			assert.Contains(t, strings.Join(said, "\n"), says, "%s, %s", c.Value.Name, spec)

			r, err := sim.Rehearse(context.Background(), setup, nil, nil)
			require.NoError(t, err)
			assert.Equal(t, "idle", r.Outcome, "%s, %s", c.Value.Name, spec)
			assert.Equal(t, said, r.Doubts)
			assert.Contains(t, r.Reason, controller.ProbesDoubted.String())
			assert.Zero(t, r.EnergyJoules)
		}
	}
}

// With a reason it starts, and what spoke against it stands in the result.
func TestAReasonStartsWithADoubtedProbe(t *testing.T) {
	p, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	f, err := fault.Parse("core1-offset@0s=-4K")
	require.NoError(t, err)
	r, err := sim.Rehearse(context.Background(), sim.Setup{
		Product: p.Value, Cabinet: c.Value, Seed: 1, Faults: []fault.Fault{f}, Examine: true, Excused: true,
	}, nil, nil)
	require.NoError(t, err)
	assert.NotEqual(t, "idle", r.Outcome)
	assert.Len(t, r.Doubts, 1)
	assert.False(t, *r.Lethality.Pass)
	assert.Contains(t, r.Verdict[proof.Cooked].Why, "wrong in ice water")
	assert.False(t, r.Good())
}

// What a rehearsal's cores show counts once they were right in ice water, or their file has a
// day of calibration. In a room as cold as the ice a wrong wire would not show there.
func TestARehearsalShowsItsCores(t *testing.T) {
	p, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	c, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	dated := *c.Value
	dated.Probes = slices.Clone(c.Value.Probes)
	for i := range dated.Probes {
		dated.Probes[i].HasError, dated.Probes[i].Calibrated = true, time.Date(2026, 10, 3, 0, 0, 0, 0, time.UTC)
	}
	warm, cold := quantity.Celsius(15), quantity.Celsius(1)
	for name, k := range map[string]struct {
		box  *cabinet.Cabinet
		room quantity.Celsius
		want proof.Answer
	}{"right in ice": {c.Value, warm, proof.Met}, "in a cold room": {c.Value, cold, proof.NotShown}, "calibrated": {&dated, cold, proof.Met}} {
		r, err := sim.Rehearse(context.Background(), sim.Setup{Product: p.Value, Cabinet: k.box, Ambient: &k.room, Seed: 1, Examine: true}, nil, nil)
		require.NoError(t, err)
		assert.Equal(t, "complete", r.Outcome, name)
		assert.Equal(t, k.want, r.Verdict[proof.Cooked].Answer, "%s: %s", name, r.Verdict[proof.Cooked].Why)
	}
}
