package main

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two hundred event streams, and some that are not read, delay no step of a daemon that
// heats; the person at it is answered meanwhile, and it ends at once.
func TestStreamsDoNotDelayTheStep(t *testing.T) {
	t.Parallel()
	const streams, stalled = 200, 10
	o := newOutside(t, false, 40, 8)
	d := launchDaemon(t, t.TempDir(), o.env(), "--cabinet", file(t, "outside.yaml", outsideCabinet))
	d.answers()
	d.steps()
	status, _, said := d.client("start", file(t, "product.yaml", quick(t)), "--reason", "test")
	require.Equal(t, exitGood, status, said)
	before := d.numbers()

	ctx, leave := context.WithCancel(t.Context())
	defer leave()
	c := &crowd{address: strings.TrimPrefix(d.url, "http://")}
	for range stalled {
		conn, err := c.dial(ctx)
		require.NoError(t, err)
		defer conn.Close()
		_, err = io.WriteString(conn, "GET /api/events HTTP/1.1\r\nHost: localhost\r\n\r\n")
		require.NoError(t, err)
	}
	var heard, ended atomic.Int64
	var work sync.WaitGroup
	for range streams {
		work.Go(func() {
			defer ended.Add(1)
			r, err := http.NewRequestWithContext(ctx, http.MethodGet, d.url+"/api/events", nil)
			if err != nil {
				return
			}
			answer, err := (&http.Transport{}).RoundTrip(r)
			if err != nil {
				return
			}
			defer answer.Body.Close()
			lines := bufio.NewScanner(answer.Body)
			lines.Buffer(nil, 1<<20)
			for lines.Scan() {
				if strings.HasPrefix(lines.Text(), "data: {") {
					heard.Add(1)
				}
			}
		})
	}
	const lasts = 18 * time.Second // a reader that takes nothing has ten
	time.Sleep(lasts)
	assert.Zero(t, ended.Load(), "a stream was dropped")
	began := time.Now()
	status, _, said = d.client("hold")
	require.Equal(t, exitGood, status, said)
	took := time.Since(began)
	after := d.numbers()
	of := func(name string) float64 { return after[name] - before[name] }
	t.Logf("%d streams heard %d statuses in %v; %.0f steps, late %.0f, delayed by up to %s s; %.0f stalled; hold took %v; resident at most %d MB",
		streams, heard.Load(), lasts, of("fumarium_step_delay_seconds_count"), of("fumarium_steps_late_total"),
		highest(before, after, "fumarium_step_delay_seconds_bucket"), of(`fumarium_connections_ended_total{why="stalled"}`), took.Round(time.Millisecond), d.peak())
	assert.Zero(t, of("fumarium_steps_late_total"))
	assert.EqualValues(t, stalled, of(`fumarium_connections_ended_total{why="stalled"}`))
	assert.Greater(t, heard.Load(), int64(streams*10))
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
	work.Wait()
}
