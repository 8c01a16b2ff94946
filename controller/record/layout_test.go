package record

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
)

// What stands in records does not follow the program's own names: a field may be
// renamed, a new one kept and an old one given up between two programs. A batch that the
// older one recorded must replay with every decision the same, and one that it left under
// way must go on.
func TestRecordsOutliveTheFieldsOfTheProgram(t *testing.T) {
	ctx := context.Background()
	mood := uint64(7) // what only the older program kept
	change := func(f func(places []place) []place) *memory {
		m := newMemory()
		m.places = f(m.places)
		m.sort()
		return m
	}
	find := func(places []place, name string) int {
		i := slices.IndexFunc(places, func(p place) bool { return p.name == name })
		require.GreaterOrEqual(t, i, 0, name)
		return i
	}
	cases := map[string]struct {
		older            func() *memory
		renamed, retired map[string]string
		lost             []string
		why              string // the batch cannot go on
	}{
		"renamed": {
			older: func() *memory {
				return change(func(p []place) []place {
					p[find(p, "heater.walls_celsius")].name = "cabinet.warmth_celsius"
					for i := range 4 {
						p[find(p, numbered("core[].course.level_celsius", i))].name = numbered("middle[].level", i)
					}
					return p
				})
			},
			renamed: map[string]string{
				"state.cabinet.warmth_celsius": "state.heater.walls_celsius",
				"state.middle[].level":         "state.core[].course.level_celsius",
			},
		},
		"renamed and forgotten": {
			older: func() *memory {
				return change(func(p []place) []place {
					p[find(p, "heater.walls_celsius")].name = "cabinet.warmth_celsius"
					return p
				})
			},
			why: "the recorded state has a field cabinet.warmth_celsius and this program has none",
		},
		"added": {
			older: func() *memory {
				return change(func(p []place) []place {
					return slices.DeleteFunc(p, func(p place) bool { return p.name == "stage.clock" || p.name == "core[2].near_since" })
				})
			},
		},
		"given up": {
			older: func() *memory {
				return change(func(p []place) []place {
					l := leavesOf(&struct {
						Mood uint64 `record:"mood"`
					}{mood})
					return append(p, place{field: l[0].field, leaves: []*leaf{&l[0]}})
				})
			},
			retired: map[string]string{"state.mood": "nothing was decided by it"},
			lost:    []string{"mood"},
		},
	}
	for name, k := range cases {
		t.Run(name, func(t *testing.T) {
			was, gone := renamed, retired
			renamed, retired = k.renamed, k.retired
			defer func() { renamed, retired = was, gone }()
			dir := t.TempDir()
			r := open(t, options(dir))
			r.names, r.memory = k.older(), k.older()
			done := newTrial(t, r)
			done.state.Elapsed = 5
			if name != "renamed and forgotten" {
				done.begin().finish()
			}
			left := newTrial(t, r)
			left.state, left.elapsed = done.state, done.elapsed+1e9
			left.begin().run(30)
			shut(t, r)

			r = open(t, options(dir))
			if name != "renamed and forgotten" {
				result, err := r.Replay(ctx, done.id)
				require.NoError(t, err)
				assert.True(t, result.Same(), "%v %v", result.Decisions, result.State)
				assert.Equal(t, k.lost, result.Lost)
				assert.Equal(t, done.final, result.Final)
			}
			u, err := r.Unfinished(ctx, Moment{Wall: trialStart, ClockSet: true})
			require.NoError(t, err)
			require.NotNil(t, u)
			if k.why != "" {
				assert.False(t, u.Sound)
				assert.Contains(t, u.Why, k.why)
				shut(t, r)
				return
			}
			require.True(t, u.Sound, u.Why)
			assert.Equal(t, left.state, u.State)

			left.r, left.state, left.elapsed = r, u.State, u.State.Elapsed+30e9
			r.Resume(u, u.State)
			left.finish()
			shut(t, r)
			again := reader(t, dir)
			result, err := again.Replay(ctx, left.id)
			require.NoError(t, err)
			assert.True(t, result.Same(), "%v %v", result.Decisions, result.State)
			assert.Equal(t, left.final, result.Final)
			verdict, err := again.Verify(ctx, left.id)
			require.NoError(t, err)
			assert.True(t, verdict.Whole, verdict.Why)
		})
	}
}

// Every field that layout 1 had is kept today, under a name of its own, and is told by the
// name that it had then: so the states of its batches can be compared to the last bit. The
// few that were given up are zero but while a probe is silent or not believed.
func TestLayout1IsKept(t *testing.T) {
	m, err := memoryOf("step.In.Elapsed duration\n")
	require.NoError(t, err)
	assert.Equal(t, []string{
		"watch.chamber[0].gone", "watch.chamber[0].jumped", "watch.chamber[1].gone", "watch.chamber[1].jumped",
		"watch.core[0].gone", "watch.core[0].jumped", "watch.core[1].gone", "watch.core[1].jumped",
		"watch.core[2].gone", "watch.core[2].jumped", "watch.core[3].gone", "watch.core[3].jumped",
	}, m.lost)
	assert.Len(t, m.places, 539)
	var s controller.State
	s.Begun, s.Stage = true, 3
	s.Alarms[2].Raised = 7
	text := m.text(&s)
	assert.Equal(t, "Alarms[2].Raised=7\nBegun=true\nStage=3\n", string(text))
	back, err := m.parse(string(text) + "watch.out=5\nwatch.course[1].level=61.5\n")
	require.NoError(t, err)
	assert.Equal(t, "Alarms[2].Raised=7\nBegun=true\nStage=3\nwatch.course[1].level=61.5\nwatch.out=5\n", string(m.text(&back)))
	_, err = m.parse("watch.out=16\n")
	assert.ErrorContains(t, err, "field watch.out cannot hold 16")
}

// What stands in a record is a promise: a name that is missing here tomorrow, or means
// another kind, needs an entry in renamed or retired and a word in FORMAT.md.
func TestNamesAreDeclared(t *testing.T) {
	r := open(t, options(t.TempDir()))
	got := r.layout()
	shut(t, r)
	file := filepath.Join("testdata", "names-2.txt")
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}
