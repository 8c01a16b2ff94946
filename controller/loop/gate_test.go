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
	"fumarium/profile"
	"fumarium/profile/source"
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

// What check says of the product is held against a start before the controller sees it: an
// error whatever is said, advice until there is a reason. All there is stands in the answer.
func TestTheGateHoldsTheProduct(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var found source.Findings
		w := newWitnessed()
		w.chamber = -9
		r := &reasons{witnessed: w}
		l, end := gated(t, r, func(c *Config) {
			c.Judge = func(p *profile.Product, f record.File) source.Findings {
				assert.Equal(t, "test links", p.Name)
				assert.Equal(t, "links.yaml", f.Name)
				return found
			}
		})
		pass(3 * time.Minute)
		request := snapshot.Request{Command: controller.Command{Kind: controller.Start}, Product: testProduct(), ProductName: "links.yaml"}
		do := func(reason string) snapshot.Reply {
			request.Reason, request.Command.Excused = reason, reason != ""
			reply, err := l.Do(t.Context(), request)
			require.NoError(t, err)
			return reply
		}
		advice := source.Finding{Severity: source.Warning, Code: "jump", Message: "it jumps", Remedy: "ramp it", Excerpt: "a line"}
		poison := source.Finding{Severity: source.Error, Code: "nitrite-high", Message: "it is poison", Remedy: "weigh less"}

		found = source.Findings{advice, poison}
		for _, reason := range []string{"", "grandmother's recipe"} {
			reply := do(reason)
			assert.False(t, reply.Accepted)
			assert.False(t, reply.Excusable)
			assert.Equal(t, forbidden, reply.Why)
			require.Len(t, reply.Findings, 3)
			assert.Equal(t, "error: nitrite-high: it is poison; weigh less", reply.Findings[1])
		}
		found = source.Findings{advice}
		reply := do("")
		assert.Equal(t, advised, reply.Why)
		assert.True(t, reply.Excusable)
		require.Len(t, reply.Findings, 2, "and the probe")
		assert.Equal(t, "advice: jump: it jumps; ramp it", reply.Findings[0])
		assert.Empty(t, r.given, "the controller was not asked")

		reply = do("a trial")
		assert.True(t, reply.Accepted)
		assert.Len(t, reply.Findings, 2)
		assert.Equal(t, controller.NotInThisState.String(), do("").Why, "what the state says comes first")
		require.NoError(t, end())
		assert.Contains(t, r.given[0], "a trial (despite: advice: jump: it jumps; ramp it; probe")
	})
}

// The end of a batch is told once, with what can be said of it.
func TestTheEndIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var endings []string
		w := newWitnessed()
		l, end := gated(t, &reasons{witnessed: w}, func(c *Config) {
			c.Ended = func(batch string, s *snapshot.Snapshot) {
				good, text, known := s.Ending()
				assert.True(t, known)
				assert.False(t, good)
				endings = append(endings, batch+" "+text)
			}
		})
		start(t, l)
		pass(time.Minute)
		_, _, known := l.Snapshot().Ending()
		assert.False(t, known, "it is under way")
		_, err := l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Stop}})
		require.NoError(t, err)
		pass(time.Minute)
		require.NoError(t, end())
		require.Len(t, endings, 1)
		assert.Contains(t, endings[0], "2026-11-25-1 stopped, not good")
	})
}

// gated runs a loop with a record in a cabinet with a tolerance.
func gated(t *testing.T, r *reasons, with func(*Config)) (l *Loop, end func() error) {
	c := testCabinet()
	c.Probes = []cabinet.Probe{{Name: "air", Role: cabinet.ChamberProbe, Error: 2.5, HasError: true}, {Name: "core", Role: cabinet.CoreProbe, Error: 2.5, HasError: true}}
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
