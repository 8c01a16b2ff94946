package web_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/chart"
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
		assert.Equal(t, web.NewStatus(l.Snapshot(), now), s)
		ask(h, http.MethodGet, "/metrics", "")
	}
	_, texts := web.Rendered(h)
	assert.Equal(t, 6, texts, "status and metrics, three times")
	assert.Equal(t, 3, gathered, "what is of the process goes on, without a step as well")
}
