package web

import (
	"bytes"
	"context"
	"net/http"
	"strconv"
	"sync/atomic"
	"time"

	"fumarium/controller/snapshot"
)

// A press renders what readers ask for: each thing once a step, one after another, and
// the same bytes for all of them. What readers cost then does not grow with their number,
// and no more than one processor is busy with it. It does not matter to a press whether
// its bytes are fetched or sent: whoever hands out each step as it comes takes them here.
type press struct {
	latest func() *snapshot.Snapshot // of the loop
	now    func() time.Time

	turn  chan struct{} // whose turn it is to look and to render
	made  map[string]*rendering
	runs  int // how often something was rendered
	asked atomic.Int64
}

func newPress(latest func() *snapshot.Snapshot, now func() time.Time) *press {
	return &press{latest: latest, now: now, turn: make(chan struct{}, 1), made: map[string]*rendering{}}
}

// keeps is how long a rendering is handed out when no step follows: what is not of the
// step, such as the metrics of the process, goes on. Common practice, no source.
const keeps = time.Second

// get hands out what key stands for, and has nothing for a reader who left while he
// waited: the many who come and go must not pile up here. render makes it of the step's
// snapshot, which is nil before the first. The key is the path of a route, so that no two
// answers share one, and there are few whatever readers ask for.
func (p *press) get(ctx context.Context, key string, render func(*snapshot.Snapshot) *rendering) *rendering {
	came := p.asked.Add(1)
	select {
	case p.turn <- struct{}{}:
		defer func() { <-p.turn }()
	case <-ctx.Done():
		return hasLeft
	case <-left(ctx):
		return hasLeft
	}
	snap, now := p.latest(), p.now()
	r := p.made[key]
	if r != nil {
		if age := now.Sub(r.at); r.of == snap && age >= 0 && age < keeps {
			return r
		}
		// Where steps come faster than renderings, what was begun since he came is new
		// enough; else each who waits would wait for one of his own.
		if r.begun > came {
			return r
		}
	}
	p.runs++
	begun := p.asked.Add(1)
	r = render(snap)
	r.of, r.at, r.begun = snap, now, begun
	p.made[key] = r
	return r
}

var hasLeft = &rendering{problem: refuse(http.StatusServiceUnavailable, "you left before it was made; ask again")}

// A rendering is an answer that does not depend on who asks. Nobody changes its bytes.
type rendering struct {
	status int // 0 is 200
	kind   string
	body   []byte
	// after is the rest of the body, where something goes between that changes within
	// the step.
	after   []byte
	stepped time.Time // wall clock of the step, where that is said in between
	problem *problem  // instead of all that

	of    *snapshot.Snapshot // what it was made of
	at    time.Time          // when
	begun int64              // how many had asked by then
}

// mostWriting bounds how long an answer may take to be taken: the largest is some hundred
// kilobytes, and who takes less than ten of them a second has gone or does not mean to
// read. Common practice, no source.
const mostWriting = 10 * time.Second

// answer writes a whole answer, and no longer than mostWriting.
func answer(w http.ResponseWriter, kind string, status int, body ...[]byte) {
	// Only a test's writer has no deadline.
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(mostWriting))
	length := 0
	for _, part := range body {
		length += len(part)
	}
	if kind != "" {
		w.Header().Set("Content-Type", kind)
	}
	w.Header().Set("Content-Length", strconv.Itoa(length))
	w.WriteHeader(status)
	for _, part := range body {
		if _, err := w.Write(part); err != nil {
			return // a client that has gone is no concern of ours
		}
	}
}

func (r *rendering) answer(w http.ResponseWriter, between ...[]byte) *problem {
	if r.problem != nil {
		return r.problem
	}
	status := r.status
	if status == 0 {
		status = http.StatusOK
	}
	answer(w, r.kind, status, append(append([][]byte{r.body}, between...), r.after)...)
	return nil
}

// scraped is the answer of the metrics, in the one format that every reader takes.
func scraped(metrics http.Handler) *rendering {
	var got taken
	metrics.ServeHTTP(&got, &http.Request{Method: http.MethodGet, Header: http.Header{}})
	return &rendering{status: got.status, kind: got.Header().Get("Content-Type"), body: got.body.Bytes()}
}

// taken takes an answer into memory.
type taken struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (t *taken) Header() http.Header {
	if t.header == nil {
		t.header = http.Header{}
	}
	return t.header
}

func (t *taken) WriteHeader(status int) {
	if t.status == 0 {
		t.status = status
	}
}

func (t *taken) Write(p []byte) (int, error) {
	t.WriteHeader(http.StatusOK)
	return t.body.Write(p)
}
