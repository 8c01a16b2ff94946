package web

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// How many may be here at once, and for how long. All common practice, no source; what
// they come to under load is measured (DEVELOPERS.md).
const (
	// mostConnections is enough for a house full of screens. Each takes some 30 kB.
	mostConnections = 512
	// reserved are places beside them that only this machine's own commands and browsers
	// can take, so that a network cannot keep out who stands at the cabinet.
	reserved = 32
	// sure is how long a place is kept after the last byte: long enough for who comes to
	// say what he wants.
	sure = 100 * time.Millisecond

	// answered is how long whoever gave a command has to take his answer: dropped before
	// that, he would not know that it was done.
	answered = 2 * time.Second

	mostHeader = 16 << 10
	// socketBuffer bounds what the kernel keeps for a reader that does not read. It counts
	// as the daemon's memory and would grow to megabytes each.
	socketBuffer = 16 << 10

	mostHeaderTime = 5 * time.Second
	mostReading    = 15 * time.Second // with the body
	mostIdle       = 2 * time.Minute
	// mostServing ends what no other limit does: reading, waiting for the step, writing.
	mostServing = mostReading + maxWait + mostWriting
)

// A Gate serves a handler to as many readers as there is room for. When it is full, who
// has said or taken nothing for the longest time makes room for who comes; if all are
// busy, he is turned away at once. Whoever gives a command keeps his place until he
// has had time to take his answer.
type Gate struct {
	server         http.Server
	most, reserved int
	sure           time.Duration
	began          time.Time

	mu     sync.Mutex
	inside map[*visitor]struct{}

	refused, dropped, stalled atomic.Uint64
}

// Crowd is who came to a Gate.
type Crowd struct {
	Open    int    // connections now
	Refused uint64 // turned away because every place was busy
	Dropped uint64 // silent, and made room for another
	Stalled uint64 // did not take their answer in time
}

// NewGate makes the gate of h.
func NewGate(h http.Handler, log *slog.Logger) *Gate {
	g := &Gate{most: mostConnections, reserved: reserved, sure: sure, began: time.Now(), inside: map[*visitor]struct{}{}}
	g.server = http.Server{
		Handler:           h,
		ReadHeaderTimeout: mostHeaderTime, ReadTimeout: mostReading, WriteTimeout: mostServing, IdleTimeout: mostIdle,
		MaxHeaderBytes: mostHeader,
		ErrorLog:       slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		ConnContext: func(ctx context.Context, c net.Conn) context.Context {
			if secured, ok := c.(*tls.Conn); ok {
				c = secured.NetConn()
			}
			return context.WithValue(ctx, placeOf{}, c)
		},
		// One request after another in each connection: that is what has a place here.
		TLSNextProto: map[string]func(*http.Server, *tls.Conn, http.Handler){},
	}
	return g
}

// Serve lets in who comes to l, until Shutdown or Close.
func (g *Gate) Serve(l net.Listener) error { return g.server.Serve(&entrance{l, g}) }

// ServeTLS is Serve over TLS; without a configuration it is Serve.
func (g *Gate) ServeTLS(l net.Listener, c *tls.Config) error {
	if c == nil {
		return g.Serve(l)
	}
	g.server.TLSConfig = c
	return g.server.ServeTLS(&entrance{l, g}, "", "")
}

// Shutdown lets in nobody any more and waits for those who are being served.
func (g *Gate) Shutdown(ctx context.Context) error { return g.server.Shutdown(ctx) }

// Close ends everything at once.
func (g *Gate) Close() error { return g.server.Close() }

// Crowd says who came so far.
func (g *Gate) Crowd() Crowd {
	g.mu.Lock()
	open := len(g.inside)
	g.mu.Unlock()
	return Crowd{open, g.refused.Load(), g.dropped.Load(), g.stalled.Load()}
}

// An entrance is a listener that gives out no more connections than there are places.
type entrance struct {
	net.Listener
	gate *Gate
}

func (e *entrance) Accept() (net.Conn, error) {
	for {
		c, err := e.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if v := e.gate.admit(c); v != nil {
			return v, nil
		}
		turnAway(c)
	}
}

// admit gives c a place, or nil.
func (g *Gate) admit(c net.Conn) *visitor {
	v := &visitor{Conn: c, gate: g, local: local(c.RemoteAddr()), left: make(chan struct{})}
	v.touch()
	g.mu.Lock()
	limit := g.most
	if v.local {
		limit += g.reserved
	}
	var leaves *visitor
	if len(g.inside) >= limit {
		if leaves = g.longestSilent(v); leaves == nil {
			g.mu.Unlock()
			g.refused.Add(1)
			return nil
		}
		delete(g.inside, leaves)
		g.dropped.Add(1)
	}
	g.inside[v] = struct{}{}
	g.mu.Unlock()
	if leaves != nil {
		leaves.cut()
	}
	if t, ok := c.(*net.TCPConn); ok { // without them it works as well, for more memory
		_ = t.SetWriteBuffer(socketBuffer)
		_ = t.SetReadBuffer(socketBuffer)
	}
	return v
}

// longestSilent is who makes room for v, or nil. Nobody on this machine has to for
// somebody elsewhere.
func (g *Gate) longestSilent(v *visitor) *visitor {
	var longest *visitor
	least := v.seen.Load() - int64(g.sure)
	for o := range g.inside {
		if seen := o.seen.Load(); seen <= least && o.keeps.Load() == 0 && (v.local || !o.local) {
			longest, least = o, seen
		}
	}
	return longest
}

func local(a net.Addr) bool {
	switch a := a.(type) {
	case *net.TCPAddr:
		return a.IP.IsLoopback()
	case *net.UnixAddr:
		return true
	}
	return false
}

// A visitor is a connection that has a place.
type visitor struct {
	net.Conn
	gate   *Gate
	local  bool
	seen   atomic.Int64 // when the last byte went either way, since the gate began
	keeps  atomic.Int32 // a command is under way
	closed atomic.Bool
	left   chan struct{} // closed with it
}

func (v *visitor) touch() { v.seenAt(time.Since(v.gate.began)) }

// seenAt may be ahead: then the place is kept for so much longer.
func (v *visitor) seenAt(at time.Duration) {
	for was := v.seen.Load(); int64(at) > was && !v.seen.CompareAndSwap(was, int64(at)); was = v.seen.Load() {
	}
}

func (v *visitor) Read(p []byte) (int, error) {
	n, err := v.Conn.Read(p)
	if n > 0 {
		v.touch()
	}
	return n, err
}

func (v *visitor) Write(p []byte) (int, error) {
	n, err := v.Conn.Write(p)
	if n > 0 {
		v.touch()
	}
	if errors.Is(err, os.ErrDeadlineExceeded) && !v.closed.Load() {
		v.gate.stalled.Add(1)
		v.cut()
	}
	return n, err
}

func (v *visitor) Close() error {
	if v.closed.Swap(true) {
		return net.ErrClosed
	}
	close(v.left)
	v.gate.mu.Lock()
	delete(v.gate.inside, v)
	v.gate.mu.Unlock()
	return v.Conn.Close()
}

// CloseWrite ends our side, so that net/http can let the other end read an answer to what
// it has not sent whole.
func (v *visitor) CloseWrite() error {
	if c, ok := v.Conn.(interface{ CloseWrite() error }); ok {
		return c.CloseWrite()
	}
	return nil
}

// cut closes without waiting for what was not taken: else the kernel would keep it, and
// go on asking, for minutes.
func (v *visitor) cut() {
	reset(v.Conn)
	_ = v.Close() // once is enough
}

type placeOf struct{}

// left is closed when the request's connection is. The request's own context does not
// hear of it while more requests stand in the connection, unread.
func left(ctx context.Context) <-chan struct{} {
	if v, ok := ctx.Value(placeOf{}).(*visitor); ok {
		return v.left
	}
	return nil
}

// keepPlace lets nobody take the place of the request's connection until release.
func keepPlace(ctx context.Context) (release func()) {
	v, ok := ctx.Value(placeOf{}).(*visitor)
	if !ok {
		return func() {}
	}
	v.keeps.Add(1)
	return func() {
		v.seenAt(time.Since(v.gate.began) + answered)
		v.keeps.Add(-1)
	}
}

// turnAway waits for nothing. A reset is the only answer that cannot be taken for one to
// a request that was not read.
func turnAway(c net.Conn) {
	reset(c)
	_ = c.Close()
}

// reset makes Close forget what was not taken.
func reset(c net.Conn) {
	if t, ok := c.(*net.TCPConn); ok {
		_ = t.SetLinger(0)
	}
}
