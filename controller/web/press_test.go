package web_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/chart"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
)

// However many read, each thing is rendered once a step, and all of them get the same.
func TestEachThingIsRenderedOnceAStep(t *testing.T) {
	l := accepting(cooking())
	var gathered atomic.Int32
	h := configured(l, func(c *web.Config) {
		c.Metrics = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			gathered.Add(1)
			assert.Empty(t, r.Header, "a reader's wish for a format would be everybody's")
			_, _ = w.Write([]byte("fumarium_build_info 1\n"))
		})
	})
	paths := []string{"/", "/chart.svg", "/chart.svg?width=970", "/chart.svg?width=1039", "/chart.svg?width=800", "/api/status", "/metrics"}
	for step := 1; step <= 3; step++ {
		var mu sync.Mutex
		got := map[string]string{}
		var readers sync.WaitGroup
		for range 40 {
			for _, path := range paths {
				readers.Go(func() {
					w := ask(h, http.MethodGet, path, "", header("Accept-Encoding", "gzip"))
					mu.Lock()
					defer mu.Unlock()
					assert.Equal(t, http.StatusOK, w.Code)
					assert.Equal(t, fmt.Sprint(w.Body.Len()), w.Header().Get("Content-Length"))
					if was, ok := got[path]; ok {
						assert.Equal(t, was, w.Body.String(), path)
					}
					got[path] = w.Body.String()
				})
			}
		}
		readers.Wait()
		charts, texts := web.Rendered(h)
		assert.Equal(t, 2*step, charts, "one of 960 pixels and one of 800")
		assert.Equal(t, 3*step, texts, "page, status and metrics")
		assert.Equal(t, int32(step), gathered.Load())
		assert.Equal(t, got["/chart.svg"], got["/chart.svg?width=1039"])
		assert.NotEqual(t, got["/chart.svg"], got["/chart.svg?width=800"])
		next := cooking()
		next.State.Elapsed += time.Duration(step) * time.Second
		l.put(next)
	}
}

// No row of widths can ask for more than a few dozen charts, and each is no wider than
// what was asked for.
func TestWidthsShareCharts(t *testing.T) {
	l := accepting(cooking())
	h := handler(l)
	for wide := chart.MinWidthPixels; wide <= chart.MaxWidthPixels; wide += 47 {
		w := ask(h, http.MethodGet, fmt.Sprintf("/chart.svg?width=%d", wide), "")
		require.Equal(t, http.StatusOK, w.Code)
		_, size, _ := strings.Cut(w.Body.String(), ` width="`)
		var drawn int
		_, err := fmt.Sscanf(size, "%d", &drawn)
		require.NoError(t, err, "%.200s", w.Body)
		assert.LessOrEqual(t, drawn, wide)
		assert.Greater(t, drawn, wide-80)
	}
	charts, _ := web.Rendered(h)
	assert.Equal(t, 48, charts)
}

// The bytes are of the step, but its age is of the moment: a loop that has stopped must
// not look young.
func TestAStatusGrowsOld(t *testing.T) {
	now := noon
	l := accepting(cooking())
	var gathered int
	h := configured(l, func(c *web.Config) {
		c.Now = func() time.Time { return now }
		c.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { gathered++ })
	})
	for _, age := range []time.Duration{0, 300 * time.Millisecond, 999 * time.Millisecond, 7 * time.Second, time.Hour + 25*time.Microsecond} {
		now = noon.Add(age)
		w := ask(h, http.MethodGet, "/api/status", "")
		var s web.Status
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &s), w.Body)
		require.NotNil(t, s.AgeSeconds)
		assert.Equal(t, age.Seconds(), *s.AgeSeconds)
		assert.NotNil(t, s.Plan)
		s.Plan = nil // which the server adds
		assert.Equal(t, web.NewStatus(l.Snapshot(), now), s)
		ask(h, http.MethodGet, "/metrics", "")
	}
	_, texts := web.Rendered(h)
	assert.Equal(t, 6, texts, "status and metrics, three times")
	assert.Equal(t, 3, gathered, "what is of the process goes on, without a step as well")
}

// hasty is a loop that has made another step whenever somebody looks.
type hasty struct{ *loop }

func (hasty) Snapshot() *snapshot.Snapshot { return cooking() }

// Where steps come faster than renderings, those who wait share one that was begun after
// they came.
func TestThoseWhoWaitShareARendering(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began, may := make(chan struct{}, 1), make(chan struct{})
		h := web.New(web.Config{Loop: hasty{accepting(nil)}, Metrics: http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
			began <- struct{}{}
			<-may
		})})
		var readers sync.WaitGroup
		readers.Go(func() { ask(h, http.MethodGet, "/metrics", "") })
		<-began
		for range 30 {
			readers.Go(func() { ask(h, http.MethodGet, "/metrics", "") })
		}
		synctest.Wait()
		close(may)
		<-began
		readers.Wait()
		_, texts := web.Rendered(h)
		assert.Equal(t, 2, texts, "what was under way when they came is too old for them")
	})
}

// Who is sent away while he waits for a rendering does not stay behind, with a request
// that nobody will read the answer of.
func TestWhoLeavesWaitsNoLonger(t *testing.T) {
	var h http.Handler
	var asking, most atomic.Int32
	counted := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asking.Add(1)
		defer asking.Add(-1)
		h.ServeHTTP(w, r)
	})
	gated(t, counted, func(g *web.Gate) { g.Narrow(3, 0, 0) }, func(t *testing.T, g *web.Gate, p pipes) {
		may := make(chan struct{})
		h = configured(accepting(cooking()), func(c *web.Config) { // of this bubble, as its channels are
			c.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-may })
		})
		for range 50 {
			conn := p.come(elsewhere)
			// With the beginning of another request, net/http does not see that it was closed.
			go func() {
				_, _ = io.WriteString(conn, "GET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n")
				_, _ = io.WriteString(conn, "G")
			}()
			synctest.Wait()
			most.Store(max(most.Load(), asking.Load()))
		}
		assert.Equal(t, web.Crowd{Open: 3, Dropped: 47}, g.Crowd())
		close(may)
	})
	assert.LessOrEqual(t, most.Load(), int32(4), "three that are here, and the one whose rendering is under way")
}
