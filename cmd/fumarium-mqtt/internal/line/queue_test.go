package line

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/cmd/fumarium-mqtt/internal/said"
)

// However much comes while the broker is away, nobody waits, the newest of each topic is kept
// and of events the newest.
func TestTheQueueIsBounded(t *testing.T) {
	q := NewQueue()
	for i := range 3 * mostWaiting {
		q.Put(said.Message{Topic: "state", Body: fmt.Append(nil, i), Retain: true}, said.Message{Topic: "event", Body: fmt.Append(nil, i)})
	}
	assert.Len(t, q.order, 1)
	assert.Len(t, q.events, mostWaiting)
	assert.Equal(t, 2*mostWaiting, q.Dropped())
	got := all(q)
	assert.Len(t, got, 1+mostWaiting)
	assert.Equal(t, fmt.Sprint(3*mostWaiting-1), got[0], "the newest state")
	assert.Equal(t, fmt.Sprint(2*mostWaiting), got[1], "the oldest event that is left")
	assert.Empty(t, all(q))
	q.again()
	assert.Len(t, all(q), 1, "a broker that came back is told what is retained, and no event twice")
}

// What was replaced or dropped while it was on its way takes nothing newer with it.
func TestDoneIsOfThisMessage(t *testing.T) {
	q := NewQueue()
	q.Put(said.Message{Topic: "state", Body: []byte("old"), Retain: true})
	m, _ := q.next()
	q.Put(said.Message{Topic: "state", Body: []byte("new"), Retain: true})
	q.done(m)
	assert.Equal(t, []string{"new"}, all(q))
	q.Put(said.Message{Body: []byte("first")})
	m, _ = q.next()
	for range mostWaiting {
		q.Put(said.Message{Body: []byte("later")})
	}
	q.done(m)
	assert.Len(t, q.events, mostWaiting)
	assert.Equal(t, 1, q.Dropped())
}

func all(q *Queue) (bodies []string) {
	for {
		m, is := q.next()
		if !is {
			return bodies
		}
		bodies = append(bodies, string(m.Body))
		q.done(m)
	}
}
