package wiring

import (
	"errors"
	"sync"
	"time"

	"fumarium/controller/relay"
	"fumarium/sim/chips"
	"fumarium/sim/fault"
)

// A thumb is on a button of a simulated cabinet: only what goes wrong with the button moves
// it. Its edges have the clock of this machine.
type thumb struct {
	began time.Time
	edges chan relay.Edge
	over  chan struct{}
	once  sync.Once

	mu   sync.Mutex
	down bool
	last time.Duration // when it chattered last
}

func newThumb() *thumb {
	return &thumb{began: time.Now(), edges: make(chan relay.Edge, 64), over: make(chan struct{})}
}

func (t *thumb) now() time.Duration { return time.Since(t.began) }

// Read implements relay.Watched.
func (t *thumb) Read() (bool, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.down, nil
}

// Close implements relay.Watched.
func (t *thumb) Close() error { t.once.Do(func() { close(t.over) }); return nil }

// Next implements relay.Watched.
func (t *thumb) Next() (relay.Edge, error) {
	select {
	case e := <-t.edges:
		return e, nil
	case <-t.over:
		return relay.Edge{}, errors.New("the simulated button is closed")
	}
}

// Bursts of a contact that chatters: own magnitudes, above what package panel believes.
const (
	burstEvery = 200 * time.Millisecond
	burstEdges = 6
)

// is says what is wrong with the button now. What nobody takes is lost.
func (t *thumb) is(stuck, chattering bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	edge := func(down bool, at time.Duration) {
		if t.down == down {
			return
		}
		select {
		case t.edges <- relay.Edge{On: down, At: at}:
			t.down = down
		default:
		}
	}
	now := t.now()
	if chattering && now-t.last >= burstEvery {
		t.last = now
		for i := range burstEdges {
			edge(!t.down, now-time.Duration(burstEdges-i)*time.Millisecond)
		}
	}
	edge(stuck, now)
}

// goWrong lets the display and a button of a simulated cabinet do what is wrong with them.
func (w *World) goWrong(is fault.Apart) {
	if w.thumb != nil {
		w.thumb.is(is.Stuck, is.Chattering)
	}
	if w.display == nil || is == w.apart {
		return
	}
	gone := func(a fault.Apart) bool { return a.Display || a.I2C && !w.cabinet.Panel.OnSPI() }
	switch was := gone(w.apart); {
	case !gone(is):
		if was && w.apart.Display {
			w.display.PowerCycle() // with its plug it was without power
		}
		w.display.Break(chips.Sound)
	case w.cabinet.Panel.OnSPI(): // where nobody hears it
		w.display.Break(chips.AllOnes)
	default:
		w.display.Break(chips.BusError)
	}
	w.apart = is
}
