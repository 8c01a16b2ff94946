package main

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
)

// switching is a snapshot in which the heater has closed so often since the daemon began.
func switching(n int) *snapshot.Snapshot {
	s := &snapshot.Snapshot{}
	s.History.Begin("", nil, 0)
	var state controller.State
	for i := range 2 * n {
		out := controller.Outputs{}
		out.On.Set(controller.Heater, i%2 == 0)
		s.History.Add(time.Time{}, time.Duration(i)*time.Second, &state, out, nil)
	}
	return s
}

// The count outlives the daemon, starts anew when its file is deleted, and is said by doctor.
func TestTheRelaysWearIsCounted(t *testing.T) {
	dir := t.TempDir()
	c, err := cabinet.Parse("x.yaml", []byte(outsideCabinet))
	require.NoError(t, err)
	c.Heater.RatedCycles = 1000
	run := func(n int) float64 {
		w := newWear(dir, c, slog.New(slog.DiscardHandler))
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		w.Run(ctx, func() *snapshot.Snapshot { return switching(n) })
		ratio, known := w.Ratio()
		assert.True(t, known)
		return ratio
	}
	assert.InDelta(t, 0.3, run(300), 1e-9)
	assert.InDelta(t, 0.95, run(650), 1e-9)
	found := wearFind(dir, c)
	require.Len(t, found, 1)
	assert.False(t, found[0].Good)
	assert.Contains(t, found[0].Note, "closed 950 times of the 1000")
	require.NoError(t, os.Remove(filepath.Join(dir, wearFile)))
	assert.InDelta(t, 0.005, run(5), 1e-9)
	assert.True(t, wearFind(dir, c)[0].Good)

	require.NoError(t, os.WriteFile(filepath.Join(dir, wearFile), []byte("{"), 0o600))
	assert.Contains(t, wearFind(dir, c)[0].Note, "delete it")
	c.Heater.RatedCycles = 0
	_, known := newWear(dir, c, slog.New(slog.DiscardHandler)).Ratio()
	assert.False(t, known, "what nobody has said is not known")
}
