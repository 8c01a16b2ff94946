package store_test

import (
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

var loadBoards = flag.Int("load-boards", 20, "boards that post at once, in TestLoad")

// TestLoad lets many boards post one link after the other, each as soon as the one before was
// answered. It asserts no speed, but that all arrives; what it measured it says.
func TestLoad(t *testing.T) {
	links := recordtest.Links(t, 1)
	url := postgrestest.Fresh(t)
	s := opened(t, url)
	ids := make([]int, *loadBoards)
	for i := range ids {
		ids[i] = joined(t, s, fmt.Sprintf("cabinet %d", i))
	}
	var all sync.WaitGroup
	var longest, busy atomic.Int64
	began := time.Now()
	for _, id := range ids {
		all.Go(func() {
			for n := range links {
				asked := time.Now()
				for {
					_, err := s.Accept(ctx, id, links[n:n+1])
					if err == nil {
						break
					}
					if !errors.Is(err, store.ErrBusy) {
						assert.NoError(t, err)
						return
					}
					busy.Add(1)
					time.Sleep(time.Duration(5+rand.N(20)) * time.Millisecond)
				}
				for took := int64(time.Since(asked)); ; {
					if was := longest.Load(); was >= took || longest.CompareAndSwap(was, took) {
						break
					}
				}
			}
		})
	}
	all.Wait()
	took := time.Since(began)
	count := int64(len(ids) * len(links))
	whole(t, s, int64(len(ids)), count)
	c, err := pgx.Connect(ctx, url)
	require.NoError(t, err)
	defer c.Close(ctx)
	var bytes int64
	require.NoError(t, c.QueryRow(ctx, "SELECT sum(pg_total_relation_size(inhrelid)) FROM pg_inherits WHERE inhparent = 'link'::regclass").Scan(&bytes))
	t.Logf("%d boards, %d links with their headers in %v: %.0f links/s; longest wait of a link %v, %d told to come again; %d bytes a link with index and headers",
		len(ids), count, took.Round(time.Millisecond), float64(count)/took.Seconds(), time.Duration(longest.Load()).Round(time.Millisecond), busy.Load(), bytes/count)
}
