package loop

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
)

// A keeper that remembers the reasons it was given.
type reasons struct {
	*witnessed
	given []string
}

func (r *reasons) Step(m record.Moment, in *controller.Inputs, out controller.Outputs, events []controller.Event, s *controller.State, by record.By) record.Receipt {
	if in.Command.Kind == controller.Start {
		r.given = append(r.given, by.Reason)
	}
	return r.witnessed.Step(m, in, out, events, s, by)
}

// A start with a probe that cannot be right is refused with what is wrong; with a reason it
// goes on the record, both of them.
func TestAStartThatNeedsAReason(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWitnessed()
		w.chamber = -9
		r := &reasons{witnessed: w}
		l, end := gated(t, r, nil)
		pass(3 * time.Minute)
		request := snapshot.Request{Command: controller.Command{Kind: controller.Start}, Product: testProduct()}
		reply, err := l.Do(t.Context(), request)
		require.NoError(t, err)
		assert.False(t, reply.Accepted)
		assert.True(t, reply.Excusable)
		assert.Equal(t, controller.ProbesDoubted.String(), reply.Why)
		require.Len(t, reply.Findings, 1)
		assert.Contains(t, reply.Findings[0], `probe "air" reads -9 °C`)

		request.Reason, request.Command.Excused = "it is winter", true
		reply, err = l.Do(t.Context(), request)
		require.NoError(t, err)
		assert.True(t, reply.Accepted)
		assert.Len(t, reply.Findings, 1)
		require.NoError(t, end())
		require.Len(t, r.given, 2)
		assert.Contains(t, r.given[1], `it is winter (despite: probe "air" reads -9 °C`)
		said := l.Snapshot().History.Events()
		assert.True(t, slices.ContainsFunc(said, func(e history.Event) bool {
			return strings.HasPrefix(e.Text(), "started all the same, because: it is winter (despite: probe")
		}))
	})
}

// gated runs a loop with a record in a cabinet with a tolerance.
func gated(t *testing.T, r *reasons, with func(*Config)) (l *Loop, end func() error) {
	c := testCabinet()
	c.Probes = []cabinet.Probe{{Name: "air", Role: cabinet.ChamberProbe, Tolerance: 2.5}, {Name: "core", Role: cabinet.CoreProbe, Tolerance: 2.5}}
	cfg := Config{World: r, Cabinet: c, Log: slog.New(slog.DiscardHandler), Record: r}
	if with != nil {
		with(&cfg)
	}
	l, err := New(cfg)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- l.Run(ctx) }()
	synctest.Wait()
	return l, func() error {
		cancel()
		return <-ended
	}
}
