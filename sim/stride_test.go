package sim

import (
	"context"
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/catalog"
)

// everySecond is a rehearsal in which someone watches, so that no second is strided over.
func everySecond(t testing.TB, s Setup) (*Result, int) {
	steps := 0
	r, err := Watch(context.Background(), s, func(*Moment) { steps++ })
	require.NoError(t, err)
	return r, steps
}

// Where nothing may be strided over, the rehearsal is the live stepping to the last byte:
// batches that end with the heat, and those in which something may go wrong.
func TestWithoutARoomARehearsalIsTheLiveStepping(t *testing.T) {
	heated := *product(t, "marjoram-ring")
	heated.Stages = heated.Stages[:3]
	faulted := faulty(t, "core-open@2h+1m")
	for name, s := range map[string]Setup{
		"heated":     {Product: &heated, Cabinet: builtCabinet(t, "fridge-body"), Seed: 5},
		"ice water":  {Product: func() *profile.Product { p := heated; p.Stages = product(t, "marjoram-ring").Stages[:4]; return &p }(), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 5},
		"with fault": faulted,
	} {
		live, _ := everySecond(t, s)
		a, err := json.Marshal(live)
		require.NoError(t, err)
		b, err := json.Marshal(rehearse(t, s))
		require.NoError(t, err)
		assert.Equal(t, string(a), string(b), name)
	}
}

// By how much a rehearsal that strides is off from one of every second: each stage that
// is strided over ends a few seconds late, and the meat is where it was.
func TestWhatStridesCost(t *testing.T) {
	long(t)
	entries, err := catalog.All()
	require.NoError(t, err)
	worst := map[string]float64{}
	off := func(what string, a, b, most float64) {
		d := math.Abs(a - b)
		worst[what] = max(worst[what], d)
		assert.LessOrEqual(t, d, most, what)
	}
	for _, e := range entries {
		s := Setup{Product: e.Value, Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1}
		live, _ := everySecond(t, s)
		r := rehearse(t, s)
		late := 0.0
		for i := range e.Value.Stages {
			if e.Value.Stages[i].Place != profile.Chamber {
				late += Stride.Seconds() - 1
			}
		}
		off("finish, s", live.ElapsedSeconds, r.ElapsedSeconds, late)
		off("yield, %", *live.YieldPercent, *r.YieldPercent, 0.01)
		off("core at the end, K", live.Core.FinalCelsius, r.Core.FinalCelsius, 0.01)
		off("energy, share", live.EnergyJoules, r.EnergyJoules, 0)
		assert.Equal(t, live.Lethality, r.Lethality, e.Key)
		assert.Equal(t, live.ComeUp, r.ComeUp, e.Key)
		assert.Equal(t, live.Chill, r.Chill, e.Key)
		assert.Equal(t, live.Control, r.Control, e.Key)
		require.Len(t, r.Stages, len(live.Stages), e.Key)
		for i := range r.Stages {
			off("core at the end of a stage, K", live.Stages[i].CoreEndCelsius, r.Stages[i].CoreEndCelsius, 0.02)
		}
	}
	t.Log(worst)
}

// Run goes on where it was, whoever looks away in between, and a copy goes its own way.
func TestRunGoesOn(t *testing.T) {
	setup := Setup{Product: product(t, "caraway-sticks"), Cabinet: builtCabinet(t, "fridge-body"), Seed: 2}
	m, err := controller.New(setup.Product, setup.Cabinet)
	require.NoError(t, err)
	begin := func() (*World, *controller.State) {
		w, err := NewWorld(setup)
		require.NoError(t, err)
		w.Order(controller.Command{Kind: controller.Start, Excused: true})
		return w, &controller.State{}
	}
	until := func(w *World, s *controller.State, d time.Duration) {
		require.NoError(t, Run(t.Context(), m, s, w, func(m *Moment) bool { return m.Now < d }))
	}
	w, whole := begin()
	until(w, whole, 3*time.Hour)
	w, parts := begin()
	until(w, parts, 47*time.Minute)
	fork, other := w.Copy(), *parts
	until(w, parts, 3*time.Hour)
	assert.Equal(t, *whole, *parts)
	until(fork, &other, 3*time.Hour)
	assert.Equal(t, *whole, other, "a copy comes to the same")
	assert.NotSame(t, w.Built(), fork.Built())

	// A state that comes into another world goes on with the next second.
	fresh, err := NewWorld(setup)
	require.NoError(t, err)
	require.NoError(t, Run(t.Context(), m, whole, fresh, func(m *Moment) bool {
		assert.Equal(t, 3*time.Hour+Step, m.Now)
		return false
	}))
}
