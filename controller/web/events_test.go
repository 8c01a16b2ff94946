package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/snapshot"
	"fumarium/controller/web"
)

// ending is a daemon that is switching off, which ends every stream.
func ending() *snapshot.Snapshot {
	s := cooking()
	s.Stopping = true
	return s
}

// A listener reads an event stream and keeps what came.
type listener struct {
	conn net.Conn
	mu   sync.Mutex
	got  []web.Status
	bad  []string
	over bool
}

func (p pipes) listen(t *testing.T, ip string) *listener {
	l := &listener{conn: p.come(ip)}
	_, err := io.WriteString(l.conn, "GET /api/events HTTP/1.1\r\nHost: localhost\r\n\r\n")
	require.NoError(t, err)
	return l
}

func (l *listener) read() {
	defer func() {
		l.mu.Lock()
		l.over = true
		l.mu.Unlock()
	}()
	r, err := http.ReadResponse(bufio.NewReader(l.conn), nil)
	if err != nil {
		return
	}
	lines := bufio.NewScanner(r.Body)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		data, ok := strings.CutPrefix(lines.Text(), "data: ")
		var s web.Status
		l.mu.Lock()
		switch {
		case ok && json.Unmarshal([]byte(data), &s) == nil:
			l.got = append(l.got, s)
		case lines.Text() != "" && lines.Text() != "event: status" && lines.Text() != "retry: 2000":
			l.bad = append(l.bad, lines.Text())
		}
		l.mu.Unlock()
	}
}

// steps makes n steps, one a second, and never waits for anybody.
func (l *loop) steps(n int) {
	for range n {
		time.Sleep(time.Second)
		l.mu.Lock()
		next := *l.snap
		next.Time, next.Stepped = next.Time.Add(time.Second), next.Stepped.Add(time.Second)
		l.snap = &next
		l.mu.Unlock()
	}
}

// Two hundred listen and one has stopped to: each step is rendered once, everybody gets
// it, and who takes nothing is gone after ten seconds. A minute is longer than any time
// that net/http gives a request.
func TestEverybodyHearsEveryStep(t *testing.T) {
	const crowd, minute = 200, 60
	l := accepting(cooking())
	began := time.Time{}
	h := configured(l, func(c *web.Config) { c.Now = func() time.Time { return noon.Add(time.Since(began)) } })
	gated(t, h, wide, func(t *testing.T, g *web.Gate, p pipes) {
		began = time.Now()
		stalled := p.listen(t, elsewhere)
		var readers []*listener
		for range crowd {
			r := p.listen(t, elsewhere)
			readers = append(readers, r)
			go r.read()
		}
		synctest.Wait()
		_, before := web.Rendered(h)
		l.steps(minute)
		time.Sleep(300 * time.Millisecond)
		assert.Equal(t, minute*time.Second+300*time.Millisecond, time.Since(began), "the step waits for nobody")
		_, after := web.Rendered(h)
		assert.LessOrEqual(t, after-before, 2*minute, "a step is rendered once, and again where none came in time, however many listen")
		for _, r := range readers {
			r.mu.Lock()
			require.Empty(t, r.bad)
			require.GreaterOrEqual(t, len(r.got), minute+1)
			heard := map[time.Time]bool{}
			for _, s := range r.got {
				heard[s.Time] = true
				require.Less(t, *s.AgeSeconds, 1.3)
			}
			require.Len(t, heard, minute+1, "a step was missed")
			require.False(t, r.over)
			r.mu.Unlock()
		}
		assert.Equal(t, web.Crowd{Open: crowd, Stalled: 1}, g.Crowd())
		stalled.conn.Close()

		l.mu.Lock()
		l.snap = ending()
		l.mu.Unlock()
		time.Sleep(time.Second)
		for _, r := range readers {
			r.mu.Lock()
			require.True(t, r.over, "the daemon goes")
			require.True(t, r.got[len(r.got)-1].Stopping)
			r.mu.Unlock()
		}
	})
}

// When the loop stands still, the age is seen to grow.
func TestAStandstillIsHeard(t *testing.T) {
	began := time.Time{}
	h := configured(accepting(cooking()), func(c *web.Config) { c.Now = func() time.Time { return noon.Add(time.Since(began)) } })
	gated(t, h, wide, func(t *testing.T, _ *web.Gate, p pipes) {
		began = time.Now()
		r := p.listen(t, elsewhere)
		go r.read()
		time.Sleep(20 * time.Second)
		r.mu.Lock()
		defer r.mu.Unlock()
		require.NotEmpty(t, r.got)
		assert.Greater(t, *r.got[len(r.got)-1].AgeSeconds, 18.5)
		assert.LessOrEqual(t, len(r.got), 21)
	})
}

// A reader who leaves leaves nothing behind, and who comes before the first step hears it.
func TestListenersComeAndGo(t *testing.T) {
	l := accepting(nil)
	h := handler(l)
	gated(t, h, wide, func(t *testing.T, g *web.Gate, p pipes) {
		for range 3 {
			r := p.listen(t, elsewhere)
			go r.read()
			time.Sleep(time.Second)
			r.conn.Close()
			time.Sleep(time.Second)
			assert.Zero(t, g.Crowd().Open)
			assert.Empty(t, r.got)
		}
		r := p.listen(t, elsewhere)
		go r.read()
		time.Sleep(time.Second)
		l.mu.Lock()
		l.snap = cooking()
		l.mu.Unlock()
		time.Sleep(time.Second)
		r.mu.Lock()
		assert.NotEmpty(t, r.got)
		r.mu.Unlock()
	})
	synctest.Test(t, func(t *testing.T) {
		ctx, leave := context.WithCancel(t.Context())
		time.AfterFunc(time.Second, leave)
		w := ask(handler(accepting(cooking())), http.MethodGet, "/api/events", "", func(r *http.Request) { *r = *r.WithContext(ctx) })
		assert.Equal(t, "text/event-stream", w.Header().Get("Content-Type"))
		assert.Equal(t, "no-store", w.Header().Get("Cache-Control"))
		time.Sleep(time.Second)
		w = ask(handler(accepting(cooking())), http.MethodHead, "/api/events", "")
		assert.Empty(t, w.Body.String())
	})
}
