package web

import (
	"context"
	"net/http"
	"sync"
	"time"

	"fumarium/controller/snapshot"
)

const (
	// looks is how often it is looked whether there was a step. A simulated cabinet may make
	// thousands in a second, of which nobody sees more than these. Common practice, no source.
	looks = 200 * time.Millisecond
	// comeBack tells a reader whose stream ends when to come again, in milliseconds.
	comeBack = "retry: 2000\n\n"
)

// A message is what one step has to say to everybody who listens.
type message struct {
	body []byte
	last bool // the daemon is switching off
}

// A herald hands each step to everybody who listens: encoded once, into a mailbox of one
// place each. Who has not taken the last one gets the newest in its stead, so that nobody
// waits for anybody, and the step for none of them. It works only while somebody listens.
type herald struct {
	latest func() *snapshot.Snapshot
	now    func() (message, bool)

	mu    sync.Mutex
	boxes map[chan message]struct{}
}

// join gives a listener a mailbox.
func (h *herald) join() (box chan message) {
	box = make(chan message, 1)
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.boxes) == 0 {
		h.boxes = map[chan message]struct{}{}
		go h.run(h.boxes)
	}
	h.boxes[box] = struct{}{}
	return box
}

func (h *herald) leave(box chan message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.boxes, box)
	if len(h.boxes) == 0 {
		h.boxes = nil // run goes; who comes next begins anew
	}
}

// run serves one set of mailboxes until it is empty.
func (h *herald) run(boxes map[chan message]struct{}) {
	ticker := time.NewTicker(looks)
	defer ticker.Stop()
	var said *snapshot.Snapshot
	var at time.Time
	for now := range ticker.C {
		// Without a step it is said again now and then: its age must be seen to grow.
		if snap := h.latest(); snap != said || now.Sub(at) >= keeps {
			said, at = snap, now
			if m, ok := h.now(); ok {
				h.post(boxes, m)
			}
		}
		h.mu.Lock()
		empty := len(boxes) == 0
		h.mu.Unlock()
		if empty {
			return
		}
	}
}

// post puts m into every mailbox, in place of what lies there.
func (h *herald) post(boxes map[chan message]struct{}, m message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for box := range boxes {
		select {
		case <-box:
		default:
		}
		box <- m // nobody else puts anything in
	}
}

// said is the status as a message of an event stream (the HTML standard, section 9.2);
// false before the first step. It must not wait for a reader.
func (s *server) said() (message, bool) {
	r := s.statusOf(context.Background())
	if r.problem != nil {
		return message{}, false
	}
	body := append([]byte("event: status\ndata: "), r.body...)
	body = append(append(body, s.aged(r)...), r.after...) // one line, as JSON is
	return message{body: append(body, '\n'), last: r.of.Stopping}, true
}

// events sends the status whenever there was a step, until the reader goes or takes
// nothing for too long.
func (s *server) events(w http.ResponseWriter, r *http.Request) *problem {
	c := http.NewResponseController(w)
	// The reader has said all, and may listen for days. Only a test's writer has no deadlines.
	_ = c.SetReadDeadline(time.Time{})
	w.Header().Set("Content-Type", "text/event-stream")
	w.WriteHeader(http.StatusOK)
	if r.Method == http.MethodHead {
		return nil
	}
	say := func(text []byte) bool {
		_ = c.SetWriteDeadline(time.Now().Add(mostWriting))
		_, err := w.Write(text)
		return err == nil && c.Flush() == nil
	}
	if !say([]byte(comeBack)) {
		return nil
	}
	box := s.herald.join()
	defer s.herald.leave(box)
	if m, ok := s.said(); ok && (!say(m.body) || m.last) { // what is now
		return nil
	}
	for {
		select {
		case m := <-box:
			if !say(m.body) || m.last {
				return nil
			}
		case <-r.Context().Done():
			return nil
		case <-left(r.Context()):
			return nil
		}
	}
}
