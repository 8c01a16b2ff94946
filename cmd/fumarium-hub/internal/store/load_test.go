package store_test

import (
	"bytes"
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium-hub/internal/desk"
	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/record"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

var (
	loadBoards = flag.Int("load-boards", 20, "boards that post at once, in TestLoad")
	loadLinks  = flag.Int("load-links", 1000, "most links of each")
	loadSync   = flag.Bool("load-sync", false, "the database syncs to disk, as it does outside of tests")
	loadHTTP   = flag.Bool("load-http", false, "boards post over HTTPS, each on a connection of its own that it keeps")
)

// TestLoad lets many boards post one link after the other, each as soon as the one before was
// answered. It asserts no speed, but that all arrives; what it measured it says.
func TestLoad(t *testing.T) {
	links := recordtest.Links(t, 1)
	links = links[:min(len(links), *loadLinks)]
	url := ""
	if *loadSync {
		server := postgrestest.Begin(t, "", "fsync=on")
		t.Cleanup(server.End)
		url = server.URL("postgres")
	} else {
		url = postgrestest.Fresh(t)
	}
	s := opened(t, url)
	ids := make([]int, *loadBoards)
	keys := make([]string, *loadBoards)
	for i := range ids {
		code, err := s.Code(ctx, fmt.Sprintf("cabinet %d", i), "simulated", false)
		require.NoError(t, err)
		_, _, keys[i], err = s.Join(ctx, code)
		require.NoError(t, err)
		ids[i], _, err = s.Known(ctx, keys[i])
		require.NoError(t, err)
	}
	accept := func(i int, links []record.Link) error {
		_, err := s.Accept(ctx, ids[i], links)
		return err
	}
	if *loadHTTP {
		hub := httptest.NewTLSServer(desk.New(s, t.TempDir(), true, slog.New(slog.DiscardHandler)).Handler())
		t.Cleanup(hub.Close)
		clients := make([]*http.Client, *loadBoards)
		for i := range clients {
			clients[i] = &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, MaxIdleConnsPerHost: 1}}
		}
		accept = func(i int, links []record.Link) error {
			var body bytes.Buffer
			if err := record.WriteLinks(&body, links); err != nil {
				return err
			}
			r, err := http.NewRequest(http.MethodPost, hub.URL+"/v1/links", &body)
			if err != nil {
				return err
			}
			r.Header.Set("Authorization", "Bearer "+keys[i])
			answer, err := clients[i].Do(r)
			if err != nil {
				return err
			}
			defer answer.Body.Close()
			text, _ := io.ReadAll(answer.Body)
			switch answer.StatusCode {
			case http.StatusOK:
				return nil
			case http.StatusServiceUnavailable:
				return store.ErrBusy
			}
			return errors.New(string(text))
		}
	}
	var all sync.WaitGroup
	var busy atomic.Int64
	began := time.Now()
	var mu sync.Mutex
	var waits, ends []time.Duration
	for i := range ids {
		all.Go(func() {
			for n := range links {
				asked := time.Now()
				for {
					err := accept(i, links[n:n+1])
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
				mu.Lock()
				waits = append(waits, time.Since(asked))
				mu.Unlock()
			}
			mu.Lock()
			ends = append(ends, time.Since(began))
			mu.Unlock()
		})
	}
	all.Wait()
	took := time.Since(began)
	count := int64(len(ids) * len(links))
	whole(t, s, int64(len(ids)), count)
	c, err := pgx.Connect(ctx, url)
	require.NoError(t, err)
	defer c.Close(ctx)
	var size int64
	require.NoError(t, c.QueryRow(ctx, "SELECT sum(pg_total_relation_size(inhrelid)) FROM pg_inherits WHERE inhparent = 'link'::regclass").Scan(&size))
	slices.Sort(waits)
	slices.Sort(ends)
	t.Logf("%d boards, %d links with their headers in %v: %.0f links/s; a link waits %v, one of a hundred %v, the longest %v; %d told to come again; the first board was done after %v, the last after %v; %d bytes a link with index and headers; synced %v, HTTPS %v",
		len(ids), count, took.Round(time.Millisecond), float64(count)/took.Seconds(), waits[len(waits)/2].Round(time.Millisecond), waits[len(waits)*99/100].Round(time.Millisecond), waits[len(waits)-1].Round(time.Millisecond), busy.Load(),
		ends[0].Round(time.Millisecond), ends[len(ends)-1].Round(time.Millisecond), size/count, *loadSync, *loadHTTP)
}
