// Package line brings messages to one MQTT 5 broker. What waits is bounded: of a topic that is
// retained the newest alone, of events so many, then the oldest go. It publishes and never
// subscribes, so that nothing a broker sends means anything here.
package line

import (
	"sync"

	"fumarium/cmd/fumarium-mqtt/internal/said"
)

// mostWaiting is how many events wait for a broker that is away; common practice, no source.
const mostWaiting = 1000

// A Queue holds what waits for the broker. Who puts never waits.
type Queue struct {
	mu      sync.Mutex
	kept    map[string]*kept // by topic, of what is retained
	order   []*kept          // as their topics first came
	events  []waiting
	count   uint64
	dropped int
	wake    chan struct{}
}

type waiting struct {
	said.Message
	number uint64
}

type kept struct {
	waiting
	sent bool // and acknowledged, over this connection
}

// NewQueue makes an empty one.
func NewQueue() *Queue { return &Queue{kept: map[string]*kept{}, wake: make(chan struct{}, 1)} }

// Put takes messages.
func (q *Queue) Put(all ...said.Message) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, m := range all {
		q.count++
		w := waiting{m, q.count}
		if !m.Retain {
			if q.events = append(q.events, w); len(q.events) > mostWaiting {
				q.events = append(q.events[:0:0], q.events[1:]...)
				q.dropped++
			}
			continue
		}
		k := q.kept[m.Topic]
		if k == nil {
			k = &kept{}
			q.kept[m.Topic], q.order = k, append(q.order, k)
		}
		k.waiting, k.sent = w, false
	}
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// Dropped is how many events nobody got.
func (q *Queue) Dropped() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.dropped
}

// again says that the broker may know nothing: it was started anew, maybe without a memory.
func (q *Queue) again() {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, k := range q.order {
		k.sent = false
	}
}

// next is what to send now; false is nothing.
func (q *Queue) next() (waiting, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, k := range q.order {
		if !k.sent {
			return k.waiting, true
		}
	}
	if len(q.events) > 0 {
		return q.events[0], true
	}
	return waiting{}, false
}

// done says that a message was acknowledged, or never will be. A newer one in its place stays.
func (q *Queue) done(w waiting) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if w.Retain {
		if k := q.kept[w.Topic]; k.number == w.number {
			k.sent = true
		}
	} else if len(q.events) > 0 && q.events[0].number == w.number {
		q.events = q.events[1:]
	}
}
