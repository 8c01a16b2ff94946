package web

import (
	"bytes"
	"net/http"
	"strconv"
	"sync"
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

	mu   sync.Mutex
	of   *snapshot.Snapshot // what made was made of
	at   time.Time
	made map[string]*rendering
	runs int // how often something was rendered
}

// keeps is how long a rendering is handed out when no step follows: what is not of the
// step, such as the metrics of the process, goes on. Common practice, no source.
const keeps = time.Second

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
}

// get hands out what key stands for. render makes it of the step's snapshot, which is nil
// before the first. There must be few keys, whatever readers ask for.
func (p *press) get(key string, render func(*snapshot.Snapshot) *rendering) *rendering {
	p.mu.Lock()
	defer p.mu.Unlock()
	// Only now: who has waited for the press gets the step that has come meanwhile.
	snap, now := p.latest(), p.now()
	if age := now.Sub(p.at); p.made == nil || snap != p.of || age >= keeps || age < 0 {
		p.of, p.at, p.made = snap, now, map[string]*rendering{}
	}
	r, ok := p.made[key]
	if !ok {
		p.runs++
		r = render(snap)
		p.made[key] = r
	}
	return r
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
